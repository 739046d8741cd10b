"""Sharing in the talk alone: what is emitted, who may say what, and that nothing is guessed from a slip."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import pytest

from bot.core import holding
from bot.core.controls import CONTROLS
from bot.core.conversation import Turn
from bot.core.desk import Desk
from bot.core.events import CaseHeld, HoldEnded, Shared
from tests.core.chat import Chat, wording
from tests.rattle import FLOW

CODE = "ABCD-EF23"


@dataclass
class Shop(Chat):
    """A talk in which codes can be made; `waiting`: until when codes are good that nobody used."""

    waiting: tuple[str, ...] = ()
    open_cases: int = 0

    def desk(self) -> Desk:
        codes = {"code": lambda: CODE, "unused": lambda: self.waiting}
        return replace(super().desk(), open_cases=self.open_cases, **codes)  # type: ignore[arg-type]

    def max(self, text: str = "", **more: Any) -> Turn:
        return self.say(text, who="Max", role="mechanic", **more)

    def to(self, seat: str) -> str:
        """What was said to somebody else in the last turn."""
        return "\n".join(message.text for message in self.messages if message.to == seat)


@pytest.fixture
def shop() -> Shop:
    made = Shop(FLOW)
    made.talk("something rattles", "No knock", "Goat")
    return made


def kinds(turn: Turn) -> list[str]:
    return [event.kind for event in turn.events]


def test_a_shared_case_says_the_code_once_and_what_stays_in_its_place(shop: Shop) -> None:
    turn = shop.say("share")
    assert kinds(turn) == ["heard", "shared"]
    [message] = turn.messages
    assert (message.kind, CODE in message.text, CODE in message.short) == ("secret", True, True)
    assert CODE not in message.stays
    assert all(CODE not in entry.dump() for entry in shop.state.entries)


def test_coming_in_is_an_entry_and_the_rider_is_told(shop: Shop) -> None:
    turn = shop.max("open", admitted=True)
    assert kinds(turn) == ["heard", "case_held", "asked"]
    assert [message.text for message in turn.messages if not message.to][1] == "the summary"
    assert "Max opened your case" in shop.to("rider")
    assert shop.state.holders == ("Max",)
    assert shop.state.asked["Max"].what == "none"


def test_the_open_question_of_the_rider_stays_when_somebody_comes_in(shop: Shop) -> None:
    before = shop.asked
    shop.max("open", admitted=True)
    assert shop.asked == before


def test_his_words_on_handing_back_are_kept_as_he_wrote_them(shop: Shop) -> None:
    shop.max("open", admitted=True)
    turn = shop.max("Hand it back: Crank is blue.\nParts: 3 weeks, and ask for the long stud!")
    ended = next(event for event in turn.events if isinstance(event, HoldEnded))
    assert ended.words == "Crank is blue.\nParts: 3 weeks, and ask for the long stud!"
    assert "Crank is blue." in shop.to("rider")
    assert shop.state.holders == ()


def test_taking_back_says_which_codes_are_void(shop: Shop) -> None:
    shop.waiting = ("2026-05-11T09:00:00Z",) * 2
    turn = shop.say("take it back")
    assert [event for event in turn.events if isinstance(event, HoldEnded)] == [HoldEnded(holder="")]
    assert "2 codes that nobody used are void." in shop.said


def test_a_name_that_fits_two_takes_back_from_none(shop: Shop) -> None:
    for name in ("Max Hill", "Max Dale"):
        shop.say("open", who=name, role="mechanic", admitted=True)
    shop.say("take it back from Max")
    assert "From whom? It is held by: Max Hill, Max Dale." in shop.said
    shop.say("take it back from max dale")
    assert shop.state.holders == ("Max Hill",)


@pytest.mark.parametrize("control", sorted(holding.RIDERS_OWN - {"giving_up"}))
@pytest.mark.parametrize("held", [True, False])
def test_a_riders_word_is_refused_to_a_mechanic_whether_he_holds_the_case_or_not(
    shop: Shop, control: str, held: bool
) -> None:
    if held:
        shop.max("open", admitted=True)
    shop.max("again")
    turn = shop.max(wording().controls[control][0])
    assert "Only the rider" in shop.said
    assert not {"shared", "hold_ended", "ended"} & set(kinds(turn))


@pytest.mark.parametrize("control", holding.WORDS)
def test_each_word_may_be_said_in_every_way_that_the_catalogue_has(shop: Shop, control: str) -> None:
    for phrase in wording().controls[control]:
        shop.say(phrase)
        told = {
            "share": "sends me",
            "who": "has it",
            "take_back": "Nobody else",
            "hand_back": "nothing to hand",
        }
        assert told[control] in shop.said, phrase
    assert control in CONTROLS


def test_they_work_when_the_case_is_over(shop: Shop) -> None:
    """That is when a mechanic is wanted."""
    shop.say("hand it over")
    assert shop.state.ended is not None
    assert Shared() in shop.say("share").events
    assert CaseHeld() in shop.max("open", admitted=True).events
    assert shop.state.ended is None  # he takes it up again
    shop.say("who has it")
    assert "Max has it" in shop.said
    shop.say("take it back")
    assert shop.state.holders == ()


def test_to_somebody_else_the_bike_is_always_named(shop: Shop) -> None:
    shop.max("open", admitted=True)
    shop.max("again")
    for text in ("change", "1", "It knocks"):
        shop.say(text)
    assert shop.to("Max").startswith("[Goat] STOP. Do not start the engine.")
    shop.open_cases = 1
    shop.max("where are we")
    assert shop.messages[0].text.startswith("[Goat] Goat: Something rattles")


def test_who_began_the_case_owns_it_whatever_his_role(shop: Shop) -> None:
    """A mechanic who begins a case at his own bench may share it with another."""
    own = Shop(FLOW)
    own.say("something rattles", who="Mo", role="mechanic")
    assert Shared() in own.say("share", who="Mo", role="mechanic").events
