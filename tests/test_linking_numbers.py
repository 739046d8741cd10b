"""A number proves nothing: what it may not, whose it is after half a year, names and logs, erasing, kills."""

from __future__ import annotations

import json
import logging
import os
import re
import shutil
import signal
import warnings
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from bot import sharing, turn
from bot.core.book_entries import Note
from bot.record.export import everything_of
from bot.record.keeping import Step
from tests.two_channels import (
    FIRST,
    NUMBER,
    OTHER,
    THIRD,
    account,
    anywhere,
    begun,
    code_of,
    is_asked_the_magnet,
    join,
    phone,
    texts,
)
from tests.workshop import Talker, Workshop, opened


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with opened(tmp_path / "record.db") as made:
        yield made


# --- a number proves nothing ------------------------------------------------------------------------------


def test_a_number_that_is_joined_to_nothing_opens_nothing_and_has_no_bench(shop: Workshop) -> None:
    number, robin = phone(shop), begun(account(shop), "Goat", "something rattles zyxword")
    code = robin.share()
    before = shop.store.entries(robin.case or 0)
    for text in (f"open {code}", code, "bench", "my bench", "open ABCD-EF2"):
        assert number.hears(text) == (
            "By text message alone I cannot know who you are. First join this number to your Telegram "
            "account; send: link"
        )
    for text in ("case 1", "summary", "whole sheet", "Goat", "book Goat", "trend Goat"):
        assert "zyxword" not in number.hears(text)
    assert shop.store.entries(robin.case or 0) == before
    assert shop.store.value("select count(*) from guesses") == 0
    max_ = account(shop, "max")
    max_.say(f"open {code}")
    assert max_.case == robin.case


def test_a_mechanic_whose_number_is_joined_opens_and_reads_by_text_message(shop: Workshop) -> None:
    number, max_, robin = phone(shop), account(shop, "max"), begun(account(shop), "Goat")
    join(number, max_)
    assert "You are in: Goat" in number.hears(f"open {robin.share()}")
    assert "Goat" in number.hears("bench")
    assert shop.store.state(robin.case or 0).holders == ("max",)
    max_.say("unlink")
    number.read()
    assert FIRST in number.hears("bench")
    assert "Goat" in max_.hears("bench")


def test_bench_may_answer_where_the_bike_is_by_text_message_too(shop: Workshop) -> None:
    number = begun(phone(shop), "Goat")
    said = number.say("again")
    for _ in range(12):
        if "Where is the bike now?" in texts(said):
            break
        said = number.say("1")
    assert "Where is the bike now?" in texts(said)
    number.say("bench")
    assert shop.store.state(number.case or 0).settings["place"] == "garage"


@pytest.mark.parametrize("word", ["erase me", "forget me", "Delete my data"])
def test_nothing_is_erased_by_text_message(shop: Workshop, word: str) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    before = shop.store.entries(number.case or 0)
    assert FIRST in number.hears(word)
    assert shop.store.entries(number.case or 0) == before
    join(number, robin)
    assert number.hears(word) == (
        "Not by text message. Send it in your private chat with me in Telegram: /eraseme"
    )


