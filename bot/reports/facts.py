"""A case as facts for a sheet: what was said, found, ruled out, done, and what comes next. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime

from bot.core import events, odds
from bot.core.events import Role
from bot.core.flow import Answer, Asked_, Flow, Grade, Graded, Look, Mark, One, Outcome, Several, Trait
from bot.core.history import Clock, acting, clock, closing_of, repairs
from bot.core.reasons import labels, misfit, named_cause
from bot.core.standing import ORDER, LookMade, Standing, Suspect, of_unlisted, standings
from bot.core.state import State, Stop, Told
from bot.core.stops import DAMAGE_SEEN
from bot.reports.ahead import Ahead, known
from bot.reports.orders import order_list
from bot.reports.sheet import (
    OTHER,
    Facts,
    FileLine,
    FindingLine,
    LookAgainLine,
    LookLine,
    Lost,
    NoteLine,
    RepairLine,
    StopLine,
    SuspectLine,
    Voice,
)

# Suspects on a sheet: what a mechanic wants to read first.
READING_ORDER: tuple[Standing, ...] = (
    "found", "repaired", "suspected", "still-possible", "not-looked-at", "unlikely", "ruled-out",
)  # fmt: skip
assert sorted(READING_ORDER) == sorted(ORDER)
COMMON = 0.20  # from here on it is news that a bike does not show a sign


def facts(
    flow: Flow, state: State, now: odds.Beliefs, before: odds.Beliefs, written: datetime, ahead: Ahead
) -> Facts:
    """The facts of a case.

    `now`, `before`: beliefs after the case's history, and prior ones. `ahead`: what comes next, from
    `ahead.look_ahead`. `written` has a zone; ValueError otherwise.
    """
    if written.tzinfo is None:
        raise ValueError("the time of writing has no zone")
    run = clock(state)
    return Facts(
        title=flow.title,
        version=flow.version,
        written_at=written.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        complaint=state.complaint,
        bike=state.nickname,
        hours=run.now.meter,
        traits=tuple(_traits(flow, state)),
        findings=tuple(_findings(flow, state, run)),
        not_sure=tuple(_not_sure(flow, state)),
        suspects=_suspects(flow, state, now, before),
        unlisted=now.unlisted,
        unlisted_standing=of_unlisted(now, before),
        fixed=now.fixed,
        misfit=misfit(flow, state),
        stops=tuple(_stops(flow, state)),
        repairs=tuple(_repairs(flow, state, run)),
        ahead=ahead,
        ended=state.ended.how if state.ended else "",
        order=order_list(flow, state, ahead.remedies),
        minutes_spent=state.minutes,
        money_spent=state.money,
        currency=flow.money.currency if flow.money else "",
        as_of=flow.money.as_of if flow.money else "",
        looks_again=tuple(_looks_again(flow, state)),
        notes=tuple(_notes(flow, state, run)),
    )


def _role(state: State, seq: int) -> Role:
    return next((e.role for e in state.entries if e.seq == seq), "rider")


def _notes(flow: Flow, state: State, run: Clock) -> Iterator[NoteLine]:
    sent: Counter[tuple[str, str]] = Counter()
    for seq, at, who, note in state.notes:
        if note.words or note.file:
            files = tuple(_count_files(sent, note.file_kind, note.file.split(), _about(flow, note.about)))
            voice = Voice(who, _role(state, seq), at, run.meter(seq))
            yield NoteLine(note.words, note.file_kind, voice, files)


def _count_files(
    sent: Counter[tuple[str, str]], kind: str, files: Sequence[str], about: str
) -> Iterator[FileLine]:
    for _ in files:
        sent[kind, about] += 1
        yield FileLine(kind, sent[kind, about], about)


def _about(flow: Flow, about: str) -> str:
    """What was asked when a note came, by its name; "" for what has none, such as the bike's name."""
    what, _, id = about.partition(":")
    if what in ("question", "check", "trait") and id in {**flow.asks, **flow.traits}:
        return brief(flow.asks[id] if id in flow.asks else flow.traits[id])
    name = id.partition("/")[0]
    if what in ("remedy", "step", "point", "shut", "cure", "proof", "held") and name in flow.remedies:
        return flow.remedies[name].name
    return flow.access[name].do if name in flow.access else ""


# --- findings --------------------------------------------------------------------------------


def brief(ask: Asked_ | Trait) -> str:
    """A look by its name, a question in its short form, where it has one."""
    return (None if isinstance(ask, Trait) else ask.name) or ask.short or ask.ask


def _traits(flow: Flow, state: State) -> Iterator[tuple[str, str]]:
    for trait, answer in known(state).items():
        if trait in flow.traits and answer in flow.traits[trait].answers:
            yield brief(flow.traits[trait]), flow.traits[trait].answers[answer].label


def _not_sure(flow: Flow, state: State) -> Iterator[str]:
    for ask, skipped in state.skipped.items():
        if skipped.why == "not_sure" and ask in flow.asks:
            yield brief(flow.asks[ask])


