"""Every sample conversation goes as it is written, with each case saved and restored between turns."""

from __future__ import annotations

from pathlib import Path

import pytest

from bot.authoring import rehearse, shelf, stage
from tests.samples_heard import rehearsal

# Flow id -> how many sample conversations it must have at least, each to a different end or by a
# different way.
AT_LEAST = dict.fromkeys(
    (
        "after-a-crash",
        "brake-feel",
        "clutch-slips-or-drags",
        "metal-in-oil",
        "overheats-or-loses-coolant",
        "will-not-start",
    ),
    16,
)
AT_LEAST["starter-spins-or-clanks"] = 60

SAMPLES = shelf.find().samples
FILES = rehearse.samples_of(SAMPLES) if SAMPLES.is_dir() else ()


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SAMPLES)))
def test_a_sample_conversation_goes_as_written(path: Path) -> None:
    assert rehearsal().hear(path) == []


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SAMPLES)))
def test_a_sample_conversation_says_by_hand_what_must_or_must_never_happen(path: Path) -> None:
    assert rehearse.read(path).rules


def test_samples_lie_in_folders_named_after_flows() -> None:
    assert {stage.flow_of(rehearse.read(path)) for path in FILES} <= set(shelf.find().ids())
    assert all(path.parent.name == stage.flow_of(rehearse.read(path)) for path in FILES)


def test_each_flow_has_the_samples_that_it_must_have() -> None:
    found = [stage.flow_of(rehearse.read(path)) for path in FILES]
    missing = {flow: found.count(flow) for flow, n in AT_LEAST.items() if found.count(flow) < n}
    assert missing == {}
