"""The facts of a case as JSON for other programs, in the published form of `sheet_form.py`."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from bot.reports import sheet
from bot.reports.ahead import LeftOut
from bot.reports.lines import doing
from bot.reports.sheet import OTHER, Facts
from bot.reports.sheet_form import VERSION, Sheet
from bot.reports.wording import ENGLISH

_RANKS = {4: "mechanic_looked", 3: "rider_looked", 2: "asked", 1: "told_unasked", 0: "from_book"}
_HELD = {
    "held": "so_far", "same": "changed_nothing", "came-back": "came_back", "not-proved": "not_proved_yet",
    "": "not_proved_yet",
}  # fmt: skip
_DIGEST = re.compile(r"[0-9a-f]{64}")


def write(facts: Facts) -> str:
    """The sheet as JSON text, indented, ending in a line break."""
    return json.dumps(dump(facts), ensure_ascii=False, indent=1) + "\n"


def dump(facts: Facts) -> dict[str, Any]:
    """The sheet as plain data that fits the published schema."""
    made = Sheet.model_validate({**_head(facts), **_search(facts), **_hands(facts), **_rest(facts)})
    return made.model_dump(mode="json")


# --- the case --------------------------------------------------------------------------------


def _head(facts: Facts) -> dict[str, Any]:
    vin = facts.vin and {
        "text": facts.vin.text, "check_digit": facts.vin.digit, "read_again": facts.vin.reread,
    }  # fmt: skip
    features = [{"asked": asked, "answer": answer} for asked, answer in facts.traits]
    bike = {"nickname": facts.bike, "hours": facts.hours, "features": features, "vin": vin}
    return {
        "sheet": VERSION,
        "written": facts.written_at,
        "flow": facts.title,
        "flow_version": facts.version,
        "bike": bike,
        "complaint": facts.complaint,
        "ended": facts.ended or None,
        "stops": [_stop(stop) for stop in facts.stops],
        "next": _next(facts),
    }


_TAKEN = {"other": "somebody_else", "rider": "who_was_hurt"}


def _by(voice: sheet.Voice) -> dict[str, Any]:
    name = voice.who if voice.who not in ("", voice.role) else None
    return {"role": voice.role, "name": name, "at": voice.at, "hours": voice.hours}


def _stop(stop: sheet.StopLine) -> dict[str, Any]:
    return {
        "kind": stop.kind, "says": stop.say, "bars": stop.bars, "since": stop.at,
        "because": [_answer(because) for because in stop.because], "stands": stop.stands,
        "lifted_by": stop.lifted_by or None, "ran_after_minutes": stop.ran_after,
        "about_a_person": stop.person,
        "taken_up": [
            {"who": _TAKEN[taken.by], "words": taken.words, "by": _by(taken.voice)} for taken in stop.taken_up
        ],
        "lifted": stop.lifted and _by(stop.lifted), "looked_at": stop.looked_at or None,
    }  # fmt: skip


def _answer(answer: str) -> str:
    """An answer in words; damage without a name is worded here."""
    return ", ".join(ENGLISH["other"] if part == OTHER else part for part in answer.split(", "))


def _next(facts: Facts) -> dict[str, Any]:
    ahead = facts.ahead
    return {
        "do": next(doing(facts, ENGLISH), ""), "kind": ahead.kind, "why": ahead.why,
        "costs_minutes": ahead.costs, "saves_minutes": ahead.saves,
        "minutes_to_the_end": ahead.minutes,
        "hand_over_minutes": ahead.giving_up, "hand_over_money": ahead.giving_up_money,
    }  # fmt: skip


# --- the search ------------------------------------------------------------------------------


def _search(facts: Facts) -> dict[str, Any]:
    unsure = [{"asked": asked, "why": "not_sure"} for asked in facts.not_sure]
    return {
        "findings": [_finding(finding) for finding in facts.findings],
        "suspects": [_suspect(suspect) for suspect in facts.suspects],
        "unlisted": {"standing": _plain(facts.unlisted_standing), "chance": facts.unlisted},
        "findings_fit": not facts.misfit,
        "chance_fixed": facts.fixed if facts.repairs else None,
        "not_judged": [*unsure, *({"asked": asked, "why": "cannot_here"} for asked in facts.cant)],
        "left_for_garage": [_left(left) for left in facts.ahead.left_out],
    }


def _left(left: LeftOut) -> dict[str, Any]:
    return {"what": left.what, "why": "cannot_here" if left.why == "cant" else left.why}


def _plain(standing: str) -> str:
    return standing.replace("-", "_")


def _finding(finding: sheet.FindingLine) -> dict[str, Any]:
    earlier = [
        {"answer": _answer(lost.answer), "by": _by(lost.voice), "taken_back": lost.taken_back}
        for lost in finding.lost
    ]
    return {
        "asked": finding.question, "answer": _answer(finding.answer), "certainty": _RANKS[finding.rank],
        "by": _by(finding.voice), "after_repairs": finding.slice, "round": finding.round,
        "nothing_seen": finding.quiet, "earlier": earlier,
    }  # fmt: skip


def _suspect(suspect: sheet.SuspectLine) -> dict[str, Any]:
    look = suspect.look and {
        "asked": suspect.look.question, "answer": _answer(suspect.look.answer), "said": suspect.look.said,
        "by": _by(suspect.look.voice), "finds_of_10": suspect.look.finds_of_10,
    }  # fmt: skip
    return {
        "name": suspect.name, "standing": _plain(suspect.standing), "chance": suspect.chance,
        "look_made": suspect.look_made, "look": look, "stale": suspect.stale or None,
        "no_such_part": suspect.excluded_by or None, "repaired_by": suspect.remedy or None,
        "speaks_for": [_speaks(said) for said in suspect.speaks_for],
        "speaks_against": [_speaks(said) for said in suspect.speaks_against],
    }  # fmt: skip


def _speaks(said: sheet.Speaks) -> dict[str, Any]:
    return {"finding": said.finding, "strength": said.strength}


# --- what hands did --------------------------------------------------------------------------


def _hands(facts: Facts) -> dict[str, Any]:
    return {
        "repairs": [_repair(repair) for repair in facts.repairs],
        "in_hand": facts.in_hand and _in_hand(facts.in_hand),
        "access": [_access(line) for line in facts.access],
        "not_confirmed": [{"work": work, "point": point} for work, point in facts.not_confirmed()],
        "looks_to_come": [
            {"do": look.do, "after_minutes": look.after_minutes, "after_hours": look.after_hours,
             "running": look.running, "basis": look.basis}
            for look in facts.looks_again
        ],
        "parts_fitted": [_fitted(part) for part in facts.fitted],
        "work_in_book": [
            {"what": work.what, "day": work.day, "hours": work.hours, "engine_opened": work.opened}
            for work in facts.worked
        ],
        "book_lines_left_out": facts.book_earlier,
    }  # fmt: skip


def _repair(repair: sheet.RepairLine) -> dict[str, Any]:
    return {
        "name": repair.name, "by": _by(repair.voice), "on_suspicion": repair.suspicion,
        "held": _HELD[repair.held], "chance_fixed": repair.fixed, "clean_hours": repair.clean_hours,
        "not_confirmed": repair.unconfirmed, "parts_told": repair.parts_told,
    }  # fmt: skip


def _in_hand(line: sheet.InHandLine) -> dict[str, Any]:
    return {
        "name": line.name, "by": _by(line.voice), "on_suspicion": line.suspicion, "told_done": line.told,
        "parts_told": line.parts_told,
    }  # fmt: skip


def _access(line: sheet.AccessLine) -> dict[str, Any]:
    return {
        "name": line.name, "open_now": line.open, "first_opened": _by(line.opened), "times": line.times,
        "not_confirmed": line.unconfirmed,
    }  # fmt: skip


def _fitted(part: sheet.PartLine) -> dict[str, Any]:
    return {
        "name": part.name, "quantity": part.quantity, "price": part.price, "currency": part.currency or None,
        "source": part.source, "work": part.for_work or None, "day": part.day, "hours": part.hours,
    }  # fmt: skip


# --- money, files, the mechanic --------------------------------------------------------------


def _rest(facts: Facts) -> dict[str, Any]:
    trend = facts.trend and {"words": facts.trend.words, "direction": facts.trend.direction}
    return {
        "trend": trend,
        "parts_to_order": [
            {"name": line.name, "quantity": line.quantity, "price": line.price,
             "new_each_time": line.single_use, "on_suspicion": line.suspicion}
            for line in facts.order.lines
        ],
        "order_total": facts.order.total,
        "order_total_without_suspicion": facts.order.sure,
        "minutes_spent": facts.minutes_spent,
        "money_spent": facts.money_spent,
        "currency": facts.currency or None,
        "prices_as_of": facts.as_of or None,
        "files": list(_files(facts)),
        "notes": [{"words": note.words, "by": _by(note.voice)} for note in facts.notes if note.words],
        "mechanic": _mechanic(facts),
    }  # fmt: skip


def _files(facts: Facts) -> Iterator[dict[str, Any]]:
    for file, voice in facts.files():
        digest = file.digest if _DIGEST.fullmatch(file.digest) else None
        yield {"kind": file.kind, "number": file.n, "about": file.about, "digest": digest, "by": _by(voice)}


def _mechanic(facts: Facts) -> dict[str, Any]:
    return {
        "holders": facts.holders,
        "questions": [
            {"words": query.words, "by": _by(query.asked),
             "answer": query.answer if query.answered else None,
             "answered": _by(query.answered) if query.answered else None}
            for query in facts.queries
        ],
        "confirmed": [
            {"cause": sure.cause or None, "words": sure.words, "how": sure.how, "by": _by(sure.voice),
             "after_repairs": sure.slice}
            for sure in facts.confirmed
        ],
        "outcome": facts.outcome and {
            "result": facts.outcome.result, "cause": facts.outcome.cause or None,
            "words": facts.outcome.words, "how": facts.outcome.how or None, "by": _by(facts.outcome.voice),
        },
    }  # fmt: skip
