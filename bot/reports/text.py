"""A case as plain text: short lines that read well on a phone, and in 80 columns when wrapped."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from datetime import datetime

from bot.core import odds, plan
from bot.core.desk import Desk
from bot.core.flow import Flow
from bot.core.state import State
from bot.core.words import Words
from bot.reports.ahead import look_ahead
from bot.reports.facts import facts
from bot.reports.sheet import OTHER, Facts, FindingLine, Hours, LookLine, StopLine, SuspectLine, Voice
from bot.reports.wording import ENGLISH, Wording

PHONE, TERMINAL = 38, 78  # columns
BARE = Words("en", {}, {}, {})
# Standings whose suspects are told one by one; the rest are only named.
TOLD = ("found", "repaired", "suspected", "still-possible", "ruled-out")
MOST = 9.5  # looks that find more of 10 are not called certain


def summary(flow: Flow, state: State, now: datetime, desk: Desk | None = None) -> str:
    """The sheet of a case as text, one fact a line. `desk` brings the rider's standing settings."""
    return write(facts_of(flow, state, now, desk))


def facts_of(flow: Flow, state: State, now: datetime, desk: Desk | None = None) -> Facts:
    """The facts of a case with its beliefs and what comes next worked out."""
    desk = desk or Desk(BARE, (), {state.hash: flow}, summary=summary)
    after, before = plan.beliefs(flow, state), odds.prior(flow, plan.known(state))
    return facts(flow, state, after, before, now, look_ahead(desk, flow, state, now))


def write(sheet: Facts, say: Wording = ENGLISH, width: int = 0) -> str:
    """The sheet as text. `width`: columns to wrap at, 0 for one fact a line."""
    parts = (_head, _stops, _suspects, _ahead, _findings, _repairs, _again, _left_out, _order, _notes)
    blocks = ("\n".join(lines) for part in parts if (lines := list(part(sheet, say))))
    return wrap("\n\n".join([*blocks, say["outranked"]]), width)


def wrap(text: str, width: int) -> str:
    """Lines cut at words to `width` columns; what belongs to a point stays under it."""
    if not width:
        return text
    return "\n".join(cut for line in text.split("\n") for cut in _cut(line, width))


def _cut(line: str, width: int) -> list[str]:
    lead = "  " if line.startswith(("- ", "  ")) else ""
    return textwrap.wrap(line, width, subsequent_indent=lead, break_on_hyphens=False) or [""]


# --- small words -------------------------------------------------------------------------------


def moment(at: str) -> str:
    """A stored time as people read it, in UTC."""
    return at[:16].replace("T", " ")


def hours(told: Hours) -> str:
    """'43 h' or '40 to 50 h'; '' when not known."""
    if told is None:
        return ""
    low, high = (f"{round(x, 1):g}" for x in told)
    return f"{low} h" if low == high else f"{low} to {high} h"


def chance(p: float, say: Wording) -> str:
    """A chance of 100; never none and never certain."""
    n = round(100 * p)
    if 0 < n < 100:
        return say["chance"].format(n=n)
    return say["chance.over" if n else "chance.under"]


def voice(v: Voice, say: Wording) -> str:
    """Who, when, and at what running hours."""
    who, run = say[f"role.{v.role}"], hours(v.hours)
    if v.who not in ("", v.role):
        who = say["voice.named"].format(role=who, name=v.who)
    key = "voice.hours" if run else "voice"
    return say[key].format(who=who, at=moment(v.at), hours=run)


def _answer(answer: str, say: Wording) -> str:
    """An answer in the flow's words; damage without a name is worded here."""
    parts = [say["other"] if part == OTHER else part for part in answer.split(", ")]
    return ", ".join(parts).rstrip(".")


def _asked(question: str) -> str:
    """A question before its answer: what is no question ends in a colon."""
    return question if question.endswith(("?", ":")) else question.rstrip(".") + ":"


def _money(amount: float, sheet: Facts, say: Wording) -> str:
    if not (amount and sheet.currency):
        return ""
    return say["money"].format(amount=f"{amount:g}", currency=sheet.currency)


def _minutes(n: float, say: Wording) -> str:
    return say["minutes"].format(n=f"{n:.0f}")


# --- the parts of the sheet ----------------------------------------------------------------------


