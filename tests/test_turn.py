"""The door for channels: one message, one turn, and what was told is kept for good."""

from __future__ import annotations

import hashlib
import logging
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
import yaml

from bot import desks, turn
from bot.authoring import shelf, wording
from bot.core import events
from bot.core.events import Heard
from bot.core.messages import Message
from bot.core.state import State
from bot.record.store import Store
from tests.record.small_talk import NINE, Rider, Said, heard_texts, receive, seat_mechanic
from tests.record.test_photos import GPS, jpeg, opened


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def ann(store: Store) -> Rider:
    return Rider(store, "Ann")


# --- time ------------------------------------------------------------------------------------


def test_times_are_kept_in_utc_with_z() -> None:
    """Noon and a half in a zone four hours and a half east is eight in UTC."""
    east = timezone(timedelta(hours=4, minutes=30))
    assert turn.stamp(datetime(2026, 5, 1, 12, 30, 15, 999_999, tzinfo=east)) == "2026-05-01T08:00:15Z"


def test_a_time_without_a_zone_is_refused_in_words(store: Store) -> None:
    naive = datetime(2026, 5, 1, 9, 0)  # noqa: DTZ001
    with pytest.raises(ValueError, match="has no zone; write it like 2026-05-01T09:30:00Z"):
        turn.accept(store, "terminal", "pit", "Ann", "1", Heard(text="metal"), naive)
    assert store.waiting() == []
    for late in (turn.due, turn.finish):
        with pytest.raises(ValueError, match="has no zone"):
            late(store, naive)


# --- accept and take -------------------------------------------------------------------------


def test_a_message_has_its_turn_once(store: Store) -> None:
    inbox = turn.accept(store, "terminal", "pit", "Ann", "1", Heard(text="metal"), NINE)
    assert inbox is not None
    first = turn.take(store, inbox, NINE, receive)
    assert [out.message.text for out in first] == ["magnet?"]
    assert turn.take(store, inbox, NINE, receive) == first
    turn.sent(store, first[0].id, NINE)
    assert turn.take(store, inbox, NINE, receive) == ()
    assert heard_texts(store, 1) == ["metal"]


def test_a_message_that_was_accepted_is_not_accepted_again(store: Store) -> None:
    told = ("terminal", "pit", "Ann", "1", Heard(text="metal"), NINE)
    assert turn.accept(store, *told) is not None
    assert turn.accept(store, *told) is None


def test_who_spoke_and_when_stands_at_each_entry(store: Store) -> None:
    Rider(store, "Ann", role="mechanic").say("metal")
    entries = store.entries(1)
    assert [(e.seq, e.at, e.who, e.role) for e in entries] == [
        (1, "2026-05-01T09:01:00Z", "Ann", "mechanic"),
        (2, "2026-05-01T09:01:00Z", "Ann", "mechanic"),
        (3, "2026-05-01T09:01:00Z", "Ann", "mechanic"),
    ]
    assert [e.event.kind for e in entries] == ["heard", "opened", "asked"]


def test_no_message_of_that_number(store: Store) -> None:
    with pytest.raises(KeyError):
        turn.take(store, 77, NINE, receive)


def test_the_core_sees_whole_seconds_so_that_a_case_can_be_run_again(store: Store) -> None:
    seen: list[datetime] = []

    def look_at_the_clock(desk: object, state: State, heard: Heard, now: datetime) -> Said:
        seen.append(now)
        return Said((events.WasHeard(heard=heard),), ())

    inbox = turn.accept(store, "terminal", "pit", "Ann", "1", Heard(text="metal"), NINE)
    turn.take(store, inbox or 0, NINE.replace(microsecond=123), look_at_the_clock)
    assert seen == [NINE]


def test_messages_of_one_turn_keep_their_order_and_a_stop_is_safety(ann: Rider) -> None:
    for text in ("metal", "all", "some"):
        ann.say(text)
    out = ann.hand_in("yes")
    assert [(o.n, o.priority, o.message.text) for o in out] == [
        (0, "safety", "STOP. Do not start it."),
        (1, "answer", "That is all."),
    ]


