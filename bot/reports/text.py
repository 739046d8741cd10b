"""A case as text: the short sheet for a phone, and the whole one in which nothing is left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from bot.core import odds, plan
from bot.core.desk import Desk
from bot.core.flow import Flow
from bot.core.state import State
from bot.core.words import Words
from bot.reports import pocket, sms, work_lines
from bot.reports.ahead import look_ahead
from bot.reports.facts import NO_BOOK, facts
from bot.reports.lines import (
    MOST,
    again,
    answer_words,
    asked,
    because,
    chance,
    doing,
    file_bare,
    file_name,
    garage,
    hours,
    lifting,
    listed,
    moment,
    order,
    price,
    ran_after,
    stop_words,
    taken_up,
    under,
    voice,
    wrap,
)
from bot.reports.sheet import Facts, FindingLine, LookLine, StopLine, SuspectLine
from bot.reports.wording import ENGLISH, Wording

__all__ = ["PHONE", "TERMINAL", "facts_of", "in_words", "summary", "whole", "wrap", "write"]

PHONE, TERMINAL = 38, 78  # columns
BARE = Words("en", {}, {}, {})
# Standings whose suspects are told one by one; the rest are only named.
TOLD = ("found", "repaired", "suspected", "still-possible", "ruled-out")


def summary(flow: Flow, state: State, now: datetime, desk: Desk | None = None) -> str:
    """The short sheet of a case as text. `desk` brings the rider's standing settings."""
    return pocket.write(facts_of(flow, state, now, desk), in_words(desk))


def whole(flow: Flow, state: State, now: datetime, desk: Desk | None = None) -> str:
    """The sheet of a case with everything that is known of it, one fact a line."""
    return write(facts_of(flow, state, now, desk), in_words(desk))


def brief(flow: Flow, state: State, now: datetime, desk: Desk | None = None) -> str:
    """The sheet of a case in at most three text messages."""
    return sms.sms(facts_of(flow, state, now, desk), in_words(desk))


def in_words(desk: Desk | None) -> Wording:
    """The wording of sheets in the language of a desk."""
    return {**ENGLISH, **desk.words.sheets} if desk and desk.words.sheets else ENGLISH


def facts_of(flow: Flow, state: State, now: datetime, desk: Desk | None = None) -> Facts:
    """The facts of a case with its beliefs and what comes next worked out."""
    desk = desk or Desk(BARE, (), {state.hash: flow}, summary=summary)
    after, before = plan.beliefs(flow, state), odds.prior(flow, plan.known(state))
    book = desk.books(state.bike) if state.bike else NO_BOOK
    words = desk.words if desk.words.texts else None
    return facts(flow, state, after, before, now, look_ahead(desk, flow, state, now), book, words)


def write(sheet: Facts, say: Wording = ENGLISH, width: int = 0) -> str:
    """The whole sheet as text. `width`: columns to wrap at, 0 for one fact a line."""
    parts = (
        _stops, _head, _mechanics, _findings, _suspects, _repairs, _access, _ahead, _order, _again, _not_sure,
        _left_out, _fitted, _worked, _trend, _notes,
    )  # fmt: skip
    blocks = ("\n".join(lines) for part in parts if (lines := list(part(sheet, say))))
    return wrap("\n\n".join([*blocks, say["outranked"]]), width)


# --- stops, words, bike ------------------------------------------------------------------------


def _stops(sheet: Facts, say: Wording) -> Iterator[str]:
    yield say["stops"]
    if not any(s.stands for s in sheet.stops):
        yield say["stop.none"]
    for stop in sheet.stops:
        yield f"- {stop_words(stop, say)}"
        yield "  " + " ".join(_stop_more(stop, say))


def _stop_more(stop: StopLine, say: Wording) -> Iterator[str]:
    yield say["stop.since"].format(at=moment(stop.at))
    yield from because(stop, say)
    yield from taken_up(stop, say)
    ran = list(ran_after(stop, say))
    yield from ran if ran or not stop.stands or stop.person else [say["stop.not_run"]]
    yield from lifting(stop, say)


