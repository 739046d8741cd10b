"""What was asked and answered in a case, in the flow's words: findings, traits, what could not be judged."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from bot.core import events
from bot.core.events import Entry
from bot.core.flow import Answer, Asked_, Flow, Grade, Graded, Look, Mark, One, Outcome, Several, Trait
from bot.core.history import Clock
from bot.core.reasons import labels
from bot.core.state import State, Told
from bot.reports.ahead import known
from bot.reports.sheet import OTHER, FindingLine, Lost, Voice

COMMON = 0.20  # from here on it is news that a bike does not show a sign


def spoken(entry: Entry | Told, run: Clock) -> Voice:
    """Who said something, when, and at what running hours."""
    return Voice(entry.who, entry.role, entry.at, run.meter(entry.seq))


def brief(ask: Asked_ | Trait) -> str:
    """A look by its name, a question in its short form, where it has one."""
    return (None if isinstance(ask, Trait) else ask.name) or ask.short or ask.ask


def tell_traits(flow: Flow, state: State) -> Iterator[tuple[str, str]]:
    for trait, answer in known(state).items():
        if trait in flow.traits and answer in flow.traits[trait].answers:
            yield brief(flow.traits[trait]), flow.traits[trait].answers[answer].label


def tell_skipped(flow: Flow, state: State, why: str) -> Iterator[str]:
    """What was put aside for this reason: `not_sure`, `cant`."""
    for ask, skipped in state.skipped.items():
        if skipped.why == why and ask in flow.asks:
            yield brief(flow.asks[ask])


def answer_text(flow: Flow, event: events.Answered) -> str:
    """An answer in the flow's words. Damage that the flow has no name for is `OTHER`."""
    ask = flow.asks[event.ask]
    named = tuple(v for v in event.value if v != OTHER)
    if event.form == "note" or (isinstance(ask, Look) and not named):
        return OTHER if OTHER in event.value else event.words
    text = labels(ask, named, event.number) if named or OTHER not in event.value else ""
    return ", ".join(x for x in (text, OTHER if OTHER in event.value else "") if x)


def tell_findings(flow: Flow, state: State, run: Clock) -> Iterator[FindingLine]:
    """One line for each question, slice and round, in the order in which they were first answered."""
    boxes: dict[tuple[str, int, int], list[Told]] = {}
    for told in state.answers:
        if told.event.ask in flow.asks:
            boxes.setdefault((told.event.ask, told.slice, told.round), []).append(told)
    gone = _taken_back(flow, state, run)
    for (ask, slice_, round_), said in boxes.items():
        held = max(said, key=lambda t: (t.event.rank, t.seq))
        answer = answer_text(flow, held.event)
        lost = [
            Lost(text, spoken(t, run), False, short_text(flow, t.event))
            for t in said
            if (text := answer_text(flow, t.event)) != answer
        ]
        lost += gone.pop(ask, [])
        yield FindingLine(
            brief(flow.asks[ask]), answer, held.event.rank, spoken(held, run), slice_, round_, tuple(lost),
            quiet=_quiet(flow, held.event), short=short_text(flow, held.event),
        )  # fmt: skip


def short_text(flow: Flow, event: events.Answered) -> str:
    """An answer as it is worded where room is dear."""
    ask = flow.asks[event.ask]
    choices: Mapping[str, Answer | Mark | Grade | Outcome] = {}
    if isinstance(ask, (One, Graded)):
        choices = ask.answers if isinstance(ask, One) else ask.classes
    elif isinstance(ask, Several):
        choices = ask.marks
    elif isinstance(ask, Look):
        choices = {"good": ask.good, "bad": ask.bad}
    named = [choices[v] for v in event.value if v in choices]
    if event.form == "note" or len(named) < len(event.value) or not named:
        return answer_text(flow, event)
    return (" or " if isinstance(ask, Graded) else ", ").join(c.short or c.label for c in named)


def _quiet(flow: Flow, said: events.Answered) -> bool:
    """Whether an answer says no more than that nothing is there: no mark, a clean look, 'as always'."""
    ask = flow.asks[said.ask]
    if said.form == "note":
        return False
    if isinstance(ask, Several):
        return not said.value
    if isinstance(ask, Look):
        return said.value == ("good",)
    told = [ask.answers[v] for v in said.value if v in ask.answers] if isinstance(ask, One) else []
    speaks = any(a.shows or a.opens or any(_common(flow, s) for s in a.denies) for a in told)
    return bool(told) and not speaks


def _common(flow: Flow, sign: str) -> bool:
    """Whether so many bikes with this complaint show a sign that its absence is worth telling."""
    own = flow.signs[sign].background if sign in flow.signs else 0.0
    shown = [(c.share, c.shows.get(sign, 0.0)) for c in flow.causes.values()]
    of_causes = sum(share * q / 100 for share, q in shown if isinstance(q, float))
    return isinstance(own, float) and own + of_causes >= COMMON


def _taken_back(flow: Flow, state: State, run: Clock) -> dict[str, list[Lost]]:
    """Answers that were taken back, by question; a question with no other answer has no line."""
    out: dict[str, list[Lost]] = {}
    for entry in state.entries:
        event = entry.event
        if isinstance(event, events.Answered) and entry.seq in state.withdrawn and event.ask in flow.asks:
            out.setdefault(event.ask, []).append(
                Lost(answer_text(flow, event), spoken(entry, run), True, short_text(flow, event))
            )
    return out
