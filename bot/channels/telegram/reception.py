"""What is done with each update: one after the other, each in one transaction, no network inside.

An update was kept before we came here. What it says goes to the talk as one message (`turn.accept`) in
the same transaction that marks it done; then the talk takes its turn. Killed anywhere between, the next
start goes on where this one stopped.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import takewhile

from telegram import Update

from bot import turn
from bot.channels.telegram import layout
from bot.channels.telegram.errands import COMMANDS, OWN, Errands
from bot.channels.telegram.flow_errands import PRESSED, is_flow
from bot.channels.telegram.hearing import CHANNEL
from bot.channels.telegram.reading import Came, SentFile, read, sender_of
from bot.core.messages import Choice, Message

__all__ = ["CHANNEL", "COMMANDS", "Reception", "Reply"]

TRIES = 3
_EDIT = "edit-{}-"  # the number of a message that was edited; behind it stands that of the update
ALBUM = timedelta(seconds=2)  # photos of one album come as messages of their own, within about a second


@dataclass(frozen=True)
class Reply:
    """What a press is answered with at once: nothing, or a few words over the chat."""

    query: str
    text: str = ""


class Reception(Errands):
    """Takes updates. `quick` answers a press, before the turn that follows from it."""

    # --- before the turn ---------------------------------------------------------------------

    def came(self, update: int) -> Came:
        """What a kept update means. Raises for one that cannot be read."""
        parsed = Update.de_json(json.loads(self.store.raw_update(update).body), None)
        return read(parsed, self.me)

    def quick(self, came: Came) -> Reply | None:
        """How a press is answered at once; None for everything else."""
        if came.kind != "press":
            return None
        found = layout.sent_back(came.press)
        receipt = self.store.receipt(found[0]) if found else None
        if found is None or receipt is None or receipt.chat != came.chat:
            return Reply(came.query, self._say("telegram.press_unknown"))
        if not self._may_press(came, receipt):
            person = self.store.known_as(CHANNEL, came.handle)
            if person is not None and person.id == receipt.person:
                return Reply(came.query, self._say("telegram.press_ended"))
            name = self.store.person(receipt.person).name
            return Reply(came.query, self._say("telegram.press_foreign", name=name))
        if _is_repeated(receipt, found[1]):
            return Reply(came.query, self._say("telegram.press_again"))
        return Reply(came.query)

    def _may_press(self, came: Came, receipt: turn.Receipt) -> bool:
        """The person asked; in a group also who holds the case, or a mechanic where its rider began it there.

        Nobody may press below a case that he may see no more.
        """
        person = self.store.known_as(CHANNEL, came.handle)
        number = person.id if person else 0
        case, own = receipt.case, number == receipt.person
        if case is None:  # below a flow any admin may press: whether he is one is asked by the act
            return own or _is_about_flow(receipt)
        if self.store.may_see(case, number):
            return own or self.store.holds(case, number)
        listed = own or came.handle in self.settings.mechanics
        return listed and self.store.is_public(case, self._where(came))

    # --- the turn ------------------------------------------------------------------------------

    def take(self, update: int, came: Came) -> None:
        """Do what an update asks for."""
        if came.kind == "file" and is_flow(came.file):
            self._flow_sent(update, self._placed(came))
            return
        if came.kind == "file" and came.album and not self.store.is_gathered(update):
            due = turn.stamp(self.clock() + ALBUM)
            with self.store.writing():
                self.store.name_update(update, came.handle)
                self.store.gather(update, came.album, due)
            return
        called = came.title if came.kind != "unaddressed" else ""
        if called and called != self.store.title_of(CHANNEL, came.chat):
            with self.store.writing():
                self.store.name_chat(CHANNEL, came.chat, called, turn.stamp(self.clock()))
        doing = {
            "words": self._words, "file": self._file, "press": self._press, "command": self._command,
            "migrated": self._migrated, "membership": self._membership, "edit": self._edit,
            "other": self._other,
        }.get(came.kind, self._nothing)  # fmt: skip
        doing(update, self._placed(came))

    def _placed(self, came: Came) -> Came:
        """A reply to one of our messages belongs where that message does, also when its topic is gone."""
        receipt = self.store.shown_as(CHANNEL, came.chat, came.reply_to) if came.reply_to else None
        return came if receipt is None else replace(came, thread=receipt.thread)

    def set_aside(self, update: int, fault: str) -> bool:
        """Count an update that could not be taken; True once it is given up."""
        with self.store.writing():
            self.store.name_update(update, sender_of(self.store.raw_update(update).body))
            return self.store.fail_update(update, fault, TRIES)

    def _words(self, update: int, came: Came) -> None:
        own = self._own_answer(came)
        if own is not None and own[0].startswith(PRESSED):
            self._flow_pressed(update, came, *own)
        elif own is not None:
            self._own(update, came, *own)
        elif came.text.strip().casefold() in self._words_of(came).controls["erase"]:
            self._command(update, replace(came, command="eraseme"))
        else:
            self._hear(update, came, text=came.text)

    def _own_answer(self, came: Came) -> tuple[str, int] | None:
        """What was typed, when it answers the channel's own question that stands before him last."""
        person = self.store.known_as(CHANNEL, came.handle)
        shown = self.store.newest_choice(self._where(came), person.id) if person else None
        if shown is None or shown.closed:
            return None
        said = came.text.strip(" .!").casefold()
        for choice in turn.revive_message(shown.payload).choices:
            if choice.press.startswith(OWN) and said in (str(choice.n), choice.label.casefold()):
                return choice.press, shown.outbox
        return None

    def _file(self, update: int, came: Came) -> None:
        """Files of one message, or of a whole album: kept with the step, fetched later."""
        with self.store.writing():
            raws = self.store.album_of(update)
            together = [self.came(raw.id) for raw in raws]
            sent = [one.file for one in together if one.file is not None]
            text = " ".join(one.text for one in together if one.text)
            refs = [self._want(one, came) for one in sent if one.size <= self.settings.file_bytes]
            for raw in raws:
                self.store.finish_update(raw.id)
            if len(refs) < len(sent):
                limit = self.settings.file_bytes // 1_000_000
                self._tell(came, self._say("telegram.file_too_large", mb=limit))
            if refs and sent[0].kind == "voice" and not text:
                self._tell(came, self._say("telegram.voice"))
            if refs or text:
                kind = sent[0].kind if refs else ""
                self._hear(update, came, text=text, file=" ".join(refs), file_kind=kind)

    def _want(self, sent: SentFile, came: Came) -> str:
        person = self._meet(came)
        ref = f"tg-{person}-{sent.unique}"
        at = turn.stamp(self.clock())
        self.store.want_file(ref, CHANNEL, sent.locator, person, came.chat, sent.kind, sent.name, at)
        return ref

    # --- presses -------------------------------------------------------------------------------

    def _press(self, update: int, came: Came) -> None:
        found = layout.sent_back(came.press)
        receipt = self.store.receipt(found[0]) if found else None
        ours = found and receipt and receipt.chat == came.chat and self._may_press(came, receipt)
        if not ours or found is None or receipt is None:
            self._nothing(update, came)
            return
        came = replace(came, thread=receipt.thread)
        message = turn.revive_message(receipt.payload)
        if _is_repeated(receipt, found[1]):
            self._nothing(update, came)
        elif found[1] == layout.DONE and message.many:
            self._done(update, came, receipt, message)
        elif (choice := _chosen(message, found[1])) is not None:
            self._pressed(update, came, receipt, message, choice)
        else:
            self._nothing(update, came)

    def _done(self, update: int, came: Came, receipt: turn.Receipt, message: Message) -> None:
        """The ticked marks as one answer; a question that is open no more takes none."""
        if receipt.closed:
            self._hear(update, came, press=f"{receipt.asked}:{layout.DONE}")
        else:
            self._asked_of(came, receipt)
            self._go_where_asked(came, receipt)
            self._hear(update, came, text=_marks(message, receipt.ticked))

    def _pressed(
        self, update: int, came: Came, receipt: turn.Receipt, message: Message, choice: Choice
    ) -> None:
        if choice.press.startswith(PRESSED):
            self._flow_pressed(update, came, choice.press, receipt.outbox)
        elif choice.press.startswith(OWN):
            self._own(update, came, choice.press, receipt.outbox)
        elif choice in layout.marks(message) and not receipt.closed:
            ticked = set(receipt.ticked) ^ {choice.n}
            with self.store.writing():
                self.store.tick(receipt.outbox, sorted(ticked), turn.stamp(self.clock()))
                self.store.finish_update(update)
        else:
            asked = self._asked_of(came, receipt)
            self._go_where_asked(came, receipt)
            self._hear(update, came, press=f"{asked}:{choice.press}")

    def _go_where_asked(self, came: Came, receipt: turn.Receipt) -> None:
        """A press of an open question goes to its own case, whichever was talked of last."""
        case, person = receipt.case, self._meet(came)
        if case is None or receipt.closed or case == self._current(came) or self.store.case(case).ended:
            return
        with self.store.writing():
            self.store.sit_down(case, person, self._where(came), turn.stamp(self.clock()))

    def _asked_of(self, came: Came, receipt: turn.Receipt) -> int:
        """The entry by which the presser is asked this; a mechanic is asked it at his own seat first."""
        person = self.store.person(self._meet(came))
        if person.id == receipt.person or receipt.case is None:
            return receipt.asked
        turn.join(self.store, receipt.case, self._where(came), person, turn.stamp(self.clock()))
        if self._asked(person.id, receipt.case) == 0:
            again = replace(came, kind="words", message=f"seat-{came.query}")
            self._accept(again, text=self._control(came, "repeat"))
            self.finish()
        state = self.store.state(receipt.case)
        own = state.asked.get(self.store.known_in(receipt.case, person.id).name)
        theirs = state.asked.get(self.store.known_in(receipt.case, receipt.person).name)
        if own is None or theirs is None or theirs.seq != receipt.asked:
            return receipt.asked
        return own.seq if (own.what, own.id) == (theirs.what, theirs.id) else receipt.asked

    # --- everything else -------------------------------------------------------------------------

    def _migrated(self, update: int, came: Came) -> None:
        with self.store.writing():
            self.store.move_chat(CHANNEL, came.chat, came.moved_to)
            self.store.finish_update(update)

    def _membership(self, update: int, came: Came) -> None:
        with self.store.writing():
            self.store.mark_reachable(CHANNEL, came.chat, came.may_write, turn.stamp(self.clock()))
            self.store.finish_update(update)

    def _edit(self, update: int, came: Came) -> None:
        """The newest note gets its new wording; whatever else was said stands as it was said first."""
        if self._current(came) is None or not came.private:
            self._nothing(update, came)
            return
        note = self._note_of(came)
        if note and came.text:
            again = replace(came, message=f"{_EDIT.format(came.message)}{update}")
            self._hear(update, again, text=came.text, rewords=note)
        else:
            self._answer(update, came, self._say("note.stands"))

    def _note_of(self, came: Came) -> int:
        """The entry of the note that a message left, as it stands after its edits; 0 for none."""
        found = self.store.turn_of(self._where(came), came.message, f"{_EDIT.format(came.message)}*")
        if found is None or found[0] != self._current(came):
            return 0
        events = [entry for entry in self.store.entries(found[0]) if entry.seq > found[1]]
        left = takewhile(lambda entry: entry.event.kind != "heard", events)
        return next((e.seq for e in left if e.event.kind == "noted" and e.event.words), 0)

    def _other(self, update: int, came: Came) -> None:
        self._answer(update, came, self._say(f"telegram.other.{came.other}"))


