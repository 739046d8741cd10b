"""The world behind the test server: people, chats, messages, presses, files, and what the bot hears of them.

Telegram Bot API manual, "Available types"; for what a bot hears in a group "Privacy mode" of the bot
features page. All of it is guarded by one lock, since people act in the test's thread and the bot's
requests come in the server's.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.channels.telegram_html import typed
from tests.channels.telegram_queue import Updates

Json = dict[str, Any]
PRESENT = ("creator", "administrator", "member")
RIGHTS = (
    "can_manage_chat", "can_delete_messages", "can_manage_video_chats", "can_restrict_members",
    "can_promote_members", "can_change_info", "can_invite_users", "can_post_stories", "can_edit_stories",
    "can_delete_stories", "can_pin_messages", "can_manage_topics", "can_send_welcome_messages",
)  # fmt: skip
SERVICE = (
    "new_chat_members", "left_chat_member", "new_chat_title", "group_chat_created",
    "supergroup_chat_created", "migrate_to_chat_id", "migrate_from_chat_id", "pinned_message",
    "forum_topic_created", "forum_topic_closed",
)  # fmt: skip


@dataclass
class Post:
    """One message. `content` is what it holds: text and entities, photo and caption, a service note."""

    chat: Chat
    message_id: int
    sender: Json
    content: Json
    date: int
    number: int  # place in the order of all that was written or changed, in all chats
    reply_to: int | None = None
    thread: int | None = None
    rows: list[list[Json]] | None = None  # inline buttons
    other_markup: Json | None = None  # a reply keyboard, its removal, a forced reply
    silent: bool = False
    edited: int | None = None
    deleted: bool = False
    changes: list[Json] = field(default_factory=list)  # earlier contents and buttons

    @property
    def is_bot(self) -> bool:
        return bool(self.sender["is_bot"])


@dataclass
class Chat:
    """A private chat (its id is the person's), a group or a supergroup."""

    id: int
    kind: str  # private, group, supergroup
    title: str
    person: Json | None = None
    forum: bool = False
    members: dict[int, str] = field(default_factory=dict)  # id -> status
    bot: str = "member"  # the bot's status; in a private chat: new, member, kicked (blocked), deactivated
    topics: dict[int, str] = field(default_factory=dict)
    closed: set[int] = field(default_factory=set)
    moved_to: int | None = None
    posts: dict[int, Post] = field(default_factory=dict)
    actions: list[tuple[str, int | None]] = field(default_factory=list)  # chat actions and their threads

    @property
    def json(self) -> Json:
        if self.person:
            shown = ("id", "first_name", "last_name", "username")
            return {k: v for k, v in self.person.items() if k in shown} | {"type": "private"}
        forum = {"is_forum": True} if self.forum else {}
        return {"id": self.id, "title": self.title, "type": self.kind, **forum}

    @property
    def live(self) -> list[Post]:
        return [post for post in self.posts.values() if not post.deleted]


@dataclass
class Press:
    """A button pressed: the answers are what the bot said to it (the spinner ends with the first)."""

    id: str
    who: Json
    post: Post
    data: str
    at: float
    answers: list[Json] = field(default_factory=list)

    @property
    def spinning(self) -> bool:
        return not self.answers


@dataclass(frozen=True)
class Stored:
    """A file at the service."""

    file_id: str
    unique_id: str
    data: bytes
    path: str
    name: str | None
    mime: str | None

    @property
    def json(self) -> Json:
        return {"file_id": self.file_id, "file_unique_id": self.unique_id, "file_size": len(self.data)}


class World:
    """Everything the service knows for one bot."""

    def __init__(self, bot: Json, privacy: bool) -> None:
        self.bot, self.privacy = bot, privacy
        self.lock = threading.Condition(threading.RLock())
        self.moved_at = time.monotonic()
        self.ahead = 0.0  # seconds that the clock was put forward
        self.people: dict[int, Json] = {}
        self.chats: dict[int, Chat] = {}
        self.presses: dict[str, Press] = {}
        self.files: dict[str, Stored] = {}
        self.updates = Updates()
        self.on_update: Callable[[], None] = lambda: None
        self._counts: dict[str, int] = {}

    # --- clock and order ------------------------------------------------------------------------

    def now(self) -> float:
        return time.time() + self.ahead

    def touch(self) -> None:
        """Something moved: whoever waits looks again."""
        with self.lock:
            self.moved_at = time.monotonic()
            self.lock.notify_all()

    def count(self, what: str) -> int:
        self._counts[what] = self._counts.get(what, 0) + 1
        return self._counts[what]

    # --- people and chats -----------------------------------------------------------------------

    def add_person(self, name: str, username: str | None, language: str) -> Json:
        number = 710_000_000 + self.count("person")
        user: Json = {"id": number, "is_bot": False, "first_name": name, "language_code": language}
        if username:
            user["username"] = username
        self.people[number] = user
        self.chats[number] = Chat(number, "private", name, person=user, bot="new")
        return user

    def add_chat(self, kind: str, title: str, members: dict[int, str], forum: bool = False) -> Chat:
        number = self.count("group")
        chat_id = -(1_002_000_000_000 + number) if kind == "supergroup" else -(4_100_000 + number)
        chat = self.chats[chat_id] = Chat(chat_id, kind, title, members=members, forum=forum)
        return chat

    def met(self, chat: Chat) -> bool:
        """Has the bot ever seen this person? Only then is his id known to it."""
        return chat.bot != "new" or any(
            chat.id in c.members and c.bot in PRESENT for c in self.chats.values() if c.kind != "private"
        )

    def member(self, chat: Chat, user: Json) -> Json:
        """ChatMember of a person or of the bot."""
        status = chat.bot if user["is_bot"] else chat.members.get(user["id"], "left")
        if chat.kind == "private" and not user["is_bot"]:
            status = "member"
        return chat_member(user, status)

    # --- messages -------------------------------------------------------------------------------

    def put(self, chat: Chat, sender: Json, content: Json, **more: Any) -> Post:
        """Write a message into a chat. more: reply_to, thread, rows, other_markup, silent."""
        counter = f"message of {chat.id}" if chat.kind == "supergroup" else "message"
        post = Post(chat, self.count(counter), sender, content, int(self.now()), self.count("change"), **more)
        replied = chat.posts.get(post.reply_to or 0)
        if post.thread is None and replied and chat.kind == "supergroup":
            # As the service does: a reply belongs to the thread of what it answers, forum or not.
            post.thread = replied.thread if chat.forum else replied.thread or replied.message_id
        chat.posts[post.message_id] = post
        self.touch()
        return post

    def change(self, post: Post, content: Json, rows: list[list[Json]] | None) -> None:
        post.changes.append({"content": post.content, "rows": post.rows})
        if content != post.content:
            post.edited = int(self.now())
        post.content, post.rows, post.number = content, rows, self.count("change")
        self.touch()

    def json(self, post: Post, whole: bool = True) -> Json:
        """Message as the bot gets it."""
        found: Json = {"message_id": post.message_id, "from": post.sender}
        found |= {"chat": post.chat.json, "date": post.date}
        if post.thread is not None:
            found["message_thread_id"] = post.thread
            if post.chat.forum:
                found["is_topic_message"] = True
        replied = post.chat.posts.get(post.reply_to or (post.thread if post.chat.forum else None) or 0)
        if whole and replied and replied is not post and not replied.deleted:
            found["reply_to_message"] = self.json(replied, whole=False)
        if post.edited:
            found["edit_date"] = post.edited
        if post.rows:
            found["reply_markup"] = {"inline_keyboard": post.rows}
        return {**found, **post.content}

    # --- what the bot hears ---------------------------------------------------------------------

    def tell(self, kind: str, body: Json) -> None:
        """An update for the bot."""
        self.updates.add(kind, body, self.now())
        self.touch()
        self.on_update()

    def tell_post(self, post: Post, kind: str = "message") -> bool:
        """Tell the bot of a message, when it may hear it; was it told?"""
        if not self.heard(post):
            return False
        self.tell(kind, self.json(post))
        return True

    def heard(self, post: Post) -> bool:
        chat = post.chat
        if chat.kind == "private":
            return chat.bot == "member"
        if chat.bot not in PRESENT or chat.moved_to:
            return False
        open_door = not self.privacy or chat.bot == "administrator"
        return open_door or bool(set(SERVICE) & set(post.content)) or self._meant(post)

    def _meant(self, post: Post) -> bool:
        """Privacy mode: commands for the bot or for nobody, replies to it, mentions of it."""
        replied = post.chat.posts.get(post.reply_to or 0)
        if replied and replied.is_bot:
            return True
        text = str(post.content.get("text", post.content.get("caption", "")))
        name = f"@{self.bot['username']}".lower()
        for entity in typed(text):
            part = cut(text, entity).lower()
            if entity["type"] == "mention" and part == name:
                return True
            if entity["type"] == "bot_command" and ("@" not in part or part.endswith(name)):
                return True
        return False

    def bot_becomes(self, chat: Chat, status: str, by: Json) -> None:
        """The bot's own status changes: my_chat_member."""
        old, chat.bot = chat.bot, status
        change = {
            "chat": chat.json,
            "from": by,
            "date": int(self.now()),
            "old_chat_member": chat_member(self.bot, "left" if old == "new" else old),
            "new_chat_member": chat_member(self.bot, status),
        }
        self.tell("my_chat_member", change)

    # --- files ----------------------------------------------------------------------------------

    def store(self, data: bytes, folder: str, name: str | None = None, mime: str | None = None) -> Stored:
        number = self.count("file")
        ending = (name or "").rpartition(".")[2] or "jpg"
        stored = Stored(
            file_id=f"AgACAgQAAxkBAAE{number:08d}", unique_id=f"AQADq{number:08d}", data=data,
            path=f"{folder}/file_{number}.{ending}", name=name, mime=mime,
        )  # fmt: skip
        self.files[stored.file_id] = stored
        return stored


def chat_member(user: Json, status: str) -> Json:
    """ChatMember with the fields that its status must have."""
    found: Json = {"user": user, "status": status}
    if status == "administrator":
        found |= {"can_be_edited": False, "is_anonymous": False} | dict.fromkeys(RIGHTS, True)
    elif status == "creator":
        found["is_anonymous"] = False
    elif status == "kicked":
        found["until_date"] = 0
    return found


def cut(text: str, entity: Json) -> str:
    """The part of a text that an entity covers; its figures are in UTF-16 units."""
    raw = text.encode("utf-16-le")
    return raw[entity["offset"] * 2 : (entity["offset"] + entity["length"]) * 2].decode("utf-16-le")
