"""How a case ended, for people who are no part of it."""

from __future__ import annotations

from bot.authoring.wording import read_words
from bot.core import events
from bot.reports.result import told_to_others
from tests.rattle import FLOW, Diary, opened


def told(case: Diary) -> str:
    return told_to_others(FLOW, case.state, read_words())


def test_while_nothing_was_found_there_is_nothing_to_tell() -> None:
    assert told(Diary()) == ""
    assert told(opened().answer("magnet", "all")) == ""
    assert told(opened().answer("nut", "good")) == ""


def test_what_a_look_found_is_told_at_once() -> None:
    assert told(opened().answer("nut", "bad")) == "Something rattles\nFound: Drive nut working loose."


def test_what_was_repaired_and_how_it_ended() -> None:
    case = opened().answer("nut", "bad").mend("refit-nut", "nut-loose", confirmed=True)
    case.add(events.Ended(how="proved"))
    assert told(case) == (
        "Something rattles\nFound: Drive nut working loose.\nDone: Refit the drive nut.\n"
        "How it ended: fixed and proved."
    )


def test_work_on_suspicion_is_told_as_work_and_not_as_a_find() -> None:
    case = opened().add(events.RemedyBegun(remedy="refit-nut", suspicion=True))
    case.add(events.Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True))
    assert told(case) == "Something rattles\nDone: Refit the drive nut."


def test_a_case_that_was_only_left_has_no_result() -> None:
    assert told(opened().add(events.Ended(how="abandoned"))) == ""
    assert told(opened().add(events.Ended(how="put_off"))) == ""


def test_handed_over_without_a_finding_is_a_result() -> None:
    case = opened().add(events.Ended(how="handed_over"))
    assert told(case) == "Something rattles\nHow it ended: handed over."


def test_it_names_no_one_no_bike_no_hours_and_nothing_that_was_said() -> None:
    case = opened("Zoe's engine rattles at 43 h", hours=43.5)
    case.add(events.Noted(words="ask Zoe", file="5f1c", file_kind="photo"))
    case.by("mechanic").answer("nut", "bad").mend("refit-nut", "nut-loose")
    shown = told(case)
    for own in ("Zoe", "Goat", "43", "h", "2026", "rider", "mechanic", "5f1c", "30"):
        assert own not in shown.replace("Something", "").replace("the", ""), own
