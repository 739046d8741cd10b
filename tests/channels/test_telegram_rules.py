"""Which requests the checks pass and which they refuse; each case names the page that says so.

MANUAL is the Telegram Bot API manual with the section; FEATURES the bot features page of the same makers.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.channels.telegram_html import BadEntities, parse, typed
from tests.channels.telegram_rules import Upload, check

MANUAL, FEATURES = "Telegram Bot API manual", "Telegram bot features"
Params = dict[str, Any]
Files = dict[str, Upload]


def message(text: str = "Does it cling?", **more: Any) -> Params:
    return {"chat_id": "710000001", "text": text, **more}


def styled(text: str) -> Params:
    return message(text, parse_mode="HTML")


def buttons(*rows: list[Params]) -> Params:
    return message(reply_markup=json.dumps({"inline_keyboard": list(rows)}))


def one(**button: Any) -> Params:
    return buttons([{"text": "Yes", **button}])


def keyboard(chat_id: str, **key: Any) -> Params:
    return message(reply_markup=json.dumps({"keyboard": [[{"text": "Where I am", **key}]]})) | {
        "chat_id": chat_id
    }


def commands(*names: str, about: str = "What it does") -> Params:
    return {"commands": json.dumps([{"command": name, "description": about} for name in names])}


def album(*names: str, caption: str = "") -> Params:
    media: list[Params] = [{"type": "photo", "media": f"attach://{name}"} for name in names]
    media[0] |= {"caption": caption, "parse_mode": "HTML"}
    return {"chat_id": "-100200", "media": json.dumps(media)}


def photos(*names: str, data: bytes = b"jpeg") -> Files:
    return {name: Upload(f"{name}.jpg", data, "image/jpeg") for name in names}


PICTURE = {"chat_id": "710000001"}
WELL: list[tuple[str, str, Params, Files]] = [
    (f"{MANUAL}, sendMessage", "sendMessage", message(), {}),
    (f"{MANUAL}, Making requests: only objects are JSON", "sendMessage", message('{"a": 1'), {}),
    (f"{MANUAL}, Making requests: only objects are JSON", "sendMessage", message("[1, 2]"), {}),
    (f"{MANUAL}, Making requests: method names", "sendmessage", message(), {}),
    (
        f"{MANUAL}, sendMessage: 4096 after entities parsing",
        "sendMessage",
        styled(f"<b>{'x' * 4096}</b>"),
        {},
    ),
    (f"{MANUAL}, sendMessage: 4096 after entities parsing", "sendMessage", styled("&lt;" * 4096), {}),
    (
        f"{MANUAL}, HTML style: nested",
        "sendMessage",
        styled("<b>Stop. <i>Do not ride.</i></b> 3 &lt; 4 &amp; 5"),
        {},
    ),
    (
        f"{MANUAL}, HTML style: code in pre",
        "sendMessage",
        styled('<pre><code class="language-x">1</code></pre>'),
        {},
    ),
    (
        f"{MANUAL}, HTML style: expandable",
        "sendMessage",
        styled("<blockquote expandable>why</blockquote>"),
        {},
    ),
    (f"{MANUAL}, Formatting options: no mode", "sendMessage", message("5 < 6 & 7"), {}),
    (f"{MANUAL}, InlineKeyboardButton: 64 bytes", "sendMessage", one(callback_data="x" * 64), {}),
    (
        f"{MANUAL}, InlineKeyboardButton: one action",
        "sendMessage",
        one(switch_inline_query_current_chat=""),
        {},
    ),
    (f"{FEATURES}, Deep linking", "sendMessage", one(url="https://t.me/a_bot?start=" + "aZ09_-" * 10), {}),
    (
        f"{MANUAL}, KeyboardButton: private chats",
        "sendMessage",
        keyboard("710000001", request_location=True),
        {},
    ),
    (f"{MANUAL}, sendPhoto: 1024", "sendPhoto", PICTURE | {"caption": "x" * 1024}, photos("photo")),
    (f"{MANUAL}, Sending files: attach://", "sendMediaGroup", album("one", "two"), photos("one", "two")),
    (f"{MANUAL}, Sending files: file_id", "sendDocument", PICTURE | {"document": "BQAC12"}, {}),
    (f"{MANUAL}, setMyCommands", "setMyCommands", commands("start", "my_bikes2"), {}),
    (f"{MANUAL}, getUpdates", "getUpdates", {"offset": "-1", "allowed_updates": '["message"]'}, {}),
    (
        f"{MANUAL}, setWebhook: secret_token",
        "setWebhook",
        {"url": "https://a.example", "secret_token": "aZ_-9"},
        {},
    ),
    (
        f"{MANUAL}, answerCallbackQuery: 200",
        "answerCallbackQuery",
        {"callback_query_id": "1", "text": "x" * 200},
        {},
    ),
]


@pytest.mark.parametrize(("page", "method", "params", "files"), WELL)
def test_what_the_manual_allows_passes(page: str, method: str, params: Params, files: Files) -> None:
    verdict = check(method, params, files)
    assert (verdict.faults, verdict.warnings) == ([], []), page


BADLY: list[tuple[str, str, str, Params, Files]] = [
    (f"{MANUAL}, Available methods", "no such method", "sendMessages", message(), {}),
    (f"{MANUAL}, sendMessage: text is required", "text: Field required", "sendMessage", {"chat_id": "1"}, {}),
    (f"{MANUAL}, sendMessage: chat_id",
     "neither a number", "sendMessage", message() | {"chat_id": "Robin"}, {}),
    (f"{MANUAL}, sendMessage: fields", "unknown field colour", "sendMessage", message(colour="red"), {}),
    (f"{MANUAL}, InlineKeyboardButton: fields",
     "unknown field reply_markup.inline_keyboard.0.0.callback_daata",
     "sendMessage", one(callback_daata="x"), {}),
    (f"{MANUAL}, ReplyParameters: fields", "unknown field reply_parameters.mesage_id", "sendMessage",
     message(reply_parameters='{"message_id": 3, "mesage_id": 4}'), {}),
    (f"{MANUAL}, Making requests: JSON",
     "reply_markup is not JSON", "sendMessage", message(reply_markup="{'a': 1}"), {}),
    (f"{MANUAL}, sendMessage: 1 to 4096",
     "more than 4096", "sendMessage", styled(f"<b>{'x' * 4097}</b>"), {}),
    (f"{MANUAL}, sendMessage: 1 to 4096", "text is empty", "sendMessage", styled("<b> </b>"), {}),
    (f"{MANUAL}, editMessageText: 1 to 4096",
     "text is empty", "editMessageText", message("\n") | {"message_id": "4"}, {}),
    (f"{MANUAL}, sendPhoto: caption",
     "more than 1024", "sendPhoto", PICTURE | {"caption": "x" * 1025}, photos("photo")),
    (f"{MANUAL}, InputMediaPhoto: caption", "more than 1024", "sendMediaGroup",
     album("one", "two", caption="x" * 1025), photos("one", "two")),
    (f"{MANUAL}, HTML style: supported tags",
     "Unsupported start tag", "sendMessage", styled("<h1>Stop</h1>"), {}),
    (f"{MANUAL}, HTML style: supported tags",
     'class "tg-spoiler"', "sendMessage", styled("<span>x</span>"), {}),
    (f"{MANUAL}, HTML style: tags are closed", "Can't find end tag", "sendMessage", styled("<b>Stop"), {}),
    (f"{MANUAL}, HTML style: tags are nested",
     "Unmatched end tag", "sendMessage", styled("<b><i>Stop</b></i>"), {}),
    (f"{MANUAL}, HTML style: tags are nested", "Unexpected end tag", "sendMessage", styled("Stop</b>"), {}),
    (f"{MANUAL}, HTML style: < > & are written as signs",
     "Unsupported start tag", "sendMessage", styled("3 < 4"), {}),
    (f"{MANUAL}, HTML style: < > & are written as signs",
     "Unclosed start tag", "sendMessage", styled("3 <4"), {}),
    (f"{MANUAL}, HTML style: < > & are written as signs",
     "bare &", "sendMessage", styled("nuts & bolts"), {}),
    (f"{MANUAL}, HTML style: < > & are written as signs", "bare >", "sendMessage", styled("4 > 3"), {}),
    (f"{MANUAL}, HTML style: four named signs", "&nbsp;", "sendMessage", styled("5&nbsp;mm"), {}),
    (f"{MANUAL}, HTML style: pre and code hold nothing", "<b> inside <code>", "sendMessage",
     styled("<code><b>1</b></code>"), {}),
    (f"{MANUAL}, HTML style: quotations", "inside <blockquote>", "sendMessage",
     styled("<blockquote>a<blockquote>b</blockquote></blockquote>"), {}),
    (f"{MANUAL}, InlineKeyboardButton: 1-64 bytes",
     "has 66 bytes", "sendMessage", one(callback_data="ü" * 33), {}),
    (f"{MANUAL}, InlineKeyboardButton: 1-64 bytes", "has 0 bytes", "sendMessage", one(callback_data=""), {}),
    (f"{MANUAL}, InlineKeyboardButton: exactly one", "has 0 actions", "sendMessage", one(), {}),
    (f"{MANUAL}, InlineKeyboardButton: exactly one", "has 2 actions", "sendMessage",
     one(callback_data="x", url="https://a.example"), {}),
    (f"{MANUAL}, InlineKeyboardButton: text", "without text", "sendMessage", one(callback_data="x") | {
        "reply_markup": '{"inline_keyboard": [[{"text": " ", "callback_data": "x"}]]}'}, {}),
    ("a ceiling of our own, wider than any keyboard here", "9 buttons", "sendMessage",
     buttons([{"text": str(n), "callback_data": str(n)} for n in range(9)]), {}),
    ("a ceiling of our own, wider than any keyboard here", "101 buttons", "sendMessage",
     buttons(*[[{"text": str(n), "callback_data": str(n)}] for n in range(101)]), {}),
    (f"{MANUAL}, KeyboardButton: private chats only", "private chats only", "sendMessage",
     keyboard("-4100001", request_contact=True), {}),
    (f"{FEATURES}, Deep linking", "payload", "sendMessage", one(url="https://t.me/a_bot?start=bike.7"), {}),
    (f"{FEATURES}, Deep linking",
     "payload", "sendMessage", one(url="https://t.me/a_bot?start=" + "a" * 65), {}),
    (f"{FEATURES}, Deep linking", "payload", "sendMessage",
     styled('<a href="https://t.me/a_bot?start=a%20b">go on</a>'), {}),
    (f"{MANUAL}, BotCommand: name", "command 'Bikes'", "setMyCommands", commands("Bikes"), {}),
    (f"{MANUAL}, BotCommand: name", "command 'my-bikes'", "setMyCommands", commands("my-bikes"), {}),
    (f"{MANUAL}, BotCommand: 1 to 32", "command 'aaa", "setMyCommands", commands("a" * 33), {}),
    (f"{MANUAL}, BotCommand: description",
     "description of 0", "setMyCommands", commands("bikes", about=""), {}),
    (f"{MANUAL}, setMyCommands: at most 100", "101 commands", "setMyCommands",
     commands(*[f"c{n}" for n in range(101)]), {}),
    (f"{MANUAL}, Sending files: attach://",
     "no such file", "sendMediaGroup", album("one", "two"), photos("one")),
    (f"{MANUAL}, Sending files: attach://", "nowhere named", "sendMediaGroup",
     album("one", "two"), photos("one", "two", "three")),
    (f"{MANUAL}, InputFile", "photo is empty", "sendPhoto", PICTURE, photos("photo", data=b"")),
    (f"{MANUAL}, Sending files: 10 MB for photos", "more than 10485760", "sendPhoto", PICTURE,
     photos("photo", data=b"x" * (10 * 2**20 + 1))),
    (f"{MANUAL}, sendMediaGroup: 2 to 10", "2 to 10 parts", "sendMediaGroup", album("one"), photos("one")),
    (f"{MANUAL}, answerCallbackQuery: 0 to 200", "more than 200", "answerCallbackQuery",
     {"callback_query_id": "1", "text": "x" * 201}, {}),
    (f"{MANUAL}, setWebhook: secret_token", "secret_token", "setWebhook",
     {"url": "https://a.example", "secret_token": "not this"}, {}),
    (f"{MANUAL}, Update", "no kind 'mesage'", "getUpdates", {"allowed_updates": '["mesage"]'}, {}),
    (f"{MANUAL}, setMyShortDescription: 120", "more than 120", "setMyShortDescription",
     {"short_description": "x" * 121}, {}),
    ("not a rule of the manual: nobody escapes for that mode here", "only HTML", "sendMessage",
     message("Stop!", parse_mode="MarkdownV2"), {}),
]  # fmt: skip


@pytest.mark.parametrize(("page", "told", "method", "params", "files"), BADLY)
def test_what_the_manual_forbids_is_refused(
    page: str, told: str, method: str, params: Params, files: Files
) -> None:
    faults = check(method, params, files).faults
    assert any(told in fault for fault in faults), (page, faults)


def test_a_length_that_sources_count_differently_is_a_warning() -> None:
    """ "MessageEntity" counts UTF-16 units, "sendMessage" says characters: 2049 wrenches are 4098 units."""
    verdict = check("sendMessage", message("\N{WRENCH}" * 2049))
    assert verdict.faults == []
    assert verdict.warnings == ["sendMessage: text has 4098 UTF-16 units, more than 4096"]


def test_values_of_a_json_body_are_checked_like_those_of_a_form() -> None:
    params = message(reply_markup={"inline_keyboard": [[{"text": "Yes", "callback_data": "x", "color": 1}]]})
    assert check("sendMessage", params).faults == [
        "sendMessage: unknown field reply_markup.inline_keyboard.0.0.color"
    ]


@pytest.mark.parametrize(
    ("source", "text", "entities"),
    [
        ("a <b>b</b> c", "a b c", [("bold", 2, 1)]),
        ("\N{WRENCH} <i>x</i>", "\N{WRENCH} x", [("italic", 3, 1)]),
        ("  <b>x</b> ", "x", [("bold", 0, 1)]),
        ("&lt;b&gt; &#x41;&amp;amp;", "<b> A&amp;", []),
        ("<b>a<i>b</i></b>", "ab", [("bold", 0, 2), ("italic", 1, 1)]),
        ('<a href="https://a.example/?a=1&amp;b=2">x</a>', "x", [("text_link", 0, 1)]),
    ],
)
def test_tags_are_taken_out_and_counted_in_utf16(
    source: str, text: str, entities: list[tuple[str, int, int]]
) -> None:
    """Figures by hand; a wrench is two UTF-16 units ("MessageEntity")."""
    parsed = parse(source)
    assert parsed.text == text
    assert [(e["type"], e["offset"], e["length"]) for e in parsed.entities] == entities


def test_the_place_of_a_wrong_tag_is_told_in_bytes() -> None:
    with pytest.raises(BadEntities, match=r'^Unsupported start tag "h1" at byte offset 3$'):
        parse("ü <h1>x</h1>")


def test_what_people_type_is_marked_as_the_service_marks_it() -> None:
    found = [
        (e["type"], e["offset"], e["length"]) for e in typed("/why@a_bot and/or @robin https://a.example/x")
    ]
    assert found == [("bot_command", 0, 10), ("mention", 18, 6), ("url", 25, 19)]
