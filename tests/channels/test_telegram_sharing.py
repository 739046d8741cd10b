"""Sharing a case on Telegram: the code with its link and picture, opening, groups, and what stays shut."""

from __future__ import annotations

import io
import json
import re
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image

from bot import turn
from bot.channels.telegram.serve import drawn_link
from bot.channels.telegram.settings import SettingsError, read
from bot.record.export import everything_of
from tests.channels.qr_reading import read_qr
from tests.channels.telegram_person import Person, Seen, links_of
from tests.channels.telegram_running import PAPER, Running, press, say, to_the_paper
from tests.channels.telegram_server import TelegramServer
from tests.channels.telegram_world import Chat
from tests.record.small_talk import beside
from tests.record.test_photos import jpeg

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]


@pytest.fixture
def max_(telegram: TelegramServer) -> Person:
    return telegram.person("Max")


@pytest.fixture
def group(telegram: TelegramServer, robin: Person, max_: Person) -> Chat:
    return telegram.group("North Trail Club", robin, max_)


def texts(seen: list[Seen]) -> str:
    return "\n".join(one.text for one in seen)


def share(robin: Person) -> Seen:
    """The message with the code of his case."""
    robin.server.idle(0.2)
    return next(seen for seen in say(robin, "/share") if "Your mechanic sends me" in seen.text)


def code_of(seen: Seen) -> str:
    return re.findall(r"^open (\S+)$", seen.text, re.MULTILINE)[0]


def shut(pressed_by: Person, message: Seen, data: str) -> str:
    """What a press that is not his to make is answered with; nothing else may come of it."""
    pressed = pressed_by.press(message, data=data)
    pressed_by.server.wait_for(lambda: not pressed.spinning, told="the end of the spinner")
    return str(pressed.answers[0].get("text", ""))


# --- the code ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["club_bot", "a_rather_long_name_of_a_clubs_bot", "bots"])
def test_a_link_is_drawn_so_that_it_can_be_read(name: str) -> None:
    link = f"https://t.me/{name}?start=ABCDEF23"
    assert read_qr(drawn_link(link)) == link


