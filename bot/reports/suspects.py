"""How each suspect stands, which look that rests on, and what speaks for and against the likeliest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bot.core.flow import Flow, Several
from bot.core.reasons import CLEAR, STRONG, telling, weighed
from bot.core.standing import ORDER, LookMade, Standing, Suspect
from bot.core.state import State
from bot.reports.findings import answer_text, brief
from bot.reports.sheet import LookLine, Speaks, Strength, SuspectLine, Voice

# Suspects on a sheet: what a mechanic wants to read first.
READING_ORDER: tuple[Standing, ...] = (
    "found", "repaired", "suspected", "still-possible", "not-looked-at", "unlikely", "ruled-out",
)  # fmt: skip
assert sorted(READING_ORDER) == sorted(ORDER)
WEIGHED = 2  # the likeliest causes, of which it is said what speaks for and against them
WORTH_WEIGHING = 0.05


def tell_suspects(flow: Flow, state: State, found: Iterable[Suspect]) -> tuple[SuspectLine, ...]:
    """Every cause, what a mechanic wants to read first on top, then by chance."""
    ranked = sorted(found, key=lambda s: (READING_ORDER.index(s.standing), -s.chance))
    likely = sorted((s for s in ranked if s.chance >= WORTH_WEIGHING), key=lambda s: -s.chance)[:WEIGHED]
    totals = weighed(flow, state, [s.cause for s in likely])
    return tuple(_suspect(flow, state, s, totals.get(s.cause, {})) for s in ranked)


def _suspect(flow: Flow, state: State, s: Suspect, totals: Mapping[str, float]) -> SuspectLine:
    cause = flow.causes[s.cause]
    return SuspectLine(
        name=cause.name,
        standing=s.standing,
        chance=s.chance,
        look_made=s.looked,
        look=_look(flow, state, s.cause, s.look) if s.look else None,
        stale=s.stale,
        excluded_by=brief(flow.traits[s.excluded_by]) if s.excluded_by in flow.traits else "",
        remedy=flow.remedies[s.remedy].name if s.remedy in flow.remedies else "",
        short=cause.short or cause.name,
        speaks_for=tuple(Speaks(label, _strength(db)) for label, db in telling(totals, 1)),
        speaks_against=tuple(Speaks(label, _strength(db)) for label, db in telling(totals, -1)),
    )


def _strength(decibans: float) -> Strength:
    size = abs(decibans)
    return "strong" if size >= STRONG else "clear" if size >= CLEAR else "weak"


def _look(flow: Flow, state: State, cause: str, look: LookMade) -> LookLine:
    voice = Voice(look.who, look.role, look.at, look.hours)
    said = _look_said(flow, state, cause, look)
    return LookLine(brief(flow.asks[look.ask]), said, look.said, voice, round(10 * look.catches, 1))


def _look_said(flow: Flow, state: State, cause: str, look: LookMade) -> str:
    """What the look said of this cause: of several marks only those that find it."""
    ask = flow.asks[look.ask]
    told = next(t for t in state.answers if t.seq == look.seq)
    if isinstance(ask, Several):
        own = [
            m
            for n, m in ask.marks.items()
            if any(f.cause == cause for f in m.finds) and n in told.event.value
        ]
        return ", ".join(m.label for m in own) or ask.none_of_these.label
    return answer_text(flow, told.event)
