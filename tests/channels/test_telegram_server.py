"""The test server against a real client library: what it answers and delivers, and how it fails on demand."""

from __future__ import annotations

import asyncio
import http.client
import json
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
import warnings
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from telegram import (
    Bot,
    BotCommand,
    InlineKeyboardButton,
    InlineKeyboardMarkup,
    InputMediaPhoto,
    Message,
    Update,
)
from telegram.error import (
    BadRequest,
    ChatMigrated,
    Conflict,
    Forbidden,
    InvalidToken,
    NetworkError,
    RetryAfter,
    TelegramError,
    TimedOut,
)
from telegram.request import HTTPXRequest

from tests.channels.telegram_person import Person
from tests.channels.telegram_server import NotSeen, TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

ROOT = Path(__file__).parent.parent.parent
YES_NO = InlineKeyboardMarkup(
    [[InlineKeyboardButton("Yes", callback_data="y"), InlineKeyboardButton("No", callback_data="n")]]
)
PICTURE = b"\xff\xd8 a picture \xff\xd9"


def client(server: TelegramServer, token: str = "") -> Bot:
    request = HTTPXRequest(read_timeout=3, connect_timeout=3)
    return Bot(
        token or server.token, base_url=server.base_url, base_file_url=server.base_file_url, request=request,
        get_updates_request=HTTPXRequest(read_timeout=5, connect_timeout=3),
    )  # fmt: skip


@pytest.fixture
async def bot(telegram: TelegramServer) -> AsyncIterator[Bot]:
    async with client(telegram) as bot:
        yield bot