def test_finish_takes_what_was_left_in_the_order_it_came(store: Store) -> None:
    for number, text in enumerate(("metal", "all", "some")):
        turn.accept(store, "terminal", "pit", "Ann", str(number), Heard(text=text), NINE)
    left = turn.finish(store, NINE, receive)
    assert [o.message.text for o in left] == ["magnet?", "flakes?", "knock?"]
    assert turn.finish(store, NINE, receive) == ()
    assert turn.due(store, NINE) == left


def test_what_could_not_be_sent_comes_again_when_it_is_time(store: Store, ann: Rider) -> None:
    (out,) = ann.hand_in("metal")
    turn.not_sent(store, out.id, NINE + timedelta(hours=1))
    assert turn.due(store, NINE + timedelta(minutes=30)) == ()
    assert [o.tries for o in turn.due(store, NINE + timedelta(hours=1), person_name="ann")] == [1]
    assert turn.due(store, NINE + timedelta(hours=1), person_name="nobody") == ()


# --- which case ------------------------------------------------------------------------------


def test_a_message_goes_to_the_current_case_of_that_person_and_place(store: Store) -> None:
    ann, ben = Rider(store, "Ann"), Rider(store, "Ben")
    ann.say("metal")
    ben.say("brakes")
    ann.say("all")
    Rider(store, "Ann", chat="home", said=10).say("clutch")
    assert [heard_texts(store, case) for case in (1, 2, 3)] == [["metal", "all"], ["brakes"], ["clutch"]]


def test_threads_of_one_chat_are_places_of_their_own(store: Store) -> None:
    for thread, text in (("a", "metal"), ("b", "brakes"), ("a", "all")):
        heard = Heard(text=text)
        inbox = turn.accept(store, "telegram", "group", "Ann", text, heard, NINE, thread=thread, handle="77")
        turn.take(store, inbox or 0, NINE, receive)
    assert [heard_texts(store, case) for case in (1, 2)] == [["metal", "all"], ["brakes"]]
    assert [o.thread for o in turn.due(store, NINE)] == ["a", "b", "a"]


def test_after_a_case_is_at_rest_the_core_says_whether_a_new_one_begins(store: Store, ann: Rider) -> None:
    for text in ("metal", "end", "brakes"):
        ann.say(text)
    assert [heard_texts(store, case) for case in (1, 2)] == [["metal", "end"], ["brakes"]]
    assert store.case(1).ended == "proved"
    assert store.case(2).ended == ""


# --- when the talk itself fails --------------------------------------------------------------


def test_a_turn_that_fails_leaves_no_trace_and_is_owned_up_to(
    store: Store, ann: Rider, caplog: pytest.LogCaptureFixture
) -> None:
    ann.say("metal")
    before = store.entries(1)
    with caplog.at_level(logging.ERROR):
        said = ann.hand_in("break secret of Ann")
    assert [o.message.kind for o in said] == ["error"]
    assert store.entries(1) == before
    assert store.waiting() == [2]
    assert "ZeroDivisionError at small_talk.py" in caplog.text
    assert "secret" not in caplog.text
    assert "Ann" not in caplog.text
    assert [m.text for m in ann.say("all")] == ["flakes?"]


def test_it_is_tried_three_times_and_then_set_aside(store: Store, ann: Rider) -> None:
    ann.say("metal")
    ann.say("break")
    assert turn.finish(store, NINE, receive) == ()
    assert store.waiting() == [2]
    last = turn.finish(store, NINE, receive)
    assert [o.message.kind for o in last] == ["error"]
    assert store.waiting() == []
    assert turn.finish(store, NINE, receive) == ()
    assert turn.due(store, NINE) == last


def test_it_is_taken_up_again_when_the_fault_is_gone(store: Store, ann: Rider) -> None:
    ann.say("metal")
    ann.say("break")

    def mended(desk: object, state: State, heard: Heard, now: datetime) -> Said:
        return Said((events.WasHeard(heard=heard),), (Message("Now it works."),))

    assert [o.message.text for o in turn.finish(store, NINE, mended)] == ["Now it works."]
    assert heard_texts(store, 1) == ["metal", "break"]


