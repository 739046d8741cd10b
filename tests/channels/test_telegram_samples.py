"""Sample conversations over the real channel: the same talk on a phone, to the word and to the entry.

All of the flagship, and of each other flow one in ten: what differs there is the flow's text.

Half of what a button can say is pressed, half is typed. The bot's clock stands where the sample's does; what
is given stands in the record, for a rider of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from bot import turn
from bot.authoring import rehearse, script, shelf
from bot.authoring.script import Line
from bot.channels.telegram import sending
from bot.reports import text
from tests.channels.telegram_rehearsal import Phones, unsayable
from tests.channels.telegram_running import Running
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

SAMPLES = shelf.find().samples
FILES = rehearse.samples_of(SAMPLES)
GROUPS = 11  # about twenty samples each share a bot, so that they can be played side by side

# Samples that no phone can play, and why. Of strays-and-a-photo the photo is played by others; admins on
# phones are in test_telegram_shares, and how a code goes over phones is in test_telegram_sharing.
LEFT_OUT = {
    "metal-in-oil/strays-and-a-photo": "an empty message: the app sends none",
    "metal-in-oil/outcomes-accepted": "an admin: he talks in a chat of his own, and what he accepts is there "
    "for all others",
    "metal-in-oil/shared-with-a-mechanic": "a code: here it is another one each time",
    "metal-in-oil/from-the-rider-to-new-shares": "a code: here it is another one each time",
    "starter-spins-or-clanks/stop-cable-burnt": "a code: here it is another one each time",
    **dict.fromkeys(
        (
            f"starter-spins-or-clanks/{name}"
            for name in (
                "clank-and-a-flat-battery",
                "kick-only-kicks-back",
                "new-motor-spins-backwards",
                "two-stroke-after-winter",
            )
        ),
        "settings of a case that is not open yet: the record keeps none",
    ),
}

READ = rehearse.Rehearsal(text.summary)  # reads each flow once

Rehearse = Callable[[script.Script, bool], Phones]


def named(path: Path) -> str:
    return str(path.relative_to(SAMPLES).with_suffix(""))


def _of_the_others() -> Iterator[Path]:
    for flow in shelf.find().ids():
        if flow != "metal-in-oil":
            yield from [path for path in FILES if path.parent.name == flow][::10]


FLAGSHIP = [path for path in FILES if path.parent.name == "metal-in-oil"]
PLAYED = [path for path in (*FLAGSHIP, *_of_the_others()) if named(path) not in LEFT_OUT]


@pytest.fixture(name="rehearsed")
def _rehearsed(
    telegram: TelegramServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Rehearse]:
    """Plays samples, one after the other, with one bot; each with people of its own."""
    monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)
    # Each sample has a time of its own: to the riders of the one before, months have gone by.
    monkeypatch.setattr(turn, "remind", lambda store, now: 0)
    bot = Running(telegram, tmp_path / "record.db")
    with closing(turn.open_record(bot.path)) as store:
        turn.stock(store, turn.stamp(bot.now()))  # what is given names a flow before the bot's first turn
        bot.start()

        def play(given: script.Script, first: bool) -> Phones:
            phones = Phones(bot, store, given, READ.stage(given), first)
            phones.play()
            return phones

        yield play
        bot.stop()


@pytest.mark.parametrize("group", range(GROUPS))
def test_samples_go_on_a_phone_as_they_are_written(group: int, rehearsed: Rehearse) -> None:
    wrong, pressed, written = [], 0, 0
    for n, path in enumerate(PLAYED[group::GROUPS]):
        phones = rehearsed(rehearse.read(path), n % 2 == 0)
        wrong += phones.differences()
        pressed += sum(1 for shown in phones.shown if shown.pressed)
        written += sum(1 for shown in phones.shown if not shown.pressed)
    assert wrong == []
    assert pressed > written / 3  # no button says a first sentence, a bike's name or "change the magnet"


def test_what_is_left_out_is_what_cannot_be_said_on_a_phone() -> None:
    found = {named(path): why for path in FILES if (why := unsayable(rehearse.read(path)))}
    assert found == LEFT_OUT


# --- that a difference would be seen -------------------------------------------------------------

SHORT = SAMPLES / "metal-in-oil" / "two-stroke-gearbox-oil.txt"


def changed(given: script.Script, kind: str, change: Callable[[str], str]) -> script.Script:
    """The sample with its first line of a kind written otherwise."""
    at = next(n for n, line in enumerate(given.lines) if line.kind == kind)
    lines: list[Line] = list(given.lines)
    lines[at] = replace(lines[at], lines=(change(lines[at].lines[0]), *lines[at].lines[1:]), raw=())
    return replace(given, lines=tuple(lines))


def test_other_words_other_rules_and_other_entries_are_told(rehearsed: Rehearse) -> None:
    given = changed(rehearse.read(SHORT), "bot", lambda line: f"{line} Or not?")
    given = changed(given, "must", lambda line: 'says "never said by anyone"')
    phones = rehearsed(given, True)
    phones.steps.pop()
    phones.shown[1] = replace(phones.shown[1], with_buttons=2)
    words, buttons, entry, rule = phones.differences()
    assert "Or not?', the phone shows" in words
    assert buttons.endswith("2 messages can be pressed")
    assert "the core has None, the record {" in entry
    assert rule.endswith("got 'it is never said'")
