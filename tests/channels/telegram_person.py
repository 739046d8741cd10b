"""A scripted person at the messenger: writes, presses, sends pictures, and sees what the bot made of it.

What is shown is plain: text without markup, rows of buttons, whether it was edited. A person acts at
once and never waits; `answer` and the waits of the server wait, in the thread of the test.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

from tests.channels.telegram_html import typed
from tests.channels.telegram_methods import picture, scope_key
from tests.channels.telegram_world import Chat, Json, Post, Press

if TYPE_CHECKING:
    from tests.channels.telegram_server import TelegramServer


@dataclass(frozen=True)
class Button:
    """A button below a message."""

    label: str
    data: str | None = None
    url: str | None = None


@dataclass(frozen=True)
class Seen:
    """A message as a person sees it at one moment."""

    chat: Chat
    message_id: int
    who: str  # first name of the sender
    by_bot: bool
    text: str  # or the caption; or the kind of what has neither, in brackets: [sticker]
    rows: tuple[tuple[Button, ...], ...]
    edited: bool
    thread: int | None
    reply_to: int | None
    attached: tuple[str, ...]  # kinds: photo, document
    content: Json

    @property
    def labels(self) -> list[str]:
        return [button.label for row in self.rows for button in row]

    def __str__(self) -> str:
        lines = [f"{self.who}{' (edited)' if self.edited else ''}: {self.text}"]
        lines += ["  " + " ".join(f"[{b.label}]" for b in row) for row in self.rows]
        return "\n".join(lines)


class Person:
    """One person. Made by the server's `person`; his private chat with the bot is `chat`."""

    def __init__(self, server: TelegramServer, user: Json) -> None:
        self.server, self.world, self.user = server, server.world, user
        self.id, self.name = int(user["id"]), str(user["first_name"])
        self.chat = self.world.chats[self.id]
        self._mark = 0

    def __repr__(self) -> str:
        return f"<{self.name}, {self.id}>"

    # --- writes ---------------------------------------------------------------------------------

    def say(
        self,
        text: str,
        chat: Chat | None = None,
        reply_to: Post | Seen | None = None,
        thread: int | None = None,
    ) -> Post:
        """Write a text; in the private chat when no other is named."""
        found = typed(text)
        entities = {"entities": found} if found else {}
        return self.post({"text": text, **entities}, chat, reply_to, thread)

    def start(self, payload: str = "") -> Post:
        """Press Start in the private chat, or follow a deep link into it."""
        return self.say(f"/start {payload}".rstrip())

    def post(
        self,
        content: Json,
        chat: Chat | None = None,
        reply_to: Post | Seen | None = None,
        thread: int | None = None,
    ) -> Post:
        """Write a message with any content, as the fields of Message."""
        chat = chat or self.chat
        with self.world.lock:
            self._may_write(chat)
            if chat.kind == "private" and chat.bot == "new":
                chat.bot = "member"
            self._mark = self.world.count("change")
            number = reply_to.message_id if reply_to else None
            post = self.world.put(chat, self.user, content, reply_to=number, thread=thread)
            self.world.tell_post(post)
            return post

    def _may_write(self, chat: Chat) -> None:
        assert not chat.moved_to, f"{chat.title} became a supergroup: write to the new chat"
        if chat.kind == "private":
            assert chat.id == self.id, f"{self.name} has no part in that private chat"
            assert chat.bot != "kicked", f"{self.name} blocked the bot: unblock() first"
        else:
            inside = chat.members.get(self.id, "left") not in ("left", "kicked")
            assert inside, f"{self.name} is not in {chat.title}"

    def edit(self, post: Post, text: str) -> Post:
        """Change what he wrote, text or caption."""
        assert post.sender is self.user, f"{self.name} did not write #{post.message_id}"
        with self.world.lock:
            self._mark = self.world.count("change")
            name = "text" if "text" in post.content else "caption"
            entities = "entities" if name == "text" else "caption_entities"
            kept = {k: v for k, v in post.content.items() if k not in (name, entities)}
            found = typed(text)
            self.world.change(post, {**kept, name: text, **({entities: found} if found else {})}, None)
            self.world.tell_post(post, "edited_message")
            return post

    def delete(self, post: Post | Seen) -> None:
        """Delete a message on all sides; a bot is not told."""
        with self.world.lock:
            post.chat.posts[post.message_id].deleted = True
            self.world.touch()

    # --- sends ----------------------------------------------------------------------------------

    def send_photo(self, data: bytes, caption: str = "", album: str | None = None, **where: Any) -> Post:
        """A photo; those sent with the same `album` belong together. where: chat, reply_to, thread."""
        content = picture(self.world, self.world.store(data, "photos"))
        return self.post(content | self._caption(caption, album), **where)

    def send_document(
        self, data: bytes, name: str, mime: str = "application/octet-stream", caption: str = "",
        album: str | None = None, **where: Any,
    ) -> Post:  # fmt: skip
        stored = self.world.store(data, "documents", name, mime)
        content = {"document": {**stored.json, "file_name": name, "mime_type": mime}}
        return self.post(content | self._caption(caption, album), **where)

    def send_voice(self, data: bytes = b"OggS voice", seconds: int = 4, **where: Any) -> Post:
        stored = self.world.store(data, "voice", "voice.oga")
        return self.post({"voice": {**stored.json, "duration": seconds, "mime_type": "audio/ogg"}}, **where)

    def send_video(self, data: bytes = b"video", seconds: int = 6, caption: str = "", **where: Any) -> Post:
        stored = self.world.store(data, "videos", "clip.mp4")
        video = {**stored.json, "width": 640, "height": 480, "duration": seconds, "mime_type": "video/mp4"}
        return self.post({"video": video} | self._caption(caption, None), **where)

    def send_sticker(self, emoji: str = "\N{WRENCH}", **where: Any) -> Post:
        stored = self.world.store(b"RIFF sticker", "stickers", "sticker.webp")
        sizes = {"width": 512, "height": 512, "is_animated": False, "is_video": False, "type": "regular"}
        return self.post({"sticker": {**stored.json, **sizes, "emoji": emoji}}, **where)

    def send_contact(self, number: str = "+440000000000", **where: Any) -> Post:
        contact = {"phone_number": number, "first_name": self.name, "user_id": self.id}
        return self.post({"contact": contact}, **where)

    def send_location(self, latitude: float = 54.5, longitude: float = -3.1, **where: Any) -> Post:
        return self.post({"location": {"latitude": latitude, "longitude": longitude}}, **where)

    def send_poll(self, question: str, options: Sequence[str], **where: Any) -> Post:
        poll = {
            "id": str(5_900_000 + self.world.count("poll")), "question": question, "total_voter_count": 0,
            "options": [{"persistent_id": o, "text": o, "voter_count": 0} for o in options],
            "is_closed": False, "is_anonymous": True, "type": "regular", "allows_multiple_answers": False,
            "allows_revoting": True, "members_only": False,
        }  # fmt: skip
        return self.post({"poll": poll}, **where)

    def _caption(self, caption: str, album: str | None) -> Json:
        found: Json = {"caption": caption} if caption else {}
        if caption and (entities := typed(caption)):
            found["caption_entities"] = entities
        if album:
            found["media_group_id"] = f"{self.id}-{album}"
        return found

    # --- presses --------------------------------------------------------------------------------

    def press(self, message: Post | Seen, label: str | None = None, data: str | None = None) -> Press:
        """Press a button as he sees it: what was seen may be out of date, as on a slow phone.

        label: the words on it, or a part that only one button has. data: pressed by a client that sends
        this data, whether such a button is there or not.
        """
        with self.world.lock:
            post = message.chat.posts[message.message_id]
            self._may_write(post.chat)
            if data is None:
                seen = message if isinstance(message, Seen) else look(post)
                data = self._button(seen, label or "").data
                assert data is not None, f"[{label}] is a link: follow() it"
            return self._pressed(post, data)

    def _button(self, seen: Seen, label: str) -> Button:
        buttons = [b for row in seen.rows for b in row]
        exact = [b for b in buttons if b.label == label]
        found = exact or [b for b in buttons if label in b.label]
        assert len(found) == 1, f"{len(found)} buttons with {label!r} below\n{seen}"
        return found[0]

    def _pressed(self, post: Post, data: str) -> Press:
        self._mark = self.world.count("change")
        number = str(3_050_000_000_000 + self.world.count("press"))
        press = self.world.presses[number] = Press(number, self.user, post, data, self.world.now())
        gone = {"chat": post.chat.json, "message_id": post.message_id, "date": 0}
        message = gone if post.deleted else self.world.json(post)
        instance = str(-8_100_000 - post.chat.id)
        query = {"id": number, "from": self.user, "message": message, "chat_instance": instance, "data": data}
        self.world.tell("callback_query", query)
        return press

    def follow(self, message: Post | Seen, label: str = "") -> Post:
        """Follow a deep link, of a button or in the text, into the private chat."""
        seen = message if isinstance(message, Seen) else look(message)
        links = [self._button(seen, label).url or ""] if label else links_of(seen)
        payloads = [p for link in links for p in parse_qs(urlsplit(link).query).get("start", ())]
        assert len(payloads) == 1, f"{len(payloads)} links with a payload in\n{seen}"
        return self.start(payloads[0])

    def tap(self, label: str, chat: Chat | None = None) -> Post:
        """Press a key below the writing line: it says its words, or sends what it asks for."""
        buttons = [b for row in self.keyboard(chat) for b in row]
        found = [b for b in buttons if b["text"] == label]
        assert found, f"no {label!r} on the keyboard: {[b['text'] for b in buttons]}"
        if found[0].get("request_contact"):
            return self.send_contact(chat=chat)
        if found[0].get("request_location"):
            return self.send_location(chat=chat)
        return self.say(label, chat)

    def keyboard(self, chat: Chat | None = None) -> list[list[Json]]:
        """The keyboard below the writing line, as the bot last set it."""
        for post in reversed((chat or self.chat).live):
            markup = post.other_markup or {}
            if "keyboard" in markup:
                rows: list[list[Any]] = markup["keyboard"]
                return [[b if isinstance(b, dict) else {"text": b} for b in row] for row in rows]
            if "remove_keyboard" in markup:
                break
        return []

    def block(self) -> None:
        """Block the bot: it is told, and gets no more through."""
        self.world.bot_becomes(self.chat, "kicked", self.user)

    def unblock(self) -> None:
        self.world.bot_becomes(self.chat, "member", self.user)

    # --- sees -----------------------------------------------------------------------------------

    def sees(self, chat: Chat | None = None, thread: int | None = None) -> list[Seen]:
        """All messages of a chat as they look now. thread: those of one topic only; 0: of no topic."""
        with self.world.lock:
            posts = (chat or self.chat).live
            return [look(post) for post in posts if thread is None or (post.thread or 0) == thread]

    def bot_says(self, chat: Chat | None = None, thread: int | None = None) -> list[Seen]:
        """Of all he sees, what the bot wrote."""
        return [seen for seen in self.sees(chat, thread) if seen.by_bot]

    def answer(self, within: float = 60.0, quiet: float = 0.2, chat: Chat | None = None) -> list[Seen]:
        """What the bot wrote or changed since he last did something, once it has rested for `quiet` seconds.

        Raises NotSeen when nothing comes; only a hang takes so long.
        """
        chat = chat or self.chat
        self.server.wait_for(lambda: self._since(chat), within, f"an answer to {self.name}")
        self.server.idle(quiet, within)
        return self._since(chat)

    def _since(self, chat: Chat) -> list[Seen]:
        return [look(post) for post in chat.live if post.is_bot and post.number > self._mark]

    def menu(self, chat: Chat | None = None) -> list[Json]:
        """The commands offered to him: the narrowest scope that the bot has set, his language first."""
        chat = chat or self.chat
        language = str(self.user.get("language_code", ""))
        for scope in self._scopes(chat):
            for code in (language, ""):
                key = scope_key({"scope": scope, "language_code": code})
                if commands := self.server.answers.commands.get(key):
                    return commands
        return []

    def _scopes(self, chat: Chat) -> list[Json]:
        """ "Determining list of commands" under "BotCommandScope" of the manual."""
        own = {"type": "chat", "chat_id": chat.id}
        if chat.kind == "private":
            return [own, {"type": "all_private_chats"}, {"type": "default"}]
        high = chat.members.get(self.id) in ("creator", "administrator")
        member = {"type": "chat_member", "chat_id": chat.id, "user_id": self.id}
        here = [{"type": "chat_administrators", "chat_id": chat.id}] if high else []
        everywhere = [{"type": "all_chat_administrators"}] if high else []
        return [member, *here, own, *everywhere, {"type": "all_group_chats"}, {"type": "default"}]

    def act(self, line: str) -> str:
        """One line of a person at a terminal: a text, or "> Label" for a button; what came of it."""
        if not line.startswith("> "):
            self.say(line)
        else:
            shown = [seen for seen in self.bot_says() if any(line[2:] in label for label in seen.labels)]
            if not shown:
                return "no such button"
            self.press(shown[-1], line[2:])
        try:
            return "\n".join(map(str, self.answer()))
        except AssertionError as error:
            return str(error)


def look(post: Post) -> Seen:
    """A message as it looks now."""
    content = post.content
    kinds = [kind for kind in content if isinstance(content[kind], (dict, list)) and "entities" not in kind]
    text = content.get("text", content.get("caption")) or "".join(f"[{kind}]" for kind in kinds)
    rows = [[Button(b["text"], b.get("callback_data"), b.get("url")) for b in row] for row in post.rows or ()]
    return Seen(
        chat=post.chat,
        message_id=post.message_id,
        who=post.sender["first_name"],
        by_bot=post.is_bot,
        text=text,
        rows=tuple(map(tuple, rows)),
        edited=post.edited is not None,
        thread=post.thread,
        reply_to=post.reply_to,
        attached=tuple(kinds),
        content=content,
    )


def links_of(seen: Seen) -> list[str]:
    """Links of a message: of its buttons, behind words, and typed out."""
    entities = [*seen.content.get("entities", ()), *seen.content.get("caption_entities", ())]
    behind = [str(e["url"]) for e in entities if "url" in e]
    on_buttons = [b.url for row in seen.rows for b in row if b.url]
    return [*on_buttons, *behind, *re.findall(r"https?://\S+", seen.text)]