def test_a_full_disk_is_named_and_nothing_is_lost(store: Store, ann: Rider) -> None:
    """The limit on pages makes SQLite fail as a full disk does (SQLITE_FULL)."""
    ann.say("metal")
    told = Heard(text="all" + " and more" * 3000)
    inbox = turn.accept(store, "terminal", "pit", "Ann", "long", told, NINE)
    store.run(f"pragma max_page_count = {store.value('pragma page_count')}")
    with pytest.raises(turn.RecordError, match="is full; make room"):
        turn.take(store, inbox or 0, NINE, receive)
    assert store.waiting() == [inbox]
    assert heard_texts(store, 1) == ["metal"]
    store.run("pragma max_page_count = 1000000")
    assert [o.message.text for o in turn.finish(store, NINE, receive)] == ["flakes?"]
    assert store.incoming(inbox or 0).tries == 0


# --- coming back, files, words, flows --------------------------------------------------------


def test_whoever_comes_back_is_told_again_what_was_said_last(store: Store, ann: Rider) -> None:
    assert turn.resume(store, "terminal", "pit", "Ann") == ()
    ann.say("metal")
    ann.say("all")
    again = turn.resume(store, "terminal", "pit", "Ann")
    assert [(o.message.text, o.state) for o in again] == [("flakes?", "sent")]
    assert heard_texts(store, 1) == ["metal", "all"]
    ann.say("end")
    assert turn.resume(store, "terminal", "pit", "Ann") == ()


def test_a_stop_that_another_raised_is_told_again_with_the_open_question(store: Store, ann: Rider) -> None:
    ann.say("metal")
    max_ = seat_mechanic(store)
    for text in ("hello", "all", "some", "yes"):
        max_.say(text)
    again = turn.resume(store, "terminal", "pit", "Ann")
    assert [o.message.text for o in again] == ["magnet?", "STOP. Do not start it."]


def test_each_seat_is_told_its_own_last_words(store: Store, ann: Rider) -> None:
    ann.say("metal")
    seat_mechanic(store).say("hello")
    assert [o.message.text for o in turn.resume(store, "terminal", "pit", "Ann")] == ["magnet?"]


def test_a_file_is_kept_under_its_digest(store: Store, ann: Rider) -> None:
    """SHA-256 of the three bytes 'abc' is the example of FIPS 180-2, appendix B.1."""
    digest = turn.keep_file(store, "terminal", "Ann", b"abc", "document", NINE)
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert store.file(digest).read_bytes() == b"abc"
    assert turn.keep_file(store, "terminal", "Ann", b"abc", "document", NINE) == digest


def test_of_a_photo_the_picture_alone_is_kept_with_the_digest_of_what_it_was(
    store: Store, ann: Rider
) -> None:
    taken = jpeg()
    digest = turn.keep_file(store, "terminal", "Ann", taken, "photo", NINE)
    kept = store.file(digest).read_bytes()
    assert GPS in opened(taken).getexif()
    assert GPS not in opened(kept).getexif()
    assert b"Zyxcam" not in kept
    original = store.value("select original from files where digest = ?", digest)
    assert original == hashlib.sha256(taken).hexdigest() != digest


def test_what_is_no_picture_is_not_kept_as_a_photo(store: Store, ann: Rider) -> None:
    with pytest.raises(turn.Unreadable):
        turn.keep_file(store, "terminal", "Ann", b"no picture", "photo", NINE)
    assert not store.value("select count(*) from files")


def test_a_language_we_lack_is_said_in_english() -> None:
    english = turn.read_words()
    assert turn.read_words("xx") == english
    assert turn.read_words("../../flows/common") == english
    assert english.controls["back"][0] == "back"


