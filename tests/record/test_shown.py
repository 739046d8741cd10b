"""Messages that stand before people, and leaving a case alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from bot.core.events import Heard
from bot.core.messages import Choice, Message
from bot.record.post import Address, revive_message
from bot.record.store import Store

AT = "2026-05-01T09:00:00Z"
PIT = Address("telegram", "7")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def zoe(store: Store) -> int:
    return store.meet("telegram", "7", "Zoe", "rider", AT).id


def ask(store: Store, person: int, text: str, at: Address = PIT) -> int:
    return store.put_out(at, person, Message(text, choices=(Choice(1, "Yes", "yes"),)), AT, n=0)


def test_the_newest_question_at_an_address_is_found(store: Store, zoe: int) -> None:
    assert store.newest_choice(PIT, zoe) is None
    ask(store, zoe, "old?")
    new = ask(store, zoe, "new?")
    store.put_out(PIT, zoe, Message("no question"), AT, n=0)
    ask(store, zoe, "elsewhere?", Address("telegram", "7", "topic"))
    found = store.newest_choice(PIT, zoe)
    assert found is not None
    assert found.outbox == new


def test_a_message_is_known_by_the_networks_name_in_its_chat(store: Store, zoe: int) -> None:
    one, other = ask(store, zoe, "one?"), ask(store, zoe, "other?", Address("telegram", "-8"))
    store.note_receipt(one, "12")
    store.note_receipt(other, "12")
    found = store.shown_as("telegram", "-8", "12")
    assert found is not None
    assert found.outbox == other
    assert store.shown_as("telegram", "7", "13") is None


def test_only_what_was_not_sent_is_said_in_other_words(store: Store, zoe: int) -> None:
    out = ask(store, zoe, "secret?")
    store.rephrase(out, Message("in private"))
    receipt = store.receipt(out)
    assert receipt is not None
    assert revive_message(receipt.payload) == Message("in private")
    store.mark_sent(out, AT)
    store.rephrase(out, Message("too late"))
    assert store.value("select text from outbox") == "in private"


def test_a_case_that_is_let_go_stays_open(store: Store, zoe: int) -> None:
    case = store.open_case(zoe, AT)
    store.sit_down(case, zoe, PIT, AT)
    store.let_go(PIT, zoe)
    assert store.current(PIT, zoe) is None
    assert store.case(case).ended == ""
    assert store.seat_of(case, zoe) == PIT


def test_untaken_updates_are_those_whose_text_is_still_here(store: Store) -> None:
    done, new, dead = (store.keep_update("telegram", n, f"body {n}", AT) or 0 for n in range(3))
    store.finish_update(done)
    store.fail_update(dead, "x", 1)
    assert [raw.id for raw in store.untaken("telegram")] == [new, dead]


def test_a_chat_that_moved_takes_no_new_message_for_an_old_one(store: Store, zoe: int) -> None:
    """The new chat numbers its messages from 1 again."""
    group, new = Address("telegram", "-8"), Address("telegram", "-100")
    heard = Heard(text="x", who="Zoe")
    assert store.put_in(group, "2", zoe, heard, AT)
    out = ask(store, zoe, "old?", group)
    store.note_receipt(out, "3")
    store.move_chat("telegram", "-8", "-100")
    assert store.put_in(new, "2", zoe, heard, AT)
    later = ask(store, zoe, "new?", new)
    store.note_receipt(later, "3")
    store.move_chat("telegram", "-8", "-100")  # the second of the two service messages
    receipt = store.receipt(later)
    assert receipt is not None
    assert not receipt.closed
    assert store.shown_as("telegram", "-100", "3") == receipt