def _head(sheet: Facts, say: Wording) -> Iterator[str]:
    key = "head" if sheet.bike else "head.no_bike"
    yield say[key].format(bike=sheet.bike, title=sheet.title)
    yield say["written"].format(at=moment(sheet.written_at), version=sheet.version)
    if sheet.ended:
        yield say[f"ended.{sheet.ended}"]
    if sheet.complaint:
        yield say["complaint"].format(complaint=" ".join(sheet.complaint.split()))
    run = hours(sheet.hours)
    yield say["hours" if run else "hours.unknown"].format(hours=run)
    if sheet.vin:
        yield work_lines.vin(sheet.vin, say)
    for ask, answer in sheet.traits:
        yield say["trait"].format(ask=asked(ask), answer=answer)


def _mechanics(sheet: Facts, say: Wording) -> Iterator[str]:
    """How it came out, what a mechanic is sure of, what he asked; nothing while none has had a part in it."""
    told = [work_lines.outcome(sheet.outcome, say)] if sheet.outcome else []
    told += [work_lines.confirmed(line, say) for line in sheet.confirmed]
    lines = [f"- {line}" for line in told]
    for query, answer in work_lines.queries(sheet, say, file_bare):
        lines += [f"- {query}", f"  {answer}"]
    if sheet.holders:
        lines.append(work_lines.holders(sheet.holders, say))
    if lines:
        yield say["mechanics"]
        yield from lines


# --- findings ----------------------------------------------------------------------------------


