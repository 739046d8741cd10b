"""Handing what came to the talk: one message, one turn, and what the turn has passed becomes a record."""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from telegram import User

from bot import turn
from bot.channels.plain import storable
from bot.channels.telegram.layout import answers_of
from bot.channels.telegram.reading import Came
from bot.channels.telegram.settings import Settings
from bot.core.messages import Choice, Message

LOG = logging.getLogger("sumpline.telegram")
CHANNEL = "telegram"
LINK_DAYS = 2
PRIVATE = ("record", "secret")  # kinds of messages that no group is shown
_NUMBERS = re.compile(r"[\d\s,.;+&-]+", re.ASCII)


class Hearing:
    """What came goes into the talk, and what is no part of the talk is told beside it."""

    def __init__(
        self, store: turn.Store, settings: Settings, me: User, clock: Callable[[], datetime]
    ) -> None:
        self.store, self.settings, self.me, self.clock = store, settings, me, clock

    # --- into the talk -------------------------------------------------------------------------

    def _hear(self, update: int, came: Came, **said: Any) -> None:
        """Hand what was said (as `Heard` has it) to the talk, which takes its turn; the update is done."""
        with self.store.writing():
            self._accept(came, **said)
            self.store.finish_update(update)
            self.finish()

    def finish(self) -> None:
        """Take what was handed over and not taken: what just came, and what failed before."""
        for inbox in self.store.waiting(CHANNEL):
            turn.take(self.store, inbox, self.clock(), then=partial(self._follow_up, inbox))

    def _accept(self, came: Came, *, text: str = "", **said: Any) -> int | None:
        person = self.store.person(self._meet(came))
        heard = turn.Heard(text=storable(text), who=person.name, role=person.role, **said)
        id = f"press-{came.query}" if came.kind == "press" else came.message
        return turn.accept(self.store, CHANNEL, came.chat, person.name, id, heard, self.clock(),
                           thread=came.thread, handle=came.handle)  # fmt: skip

    def _follow_up(self, inbox: int, step: turn.Step) -> None:
        """What a turn brings about here: questions become records, and a group reads no history.

        Where a record cannot be made the turn stands without it; what a group may not read fails it.
        """
        try:
            with self.store.writing():
                self._close_passed(self.store.incoming(inbox), step)
        except turn.FILE_FAULTS:
            raise
        except Exception as fault:
            LOG.error("message %s is taken, but not put on record: %s", inbox, turn.place_of(fault))
        self._keep_private(inbox, step.case)
        self._lay_links(inbox)

    def _close_passed(self, incoming: turn.Incoming, step: turn.Step) -> None:
        """Questions that are open no more: a record of what was understood under the one just answered."""
        heard, who = incoming.heard, step.speaker.name
        before, now = _asked_in(step.before, who), _asked_in(step.after, who)
        at = turn.stamp(self.clock())
        for passed in self.store.passed_questions(incoming.person, CHANNEL, step.case, now):
            told = ""
            if passed.asked == before and now != before:
                shown = turn.revive_message(passed.payload)
                values = understood(step.before.entries, step.entries, before, who)
                told = told_as(shown, values) or told_by(shown, heard.press, heard.text)
            self.store.close_question(passed.outbox, told, at)

    def _keep_private(self, inbox: int, case: int) -> None:
        """A group is shown no sheet and no history: who asked for it reads it in private, if it is his."""
        for out in self.store.unsent(inbox):
            if out.message.kind in PRIVATE and out.channel == CHANNEL and out.address.startswith("-"):
                person = self.store.named(out.person)
                assert person is not None
                link = self.link_from(case, person.id)
                key = "telegram.read_in_private" if link else "telegram.read_by_code"
                self.store.rephrase(out.id, Message(self._say(key, link=link)))

    def _lay_links(self, inbox: int) -> None:
        """A code is said with a link that brings it here, and comes as a picture of that link too."""
        for out in self.store.unsent(inbox):
            code = turn.code_said(out.message.text) if out.message.kind == "secret" else ""
            person = self.store.named(out.person)
            if code and person is not None:
                link = f"https://t.me/{self.me.username}?start={code}"
                told = f"{out.message.text}\n{self._say('telegram.share_link', link=link)}"
                self.store.rephrase(out.id, replace(out.message, text=told))
                wanted = {"chat": out.address, "link": link}
                self.store.ask_job("share", wanted, person.id, turn.stamp(self.clock()))

    def _asked(self, person: int, case: int | None) -> int:
        """The entry that asks this person now, 0 for none."""
        return (
            0 if case is None else _asked_in(self.store.state(case), self.store.known_in(case, person).name)
        )

    # --- people, and what is told beside the talk -------------------------------------------------

    def _meet(self, came: Came) -> int:
        known = self.store.known_as(CHANNEL, came.handle)
        role = self._role_of(came, known.role if known else "rider")
        if known is not None and known.role == role:
            return known.id
        with self.store.writing():
            made = self.store.meet(CHANNEL, came.handle, came.name, role, turn.stamp(self.clock()))
            if known is None and self.settings.language != "en":
                self.store.settle(made.id, "language", self.settings.language)
        return made.id

    def _role_of(self, came: Came, known: turn.Role) -> turn.Role:
        """Who is an admin is in the settings alone, as they are now; a mechanic is who he was."""
        if came.handle in self.settings.admins:
            return "admin"
        return "rider" if known == "admin" else known

    def _where(self, came: Came) -> turn.Address:
        return turn.Address(CHANNEL, came.chat, came.thread)

    def _current(self, came: Came) -> int | None:
        """The case that a message like this goes to."""
        person = self.store.known_as(CHANNEL, came.handle)
        return None if person is None else self.store.current(self._where(came), person.id)

    def _answer(self, update: int, came: Came, text: str, choices: tuple[Choice, ...] = ()) -> None:
        """Say something that is no part of the talk, and be done with the update."""
        with self.store.writing():
            self._tell(came, text, choices)
            self.store.finish_update(update)

    def _tell(self, came: Came, text: str, choices: tuple[Choice, ...] = ()) -> None:
        message = Message(text, kind="info", choices=choices)
        with self.store.writing():
            at = turn.stamp(self.clock())
            self.store.put_out(self._where(came), self._meet(came), message, at, n=0)

    def link_from(self, case: int, person: int) -> str:
        """A new way for this person from a group into his case in private; "" when it is not his."""
        if not self.store.may_see(case, person):
            return ""
        token = secrets.token_urlsafe(24)
        until = turn.stamp(self.clock() + timedelta(days=LINK_DAYS))
        with self.store.writing():
            self.store.make_link(token, case, person, until, turn.stamp(self.clock()))
        return f"https://t.me/{self.me.username}?start=g{token}"

    def _control(self, came: Came, name: str) -> str:
        """A control word in the language of the person."""
        return self._words_of(came).controls[name][0]

    def _words_of(self, came: Came) -> turn.Words:
        known = self.store.known_as(CHANNEL, came.handle)
        language = known.settings.get("language") if known else None
        return turn.read_words(str(language or self.settings.language))

    def _say(self, key: str, **values: object) -> str:
        return turn.read_words(self.settings.language).say(key, **values)


