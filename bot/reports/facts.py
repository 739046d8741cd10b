"""A case as facts for a sheet: what was said, found, ruled out, done, and what comes next. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from bot.core import events, odds
from bot.core.book import Book, recent_intervals
from bot.core.events import Role
from bot.core.flow import Flow
from bot.core.history import Clock, acting, clock
from bot.core.reasons import misfit, named_cause
from bot.core.standing import of_unlisted, standings
from bot.core.state import State, Stop
from bot.core.stops import DAMAGE_SEEN, of_a_person
from bot.core.trend import judge
from bot.core.trend_words import tell
from bot.core.words import Words
from bot.reports import mechanics, work
from bot.reports.ahead import Ahead
from bot.reports.findings import answer_text, brief, spoken, tell_findings, tell_skipped, tell_traits
from bot.reports.orders import order_list
from bot.reports.sheet import Facts, FileLine, NoteLine, StopLine, TakenUpLine, TrendLine, Voice
from bot.reports.suspects import READING_ORDER, tell_suspects

__all__ = ["READING_ORDER", "facts"]

NO_BOOK = Book()


def facts(
    flow: Flow,
    state: State,
    now: odds.Beliefs,
    before: odds.Beliefs,
    written: datetime,
    ahead: Ahead,
    book: Book = NO_BOOK,
    words: Words | None = None,
) -> Facts:
    """The facts of a case.

    `now`, `before`: beliefs after the case's history, and prior ones. `ahead`: what comes next, from
    `ahead.look_ahead`. `book`: of the case's bike; its trend is told in `words`. `written` has a zone;
    ValueError otherwise.
    """
    if written.tzinfo is None:
        raise ValueError("the time of writing has no zone")
    run, standing = clock(state), standings(flow, state, now, before)
    found = {s.cause: s.look.seq for s in standing.values() if s.standing == "found" and s.look}
    return Facts(
        title=flow.title,
        version=flow.version,
        written_at=written.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        complaint=state.complaint,
        bike=state.nickname,
        hours=run.now.meter,
        traits=tuple(tell_traits(flow, state)),
        findings=tuple(tell_findings(flow, state, run)),
        not_sure=tuple(tell_skipped(flow, state, "not_sure")),
        suspects=tell_suspects(flow, state, standing.values()),
        unlisted=now.unlisted,
        unlisted_standing=of_unlisted(now, before),
        fixed=now.fixed,
        misfit=misfit(flow, state),
        stops=tuple(_stops(flow, state, run)),
        repairs=tuple(work.tell_repairs(flow, state, run, now.fixed, found)),
        ahead=ahead,
        ended=state.ended.how if state.ended else "",
        order=order_list(flow, state, ahead.remedies),
        minutes_spent=state.minutes,
        money_spent=state.money,
        currency=flow.money.currency if flow.money else "",
        as_of=flow.money.as_of if flow.money else "",
        looks_again=tuple(work.tell_looks_again(flow, state)),
        notes=tuple(_notes(flow, state, run)),
        vin=mechanics.tell_vin(state),
        cant=tuple(tell_skipped(flow, state, "cant")),
        access=tuple(work.tell_access(flow, state, run)),
        fitted=work.tell_fitted(flow, state, run, book),
        worked=tuple(work.tell_worked(book)),
        book_earlier=work.earlier_in(book),
        trend=_trend(book, words),
        holders=state.holders,
        queries=tuple(mechanics.tell_queries(state, run)),
        confirmed=tuple(mechanics.tell_confirmed(flow, state, run)),
        outcome=mechanics.tell_outcome(flow, state, run),
        in_hand=work.tell_in_hand(flow, state, run),
    )


def _trend(book: Book, words: Words | None) -> TrendLine | None:
    """What the pieces do over the running hours; None where the book shows no trend."""
    looks = recent_intervals(book)
    if not looks or words is None:
        return None
    judged = judge(looks)
    return TrendLine(tell(judged, words), judged.direction)


def _role(state: State, seq: int) -> Role:
    return next((e.role for e in state.entries if e.seq == seq), "rider")


def _notes(flow: Flow, state: State, run: Clock) -> Iterator[NoteLine]:
    """Notes and files, but for those that answered a mechanic: they are told with their question."""
    sent: Counter[tuple[str, str]] = Counter()
    answered = {ref for query in state.queries if query.answer for ref in query.answer.file.split()}
    for seq, at, who, note in state.notes:
        refs = [ref for ref in note.file.split() if ref not in answered]
        if note.words or refs:
            files = tuple(_count_files(sent, note.file_kind, refs, _about(flow, note.about)))
            voice = Voice(who, _role(state, seq), at, run.meter(seq))
            yield NoteLine(note.words, note.file_kind if refs else "", voice, files)


def _count_files(
    sent: Counter[tuple[str, str]], kind: str, files: Sequence[str], about: str
) -> Iterator[FileLine]:
    for ref in files:
        sent[kind, about] += 1
        yield FileLine(kind, sent[kind, about], about, ref)


def _about(flow: Flow, about: str) -> str:
    """What was asked when a note came, by its name; "" for what has none, such as the bike's name."""
    what, _, id = about.partition(":")
    if what in ("question", "check", "trait") and id in {**flow.asks, **flow.traits}:
        return brief(flow.asks[id] if id in flow.asks else flow.traits[id])
    name = id.partition("/")[0]
    if what in ("remedy", "step", "point", "shut", "cure", "proof", "held") and name in flow.remedies:
        return flow.remedies[name].name
    return flow.access[name].do if name in flow.access else ""


