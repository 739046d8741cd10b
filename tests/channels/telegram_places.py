"""What happens to groups: founded, with topics, with administrators, become a supergroup, left by the bot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tests.channels.telegram_world import Chat, Json, Post, World

if TYPE_CHECKING:
    from tests.channels.telegram_person import Person


class Places:
    """The side of the server that founds and changes chats; each change is told to the bot as it would be."""

    world: World

    def group(self, title: str, *people: Person, bot: str = "member") -> Chat:
        """A basic group; the first person founded it. bot: member, administrator, left (not in it)."""
        return self._found("group", title, people, bot)

    def supergroup(
        self,
        title: str,
        *people: Person,
        bot: str = "member",
        topics: Sequence[str] = (),
        forum: bool = False,
    ) -> Chat:
        """A supergroup, a forum when topics are named or `forum` says so; `chat.topics` has their ids."""
        chat = self._found("supergroup", title, people, bot, forum=forum or bool(topics))
        for name in topics:
            self.topic(chat, name)
        return chat

    def _found(self, kind: str, title: str, people: Sequence[Person], bot: str, forum: bool = False) -> Chat:
        with self.world.lock:
            members = {p.id: "creator" if n == 0 else "member" for n, p in enumerate(people)}
            chat = self.world.add_chat(kind, title, members, forum)
            chat.bot = "left"
            if bot != "left":
                self.bot_joins(chat, bot)
            return chat

    def _founder(self, chat: Chat) -> Json:
        return self.world.people[next(n for n, status in chat.members.items() if status == "creator")]

    def _note(self, chat: Chat, content: Json, by: Json | None = None) -> Post:
        """A service message, which every bot in the chat hears."""
        post = self.world.put(chat, by or self._founder(chat), content)
        self.world.tell_post(post)
        return post

    def topic(self, chat: Chat, name: str) -> int:
        """A new topic of a forum; its thread id comes back."""
        made = {"name": name, "icon_color": 7322096}
        with self.world.lock:
            post = self.world.put(chat, self._founder(chat), {"forum_topic_created": made})
            post.thread = post.message_id
            chat.topics[post.message_id] = name
            self.world.tell_post(post)
            return post.message_id

    def close_topic(self, chat: Chat, thread: int) -> None:
        chat.closed.add(thread)

    def delete_topic(self, chat: Chat, thread: int) -> None:
        """Its messages go with it; the bot hears nothing of that."""
        with self.world.lock:
            del chat.topics[thread]
            for post in chat.live:
                post.deleted = post.deleted or post.thread == thread

    def migrate(self, group: Chat) -> Chat:
        """The group becomes a supergroup: both service messages are told, the old id is dead."""
        with self.world.lock:
            new = self.world.add_chat("supergroup", group.title, dict(group.members))
            new.bot = group.bot
            self._note(group, {"migrate_to_chat_id": new.id})
            group.moved_to = new.id
            self._note(new, {"migrate_from_chat_id": group.id})
            return new

    def bot_joins(self, chat: Chat, status: str = "member") -> None:
        with self.world.lock:
            self.world.bot_becomes(chat, status, self._founder(chat))
            self._note(chat, {"new_chat_members": [self.world.bot]})

    def bot_leaves(self, chat: Chat, status: str = "kicked") -> None:
        """status: kicked or left."""
        with self.world.lock:
            self.world.bot_becomes(chat, status, self._founder(chat))

    def bot_is(self, chat: Chat, status: str) -> None:
        """Made an administrator, or no longer."""
        with self.world.lock:
            self.world.bot_becomes(chat, status, self._founder(chat))

    def joins(self, chat: Chat, person: Person, status: str = "member") -> None:
        with self.world.lock:
            chat.members[person.id] = status
            self._note(chat, {"new_chat_members": [person.user]}, person.user)

    def leaves(self, chat: Chat, person: Person) -> None:
        with self.world.lock:
            chat.members[person.id] = "left"
            self._note(chat, {"left_chat_member": person.user}, person.user)

    def promote(self, chat: Chat, person: Person, status: str = "administrator") -> None:
        """Any status: administrator, member."""
        with self.world.lock:
            chat.members[person.id] = status