def _asked_in(state: Any, who: str) -> int:
    asked = state.asked.get(who)
    return asked.seq if asked else 0


def understood(before: Sequence[Any], since: Sequence[Any], asked: int, who: str) -> tuple[str, ...] | None:
    """The ids of what this person's answer to the entry that asked was taken for; None for no such answer.

    `before`: the entries with the one that asked; `since`: those of the turn that answered.
    """
    question = next((e.event for e in reversed(before) if e.seq == asked), None)
    for entry in since:
        event = entry.event
        about = next((getattr(event, key) for key in ("ask", "trait", "setting") if hasattr(event, key)), "")
        if entry.who == who and question is not None and about == question.id:
            value = getattr(event, "value", getattr(event, "answer", None))
            return value if isinstance(value, tuple) or value is None else (_button(value),)
    return None


def _button(value: str | float | bool) -> str:
    """The id of the answer that a setting or a trait was kept for: 'yes' for True, '1200' for 1200.0."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:g}"


def told_as(asked: Message, values: tuple[str, ...] | None) -> str:
    """The labels of these answers; that of 'none of these' where several could be taken and none was."""
    if values is None:
        return ""
    labels = {c.press: c.label for c in answers_of(asked)}
    if asked.many and not values and labels:
        return list(labels.values())[-1]
    return "; ".join(labels[v] for v in values) if set(values) <= set(labels) else ""


def told_by(asked: Message, press: str, text: str) -> str:
    """What was answered: in the words of the choices where it was their button or number, else as written."""
    if press:
        id = press.partition(":")[2]
        return next((c.label for c in asked.choices if c.press == id), "")
    labels = {c.n: c.label for c in answers_of(asked)}
    if not _NUMBERS.fullmatch(text):
        return text
    spread = re.sub(r"(\d{1,2})\s*-\s*(\d{1,2})", lambda m: _run(int(m[1]), int(m[2])), text)
    numbers = [int(n) for n in re.findall(r"\d{1,9}", spread)]
    return "; ".join(labels[n] for n in numbers) if numbers and set(numbers) <= set(labels) else text


def _run(first: int, last: int) -> str:
    return " ".join(map(str, range(first, last + 1)))