def _chosen(message: Message, place: str) -> Choice | None:
    """The choice that a button stands for, by its place."""
    if not (place.isascii() and place.isdigit()) or int(place) >= len(message.choices):
        return None
    return message.choices[int(place)]


def _marks(message: Message, ticked: tuple[int, ...]) -> str:
    """What Done says: the ticked numbers; 'none of these' when there are none."""
    answers = layout.answers_of(message)
    if not ticked:
        return str(answers[-1].n) if answers else ""
    # All of them, one by one, is meant: the run of numbers says so.
    everything = len(ticked) == len(answers) - 1 > 1
    return f"{ticked[0]}-{ticked[-1]}" if everything else " ".join(map(str, ticked))


def _is_repeated(receipt: turn.Receipt, place: str) -> bool:
    """A second tap of the very button that answered the question."""
    if not receipt.closed or not receipt.told:
        return False
    message = turn.revive_message(receipt.payload)
    choice = _chosen(message, place)
    if _is_about_flow(receipt):  # another admin is told who was quicker
        return False
    own = choice is not None and choice.press.startswith(OWN)
    return own or (choice is not None and choice.label == receipt.told) or place == layout.DONE


def _is_about_flow(receipt: turn.Receipt) -> bool:
    return any(choice.press.startswith(PRESSED) for choice in turn.revive_message(receipt.payload).choices)