def _head(sheet: Facts, say: Wording) -> Iterator[str]:
    key = "head" if sheet.bike else "head.no_bike"
    yield say[key].format(bike=sheet.bike, title=sheet.title)
    yield say["written"].format(at=moment(sheet.written_at), version=sheet.version)
    if sheet.ended:
        yield say[f"ended.{sheet.ended}"]
    run = hours(sheet.hours)
    yield say["hours" if run else "hours.unknown"].format(hours=run)
    if sheet.complaint:
        yield say["complaint"].format(complaint=" ".join(sheet.complaint.split()))
    for ask, answer in sheet.traits:
        yield say["trait"].format(ask=_asked(ask), answer=answer)


def _stops(sheet: Facts, say: Wording) -> Iterator[str]:
    yield say["stops"]
    for stop in sheet.stops:
        yield f"- {stop_words(stop, say)}"
        yield "  " + " ".join(_stop_more(stop, say))
    if not any(s.stands for s in sheet.stops):
        yield say["stop.none"]


def stop_words(stop: StopLine, say: Wording) -> str:
    """What a stop says; a lifted one says by what."""
    told = stop.say or say[f"stop.{stop.kind}"]
    if stop.stands:
        return say["stop.running" if "running" in stop.bars else "stop.riding"].format(say=told)
    by = say.get(f"by.{stop.lifted_by}", stop.lifted_by)
    return say["stop.lifted"].format(by=by, say=told)


def _stop_more(stop: StopLine, say: Wording) -> Iterator[str]:
    yield say["stop.since"].format(at=moment(stop.at))
    if stop.because:
        yield say["stop.because"].format(because="; ".join(_answer(b, say) for b in stop.because))
    for ran in stop.ran_after:
        known = say["stop.ran"].format(minutes=_minutes(ran or 0, say))
        yield say["stop.ran.unknown"] if ran is None else known


def _suspects(sheet: Facts, say: Wording) -> Iterator[str]:
    yield say["suspects"]
    if sheet.misfit:
        yield say["misfit"]
    for suspect in sheet.suspects:
        if suspect.standing in TOLD or suspect.stale:
            yield from _suspect(suspect, say)
    for standing in ("not-looked-at", "unlikely"):
        named = [s.name for s in sheet.suspects if s.standing == standing and not s.stale]
        if named:
            yield f"- {say[f'standing.{standing}']}: {', '.join(named)}"
    yield f"- {say['unlisted'].format(chance=chance(sheet.unlisted, say))}"
    without = [s.name for s in sheet.suspects if not s.look_made and not s.excluded_by]
    if without:
        yield f"{say['no_look']}: {', '.join(without)}"


def _suspect(s: SuspectLine, say: Wording) -> Iterator[str]:
    key = "suspect" if s.look_made or s.excluded_by else "suspect.no_look"
    standing = say[f"standing.{s.standing}"]
    yield "- " + say[key].format(name=s.name, standing=standing, chance=chance(s.chance, say))
    if s.excluded_by:
        yield "  " + say["suspect.trait"].format(ask=s.excluded_by)
        return
    if s.remedy:
        yield "  " + say["suspect.repaired"].format(remedy=s.remedy)
    if s.look:
        yield "  " + " ".join(_look(s.look, say))
    if s.stale and s.look:
        run, why = hours(s.look.voice.hours), say[f"stale.{s.stale}"]
        key = "suspect.stale" if run else "suspect.stale.unknown"
        yield "  " + say[key].format(hours=run, at=moment(s.look.voice.at), why=why)


def _look(look: LookLine, say: Wording) -> Iterator[str]:
    answer = _answer(look.answer, say)
    yield say["suspect.look"].format(
        question=_asked(look.question), answer=answer, voice=voice(look.voice, say)
    )
    key = "suspect.finds.most" if look.finds_of_10 >= MOST else "suspect.finds"
    yield say[key].format(n=f"{look.finds_of_10:.0f}")


