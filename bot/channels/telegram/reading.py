"""What an update of the platform means to us. Pure: a parsed update in, one `Came` out."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Literal

from telegram import Chat, Message, Update, User

Kind = Literal[
    "words", "command", "press", "file", "other", "edit", "migrated", "membership", "unaddressed", "nothing"
]

ALLOWED = ("message", "edited_message", "callback_query", "my_chat_member")

# Sent by people, kept by nobody, and answered all the same.
_OTHERS = ("sticker", "contact", "location", "venue", "poll", "dice", "story", "game")

_UNUSUAL = ("checklist", "paid_media", "giveaway", "giveaway_winners", "invoice")


@dataclass(frozen=True)
class SentFile:
    """A file that came along: the platform's names for it, what it is, and its size in bytes."""

    unique: str
    locator: str
    kind: str  # photo | document | voice | video | audio
    name: str
    size: int


@dataclass(frozen=True)
class Came:
    """One update, as far as it matters to the talk."""

    kind: Kind
    chat: str = ""
    thread: str = ""
    private: bool = True
    handle: str = ""
    name: str = ""
    message: str = ""  # the platform's number of the message
    text: str = ""
    command: str = ""
    press: str = ""  # what a button sent back
    query: str = ""  # by which a press is answered
    file: SentFile | None = None
    album: str = ""
    other: str = ""  # what it was that we keep nothing of
    moved_to: str = ""
    reply_to: str = ""  # the message of ours that it replies to
    may_write: bool = True
    title: str = ""  # of a group


def read(update: Update, bot: User) -> Came:
    """What this update means. `bot`: ourselves, so that what is said to others can be told apart."""
    if update.callback_query is not None:
        return _press(update)
    if update.edited_message is not None:
        return _message(update.edited_message, bot, edited=True)
    if update.message is not None:
        return _message(update.message, bot, edited=False)
    if update.my_chat_member is not None:
        change = update.my_chat_member
        writes = change.new_chat_member.status not in ("kicked", "left")
        return Came("membership", str(change.chat.id), private=_is_private(change.chat), may_write=writes)
    return Came("nothing")


def _press(update: Update) -> Came:
    query = update.callback_query
    assert query is not None
    under = query.message
    if under is None:
        return Came("press", handle=str(query.from_user.id), name=_name(query.from_user), query=query.id)
    thread = _thread(under) if isinstance(under, Message) else ""
    return Came(
        "press", str(under.chat.id), thread, _is_private(under.chat), str(query.from_user.id),
        _name(query.from_user), press=query.data or "", query=query.id,
    )  # fmt: skip


def _message(message: Message, bot: User, *, edited: bool) -> Came:
    chat, person = message.chat, message.from_user
    if message.migrate_to_chat_id:
        return Came("migrated", str(chat.id), moved_to=str(message.migrate_to_chat_id))
    if message.migrate_from_chat_id:
        return Came("migrated", str(message.migrate_from_chat_id), moved_to=str(chat.id))
    if person is None or person.is_bot:
        return Came("nothing")
    private = _is_private(chat)
    text = _text(message)
    kind, command, rest = _kind(message, text, bot)
    if edited:
        kind = "edit"
    elif not private and not _is_addressed(message, text, command, bot):
        kind = "unaddressed"
    file = _file(message)
    return Came(
        kind, str(chat.id), _thread(message), private, str(person.id), _name(person),
        message=str(message.message_id), text=_without_mention(rest, bot), command=command, file=file,
        album=f"{chat.id}/{message.media_group_id}" if message.media_group_id else "", other=_other(message),
        reply_to=_replied_to(message, bot), title="" if private else _title(chat),
    )  # fmt: skip


def _kind(message: Message, text: str, bot: User) -> tuple[Kind, str, str]:
    """What sort of message it is; for a command its name and what follows it."""
    command, rest = _command(text, bot)
    if command:
        return "command", command, rest
    if _file(message) is not None:
        return "file", "", text
    if message.text is not None:
        return "words", "", text
    # What the library does not know yet was sent by someone; what it knows and we do not is a note of
    # the platform: someone joined, something was pinned.
    sent = _other(message) or message.api_kwargs or any(getattr(message, name, None) for name in _UNUSUAL)
    return ("other" if sent else "nothing"), "", text


def _command(text: str, bot: User) -> tuple[str, str]:
    """A command said to us, or to nobody in particular; one for another bot is none."""
    if not text.startswith("/"):
        return "", text
    word, _, rest = text[1:].partition(" ")
    name, _, whom = word.partition("@")
    if not name.isascii() or not name.isidentifier() or (whom and whom.lower() != _username(bot)):
        return "", text
    return name.lower(), rest.strip()


def _is_addressed(message: Message, text: str, command: str, bot: User) -> bool:
    if command or _replied_to(message, bot):
        return True
    return bool(_username(bot)) and f"@{_username(bot)}" in text.lower()


def _replied_to(message: Message, bot: User) -> str:
    """The number of our own message that it replies to."""
    replied = message.reply_to_message
    ours = replied is not None and replied.from_user is not None and replied.from_user.id == bot.id
    return str(replied.message_id) if replied is not None and ours else ""


def sender_of(body: str) -> str:
    """Whose raw update it is, also when it cannot be read otherwise; "" for nobody's."""
    try:
        update: dict[str, Any] = json.loads(body)
        told: dict[str, Any] = next((update[kind] for kind in ALLOWED if kind in update), {})
        return str(told["from"]["id"])
    except (ValueError, TypeError, KeyError, AttributeError):
        return ""


def _without_mention(text: str, bot: User) -> str:
    name = f"@{_username(bot)}"
    place = text.lower().find(name) if bot.username else -1
    return text if place < 0 else f"{text[:place]} {text[place + len(name) :]}".strip()


def _text(message: Message) -> str:
    return message.text or message.caption or ""


def _username(bot: User) -> str:
    return (bot.username or "").lower()


def _name(person: User) -> str:
    """The first name, as the record shows it; the platform's other names stay there."""
    return (person.first_name or "rider").strip()[:40] or "rider"


def _title(chat: Chat) -> str:
    return " ".join((chat.title or "").split())[:60]


def _is_private(chat: Chat) -> bool:
    return str(chat.type) == "private"


def _thread(message: Message) -> str:
    """The topic; a plain chain of replies carries a number too, which is none."""
    return str(message.message_thread_id) if message.is_topic_message and message.message_thread_id else ""


def _file(message: Message) -> SentFile | None:
    if message.photo:
        largest = max(message.photo, key=lambda size: size.width * size.height)
        return SentFile(largest.file_unique_id, largest.file_id, "photo", "", largest.file_size or 0)
    for kind in ("document", "voice", "video", "audio", "video_note", "animation"):
        sent = getattr(message, kind)
        if sent is not None:
            shown = {"video_note": "video", "animation": "video"}.get(kind, kind)
            name = getattr(sent, "file_name", None) or ""
            is_picture = kind == "document" and (sent.mime_type or "").startswith("image/")
            return SentFile(
                sent.file_unique_id, sent.file_id, "photo" if is_picture else shown, name, sent.file_size or 0
            )
    return None


def _other(message: Message) -> str:
    return next((name for name in _OTHERS if getattr(message, name, None) is not None), "")
