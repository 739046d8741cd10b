"""What every channel must do, as one test class: subclass it, say how the channel is begun.

The talk is the real one, with a small invented flow, in a record of its own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

import pytest

from bot import turn
from bot.core.messages import Choice, Message
from tests.rattle import RATTLE

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
FIRST = "something rattles"
WIDE = 5_000
BABBLE = ("🛠️", "'; drop table entries; --", "<b>hi</b>", "asdf", "\x1b[2J\x07", "٣")
LONG = ("rust and oil " * 400, "x" * WIDE, "a\n" * 300, "eins zwei-drei " * 300)


class Line(Protocol):
    """One person at one channel, as the test sees him."""

    store: turn.Store
    limit: int  # characters that one piece (a line of a page, a message of a network) may have

    def say(self, text: str) -> Sequence[str]:
        """Say it as the person would; what he is shown for it, message by message."""

    def deliver(self, text: str, message_id: str) -> Sequence[str]:
        """The network hands in a message under its id; what the person is shown for it."""

    def lay_out(self, message: Message) -> Sequence[str]:
        """How the channel would show a message: its pieces, in order."""

    def again(self) -> Line:
        """The program was killed and is started anew, on the same record."""


def words(text: str) -> list[str]:
    return re.findall(r"\w+", text)


def ids(part: Any) -> Iterator[str]:
    """All ids of a flow that could not be an ordinary word."""
    if isinstance(part, dict):
        for key, value in part.items():
            if "-" in key:
                yield key
            yield from ids(value)
    elif isinstance(part, (list, tuple)):
        for value in part:
            yield from ids(value)


class Contract:
    """The tests. `begin` opens the channel for one person on a record."""

    def begin(self, store: turn.Store) -> Line:
        raise NotImplementedError

    @pytest.fixture
    def line(self, tmp_path: Path) -> Iterator[Line]:
        with closing(turn.open_record(tmp_path / "record.db")) as store:
            turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
            yield self.begin(store)

    def entries(self, line: Line) -> list[Any]:
        [case] = line.store.all_cases()
        return [entry.event for entry in line.store.entries(case.id)]

    def test_an_empty_text_is_answered(self, line: Line) -> None:
        assert "".join(line.say(""))
        line.say(FIRST)
        before = line.say("")
        assert "".join(before)

    @pytest.mark.parametrize("text", BABBLE)
    def test_babble_is_answered_and_moves_nothing(self, line: Line, text: str) -> None:
        line.say(FIRST)
        before = [e.kind for e in self.entries(line) if e.kind == "answered"]
        assert "".join(line.say(text)).strip()
        assert [e.kind for e in self.entries(line) if e.kind == "answered"] == before

    def test_a_message_that_comes_twice_is_answered_once(self, line: Line) -> None:
        assert line.deliver(FIRST, "m1")
        entries = self.entries(line)
        assert not line.deliver(FIRST, "m1")
        assert self.entries(line) == entries

    def test_a_message_that_comes_again_after_a_crash_is_answered_once(self, line: Line) -> None:
        assert line.deliver(FIRST, "m1")
        entries = self.entries(line)
        assert not line.again().deliver(FIRST, "m1")
        assert self.entries(line) == entries

    def test_messages_are_taken_in_the_order_they_came(self, line: Line) -> None:
        said = [FIRST, "one", "two", "three"]
        for number, text in enumerate(said):
            line.deliver(text, f"m{number}")
        assert [e.heard.text for e in self.entries(line) if e.kind == "heard"] == said

    def test_a_long_text_is_answered_and_kept(self, line: Line) -> None:
        line.say(FIRST)
        text = "it " + "rattles " * (WIDE // 8)
        shown = line.say(text)
        assert "".join(shown)
        heard = [e.heard.text for e in self.entries(line) if e.kind == "heard"]
        assert len(heard[-1]) >= WIDE

    @pytest.mark.parametrize("text", LONG)
    def test_a_long_message_is_cut_and_nothing_of_it_lost(self, line: Line, text: str) -> None:
        pieces = line.lay_out(Message(text, choices=(Choice(1, "y" * 300, "y"),)))
        assert max(len(piece) for piece in pieces) <= line.limit
        shown = "".join("".join(words(piece)) for piece in pieces)
        assert "".join(words(text)) in shown
        assert "y" * 300 in shown

    @pytest.mark.parametrize("signal", ["danger", "warning", "caution", "notice"])
    def test_a_signal_is_a_word_and_stands_before_the_rest(self, line: Line, signal: Any) -> None:
        message = Message("Hot oil burns.\nDrain it now?", choices=(Choice(1, "Done", "d"),), signal=signal)
        shown = "\n".join(line.lay_out(message))
        places = [shown.index(word) for word in (signal.upper(), "Hot oil", "Drain it", "Done")]
        assert places == sorted(places)

    def test_a_signal_that_stands_in_the_text_is_not_said_twice(self, line: Line) -> None:
        shown = "\n".join(line.lay_out(Message("WARNING: Hot oil.\nDrain it now?", signal="warning")))
        assert shown.upper().count("WARNING") == 1

    def test_the_answers_are_numbered_as_they_are_typed(self, line: Line) -> None:
        choices = (Choice(1, "This", "a"), Choice(2, "That", "b"))
        shown = "\n".join(line.lay_out(Message("Which?", choices=choices)))
        assert re.search(r"\b1\W+This\b[\s\S]*\b2\W+That\b", shown)

    def test_text_cannot_steer_what_shows_it(self, line: Line) -> None:
        choices = (Choice(1, "\x1b]0;", "a"),)
        shown = "".join(line.lay_out(Message("red \x1b[31m \x07 \u202eback \u2066x", choices=choices)))
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", shown)

    def test_a_stop_is_shown_before_the_next_question(self, line: Line) -> None:
        shown = "\n".join(line.say("something rattles and it knocks from below"))
        for _ in range(8):
            if "STOP" in shown:
                break
            shown = "\n".join(line.say("It knocks" if "knock from below" in shown else "1"))
        assert "STOP" in shown
        assert shown.index("STOP") < shown.rindex("?")

    def test_no_id_is_ever_shown(self, line: Line) -> None:
        hidden = set(ids(RATTLE))
        shown = list(line.say(FIRST))
        for text in ("why", "where are we", "what is ruled out", *["1"] * 12, "summary", "help", *["2"] * 12):
            shown += line.say(text)
        page = "\n".join(shown)
        assert hidden
        assert not [found for found in hidden if re.search(rf"\b{re.escape(found)}\b", page)]