async def poll(bot: Bot, **params: Any) -> list[dict[str, Any]]:
    """getUpdates as it came, unparsed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library would rather have its own method called
        return list(await bot.do_api_request("getUpdates", api_kwargs=params))


async def ids(bot: Bot, **params: Any) -> list[int]:
    return [update["update_id"] for update in await poll(bot, **params)]


# --- the bot and its words ------------------------------------------------------------------------


async def test_who_the_bot_is(telegram: TelegramServer, bot: Bot) -> None:
    me = await bot.get_me()
    assert (me.username, me.is_bot, me.can_read_all_group_messages) == (telegram.bot_name, True, False)


async def test_a_message_arrives_and_is_edited(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    robin.start()
    sent = await bot.send_message(
        robin.id, "<b>Does it cling?</b> 3 &lt; 4", parse_mode="HTML", reply_markup=YES_NO
    )
    [seen] = robin.bot_says()
    assert (seen.text, seen.labels, seen.edited) == ("Does it cling? 3 < 4", ["Yes", "No"], False)
    assert [e.type for e in sent.entities] == ["bold"]
    await bot.edit_message_text("Does it cling? Yes", robin.id, sent.message_id)
    [seen] = robin.bot_says()
    assert (seen.text, seen.labels, seen.edited) == ("Does it cling? Yes", [], True)


async def test_edits_that_change_nothing_or_nothing_that_is_there(robin: Person, bot: Bot) -> None:
    post = robin.start()
    sent = await bot.send_message(robin.id, "Well?", reply_markup=YES_NO)
    with pytest.raises(BadRequest, match=r"^Message is not modified: specified new message content"):
        await bot.edit_message_text("Well?", robin.id, sent.message_id, reply_markup=YES_NO)
    with pytest.raises(BadRequest, match=r"^Message to edit not found$"):
        await bot.edit_message_text("Well!", robin.id, 999)
    with pytest.raises(BadRequest, match=r"^Message can't be edited$"):
        await bot.edit_message_text("Well!", robin.id, post.message_id)
    with pytest.raises(BadRequest, match=r"^There is no caption in the message to edit$"):
        await bot.edit_message_caption(robin.id, sent.message_id, caption="Well!")
    await bot.edit_message_reply_markup(robin.id, sent.message_id)
    assert robin.bot_says()[0].labels == []


async def test_a_message_with_a_reply_keyboard_cannot_be_edited(robin: Person, bot: Bot) -> None:
    robin.start()
    from telegram import ReplyKeyboardMarkup, ReplyKeyboardRemove

    sent = await bot.send_message(robin.id, "Well?", reply_markup=ReplyKeyboardMarkup([["Yes", "No"]]))
    with pytest.raises(BadRequest, match="can't be edited"):
        await bot.edit_message_text("Well!", robin.id, sent.message_id)
    robin.tap("Yes")
    assert robin.sees()[-1].text == "Yes"
    await bot.send_message(robin.id, "Good", reply_markup=ReplyKeyboardRemove())
    assert robin.keyboard() == []


async def test_deleting(robin: Person, bot: Bot) -> None:
    robin.start()
    sent = await bot.send_message(robin.id, "Well?")
    await bot.delete_message(robin.id, sent.message_id)
    assert robin.bot_says() == []
    with pytest.raises(BadRequest, match=r"^Message to delete not found$"):
        await bot.delete_message(robin.id, sent.message_id)


async def test_what_the_service_refuses_it_refuses_here(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.start()
    with pytest.raises(BadRequest, match=r"^Can't parse entities: unsupported start tag"):
        await bot.send_message(robin.id, "3 < 4", parse_mode="HTML")
    with pytest.raises(BadRequest, match=r"^Message is too long$"):
        await bot.send_message(robin.id, "x" * 4097)
    with pytest.raises(BadRequest, match=r"^Message text is empty$"):
        await bot.send_message(robin.id, " ")
    too_much = InlineKeyboardMarkup([[InlineKeyboardButton("Yes", callback_data="y" * 65)]])
    with pytest.raises(BadRequest, match=r"^Button_data_invalid$"):
        await bot.send_message(robin.id, "Well?", reply_markup=too_much)
    assert len(telegram.take_faults()) == 4
    assert robin.bot_says() == []


async def test_replies(robin: Person, bot: Bot) -> None:
    post = robin.say("It rattles")
    sent = await bot.send_message(robin.id, "Where?", reply_to_message_id=post.message_id)
    assert sent.reply_to_message
    assert sent.reply_to_message.text == "It rattles"
    assert robin.bot_says()[0].reply_to == post.message_id
    with pytest.raises(BadRequest, match=r"^Message to be replied not found$"):
        await bot.send_message(robin.id, "Where?", reply_to_message_id=999)
    lost = await bot.send_message(
        robin.id, "Where?", reply_to_message_id=999, allow_sending_without_reply=True
    )
    assert lost.reply_to_message is None


async def test_commands_and_what_a_person_is_offered(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    from telegram import BotCommandScopeAllGroupChats

    pit = telegram.group("Pit", robin)
    await bot.set_my_commands([BotCommand("start", "Begin")])
    await bot.set_my_commands([BotCommand("start", "Los")], language_code="de")
    await bot.set_my_commands([BotCommand("why", "Why")], scope=BotCommandScopeAllGroupChats())
    assert [c.description for c in await bot.get_my_commands(language_code="de")] == ["Los"]
    kim = telegram.person("Kim", language="de")
    assert [p.menu()[0]["description"] for p in (robin, kim)] == ["Begin", "Los"]
    assert robin.menu(pit) == [{"command": "why", "description": "Why"}]
    await bot.delete_my_commands(language_code="de")
    assert kim.menu()[0]["description"] == "Begin"
    await bot.set_my_short_description("Metal in the oil")
    assert (await bot.get_my_short_description()).short_description == "Metal in the oil"


# --- files ----------------------------------------------------------------------------------------


async def test_files_out_and_in(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    robin.start()
    sent = await bot.send_document(
        robin.id, b"%PDF-1.4", filename="case.pdf", caption="<b>Case</b>", parse_mode="HTML"
    )
    assert sent.document
    assert sent.document.file_name == "case.pdf"
    again = await bot.send_document(robin.id, sent.document.file_id)
    assert again.document
    assert again.document.file_unique_id == sent.document.file_unique_id
    await bot.send_photo(robin.id, PICTURE, caption="The magnet")
    await bot.send_media_group(robin.id, [InputMediaPhoto(PICTURE), InputMediaPhoto(PICTURE, caption="two")])
    says = robin.bot_says()
    assert [s.attached for s in says] == [("document",)] * 2 + [("photo",)] * 3
    assert [s.text for s in says] == ["Case", "[document]", "The magnet", "[photo]", "two"]
    assert says[3].content["media_group_id"] == says[4].content["media_group_id"]
    await bot.edit_message_caption(robin.id, says[2].message_id, caption="A magnet")
    assert robin.bot_says()[2].text == "A magnet"
    assert telegram.calls_of("sendPhoto")[0].files["photo"].data == PICTURE


async def test_a_photo_of_a_person_is_downloaded(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    robin.send_photo(PICTURE, "What is this?")
    [update] = [Update.de_json(u, bot) for u in await poll(bot)]
    assert update.message
    assert update.message.caption == "What is this?"
    small, large = update.message.photo
    assert bytes(await (await large.get_file()).download_as_bytearray()) == PICTURE
    assert bytes(await (await small.get_file()).download_as_bytearray()) != PICTURE
    telegram.fail("file", 502)
    with pytest.raises(NetworkError):
        await (await large.get_file()).download_as_bytearray()
    with pytest.raises(BadRequest, match=r"^Invalid file_id$"):
        await bot.get_file("nothing")


async def test_files_that_are_too_big_to_fetch(robin: Person, bot: Bot) -> None:
    post = robin.send_document(b"x" * (20 * 2**20 + 1), "log.csv", "text/csv")
    with pytest.raises(BadRequest, match=r"^File is too big$"):
        await bot.get_file(post.content["document"]["file_id"])


async def test_all_that_a_person_can_send_is_understood_by_the_library(robin: Person, bot: Bot) -> None:
    robin.start("k7_x")
    for send in (
        robin.send_voice,
        robin.send_video,
        robin.send_sticker,
        robin.send_contact,
        robin.send_location,
    ):
        send()
    robin.send_poll("Which oil?", ["thin", "thick"])
    robin.send_photo(PICTURE, album="a")
    robin.send_photo(PICTURE, album="a")
    robin.edit(robin.say("It rattels"), "It rattles")
    updates = [Update.de_json(u, bot) for u in await poll(bot)]
    messages = [m for u in updates if (m := u.effective_message)]
    kinds = ("text", "voice", "video", "sticker", "contact", "location", "poll", "photo")
    assert [[k for k in kinds if getattr(m, k)] for m in messages] == [
        ["text"], ["voice"], ["video"], ["sticker"], ["contact"], ["location"], ["poll"], ["photo"],
        ["photo"], ["text"], ["text"],
    ]  # fmt: skip
    assert messages[0].text == "/start k7_x"
    assert messages[7].media_group_id == messages[8].media_group_id is not None
    assert updates[-1].edited_message
    assert updates[-1].edited_message.edit_date


# --- updates --------------------------------------------------------------------------------------


async def test_an_offset_forgets_what_lies_below_it(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    for number in range(5):
        robin.say(f"{number}")
    first, *rest = await ids(bot, limit=3)
    assert await ids(bot) == [first, *rest, first + 3, first + 4]
    assert await ids(bot, offset=first + 2) == [first + 2, first + 3, first + 4]
    assert await ids(bot) == [first + 2, first + 3, first + 4]
    assert await ids(bot, offset=-1) == [first + 4]
    assert await ids(bot, offset=first + 5) == []
    assert telegram.pending == []


async def test_a_long_poll_waits_for_the_next_update(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    waiting = asyncio.create_task(poll(bot, timeout=4))
    await asyncio.to_thread(telegram.wait_for_calls, "getUpdates")
    await asyncio.sleep(0.05)
    assert not waiting.done()
    robin.say("Hello")
    [update] = await waiting
    assert update["message"]["text"] == "Hello"


async def test_a_second_poll_ends_the_first(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    first = asyncio.create_task(poll(bot, timeout=4))
    await asyncio.to_thread(telegram.wait_for_calls, "getUpdates")
    second = asyncio.create_task(poll(bot, timeout=4))
    with pytest.raises(Conflict, match="terminated by other getUpdates request"):
        await first
    robin.say("Hello")
    assert len(await second) == 1


async def test_a_poll_whose_bot_was_killed_takes_nothing_with_it(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    killed = http.client.HTTPConnection("127.0.0.1", telegram.port)
    killed.request("GET", f"/bot{telegram.token}/getUpdates?timeout=20")
    await asyncio.to_thread(telegram.wait_for_calls, "getUpdates")
    killed.close()
    robin.say("Hello")
    [update] = await poll(bot)
    assert update["message"]["text"] == "Hello"
    assert await ids(bot, offset=update["update_id"] + 1) == []


async def test_allowed_updates_are_kept_and_count_for_what_comes_later(robin: Person, bot: Bot) -> None:
    await poll(bot, allowed_updates=["message"])
    robin.block()
    robin.unblock()
    robin.edit(robin.say("one"), "two")
    assert [sorted(u)[0] for u in await poll(bot)] == ["message"]
    await poll(bot, allowed_updates=["edited_message", "my_chat_member"], offset=-1)
    robin.say("three")
    robin.block()
    assert [sorted(u)[0] for u in await poll(bot)] == ["message", "my_chat_member"]


async def test_updates_grow_old(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    robin.start()
    sent = await bot.send_message(robin.id, "Well?", reply_markup=YES_NO)
    robin.press(robin.bot_says()[0], "Yes")
    telegram.advance(151)
    assert [sorted(u)[0] for u in await poll(bot)] == ["message"]
    telegram.advance(24 * 3600)
    assert await poll(bot) == []
    assert sent.message_id


async def test_the_same_update_again_whatever_the_offset(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.say("one")
    robin.say("two")
    one, two = await poll(bot)
    assert await poll(bot, offset=two["update_id"] + 1) == []
    telegram.again(one["update_id"])
    assert await poll(bot, offset=two["update_id"] + 1) == [one]
    robin.say("three")
    [three] = await poll(bot, offset=one["update_id"] + 1)
    assert three["message"]["text"] == "three"


async def test_ids_that_fall_back_are_delivered_to_an_offset_beyond_them(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.say("one")
    [one] = await poll(bot)
    assert await poll(bot, offset=one["update_id"] + 1) == []
    telegram.restart_ids(at=100)
    robin.say("two")
    assert await ids(bot, offset=one["update_id"] + 1) == [100]
    assert await ids(bot, offset=one["update_id"] + 1) == [100]
    assert await ids(bot, offset=101) == []
    with pytest.raises(ValueError, match="more than ten"):
        telegram.restart_ids(at=95)


async def test_updates_that_cannot_be_parsed(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    telegram.inject({"message": {"message_id": "what?", "chat": 7}})
    robin.say("Hello")
    assert [u["message"].get("text") for u in await poll(bot)] == [None, "Hello"]
    with pytest.raises(KeyError, match="date"):
        await bot.get_updates()
    telegram.inject('{"update_id": ')
    with pytest.raises(TelegramError, match="Invalid server response"):
        await poll(bot)


# --- presses --------------------------------------------------------------------------------------


async def test_a_press_is_answered_in_time_or_too_late(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.start()
    await bot.send_message(robin.id, "Well?", reply_markup=YES_NO)
    [seen] = robin.bot_says()
    press = robin.press(seen, "Yes")
    assert press.spinning
    [_, update] = [Update.de_json(u, bot) for u in await poll(bot)]
    query = update.callback_query
    assert query
    assert query.data == "y"
    assert isinstance(query.message, Message)
    assert query.message.text == "Well?"
    await query.answer("Noted")
    assert press.answers == [{"text": "Noted", "show_alert": False}]
    telegram.advance(151)
    for number in (query.id, "7"):
        with pytest.raises(
            BadRequest, match=r"^Query is too old and response timeout expired or query id is invalid$"
        ):
            await bot.answer_callback_query(number)


async def test_presses_of_what_is_no_longer_there(robin: Person, bot: Bot) -> None:
    robin.start()
    sent = await bot.send_message(robin.id, "Well?", reply_markup=YES_NO)
    [seen] = robin.bot_says()
    await bot.edit_message_reply_markup(robin.id, sent.message_id)
    robin.press(seen, "No")  # as a phone shows it that has not heard of the edit
    robin.press(seen, data="forged")
    with pytest.raises(AssertionError, match="0 buttons with 'No'"):
        robin.press(robin.bot_says()[0], "No")
    await bot.delete_message(robin.id, sent.message_id)
    robin.press(seen, "No")
    queries = [u["callback_query"] for u in await poll(bot, offset=-3)]
    assert [q["data"] for q in queries] == ["n", "forged", "n"]
    assert [q["message"]["date"] == 0 for q in queries] == [False, False, True]
    assert Update.de_json({"update_id": 1, "callback_query": queries[2]}, bot).callback_query


async def test_a_deep_link_is_followed_into_the_private_chat(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    pit = telegram.group("Pit", robin)
    link = f"https://t.me/{telegram.bot_name}?start=go_on-7"
    await bot.send_message(pit.id, f'<a href="{link}">Go on in private</a>', parse_mode="HTML")
    await bot.send_message(
        pit.id, "Go on", reply_markup=InlineKeyboardMarkup([[InlineKeyboardButton("There", url=link)]])
    )
    plain, button = robin.bot_says(pit)
    robin.follow(plain)
    robin.follow(button, "There")
    assert [s.text for s in robin.sees()] == ["/start go_on-7"] * 2


# --- chats ----------------------------------------------------------------------------------------


async def test_who_may_be_written_to(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    for chat_id in (robin.id, 12345):
        with pytest.raises(BadRequest, match=r"^Chat not found$"):
            await bot.send_message(chat_id, "Hello")
    pit = telegram.group("Pit", robin)
    with pytest.raises(Forbidden, match="bot can't initiate conversation with a user"):
        await bot.send_message(robin.id, "Hello")
    robin.start()
    await bot.send_message(robin.id, "Hello")
    robin.block()
    with pytest.raises(Forbidden, match=r"^Forbidden: bot was blocked by the user$"):
        await bot.send_message(robin.id, "Hello")
    telegram.bot_leaves(pit)
    with pytest.raises(Forbidden, match=r"^Forbidden: bot was kicked from the group chat$"):
        await bot.send_message(pit.id, "Hello")
    with pytest.raises(AssertionError, match="unblock"):
        robin.say("Hello?")


@pytest.mark.parametrize(
    ("text", "heard"),
    [
        ("It rattles", False),
        ("/start", True),
        ("/start@pit_lane_test_bot", True),
        ("/start@another_test_bot", False),
        ("@pit_lane_test_bot it rattles", True),
        ("@another_test_bot it rattles", False),
        ("a@pit_lane_test_bot.example", False),
    ],
)
def test_what_a_bot_hears_in_a_group_in_privacy_mode(
    telegram: TelegramServer, robin: Person, text: str, heard: bool
) -> None:
    """ "Privacy mode" of the bot features page."""
    pit = telegram.group("Pit", robin)
    before = len(telegram.pending)
    robin.say(text, pit)
    assert (len(telegram.pending) > before) is heard


async def test_replies_to_the_bot_and_service_messages_are_heard(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    kim = telegram.person("Kim")
    pit = telegram.group("Pit", robin)
    telegram.joins(pit, kim)
    await bot.send_message(pit.id, "Who asks?")
    robin.say("No idea", pit, reply_to=robin.say("Kim?", pit))
    robin.say("Me", pit, reply_to=robin.bot_says(pit)[0])
    telegram.bot_is(pit, "administrator")
    robin.say("Aside", pit)
    heard = [Update.de_json(u, bot) for u in await poll(bot)]
    shown = [(u.message.text or "joined") if u.message else "status" for u in heard]
    assert shown == ["status", "joined", "joined", "Me", "status", "Aside"]


async def test_members_and_administrators(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    kim, lee = telegram.person("Kim"), telegram.person("Lee")
    pit = telegram.group("Pit", robin, kim, bot="administrator")
    assert (await bot.get_chat(pit.id)).title == "Pit"
    assert [(await bot.get_chat_member(pit.id, p.id)).status for p in (robin, kim, lee)] == [
        "creator",
        "member",
        "left",
    ]
    telegram.promote(pit, kim)
    high = await bot.get_chat_administrators(pit.id)
    assert [m.user.first_name for m in high] == ["Robin", "Kim", "Pit lane"]
    with pytest.raises(BadRequest, match=r"^User not found$"):
        await bot.get_chat_member(pit.id, 5)
    robin.start()
    with pytest.raises(BadRequest, match="no administrators in the private chat"):
        await bot.get_chat_administrators(robin.id)
    with pytest.raises(AssertionError, match="Lee is not in Pit"):
        lee.say("/start", pit)


async def test_a_group_becomes_a_supergroup(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    pit = telegram.group("Pit", robin)
    sent = await bot.send_message(pit.id, "Well?")
    new = telegram.migrate(pit)
    for attempt in (
        bot.send_message(pit.id, "Hello"),
        bot.edit_message_text("Well!", pit.id, sent.message_id),
    ):
        with pytest.raises(ChatMigrated) as error:
            await attempt
        assert error.value.new_chat_id == new.id
    moved = [Update.de_json(u, bot).message for u in (await poll(bot))[-2:]]
    assert [(m.chat.id, m.migrate_to_chat_id, m.migrate_from_chat_id) for m in moved if m] == [
        (pit.id, new.id, None),
        (new.id, None, pit.id),
    ]
    assert (await bot.send_message(new.id, "Here")).chat.type == "supergroup"
    with pytest.raises(AssertionError, match="became a supergroup"):
        robin.say("/start", pit)


async def test_topics(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    club = telegram.supergroup("Club", robin, topics=("Oil", "Trips"))
    oil, trips = club.topics
    post = robin.say("/start", club, thread=oil)
    [update] = [Update.de_json(u, bot) for u in await poll(bot, offset=-1)]
    assert update.message
    assert update.message.message_thread_id == oil
    assert update.message.is_topic_message
    assert update.message.reply_to_message
    assert update.message.reply_to_message.forum_topic_created
    await bot.send_message(club.id, "Here", reply_to_message_id=post.message_id)
    await bot.send_message(club.id, "There", message_thread_id=trips)
    await bot.send_message(club.id, "Nowhere")
    assert [[s.text for s in robin.bot_says(club, thread)] for thread in (oil, trips, 0)] == [
        ["Here"],
        ["There"],
        ["Nowhere"],
    ]
    telegram.close_topic(club, trips)
    with pytest.raises(BadRequest, match=r"(?i)^topic_closed$"):
        await bot.send_message(club.id, "There", message_thread_id=trips)
    telegram.delete_topic(club, oil)
    for gone in (oil, 1):
        with pytest.raises(BadRequest, match=r"^Message thread not found$"):
            await bot.send_message(club.id, "Here", message_thread_id=gone)


async def test_a_reply_thread_is_not_a_topic(telegram: TelegramServer, robin: Person, bot: Bot) -> None:
    """A supergroup without topics marks replies with a thread that cannot be written to."""
    club = telegram.supergroup("Club", robin)
    first = robin.say("/start", club)
    robin.say("/start again", club, reply_to=first)
    [update] = [Update.de_json(u, bot) for u in await poll(bot, offset=-1)]
    assert update.message
    assert update.message.message_thread_id == first.message_id
    assert not update.message.is_topic_message
    with pytest.raises(BadRequest, match=r"^Message thread not found$"):
        await bot.send_message(club.id, "Here", message_thread_id=first.message_id)


# --- troubles -------------------------------------------------------------------------------------


async def test_refusals_on_demand(
    telegram: TelegramServer, robin: Person, bot: Bot, monkeypatch: pytest.MonkeyPatch
) -> None:
    robin.start()
    monkeypatch.setenv("PTB_TIMEDELTA", "true")  # the library warns of its own old way otherwise
    telegram.fail("sendMessage", 429, retry_after=3)
    with pytest.raises(RetryAfter) as error:
        await bot.send_message(robin.id, "Hello")
    assert error.value.retry_after == timedelta(seconds=3)
    telegram.fail("*", 502, times=2)
    for attempt in (bot.send_message(robin.id, "Hello"), bot.get_me()):
        with pytest.raises(NetworkError, match="Bad Gateway"):
            await attempt
    telegram.fail("sendMessage", 403)
    with pytest.raises(Forbidden, match="blocked by the user"):
        await bot.send_message(robin.id, "Hello")
    telegram.fail("sendMessage", 400, "can't parse entities: no reason", times=None)
    for _ in range(3):
        with pytest.raises(BadRequest, match="no reason"):
            await bot.send_message(robin.id, "Hello")
    telegram.mend()
    await bot.send_message(robin.id, "Hello")
    assert [s.text for s in robin.bot_says()] == ["Hello"]


@pytest.mark.parametrize(("after", "arrived"), [(False, 0), (True, 1)])
async def test_a_dropped_connection_before_and_after_acting(
    telegram: TelegramServer, robin: Person, bot: Bot, after: bool, arrived: int
) -> None:
    robin.start()
    telegram.drop("sendMessage", after=after)
    with pytest.raises(NetworkError):
        await bot.send_message(robin.id, "Hello")
    assert len(robin.bot_says()) == arrived
    assert telegram.calls_of("sendMessage")[0].status == 0


@pytest.mark.parametrize(("after", "arrived"), [(False, 0), (True, 1)])
async def test_an_answer_that_hangs(
    telegram: TelegramServer, robin: Person, bot: Bot, after: bool, arrived: int
) -> None:
    robin.start()
    telegram.hang("sendMessage", 1.5, after=after)
    with pytest.raises(TimedOut):
        await bot.send_message(robin.id, "Hello", read_timeout=0.2)
    assert len(robin.bot_says()) == arrived
    await asyncio.to_thread(telegram.idle, 0.1)
    assert len(robin.bot_says()) == 1


async def test_a_wrong_and_a_revoked_token(telegram: TelegramServer, bot: Bot) -> None:
    stranger = client(telegram, "7100000002:" + "A" * 35)
    with pytest.raises(InvalidToken):
        await stranger.initialize()
    await stranger.shutdown()
    waiting = asyncio.create_task(bot.get_updates(timeout=4))
    await asyncio.to_thread(telegram.wait_for_calls, "getUpdates")
    telegram.revoke()
    with pytest.raises(InvalidToken):
        await waiting
    with pytest.raises(InvalidToken):
        await bot.get_me()


async def test_the_server_goes_down_and_comes_up_on_its_port(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.start()
    port = telegram.port
    await asyncio.to_thread(telegram.stop)
    with pytest.raises(NetworkError):
        await bot.send_message(robin.id, "Hello")
    robin.say("Anybody?")
    await asyncio.to_thread(telegram.start)
    assert telegram.port == port
    await bot.send_message(robin.id, "Hello")
    assert [u["message"]["text"] for u in await poll(bot)] == ["/start", "Anybody?"]


async def test_latency(telegram: TelegramServer, bot: Bot) -> None:
    telegram.latency = 0.3
    begun = time.monotonic()
    await bot.get_me()
    assert time.monotonic() - begun >= 0.3


# --- records and waits ----------------------------------------------------------------------------


async def test_every_request_is_kept_and_wrong_ones_are_faults(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.start()
    await bot.send_message(robin.id, "Hello", api_kwargs={"colour": "red"})
    [call] = telegram.calls_of("sendMessage")
    assert (call.chat_id, call.get("text"), call.status) == (robin.id, "Hello", 200)
    assert telegram.take_faults() == [f"sendMessage: unknown field colour (request {len(telegram.calls)})"]
    with pytest.raises(Exception, match="Not Found"):
        await bot.pin_chat_message(robin.id, 1)
    assert telegram.take_faults() == ["pinChatMessage: the test server does not know this method"]


def test_a_body_may_be_a_query_a_form_or_json(telegram: TelegramServer, robin: Person) -> None:
    robin.start()
    address = f"{telegram.base_url}{telegram.token}/sendMessage"
    urllib.request.urlopen(f"{address}?chat_id={robin.id}&text=one").close()
    body = json.dumps({"chat_id": robin.id, "text": "two", "reply_markup": None}).encode()
    request = urllib.request.Request(address, body, {"Content-Type": "application/json"})
    urllib.request.urlopen(request).close()
    urllib.request.urlopen(address, f"chat_id={robin.id}&text=three".encode()).close()
    assert [s.text for s in robin.bot_says()] == ["one", "two", "three"]


def test_a_wait_that_fails_shows_what_was_there(telegram: TelegramServer, robin: Person) -> None:
    robin.say("Anybody here?")
    with pytest.raises(NotSeen) as error:
        robin.answer(within=0.1)
    assert "an answer to Robin did not come in 0.1 s" in str(error.value)
    assert "Anybody here?" in str(error.value)
    with pytest.raises(NotSeen, match="sendMessage, 2 times, did not come"):
        telegram.wait_for_calls("sendMessage", 2, within=0.1)


async def test_an_answer_is_what_was_written_or_changed_since(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.start()
    sent = await bot.send_message(robin.id, "Does it cling?", reply_markup=YES_NO)
    await bot.send_message(robin.id, "Old")
    robin.press(robin.bot_says()[0], "Yes")
    waiting = asyncio.create_task(asyncio.to_thread(robin.answer))
    await asyncio.sleep(0.05)
    await bot.edit_message_text("Does it cling? Yes", robin.id, sent.message_id)
    await bot.send_message(robin.id, "Next?")
    assert [(s.text, s.edited) for s in await waiting] == [("Does it cling? Yes", True), ("Next?", False)]


# --- webhooks -------------------------------------------------------------------------------------


class Hooked(BaseHTTPRequestHandler):
    """Takes updates; refuses as often as `refusals` says."""

    refusals = 2
    taken: list[tuple[str, str]] = []  # noqa: RUF012  one list for all requests of a test

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        secret = self.headers["X-Telegram-Bot-Api-Secret-Token"]
        self.taken.append((secret, json.loads(body)["message"]["text"]))
        self.send_response(500 if len(self.taken) <= self.refusals else 200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *words: Any) -> None:
        pass


@contextmanager
def hooked() -> Iterator[str]:
    Hooked.taken.clear()
    with HTTPServer(("127.0.0.1", 0), Hooked) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.05,))
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/hook"
        server.shutdown()
        thread.join()


async def test_a_webhook_gets_every_update_in_turn_until_it_takes_it(
    telegram: TelegramServer, robin: Person, bot: Bot
) -> None:
    robin.say("one")
    with hooked() as address:
        await bot.set_webhook(address, secret_token="a_secret-1", allowed_updates=["message"])
        robin.say("two")
        await asyncio.to_thread(telegram.wait_for, lambda: not telegram.pending)
        assert Hooked.taken == [("a_secret-1", text) for text in ("one", "one", "one", "two")]
        info = await bot.get_webhook_info()
        assert (info.url, info.pending_update_count, info.allowed_updates) == (address, 0, ("message",))
        assert info.last_error_message == "Wrong response from the webhook: 500"
        with pytest.raises(Conflict, match="use deleteWebhook"):
            await poll(bot)
        await bot.delete_webhook()
    robin.say("three")
    assert [u["message"]["text"] for u in await poll(bot)] == ["three"]
    with pytest.raises(BadRequest, match=r"(?i)an https url must be provided"):
        await bot.set_webhook("http://a.example/hook")
    with pytest.raises(BadRequest, match="unallowed characters"):
        await bot.set_webhook("https://a.example/hook", secret_token="not this")
    assert telegram.take_faults() == ["setWebhook: secret_token holds signs that are not allowed (request 8)"]


# --- alone ----------------------------------------------------------------------------------------


def test_it_runs_as_a_program_of_its_own(tmp_path: Path) -> None:
    file = tmp_path / "port"
    command = [sys.executable, "-m", "tests.channels.telegram_server", "--no-check", "--port-file", str(file)]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as program:
        try:
            for _ in range(200):
                if file.exists() and file.read_text().endswith("\n"):
                    break
                time.sleep(0.05)
            address = f"http://127.0.0.1:{file.read_text().strip()}/bot1:wrong/getMe"
            with pytest.raises(urllib.error.HTTPError, match="401") as error:
                urllib.request.urlopen(address)
            error.value.close()
        finally:
            program.terminate()