def _findings(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.findings:
        yield say["findings"]
    for finding in sheet.findings:
        yield f"- {_finding(finding, say)}"
    if sheet.not_sure:
        yield say["not_sure"].format(list="; ".join(sheet.not_sure))


def _finding(finding: FindingLine, say: Wording) -> str:
    """The value that counts, with who and how sure; then those that no longer do."""
    more = [voice(finding.voice, say)]
    more += [say["finding.after_work"].format(n=finding.slice)] if finding.slice else []
    more += [say["finding.round"].format(n=finding.round)] if finding.round else []
    for lost in finding.lost:
        earlier = lost.voice.at < finding.voice.at or lost.voice.role == finding.voice.role
        key = "finding.taken_back" if lost.taken_back else "finding.lost" if earlier else "finding.also"
        more.append(say[key].format(answer=_answer(lost.answer, say), role=say[f"role.{lost.voice.role}"]))
    return say["finding"].format(
        question=_asked(finding.question),
        answer=_answer(finding.answer, say),
        sure=say[f"sure.{finding.rank}"],
        voice="; ".join(more),
    )


def _repairs(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.repairs:
        yield say["repairs"]
    for repair in sheet.repairs:
        key = "repair.suspicion" if repair.suspicion else "repair"
        yield "- " + say[key].format(name=repair.name, voice=voice(repair.voice, say))
        for point in repair.unconfirmed:
            yield "  " + say["repair.unconfirmed"].format(point=point)


def _again(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.looks_again:
        yield say["again"]
    for look in sheet.looks_again:
        minutes, run = look.after_minutes, look.after_hours
        key = "again.minutes" if minutes else "again.hours" if run else "again.plain"
        running = say[f"running.{look.running}"]
        yield "- " + say[key].format(n=f"{minutes or run or 0:g}", running=running, do=look.do)
    if sheet.looks_again:
        yield say[f"basis.{sheet.looks_again[0].basis}"]


def next_words(sheet: Facts, say: Wording) -> str:
    """What comes next in one line; '' when nothing does."""
    ahead = sheet.ahead
    key = f"next.{ahead.kind}"
    return say[key if key in say else "next.other"].format(what=ahead.what).strip()


def goes_on(sheet: Facts) -> bool:
    """Whether a next step is worth naming: also to the mechanic that it was handed to."""
    if sheet.ended == "handed_over":
        return sheet.ahead.kind != "hand_over"
    return sheet.ended in ("", "parked", "put_off")


def _ahead(sheet: Facts, say: Wording) -> Iterator[str]:
    ahead = sheet.ahead
    yield say["ahead"]
    if (line := next_words(sheet, say)) and goes_on(sheet):
        yield f"- {line}"
        if (why := say.get(f"why.{ahead.why}")) is not None:
            yield "  " + why.format(costs=f"{ahead.costs or 0:.0f}", saves=f"{ahead.saves or 0:.0f}")
    money = _money(sheet.money_spent, sheet, say)
    yield say["spent"].format(minutes=_minutes(sheet.minutes_spent, say), money=money)
    if ahead.minutes and sheet.ended not in ("proved", "released"):
        money = _money(sheet.order.total, sheet, say)
        yield say["expected"].format(minutes=_minutes(ahead.minutes, say), money=money)


def _left_out(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.ahead.left_out:
        yield say["left_out"]
    for left in sheet.ahead.left_out:
        yield "- " + say["left_out.line"].format(what=left.what, why=say[f"left.{left.why}"])


def _order(sheet: Facts, say: Wording) -> Iterator[str]:
    order, money = sheet.order, sheet.currency
    if not order.lines:
        return
    yield say["order"]
    for line in order.lines:
        price = say["order.unpriced"]
        if line.price is not None and money:
            price = say["order.price"].format(amount=f"{line.price:g}", currency=money)
        key = "order.single" if line.single_use else "order.line"
        told = say[key].format(n=line.quantity, name=line.name, price=price)
        yield f"- {told}{say['order.suspicion'] if line.suspicion else ''}"
    yield from _totals(sheet, say)


def _totals(sheet: Facts, say: Wording) -> Iterable[str]:
    order, ahead = sheet.order, sheet.ahead
    if sheet.currency:
        yield say["order.total"].format(
            total=f"{order.total:g}", sure=f"{order.sure:g}", currency=sheet.currency, as_of=sheet.as_of
        )
    if order.unpriced:
        yield say["order.missing"].format(n=order.unpriced)
    minutes, money = _minutes(ahead.giving_up, say), _money(ahead.giving_up_money, sheet, say)
    yield say["order.giving_up"].format(minutes=minutes, money=money)


def _notes(sheet: Facts, say: Wording) -> Iterator[str]:
    if sheet.notes:
        yield say["notes"]
    for note in sheet.notes:
        key = "note" if not note.file_kind else "note.both" if note.words else "note.file"
        words = " ".join(note.words.split())
        yield "- " + say[key].format(words=words, kind=note.file_kind, voice=voice(note.voice, say))
