"""A frame number in the talk: kept as read, doubted where its check digit does not fit, never refused."""

from __future__ import annotations

import pytest

from bot.core import vin
from bot.core.desk import BikeCard
from bot.core.events import VinTold
from tests.core.chat import Chat
from tests.rattle import FLOW

# A number with its right check digit, an example that is printed all over (from memory), and a misread one.
RIGHT, WRONG = "1M8GDM9AXKP042788", "1M8GDM9AXKP042789"


def told(talk: Chat) -> list[tuple[str, str, bool]]:
    found = [e.event for e in talk.state.entries if isinstance(e.event, VinTold)]
    return [(v.vin, v.digit, v.reread) for v in found]


@pytest.mark.parametrize(
    ("typed", "text", "digit"),
    [
        (RIGHT, RIGHT, "right"),
        ("1m8gdm9a xkp0-42788", RIGHT, "right"),
        ("11111111111111111", "11111111111111111", "right"),  # the weights add up to 89, and 89 mod 11 is 1
        (WRONG, WRONG, "wrong"),
        ("JKAKL1234", "JKAKL1234", "none"),
        ("2T5-004711", "2T5004711", "none"),
    ],
)
def test_a_number_is_read_without_spaces_and_its_digit_is_checked(typed: str, text: str, digit: str) -> None:
    found = vin.read(typed)
    assert found is not None
    assert (found.text, found.digit) == (text, digit)


@pytest.mark.parametrize("place", range(17))
def test_one_wrong_figure_is_noticed_wherever_it_stands(place: int) -> None:
    """Every weight but that of the check digit itself is prime to 11, and so is every change of a figure."""
    for figure in "0123456789":
        typed = RIGHT[:place] + figure + RIGHT[place + 1 :]
        found = vin.read(typed)
        assert found is not None
        alike = vin.VALUES[figure] == vin.VALUES.get(RIGHT[place]) and place != 8
        assert (found.digit == "right") == (alike or typed == RIGHT)


@pytest.mark.parametrize("who", [("rider", "rider"), ("wrench", "mechanic")])
def test_rider_and_mechanic_may_tell_it_and_the_open_question_comes_again(who: tuple[str, str]) -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat").hold().wrench("hello")
    talk.say(f"VIN {RIGHT}", who=who[0], role=who[1])  # type: ignore[arg-type]
    assert told(talk) == [(RIGHT, "right", False)]
    assert f"frame number {RIGHT}" in talk.messages[0].text
    assert talk.state.asked[who[0]].what == "trait"


def test_a_wrong_digit_is_kept_and_doubted_once() -> None:
    talk = Chat(FLOW).talk("it rattles", f"vin: {WRONG}")
    assert "please read it again" in talk.said
    assert "send: vin ok" in talk.said
    assert talk.state.vin == VinTold(vin=WRONG, digit="wrong")
    talk.say("vin ok")
    assert told(talk)[-1] == (WRONG, "wrong", True)
    assert "again" not in talk.messages[0].text


def test_a_short_number_is_kept_as_it_is() -> None:
    talk = Chat(FLOW).talk("it rattles", "frame number 2T5-004711")
    assert told(talk) == [("2T5004711", "none", False)]
    assert "check digit" not in talk.said


def test_without_a_number_it_says_how_and_then_what_is_kept() -> None:
    talk = Chat(FLOW).talk("it rattles", "vin")
    assert "like: vin 1G4AH59H45G118341" in talk.said
    assert told(talk) == []
    talk.talk(f"vin {RIGHT}", "vin")
    assert f"Frame number: {RIGHT}." in talk.said
    assert len(told(talk)) == 1


def test_it_may_be_told_before_anything_else_and_is_no_complaint() -> None:
    talk = Chat(FLOW).talk(f"vin {RIGHT}")
    assert told(talk) == [(RIGHT, "right", False)]
    assert talk.state.complaint == ""
    talk.say("it rattles")
    assert talk.state.flow == "rattle"
    assert talk.state.vin is not None


def test_a_number_told_anew_takes_the_place_of_the_old_and_back_undoes_it() -> None:
    talk = Chat(FLOW).talk("it rattles", f"vin {WRONG}", f"vin {RIGHT}")
    assert talk.state.vin == VinTold(vin=RIGHT, digit="right")
    talk.say("back")
    assert talk.state.vin == VinTold(vin=WRONG, digit="wrong")


def test_a_known_bike_brings_its_number_into_the_case() -> None:
    bike = BikeCard("b1", "Goat", {}, 43, vin=RIGHT)
    talk = Chat(FLOW, bikes=(bike,)).talk("it rattles", "no knock", "goat")
    assert talk.state.vin == VinTold(vin=RIGHT, digit="right")
