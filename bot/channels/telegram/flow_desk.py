"""Flows that admins send: judged, tried out, offered; and what is done to them, each by an act that counts.

Who may act is asked of the platform at each act and never remembered: a named admin for everyone or the
group in which he acts, an administrator of a group for that group.
"""

from __future__ import annotations

import asyncio
import io
import logging
from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Any, TypeVar

from telegram import Bot
from telegram.error import BadRequest, Forbidden, InvalidToken, NetworkError, RetryAfter

from bot import turn
from bot.channels.plain import plain
from bot.channels.telegram import layout
from bot.channels.telegram.flow_errands import PRESSED
from bot.channels.telegram.flow_words import FlowWords
from bot.channels.telegram.hearing import CHANNEL
from bot.channels.telegram.pauses import asked_pause
from bot.channels.telegram.settings import Settings
from bot.core.messages import Choice, Message

LOG = logging.getLogger("sumpline.telegram")
HIGH = ("creator", "administrator")  # who may act for a group
GROUP = f"group:{CHANNEL}:"
SLOWEST = 30.0  # seconds between two tries where the platform cannot be asked
UPLOADED_WITHIN = 60.0

T = TypeVar("T")


class Later(Exception):
    """The platform could not be asked: nothing was done, and the job waits."""


class FlowDesk:
    """Does the jobs that flow_errands.py notes. `wake`: called when there is something to send."""

    def __init__(
        self, store: turn.Store, bot: Bot, settings: Settings, clock: Callable[[], datetime],
        wake: Callable[[], None],
    ) -> None:  # fmt: skip
        self.store, self.bot, self.settings, self.clock, self.wake = store, bot, settings, clock, wake
        self.words = FlowWords(store, settings)

    # --- who may ---------------------------------------------------------------------------------

    async def _scope(self, job: turn.Job, named: str = "") -> str:
        """This scope, else the one of where he is, if he may act for it now; "" if not."""
        scope = named or self._place(job)
        return scope if scope and await self._may(job, scope) else ""

    def _place(self, job: turn.Job) -> str:
        if not job.data["private"]:
            return f"{GROUP}{job.data['chat']}"
        if job.data["handle"] in self.settings.admins:
            return "everyone"
        group = str(self.store.person(job.person).settings.get("group", ""))
        return f"group:{group}" if group.startswith(f"{CHANNEL}:") else ""

    async def _may(self, job: turn.Job, scope: str) -> bool:
        """Whether he may act for a scope at this moment."""
        handle = str(job.data["handle"])
        if handle in self.settings.admins:
            return True
        if not scope.startswith(GROUP):
            return False
        chat = int(scope.removeprefix(GROUP))
        try:
            member = await self._reached(lambda: self.bot.get_chat_member(chat, int(handle)))
        except (BadRequest, Forbidden):  # no such member, or we are not in that group any more
            return False
        return member.status in HIGH

    async def _reached(self, ask: Callable[[], Awaitable[T]]) -> T:
        """What the platform answers; Later when it cannot be reached or wants to be asked later."""
        try:
            return await ask()
        except BadRequest:  # which the library counts as a fault of the network
            raise
        except RetryAfter as fault:
            await asyncio.sleep(min(SLOWEST, asked_pause(fault)))
            raise Later from fault
        except NetworkError as fault:
            LOG.info("the platform cannot be asked about a flow: %s", type(fault).__name__)
            raise Later from fault

    # --- a file that was sent ----------------------------------------------------------------------

    async def take(self, job: turn.Job) -> None:
        """Judge a file and try it out. Killed in between, all of it is begun anew: only the end is kept."""
        scope = await self._scope(job)
        if not scope:
            self._end(job, self.words.say("flows.not_yours"))
            return
        raw = await self._fetched(job)
        if isinstance(raw, str):
            self._end(job, self.words.say(raw, kb=turn.LARGEST_FLOW // 1000))
            return
        name = _file_name(str(job.data["name"]))
        judged = await asyncio.to_thread(turn.judge, raw, name)
        if judged.kept is None:
            await self._tell_mistakes(job, name, judged)
            return
        kept, bikes = judged.kept, self.settings.trial_bikes
        self._tell(job, self.words.say("flows.trying", bikes=bikes))
        before = self._in_use(scope, kept.flow)
        texts = self.store.flow_texts(before.hash) if before else None
        tried = await turn.try_out(kept, texts, bikes)
        self._offer(job, scope, kept, self.words.of_trial(scope, judged, before, tried), tried.picture)

    async def _fetched(self, job: turn.Job) -> bytes | str:
        """The bytes of the file; else the key of what is wrong with it."""
        if int(job.data["size"]) > turn.LARGEST_FLOW:
            return "flows.too_large"
        try:
            file = await self._reached(lambda: self.bot.get_file(str(job.data["locator"])))
            if (file.file_size or 0) > turn.LARGEST_FLOW:
                return "flows.too_large"
            data = bytes(await self._reached(file.download_as_bytearray))
        except (BadRequest, Forbidden, InvalidToken):  # the last is the library's word for every 404
            return "telegram.file_gone"
        return data if len(data) <= turn.LARGEST_FLOW else "flows.too_large"

    def _in_use(self, scope: str, flow: str) -> Any:
        """The version on offer in a scope, whichever scope it is from; None for none."""
        turn.stock(self.store, turn.stamp(self.clock()))
        return self.store.in_use(scope, flow)

    async def _tell_mistakes(self, job: turn.Job, name: str, judged: turn.Judged) -> None:
        """As a message, or as a file where they are more than one message holds."""
        head = self.words.mistakes(name, len(judged.lines))
        told = "\n\n".join([head, *judged.lines])
        if layout.units(told) > layout.LONGEST:
            file, thread = io.BytesIO(judged.shown.encode()), str(job.data["thread"])
            await self._reached(
                lambda: self.bot.send_document(
                    int(job.data["chat"]), file, filename="mistakes.txt", caption=head,
                    message_thread_id=int(thread) if thread else None, write_timeout=UPLOADED_WITHIN,
                )
            )  # fmt: skip
            self._end(job)
        else:
            self._end(job, told)

    def _offer(self, job: turn.Job, scope: str, kept: Any, told: str, picture: bytes) -> None:
        """Keep the draft and ask what to do with it: with the end of the job, or not at all."""
        at = turn.stamp(self.clock())
        with self.store.writing():
            if not self.store.is_waiting(job.id):
                return
            self.store.keep_flow(kept)
            draft = self.store.keep_draft(job.person, scope, kept.flow, kept.hash, at)
            if picture:
                digest = self.store.keep_file(job.person, picture, "picture", at)
                caption = self.words.say("flows.picture", title=kept.title, version=kept.version)
                self._tell(job, caption, photo=digest)
            choices = tuple(
                Choice(n, self.words.say(f"flows.{what}"), f"{PRESSED}{what}:{draft}")
                for n, what in enumerate(("publish", "keep", "drop"), 1)
            )
            self._tell(job, f"{told}\n\n{self.words.say('flows.draft', draft=draft)}", choices)
            self._end(job)

    # --- acts ----------------------------------------------------------------------------------------

    async def act(self, job: turn.Job) -> None:
        """Do one act, and say so, in one transaction; or say who may, or what is in the way."""
        draft = self.store.draft(int(job.data["draft"])) if "draft" in job.data else None
        if "draft" in job.data and draft is None:
            self._end(job, self.words.say("flows.no_draft", draft=job.data["draft"]))
            return
        scope = await self._scope(job, draft.scope if draft else "")
        with self.store.writing():
            if not self.store.is_waiting(job.id):
                return
            name = self.store.person(job.person).name
            if not scope:
                told = self.words.say("flows.act_not_yours", name=name)
            else:
                told = self._done(job, scope, draft)
            self._end(job, told)

    def _done(self, job: turn.Job, scope: str, draft: Any) -> str:
        try:
            if draft is not None:
                return self._decided(job, scope, draft)
            if job.data["do"] == "list":
                return self.words.of_scope(scope, job.person)
            return self._changed(job, scope)
        except turn.TooLateError as late:
            return self.words.too_late(late, job.person, self._close(job, late.draft.state))
        except turn.NotDoneError as wrong:
            return str(wrong)

    def _decided(self, job: turn.Job, scope: str, draft: Any) -> str:
        what, at = job.data["do"], turn.stamp(self.clock())
        turn.decide(self.store, draft.id, what, at, job.person)
        self._close(job, what)
        return self.words.of_decision(what, scope, draft)

    def _close(self, job: turn.Job, what: str) -> str:
        """The question below which it was pressed becomes a record; what that says."""
        told = self.words.say(f"flows.{what}_record")
        if "outbox" in job.data:
            self.store.close_question(int(job.data["outbox"]), told, turn.stamp(self.clock()))
        return told

    def _changed(self, job: turn.Job, scope: str) -> str:
        """Take a version back into use, or out of it."""
        at, flow = turn.stamp(self.clock()), str(job.data["flow"])
        line = turn.meant(self.store, scope, flow, str(job.data["version"]))
        doing = turn.use_again if job.data["do"] == "use" else turn.withdraw
        doing(self.store, scope, line.flow, line.hash, at, job.person)
        return self.words.of_change(str(job.data["do"]), scope, line, self._in_use(scope, line.flow))

    # --- what is said ----------------------------------------------------------------------------------

    def _tell(self, job: turn.Job, text: str, choices: tuple[Choice, ...] = (), photo: str = "") -> None:
        to = turn.Address(CHANNEL, str(job.data["chat"]), str(job.data["thread"]))
        message = Message(plain(text), kind="info", choices=choices, photo=photo, stays=text if photo else "")
        with self.store.writing():
            if self.store.is_waiting(job.id):  # else he was erased while we worked
                self.store.put_out(to, job.person, message, turn.stamp(self.clock()), n=0)
        self.wake()

    def _end(self, job: turn.Job, text: str = "") -> None:
        """The job is done, with a last word."""
        with self.store.writing():
            if text:
                self._tell(job, text)
            self.store.job_done(job.id)
        self.wake()


def _file_name(told: str) -> str:
    """What a file is called in messages about it, however long or odd its name."""
    name = " ".join(plain(told).replace("\\", "/").rpartition("/")[2].split())
    return name if len(name) <= 40 else f"{name[:34]}~.yaml"
