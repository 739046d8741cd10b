"""The two boxes: each message once in, and out in the order that safety asks for."""

from __future__ import annotations

from pathlib import Path

import pytest

from bot.core.events import Heard
from bot.core.messages import Choice, Message
from bot.record.post import Address
from bot.record.store import Store

AT, LATER, LATEST = "2026-05-01T09:00:00Z", "2026-05-01T10:00:00Z", "2026-05-01T11:00:00Z"
PIT = Address("terminal", "pit")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def ann(store: Store) -> int:
    return store.meet("terminal", "ann", "Ann", "rider", AT).id


def test_a_message_is_kept_once(store: Store, ann: int) -> None:
    """Twice from the network is once for us; the same number in another chat is another message."""
    first = store.put_in(PIT, "m1", ann, Heard(text="metal"), AT)
    assert store.put_in(PIT, "m1", ann, Heard(text="metal"), LATER) is None
    other = store.put_in(Address("terminal", "garage"), "m1", ann, Heard(text="metal"), AT)
    assert [first, other] == store.waiting()
    assert store.waiting("sms") == []


def test_a_message_comes_back_as_it_was_heard(store: Store, ann: int) -> None:
    heard = Heard(text="Öl 🛢", press="4:all", file="ab", file_kind="photo", who="Ann", channel="telegram")
    inbox = store.put_in(Address("telegram", "c", "7"), "m1", ann, heard, AT, "metal")
    assert inbox is not None
    found = store.incoming(inbox)
    assert (found.heard, found.address, found.flow) == (heard, Address("telegram", "c", "7"), "metal")
    with pytest.raises(KeyError):
        store.incoming(inbox + 1)


def test_what_goes_out_comes_back_whole(store: Store, ann: int) -> None:
    choices = (Choice(1, "All of them", "4:all", "all"), Choice(2, "Not sure", "4:?", control=True))
    message = Message("Magnet?", "Mag?", choices, "warning", "question", "more", "Ann")
    store.put_out(Address("sms", "555", "t"), ann, message, AT, n=0)
    (out,) = store.due(AT)
    assert out.message == message
    assert (out.channel, out.address, out.thread, out.person) == ("sms", "555", "t", "Ann")
    row = store.row("select text, short, segments, parts, state, tries from outbox")
    assert row == {
        "text": "Magnet?", "short": "Mag?", "segments": None, "parts": None, "state": "due", "tries": 0,
    }  # fmt: skip


def test_safety_goes_before_answers_before_reminders(store: Store, ann: int) -> None:
    def lay(text: str, priority: str, at: str, due: str = "") -> None:
        number = int(store.value("select count(*) from outbox"))
        store.put_out(PIT, ann, Message(text), at, n=number, priority=priority, due=due)  # type: ignore[arg-type]

    lay("old reminder", "reminder", AT)
    lay("old answer", "answer", AT)
    lay("new answer", "answer", LATER)
    lay("new stop", "safety", LATER)
    lay("tomorrow", "reminder", AT, due=LATEST)
    assert [o.message.text for o in store.due(LATER)] == [
        "new stop",
        "old answer",
        "new answer",
        "old reminder",
    ]
    assert [o.message.text for o in store.due(LATEST)][-1] == "tomorrow"


def test_due_can_be_asked_for_one_channel_chat_or_person(store: Store, ann: int) -> None:
    ben = store.meet("terminal", "ben", "Ben", "rider", AT).id
    store.put_out(PIT, ann, Message("to Ann"), AT, n=0)
    store.put_out(PIT, ben, Message("to Ben"), AT, n=1)
    store.put_out(Address("sms", "555"), ann, Message("by phone"), AT, n=2)
    assert [o.message.text for o in store.due(AT, "sms")] == ["by phone"]
    assert [o.message.text for o in store.due(AT, "terminal", "pit", ben)] == ["to Ben"]
    assert len(store.due(AT)) == 3


def test_one_place_in_a_turn_holds_one_message(store: Store, ann: int) -> None:
    import sqlite3

    inbox = store.put_in(PIT, "m1", ann, Heard(text="metal"), AT)
    store.put_out(PIT, ann, Message("a"), AT, n=0, inbox=inbox)
    with pytest.raises(sqlite3.IntegrityError):
        store.put_out(PIT, ann, Message("b"), AT, n=0, inbox=inbox)


def test_sent_is_sent(store: Store, ann: int) -> None:
    out = store.put_out(PIT, ann, Message("a"), AT, n=0)
    store.mark_sent(out, LATER)
    store.mark_sent(out, LATEST)
    store.mark_unsent(out, LATEST)
    assert store.due(LATEST) == ()
    assert store.row("select state, sent, tries from outbox") == {"state": "sent", "sent": LATER, "tries": 0}


def test_what_could_not_be_sent_waits_or_is_given_up(store: Store, ann: int) -> None:
    out = store.put_out(PIT, ann, Message("a"), AT, n=0)
    store.mark_unsent(out, LATER)
    assert store.due(AT) == ()
    assert [o.tries for o in store.due(LATER)] == [1]
    store.mark_unsent(out, None)
    assert store.due(LATEST) == ()
    assert store.value("select state from outbox") == "given_up"


def test_a_paid_channel_counts_what_it_spends(store: Store, ann: int) -> None:
    out = store.put_out(Address("sms", "555"), ann, Message("a" * 170), AT, n=0)
    store.count_segments(out, 2, 1)
    assert store.row("select segments, parts from outbox") == {"segments": 2, "parts": 1}


def test_a_turn_that_keeps_failing_is_given_up(store: Store, ann: int) -> None:
    inbox = store.put_in(PIT, "m1", ann, Heard(text="metal"), AT)
    assert inbox is not None
    assert [store.mark_failed(inbox, "KeyError", 3) for _ in range(3)] == [False, False, True]
    assert store.waiting() == []
    assert (store.incoming(inbox).state, store.incoming(inbox).tries) == ("dead", 3)