def answer_text(flow: Flow, event: events.Answered) -> str:
    """An answer in the flow's words. Damage that the flow has no name for is `OTHER`."""
    ask = flow.asks[event.ask]
    named = tuple(v for v in event.value if v != OTHER)
    if event.form == "note" or (isinstance(ask, Look) and not named):
        return OTHER if OTHER in event.value else event.words
    text = labels(ask, named, event.number) if named or OTHER not in event.value else ""
    return ", ".join(x for x in (text, OTHER if OTHER in event.value else "") if x)


def _voice(told: Told, run: Clock) -> Voice:
    return Voice(told.who, told.role, told.at, run.meter(told.seq))


def _findings(flow: Flow, state: State, run: Clock) -> Iterator[FindingLine]:
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
            Lost(text, _voice(t, run), False, short_text(flow, t.event))
            for t in said
            if (text := answer_text(flow, t.event)) != answer
        ]
        lost += gone.pop(ask, [])
        yield FindingLine(
            brief(flow.asks[ask]), answer, held.event.rank, _voice(held, run), slice_, round_, tuple(lost),
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
            voice = Voice(entry.who, entry.role, entry.at, run.meter(entry.seq))
            out.setdefault(event.ask, []).append(
                Lost(answer_text(flow, event), voice, True, short_text(flow, event))
            )
    return out


# --- suspects --------------------------------------------------------------------------------


def _suspects(flow: Flow, state: State, now: odds.Beliefs, before: odds.Beliefs) -> tuple[SuspectLine, ...]:
    """Every cause, what a mechanic wants to read first on top, then by chance."""
    found = standings(flow, state, now, before).values()
    ranked = sorted(found, key=lambda s: (READING_ORDER.index(s.standing), -s.chance))
    return tuple(_suspect(flow, state, s) for s in ranked)


def _suspect(flow: Flow, state: State, s: Suspect) -> SuspectLine:
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
    )


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


# --- stops -----------------------------------------------------------------------------------


def _stops(flow: Flow, state: State) -> Iterator[StopLine]:
    """Every stop that was raised, those that stand first."""
    for stop in sorted(state.stops, key=lambda s: bool(s.lifted_by)):
        yield _stop(flow, state, stop)


def _stop(flow: Flow, state: State, stop: Stop) -> StopLine:
    rule = flow.stop_rules.get(stop.rule)
    say = rule.say if rule else ""
    return StopLine(
        kind="rule" if rule else "damage" if stop.rule == DAMAGE_SEEN else "older",
        say=say,
        short=(rule.short if rule else None) or say,
        bars=stop.bars,
        at=stop.at,
        because=tuple(_because(flow, state, stop.because)),
        stands=not stop.lifted_by,
        lifted_by=_lifter(flow, stop.lifted_by),
        ran_after=tuple(went.minutes for at, went in state.went_on if at >= stop.at),
    )


def _because(flow: Flow, state: State, seqs: Sequence[int]) -> Iterator[str]:
    for entry in state.entries:
        if entry.seq in seqs and isinstance(entry.event, events.Answered) and entry.event.ask in flow.asks:
            yield answer_text(flow, entry.event)
        elif entry.seq in seqs and isinstance(entry.event, events.CauseConfirmed):
            yield named_cause(flow, entry.event.cause, entry.event.words)


def _lifter(flow: Flow, by: str) -> str:
    """What lifted a stop, in words: a check, a remedy, or `mechanic` / `slip` as they are."""
    name = by.partition(".")[0]
    if name in flow.asks:
        return brief(flow.asks[name])
    return flow.remedies[name].name if name in flow.remedies else by


# --- work ------------------------------------------------------------------------------------


def _repairs(flow: Flow, state: State, run: Clock) -> Iterator[RepairLine]:
    entries = {e.seq: e for e in acting(state)}
    begun = [e.event for e in entries.values() if isinstance(e.event, events.RemedyBegun)]
    guessed = {event.remedy: event.suspicion for event in begun}
    for repair in repairs(flow, state):
        if repair.remedy not in flow.remedies:
            continue
        entry, name = entries[repair.seq], flow.remedies[repair.remedy].name
        voice = Voice(entry.who, entry.role, entry.at, run.meter(repair.seq))
        open_ = [p for p in closing_of(flow, repair.remedy) if repair.points.get(p) != "yes"]
        points = tuple(_point(flow, p) for p in open_)
        yield RepairLine(name, voice, guessed.get(repair.remedy, True), points)


def _point(flow: Flow, key: str) -> str:
    of, _, point = key.partition("/")
    closing = flow.remedies[of].closing if of in flow.remedies else flow.access[of].closing
    return next(p.point for p in closing if p.id == point)


def _looks_again(flow: Flow, state: State) -> Iterator[LookAgainLine]:
    """Looks of the running plan that are still to come."""
    if state.watch is None or state.watch.plan not in flow.second_looks:
        return
    plan = flow.second_looks[state.watch.plan]
    for look in plan.looks[state.watch.index :]:
        yield LookAgainLine(
            look.do, look.after_minutes, look.after_hours, look.running, plan.basis, state.watch.from_hours
        )
