"""What the service answers to each method, word for word where the words are known.

Telegram Bot API manual, "Available methods" and "Updating messages". The texts of refusals are those of
the published server, tdlib/telegram-bot-api.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from tests.channels.telegram_html import BadEntities, Parsed, parse, trimmed
from tests.channels.telegram_rules import CAPTION, DATA, TEXT, Upload
from tests.channels.telegram_world import PRESENT, Chat, Json, Post, Stored, World, chat_member

TOO_OLD = 150.0  # seconds
DOWNLOAD = 20 * 2**20
JSON_FIELDS = frozenset({
    "reply_markup", "reply_parameters", "entities", "caption_entities", "media", "allowed_updates",
    "commands", "scope", "link_preview_options",
})  # fmt: skip
GIFTS = ("unlimited_gifts", "limited_gifts", "unique_gifts", "premium_subscription", "gifts_from_channels")
REASONS = {400: "Bad Request", 403: "Forbidden", 404: "Not Found", 409: "Conflict", 429: "Too Many Requests"}
NOT_MODIFIED = (
    "message is not modified: specified new message content and reply markup are exactly the same as a "
    "current content and reply markup of the message"
)
QUERY_TOO_OLD = "query is too old and response timeout expired or query ID is invalid"


class Refusal(Exception):
    """The service says no."""

    def __init__(self, code: int, text: str, parameters: Json | None = None) -> None:
        super().__init__(text)
        self.code, self.parameters = code, parameters
        self.description = f"{REASONS[code]}: {text}" if code in REASONS else text


class Asked(dict[str, Any]):
    """The fields of one request, read as the service reads them."""

    files: Mapping[str, Upload]

    @classmethod
    def read(cls, params: Mapping[str, Any], files: Mapping[str, Upload]) -> Asked:
        asked = cls({name: decode(name, value) for name, value in params.items()})
        asked.files = files
        return asked

    def whole(self, name: str, default: int = 0) -> int:
        try:
            return int(self.get(name) or default)
        except (TypeError, ValueError):
            raise Refusal(400, f"{name} is not a number") from None

    def flag(self, name: str) -> bool:
        return str(self.get(name, "")).lower() in ("true", "1", "yes")


def decode(name: str, value: Any) -> Any:
    if name not in JSON_FIELDS or not isinstance(value, str):
        return value
    try:
        return json.loads(value)
    except ValueError:
        raise Refusal(400, f"can't parse {name.replace('_', ' ')} JSON object") from None


class Answers:
    """One method each; a Refusal is raised, everything else is the result."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.commands: dict[str, list[Json]] = {}
        self.about: dict[str, str] = {}
        self._known: dict[str, Callable[[Asked], Any]] = {
            name.replace("_", ""): getattr(self, name)
            for name in vars(Answers)
            if name[0] != "_" and name != "answer"
        }

    def answer(self, method: str, asked: Asked) -> Any:
        known = self._known.get(method.lower())
        if known is None:
            raise Refusal(404, "method not found")
        with self.world.lock:
            return known(asked)

    # --- who and where --------------------------------------------------------------------------

    def _chat(self, asked: Asked) -> Chat:
        if asked.get("chat_id") in (None, ""):
            raise Refusal(400, "chat_id is empty")
        try:
            chat = self.world.chats.get(int(asked["chat_id"]))
        except ValueError:
            chat = None
        if chat is None or (chat.kind == "private" and not self.world.met(chat)):
            raise Refusal(400, "chat not found")
        if chat.moved_to:
            text = "group chat was upgraded to a supergroup chat"
            raise Refusal(400, text, {"migrate_to_chat_id": chat.moved_to})
        return chat

    def _writable(self, asked: Asked) -> Chat:
        chat = self._chat(asked)
        private = {
            "new": "bot can't initiate conversation with a user",
            "kicked": "bot was blocked by the user",
            "deactivated": "user is deactivated",
        }
        if chat.kind == "private" and chat.bot in private:
            raise Refusal(403, private[chat.bot])
        if chat.kind != "private" and chat.bot not in PRESENT:
            how = "was kicked from" if chat.bot == "kicked" else "is not a member of"
            raise Refusal(403, f"bot {how} the {chat.kind} chat")
        return chat

    def _thread(self, chat: Chat, asked: Asked) -> int | None:
        thread = asked.whole("message_thread_id")
        if not thread:
            return None
        if thread not in chat.topics:
            raise Refusal(400, "message thread not found")
        if thread in chat.closed and chat.bot != "administrator":
            raise Refusal(400, "TOPIC_CLOSED")
        return thread

    def _replied(self, chat: Chat, asked: Asked) -> int | None:
        wanted = asked.get("reply_parameters") or {}
        number = int(wanted.get("message_id") or asked.whole("reply_to_message_id"))
        if not number:
            return None
        post = chat.posts.get(number)
        if post and not post.deleted:
            return number
        if wanted.get("allow_sending_without_reply") or asked.flag("allow_sending_without_reply"):
            return None
        raise Refusal(400, "message to be replied not found")

    def _own(self, asked: Asked, what: str = "edit") -> Post:
        """A message of the bot's that may still be changed."""
        chat = self._writable(asked)
        if not asked.whole("message_id"):
            raise Refusal(400, "message identifier is not specified")
        post = chat.posts.get(asked.whole("message_id"))
        if post is None or post.deleted:
            raise Refusal(400, f"message to {what} not found")
        if what == "edit" and (not post.is_bot or post.other_markup):
            raise Refusal(400, "message can't be edited")
        return post

    # --- what is said ---------------------------------------------------------------------------

    def _parsed(self, asked: Mapping[str, Any], name: str) -> Parsed:
        source = str(asked.get(name) or "")
        if str(asked.get("parse_mode") or "").upper() != "HTML":
            given = asked.get("entities" if name == "text" else "caption_entities")
            return trimmed(Parsed(source, list(given or [])))
        try:
            return parse(source)
        except BadEntities as error:
            raise Refusal(400, f"can't parse entities: {error}") from None

    def _text(self, asked: Asked) -> Json:
        parsed = self._parsed(asked, "text")
        if not parsed.text:
            raise Refusal(400, "message text is empty")
        if len(parsed.text) > TEXT:
            raise Refusal(400, "message is too long")
        return {"text": parsed.text, **({"entities": parsed.entities} if parsed.entities else {})}

    def _caption(self, asked: Mapping[str, Any]) -> Json:
        parsed = self._parsed(asked, "caption")
        if len(parsed.text) > CAPTION:
            raise Refusal(400, "message caption is too long")
        entities = {"caption_entities": parsed.entities} if parsed.entities else {}
        return {"caption": parsed.text, **entities} if parsed.text else {}

    def _markup(self, asked: Asked) -> tuple[list[list[Json]] | None, Json | None]:
        """Inline rows, or another markup."""
        markup = asked.get("reply_markup")
        if not markup:
            return None, None
        if "inline_keyboard" not in markup:
            return None, markup
        for button in (b for row in markup["inline_keyboard"] for b in row):
            self._button(button)
        return [row for row in markup["inline_keyboard"] if row] or None, None

    def _button(self, button: Json) -> None:
        if not str(button.get("text", "")).strip():
            raise Refusal(400, 'can\'t parse inline keyboard button: Field "text" must be non-empty')
        if set(button) <= {"text", "style", "icon_custom_emoji_id"}:
            text = "Text buttons are unallowed in the inline keyboard"
            raise Refusal(400, f"can't parse inline keyboard button: {text}")
        if "callback_data" in button and not 1 <= len(str(button["callback_data"]).encode()) <= DATA:
            raise Refusal(400, "BUTTON_DATA_INVALID")

    def _send(self, asked: Asked, content: Json) -> Post:
        chat = self._writable(asked)
        rows, other = self._markup(asked)
        return self.world.put(
            chat, self.world.bot, content,
            reply_to=self._replied(chat, asked), thread=self._thread(chat, asked), rows=rows,
            other_markup=other, silent=asked.flag("disable_notification"),
        )  # fmt: skip

    def _file(self, asked: Asked, value: Any, field: str, folder: str) -> Stored:
        """A file sent along, or one that the service has already."""
        name = str(value or "")
        upload = asked.files.get(name.removeprefix("attach://") if name.startswith("attach://") else field)
        if upload is not None and (not name or name.startswith("attach://")):
            if not upload.data:
                raise Refusal(400, "file must be non-empty")
            return self.world.store(upload.data, folder, upload.name, upload.kind)
        if name not in self.world.files:
            raise Refusal(400, "wrong remote file identifier specified: Wrong string length")
        return self.world.files[name]

    def _media(self, asked: Asked, value: Any, kind: str) -> Json:
        stored = self._file(asked, value, kind, f"{kind}s")
        return picture(self.world, stored) if kind == "photo" else document(stored)

    # --- the methods ----------------------------------------------------------------------------

    def get_me(self, asked: Asked) -> Json:
        return {
            **self.world.bot, "can_join_groups": True, "can_read_all_group_messages": not self.world.privacy,
            "supports_inline_queries": False, "can_connect_to_business": False, "has_main_web_app": False,
        }  # fmt: skip

    def send_message(self, asked: Asked) -> Json:
        self._writable(asked)
        return self.world.json(self._send(asked, self._text(asked)))

    def send_photo(self, asked: Asked) -> Json:
        self._writable(asked)
        content = self._media(asked, asked.get("photo"), "photo") | self._caption(asked)
        return self.world.json(self._send(asked, content))

    def send_document(self, asked: Asked) -> Json:
        self._writable(asked)
        content = self._media(asked, asked.get("document"), "document") | self._caption(asked)
        return self.world.json(self._send(asked, content))

    def send_media_group(self, asked: Asked) -> list[Json]:
        self._writable(asked)
        media = asked.get("media") or []
        if not 2 <= len(media) <= 10:
            raise Refusal(400, "wrong number of media in the album")  # words of our own
        album = {"media_group_id": str(13_700_000_000 + self.world.count("album"))}
        contents = [album | self._media(asked, m["media"], m["type"]) | self._caption(m) for m in media]
        return [self.world.json(self._send(asked, content)) for content in contents]

    def send_chat_action(self, asked: Asked) -> bool:
        chat = self._writable(asked)
        chat.actions.append((str(asked.get("action")), self._thread(chat, asked)))
        return True

    def _change(self, post: Post, content: Json, asked: Asked) -> Json:
        rows, other = self._markup(asked)
        if other:
            raise Refusal(400, "inline keyboard expected")
        if content == post.content and rows == post.rows:
            raise Refusal(400, NOT_MODIFIED)
        self.world.change(post, content, rows)
        return self.world.json(post)

    def edit_message_text(self, asked: Asked) -> Json:
        post = self._own(asked)
        if "text" not in post.content:
            raise Refusal(400, "there is no text in the message to edit")
        return self._change(post, self._text(asked), asked)

    def edit_message_caption(self, asked: Asked) -> Json:
        post = self._own(asked)
        if "text" in post.content:
            raise Refusal(400, "there is no caption in the message to edit")
        kept = {k: v for k, v in post.content.items() if k not in ("caption", "caption_entities")}
        return self._change(post, kept | self._caption(asked), asked)

    def edit_message_reply_markup(self, asked: Asked) -> Json:
        post = self._own(asked)
        return self._change(post, post.content, asked)

    def delete_message(self, asked: Asked) -> bool:
        post = self._own(asked, "delete")
        if not post.is_bot and post.chat.kind != "private" and post.chat.bot != "administrator":
            raise Refusal(400, "message can't be deleted")
        post.deleted = True
        return True

    def answer_callback_query(self, asked: Asked) -> bool:
        press = self.world.presses.get(str(asked.get("callback_query_id")))
        if press is None or self.world.now() - press.at > TOO_OLD:
            raise Refusal(400, QUERY_TOO_OLD)
        press.answers.append({"text": str(asked.get("text") or ""), "show_alert": asked.flag("show_alert")})
        return True

    def get_file(self, asked: Asked) -> Json:
        stored = self.world.files.get(str(asked.get("file_id")))
        if stored is None:
            raise Refusal(400, "invalid file_id")
        if len(stored.data) > DOWNLOAD:
            raise Refusal(400, "file is too big")
        return {**stored.json, "file_path": stored.path}

    def get_chat(self, asked: Asked) -> Json:
        gifts = dict.fromkeys(GIFTS, True)
        more = {"accent_color_id": 1, "max_reaction_count": 11, "accepted_gift_types": gifts}
        return {**self._chat(asked).json, **more}

    def get_chat_member(self, asked: Asked) -> Json:
        chat, number = self._writable(asked), asked.whole("user_id")
        user = self.world.bot if number == self.world.bot["id"] else self.world.people.get(number)
        if user is None:
            raise Refusal(400, "user not found")
        return self.world.member(chat, user)

    def get_chat_administrators(self, asked: Asked) -> list[Json]:
        chat = self._writable(asked)
        if chat.kind == "private":
            raise Refusal(400, "there are no administrators in the private chat")
        high = ("creator", "administrator")
        bots = [chat_member(self.world.bot, chat.bot)] if chat.bot in high else []
        people = [chat_member(self.world.people[n], s) for n, s in chat.members.items() if s in high]
        return people + bots

    # --- what the bot says of itself ------------------------------------------------------------

    def set_my_commands(self, asked: Asked) -> bool:
        self.commands[scope_key(asked)] = asked.get("commands") or []
        return True

    def get_my_commands(self, asked: Asked) -> list[Json]:
        return self.commands.get(scope_key(asked), [])

    def delete_my_commands(self, asked: Asked) -> bool:
        self.commands.pop(scope_key(asked), None)
        return True

    def _describe(self, asked: Asked, name: str) -> bool:
        self.about[f"{name} {asked.get('language_code') or ''}"] = str(asked.get(name) or "")
        return True

    def _described(self, asked: Asked, name: str) -> Json:
        usual = self.about.get(f"{name} ", "")
        return {name: self.about.get(f"{name} {asked.get('language_code') or ''}", usual)}

    def set_my_description(self, asked: Asked) -> bool:
        return self._describe(asked, "description")

    def set_my_short_description(self, asked: Asked) -> bool:
        return self._describe(asked, "short_description")

    def get_my_description(self, asked: Asked) -> Json:
        return self._described(asked, "description")

    def get_my_short_description(self, asked: Asked) -> Json:
        return self._described(asked, "short_description")


def scope_key(asked: Mapping[str, Any]) -> str:
    scope = asked.get("scope") or {"type": "default"}
    parts = [scope["type"], scope.get("chat_id", ""), scope.get("user_id", "")]
    return " ".join(map(str, parts)) + f" {asked.get('language_code') or ''}"


def picture(world: World, stored: Stored) -> Json:
    """A photo comes in several sizes, the small ones first; only the last is what was sent."""
    small = world.store(b"\xff\xd8small\xff\xd9", "thumbnails")
    sizes = [{**small.json, "width": 90, "height": 67}, {**stored.json, "width": 1280, "height": 960}]
    return {"photo": sizes}


def document(stored: Stored) -> Json:
    names = {"file_name": stored.name, "mime_type": stored.mime}
    return {"document": {**stored.json, **{k: v for k, v in names.items() if v}}}
