"""The updates that a bot has not confirmed yet, by the service's rules of offset, age and kind.

Telegram Bot API manual, "Getting updates" and "getUpdates". How long an update is kept (24 h, a press
150 s) and how far an offset may lie beyond the last update (10) are those of the published server,
tdlib/telegram-bot-api.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

KEPT, PRESS_KEPT = 24 * 3600.0, 150.0  # seconds
BEYOND = 10
ONLY_WHEN_ASKED = ("chat_member", "message_reaction", "message_reaction_count")


@dataclass
class Update:
    """One update; the text is written once, so that a repeat is the same to the byte."""

    update_id: int
    text: str
    expires: float
    again: bool = False  # must be handed out once more whatever the offset says
    handed_out: int = 0

    @property
    def body(self) -> Any:
        return json.loads(self.text)


class Updates:
    """The queue of one bot."""

    def __init__(self, first_id: int = 500_000_001) -> None:
        self.next_id = first_id
        self.waiting: list[Update] = []
        self.all: list[Update] = []
        self.allowed: tuple[str, ...] = ()

    def allow(self, kinds: Sequence[str] | None) -> None:
        """The choice is kept until another one is made; an empty list is the usual choice."""
        if kinds is not None:
            self.allowed = tuple(kinds)

    def wants(self, kind: str) -> bool:
        return kind in self.allowed if self.allowed else kind not in ONLY_WHEN_ASKED

    def add(self, kind: str, body: Any, now: float) -> Update | None:
        """A new update; None when the bot does not want this kind."""
        if not self.wants(kind):
            return None
        text = json.dumps({"update_id": self.next_id, kind: body}, ensure_ascii=False)
        return self._put(self.next_id, text, now + (PRESS_KEPT if kind == "callback_query" else KEPT))

    def inject(self, raw: dict[str, Any] | str, now: float) -> Update:
        """Anything at all in the place of an update; a dict without update_id gets the next one."""
        if isinstance(raw, dict):
            number = int(raw.get("update_id", self.next_id))
            return self._put(number, json.dumps({"update_id": number, **raw}, ensure_ascii=False), now + KEPT)
        return self._put(self.next_id, raw, now + KEPT)

    def _put(self, number: int, text: str, expires: float) -> Update:
        update = Update(number, text, expires)
        self.next_id = number + 1
        self.waiting.append(update)
        self.all.append(update)
        return update

    def again(self, number: int | None = None) -> Update:
        """Hand out once more what was handed out before: the update of that id, or the last one."""
        old = next(u for u in reversed(self.all) if number is None or u.update_id == number)
        update = Update(old.update_id, old.text, old.expires, again=True)
        self.waiting.append(update)
        return update

    def restart_ids(self, at: int) -> None:
        """As after a week without updates: the ids go on somewhere else."""
        if self.next_id - BEYOND <= at < self.next_id or (self.waiting and at < self.next_id):
            raise ValueError("ids fall back by more than ten, and only when all is confirmed")
        self.next_id = at

    @property
    def tail(self) -> int:
        return self.waiting[-1].update_id + 1 if self.waiting else self.next_id

    def confirm(self, offset: int, now: float) -> None:
        """Forget what the offset confirms, and what is too old."""
        self.waiting = [u for u in self.waiting if u.expires > now]
        if offset < 0:
            self.waiting = self.waiting[offset:]
        elif 0 < offset <= self.tail + BEYOND:
            self.waiting = [
                u for u in self.waiting if u.update_id >= offset or (u.again and not u.handed_out)
            ]

    def hand_out(self, limit: int) -> list[Update]:
        """The oldest ones; they stay until they are confirmed."""
        given = self.waiting[:limit]
        for update in given:
            update.handed_out += 1
        return given

    def clear(self) -> None:
        self.waiting = []
