"""What riders' first messages about clutches pick and tell, against a table written by hand."""

from __future__ import annotations

import pytest

from bot.core.told import pick
from tests.flows.clutches import ID, cards, talk
from tests.flows.shipped import read_back

# What a rider writes, and what is read back to him for a yes; written before the phrases were tried.
MESSAGES: list[tuple[str, set[str]]] = [
    ("clutch slips uphill, revs go up but no drive", {"complaint=slips"}),
    ("Clutch drags when hot, can't find neutral", {"complaint=creeps", "complaint=neutral", "when-bad=hot"}),
    ("it creeps in gear with the lever pulled right in", {"complaint=creeps"}),
    ("bike stood all winter, clutch plates are stuck together", {"push-test=held", "lately=stood"}),
    ("clutch cable snapped on the trail", {"danger-signs=cable"}),
    ("clutch lever comes to the bar, have to pump the clutch", {"complaint=slack", "lever-hold=pumps"}),
    ("slave cylinder leaks, no clutch", {"danger-signs=fluid", "trait:clutch-kind=hydraulic"}),
    ("new clutch plates and now it grabs and judders", {"lately=clutch"}),
    ("car oil in it and now the clutch is slipping", {"oil-look=wrong", "complaint=slips"}),
    ("burnt clutch smell after an hour, stuck in mud", {"danger-signs=smell", "lately=hard"}),
    ("scraping noise from the clutch since i did the clutch", {"danger-signs=scrape", "lately=clutch"}),
    ("jumped forward in gear with the lever in", {"danger-signs=jumped"}),
    ("spongy clutch since i bled the clutch", {"complaint=slack", "lately=control"}),
    ("clunks into first when cold, fine after a few minutes", {"complaint=cold"}),
    ("automatic clutch, it creeps in gear", {"trait:clutch-kind=auto", "complaint=creeps"}),
    ("stiff clutch, clutch cable is rusty", {"complaint=stiff", "cable-look=stiff"}),
]


@pytest.mark.parametrize("text", [say for say, _ in MESSAGES])
def test_a_first_message_about_clutches_picks_this_flow(text: str) -> None:
    assert pick(text, cards()).flow == ID


@pytest.mark.parametrize(("text", "told"), MESSAGES)
def test_nothing_is_read_into_a_first_message_and_most_of_it_is_understood(text: str, told: set[str]) -> None:
    may = {"trait:clutch-kind=cable", "trait:clutch-kind=hydraulic"}
    assert read_back(talk().talk(text)) <= told | may


def test_four_of_five_things_told_at_first_are_understood() -> None:
    wanted = [(say, each) for say, told in MESSAGES for each in told if not each.startswith("trait:")]
    assert sum(each in read_back(talk().talk(say)) for say, each in wanted) >= 0.8 * len(wanted)


@pytest.mark.parametrize(
    "text",
    [
        "metal in the oil and the clutch drags", "glitter in the oil, clutch slipping", "bike won't start",
        "starter clutch slips", "starter spins but the engine does not turn", "kick start slips",
        "crashed, broken clutch lever and hit my head", "brake lever comes to the bar", "brake is dragging",
        "jumps out of third gear", "overheats when i ride slowly on the clutch", "engine revs high and hangs",
        "won't start in gear with the clutch pulled", "chain slips on the sprocket",
    ],
)  # fmt: skip
def test_other_trouble_does_not_come_here(text: str) -> None:
    assert pick(text, cards()).flow != ID
