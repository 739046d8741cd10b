"""Checks of every request to the Telegram Bot API: is it one the published manual allows?

The method models of aiogram are the machine-readable form of the manual. They take unknown fields in
silence, so those are looked for at every depth; lengths, buttons, names and links are checked here,
by the Telegram Bot API manual's sections that stand beside each check. aiogram is imported when the
first check is made and not before: it takes seconds.
"""

from __future__ import annotations

import json
import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, Union, get_args, get_origin
from urllib.parse import parse_qs, urlsplit

from tests.channels.telegram_html import BadEntities, Parsed, parse, trimmed, units

TEXT, CAPTION, NOTICE = 4096, 1024, 200  # "sendMessage", "sendPhoto", "answerCallbackQuery"
DATA = 64  # bytes of callback_data, "InlineKeyboardButton"
ROW, BUTTONS = 8, 100  # a ceiling: the manual names none
ENTITIES = 100  # further ones are ignored by the service
COMMANDS, DESCRIPTION = 100, 256  # "setMyCommands", "BotCommand"
COMMAND = re.compile(r"[a-z0-9_]{1,32}")
PAYLOAD = re.compile(r"[A-Za-z0-9_-]{1,64}")  # "Deep linking" of the bot features page
SECRET = re.compile(r"[A-Za-z0-9_-]{1,256}")  # "setWebhook"
PHOTO_BYTES, FILE_BYTES = 10 * 2**20, 50 * 2**20  # "Sending files"
ABOUT = {"setMyDescription": ("description", 512), "setMyShortDescription": ("short_description", 120)}
INLINE = (
    "url", "callback_data", "web_app", "login_url", "switch_inline_query", "switch_inline_query_current_chat",
    "switch_inline_query_chosen_chat", "copy_text", "callback_game", "pay", "disabled",
)  # fmt: skip
TYPED = (
    "request_users", "request_user", "request_chat", "request_managed_bot", "request_contact",
    "request_location", "request_poll", "web_app",
)  # fmt: skip
LINK = re.compile(r"(?:https?://)?(?:t|telegram)\.me/\w+\?[^\s\"'<>]*|tg://resolve\?[^\s\"'<>]*")


@dataclass(frozen=True)
class Upload:
    """A file as it was attached to a request."""

    name: str
    data: bytes
    kind: str = "application/octet-stream"


@dataclass
class Verdict:
    """What is wrong with a request, and what may go wrong with it."""

    faults: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


@cache
def models() -> dict[str, Any]:
    """Method in small letters -> aiogram's model of it."""
    from aiogram import methods

    found = (getattr(methods, name) for name in methods.__all__ if name not in ("Request", "Response"))
    return {m.__api_method__.lower(): m for m in found if isinstance(getattr(m, "__api_method__", None), str)}


@cache
def update_kinds() -> frozenset[str]:
    from aiogram.types import Update

    return frozenset(Update.model_fields) - {"update_id"}


def check(method: str, params: Mapping[str, Any], files: Mapping[str, Upload] | None = None) -> Verdict:
    """Check one request. params: fields as sent (texts of a form, or values of a JSON body)."""
    model, verdict = models().get(method.lower()), Verdict()
    if model is None:
        verdict.faults.append(f"{method}: there is no such method")
        return verdict
    values = _fits(model, params, files or {}, verdict)
    _attached(values, files or {}, verdict)
    _say(model.__api_method__, values, verdict)
    verdict.faults[:] = [f"{model.__api_method__}: {fault}" for fault in verdict.faults]
    verdict.warnings[:] = [f"{model.__api_method__}: {warning}" for warning in verdict.warnings]
    return verdict


# --- the model ----------------------------------------------------------------------------------


def _fits(
    model: Any, params: Mapping[str, Any], files: Mapping[str, Upload], verdict: Verdict
) -> dict[str, Any]:
    """Check by the model; the decoded fields come back. "Making requests" of the manual."""
    from pydantic import ValidationError

    values = {name: _decoded(model, name, raw, verdict) for name, raw in params.items()}
    try:
        fitted = model.model_validate(values | _inputs(model, files))
    except ValidationError as error:
        for e in error.errors(include_url=False, include_input=False):
            place = ".".join(str(part) for part in e["loc"])
            verdict.faults.append(f"{place}: {e['msg']}")
    else:
        verdict.faults += [f"unknown field {path}" for path in _unknown(fitted, "")]
    return values


def _inputs(model: Any, files: Mapping[str, Upload]) -> dict[str, Any]:
    """The files that are fields of their own; those named by attach:// are not."""
    from aiogram.types import BufferedInputFile

    return {
        name: BufferedInputFile(upload.data, upload.name)
        for name, upload in files.items()
        if name in model.model_fields
    }


