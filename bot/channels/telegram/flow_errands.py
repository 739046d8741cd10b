"""What an admin sends about flows: files, presses and `/flows`, each noted as a job.

Whether he may is asked of the platform, and so by the job, never here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bot import turn
from bot.channels.telegram.hearing import Hearing
from bot.channels.telegram.reading import Came, SentFile

DRAFT, ACT = "flow_draft", "flow_act"  # kinds of jobs
PRESSED = "own:flow:"  # and what to do, with the number of the draft
ENDINGS = (".yaml", ".yml")
_DECIDED = {"publish": "published", "keep": "kept", "drop": "dropped"}
_DONE_TO = ("use", "withdraw")


def is_flow(sent: SentFile | None) -> bool:
    """Whether a file is one that a flow is sent as."""
    return sent is not None and sent.kind == "document" and sent.name.lower().endswith(ENDINGS)


def order_in(text: str) -> Mapping[str, Any] | None:
    """What is wanted by the words behind `/flows`; None for words that want nothing."""
    words = text.split()
    if not words:
        return {"do": "list"}
    doing, rest = words[0].casefold(), words[1:]
    if doing in _DECIDED and len(rest) == 1 and rest[0].isascii() and rest[0].isdigit() and len(rest[0]) < 16:
        return {"do": _DECIDED[doing], "draft": int(rest[0])}
    if doing in _DONE_TO and len(rest) == 2:
        return {"do": doing, "flow": rest[0], "version": rest[1]}
    return None


def pressed_in(press: str) -> Mapping[str, Any]:
    """What a press below a draft wants."""
    doing, _, draft = press.removeprefix(PRESSED).partition(":")
    return {"do": _DECIDED[doing], "draft": int(draft)}


class FlowErrands(Hearing):
    """Notes what is wanted; flow_desk.py does it."""

    def _flow_sent(self, update: int, came: Came) -> None:
        sent = came.file
        assert sent is not None
        self._ask_desk(update, came, DRAFT, {"locator": sent.locator, "name": sent.name, "size": sent.size})

    def _flows(self, update: int, came: Came) -> None:
        """A file with the command below it, an order, or nothing but the command."""
        wanted = order_in(came.text)
        if is_flow(came.file):
            self._flow_sent(update, came)
        elif came.command == "flow" or wanted is None:
            self._answer(update, came, self._say("flows.how"))
        else:
            self._ask_desk(update, came, ACT, wanted)

    def _flow_pressed(self, update: int, came: Came, press: str, outbox: int) -> None:
        self._ask_desk(update, came, ACT, {**pressed_in(press), "outbox": outbox})

    def _ask_desk(self, update: int, came: Came, kind: str, wanted: Mapping[str, Any]) -> None:
        told = {"chat": came.chat, "thread": came.thread, "private": came.private, "handle": came.handle}
        with self.store.writing():
            self.store.ask_job(kind, {**told, **wanted}, self._meet(came), turn.stamp(self.clock()))
            self.store.finish_update(update)
