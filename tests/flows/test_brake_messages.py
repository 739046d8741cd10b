"""What riders' first messages about brakes pick and tell, against a table written by hand."""

from __future__ import annotations

import pytest

from bot.core.told import pick
from tests.flows.brakes import ID, cards, talk
from tests.flows.shipped import read_back

# What a rider writes, and what is read back to him for a yes; written before the phrases were tried. Which
# brake it is, is asked: "front brake" stands in half of what is written of falls, and would pick this flow.
MESSAGES: list[tuple[str, set[str]]] = [
    ("front brake lever comes to the bar", {"complaint=to-end"}),
    ("no front brake!!", {"brake-feel=gone"}),
    ("my rear brake drags, disc gets hot by itself", {"wheel-free=hot"}),
    ("brake is spongy after i bled the brakes", {"complaint=spongy", "lately=fluid"}),
    ("front brake squeals since new pads", {"complaint=squeal", "lately=pads"}),
    ("brake pedal goes to the floor", {"complaint=to-end"}),
    ("brakes fade on long descents", {"when-bad=hot"}),
    ("pulsing brake, probably a warped rotor", {"complaint=pulses"}),
    ("weak brakes, pads are oily from the fork seal", {"complaint=weak", "pads-look=oily"}),
    ("brake fluid leak at the front, hose is chafed", {"brake-feel=wet"}),
    ("seized caliper on the back", {"caliper-moves=bad"}),
    ("pads worn down to the metal, brake grinds", {"complaint=grinds", "pads-look=metal"}),
]


@pytest.mark.parametrize("text", [say for say, _ in MESSAGES])
def test_a_first_message_about_brakes_picks_this_flow(text: str) -> None:
    assert pick(text, cards()).flow == ID


@pytest.mark.parametrize(("text", "told"), MESSAGES)
def test_nothing_is_read_into_a_first_message_and_most_of_it_is_understood(text: str, told: set[str]) -> None:
    assert read_back(talk().talk(text)) <= told


def test_four_of_five_things_told_at_first_are_understood() -> None:
    wanted = [(say, each) for say, told in MESSAGES for each in told]
    assert sum(each in read_back(talk().talk(say)) for say, each in wanted) >= 0.8 * len(wanted)


@pytest.mark.parametrize(
    "text",
    [
        "clutch lever comes to the bar", "clutch drags when hot", "metal in the oil", "bike won't start",
        "starter spins but the engine does not turn", "overheats on long climbs", "coolant on the ground",
        "crashed, bars are bent", "crashed and the front brake lever snapped off", "wheel bearing noise",
        "fell on the right side, front brake lever is bent", "hose is leaking coolant",
        "headlight flickers, brake light on all the time",
    ],
)  # fmt: skip
def test_other_trouble_does_not_come_here(text: str) -> None:
    assert pick(text, cards()).flow != ID