def _findings(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.findings:
        yield say["findings"]
    for finding in sheet.findings:
        yield f"- {_finding(finding, say)}"


def _finding(finding: FindingLine, say: Wording) -> str:
    """The value that counts, with who and how sure; then those that no longer do."""
    more = [voice(finding.voice, say)]
    more += [say["finding.after_work"].format(n=finding.slice)] if finding.slice else []
    more += [say["finding.round"].format(n=finding.round)] if finding.round else []
    for lost in finding.lost:
        same = lost.voice.role == finding.voice.role
        key = "finding.taken_back" if lost.taken_back else "finding.lost" if same else "finding.also"
        role = say[f"role.{lost.voice.role}"]
        more.append(say[key].format(answer=answer_words(lost.answer, say), role=role))
    return say["finding"].format(
        question=asked(finding.question),
        answer=answer_words(finding.answer, say),
        sure=say[f"sure.{finding.rank}"],
        voice="; ".join(more),
    )


# --- suspects ----------------------------------------------------------------------------------


def _suspects(sheet: Facts, say: Wording) -> Iterator[str]:
    """One by one those that stand out, a look in full where it is first named; then the rest by standing."""
    yield say["suspects"]
    if sheet.misfit:
        yield say["misfit"]
    seen: set[LookLine] = set()
    for suspect in sheet.suspects:
        if not suspect.excluded_by and (suspect.standing in TOLD or suspect.stale):
            yield from _suspect(suspect, seen, say)
    yield from _no_such_part(sheet, say)
    for standing in ("not-looked-at", "unlikely"):
        rest = [s for s in sheet.suspects if s.standing == standing and not s.stale]
        for made in (True, False):
            if named := [s for s in rest if s.look_made == made]:
                yield f"- {_named(named, standing, made, say)}"
    yield f"- {say['unlisted'].format(chance=chance(sheet.unlisted, say))}"


def _named(suspects: Sequence[SuspectLine], standing: str, made: bool, say: Wording) -> str:
    names, below = listed(s.name for s in suspects), under((s.chance for s in suspects), say)
    key = "suspects.looked" if made else "suspects.no_look"
    return say[key].format(standing=say[f"standing.{standing}"], below=below, list=names)


def _no_such_part(sheet: Facts, say: Wording) -> Iterator[str]:
    """What the bike's own features rule out, by feature."""
    for ask in dict.fromkeys(s.excluded_by for s in sheet.suspects if s.excluded_by):
        names = listed(s.name for s in sheet.suspects if s.excluded_by == ask)
        yield "- " + say["suspects.trait"].format(ask=ask, list=names)


def _suspect(s: SuspectLine, seen: set[LookLine], say: Wording) -> Iterator[str]:
    key = "suspect" if s.look_made else "suspect.no_look"
    standing = say[f"standing.{s.standing}"]
    yield "- " + say[key].format(name=s.name, standing=standing, chance=chance(s.chance, say))
    if s.remedy:
        yield "  " + say["suspect.repaired"].format(remedy=s.remedy)
    if s.look:
        yield "  " + " ".join(_look(s.look, seen, say))
    if s.stale and s.look:
        run, why = hours(s.look.voice.hours), say[f"stale.{s.stale}"]
        key = "suspect.stale" if run else "suspect.stale.unknown"
        yield "  " + say[key].format(hours=run, at=moment(s.look.voice.at), why=why)
    for key, told in (("speaks.for", s.speaks_for), ("speaks.against", s.speaks_against)):
        if told:
            yield "  " + say[key].format(list=work_lines.speaking(told, say))


def _look(look: LookLine, seen: set[LookLine], say: Wording) -> Iterator[str]:
    """A look with its answer and voice, or only its name where all of that was just said."""
    told = replace(look, finds_of_10=0)
    key = "suspect.same_look" if told in seen else "suspect.look"
    seen.add(told)
    answer = answer_words(look.answer, say)
    yield say[key].format(question=asked(look.question), answer=answer, voice=voice(look.voice, say))
    key = "suspect.finds.most" if look.finds_of_10 >= MOST else "suspect.finds"
    yield say[key].format(n=f"{look.finds_of_10:.0f}")


# --- work, and what comes next -------------------------------------------------------------------


def _repairs(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.repairs or sheet.in_hand:
        yield say["repairs"]
    if sheet.in_hand:
        yield f"- {work_lines.in_hand(sheet.in_hand, voice(sheet.in_hand.voice, say), say)}"
        if told := work_lines.parts_told(sheet.in_hand.parts_told, sheet, say):
            yield f"  {told}"
    for repair in sheet.repairs:
        key = "repair.suspicion" if repair.suspicion else "repair"
        yield "- " + say[key].format(name=repair.name, voice=voice(repair.voice, say))
        for told in (work_lines.held(repair, say), work_lines.parts_told(repair.parts_told, sheet, say)):
            if told:
                yield f"  {told}"
        for point in repair.unconfirmed:
            yield "  " + say["repair.unconfirmed"].format(point=point)


def _access(sheet: Facts, say: Wording) -> Iterator[str]:
    """What was opened, what is open still first; points that a repair names already are not said again."""
    if sheet.access:
        yield say["access"]
    told = {point for repair in sheet.repairs for point in repair.unconfirmed}
    for line in sorted(sheet.access, key=lambda line: not line.open):
        yield f"- {work_lines.access(line, say)}"
        for point in line.unconfirmed:
            if point not in told:
                yield "  " + say["repair.unconfirmed"].format(point=point)


def _ahead(sheet: Facts, say: Wording) -> Iterator[str]:
    yield say["ahead"]
    for lead, line in zip(("- ", "  "), doing(sheet, say), strict=False):
        yield lead + line
    yield from price(sheet, say)


def _order(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.order.lines:
        yield say["order"]
    yield from order(sheet, say)


def _again(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.looks_again:
        yield say["again"]
        yield from (f"- {again(look, say)}" for look in sheet.looks_again)
        yield say[f"basis.{sheet.looks_again[0].basis}"]


def _not_sure(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.not_sure:
        yield say["not_sure"]
        yield from (f"- {question}" for question in sheet.not_sure)


def _left_out(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.ahead.left_out:
        yield say["left_out"]
        yield from (f"- {why}: {listed(names)}" for why, names in garage(sheet.ahead.left_out, say).items())


def _fitted(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.fitted:
        yield say["fitted"]
        yield from (f"- {work_lines.part(line, say)}" for line in sheet.fitted)


def _worked(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.worked:
        yield say["worked.head"]
        yield from (f"- {work_lines.worked(line, say)}" for line in sheet.worked)
    yield from work_lines.earlier(sheet, say)


def _trend(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.trend:
        yield say["trend"]
        yield f"- {sheet.trend.words}"


def _notes(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.notes:
        yield say["notes"]
    for note in sheet.notes:
        key = "note" if not note.file_kind else "note.both" if note.words else "note.file"
        words = " ".join(note.words.split())
        kind = listed(file_name(file, say) for file in note.files) or note.file_kind
        yield "- " + say[key].format(words=words, kind=kind, voice=voice(note.voice, say))
