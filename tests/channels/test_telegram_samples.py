"""Sample conversations over the real channel: the same words lead to the same case as at the terminal.

Those that need no clock and no bike beforehand. Half of the answers are pressed where a button of that
name is there, half are typed.
"""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from bot import turn
from bot.channels.seat import Seat
from bot.channels.telegram import sending
from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

SAMPLES = Path(__file__).parents[2] / "sample_conversations" / "metal-in-oil"
NAMES = (
    "a-chunk-then-less", "an-answer-changed", "asks-where-it-stands", "handed-over",
    "not-sure-to-everything", "split-oils", "two-stroke-gearbox-oil",
)  # fmt: skip


def lines_of(name: str) -> list[str]:
    """What the rider says; a photo's line goes without the photo."""
    text = (SAMPLES / f"{name}.txt").read_text(encoding="utf-8")
    said = [line.removeprefix("you:").strip() for line in text.splitlines() if line.startswith("you:")]
    return [line.partition("] ")[2] if line.startswith("[photo") else line for line in said]


def case_of(store: turn.Store) -> list[Any]:
    """All that was answered and done in the only case, without what names a press."""
    [case] = store.all_cases()
    events = [e.event for e in store.entries(case.id) if e.event.kind not in ("heard", "asked")]
    return [event.model_dump(exclude={"words"}) for event in events]


@pytest.mark.parametrize("name", NAMES)
def test_the_same_words_lead_to_the_same_case(
    telegram: TelegramServer, tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)
    lines = lines_of(name)
    with closing(turn.open_record(tmp_path / "terminal.db")) as record:
        seat = Seat(record, "Robin", flow="metal-in-oil")
        for line in lines:
            seat.say(line)
        wanted = case_of(record)
    bot = Running(telegram, tmp_path / "telegram.db")
    bot.start()
    try:
        robin = telegram.person("Robin")
        for n, line in enumerate(lines):
            _answer(robin, line, press=bool(n % 2))
    finally:
        bot.stop()
    with closing(turn.open_record(tmp_path / "telegram.db")) as record:
        assert case_of(record) == wanted


def _answer(robin: Person, line: str, press: bool) -> None:
    """Say it, or press the button of that name under the newest message."""
    for seen in robin.bot_says()[-1:] if press else ():
        label = next((b for b in seen.labels if b.lower() == line.lower()), None)
        if label is not None:
            robin.press(seen, label)
            robin.answer(within=30)
            return
    robin.say(line)
    robin.answer(within=30)
