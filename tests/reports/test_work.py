"""What hands did: whether repairs held, what was opened, what nobody confirmed, what was fitted."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from bot.authoring.wording import read_words
from bot.core import events
from bot.core.book import Book
from bot.core.desk import Desk
from bot.reports import pocket, text
from bot.reports.sheet import Facts
from tests.rattle import FLOW, Diary, opened
from tests.reports.sheets_drawn import book

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def of(case: Diary, kept: Book | None = None) -> Facts:
    """The facts of a case, with the book of its bike."""
    desk = Desk(read_words(), (), {"abc": FLOW}, summary=text.summary, books=lambda bike: kept or Book())
    return text.facts_of(FLOW, case.state, NOON, desk)


def mended() -> Diary:
    return opened().mend("refit-nut", "nut-loose")


def looked(case: Diary, verdict: str, hours: float = 2) -> Diary:
    """A second look after so many running hours."""
    case.add(events.WatchSet(plan="debris", index=0, for_remedy="refit-nut"))
    case.add(events.LookRound(plan="debris", index=0, ran_hours=hours))
    return case.add(events.LookJudged(plan="debris", index=0, verdict=verdict))  # type: ignore[arg-type]


# --- whether it held -------------------------------------------------------------------------


def test_a_repair_of_which_nothing_was_told_is_not_proved_yet() -> None:
    [repair] = of(mended()).repairs
    assert (repair.held, repair.fixed, repair.clean_hours) == ("not-proved", None, None)
    assert "  Not proved yet." in text.whole(FLOW, mended().state, NOON).split("\n")


def test_clean_running_hours_are_counted_up_to_the_last_clean_look() -> None:
    case = mended().add(events.ProofRun(remedy="refit-nut", minutes=30)).add(events.SaidOfRepair(word="gone"))
    sheet = of(looked(looked(case, "clean"), "clean", 4.5))
    [repair] = sheet.repairs
    assert (repair.held, repair.clean_hours) == ("held", 0.5 + 2 + 4.5)
    assert repair.fixed == pytest.approx(sheet.fixed)
    told = [line for line in text.write(sheet).split("\n") if "It held so far" in line]
    assert [line.partition(" Chance")[0] for line in told] == ["  It held so far, 7 clean running hours."]


def test_running_after_the_last_look_is_not_known_to_be_clean() -> None:
    [repair] = of(looked(mended(), "clean").add(events.Ran(hours=9))).repairs
    assert repair.clean_hours == 2


def test_less_is_no_clean_look() -> None:
    [repair] = of(looked(mended(), "less")).repairs
    assert (repair.held, repair.clean_hours) == ("held", None)


def test_a_repair_that_changed_nothing_and_the_one_after_it() -> None:
    case = mended().add(events.SaidOfRepair(word="same")).mend("file-basket", "basket-worn")
    case.add(events.SaidOfRepair(word="gone"))
    assert [(r.name, r.held, r.fixed is None) for r in of(case).repairs] == [
        ("Refit the drive nut", "same", True),
        ("New clutch basket", "held", False),
    ]


def test_it_came_back_after_so_many_hours_and_the_second_try_held() -> None:
    case = mended().add(events.SaidOfRepair(word="gone")).add(events.Ran(hours=3))
    case.add(events.SaidOfRepair(word="came_back")).add(events.Reopened(why="came_back", remedy="refit-nut"))
    case.mend("refit-nut", "nut-loose").add(events.SaidOfRepair(word="gone"))
    first, second = of(case).repairs
    assert (first.held, first.clean_hours, second.held) == ("came-back", 3, "held")
    assert "  It came back after 3 running hours." in text.write(of(case)).split("\n")
    assert "Came back after 3 running hours." in pocket.write(of(case))


def test_what_came_back_is_the_repair_that_is_named_not_the_last_one() -> None:
    case = mended().mend("file-basket", "basket-worn").add(events.SaidOfRepair(word="gone"))
    case.add(events.SaidOfRepair(word="came_back")).add(events.Reopened(why="more", remedy="refit-nut"))
    assert [r.held for r in of(case).repairs] == ["came-back", "held"]


def test_a_watch_of_what_was_never_repaired_speaks_against_no_repair() -> None:
    case = mended().add(events.SaidOfRepair(word="gone")).add(events.Reopened(why="more", remedy=""))
    assert [r.held for r in of(case).repairs] == ["held"]


def test_the_words_alone_that_it_came_back_are_of_the_last_repair() -> None:
    case = mended().mend("file-basket", "basket-worn").add(events.SaidOfRepair(word="came_back"))
    assert [r.held for r in of(case).repairs] == ["not-proved", "came-back"]


def test_a_cause_that_a_look_finds_again_is_back_whatever_was_said() -> None:
    case = mended().add(events.SaidOfRepair(word="gone")).add(events.Ran(hours=2)).answer("nut", "bad")
    [repair] = of(case).repairs
    assert (repair.held, repair.fixed, repair.clean_hours) == ("came-back", None, 2)
    before = (
        opened().answer("nut", "bad").mend("refit-nut", "nut-loose").add(events.SaidOfRepair(word="gone"))
    )
    assert [r.held for r in of(before).repairs] == ["held"]


def test_what_was_taken_back_says_nothing_of_a_repair() -> None:
    case = mended().add(events.SaidOfRepair(word="gone"))
    case.add(events.Withdrawn(entries=(case.last,)))
    assert [r.held for r in of(case).repairs] == ["not-proved"]


# --- covers and closing points ---------------------------------------------------------------


def test_everything_that_was_opened_is_told_open_or_shut_again() -> None:
    case = opened().add(events.AccessOpened(access="oil-out")).add(events.AccessOpened(access="cover"))
    case.by("mechanic").add(events.AccessShut(access="cover"))
    oil, cover = of(case).access
    assert (oil.name, oil.open, oil.times, oil.opened.at) == (
        "Drain the oil.",
        True,
        1,
        "2026-05-04T09:04:00Z",
    )
    assert (cover.name, cover.open, cover.unconfirmed) == ("Take the cover off.", False, ("both dowels in",))
    assert (cover.opened.role, oil.unconfirmed) == ("rider", ())
    whole = text.write(of(case))
    assert (
        "- STILL OPEN: Drain the oil (rider, 2026-05-04 09:04, 43 h)\n- Shut again: Take the cover off"
        in whole
    )
    assert "  Not confirmed: both dowels in" in whole
    short = pocket.write(of(case))
    assert "STILL OPEN: Drain the oil\nNOT CONFIRMED at closing: both dowels in\n" in short


def test_a_cover_that_is_opened_again_is_to_be_confirmed_again() -> None:
    case = opened().add(events.AccessOpened(access="cover"))
    case.add(events.PointTold(of="cover", point="dowels", answer="yes")).add(
        events.AccessShut(access="cover")
    )
    assert of(case).access[0].unconfirmed == ()
    case.add(events.AccessOpened(access="cover")).add(events.AccessShut(access="cover"))
    [cover] = of(case).access
    assert (cover.times, cover.unconfirmed) == (2, ("both dowels in",))


def test_what_an_answer_says_is_open_counts_as_opened() -> None:
    case = opened().add(events.Answered(ask="magnet", value=("all",), form="one", rank=2, opens=("oil-out",)))
    assert [(line.name, line.open) for line in of(case).access] == [("Drain the oil.", True)]


def test_a_point_that_repair_and_cover_share_is_told_once() -> None:
    case = mended().add(events.AccessOpened(access="cover")).add(events.AccessShut(access="cover"))
    assert list(of(case).not_confirmed()) == [
        ("Refit the drive nut", "tab bent up"),
        ("Refit the drive nut", "both dowels in"),
    ]
    assert text.write(of(case)).count("both dowels in") == 1
    assert pocket.write(of(case)).count("both dowels in") == 1


# --- parts -----------------------------------------------------------------------------------


def test_parts_fitted_are_those_of_the_work_and_of_the_bikes_book() -> None:
    case = mended().add(events.AccessOpened(access="cover")).add(events.AccessShut(access="cover"))
    sheet = of(case, book())
    assert [(p.name, p.quantity, p.price, p.currency, p.source, p.day) for p in sheet.fitted] == [
        ("clutch plates", 1, 89, "EUR", "book", "2026-01-30"),
        ("lock washer", 1, 6, "EUR", "repair", "2026-05-04"),
        ("cover gasket", 1, None, "", "closing", "2026-05-04"),
    ]
    assert [(w.what, w.day, w.hours, w.opened) for w in sheet.worked] == [
        ("opened the clutch cover", "2026-01-30", (38, 38), True)
    ]
    told = text.write(sheet)
    assert "- 2026-05-04, 43 h: 1 x lock washer, 6 EUR (Refit the drive nut)" in told
    assert "- 2026-05-04, 43 h: 1 x cover gasket, price not known (Put the cover on)" in told
    assert "- 2026-01-30, 38 h: 1 x clutch plates, 89 EUR (book)" in told
    assert "- 2026-01-30, 38 h: opened the clutch cover (engine opened)" in told


def test_of_a_long_book_the_newest_is_told_and_the_rest_counted() -> None:
    many = book(tuple(f"washer {n} euro at {n} on 2026-01-{n:02}" for n in range(1, 29)))
    sheet = of(opened(), many)
    assert [p.price for p in sheet.fitted] == list(range(9, 29))
    assert sheet.book_earlier == 8
    assert "Earlier lines in the book: 8." in text.write(sheet)


def test_the_trend_is_told_in_the_words_of_the_talk() -> None:
    sheet = of(opened(), book())
    assert sheet.trend is not None
    assert (sheet.trend.direction, sheet.trend.words.partition(";")[0]) == (
        "rising", "Rising: 0 pieces in 5 h, then 11 in 5 h",
    )  # fmt: skip
    assert f"TREND OF DEBRIS\n- {sheet.trend.words}" in text.write(sheet)
    assert of(opened()).trend is None
    assert replace(sheet, trend=None) == replace(of(opened(), book()), trend=None)


# --- what speaks for and against -------------------------------------------------------------


def test_of_the_likeliest_it_is_said_what_speaks_for_and_against() -> None:
    # By the flow: the nut sheds bits that cling "often" and many of them in 40 of 100 cases, the basket
    # "sometimes" and in 20; so both speak for the nut, the first against the basket. A clean look at the nut
    # speaks against it, and so for the others.
    case = opened().answer("magnet", "all").answer("amount", "heaps").by("mechanic").answer("nut", "good")
    told = {s.name: s for s in of(case).suspects}
    nut, basket = told["Drive nut working loose"], told["Clutch basket notched"]
    cling, heaps, clean = "All of them cling", "more than 20", "Try the nut by hand: It does not move"
    sides = (nut.speaks_for, nut.speaks_against, basket.speaks_for, basket.speaks_against)
    assert [{x.finding for x in side} for side in sides] == [{cling, heaps}, {clean}, {clean}, {cling}]
    whole = text.write(of(case))
    assert f"  For it: {clean} (clearly).\n  Against it: {cling} (a little)." in whole
    assert all(not s.speaks_for and not s.speaks_against for s in told.values() if s.chance < 0.05)