def _decoded(model: Any, name: str, raw: Any, verdict: Verdict) -> Any:
    """A field that the model wants as an object or list is JSON; all others stay the text they are."""
    info = model.model_fields.get(name)
    if info is None or not isinstance(raw, str) or not _wants_json(info.annotation):
        return raw
    try:
        return json.loads(raw)
    except ValueError:
        verdict.faults.append(f"{name} is not JSON: {raw[:60]!r}")
        return None


def _wants_json(annotation: Any) -> bool:
    kinds = set(_alternatives(annotation))
    return str not in kinds and any(_is_structure(kind) for kind in kinds)


def _alternatives(annotation: Any) -> Iterator[Any]:
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _alternatives(get_args(annotation)[0])
    elif origin in (Union, types.UnionType):
        for part in get_args(annotation):
            yield from _alternatives(part)
    else:
        yield annotation


def _is_structure(kind: Any) -> bool:
    from pydantic import BaseModel

    return get_origin(kind) in (list, dict) or (isinstance(kind, type) and issubclass(kind, BaseModel))


def _unknown(value: Any, path: str) -> Iterator[str]:
    from pydantic import BaseModel

    if isinstance(value, BaseModel):
        yield from (f"{path}{name}" for name in value.model_extra or {})
        for name in type(value).model_fields:
            yield from _unknown(getattr(value, name), f"{path}{name}.")
    elif isinstance(value, (list, tuple)):
        for number, part in enumerate(value):
            yield from _unknown(part, f"{path}{number}.")


# --- files --------------------------------------------------------------------------------------


def _attached(values: Mapping[str, Any], files: Mapping[str, Upload], verdict: Verdict) -> None:
    """ "Sending files": what is named must be there and what is there must be used and hold something."""
    named = set(re.findall(r"attach://([^\"\s]+)", json.dumps(values, default=str)))
    verdict.faults += [f"attach://{name}, but no such file" for name in sorted(named - set(files))]
    for name, upload in files.items():
        if not upload.data:
            verdict.faults.append(f"file {name} is empty")
        limit = PHOTO_BYTES if name == "photo" else FILE_BYTES
        if len(upload.data) > limit:
            verdict.faults.append(f"file {name} has {len(upload.data)} bytes, more than {limit}")
        if name not in named and name not in _file_fields():
            verdict.faults.append(f"file {name} is attached but nowhere named")


@cache
def _file_fields() -> frozenset[str]:
    from aiogram.types import InputFile

    return frozenset(
        name
        for model in models().values()
        for name, info in model.model_fields.items()
        if InputFile in set(_alternatives(info.annotation))
    )


# --- what it says -------------------------------------------------------------------------------


def _say(method: str, values: Mapping[str, Any], verdict: Verdict) -> None:
    """All checks beyond the model."""
    chat = str(values.get("chat_id", "1"))
    if not re.fullmatch(r"-?[0-9]+|@\w+", chat):
        verdict.faults.append(f"chat_id {chat!r} is neither a number nor a name")
    if method == "answerCallbackQuery":
        _longest("text", str(values.get("text", "")), NOTICE, verdict)
    else:
        _texts(method, values, verdict)
    _markup(values.get("reply_markup"), chat, verdict)
    _commands(values.get("commands"), verdict)
    _kinds(values.get("allowed_updates"), verdict)
    secret = values.get("secret_token")
    if secret and not SECRET.fullmatch(str(secret)):
        verdict.faults.append("secret_token holds signs that are not allowed")
    if method in ABOUT:
        name, limit = ABOUT[method]
        _longest(name, str(values.get(name, "")), limit, verdict)


def _longest(name: str, text: str, limit: int, verdict: Verdict) -> None:
    """Above the limit in characters is refused; above it in UTF-16 units may be (sources disagree)."""
    if len(text) > limit:
        verdict.faults.append(f"{name} has {len(text)} characters, more than {limit}")
    elif units(text) > limit:
        verdict.warnings.append(f"{name} has {units(text)} UTF-16 units, more than {limit}")


def _texts(method: str, values: Mapping[str, Any], verdict: Verdict) -> None:
    if "text" in values or method in ("sendMessage", "editMessageText"):
        _text("text", values, TEXT, verdict)
        if not _plain(values, "text", Verdict()).text:
            verdict.faults.append("text is empty")
    if "caption" in values:
        _text("caption", values, CAPTION, verdict)
    media = values.get("media")
    items = media if isinstance(media, list) else [media]
    if isinstance(media, list) and not 2 <= len(media) <= 10:
        verdict.faults.append(f"an album has 2 to 10 parts, not {len(media)}")
    for item in items:
        if isinstance(item, dict) and "caption" in item:
            _text("caption", item, CAPTION, verdict)