def test_a_code_comes_with_a_link_and_as_a_picture_of_it(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    shown = share(robin)
    code = code_of(shown)
    [link] = links_of(shown)
    assert link == f"https://t.me/{telegram.bot_name}?start={code.replace('-', '')}"
    assert shown.rows == ()
    [call] = telegram.wait_for(lambda: telegram.calls_of("sendPhoto"), 20, "the picture")
    assert "opens your case" in str(call.get("caption"))
    assert str(call.get("chat_id")) == str(robin.id)
    [photo] = call.files.values()
    assert read_qr(photo.data) == link


def test_a_code_that_was_sent_is_nowhere_in_the_record(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    """Nor in what waits to be edited: the message is never touched again."""
    to_the_paper(robin)
    shown = share(robin)
    code = code_of(shown)
    telegram.wait_for(lambda: telegram.calls_of("sendPhoto"), 20, "the picture")
    telegram.idle(1.5)
    say(robin, "None of these")
    max_.start(code.replace("-", ""))
    max_.answer()
    bot.stop()
    kept = {path.name for path in beside(bot.path) for word in (code, code.replace("-", ""))
            if word.lower().encode() in path.read_bytes().lower()}  # fmt: skip
    assert kept == set()
    bot.start()
    assert code in texts(robin.bot_says())


def test_a_link_that_carries_a_case_from_a_group_is_no_code(bot: Running, robin: Person, group: Chat) -> None:
    """Such a token may hold what looks like a code."""
    say(robin, "/new something rattles", chat=group)
    with bot.record() as store, store.writing():
        person = store.known_as("telegram", str(robin.id))
        assert person is not None
        token, now = "x" * 12 + "-AB2D-EFGH-" + "y" * 9, turn.stamp(bot.now())
        store.make_link(token, 1, person.id, turn.stamp(bot.now() + timedelta(days=1)), now)
    robin.start(f"g{token}")
    assert "Does it knock" in texts(robin.answer())


# --- a photo that answers ---------------------------------------------------------------------------------


def asks_for_a_photo(robin: Person, max_: Person) -> None:
    to_the_paper(robin)
    max_.start(code_of(share(robin)).replace("-", ""))
    max_.answer()
    say(max_, "ask rider: show me the plug")
    server = robin.server
    server.wait_for(lambda: "show me the plug" in texts(robin.bot_says()), told="the question")
    server.wait_for(lambda: server.calls_of("sendPhoto"), 20, "the picture of the code")


def test_a_photo_that_answers_is_sent_on_bare_of_its_place_and_once(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    asks_for_a_photo(robin, max_)
    before = len(telegram.calls_of("sendPhoto"))
    robin.send_photo(jpeg((3000, 1500)), "answer: here")
    telegram.wait_for(lambda: len(telegram.calls_of("sendPhoto")) > before, 20, "the photo")
    telegram.idle(1.5)
    [call] = telegram.calls_of("sendPhoto")[before:]
    assert str(call.get("chat_id")) == str(max_.id)
    assert call.get("caption") == "[Goat] Photo to your question: show me the plug"
    [photo] = call.files.values()
    assert Image.open(io.BytesIO(photo.data)).size == (1600, 800)
    assert dict(Image.open(io.BytesIO(photo.data)).getexif()) == {}
    assert b"zyx" not in photo.data.lower()


def test_a_photo_that_the_platform_does_not_take_as_one_goes_as_a_file(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    asks_for_a_photo(robin, max_)
    telegram.fail("sendPhoto", 400, "Bad Request: PHOTO_INVALID_DIMENSIONS")
    robin.send_photo(jpeg(), "answer: here")
    [call] = telegram.wait_for(lambda: telegram.calls_of("sendDocument"), 20, "the file")
    assert str(call.get("chat_id")) == str(max_.id)


def test_a_photo_is_not_sent_on_once_it_was_taken_back(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    asks_for_a_photo(robin, max_)
    before = len(telegram.calls_of("sendPhoto"))
    telegram.fail("getFile", 502, times=2)
    robin.send_photo(jpeg(), "answer: here")
    say(robin, "take it back")
    telegram.idle(4.0)
    assert telegram.calls_of("sendPhoto")[before:] == []


# --- opening ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["open {}", "{}", "OPEN {}", "/open {}", "please open {}"])
def test_a_code_opens_however_it_is_sent(bot: Running, robin: Person, max_: Person, how: str) -> None:
    to_the_paper(robin)
    shown = texts(say(max_, how.format(code_of(share(robin)).lower())))
    assert "You are in: Goat." in shown
    assert "Goat: Something rattles" in shown
    robin.server.wait_for(lambda: "[Goat] Max opened your case." in texts(robin.bot_says()), told="told")


def test_a_newcomer_who_taps_the_link_is_in(bot: Running, robin: Person, max_: Person) -> None:
    to_the_paper(robin)
    max_.follow(share(robin))
    assert "You are in: Goat." in texts(max_.answer())
    say(max_, "again")
    press(max_, "1 Bits that cling")
    press(max_, "Done")
    with bot.record() as store:
        told = [(t.who, t.role, t.event.value) for t in store.state(1).answers if t.event.ask == "paper"]
    assert told == [("Max", "mechanic", ("bits",))]


def test_a_link_that_was_used_says_so_and_keeps_what_is_open(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    link = share(robin)
    max_.follow(link)
    max_.answer()
    mo = telegram.person("Mo")
    to_the_paper(mo, bike="Mule")
    mo.follow(link)
    assert "That code opens nothing" in texts(mo.answer())
    say(mo, "None of these")
    with bot.record() as store:
        assert store.state(2).told("paper") is not None
        assert store.state(1).holders == ("Max",)


# --- what stays shut --------------------------------------------------------------------------------------


def test_nobody_presses_below_a_message_of_anothers_case(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    """Max holds Robin's case of Goat; Zoe's is none of his. He sends every number that the outbox has."""
    to_the_paper(robin)
    zoe = telegram.person("Zoe")
    to_the_paper(zoe, bike="Ghost")
    max_.follow(share(robin))
    under = max_.answer()[-1]
    with bot.record() as store:
        numbers = [row["id"] for row in store.rows("select id from outbox where person <> 3 order by id")]
        before = store.entries(1), store.entries(2)
    for number in numbers:
        for place in ("0", "done"):
            assert "too old for me" in shut(max_, under, f"1.{number}.{place}")
    telegram.idle(0.4)
    with bot.record() as store:
        assert (store.entries(1), store.entries(2)) == before


def test_after_taking_back_buttons_go_and_nothing_is_shown(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    link = share(robin)
    max_.follow(link)
    max_.answer()
    asked = say(max_, "again")[-1]
    assert "1 Bits that cling" in texts([asked]) + " ".join(asked.labels)
    with bot.record() as store:
        [number] = [r["id"] for r in store.rows("select id from outbox where person = 2 and asked > 0")]
    say(robin, "take it back")
    telegram.wait_for(lambda: "took this case back" in texts(max_.bot_says()), told="told")
    telegram.wait_for(lambda: not any(seen.rows for seen in max_.bot_says()), told="no more buttons")
    for place in ("0", "1", "done"):
        assert "You hold that case no more" in shut(max_, asked, f"1.{number}.{place}")
    shown = len(max_.bot_says())
    for word in ("/sheet", "/whole", "/where", "/trend", "/book", "/post", "/cases", "/bench", "case 1",
                 "again", "all", "hand it back", "lift the stop"):  # fmt: skip
        say(max_, word)
    max_.follow(link)
    max_.answer()
    new = texts(max_.bot_says()[shown:])
    for hidden in ("Goat", "cling", "SUMMARY", "Robin", "[Goat]"):
        assert hidden not in new
    with bot.record() as store:
        assert {t.who for t in store.state(1).answers} == {"Robin"}


def test_the_riders_own_commands_are_about_the_mechanic_himself_or_refused(
    bot: Running, robin: Person, max_: Person
) -> None:
    to_the_paper(robin)
    max_.follow(share(robin))
    max_.answer()
    assert "Only the rider" in texts(say(max_, "/share"))
    assert "Only the rider" in texts(say(max_, "/post"))
    assert "You have no open case." in texts(say(max_, "/cases"))
    assert "Erase everything of yours" in texts(say(max_, "/eraseme"))
    press(max_, "2 No, keep it")
    with bot.record() as store:
        known = store.known_as("telegram", str(max_.id))
        assert known is not None
        data = json.dumps(everything_of(store, known.id))
    for hidden in ("Goat", "rattles", "Robin"):
        assert hidden not in data


def test_a_mechanic_who_is_erased_leaves_his_finding(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    max_.follow(share(robin))
    max_.answer()
    say(max_, "again")
    press(max_, "3 Dust")
    press(max_, "Done")
    say(max_, "/eraseme")
    press(max_, "1 Yes, erase everything of mine")
    telegram.idle(0.5)
    with bot.record() as store:
        assert store.known_as("telegram", str(max_.id)) is None
        [told] = [t for t in store.state(1).answers if t.event.ask == "paper"]
        assert (told.who, told.role) == ("someone", "mechanic")
        assert store.value("select count(*) from grants") == 0


# --- several cases ------------------------------------------------------------------------------------------


def hold_two(robin: Person, zoe: Person, max_: Person, *words: str) -> None:
    """Max holds Robin's Goat and Zoe's Mule; after each he says these words."""
    for rider, bike in ((robin, "Goat"), (zoe, "Mule")):
        to_the_paper(rider, bike=bike)
        max_.follow(share(rider))
        max_.answer()
        for word in words:
            say(max_, word)


def test_a_press_goes_to_the_case_of_its_question(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    """He was asked about Goat, went on to Mule, and then presses what stands open about Goat."""
    hold_two(robin, telegram.person("Zoe"), max_, "again")
    goat = next(seen for seen in max_.bot_says() if seen.rows and "[Mule]" not in seen.text)
    max_.press(goat, "3 Dust")
    max_.answer()
    max_.press(goat, "Done")
    max_.answer()
    with bot.record() as store:
        assert [t.event.value for t in store.state(1).answers if t.event.ask == "paper"] == [("dust",)]
        assert store.state(2).told("paper") is None


def test_the_bench_has_the_cases_he_holds(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer
) -> None:
    zoe = telegram.person("Zoe")
    hold_two(robin, zoe, max_)
    assert (
        texts(say(max_, "/bench"))
        == "1 Goat: something rattles 0 d\n2 Mule: something rattles 0 d\nGo to one: case 1"
    )
    assert texts(say(max_, "/bench mule")) == "2 Mule: something rattles 0 d\nGo to one: case 2"
    assert "[Goat]" in texts(say(max_, "case 1"))


# --- groups -------------------------------------------------------------------------------------------------


def test_a_code_is_neither_made_nor_taken_before_others(
    bot: Running, robin: Person, max_: Person, group: Chat
) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    assert "private chat" in texts(say(robin, "/share", chat=group))
    robin.say("share", group, reply_to=asked)
    assert "Not here, where others read along." in texts(robin.answer(chat=group))
    with bot.record() as store:
        assert store.value("select count(*) from grants") == 0
    robin.follow([s for s in robin.bot_says(group) if "Go on in private" in s.labels][-1], "Go on in private")
    robin.answer()
    code = code_of(share(robin))
    max_.say(f"open {code}", group, reply_to=asked)
    assert "Not here, where others read along" in texts(max_.answer(chat=group))
    with bot.record() as store:
        assert store.state(1).holders == ()
        assert store.value("select count(*) from guesses") == 0
    assert "You are in" in texts(say(max_, f"open {code}"))


def test_who_has_it_is_not_told_to_a_group(bot: Running, robin: Person, max_: Person, group: Chat) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    robin.say("who has it", group, reply_to=asked)
    assert "Read it in private" in texts(robin.answer(chat=group))
    max_.say("bench", group, reply_to=asked)
    assert "bench" not in texts(max_.answer(chat=group)).replace("send: bench", "")


def listed(bot: Running, *people: Person) -> None:
    """Whoever runs the bot names its mechanics."""
    bot.stop()
    object.__setattr__(bot.settings, "mechanics", frozenset(str(person.id) for person in people))
    bot.start()


def test_a_listed_mechanic_answers_in_the_group_where_the_rider_began(
    bot: Running, robin: Person, max_: Person, group: Chat
) -> None:
    """He holds nothing: no sheet, no way into private, and nothing outside this group."""
    listed(bot, max_)
    asked = say(robin, "/new something rattles", chat=group)[-1]
    max_.press(asked, "2 No knock")
    shown = max_.answer(chat=group)
    with bot.record() as store:
        told = [(t.who, t.role, t.event.ask) for t in store.state(1).answers]
        assert store.state(1).holders == ()
    assert told == [("Max", "mechanic", "knock")]
    theirs = [seen for seen in shown if not seen.edited]
    assert "The rider has not said yet which bike this is." in texts(theirs)
    assert not any(seen.rows for seen in theirs)
    max_.say("/sheet", group)
    sheet = texts(max_.answer(chat=group))
    assert "for the rider's eyes" in sheet
    assert "t.me" not in sheet
    assert "SUMMARY" not in sheet
    robin.say("2", group, reply_to=asked)
    named = robin.answer(chat=group)[-1]
    robin.say("Goat", group, reply_to=named)
    robin.answer(chat=group)
    [question] = [seen for seen in say(max_, "/where", chat=group) if seen.rows]
    assert "By foot" in " ".join(question.labels)
    assert "Go on in private" not in question.labels
    private = texts([*say(max_, "/sheet"), *say(max_, "bench"), *say(max_, "again")])
    for hidden in ("rattles", "SUMMARY", "knock"):
        assert hidden not in private


def test_the_word_of_a_listed_mechanic_lifts_no_stop_in_the_group_and_that_of_a_holder_does(
    bot: Running, robin: Person, max_: Person, telegram: TelegramServer, group: Chat
) -> None:
    ann = telegram.person("Ann")
    listed(bot, max_)
    asked = say(robin, "/new something rattles", chat=group)[-1]
    max_.press(asked, "2 No knock")
    max_.answer(chat=group)
    robin.press(asked, "1 It knocks")
    theirs = robin.answer(chat=group)[-1]
    max_.say("lift the stop: big end felt, no play", group, reply_to=theirs)
    assert "Only a mechanic who holds this case" in texts(max_.answer(chat=group))
    with bot.record() as store:
        assert store.state(1).bars == {"running", "riding"}
    robin.follow(theirs)
    robin.answer()
    ann.start(code_of(share(robin)).replace("-", ""))
    ann.answer()
    say(ann, "lift the stop: big end felt, no play")
    with bot.record() as store:
        [stop] = store.state(1).stops
        assert (stop.lifted_by, stop.looked_at) == ("mechanic", "big end felt, no play")


def test_who_is_not_listed_answers_nobodys_question(
    bot: Running, robin: Person, max_: Person, group: Chat
) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    with bot.record() as store, store.writing():
        max_.start()
        store.run("update people set role = 'mechanic'")
    max_.answer()
    assert "Robin is asked here" in shut(max_, asked, str(asked.rows[0][0].data))
    with bot.record() as store:
        assert store.state(1).answers == ()


def test_what_the_rider_did_not_begin_in_the_group_is_not_public_there(
    bot: Running, robin: Person, max_: Person, group: Chat
) -> None:
    """His case was begun in private; that its question stands in the group now makes it nobody else's."""
    listed(bot, max_)
    say(robin, "something rattles")
    with bot.record() as store, store.writing():
        person = store.known_as("telegram", str(robin.id))
        assert person is not None
        store.sit_down(1, person.id, turn.Address("telegram", str(group.id)), turn.stamp(bot.now()))
    asked = say(robin, "/where", chat=group)[-1]
    asked = next(seen for seen in reversed(robin.bot_says(group)) if seen.rows)
    assert "Robin is asked here" in shut(max_, asked, str(asked.rows[0][0].data))
    with bot.record() as store:
        assert store.state(1).answers == ()


def test_a_link_into_private_ends_with_the_hold(
    bot: Running, robin: Person, max_: Person, group: Chat
) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    robin.follow(asked, "Go on in private")
    robin.answer()
    max_.follow(share(robin))
    max_.answer()
    max_.press(asked, "2 No knock")
    max_.answer(chat=group)
    max_.say("/sheet", group)
    way = next(seen for seen in reversed(max_.answer(chat=group)) if "t.me" in seen.text)
    say(robin, "take it back")
    max_.start(re.findall(r"start=(\S+)", links_of(way)[-1])[0])
    shown = texts(max_.answer())
    assert "too old, or it is somebody else's" in shown
    assert "rattles" not in shown


# --- whoever runs the bot ---------------------------------------------------------------------------------


def test_mechanics_and_days_are_set_and_what_is_wrong_is_said() -> None:
    token = "123456:" + "x" * 35
    given = {"SUMPLINE_TELEGRAM_TOKEN": token, "SUMPLINE_DB": "club.db"}
    found = read({**given, "SUMPLINE_MECHANICS": "7, 8", "SUMPLINE_CODE_DAYS": "2"})
    assert (found.mechanics, found.code_days) == (frozenset({"7", "8"}), 2)
    assert (read(given).mechanics, read(given).code_days) == (frozenset(), 7)
    with pytest.raises(SettingsError) as wrong:
        read({**given, "SUMPLINE_MECHANICS": "max", "SUMPLINE_CODE_DAYS": "0"})
    assert wrong.value.problems == (
        "SUMPLINE_MECHANICS: 'max' is not a number; the bot answers /start with yours.",
        "SUMPLINE_CODE_DAYS: '0' is not a whole number of days between 1 and 90.",
    )


def test_codes_live_as_long_as_the_settings_say(
    telegram: TelegramServer, robin: Person, max_: Person, tmp_path: Path
) -> None:
    running = Running(telegram, tmp_path / "record.db", flow=json.dumps(PAPER), code_days=2)
    running.start()
    to_the_paper(robin)
    shown = share(robin)
    assert "within 2 days" in shown.text
    running.ahead = timedelta(days=2, minutes=1)
    assert "That code opens nothing" in texts(say(max_, f"open {code_of(shown)}"))
    running.stop()
