"""A hurt person on every form of the sheet: first, and with who took the bike up since."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from bot.core import events
from bot.core.events import Entry
from bot.core.state import State, apply
from bot.reports import paper, pocket, sheet_json, sms, text
from bot.reports.sheet import Facts
from bot.reports.wording import ENGLISH
from tests.core.test_pause import FLOW

AT = datetime(2026, 5, 4, 12, tzinfo=UTC)
SAYS = "STOP. Not alone. Worse headache - call for help."
TAKEN = events.TakenUp(rules=("hurt",), by="other", words="take the bike up")


def case(*more: object, handed: bool = False) -> Facts:
    """A knock below, then a hurt head; and what came after."""
    told = [
        events.Opened(complaint="it rattles"),
        events.FlowChosen(flow="rattle", hash="f" * 64, title="Something rattles"),
        events.BikeTaken(bike="1", nickname="Goat"),
        events.Answered(ask="knock", value=("yes",), form="one", rank=2),
        events.StopRaised(rule="big-knock", bars=("running", "riding"), because=(4,)),
        events.Answered(ask="head", value=("hit",), form="one", rank=2),
        events.StopRaised(rule="hurt", bars=("running", "riding"), because=(6,)),
        *more,
        *([events.Ended(how="handed_over")] if handed else []),
    ]
    state = State()
    for n, event in enumerate(told, 1):
        state = apply(state, Entry(n, "2026-05-04T09:00:00Z", "rider", "rider", event))
    return text.facts_of(FLOW, state, AT)


def test_the_hurt_person_comes_first_in_every_form() -> None:
    sheet = case()
    assert [stop.person for stop in sheet.stops] == [True, False]
    lines = text.write(sheet).split("\n")
    assert lines[lines.index("STOPS") + 1] == (
        "- FIRST THE RIDER: Do not ride today and do not stay alone. Worse headache: call for help."
    )
    assert pocket.write(sheet).split("\n")[0].startswith(f"FIRST THE RIDER. {SAYS}")
    assert sms.sms(sheet).startswith(f"FIRST THE RIDER. {SAYS}")
    assert paper.lay(sheet, ENGLISH)["stops"]["standing"][0]["say"].startswith("FIRST THE RIDER: ")


def test_of_a_hurt_person_it_is_not_said_that_no_run_was_told() -> None:
    assert "No run told since." not in pocket.write(case()).split("\n")[0]
    assert text.write(case()).count("No run told since.") == 1  # of the knock


def test_nothing_with_the_bike_is_next() -> None:
    wanted = "Nothing with the bike while somebody is hurt. To go on with it send: take the bike up"
    assert f"- {wanted}" in text.write(case()).split("\n")


@pytest.mark.parametrize(
    ("by", "wanted", "who"),
    [
        ("other", "Somebody else goes on with the bike:", "somebody_else"),
        ("rider", "Who was hurt goes on with the bike himself:", "who_was_hurt"),
    ],
)
def test_who_took_it_up_is_said_with_his_words(by: str, wanted: str, who: str) -> None:
    sheet = case(TAKEN.model_copy(update={"by": by}))
    said = f'{wanted} "take the bike up" (rider, 2026-05-04 09:00).'
    assert said in text.write(sheet)
    assert said in pocket.write(sheet)
    assert said in paper.lay(sheet, ENGLISH)["stops"]["standing"][0]["more"]
    told = sheet_json.dump(sheet)["stops"][0]
    assert told["about_a_person"] is True
    assert [(one["who"], one["words"]) for one in told["taken_up"]] == [(who, "take the bike up")]


def test_taken_back_it_is_not_said() -> None:
    assert not case(TAKEN, events.Withdrawn(entries=(8,))).stops[0].taken_up


def test_handed_over_it_speaks_of_no_cost_and_not_of_towing_once_somebody_else_has_it() -> None:
    lifted = events.StopLifted(rule="big-knock", by="mechanic")
    assert "Handing over counts" not in text.write(case(handed=True))
    assert "To come" not in text.write(case(handed=True))
    assert "It must not run." in text.write(case(lifted, handed=True))
    assert "It must not run." not in text.write(case(lifted, TAKEN, handed=True))


def test_a_doctors_word_is_said_as_it_was_told() -> None:
    lifted = text.write(case(events.StopLifted(rule="hurt", by="doctor", words="a doctor has looked")))
    assert "- Lifted by a doctor's word, as it was told: Do not ride today" in lifted