def test_nobody_is_an_admin_by_his_number(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    robin.role = "admin"
    robin.say("hello")
    number.role = "admin"
    number.say("hello")
    assert shop.store.person(number.id).role == "rider"
    join(number, robin)
    begun(number, "Goat")
    heard = [e for e in shop.store.entries(number.case or 0) if e.event.kind == "heard"]
    by_number = [e for e in heard if e.event.heard.channel == "sms"]
    assert len(by_number) == 5
    assert {(e.role, e.event.heard.role) for e in by_number} == {("rider", "rider")}
    assert shop.store.person(robin.id).role == "admin"


# --- a number that was silent ----------------------------------------------------------------------------

ASKED = (
    "This number was silent for half a year. Is it still yours? Send the nickname of one of your bikes. "
    "If the number is new to you, send: new"
)


def silent(shop: Workshop, days: float = 182, bike: str = "Rusty Goat") -> Talker:
    number = begun(phone(shop), bike, "something rattles zyxword")
    number.seen.clear()
    shop.clock.on(days=days)
    return number


def test_to_the_last_second_of_half_a_year_nothing_is_asked(shop: Workshop) -> None:
    """The message itself takes a second."""
    number = begun(phone(shop), "Goat")
    shop.clock.on(days=182, seconds=-2)
    number.say("All of them cling")
    assert shop.store.state(number.case or 0).told("magnet") is not None
    shop.clock.on(days=182, seconds=-1)
    assert number.hears("again") == ASKED


@pytest.mark.parametrize(
    "name",
    ["Rusty Goat", "rusty goat", " RUSTY  GOAT! ", "Rusti Goat", "my rusty goat", "it is the Rusty Goat"],
)
def test_the_right_nickname_lets_the_first_text_go_on(shop: Workshop, name: str) -> None:
    number = silent(shop)
    case = number.case or 0
    before = shop.store.entries(case)
    assert number.hears("All of them cling") == ASKED
    assert shop.store.entries(case) == before
    said = number.say(name)
    since = [e.event.heard.text for e in shop.store.entries(case)[len(before) :] if e.event.kind == "heard"]
    assert said
    assert shop.store.state(case).told("magnet") is not None
    assert since == ["All of them cling"]
    assert shop.store.returning(NUMBER) is None
    assert turn.replay(shop.store, case) is None
    assert "Hold a magnet" not in number.hears("again")


def test_nothing_is_shown_or_used_before_that(shop: Workshop) -> None:
    number = silent(shop)
    case = number.case or 0
    before = shop.store.entries(case)
    for text in ("summary", "where are we"):
        number.say(text)
    told = "\n".join(number.seen)
    for hidden in ("Goat", "zyxword", "magnet"):
        assert hidden not in told
    assert shop.store.entries(case) == before


def test_three_wrong_nicknames_make_a_newcomer(shop: Workshop) -> None:
    number = silent(shop)
    old, case = number.id, number.case or 0
    before = shop.store.entries(case)
    number.say("All of them cling")
    wrong = "I know no bike of that name. Try once more, or send: new"
    assert number.hears("Mule") == wrong
    assert number.hears("Goa") == wrong
    assert number.hears("Rusty") == (
        "Then we begin from nothing. Tell me in your own words what is wrong with the bike."
    )
    assert number.id != old
    assert number.case is None
    for text in ("again", "summary", "Rusty Goat", "where are we"):
        number.say(text)
        assert number.case != case
    assert "zyxword" not in "\n".join(number.seen)
    assert shop.store.entries(case) == before
    # He who had it stays, and nobody reaches him but whoever runs the bot.
    assert [line.id for line in shop.store.cases_of(old)] == [case]
    assert shop.store.rows("select * from handles where person = ?", old) == []
    assert turn.stand(shop.store, "sms", NUMBER, NUMBER, shop.clock.now) is None or number.case != case


@pytest.mark.parametrize("word", ["new", "New.", "I'm new", "not mine"])
def test_who_says_that_he_is_new_is(shop: Workshop, word: str) -> None:
    number = silent(shop)
    old = number.id
    number.say("hello")
    assert "begin from nothing" in number.hears(word)
    assert number.id != old
    newcomers = json.dumps(everything_of(shop.store, number.id))
    assert "hello" in newcomers
    assert "hello" not in json.dumps(everything_of(shop.store, old))


def test_without_a_bike_the_number_is_new_at_once(shop: Workshop) -> None:
    number = phone(shop)
    number.say("something rattles zyxword")
    old, case = number.id, number.case
    shop.clock.on(days=200)
    number.say("something rattles")
    assert number.id != old
    assert number.case not in (None, case)
    assert "zyxword" not in "\n".join(number.seen[-3:])


def test_who_has_an_account_keeps_everything_there_and_is_told(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    join(number, robin)
    number.say("again")
    shop.clock.on(days=100)
    robin.say("again")
    shop.clock.on(days=82)
    assert number.hears("again") == ASKED
    number.say("new")
    assert number.id != robin.id
    assert robin.read()[0].text == (
        "Somebody wrote from your number that ends in 01 and could name none of your bikes: that number is "
        "no longer yours here. If it was you, text me: link"
    )
    assert is_asked_the_magnet(robin.say("again"))
    assert [bike.nickname for bike in shop.store.bikes_of(robin.id)] == ["Goat"]


def test_a_code_that_came_first_is_tried_after_the_right_nickname(shop: Workshop) -> None:
    number, max_, robin = begun(phone(shop), "Goat"), account(shop, "max"), begun(account(shop), "Mule")
    join(number, max_)
    number.say("again")
    shop.clock.on(days=183)
    assert number.hears(f"open {robin.share()}") == ASKED
    assert "You are in: Mule" in number.hears("goat")
    assert {row["sealed"] for row in shop.store.rows("select sealed from inbox")} == {"", "tried"}


def test_a_code_that_came_first_is_gone_with_the_wrong_ones(shop: Workshop) -> None:
    number, robin = silent(shop), begun(account(shop), "Mule")
    number.say(f"open {robin.share()}")
    for _ in range(3):
        number.say("open ABCD-EF23")
    assert {row["sealed"] for row in shop.store.rows("select sealed from inbox")} == {"", "tried"}


def test_no_reminder_goes_to_a_number_that_was_silent_for_long(shop: Workshop) -> None:
    number = begun(phone(shop), "Goat")
    for text in ("book oil change at 40 on 2026-04-01", "yes", "oil every 8 h or 300 days"):
        number.say(text)
    shop.clock.on(days=300)
    assert turn.remind(shop.store, shop.clock.now) == 0
    number.say("hello")
    assert turn.remind(shop.store, shop.clock.now) == 0  # nor while it is asked
    number.say("goat")
    assert turn.remind(shop.store, shop.clock.now) == 1


def test_what_a_mechanic_does_is_not_told_to_a_number_that_was_silent_for_long(shop: Workshop) -> None:
    number, max_ = begun(phone(shop), "Goat"), account(shop, "max")
    max_.say(f"open {number.share()}")
    number.read()
    number.seen.clear()
    shop.clock.on(days=182)
    max_.say("ask rider: how long did it run?")
    assert number.read() == []
    number.say("hello")
    assert "how long did it run" in number.hears("Goat")


# --- names and logs -----------------------------------------------------------------------------------------


def test_a_number_is_nobodys_name(shop: Workshop) -> None:
    for n, number in enumerate((NUMBER, OTHER, THIRD)):
        who = phone(shop, number)
        who.say("hello")
        known = shop.store.person(who.id)
        assert known.name == ("rider", "rider 2", "rider 3")[n]
        assert (known.role, dict(known.settings)) == ("rider", {})


def test_in_logs_a_number_is_eight_letters_under_our_key(
    shop: Workshop, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    hashed = shop.store.hashed(NUMBER)
    assert re.fullmatch("[a-p]{8}", hashed)
    assert hashed == shop.store.hashed(NUMBER)
    assert len({shop.store.hashed(f"+1555{n:04}") for n in range(500)}) == 500
    number, robin = phone(shop), account(shop)
    join(number, robin)
    robin.say("unlink")
    logged = "\n".join(record.getMessage() for record in caplog.records)
    assert hashed in logged
    assert NUMBER not in logged
    shop.store.key_path.unlink()
    assert shop.store.hashed(NUMBER) != hashed
    shop.store.key_path.write_bytes(b"")
    assert shop.store.hashed(NUMBER) == "no key"


# --- erasing, and his own copy ------------------------------------------------------------------------------


def test_with_him_goes_everything_of_both(shop: Workshop) -> None:
    """His own cases of either name, and his name in a case of another that he held under the former one."""
    store, zoe = shop.store, begun(account(shop, "zoe"), "Ghost")
    number, robin = begun(phone(shop), "Zyxgoat", "something rattles zyxnumber"), account(shop, "zyxrobin")
    begun(robin, "Zyxmule", "something rattles zyxaccount")
    at = turn.stamp(shop.clock.now)
    with store.writing():
        store.run("update people set name = 'Zyxphone', fold = 'zyxphone' where id = ?", number.id)
        store.keep_code(zoe.case or 0, zoe.id, "d1", at)
        store.use_code(1, number.id, at)
        store.end_hold(zoe.case or 0, number.id, at)
    store.write_book(store.bikes_of(number.id)[0].id, Note(note="zyxnote"), at)
    join(number, robin)
    number.say("again")
    robin.say(f"open {zoe.share()}")
    assert store.state(zoe.case or 0).holders == ("Zyxphone",)
    robin.say("note: zyxwords")
    zoe.say("take it back from zyxphone")
    robin.read()
    zoe.read()
    erased = robin.id
    store.erase(erased)
    assert anywhere(store, "zyx", NUMBER) == set()
    assert store.value("pragma integrity_check") == "ok"
    assert store.rows("pragma foreign_key_check") == []
    for table in ("former_names", "called", "link_codes", "returns"):
        assert store.value(f"select count(*) from {table}") == 0, table
    assert store.rows("select person from whereabouts") == [{"person": zoe.id}]
    assert {e.who for e in store.entries(zoe.case or 0)} == {"zoe", "someone"}
    number.say("hello")
    assert store.bikes_of(number.id) == ()


def test_a_number_given_back_is_not_erased_with_its_former_rider(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    join(number, robin)
    robin.say("unlink")
    begun(number, "Mule")
    shop.store.erase(robin.id)
    assert [bike.nickname for bike in shop.store.bikes_of(number.id)] == ["Mule"]
    assert is_asked_the_magnet(number.say("again"))


def test_his_own_copy_has_both_sides_and_his_former_names(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), begun(account(shop), "Mule")
    join(number, robin)
    data = everything_of(shop.store, robin.id)
    assert data["former_names"] == ["rider"]
    assert [case["bike"] for case in data["cases"]] == ["Goat", "Mule"]
    assert {known["channel"] for known in data["known_as"]} == {"sms", "telegram"}
    assert {message["channel"] for message in data["messages"]} == {"sms", "telegram"}
    told = [answer["text"] for answer in data["answers"]]
    assert "A code was made here, and I do not keep it. For a new one send: link" in told


# --- killed between steps ---------------------------------------------------------------------------------


def test_killed_at_any_statement_of_joining_both_are_apart_or_one(shop: Workshop, tmp_path: Path) -> None:
    """A fork is killed at its k-th statement, for many k, until one gets through; then the turn is taken."""
    number = begun(phone(shop), "Goat")
    begun(account(shop), "goat")
    code = code_of(number)
    heard = turn.Heard(text=code)
    inbox = turn.accept(shop.store, "telegram", "robin", "robin", "join", heard, shop.clock.now)
    apart, statement, through = 0, 0, False
    shop.store.run("pragma wal_checkpoint(truncate)")
    while not through:
        statement += 7
        copy = tmp_path / f"run-{statement}"
        copy.mkdir()
        for path in tmp_path.glob("record.db*"):
            if path.is_file():
                shutil.copy(path, copy / path.name)
        through = _take_until(copy / "record.db", inbox or 0, shop, statement)
        with closing(turn.open_record(copy / "record.db")) as store:
            people = {store.known_as("sms", NUMBER).id, store.known_as("telegram", "robin").id}  # type: ignore[union-attr]
            apart += len(people) == 2
            assert (len(people) == 2) == (store.incoming(inbox or 0).state == "new")
            assert store.rows("pragma foreign_key_check") == []
            turn.finish(store, shop.clock.now)
            joined = store.known_as("sms", NUMBER)
            assert joined == store.known_as("telegram", "robin")
            assert joined is not None
            assert sorted(bike.nickname for bike in store.bikes_of(joined.id)) == ["Goat 2", "goat"]
            told = [out.message.text for out in turn.due(store, shop.clock.now, channel="telegram")]
            assert sum("is joined" in text for text in told) == 1
            assert turn.replay(store, number.case or 0) is None
        shutil.rmtree(copy)
    assert apart > 10


def _take_until(path: Path, inbox: int, shop: Workshop, statement: int) -> bool:
    """Take the turn in a fork that is killed at that statement; whether it got through before."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        try:
            doomed, count = turn.open_record(path), 0
            turn.stock(doomed, turn.stamp(shop.clock.now))

            def die(sql: str) -> None:
                nonlocal count
                count += 1
                if count == statement:
                    os.kill(os.getpid(), signal.SIGKILL)

            doomed.db.conn.set_trace_callback(die)
            turn.take(doomed, inbox, shop.clock.now)
        finally:
            os._exit(0)
    return os.WIFEXITED(os.waitpid(child, 0)[1])


def test_a_turn_that_fails_after_joining_leaves_both_apart(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    code = code_of(number)
    heard = turn.Heard(text=code)
    inbox = turn.accept(shop.store, "telegram", "robin", "robin", "join", heard, shop.clock.now)

    def fail(step: Step) -> None:
        raise ValueError("the channel could not")

    turn.take(shop.store, inbox or 0, shop.clock.now, then=fail)
    assert number.id != robin.id
    turn.finish(shop.store, shop.clock.now)
    assert number.id == robin.id


def test_the_words_are_understood_in_spanish(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    for who in (number, robin):
        who.say("español")
    [secret] = [message for message in number.say("enlazar") if message.kind == "secret"]
    assert "es tu código" in secret.text
    assert len(secret.short) <= 160
    assert "está unido" in robin.hears(f"abrir {sharing.code_said(secret.text)}")
    assert "ya no es tuyo aquí" in robin.hears("desenlazar")
    assert replace(secret).kind == "secret"


def test_what_was_kept_back_goes_to_the_account_when_the_number_is_somebody_elses(shop: Workshop) -> None:
    """Without an account nobody gets it."""
    number, max_ = begun(phone(shop), "Goat"), account(shop, "max")
    max_.say(f"open {number.share()}")
    number.read()
    shop.clock.on(days=182)
    max_.say("ask rider: how long did it run?")
    number.say("hello")
    number.say("new")
    shop.clock.on(days=1)
    assert number.read() == []
    assert [
        out for out in turn.due(shop.store, shop.clock.now + timedelta(days=9)) if out.channel == "sms"
    ] == []
