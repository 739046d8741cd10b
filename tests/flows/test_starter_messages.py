"""What riders' first messages about a starter pick and tell, against a table written by hand."""

from __future__ import annotations

import pytest

from bot.core.told import pick
from tests.flows.shipped import read_back
from tests.flows.starters import ID, cards, talk

# What a rider writes, and what is read back to him for a yes; written before the phrases were tried.
MESSAGES: list[tuple[str, set[str]]] = [
    ("starter just spins", {"what-it-does=whirrs"}),
    ("starter spins but the engine does not turn", {"what-it-does=whirrs"}),
    ("starter spins but does not engage when cold", {"what-it-does=whirrs"}),
    ("clank when i press the button", {"what-it-does=clanks"}),
    ("the starter clanks and now there is a tooth in the oil", {"what-it-does=clanks", "pieces-seen=pieces"}),
    ("starter grinds since it kicked back", {"what-it-does=grinds", "lately=kickback"}),
    ("starter kicks back, two stroke", {"what-it-does=kicks", "trait:oil-layout=two-stroke"}),
    ("kick lever kicks back since the rebuild, kick only",
     {"what-it-does=kicks", "lately=engine", "trait:starter=kick"}),
    ("starter keeps running after i let go of the button", {"danger-now=runs-on"}),
    ("starter relay is stuck and the cable is hot", {"danger-now=runs-on", "danger-now=cable"}),
    ("starter howls when the engine runs", {"what-it-does=howls"}),
    ("starter slips, sometimes it grabs, sat all winter",
     {"what-it-does=whirrs", "pattern=catches", "lately=stood"}),
    ("sprag clutch is gone, starter whirrs", {"left-side=slips", "what-it-does=whirrs"}),
    ("starter freewheels since the oil change", {"what-it-does=whirrs", "lately=oil"}),
    ("starter gear is chipped", {"left-side=teeth"}),
]  # fmt: skip


@pytest.mark.parametrize("text", [say for say, _ in MESSAGES])
def test_a_first_message_about_a_starter_picks_this_flow(text: str) -> None:
    assert pick(text, cards()).flow == ID


@pytest.mark.parametrize(("text", "told"), MESSAGES)
def test_nothing_is_read_into_a_first_message(text: str, told: set[str]) -> None:
    assert read_back(talk().talk(text)) <= told


def test_four_of_five_things_told_at_first_are_understood() -> None:
    wanted = [(say, each) for say, told in MESSAGES for each in told]
    assert sum(each in read_back(talk().talk(say)) for say, each in wanted) >= 0.8 * len(wanted)


@pytest.mark.parametrize(
    ("text", "flow"),
    [
        ("no crank, just a click", "will-not-start"),
        ("bike won't start, just clicks", "will-not-start"),
        ("nothing happens when i press the starter", "will-not-start"),
        ("dead starter", "will-not-start"),
        ("starter is slow", "will-not-start"),
        ("cranks slow, lights go dim", "will-not-start"),
        ("steel hairs on magnet, starter grinds", "metal-in-oil"),
        ("metal in the oil, starter slips", "metal-in-oil"),
        ("front brake is spongy", "brake-feel"),
        ("crashed it, is it safe to ride home", "after-a-crash"),
        ("it overheats in traffic", "overheats-or-loses-coolant"),
    ],
)
def test_other_trouble_goes_where_it_belongs(text: str, flow: str) -> None:
    assert pick(text, cards()).flow == flow


@pytest.mark.parametrize("text", ["wont start, starter whirrs", "starter clutch left steel hairs in the oil"])
def test_what_is_of_two_flows_is_asked(text: str) -> None:
    found = pick(text, cards())
    assert found.flow is None
    assert ID in [flow for flow, _ in found.ranked]


@pytest.mark.parametrize("text", ["clutch slips under load", "starts fine, dies when i open the throttle"])
def test_what_is_no_starter_does_not_come_here(text: str) -> None:
    assert pick(text, cards()).flow != ID