def test_words_keep_what_was_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bare yes or 1 in the catalogue is the word yes and the figure 1."""
    (tmp_path / "en.yaml").write_text(
        "texts: {a: b, c: d}\ncontrols: {back: [back]}\nlists: {yes: [yes, 1]}\n"
    )
    (tmp_path / "de.yaml").write_text("texts: {a: z}\ncontrols: {}\nlists: {}\n")
    monkeypatch.setattr(wording, "_WORDS", tmp_path)
    turn.read_words.cache_clear()
    try:
        german = turn.read_words("de")
        assert (german.texts, german.controls) == ({"a": "z", "c": "d"}, {"back": ("back",)})
        assert german.lists == {"yes": ("yes", "1")}
    finally:
        turn.read_words.cache_clear()


FLOW = {
    "language": 1,
    "flow": "rattle",
    "version": 1,
    "title": "A rattle",
    "riders_say": ["it rattles"],
    "hand_over": {"minutes": 100},
    "signs": {"loud": {"means": "it is loud", "background": "seldom"}},
    "causes": {"bolt": {"name": "Loose bolt", "share": 90, "shows": {"loud": "often"}}},
    "unlisted": {"share": 10},
}


def test_a_flow_that_was_laid_out_is_on_offer_to_the_core(store: Store, ann: Rider) -> None:
    ann.say("metal")
    text_hash = turn.lay_out(store, yaml.safe_dump(FLOW), "", "everyone", NINE)
    person = store.person(ann.number)
    desk = turn.lay_desk(store, person, person, "terminal")
    assert [(c.flow, c.hash, c.riders_say) for c in desk.cards] == [("rattle", text_hash, ("it rattles",))]
    assert desk.flows[text_hash].causes["bolt"].name == "Loose bolt"
    assert turn.lay_desk(store, person, person, "terminal", "another").cards == ()
    assert len(turn.lay_desk(store, person, person, "terminal", "rattle").cards) == 1


def test_a_case_keeps_the_text_that_it_began_with(store: Store) -> None:
    old = turn.lay_out(store, yaml.safe_dump(FLOW), "", "everyone", NINE)
    new = turn.lay_out(store, yaml.safe_dump({**FLOW, "title": "A rattle, again"}), "", "everyone", NINE)
    desks._FLOWS.clear()
    flows = turn.KeptFlows(store)
    assert [flows[h].title for h in (old, new)] == ["A rattle", "A rattle, again"]
    assert [line.hash for line in store.offered()] == [new]
    assert set(flows) == {old, new}
    assert len(flows) == 2


def test_a_form_of_another_time_is_made_anew_from_the_text(store: Store, tmp_path: Path) -> None:
    text_hash = turn.lay_out(store, yaml.safe_dump(FLOW), "", "everyone", NINE)
    store.run("drop trigger flows_never_change")
    store.run("update flows set form = '{\"language\": 0}'")
    desks._FLOWS.clear()
    assert turn.KeptFlows(store)[text_hash].title == "A rattle"


def test_one_flow_that_cannot_be_read_does_not_stop_the_others(store: Store, ann: Rider) -> None:
    ann.say("metal")
    broken = turn.lay_out(store, yaml.safe_dump(FLOW), "", "everyone", NINE)
    turn.lay_out(store, yaml.safe_dump({**FLOW, "flow": "squeak"}), "", "everyone", NINE)
    store.run("drop trigger flows_never_change")
    store.run("update flows set form = 'x', text = 'y' where hash = ?", broken)
    desks._FLOWS.clear()
    person = store.person(ann.number)
    assert [c.flow for c in turn.lay_desk(store, person, person, "terminal").cards] == ["squeak"]


def test_the_packages_flows_are_put_in_before_the_first_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "flows").mkdir()
    (tmp_path / "flows" / "rattle.yaml").write_text(yaml.safe_dump(FLOW))
    (tmp_path / "flows" / "wrong.yaml").write_text("flow: wrong")
    here = shelf.Shelf(tmp_path / "flows", tmp_path)
    monkeypatch.setattr(shelf, "find", lambda: here)
    for title in ("A rattle", "A rattle", "A new rattle"):  # the second start finds it there already
        (tmp_path / "flows" / "rattle.yaml").write_text(yaml.safe_dump({**FLOW, "title": title}))
        store = turn.open_record(tmp_path / "record.db")
        inbox = turn.accept(
            store, "terminal", "pit", "Ann", title + str(id(store)), Heard(text="metal"), NINE
        )
        turn.take(store, inbox or 0, NINE, receive)
        assert [(line.flow, line.title, line.scope) for line in store.offered()] == [
            ("rattle", title, "shipped")
        ]
        store.close()
    assert len(Store(tmp_path / "record.db").flow_hashes()) == 2
