"""One person has one identity over channels: joined only by a code, given back, asked after long silence."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from bot import sharing, turn
from bot.record.export import everything_of
from bot.record.post import Address
from tests.two_channels import (
    FIRST,
    NUMBER,
    OTHER,
    WRONG,
    account,
    anywhere,
    begun,
    code_of,
    group_says,
    is_asked_the_magnet,
    join,
    phone,
    texts,
)
from tests.workshop import Workshop, opened


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with opened(tmp_path / "record.db") as made:
        yield made


# --- the code goes out ----------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["link", "Link", " LINK. ", "link my number", "Join my number"])
def test_a_number_gets_a_code_of_the_same_form_as_a_mechanics(shop: Workshop, word: str) -> None:
    [told] = phone(shop).say(word)
    assert told.kind == "secret"
    code = sharing.code_said(told.text)
    assert re.fullmatch(f"[{sharing.ALPHABET}]{{8}}", code)
    assert told.text == (
        f"{sharing.shown(code)} is your code. Type it in Telegram, in your private chat with me, within 10 "
        "minutes. Then this number and that account are one person. Give it to nobody."
    )
    assert sharing.code_said(told.short) == code
    assert len(told.short) <= 160  # one text message (3GPP TS 23.038: 160 septets)
    assert told.stays == "A code was made here, and I do not keep it. For a new one send: link"


def test_other_words_with_link_are_words(shop: Workshop) -> None:
    number = phone(shop)
    for text in ("the link of the chain is bent", "link 520", "unlinked plate"):
        assert all(message.kind != "secret" for message in number.say(text))


def test_the_code_is_kept_nowhere_once_it_is_out(shop: Workshop) -> None:
    robin, text = phone(shop), account(shop)
    code = code_of(robin)
    assert anywhere(shop.store, code, code.replace("-", "")) == set()
    row = shop.store.row("select code_digest from link_codes")
    assert row is not None
    assert row["code_digest"] == shop.store.digest_code(code.replace("-", ""))
    text.say(f"open {code}")
    assert anywhere(shop.store, code, code.replace("-", "")) == set()
    sealed = {row["sealed"] for row in shop.store.rows("select sealed from inbox")}
    assert sealed == {"", "tried"}


def test_a_newer_code_takes_the_place_of_the_older(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    first, second = code_of(number), code_of(number)
    assert WRONG in robin.hears(first)
    assert "is joined" in robin.hears(second)


def test_three_codes_a_day_for_one_number(shop: Workshop) -> None:
    number, other = phone(shop), phone(shop, OTHER)
    for _ in range(3):
        code_of(number)
    assert number.hears("link") == "You had 3 codes today. Send it again tomorrow."
    code_of(other)
    shop.clock.on(hours=23, minutes=59)
    assert "Send it again tomorrow" in number.hears("link")
    shop.clock.on(minutes=1)
    code_of(number)


def test_a_code_works_for_ten_minutes(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    code = code_of(number)
    shop.clock.on(minutes=10, seconds=-1)
    assert WRONG in robin.hears(code)  # the message itself takes a second
    code = code_of(number)
    shop.clock.on(minutes=10, seconds=-2)
    assert "is joined" in robin.hears(code)


def test_a_used_code_opens_nothing(shop: Workshop) -> None:
    number, robin, zoe = phone(shop), account(shop), account(shop, "zoe")
    code = code_of(number)
    robin.say(code)
    assert WRONG in zoe.hears(code)
    assert shop.store.known_as("sms", NUMBER) == shop.store.known_as("telegram", "robin")


def test_wrong_codes_are_counted_with_those_of_mechanics(shop: Workshop) -> None:
    """Five in ten minutes of one person, whatever they were meant for."""
    number, robin = phone(shop), account(shop)
    code = code_of(number)
    for n in range(5):
        assert WRONG in robin.hears(f"open A2BC-DE3{n + 2}")
    assert "Too many codes that opened nothing" in robin.hears(code)
    assert shop.store.numbers_of(robin.id) == ()


def test_fifty_wrong_codes_of_everybody_let_nobody_join_for_an_hour(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    for n in range(10):
        guesser = account(shop, f"g{n}")
        for k in range(5):
            assert WRONG in guesser.hears(f"A2{sharing.ALPHABET[n]}{sharing.ALPHABET[k]}-FGHJ")
    assert "Too many codes" in robin.hears(code_of(number))
    shop.clock.on(hours=1)
    assert "is joined" in robin.hears(code_of(number))


def test_without_a_key_no_code_is_made_and_it_is_said(shop: Workshop) -> None:
    shop.store.key_path.write_bytes(b"short")
    os.chmod(shop.store.key_path, 0o600)
    assert "I cannot make or open codes now" in phone(shop).hears("link")
    assert shop.store.value("select count(*) from link_codes") == 0


def test_a_backup_holds_no_code_that_is_on_its_way(shop: Workshop, tmp_path: Path) -> None:
    number = phone(shop)
    number.say("link", shown=False)
    [out] = turn.due(shop.store, shop.clock.now, channel="sms")
    code = sharing.code_said(out.message.text)
    shop.store.backup(tmp_path / "copy.db")
    assert sharing.shown(code).encode() not in (tmp_path / "copy.db").read_bytes()


# --- the code comes in ------------------------------------------------------------------------------------


@pytest.mark.parametrize("said", ["{}", "open {}", "link {}", "here is my code: {}", "please link {} thanks"])
def test_typed_in_the_account_the_code_joins_both_and_the_question_is_put_there(
    shop: Workshop, said: str
) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    case = number.case
    told = robin.say(said.format(code_of(number).lower()))
    assert told[0].text == (
        "Your number that ends in 01 is joined: its bikes and cases are here now. Go on here or by text "
        "message. To give it back send: unlink"
    )
    assert is_asked_the_magnet(told[1:])
    assert robin.case == case
    assert [bike.nickname for bike in shop.store.bikes_of(robin.id)] == ["Goat"]
    robin.say("All of them cling")
    [answered] = [
        e for e in shop.store.entries(case or 0) if e.event.kind == "answered" and e.event.ask == "magnet"
    ]
    assert (answered.who, answered.role) == ("rider", "rider")


def test_the_account_stays_and_the_number_leads_to_it(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    robin.say("hello")
    stays = robin.id
    gone = number.id
    join(number, robin)
    assert number.id == robin.id == stays
    with pytest.raises(KeyError):
        shop.store.person(gone)
    named = shop.store.named("rider")
    assert named is not None
    assert (named.id, named.name) == (stays, "robin")
    assert shop.store.is_joined(stays)


def test_nobody_gets_a_name_that_somebody_had(shop: Workshop) -> None:
    join(begun(phone(shop), "Goat"), account(shop))
    phone(shop, OTHER).say("hello")
    other = shop.store.known_as("sms", OTHER)
    assert other is not None
    assert other.name == "rider 2"


def test_an_account_that_nobody_spoke_from_before_can_be_joined(shop: Workshop) -> None:
    number = phone(shop)
    assert "is joined" in account(shop).hears(code_of(number))


def test_a_number_without_a_case_is_joined_and_nothing_is_put(shop: Workshop) -> None:
    number, robin = phone(shop), begun(account(shop), "Mule")
    case = robin.case
    told = join(number, robin)
    assert len(told) == 1
    assert robin.case == case


def test_what_each_told_of_himself_stays_and_the_account_comes_first(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), begun(account(shop), "Mule")
    number.say("units metric")
    number.say("my time is 14:20")
    robin.say("units imperial")
    shop.store.settle(number.id, "kit", "full")
    join(number, robin)
    settings = shop.store.person(robin.id).settings
    assert settings["units"] == "imperial"
    assert settings["kit"] == "full"


def test_book_meters_files_reminders_and_grants_go_over(shop: Workshop) -> None:
    store, number, robin, max_ = shop.store, begun(phone(shop), "Goat"), account(shop), account(shop, "max")
    for text in ("book oil change at 40 on 2026-04-01", "yes", "oil every 8 h or 20 days"):
        number.say(text)
    max_.say(f"open {number.share()}")
    number.read()
    digest = store.keep_file(number.id, b"a picture", "document", turn.stamp(shop.clock.now))
    code, gone = code_of(number), number.id
    assert turn.remind(store, shop.clock.now) == 1
    robin.say(code)
    [bike] = store.bikes_of(robin.id)
    assert len(store.book_of(bike.id)) == 1
    assert store.value("select person from files where digest = ?", digest) == robin.id
    assert store.holds(number.case or 0, max_.id)
    for row in store.rows("select m.name as t, p.name as c from sqlite_master m, pragma_table_info(m.name) p"
                          " where m.type = 'table' and p.name in ('person', 'made_by')"):  # fmt: skip
        assert store.value(f"select count(*) from {row['t']} where {row['c']} = ?", gone) == 0, row
    assert store.rows("pragma foreign_key_check") == []
    # What waited to be said by text message is said where he talks now, once.
    assert turn.remind(store, shop.clock.now) == 1
    [waits] = [
        out for out in turn.due(store, shop.clock.now + timedelta(days=1)) if out.priority == "reminder"
    ]
    assert (waits.channel, waits.person) == ("telegram", "robin")


def test_a_nickname_that_both_have_gets_a_number_everywhere(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), begun(account(shop), "goat")
    case = number.case or 0
    told = join(number, robin)
    assert (
        "You have two bikes called Goat. The one from your number is called Goat 2 from now on."
        in told[0].text
    )
    assert [bike.nickname for bike in shop.store.bikes_of(robin.id)] == ["Goat 2", "goat"]
    assert told[1].text.startswith("[Goat 2] ")
    state = shop.store.state(case)
    assert state.nickname == "Goat 2"
    assert shop.store.case(case).nickname == "Goat 2"
    robin.say("All of them cling")
    assert turn.replay(shop.store, case) is None


def test_a_number_that_is_taken_as_nickname_too_is_passed_over(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), begun(account(shop), "Goat")
    shop.store.make_bike(robin.id, "goat  2", turn.stamp(shop.clock.now))
    join(number, robin)
    assert sorted(bike.nickname for bike in shop.store.bikes_of(robin.id)) == ["Goat", "Goat 3", "goat 2"]


def test_a_case_open_on_each_side_stays_two_cases(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), begun(account(shop), "Mule")
    theirs, own = number.case, robin.case
    before = {case: shop.store.entries(case or 0) for case in (theirs, own)}
    told = join(number, robin)
    assert told[1].text.startswith("[Goat] ")
    assert robin.case == theirs != own
    assert [line.id for line in shop.store.cases_of(robin.id)] == sorted((theirs, own), reverse=True)  # type: ignore[type-var]
    for case, entries in before.items():
        assert shop.store.entries(case or 0)[: len(entries)] == entries
    assert len(shop.store.entries(own or 0)) == len(before[own])


# --- refused ---------------------------------------------------------------------------------------------


def test_in_a_group_a_code_joins_nothing_and_is_void(shop: Workshop) -> None:
    """Who read it there could have been quicker in private."""
    number, robin = phone(shop), account(shop)
    robin.say("hello")
    code = code_of(number)
    assert "Not here, where others read along." in group_says(shop, "robin", code)
    assert not shop.store.is_joined(robin.id)
    assert WRONG in account(shop, "zoe").hears(code)


def test_unlink_is_not_heard_in_a_group(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    join(number, robin)
    assert "Not here, where others read along." in group_says(shop, "robin", "unlink")
    assert shop.store.is_joined(robin.id)


def test_an_account_has_one_number(shop: Workshop) -> None:
    robin = account(shop)
    join(phone(shop), robin)
    code = code_of(phone(shop, OTHER))
    assert robin.hears(code) == (
        "Your account has a number already, it ends in 01. To join another one send first: unlink"
    )
    robin.say("unlink")
    assert "is joined" in robin.hears(code)
    assert shop.store.numbers_of(robin.id) == (OTHER,)


def test_a_number_that_is_joined_gets_no_code(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    join(number, robin)
    assert number.hears("link").startswith("This number is joined to a Telegram account already.")
    assert robin.hears("link").startswith("Your account has a number already, it ends in 01.")


def test_who_sends_link_in_his_account_is_told_how(shop: Workshop) -> None:
    """Only where somebody is served by text message; elsewhere it is a word like any other."""
    robin = account(shop)
    assert "Text me from your phone" not in robin.hears("link")
    phone(shop).say("hello")
    assert robin.hears("link") == ("Text me from your phone: link. Then type here the code that I text back.")


def test_his_own_number_is_his_already(shop: Workshop) -> None:
    """A code that was made before the number was joined; the record alone could bring that about."""
    number, robin = phone(shop), account(shop)
    join(number, robin)
    code = sharing.make_code()
    with shop.store.writing():
        shop.store.keep_link_code(NUMBER, robin.id, shop.store.digest_code(code), turn.stamp(shop.clock.now))
    assert robin.hears(code) == "That number is yours already."


def test_a_rider_and_his_mechanic_are_not_joined(shop: Workshop) -> None:
    number, max_ = begun(phone(shop), "Goat"), account(shop, "max")
    max_.say(f"open {number.share()}")
    number.read()
    code = code_of(number)
    assert "at one case as rider and mechanic" in max_.hears(code)
    assert not shop.store.is_joined(max_.id)
    max_.say("hand it back")
    number.read()
    told = max_.say(code)
    assert "is joined" in told[0].text
    assert is_asked_the_magnet(told)
    state = shop.store.state(max_.case or 0)
    assert (state.rider, state.holders) == ("rider", ())
    max_.say("All of them cling")
    assert shop.last(max_.case or 0, "answered").role == "rider"
    assert turn.replay(shop.store, max_.case or 0) is None


def test_a_number_that_holds_the_accounts_case_is_not_joined_to_it(shop: Workshop) -> None:
    """By the door no number holds a case that is joined to nothing; the record refuses it all the same."""
    number, robin = phone(shop), begun(account(shop), "Goat")
    number.say("hello")
    at = turn.stamp(shop.clock.now)
    with shop.store.writing():
        shop.store.keep_code(robin.case or 0, robin.id, "digest", at)
        found = shop.store.case_of_code("digest", at)
        assert found is not None
        shop.store.use_code(found[0], number.id, at)
    assert "at one case as rider and mechanic" in robin.hears(code_of(number))
    assert shop.store.at_one_case(number.id, robin.id)


def test_a_code_is_for_the_account_alone(shop: Workshop) -> None:
    number, robin, terminal = begun(phone(shop), "Goat"), account(shop), shop.person("Robin")
    code = code_of(number)
    assert number.hears(code) == "Type that code in Telegram, in your private chat with me, not here."
    assert FIRST in phone(shop, OTHER).hears(code)
    assert WRONG in terminal.hears(code)
    assert "is joined" in robin.hears(code)


# --- on both channels -------------------------------------------------------------------------------------


def test_a_case_begun_by_text_message_goes_on_there_after_it_was_joined(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    join(number, robin)
    number.say("All of them cling")
    state = shop.store.state(number.case or 0)
    assert state.told("magnet") is not None
    assert state.told("magnet").who == "rider"  # type: ignore[union-attr]
    assert state.asked.keys() == {"rider"}


def test_a_case_begun_in_the_account_goes_on_by_text_message_and_back(shop: Workshop) -> None:
    number, robin = phone(shop), begun(account(shop), "Goat")
    join(number, robin)
    case = robin.case
    number.say("All of them cling")
    assert number.case == case
    assert shop.store.state(case or 0).told("magnet").who == "robin"  # type: ignore[union-attr]
    open_ = shop.store.state(case or 0).asked["robin"]
    again = robin.say("again")
    assert robin.case == case
    assert again
    now = shop.store.state(case or 0).asked["robin"]
    assert (now.what, now.id) == (open_.what, open_.id)
    assert turn.replay(shop.store, case or 0) is None


def test_a_case_spoken_under_two_names_runs_again_the_same_way(shop: Workshop) -> None:
    """The number's case, a mechanic's words in it, and another case of the account between them."""
    number, robin, max_ = begun(phone(shop), "Goat"), begun(account(shop), "Goat"), account(shop, "max")
    case, own = number.case or 0, robin.case or 0
    join(number, robin)
    max_.say(f"open {robin.share()}")
    for who, text in (
        (robin, "All of them cling"), (number, "again"), (max_, "note: looks like the lever"),
        (number, "my time is 14:20"), (robin, "where are we"), (robin, "take it back"), (number, "back"),
    ):  # fmt: skip
        who.say(text)
        max_.read()
    assert {e.who for e in shop.store.entries(case)} == {"rider", "max", ""}
    assert turn.replay(shop.store, case) is None
    assert turn.replay(shop.store, own) is None


def test_the_first_words_on_the_other_channel_go_to_the_case_talked_of_last(shop: Workshop) -> None:
    number, robin = phone(shop), begun(account(shop), "Goat")
    join(number, robin)
    goat = robin.case
    number.say("again")
    assert number.case == goat
    robin.say("start over")
    for text in ("something rattles", "No knock", "Mule"):
        robin.say(text)
    mule = robin.case
    assert mule != goat
    number.say("again")
    assert number.case == mule


def test_of_several_it_is_the_one_talked_of_last(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), begun(account(shop), "Mule")
    goat, mule = number.case or 0, robin.case or 0
    join(number, robin)
    with shop.store.writing():  # as a channel does that offers his cases
        shop.store.sit_down(mule, robin.id, Address("telegram", "robin"), turn.stamp(shop.clock.now))
    robin.say("again")
    assert robin.case == mule
    number.say("again")
    assert number.case == mule
    with shop.store.writing():
        shop.store.sit_down(goat, robin.id, Address("sms", NUMBER), turn.stamp(shop.clock.now))
    number.say("again")
    robin.say("again")
    assert robin.case == goat


def test_a_new_case_begun_with_a_clear_word_is_not_drawn_to_the_old_one(shop: Workshop) -> None:
    """A channel lets the case go when its person wants a new one, also just after he changed the channel."""
    number, robin = phone(shop), begun(account(shop), "Goat")
    join(number, robin)
    number.say("again")
    with shop.store.writing():
        shop.store.let_go(Address("telegram", "robin"), robin.id)
    old = number.case
    robin.say("something rattles")
    assert robin.case != old


def test_it_is_never_a_case_that_he_is_a_mechanic_of(shop: Workshop) -> None:
    number, max_, robin = phone(shop), begun(account(shop, "max"), "Mule"), begun(account(shop), "Goat")
    own = max_.case
    join(number, max_)
    max_.say(f"open {robin.share()}")
    assert max_.case == robin.case
    number.say("again")
    assert number.case == own
    max_.say("case 1")
    with shop.store.writing():
        shop.store.run("update cases set ended = 'closed' where id = ?", own)
    number.say("hello again")
    assert number.case != robin.case


def test_nothing_of_a_group_is_gone_on_with_by_text_message(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    robin.say("hello")
    join(number, robin)
    group_says(shop, "robin", "something rattles")
    number.say("again")
    assert number.case is None or shop.store.value(
        "select count(*) from turns t join inbox i on i.id = t.inbox where t.case_id = ? and i.chat = '-100'",
        number.case,
    ) == 0  # fmt: skip


def test_a_case_that_was_handed_over_by_text_message_is_spoken_to_again_in_the_account(
    shop: Workshop,
) -> None:
    """Nothing is put, for nothing is asked; his next words go to it all the same, and not to a new one."""
    number, robin = begun(phone(shop), "Goat"), account(shop)
    number.say("hand it over")
    case = number.case
    assert shop.store.case(case or 0).ended == "handed_over"
    assert len(join(number, robin)) == 1
    assert "handed over" in robin.hears("again")
    assert robin.case == case
    assert len(shop.store.all_cases()) == 1


def test_a_number_without_a_case_takes_nobody_out_of_the_case_that_he_is_in(shop: Workshop) -> None:
    """He holds another's case and is in it when he joins his number."""
    number, max_, robin = phone(shop), begun(account(shop, "max"), "Mule"), begun(account(shop), "Goat")
    max_.say(f"open {robin.share()}")
    join(number, max_)
    max_.say("again")
    assert max_.case == robin.case


