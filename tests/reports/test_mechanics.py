"""The mechanic's part on every sheet: the frame, who holds the case, what he asked, what is sure, the end."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from bot.core import events
from bot.reports import pocket, text
from bot.reports.sheet import Facts
from tests.rattle import FLOW, Diary, opened

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
    assert "Answer: 1 photo or file (rider" in both(case)[0]


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
