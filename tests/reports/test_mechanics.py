"""The mechanic's part on every sheet: the frame, who holds the case, what he asked, what is sure, the end."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from bot.core import events
from bot.reports import pocket, text
from bot.reports.lines import moment
from bot.reports.sheet import Facts, Voice
from tests.rattle import FLOW, Diary, opened
from tests.reports.test_facts import stopped

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def of(case: Diary) -> Facts:
    return text.facts_of(FLOW, case.state, NOON)


def ann(case: Diary) -> Diary:
    """From here on a mechanic called Ann speaks."""
    case.by("mechanic").who = "Ann"
    return case


def both(case: Diary) -> tuple[str, str]:
    return text.write(of(case)), pocket.write(of(case))


def test_without_a_mechanic_nothing_is_said_of_one() -> None:
    for shown in both(opened()):
        assert "MECHANIC" not in shown
        assert "Frame number" not in shown


@pytest.mark.parametrize(
    ("digit", "told"),
    [
        ("right", "Frame number: 1G4AH59H45G118341 (its check digit is right)."),
        (
            "wrong",
            "Frame number: 1G4AH59H45G118341. "
            "Its check digit does not fit: read it again; many frames have none.",
        ),
        ("none", "Frame number: 1G4AH59H45G118341."),
    ],
)  # fmt: skip
def test_the_frame_number_with_what_its_check_digit_says(digit: str, told: str) -> None:
    case = opened().add(events.VinTold(vin="1G4AH59H45G118341", digit=digit))  # type: ignore[arg-type]
    for shown in both(case):
        assert f"\n{told}\n" in shown


def test_a_frame_number_that_was_read_again_is_not_asked_for_once_more() -> None:
    case = opened().add(events.VinTold(vin="1G4AH59H45G118342", digit="wrong"))
    told = "Its check digit does not fit; read again, it says the same."
    assert all(told not in shown for shown in both(case))
    case.add(events.VinTold(vin="1G4AH59H45G118342", digit="wrong", reread=True))
    vin = of(case).vin
    assert vin is not None
    assert vin.reread
    for shown in both(case):
        assert f"\nFrame number: 1G4AH59H45G118342. {told}\n" in shown
        assert "read it again" not in shown


def test_what_a_mechanic_looked_at_when_he_lifted_a_stop_and_who_it_was() -> None:
    case = ann(stopped().add(events.CaseHeld()))
    case.add(events.StopLifted(rule="big-knock", by="mechanic", words="nut torqued,\nwasher bent up"))
    [stop] = of(case).stops
    assert (stop.stands, stop.looked_at) == (False, "nut torqued,\nwasher bent up")
    assert stop.lifted == Voice("Ann", "mechanic", case.state.entries[-1].at, (43, 43))
    whole, short = both(case)
    at = stop.lifted.at
    assert "STOPS\nNo stop stands.\n- Lifted by a mechanic's word: Do not start the engine.\n" in whole
    assert f'Lifted: mechanic Ann, {moment(at)}, 43 h. Looked at: "nut torqued, washer bent up".\n' in whole
    assert (
        f"No stop stands.\nLIFTED by mechanic Ann, {at[:10]}: STOP. DO NOT START. "
        'Looked at: "nut torqued, washer bent up".\n'
    ) in short


def test_a_stop_that_a_look_lifted_names_who_made_it_and_no_words() -> None:
    case = ann(stopped()).answer("nut", "good")
    case.add(events.StopLifted(rule="big-knock", by="nut.good"))
    [stop] = of(case).stops
    assert (stop.looked_at, stop.lifted and stop.lifted.who) == ("", "Ann")
    whole, short = both(case)
    assert "Looked at" not in whole + short
    assert "LIFTED" not in short


def told_as_done(money: float | None) -> Diary:
    """A mechanic told work as done that has one closing point."""
    case = ann(opened()).add(events.RemedyBegun(remedy="refit-nut", suspicion=True, told=True, money=money))
    return case.add(events.StepDone(of="refit-nut/0")).add(events.StepDone(of="refit-nut/1"))


def test_the_price_that_a_mechanic_named_for_his_work() -> None:
    case = told_as_done(24.5).add(events.PointTold(of="refit-nut", point="tab", answer="yes"))
    case.add(
        events.Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True, minutes=40, money=24.5)
    )
    [repair] = of(case).repairs
    assert repair.parts_told == 24.5
    whole, short = both(case)
    assert "  Not proved yet.\n  Parts came to 24.5 EUR, as told.\n" in whole
    assert "Not proved yet. Parts came to 24.5 EUR, as told. Not confirmed: both dowels in.\n" in short


def test_work_without_a_named_price_says_nothing_of_one() -> None:
    case = ann(opened()).mend("refit-nut", "nut-loose")
    assert of(case).repairs[0].parts_told is None
    assert all("came to" not in shown for shown in both(case))


def test_each_repair_has_the_price_that_was_named_for_it_and_whether_it_was_a_guess() -> None:
    case = told_as_done(24)
    case.add(events.Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=False))
    case.add(events.Reopened(why="came_back", remedy="refit-nut"))
    case.mend("refit-nut", "nut-loose")
    told = [(repair.parts_told, repair.suspicion) for repair in of(case).repairs]
    assert told == [(24, True), (None, False)]


def test_work_that_was_told_and_whose_closing_list_is_open_is_not_passed_over() -> None:
    case = told_as_done(24)
    hand = of(case).in_hand
    assert hand is not None
    assert (hand.name, hand.told, hand.parts_told) == ("Refit the drive nut", True, 24)
    whole, short = both(case)
    at = case.state.entries[3].at
    assert (
        f"WORK DONE\n- Told as done, its closing list is open: Refit the drive nut, on suspicion "
        f"(mechanic Ann, {moment(at)}, 43 h)\n  Parts came to 24 EUR, as told.\n"
    ) in whole
    assert (
        "- told as done, its closing list is open: Refit the drive nut, on suspicion "
        f"(mechanic Ann, {at[:10]}). Parts came to 24 EUR, as told.\n"
    ) in short


def test_work_that_is_begun_is_in_hand_until_it_is_done_or_left() -> None:
    case = ann(opened()).add(events.RemedyBegun(remedy="refit-nut", suspicion=False))
    assert "- In hand: Refit the drive nut (mechanic Ann," in both(case)[0]
    case.add(events.WorkLeft(remedy="refit-nut", why="parts"))
    assert of(case).in_hand is None
    assert all("n hand:" not in shown for shown in both(case))


def test_who_holds_the_case_stands_on_both_sheets_until_he_gives_it_back() -> None:
    case = ann(opened()).add(events.CaseHeld())
    for shown in both(case):
        assert "In the hands of: Ann." in shown
    case.add(events.HoldEnded(holder="Ann"))
    for shown in both(case):
        assert "In the hands of" not in shown


def test_what_was_asked_and_answered_and_what_is_open() -> None:
    case = ann(opened()).add(events.CaseHeld()).add(events.RiderAsked(words="Which oil\nis in it?"))
    asked = case.last
    case.add(events.RiderAsked(words="Lever in or out?"))
    case.by("rider").add(events.RiderAnswered(query=asked, words="10W-40, from the tractor"))
    first, second = of(case).queries
    assert (first.words, first.answer, first.answered and first.answered.role) == (
        "Which oil\nis in it?", "10W-40, from the tractor", "rider",
    )  # fmt: skip
    assert second.answered is None
    whole, short = both(case)
    assert '- Asked: "Which oil is in it?" (mechanic Ann, 2026-05-04 09:05, 43 h)\n' in whole
    assert '  Answer: "10W-40, from the tractor" (rider, 2026-05-04 09:07, 43 h)\n' in whole
    assert (
        '- Asked: "Lever in or out?" (mechanic Ann, 2026-05-04 09:06, 43 h)\n  Not answered yet.\n' in whole
    )
    assert "NOT ANSWERED YET: Lever in or out?\n" in short
    assert "tractor" not in short


def test_an_answer_with_a_photo_is_among_the_files() -> None:
    case = ann(opened()).add(events.RiderAsked(words="Show me the nut"))
    asked = case.last
    case.by("rider").add(events.WasHeard(heard=events.Heard(file="ab", file_kind="photo")))
    case.add(events.RiderAnswered(query=asked, file="ab"))
    [(file, by)] = of(case).files()
    assert (file.kind, file.n, file.about, file.digest, by.at) == (
        "photo", 1, "Show me the nut", "ab", "2026-05-04T09:06:00Z",
    )  # fmt: skip
    assert "Answer: photo 1 (rider" in both(case)[0]


def test_a_photo_that_answers_stands_once_with_its_question() -> None:
    case = ann(opened()).add(events.RiderAsked(words="Show me the nut"))
    asked = case.last
    case.by("rider").add(events.WasHeard(heard=events.Heard(file="ab cd", file_kind="photo")))
    case.add(events.Noted(file="ab cd", file_kind="photo", about=f"query:{asked}"))
    case.add(events.RiderAnswered(query=asked, file="ab cd"))
    case.add(events.Noted(file="ef", file_kind="photo", about="check:nut"))
    told = of(case)
    assert [(file.digest, file.about) for file, _ in told.files()] == [
        ("ef", "Try the nut by hand."), ("ab", "Show me the nut"), ("cd", "Show me the nut"),
    ]  # fmt: skip
    assert len(told.notes) == 1
    assert "Answer: photo 1; photo 2 (rider" in both(case)[0]


def test_a_cause_that_a_mechanic_is_sure_of_by_name_or_in_his_words() -> None:
    case = ann(opened()).add(events.CauseConfirmed(cause="nut-loose", how="seen"))
    case.mend("refit-nut", "nut-loose")
    case.add(events.CauseConfirmed(cause="", words="bent tab washer", how="measured"))
    named, told = of(case).confirmed
    assert (named.cause, named.how, named.slice) == ("Drive nut working loose", "seen", 0)
    assert (told.cause, told.words, told.slice) == ("", "bent tab washer", 1)
    whole, short = both(case)
    assert "- SURE: Drive nut working loose (seen; mechanic Ann, 2026-05-04 09:04, 43 h)" in whole
    assert "- SURE: bent tab washer (measured; after repair 1; mechanic Ann, 2026-05-04 09:07, 43 h)" in whole
    assert "SURE, mechanic Ann, 2026-05-04: Drive nut working loose (seen)\n" in short


@pytest.mark.parametrize(
    ("event", "told"),
    [
        (
            events.OutcomeTold(result="cause", cause="nut-loose", how="gone_after_repair"),
            "IT WAS: Drive nut working loose (gone after the repair; mechanic Ann, 2026-05-04 09:05, 43 h)",
        ),
        (
            events.OutcomeTold(result="unlisted", words="a stone", how="seen"),
            "IT WAS something that this flow does not know: a stone "
            "(seen; mechanic Ann, 2026-05-04 09:05, 43 h)",
        ),
        (
            events.OutcomeTold(result="not_found"),
            "NO CAUSE WAS FOUND (mechanic Ann, 2026-05-04 09:05, 43 h)",
        ),
        (
            events.OutcomeTold(result="not_found", words="ran 10 h clean"),
            'NO CAUSE WAS FOUND: "ran 10 h clean" (mechanic Ann, 2026-05-04 09:05, 43 h)',
        ),
    ],
)
def test_how_the_case_came_out(event: events.OutcomeTold, told: str) -> None:
    case = ann(opened()).add(events.Ended(how="closed")).add(event)
    for shown in both(case):
        assert told in shown
    case.add(events.Reopened(why="came_back"))
    assert of(case).outcome is None


def test_a_cause_of_an_older_flow_has_no_id_on_the_sheet() -> None:
    case = ann(opened()).add(events.CauseConfirmed(cause="long-gone", how="judged"))
    whole, short = both(case)
    assert "long-gone" not in whole + short
    assert "SURE: a cause that is not named (by judgement;" in whole
