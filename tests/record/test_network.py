"""What a network hands in and is told: raw updates, receipts, files to fetch, links, chats, jobs."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from bot.core.events import Heard
from bot.core.messages import Choice, Message
from bot.record.post import Address
from bot.record.store import Store

NINE, TEN, NOON = (f"2026-05-01T{hour}:00:00Z" for hour in ("09", "10", "12"))
CHAT = Address("telegram", "5")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with closing(Store(tmp_path / "record.db")) as made:
        yield made


@pytest.fixture
def ann(store: Store) -> int:
    return store.meet("telegram", "5", "Ann", "rider", NINE).id


def test_an_update_is_known_by_its_number_and_its_content(store: Store) -> None:
    assert store.keep_update("telegram", 7, "one", NINE)
    assert store.keep_update("telegram", 7, "one", TEN) is None
    assert store.keep_update("telegram", 7, "another, its number used again", TEN)
    assert len(store.updates_due("telegram", TEN)) == 2


def test_a_finished_update_keeps_no_words_and_is_still_known(store: Store) -> None:
    first = store.keep_update("telegram", 7, "my words", NINE)
    assert first is not None
    store.finish_update(first)
    assert store.raw_update(first).body == ""
    assert store.keep_update("telegram", 7, "my words", TEN) is None


def test_an_update_that_fails_three_times_is_set_aside_and_may_be_tried_again(store: Store) -> None:
    bad = store.keep_update("telegram", 7, "?", NINE)
    assert bad is not None
    assert [store.fail_update(bad, "ValueError", 3) for _ in range(3)] == [False, False, True]
    assert store.updates_due("telegram", NOON) == []
    assert [(line["kind"], line["id"]) for line in store.dead_letters()] == [("update", str(bad))]
    assert store.revive_letter("update", bad, TEN)
    assert not store.revive_letter("update", bad, TEN)
    assert store.updates_due("telegram", NOON) == [bad]


def test_what_was_taken_stays_taken_whatever_fails_after_it(store: Store) -> None:
    done = store.keep_update("telegram", 7, "words", NINE)
    assert done is not None
    store.finish_update(done)
    assert store.fail_update(done, "ValueError", 3)
    assert store.updates_due("telegram", NOON) == []
    assert store.dead_letters() == []


def test_a_turn_and_a_message_that_were_given_up_may_be_tried_again(store: Store, ann: int) -> None:
    turn = store.put_in(CHAT, "m1", ann, Heard(text="hello", who="Ann"), NINE)
    assert turn is not None
    assert store.mark_failed(turn, "ValueError", 1)
    message = store.put_out(CHAT, ann, Message("hello"), NINE, n=0)
    store.mark_unsent(message, None)
    assert {(one["kind"], one["id"]) for one in store.dead_letters()} == {
        ("turn", str(turn)), ("message", str(message)),
    }  # fmt: skip
    assert store.waiting("telegram") == []
    assert store.due(NOON, channel="telegram") == ()
    assert not store.revive_letter("update", turn, TEN)
    assert store.revive_letter("turn", turn, TEN)
    assert store.revive_letter("message", message, TEN)
    assert store.waiting("telegram") == [turn]
    assert [out.id for out in store.due(TEN, channel="telegram")] == [message]
    assert store.dead_letters() == []


def test_messages_that_went_out_as_one_are_found_together(store: Store, ann: int) -> None:
    other = Address("telegram", "6")
    one, two, three = (store.put_out(CHAT, ann, Message(f"part {n}"), NINE, n=n) for n in range(3))
    elsewhere = store.put_out(other, ann, Message("elsewhere"), NINE, n=3)
    for outbox, receipt in ((one, "100"), (two, "100"), (three, "101"), (elsewhere, "100")):
        store.note_receipt(outbox, receipt)
    sent = store.receipt(two)
    assert sent is not None
    assert [found.outbox for found in store.sent_with(sent)] == [one, two]


def test_a_chat_that_moved_takes_everything_along_and_its_numbers_begin_anew(store: Store, ann: int) -> None:
    old, new = Address("telegram", "-5"), Address("telegram", "-1005")
    case = store.open_case(ann, NINE)
    store.sit_down(case, ann, old, NINE)
    store.settle(ann, "group", "telegram:-5")
    before = store.put_in(old, "9", ann, Heard(text="hello", who="Ann"), NINE)
    asked = store.put_out(old, ann, Message("Which?"), NINE, n=0, case=case, asked=4)
    store.note_receipt(asked, "100")
    waiting = store.put_out(old, ann, Message("later"), NINE, n=1)
    store.want_file("ref", "telegram", "where", ann, "-5", "photo", "", NINE)
    store.move_chat("telegram", "-5", "-1005")
    assert store.current(new, ann) == case
    assert store.current(old, ann) is None
    assert [out.id for out in store.due(NOON, channel="telegram", chat="-1005")] == [asked, waiting]
    assert [fetch.chat for fetch in store.fetches_due("telegram", NOON)] == ["-1005"]
    assert store.person(ann).settings["group"] == "telegram:-1005"
    moved = store.receipt(asked)
    assert moved is not None
    assert (moved.receipt, moved.closed) == ("", True)
    assert store.edits_due("telegram", "5", NOON) == []
    again = store.put_in(new, "9", ann, Heard(text="another", who="Ann"), TEN)
    assert again not in (None, before)


def test_an_album_waits_until_its_last_photo_has_had_its_time(store: Store) -> None:
    one, two, other = (store.keep_update("telegram", n, str(n), NINE) for n in (1, 2, 3))
    assert one is not None
    assert two is not None
    store.gather(one, "album", TEN)
    store.gather(two, "album", NOON)
    assert store.updates_due("telegram", TEN) == [other]
    assert store.updates_due("telegram", NOON) == [one, two, other]
    assert [raw.id for raw in store.album_of(two)] == [one, two]


def test_a_question_that_was_passed_is_to_become_a_record(store: Store, ann: int) -> None:
    case = store.open_case(ann, NINE)
    question = Message("Which?", choices=(Choice(1, "This", "a"),))
    old, new = (store.put_out(CHAT, ann, question, NINE, n=n, case=case, asked=n) for n in (4, 9))
    store.note_receipt(old, "100")
    assert [one.outbox for one in store.passed_questions(ann, "telegram", case, 9)] == [old]
    store.close_question(old, "This", TEN)
    assert store.passed_questions(ann, "telegram", case, 9) == []
    [due] = store.edits_due("telegram", "5", TEN)
    assert (due.outbox, due.told, due.closed) == (old, "This", True)
    store.edited(old)
    assert store.edits_due("telegram", "5", NOON) == []
    assert new != old


def test_a_link_is_its_owners_until_it_is_too_old(store: Store, ann: int) -> None:
    ben = store.meet("telegram", "6", "Ben", "rider", NINE).id
    case = store.open_case(ann, NINE)
    store.make_link("secret token", case, ann, TEN, NINE)
    assert store.follow_link("secret token", ann, NINE) == case
    assert store.follow_link("secret token", ann, NINE) == case  # /start may come again
    assert store.follow_link("secret token", ben, NINE) is None
    assert store.follow_link("secret token", ann, TEN) is None
    assert "secret token" not in str(store.rows("select * from links"))


def test_a_file_that_did_not_come_is_tried_again_and_then_given_up(store: Store, ann: int) -> None:
    store.want_file("ref", "telegram", "where", ann, "5", "photo", "", NINE)
    store.want_file("ref", "telegram", "where", ann, "5", "photo", "", NINE)
    [fetch] = store.fetches_due("telegram", NINE)
    store.fetch_failed(fetch.ref, "TimedOut", TEN)
    assert store.fetches_due("telegram", NINE) == []
    assert [one.tries for one in store.fetches_due("telegram", TEN)] == [1]
    store.fetch_failed(fetch.ref, "gone", None)
    assert store.fetches_due("telegram", NOON) == []
    assert store.fetched("ref") is None


def test_a_chat_that_refused_us_is_reachable_again_when_it_says_so(store: Store) -> None:
    assert store.is_reachable("telegram", "5")
    store.mark_reachable("telegram", "5", False, NINE)
    assert not store.is_reachable("telegram", "5")
    store.mark_reachable("telegram", "5", True, TEN)
    assert store.is_reachable("telegram", "5")


def test_a_job_is_tried_again_until_it_is_done_or_given_up(store: Store, ann: int) -> None:
    done, bad = (store.ask_job("my_data", {"chat": "5"}, ann, NINE) for _ in range(2))
    store.job_done(done)
    assert [job.id for job in store.jobs_waiting("my_data")] == [bad]
    assert [store.job_failed(bad, "TimedOut", 2) for _ in range(2)] == [False, True]
    assert store.jobs_waiting("my_data") == []


def test_the_depths_count_what_waits_and_what_was_given_up(store: Store, ann: int) -> None:
    bad = store.keep_update("telegram", 1, "x", NINE)
    assert bad is not None
    store.fail_update(bad, "x", 1)
    store.keep_update("telegram", 2, "y", NINE)
    store.put_out(CHAT, ann, Message("hello"), NINE, n=0)
    assert store.depths() == {"updates": 1, "turns": 0, "messages": 1, "files": 0, "dead": 1}


class Updates(RuleBasedStateMachine):
    """Updates that come, come again, fail, are taken, set aside and revived, beside a plain model of them."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.store = Store(Path(self.folder.name) / "record.db")
        self.known: dict[tuple[int, str], int] = {}
        self.tries: dict[int, int] = {}
        self.at: dict[int, str] = {}  # new, done, dead

    def teardown(self) -> None:
        self.store.close()
        self.folder.cleanup()

    @rule(number=st.integers(1, 3), body=st.sampled_from("ab"))
    def come(self, number: int, body: str) -> None:
        made = self.store.keep_update("telegram", number, body, NINE)
        assert (made is None) == ((number, body) in self.known)
        if made is not None:
            self.known[number, body] = made
            self.at[made], self.tries[made] = "new", 0

    @precondition(lambda self: self.at)
    @rule(data=st.data())
    def fail(self, data: st.DataObject) -> None:
        one = data.draw(st.sampled_from(sorted(self.at)))
        over = self.store.fail_update(one, "ValueError", 3)
        if self.at[one] == "new":
            self.tries[one] += 1
            if self.tries[one] >= 3:
                self.at[one] = "dead"
        assert over == (self.at[one] != "new")

    @precondition(lambda self: "new" in self.at.values())
    @rule(data=st.data())
    def take(self, data: st.DataObject) -> None:
        one = data.draw(st.sampled_from([n for n, state in self.at.items() if state == "new"]))
        self.store.finish_update(one)
        self.at[one] = "done"

    @precondition(lambda self: self.at)
    @rule(data=st.data())
    def revive(self, data: st.DataObject) -> None:
        one = data.draw(st.sampled_from(sorted(self.at)))
        assert self.store.revive_letter("update", one, TEN) == (self.at[one] == "dead")
        if self.at[one] == "dead":
            self.at[one], self.tries[one] = "new", 0

    @invariant()
    def agree(self) -> None:
        waiting = [n for n, state in sorted(self.at.items()) if state == "new"]
        dead = [n for n, state in sorted(self.at.items()) if state == "dead"]
        assert self.store.updates_due("telegram", NOON) == waiting
        assert [int(line["id"]) for line in self.store.dead_letters()] == dead
        assert (self.store.depths()["updates"], self.store.depths()["dead"]) == (len(waiting), len(dead))
        for (_, body), one in self.known.items():
            assert self.store.raw_update(one).body == ("" if self.at[one] == "done" else body)


TestUpdates = Updates.TestCase
TestUpdates.settings = settings(max_examples=25, stateful_step_count=25, deadline=None)