def test_my_own_case_leads_home_on_either_channel(shop: Workshop) -> None:
    number, max_, robin = begun(phone(shop), "Mule"), account(shop, "max"), begun(account(shop), "Goat")
    own = number.case
    join(number, max_)
    max_.say(f"open {robin.share()}")
    max_.say("my own case")
    assert max_.case == own


def test_a_stop_of_his_case_finds_him_where_he_talks_now(shop: Workshop) -> None:
    number, robin, max_ = begun(phone(shop), "Goat"), account(shop), account(shop, "max")
    max_.say(f"open {number.share()}")
    number.read()
    join(number, robin)
    for text in ("change", "1", "It knocks"):
        max_.say(text)
    assert "stop_raised" in shop.events(robin.case or 0)
    assert [m.kind for m in robin.read() if m.kind == "stop"] == ["stop"]
    assert number.read() == []


def test_where_he_is_is_told_to_programs_under_the_name_that_the_case_knows(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    join(number, robin)
    standing = turn.stand(shop.store, "telegram", "robin", "robin", shop.clock.now)
    assert standing is not None
    assert (standing.view.asked_kind, standing.view.asked_id) == ("question", "magnet")
    again = turn.resume(shop.store, "telegram", "robin", "robin")
    assert any("Hold a magnet" in out.message.text for out in again)
    assert shop.store.seats(standing.case).keys() == {"rider"}


def test_a_message_that_waited_to_be_taken_is_taken_for_the_one_who_stays(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    code = code_of(number)
    heard = turn.Heard(text="All of them cling")
    late = turn.accept(shop.store, "sms", NUMBER, "rider", "late", heard, shop.clock.now, handle=NUMBER)
    robin.say(code)
    turn.finish(shop.store, shop.clock.now)
    [told] = [t for t in shop.store.state(robin.case or 0).answers if t.event.ask == "magnet"]
    assert told.who == "rider"
    assert shop.store.incoming(late or 0).person == robin.id


# --- given back -----------------------------------------------------------------------------------------


def test_a_number_that_is_given_back_begins_from_nothing(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat", "something rattles zyxword"), account(shop)
    join(number, robin)
    number.say("again")
    case = number.case
    assert robin.hears("unlink") == (
        "Your number that ends in 01 is no longer yours here: whoever writes from it begins from nothing. "
        "All that you told stays with you."
    )
    assert {at.channel for at in shop.store.places_of(case or 0, robin.id)} == {"telegram"}
    number.read()
    number.seen.clear()
    for text in ("again", "where are we", "summary", "book", "bench", "case 1", "my own case", "Goat", "2"):
        number.say(text)
        assert number.case != case
    told = "\n".join(number.seen)
    assert "zyxword" not in told
    assert "Goat" not in told.replace("goat", "")
    assert number.id != robin.id
    assert shop.store.bikes_of(number.id) == ()
    assert is_asked_the_magnet(robin.say("again"))
    assert "zyxword" not in json.dumps(everything_of(shop.store, number.id))


def test_what_waits_for_him_does_not_go_to_a_number_that_was_given_back(shop: Workshop) -> None:
    """A stop is told where he is still met."""
    number, robin, max_ = begun(phone(shop), "Goat"), account(shop), account(shop, "max")
    max_.say(f"open {number.share()}")
    number.read()
    join(number, robin)
    number.say("again", shown=False)
    for text in ("change", "1", "It knocks"):
        max_.say(text)
    robin.say("unlink", shown=False)
    assert number.read() == []
    assert "STOP. Do not start the engine." in texts(robin.read())
    max_.say("note: the lever is bent")
    max_.say("ask rider: how long did it run?")
    assert number.read() == []
    assert "how long did it run" in texts(robin.read())


def test_a_code_on_its_way_is_void_when_the_number_is_given_back(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    join(number, robin)
    code = sharing.make_code()
    with shop.store.writing():
        shop.store.keep_link_code(NUMBER, robin.id, shop.store.digest_code(code), turn.stamp(shop.clock.now))
    robin.say("unlink")
    assert WRONG in account(shop, "zoe").hears(code)


def test_it_can_be_joined_again_as_the_new_person_that_it_is(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    join(number, robin)
    robin.say("unlink")
    begun(number, "Mule")
    mule = number.case or 0
    assert shop.store.case(mule).rider == "rider 2"
    told = join(number, robin)
    assert told[1].text.startswith("[Mule] ")
    robin.say("All of them cling")
    assert shop.last(mule, "answered").who == "rider 2"
    assert shop.store.former_names(robin.id) == ("rider", "rider 2")
    assert turn.replay(shop.store, mule) is None


def test_unlink_where_nothing_is_joined_and_by_text_message(shop: Workshop) -> None:
    number, robin = phone(shop), account(shop)
    assert robin.hears("unlink") == number.hears("unlink") == "No number is joined to an account here."
    join(number, robin)
    assert number.hears("unlink") == (
        "To give this number back, send in your private chat with me in Telegram: unlink"
    )
    assert shop.store.is_joined(robin.id)


def test_a_message_of_the_number_that_was_not_taken_yet_is_the_new_persons(shop: Workshop) -> None:
    number, robin = begun(phone(shop), "Goat"), account(shop)
    join(number, robin)
    case = robin.case or 0
    heard = turn.Heard(text="All of them cling")
    turn.accept(shop.store, "sms", NUMBER, "rider", "late", heard, shop.clock.now, handle=NUMBER)
    robin.say("unlink")
    turn.finish(shop.store, shop.clock.now)
    assert shop.store.state(case).told("magnet") is None