# --- stops -----------------------------------------------------------------------------------


def _stops(flow: Flow, state: State, run: Clock) -> Iterator[StopLine]:
    """Every stop that was raised, those that stand first, and of these a hurt person's before the bike's."""
    for stop in sorted(state.stops, key=lambda s: (bool(s.lifted_by), not of_a_person(flow, s.rule))):
        yield _stop(flow, state, run, stop)


def _stop(flow: Flow, state: State, run: Clock, stop: Stop) -> StopLine:
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
        person=of_a_person(flow, stop.rule),
        taken_up=tuple(_taken_up(state, run, stop)),
        lifted=_lifted(state, stop, run),
        looked_at=stop.looked_at,
    )


def _taken_up(state: State, run: Clock, stop: Stop) -> Iterator[TakenUpLine]:
    """Each time that the bike was gone on with while this stop stood, as far as it was not taken back."""
    for entry in acting(state):
        event = entry.event
        if isinstance(event, events.TakenUp) and stop.rule in event.rules and entry.seq > stop.seq:
            yield TakenUpLine(event.by, event.words, spoken(entry, run))


def _lifted(state: State, stop: Stop, run: Clock) -> Voice | None:
    """Who lifted a stop, and when; None while it stands."""
    lifts = (
        entry
        for entry in acting(state)
        if isinstance(entry.event, events.StopLifted) and entry.event.rule == stop.rule
    )
    lift = next((entry for entry in lifts if entry.seq > stop.seq), None) if stop.lifted_by else None
    return spoken(lift, run) if lift else None


def _because(flow: Flow, state: State, seqs: Sequence[int]) -> Iterator[str]:
    for entry in state.entries:
        if entry.seq in seqs and isinstance(entry.event, events.Answered) and entry.event.ask in flow.asks:
            yield answer_text(flow, entry.event)
        elif entry.seq in seqs and isinstance(entry.event, events.CauseConfirmed):
            yield named_cause(flow, entry.event.cause, entry.event.words)


def _lifter(flow: Flow, by: str) -> str:
    """What lifted a stop, in words: a check, a remedy, or `mechanic`, `doctor` or `slip` as they are."""
    name = by.partition(".")[0]
    if name in flow.asks:
        return brief(flow.asks[name])
    return flow.remedies[name].name if name in flow.remedies else by