def _text(name: str, values: Mapping[str, Any], limit: int, verdict: Verdict) -> None:
    """Lengths count after the tags are taken out. "sendMessage", "Formatting options"."""
    parsed = _plain(values, name, verdict)
    _longest(name, parsed.text, limit, verdict)
    verdict.faults += [f"{name}: {remark}" for remark in parsed.remarks]
    if len(parsed.entities) > ENTITIES:
        verdict.warnings.append(f"{name} has {len(parsed.entities)} entities; only {ENTITIES} show")
    links = [parsed.text, *(str(e.get("url", "")) for e in parsed.entities)]
    for link in links:
        _links(link, verdict)


def _plain(values: Mapping[str, Any], name: str, verdict: Verdict) -> Parsed:
    source, mode = str(values.get(name, "")), values.get("parse_mode")
    if mode is None:
        return trimmed(Parsed(source))
    if str(mode).upper() != "HTML":
        verdict.faults.append(f"parse_mode {mode!r}: only HTML can be checked here")
        return Parsed(source)
    try:
        return parse(source)
    except BadEntities as error:
        verdict.faults.append(f"{name}: can't parse entities: {error}")
        return Parsed(source)


def _links(text: str, verdict: Verdict) -> None:
    """ "Deep linking": the payload of every link that starts this or another bot."""
    for link in LINK.findall(text):
        query = parse_qs(urlsplit(link).query, keep_blank_values=True)
        for name in ("start", "startgroup"):
            verdict.faults += [
                f"payload {payload!r} of a link is not 1 to 64 of A-Z a-z 0-9 _ -"
                for payload in query.get(name, ())
                if not PAYLOAD.fullmatch(payload) and not (name == "startgroup" and not payload)
            ]


# --- buttons, commands, updates -----------------------------------------------------------------


def _markup(markup: Any, chat: str, verdict: Verdict) -> None:
    """ "InlineKeyboardMarkup", "ReplyKeyboardMarkup"."""
    if not isinstance(markup, dict):
        return
    for name, actions in (("inline_keyboard", INLINE), ("keyboard", TYPED)):
        rows = markup.get(name)
        if isinstance(rows, list):
            _rows([row if isinstance(row, list) else [] for row in rows], verdict)
            for button in (b for row in rows if isinstance(row, list) for b in row):
                _button(button, actions, name, chat, verdict)


def _rows(rows: list[list[Any]], verdict: Verdict) -> None:
    widest, number = max(map(len, rows), default=0), sum(map(len, rows))
    if widest > ROW:
        verdict.faults.append(f"a row has {widest} buttons, more than {ROW}")
    if number > BUTTONS:
        verdict.faults.append(f"the keyboard has {number} buttons, more than {BUTTONS}")
    if any(not row for row in rows):
        verdict.faults.append("a row without buttons")


def _button(button: Any, actions: tuple[str, ...], kind: str, chat: str, verdict: Verdict) -> None:
    if not isinstance(button, dict):
        button = {"text": button}
    name = str(button.get("text", ""))
    given = [action for action in actions if button.get(action) not in (None, False)]
    if not name.strip():
        verdict.faults.append("a button without text")
    if len(given) > 1 or (kind == "inline_keyboard" and not given):
        verdict.faults.append(f"button {name!r} has {len(given)} actions")
    data = button.get("callback_data")
    size = DATA if data is None else len(str(data).encode())
    if not 1 <= size <= DATA:
        verdict.faults.append(f"button {name!r}: callback_data has {size} bytes, not 1 to {DATA}")
    if chat.startswith(("-", "@")) and {"request_contact", "request_location"} & set(given):
        verdict.faults.append(f"button {name!r}: {given[0]} is for private chats only")
    _links(str(button.get("url", "")), verdict)


def _commands(commands: Any, verdict: Verdict) -> None:
    """ "setMyCommands", "BotCommand"."""
    listed = commands if isinstance(commands, list) else []
    if len(listed) > COMMANDS:
        verdict.faults.append(f"{len(listed)} commands, more than {COMMANDS}")
    for command in (c for c in listed if isinstance(c, dict)):
        name, about = str(command.get("command", "")), str(command.get("description", ""))
        if not COMMAND.fullmatch(name):
            verdict.faults.append(f"command {name!r} is not 1 to 32 of a-z 0-9 _")
        if not 1 <= len(about) <= DESCRIPTION:
            verdict.faults.append(f"command {name!r}: description of {len(about)} characters")


def _kinds(kinds: Any, verdict: Verdict) -> None:
    """ "getUpdates", allowed_updates: an unknown name is ignored in silence, so a slip costs updates."""
    for kind in kinds if isinstance(kinds, list) else ():
        if kind not in update_kinds():
            verdict.faults.append(f"allowed_updates: there is no kind {kind!r}")
