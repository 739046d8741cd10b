"""Talking with programs: one object in, one out, always all keys; a bad line harms nothing."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot import turn
from bot.channels import jsonl
from bot.channels.seat import Seat, Unusable, clock
from tests.channels.contract import FIRST, NOW
from tests.rattle import RATTLE
from tests.record.test_photos import jpeg, opened

KEYS = {"messages", "asked", "suspects", "stop", "minutes", "case", "fixed"}
KINDS = {
    "bike", "problem", "confirm", "trait", "question", "check", "remedy", "proof", "second_look", "none",
}  # fmt: skip
STANDINGS = {
    "found", "repaired", "ruled-out", "suspected", "unlikely", "not-looked-at", "still-possible",
}  # fmt: skip


class Programs:
    """A record, and lines sent to it one after the other in one talk."""

    def __init__(self, store: turn.Store) -> None:
        self.store = store
        self.seats: dict[str, Seat] = {}
        self.table = jsonl.Table(self.seat)

    def seat(self, name: str) -> Seat:
        who = name or "rider"
        role: Any = "mechanic" if who == "mechanic" else "rider"
        return self.seats.setdefault(who, Seat(self.store, who, role, "rattle", lambda: NOW))

    def line(self, line: str) -> dict[str, Any]:
        """The reply to one line."""
        out = io.StringIO()
        assert jsonl.serve(self.table, [line], out) == 0
        [reply] = out.getvalue().splitlines()
        found: dict[str, Any] = json.loads(reply)
        return found

    def send(self, **said: Any) -> dict[str, Any]:
        return self.line(json.dumps(said))


@pytest.fixture
def talk(tmp_path: Path) -> Iterator[Programs]:
    with closing(turn.open_record(tmp_path / "record.db")) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
        yield Programs(store)


def labels(reply: dict[str, Any]) -> list[str]:
    return [c["label"] for message in reply["messages"] for c in message["choices"] if not c["control"]]


def until_asked(talk: Programs, id: str) -> dict[str, Any]:
    """Answer 1 to everything until this is asked."""
    reply = talk.send(text=FIRST)
    for _ in range(12):
        if reply["asked"]["id"] == id:
            return reply
        reply = talk.send(choice=1) if labels(reply) else talk.send(text="Goat")
    raise AssertionError(f"{id} was never asked; last: {reply}")


def test_a_reply_has_always_all_keys(talk: Programs) -> None:
    for said in ({"text": FIRST}, {"text": ""}, {"choice": 1}, {"text": "asdf"}, {"text": "why"}):
        reply = talk.send(**said)
        assert set(reply) == KEYS
        assert reply["asked"]["kind"] in KINDS
        assert set(reply["minutes"]) == {"spent", "expected"}
        for message in reply["messages"]:
            assert set(message) == {"text", "short", "choices", "signal", "kind"}
            assert all(set(choice) == {"n", "label", "control"} for choice in message["choices"])


def test_answers_come_first_and_control_words_last(talk: Programs) -> None:
    reply = until_asked(talk, "magnet")
    [*_, message] = reply["messages"]
    control = [choice["control"] for choice in message["choices"]]
    assert control == sorted(control)
    assert [choice["n"] for choice in message["choices"]] == list(range(1, len(control) + 1))
    assert labels(reply) == ["All of them cling", "None clings"]
    assert True in control


def test_every_cause_is_a_suspect_and_unlisted_is_the_last(talk: Programs) -> None:
    suspects = talk.send(text=FIRST)["suspects"]
    assert [s["cause"] for s in suspects] == [*RATTLE["causes"], "unlisted"]
    assert {s["standing"] for s in suspects} <= STANDINGS


def test_a_cause_that_a_trait_excludes_is_no_suspect(talk: Programs) -> None:
    reply = until_asked(talk, "starter")
    button = labels(reply).index("By a button") + 1
    assert "kick-gear" in {s["cause"] for s in reply["suspects"]}
    assert "kick-gear" not in {s["cause"] for s in talk.send(choice=button)["suspects"]}


def test_a_choice_is_the_same_as_its_label(talk: Programs) -> None:
    reply = until_asked(talk, "magnet")
    chosen = talk.send(choice=labels(reply).index("All of them cling") + 1)
    assert chosen["asked"]["id"] != "magnet"
    [case] = talk.store.all_cases()
    told = [e.event for e in talk.store.entries(case.id) if e.event.kind == "answered"]
    assert [event.value for event in told if event.ask == "magnet"] == [("all",)]


def test_a_choice_is_known_after_a_new_start(talk: Programs) -> None:
    until_asked(talk, "magnet")
    again = Programs(talk.store)
    assert again.send(choice=2)["asked"]["id"] != "magnet"


def test_a_stop_is_a_fact_and_a_message(talk: Programs) -> None:
    reply = until_asked(talk, "knock")
    assert reply["stop"] == {"rules": [], "bars": []}
    reply = talk.send(choice=labels(reply).index("It knocks") + 1)
    assert reply["stop"] == {"rules": ["big-knock"], "bars": ["riding", "running"]}
    assert reply["messages"][0]["kind"] == "stop"
    assert "Do not start the engine." in reply["messages"][0]["text"]


def share(talk: Programs) -> dict[str, Any]:
    """The rider shares his case and the mechanic opens it: what the mechanic is told."""
    [secret] = [m["text"] for m in talk.send(text="share")["messages"] if m["kind"] == "secret"]
    [code] = re.findall(r"open (\S+)", secret)
    return talk.send(**{"as": "mechanic", "text": f"open {code}"})


def test_a_mechanic_speaks_in_the_case_of_the_rider(talk: Programs) -> None:
    reply = until_asked(talk, "magnet")
    assert share(talk)["case"] == reply["case"]
    other = talk.send(**{"as": "mechanic", "text": "where are we"})
    assert other["case"] == reply["case"]
    roles = {entry.role for entry in talk.store.entries(reply["case"])}
    assert roles == {"rider", "mechanic"}


def test_a_mechanic_without_a_code_speaks_in_a_case_of_his_own(talk: Programs) -> None:
    reply = until_asked(talk, "magnet")
    before = talk.store.entries(reply["case"])
    other = talk.send(**{"as": "mechanic", "text": "where are we"})
    assert other["case"] != reply["case"]
    assert "Something rattles" not in json.dumps(other["messages"])
    assert talk.store.entries(reply["case"]) == before


def test_a_stop_raised_by_the_mechanic_reaches_the_rider(talk: Programs) -> None:
    until_asked(talk, "knock")
    share(talk)
    mine = talk.send(**{"as": "mechanic", "text": "hello"})
    assert mine["asked"]["id"] == "knock"
    assert talk.send(**{"as": "mechanic", "text": "It knocks"})["stop"]["rules"] == ["big-knock"]
    reply = talk.send(text="")
    assert reply["messages"][0]["kind"] == "stop"


def test_a_choice_after_the_case_was_taken_back_moves_nothing(talk: Programs) -> None:
    reply = until_asked(talk, "magnet")
    share(talk)
    assert labels(talk.send(**{"as": "mechanic", "text": "again"}))
    talk.send(text="take it back")
    before = talk.store.entries(reply["case"])
    for n in range(1, 8):
        told = talk.send(**{"as": "mechanic", "choice": n})
        assert "nothing is on offer now" in told["error"]
    assert talk.store.entries(reply["case"]) == before
    assert talk.send(**{"as": "mechanic", "text": ""})["case"] != reply["case"]


def test_a_choice_is_of_the_case_that_is_talked_about(talk: Programs) -> None:
    """The last question was about another case; its number would mean something else here."""
    first = until_asked(talk, "magnet")
    share(talk)
    talk.send(**{"as": "sam", "text": FIRST})
    secret = talk.send(**{"as": "sam", "text": "share"})["messages"][0]["text"]
    talk.send(**{"as": "mechanic", "text": "again"})
    told = talk.send(**{"as": "mechanic", "text": secret.split("\n")[1]})
    assert told["case"] != first["case"]
    assert "nothing is on offer now" in talk.send(**{"as": "mechanic", "choice": 1})["error"]
    asked = talk.send(**{"as": "mechanic", "text": "case 1"})
    assert asked["case"] == first["case"]
    before = talk.store.state(first["case"])
    talk.send(**{"as": "mechanic", "choice": 1})
    [case] = [line.id for line in talk.store.all_cases() if line.id != first["case"]]
    after = talk.store.state(first["case"])
    assert (after.open, after.answers) != (before.open, before.answers)
    assert talk.store.state(case).answers == ()


def test_two_riders_have_a_case_each(talk: Programs) -> None:
    first = talk.send(text=FIRST)
    second = talk.send(**{"as": "sam", "text": FIRST})
    assert first["case"] != second["case"]
    assert talk.send(text="")["case"] == first["case"]


def test_the_time_of_a_line_is_the_time_of_its_entries(talk: Programs) -> None:
    reply = talk.send(text=FIRST, now="2026-05-04T12:30:00+02:00")
    assert {entry.at for entry in talk.store.entries(reply["case"])} == {"2026-05-04T10:30:00Z"}
    talk.send(text="", now="2026-05-04T10:31:00Z")
    assert talk.store.entries(reply["case"])[-1].at == "2026-05-04T10:31:00Z"


def test_a_photo_is_kept_with_its_words(talk: Programs, tmp_path: Path) -> None:
    picture = tmp_path / "plug.jpg"
    picture.write_bytes(jpeg())
    reply = talk.send(photo=str(picture), text=FIRST)
    [heard] = [e.event.heard for e in talk.store.entries(reply["case"]) if e.event.kind == "heard"]
    assert (heard.text, heard.file_kind) == (FIRST, "photo")
    assert opened(talk.store.file(heard.file).read_bytes()).size == opened(picture.read_bytes()).size


BAD = [
    "", "nonsense", "[]", "7", "null", '"text"', "{", '{"text": 1}', '{"choice": "1"}', '{"choice": true}',
    '{"choice": 1.5}', '{"choice": 99}', '{"choice": -1}', '{"txt": "a"}', "{}", '{"as": "sam"}',
    '{"text": "a", "choice": 1}', '{"photo": "/nowhere/all.jpg"}', '{"photo": "."}', '{"photo": "a\\u0000b"}',
    '{"text": "a", "now": "2026-05-04T10:00:00"}', '{"text": "a", "now": "tomorrow"}',
    '{"text": "a", "now": "0001-01-01T00:00:00+23:00"}', "[" * 100_000, '{"text": null}', '{"text": NaN}',
]  # fmt: skip


@pytest.mark.parametrize("line", BAD, ids=range(len(BAD)))
def test_a_bad_line_gives_an_error_and_the_talk_goes_on(talk: Programs, line: str) -> None:
    first = until_asked(talk, "magnet")
    entries = talk.store.entries(first["case"])
    reply = talk.line(line)
    assert set(reply) == {"error"}
    assert reply["error"].strip()
    assert talk.store.entries(first["case"]) == entries
    assert talk.send(choice=1)["asked"]["id"] != "magnet"


def test_what_cannot_be_written_as_text_is_still_answered(talk: Programs) -> None:
    assert talk.line('{"text": "\\ud800 rattles \\u0000"}')["messages"]
    assert talk.send(text="x" * 100_000)["messages"]


OBJECTS = st.dictionaries(st.sampled_from([*jsonl.KEYS, "x"]), st.none() | st.integers() | st.text())


@given(st.text() | OBJECTS.map(json.dumps))
def test_any_line_is_read_or_refused_in_words(line: str) -> None:
    with suppress(Unusable):
        assert set(jsonl.read(line)) <= set(jsonl.KEYS)


@pytest.mark.parametrize("text", ["2026-05-01", "2026-05-01T10:00:00", "soon", ""])
def test_a_clock_needs_a_zone(text: str) -> None:
    with pytest.raises(Unusable, match="2026-05-01T09:00:00Z"):
        clock(text)
