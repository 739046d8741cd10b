"""What only a messenger has beside the talk: greeting, links, several cases, posting, a copy, erasing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from telegram import User

from bot import turn
from bot.channels.telegram.flow_errands import FlowErrands
from bot.channels.telegram.hearing import CHANNEL
from bot.channels.telegram.reading import Came, sender_of
from bot.channels.telegram.settings import Settings
from bot.core.messages import Choice, Message

# What each command says to the talk, as the control word of the person's own language.
SAID = {
    "book": "book",
    "share": "share",
    "where": "where",
    "sheet": "summary",
    "whole": "whole_sheet",
    "later": "later",
    "help": "help",
}
COMMANDS = (
    "start", "new", "cases", "bench", "trend", *SAID, "pdf", "post", "mydata", "eraseme", "flows", "status",
)  # fmt: skip
# Not to be asked for before others.
PRIVATE = ("cases", "bench", "share", "trend", "book", "pdf", "post", "mydata", "eraseme")
OWN = "own:"  # presses of the channel's own questions
POST = f"{OWN}post:"  # and where: the group, its topic
LABEL = 38  # characters of a case on a button


class Errands(FlowErrands):
    """The commands, and the channel's own questions."""

    def __init__(
        self, store: turn.Store, settings: Settings, me: User, clock: Callable[[], datetime]
    ) -> None:
        super().__init__(store, settings, me, clock)
        self.polled = ""  # when the platform last answered us
        self.farewells: list[tuple[str, str]] = []  # chat and text for people who are in no record any more

    def _command(self, update: int, came: Came) -> None:
        doing = {
            "start": self._start, "new": self._new, "cases": self._cases, "bench": self._bench,
            "open": self._open, "mydata": self._my_data, "eraseme": self._erase_me, "trend": self._trend,
            "pdf": self._pdf, "post": self._post, "status": self._status, "flow": self._flows,
            "flows": self._flows, "link": self._link, "unlink": self._unlink,
        }.get(came.command)  # fmt: skip
        if came.private:
            self._follow_over(came)
        if came.command in PRIVATE and not came.private:
            self._answer(update, came, self._say("telegram.only_private"))
        elif doing is not None:
            doing(update, came)
        elif came.command in SAID:
            self._hear(update, came, text=f"{self._control(came, SAID[came.command])} {came.text}".strip())
        elif came.private:
            self._answer(update, came, self._say("telegram.no_command"))
        else:  # it may be meant for another bot of the group
            self._nothing(update, came)

    def _follow_over(self, came: Came) -> None:
        """Who talked by text message last goes on here with what he talked of there."""
        person = self.store.known_as(CHANNEL, came.handle)
        if person is not None:
            with self.store.writing():
                self.store.follow(self._where(came), person.id)

    def _nothing(self, update: int, came: Came) -> None:
        with self.store.writing():
            self.store.finish_update(update)

    # --- beginning, and going on -----------------------------------------------------------------

    def _start(self, update: int, came: Came) -> None:
        """Say hello, or go on with the case that a link leads to, or that a code opens."""
        at = turn.stamp(self.clock())
        if len(came.text) < 12 and turn.code_in(came.text):
            with self.store.writing():
                self.store.mark_reachable(CHANNEL, came.chat, True, at)
                self._open(update, came)
            return
        with self.store.writing():
            person = self._meet(came)
            self.store.mark_reachable(CHANNEL, came.chat, True, at)
            linked = self._follow(came, person, at)
            if came.text and linked is None:
                self._tell(came, self._say("telegram.link_not_yours"))
            case = self._current(came)
            if case is None:
                self._tell(came, self._hello(came))
                self.store.finish_update(update)
                return
            # By a link to a case that is over one comes to read how it ended.
            word = "summary" if linked is not None and self.store.case(case).ended else "repeat"
            self._hear(update, came, text=self._control(came, word))

    def _open(self, update: int, came: Came) -> None:
        """A code, by a link or behind the command."""
        self._hear(update, came, text=f"{self._words_of(came).lists['open'][0]} {came.text}")

    def _link(self, update: int, came: Came) -> None:
        """A code that joins his phone number, or how he gets one."""
        if came.text:
            self._open(update, came)
        else:
            self._hear(update, came, text=self._words_of(came).lists["link"][0])

    def _unlink(self, update: int, came: Came) -> None:
        """Give his phone number back."""
        self._hear(update, came, text=self._words_of(came).lists["unlink"][0])

    def _bench(self, update: int, came: Came) -> None:
        """All that he holds, or the part of it that he names."""
        self._hear(update, came, text=f"{self._words_of(came).lists['bench'][0]} {came.text}".strip())

    def _follow(self, came: Came, person: int, at: str) -> int | None:
        """Take the person to the case of his link, and remember which group he came from."""
        case = self.store.follow_link(came.text.removeprefix("g"), person, at) if came.text else None
        if case is None or not self.store.may_see(case, person):
            return None
        group = self.store.seat_of(case, person)
        self.store.sit_down(case, person, self._where(came), at)
        if group is not None and group.chat.startswith("-"):
            self.store.settle(person, "group", f"{CHANNEL}:{group.chat}")
            self.store.settle(person, "group_thread", group.thread)
        return case

    def _hello(self, came: Came) -> str:
        lines = [self._say("hello"), self._say("hello.help")]
        if not self.settings.admins and came.private:
            lines.append(self._say("telegram.your_number", number=came.handle))
        return "\n\n".join(lines)

    def _new(self, update: int, came: Came) -> None:
        """Begin another case, with what is wrong in the same line if it stands there; the old one stays."""
        with self.store.writing():
            person = self._meet(came)
            standing = self._current(came)
            told = self._say("hello")
            if standing is not None and self.store.case(standing).complaint:
                self.store.let_go(self._where(came), person)
                if not self.store.case(standing).ended:
                    told = f"{told}\n{self._say('telegram.other_open')}"
            if not came.text:
                self._answer(update, came, told)
                return
            self._hear(update, came, text=came.text)

    def _cases(self, update: int, came: Came) -> None:
        """Offer the open cases; a press goes on with that one here."""
        lines = [line for line in self.store.cases_of(self._meet(came)) if line.complaint and not line.ended]
        if not lines:
            self._answer(update, came, self._say("telegram.cases_none"))
            return
        choices = tuple(Choice(n, _named(line.nickname, line.title, line.complaint), f"{OWN}case:{line.id}")
                        for n, line in enumerate(lines[:8], 1))  # fmt: skip
        self._answer(update, came, self._say("telegram.cases_ask"), choices)

    def _trend(self, update: int, came: Came) -> None:
        """The trend of his bike in words at once, and as a picture when it is drawn."""
        with self.store.writing():
            person, case = self._meet(came), self._current(came)
            line = self.store.case(case) if case is not None else None
            bikes = self.store.bikes_of(person) if line is None or line.person == person else ()
            here = line.bike if line else None
            named = next((b.id for b in bikes if b.is_called(came.text)), None)
            alone = next((b.id for b in bikes if b.id == here or len(bikes) == 1), None if bikes else here)
            bike = named or alone
            if bike is not None and turn.has_trend(self.store, bike):
                told = {"chat": came.chat, "bike": bike}
                self.store.ask_job("trend", told, person, turn.stamp(self.clock()))
            self._hear(update, came, text=f"{self._control(came, 'trend')} {came.text}".strip())

    def _pdf(self, update: int, came: Came) -> None:
        """The sheet of the case in hand as a document, when it is made."""
        with self.store.writing():
            person, case = self._meet(came), self._current(came)
            if case is None or not self.store.case(case).title:
                self._answer(update, came, self._say("telegram.pdf_none"))
                return
            told = {"chat": came.chat, "case": case}
            self.store.ask_job("sheet", told, person, turn.stamp(self.clock()))
            self._answer(update, came, self._say("telegram.pdf_coming"))

    # --- a copy, erasing ---------------------------------------------------------------------------

    def _my_data(self, update: int, came: Came) -> None:
        at = turn.stamp(self.clock())
        with self.store.writing():
            person = self._meet(came)
            self.store.ask_job("my_data", {"chat": came.chat}, person, at)
            self.store.finish_update(update)

    def _erase_me(self, update: int, came: Came) -> None:
        choices = (
            Choice(1, self._say("telegram.erase_yes"), f"{OWN}erase"),
            Choice(2, self._say("telegram.erase_no"), f"{OWN}keep"),
        )
        self._answer(update, came, self._say("telegram.erase_ask"), choices)

    def _erase_now(self, update: int, came: Came, person: int) -> None:
        """Take him out of the record, with all of his that still waits to be taken."""
        with self.store.writing():
            self.store.name_update(update, came.handle)
            for raw in self.store.untaken(CHANNEL):
                if sender_of(raw.body) == came.handle:
                    self.store.name_update(raw.id, came.handle)
        self.store.erase(person)
        self.farewells.append((came.chat, self._say("telegram.erased")))

    # --- posting to the group ------------------------------------------------------------------------

    def _post(self, update: int, came: Came) -> None:
        """Show what would be posted to which group, and ask."""
        person = self.store.known_as(CHANNEL, came.handle)
        case = self._current(came)
        own = case is not None and person is not None and self.store.case(case).person == person.id
        result = turn.result(self.store, case) if case is not None and own else ""
        group = str(person.settings.get("group", "")).removeprefix(f"{CHANNEL}:") if person else ""
        if case is not None and not own:
            self._answer(update, came, self._say("holding.riders_own"))
        elif person is None or not group:
            self._answer(update, came, self._say("telegram.post_no_group"))
        elif not result:
            self._answer(update, came, self._say("telegram.post_nothing"))
        else:
            where = f"{group}:{person.settings.get('group_thread', '')}"
            choices = (
                Choice(1, self._say("telegram.post_yes"), f"{POST}{where}"),
                Choice(2, self._say("telegram.post_no"), f"{OWN}keep"),
            )
            asked = self._say("telegram.post_ask", group=self._title(group))
            self._answer(update, came, f"{asked}\n\n{result}", choices)

    def _title(self, group: str) -> str:
        return self.store.title_of(CHANNEL, group) or self._say("telegram.the_group")

    def _post_now(self, person: int, press: str, shown: Message) -> str:
        """Post what he was shown, word for word and where he was told; what he is told of it."""
        group, _, thread = press.removeprefix(POST).partition(":")
        if not self.store.is_reachable(CHANNEL, group):
            return self._say("telegram.post_no_group")
        result = shown.text.partition("\n\n")[2]
        address = turn.Address(CHANNEL, group, thread)
        self.store.put_out(address, person, Message(result), turn.stamp(self.clock()), n=0)
        return self._say("telegram.posted", group=self._title(group))

    # --- the channel's own questions -----------------------------------------------------------------

    def _own(self, update: int, came: Came, press: str, outbox: int) -> None:
        """An answer to a question of the channel itself. One that was answered already does nothing."""
        person = self._meet(came)
        receipt = self.store.receipt(outbox)
        if receipt is None or receipt.closed:
            self._nothing(update, came)
        elif press == f"{OWN}erase":
            self._erase_now(update, came, person)
        elif press.startswith(f"{OWN}case:"):
            self._go_to(update, came, int(press.rpartition(":")[2]), outbox)
        else:
            with self.store.writing():
                shown = turn.revive_message(receipt.payload)
                posting = press.startswith(POST)
                told = self._post_now(person, press, shown) if posting else self._say("telegram.left_so")
                self.store.close_question(outbox, told, turn.stamp(self.clock()))
                self.store.finish_update(update)

    def _go_to(self, update: int, came: Came, case: int, outbox: int) -> None:
        """Go on here with one of his cases."""
        at = turn.stamp(self.clock())
        with self.store.writing():
            line = self.store.case(case)
            self.store.sit_down(case, self._meet(came), self._where(came), at)
            named = _named(line.nickname, line.title, line.complaint)
            self.store.close_question(outbox, named, at)
            word = replace(came, kind="words", message=f"case-{came.query or came.message}")
            self._hear(update, word, text=self._control(came, "repeat"))

    # --- whoever runs the bot -------------------------------------------------------------------------

    def _status(self, update: int, came: Came) -> None:
        if came.handle not in self.settings.admins:
            self._answer(update, came, self._say("telegram.no_command"))
            return
        with self.store.writing():
            self.store.finish_update(update)  # so that the question is not counted as waiting
            self._tell(came, self.status())

    def status(self) -> str:
        """What whoever runs the bot wants to know, in a few lines."""
        depths = ", ".join(f"{name} {count}" for name, count in self.store.depths().items())
        dead = [f"{line['kind']} {line['id']} of {line['at']}: {line['fault']}"
                for line in self.store.dead_letters()[:10]]  # fmt: skip
        head = f"Sumpline {turn.VERSION}. Waiting: {depths}."
        again = ["To try one again: sumpline letters retry, its kind and number."] if dead else []
        return "\n".join([head, f"Last asked for updates: {self.polled or 'not yet'}.", *dead, *again])


def _named(nickname: str, title: str, complaint: str) -> str:
    """A case as its rider knows it."""
    what = title or " ".join(complaint.split())
    named = f"{nickname}: {what}" if nickname else what
    return named if len(named) <= LABEL else named[: LABEL - 1] + "…"
