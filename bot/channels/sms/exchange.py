"""The talk by text message: what came in is heard once, what is to be said goes out once.

One pass (`step`) does what there is to do, in an order in which the program may be killed anywhere:
1. A text that the gateway holds is handed to the talk under its key, and its turn is taken.
2. Only then is it marked at the gateway. Killed before, it is read again, known by its key, and passed over.
3. What waits in the outbox becomes texts in one transaction, with what they cost.
4. A text goes to the gateway under a token of its own. Killed before that is noted, it is handed over again,
   and the gateway knows the token.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby

from bot import turn
from bot.channels.plain import storable
from bot.channels.sms import hearing, layout
from bot.channels.sms.budgets import ALIKE, PAUSE, QUICK, SESSION, WITHIN, Caps, Spent, allows, day_of
from bot.channels.sms.gateway import Gateway, GatewayError, Text
from bot.channels.sms.numbers import is_number
from bot.core.events import Heard
from bot.core.messages import Message
from bot.core.segments import segments, split

LOG = logging.getLogger("sumpline.sms")
CHANNEL = "sms"
LONGEST = 20_000  # characters of one text, as in other channels; a network joins far fewer
TWICE = timedelta(minutes=2)  # the same answer within it, to a question that has passed, is a copy
SLACK = timedelta(seconds=2)  # by which two clocks may differ that agree
FORGET = timedelta(days=30)  # no network keeps a text longer
KEPT = 7  # days that the gateway keeps texts which were dealt with; then they are in the record alone
ENDS_KNOWN = timedelta(days=3)  # after which nobody waits for the report of a text


@dataclass
class Exchange:
    """Riders' texts on one side, the talk on the other.

    `own`: the number of our own SIM; `wide`: languages that may go out in 16-bit letters; `help`: whom to ask
    when no more texts may go.
    """

    store: turn.Store
    gateway: Gateway
    clock: Callable[[], datetime]
    caps: Caps = field(default_factory=Caps)
    own: str = ""
    wide: frozenset[str] = frozenset()
    help: str = ""
    language: str = "en"
    _delays: list[float] = field(default_factory=list)
    _failed: dict[str, int] = field(default_factory=dict)  # by key of a text: how often it failed
    _swept: str = ""  # the day on which what is old was taken off

    # --- one pass ---------------------------------------------------------------------------

    def step(self) -> bool:
        """Do all that can be done now; whether there was anything."""
        self._sweep()
        heard = self.hear_all()
        laid = self.lay_all()
        handed = self.hand_over_all()
        self.read_results()
        return bool(heard or laid or handed)

    def begin(self) -> None:
        """What a killed program left: turns that were not taken."""
        turn.finish(self.store, self.clock(), channel=CHANNEL)

    def _sweep(self) -> None:
        """Once a day: keys that nobody needs any more, and texts that the gateway would keep for ever."""
        today = day_of(self.clock())
        if self._swept != today:
            with self.store.writing():
                self.store.forget_heard(turn.stamp(self.clock() - FORGET))
            self.gateway.forget(KEPT)
            self._swept = today

    # --- in ---------------------------------------------------------------------------------

    def hear_all(self) -> int:
        """Every text that the gateway holds, each once; how many there were.

        What it leads to is laid before the next one is heard: that may have been sent before it.
        """
        texts = self.gateway.read()
        for text in texts:
            if self._hear_once(text):
                self.lay_all()
                self.gateway.done(text.rows)
        return len(texts)

    def _hear_once(self, text: Text) -> bool:
        """Whether a text was dealt with. One that brings us down is passed over, and at last set aside."""
        try:
            self._note_delay(text)
            self.hear(text)
        except (GatewayError, *turn.FILE_FAULTS):
            raise
        except Exception as fault:
            self._failed[text.key] = self._failed.get(text.key, 0) + 1
            LOG.error("a text could not be heard: %s", turn.place_of(fault))
            return self._failed[text.key] >= turn.TRIES
        return True

    def hear(self, text: Text) -> None:
        """One text. What it says is kept before this returns, or there is nothing to keep."""
        if not is_number(text.number) or text.number == self.own:
            LOG.info("a text of no rider's number is not answered")
            return
        if self.store.was_accepted(text.number, text.key):
            turn.finish(self.store, self.clock(), channel=CHANNEL)
            return
        before = self.store.number_line(text.number)
        line = self._counted(before, text)
        reading = hearing.read(text.text, opted_out=line.opted_out)
        if not self._serve(text, before, line, reading):
            self._talk(text, line, reading)

    def _counted(self, line: turn.NumberLine, text: Text) -> turn.NumberLine:
        """The line of a number after one more text of it."""
        now, before = self.clock(), line.heard
        gap = now - _moment(before) if before else timedelta()
        words = hashlib.sha256(hearing.fold(text.text).encode()).hexdigest()[:16]
        begun = line.begun if line.begun and gap < SESSION else turn.stamp(now)
        question = self.store.question_out(text.number)
        asked = question.asked if question else 0
        again = words == line.words and asked == line.asked  # "done" to step after step is no machine
        return replace(
            line, heard=turn.stamp(max(self._sent(text), _moment(before) if before else self._sent(text))),
            words=words, same=line.same + 1 if again else 0, begun=begun, asked=asked,
            reminded=False, paused=line.paused or gap > PAUSE,
        )  # fmt: skip

    def _serve(
        self, text: Text, before: turn.NumberLine, line: turn.NumberLine, reading: hearing.Reading
    ) -> bool:
        """What the channel answers itself, in one transaction; False for what the talk is to hear."""
        if not text.whole:
            return self._once(text, line, "sms.part_missing")
        if reading.kind == "opt_out":
            return self._opt_out(text, line)
        if reading.kind == "opt_in":
            return self._once(text, replace(line, opted_out=False), "sms.opted_in")
        if reading.kind == "info":
            return self._once(text, line, "sms.info")
        if line.opted_out:
            return self._once(text, line, "")
        if line.same >= ALIKE and not hearing.is_answer(text.text):
            LOG.warning("%s sends the same words again and again: not answered", self.hashed(text.number))
            return self._once(text, line, "")
        if reading.kind == "more" and line.rest:
            return self._turn_page(text, line)
        return self._crossed(text, before, line)

    def _once(self, text: Text, line: turn.NumberLine, key: str) -> bool:
        """Say a line of our own, unless this very text was dealt with before."""
        with self.store.writing():
            if self.store.note_heard(text.key, turn.stamp(self.clock())):
                self.store.keep_number(line)
                if key:
                    self._lay_own(text.number, key)
        return True

    def _opt_out(self, text: Text, line: turn.NumberLine) -> bool:
        """One confirmation, and nothing more until he begins again."""
        with self.store.writing():
            if self.store.note_heard(text.key, turn.stamp(self.clock())):
                self.store.drop_texts_to(text.number)
                self.store.keep_number(replace(line, opted_out=True, rest=""))
                if not line.opted_out:
                    self._lay_own(text.number, "sms.opted_out")
        return True

    def _turn_page(self, text: Text, line: turn.NumberLine) -> bool:
        with self.store.writing():
            if self.store.note_heard(text.key, turn.stamp(self.clock())):
                body, rest = layout.page(line.rest)
                self.store.keep_number(replace(line, rest=rest))
                self._lay(text.number, body)
        return True

    def _crossed(self, text: Text, before: turn.NumberLine, line: turn.NumberLine) -> bool:
        """An answer that was sent before the present question was: to another one, so not taken for this.

        The question is put again, once; a copy of the answer before it is passed over.
        """
        question = self.store.question_out(text.number)
        if question is None or not hearing.is_answer(text.text) or hearing.read(text.text).kind != "words":
            return False
        sent = self._sent(text)
        if question.handed and sent >= _moment(question.handed) - SLACK:
            return False
        if line.late == question.text:
            return False
        if line.words == before.words and before.heard and sent - _moment(before.heard) <= TWICE:
            return self._once(text, line, "")
        with self.store.writing():
            if self.store.note_heard(text.key, turn.stamp(self.clock())):
                # One that is not handed over yet is still on its way to him.
                again = self._put_again(text.number, question) if question.handed else question.text
                self.store.keep_number(replace(line, late=again))
        return True

    def _put_again(self, number: str, question: turn.QuestionOut) -> int:
        """The question once more, told apart from an answer to it; the text's number."""
        asking = [m for m in self.store.carried(question.text) if m.choices or m.kind == "question"]
        said = layout.said(0, asking[-1], question.tag).text if asking else ""
        told = layout.page(self._say(number, "sms.crossed", question=said))[0]
        return self._lay(number, told, asked=question.asked)

    def _talk(self, text: Text, line: turn.NumberLine, reading: hearing.Reading) -> None:
        """Hand it to the talk, take its turn, and keep what is known of the number."""
        known = self.store.known_as(CHANNEL, text.number)
        role = known.role if known else "rider"
        press, words = self._said(text.number, reading)
        heard = Heard(who=text.number, role=role, press=press, text=words)
        now = self.clock()
        inbox = turn.accept(
            self.store, CHANNEL, text.number, "rider", text.key, heard, now, handle=text.number
        )
        if inbox is not None:
            turn.take(self.store, inbox, now)
        with self.store.writing():
            self.store.keep_number(replace(line, rest=""))

    def _said(self, number: str, reading: hearing.Reading) -> tuple[str, str]:
        """What the talk hears: the button that a tag and a number name, or words."""
        if reading.kind in ("control", "more"):
            return "", turn.read_words(self._language(number)).controls[reading.control or "more"][0]
        if reading.kind == "tagged":
            question = self.store.question_out(number)
            return self._tagged(number, reading, question.tag if question else 0)
        return "", storable(reading.text[:LONGEST])

    def _tagged(self, number: str, reading: hearing.Reading, asked: int) -> tuple[str, str]:
        """An answer that names its question: the button it means; its words where it means none."""
        if reading.tag != asked:
            if reading.sure:  # of a question that has passed, or of none: the present one is put again
                return f"{reading.tag}:", ""
            return "", f"{reading.tag}-{reading.text}"
        shown = self.store.question_of(number, asked)
        found = _pressed(shown, hearing.numbers(reading.text)) if shown else ""
        return (f"{asked}:{found}", "") if found else ("", storable(reading.text[:LONGEST]))

    # --- out --------------------------------------------------------------------------------

    def lay_all(self) -> int:
        """Make texts of what waits in the outbox, number by number; how many."""
        now = self.clock()
        waiting = self.store.numbers_waiting(turn.stamp(now))
        if not waiting:  # as on most passes: nobody else waits for the lock then
            return 0
        with self.store.writing():
            return sum(self._lay_due(number, now) for number in waiting)

    def _lay_due(self, number: str, now: datetime) -> int:
        due = turn.due(self.store, now, channel=CHANNEL, chat=number)
        laid = 0
        for _, group in groupby(sorted(due, key=lambda out: out.inbox or 0), key=lambda out: out.inbox):
            laid += self._lay_group(number, tuple(group), now)
        return laid

    def _lay_group(self, number: str, group: Sequence[turn.Outgoing], now: datetime) -> int:
        """What one turn said to a number, as texts; what costs too much is left out, a stop never is."""
        line = self.store.number_line(number)
        reminders = all(out.priority == "reminder" for out in group)
        if line.opted_out or (reminders and line.reminded):
            return self._give_up(group)
        parts = [layout.said(out.id, out.message, out.asked) for out in group]
        if line.paused and not reminders and parts:
            parts[0] = replace(parts[0], text=self._about(group[0]) + parts[0].text)
        laid, rows = 0, {out.id: out for out in group}
        language = self._language(number)
        stands = tuple(turn.read_words(language).say(key) for key in _BRIEF)
        for text in layout.bundle(parts, stands, ucs2=language in self.wide):
            carried = [rows[row] for row in text.rows]
            laid += self._lay_text(number, text, carried, now)
        kept = self.store.number_line(number)
        self.store.keep_number(replace(kept, paused=False, reminded=kept.reminded or reminders))
        return laid

    def _lay_text(
        self, number: str, text: layout.Texts, carried: Sequence[turn.Outgoing], now: datetime
    ) -> int:
        cost = segments(text.body)
        line = self.store.number_line(number)
        if not text.stop and not allows(self.caps, self._spent(line, now), cost):
            return self._give_up(carried) + self._tell_full(line, now)
        person = self.store.named(carried[0].person)
        self.store.lay_text(
            number, text.body, cost, turn.stamp(now), person=person.id if person else None, asked=text.asked,
            priority=min((out.priority for out in carried), key=_RANK.index), rows=text.rows,
            parts=len(split(text.body).parts),
        )  # fmt: skip
        for row in text.rows:
            self.store.mark_sent(row, turn.stamp(now))
        if text.rest:
            self.store.keep_number(replace(self.store.number_line(number), rest=text.rest))
        return 1

    def _give_up(self, rows: Sequence[turn.Outgoing]) -> int:
        for out in rows:
            self.store.mark_unsent(out.id, None)
        return 0

    def _spent(self, line: turn.NumberLine, now: datetime) -> Spent:
        today = day_of(now)
        return Spent(
            self.store.segments_spent(line.number, line.begun or today),
            self.store.segments_spent(line.number, today),
            self.store.segments_spent(None, today),
        )

    def _tell_full(self, line: turn.NumberLine, now: datetime) -> int:
        """The one last text of a day on which a limit was reached."""
        if line.full == day_of(now):
            return 0
        self.store.keep_number(replace(line, full=day_of(now)))
        key = "sms.full.help" if self.help else "sms.full"
        self._lay_own(line.number, key, help=self.help)
        return 1

    def _about(self, out: turn.Outgoing) -> str:
        """Half a line about what is talked of, after a long silence."""
        if out.case is None:
            return ""
        case = self.store.case(out.case)
        about = ", ".join(x for x in (case.nickname, case.title) if x)
        return f"({about}) " if about else ""

    def _lay_own(self, number: str, key: str, **values: object) -> None:
        self._lay(number, self._say(number, key, **values))

    def _lay(self, number: str, body: str, asked: int = 0) -> int:
        known = self.store.known_as(CHANNEL, number)
        body = layout.written(body, self._language(number) in self.wide)
        at, person = turn.stamp(self.clock()), known.id if known else None
        return self.store.lay_text(number, body, segments(body), at, person=person, asked=asked)

    def _say(self, number: str, key: str, **values: object) -> str:
        return turn.read_words(self._language(number)).say(key, **values)

    def _language(self, number: str) -> str:
        known = self.store.known_as(CHANNEL, number)
        return str(known.settings.get("language", self.language)) if known else self.language

    # --- at the gateway ---------------------------------------------------------------------

    def hand_over_all(self) -> int:
        """Texts to the gateway, stops first. Who was sent many just now waits, unless for a stop."""
        handed = 0
        for text in self.store.texts_to_hand_over():
            if text.priority != "safety" and not self._may_hand(text.number):
                continue
            try:
                # Of a stop it is asked whether it arrived: who did not get it may ride on.
                report = text.priority == "safety"
                self.gateway.hand_over(text.token, text.number, split(text.body), report=report)
            except ValueError as wrong:
                LOG.error("a text to %s cannot go out: %s", self.hashed(text.number), wrong)
                with self.store.writing():
                    self.store.drop_text(text.id)
                continue
            with self.store.writing():
                self.store.mark_handed(text.id, turn.stamp(self.clock()))
            handed += 1
        return handed

    def _may_hand(self, number: str) -> bool:
        return self.store.texts_handed_since(number, turn.stamp(self.clock() - WITHIN)) < QUICK

    def read_results(self) -> None:
        """What became of texts; one that a network refused is told to a mechanic at the case."""
        waiting = self.store.texts_under_way(turn.stamp(self.clock() - ENDS_KNOWN))
        for token, result in self.gateway.results(list(waiting)).items():
            text = waiting[token]
            if result.state == "waiting" or result.state == text.state:
                continue
            with self.store.writing():
                self.store.mark_text(text.id, result.state, result.code)
                if result.state == "failed":
                    self._refused(text.id, result.code)

    def _refused(self, text: int, code: int) -> None:
        """He may have opted out at his network, which told us nothing: no reminder until he writes."""
        number, _ = self.store.text_to(text)
        LOG.warning("the network refused a text to %s (code %s)", self.hashed(number), code)
        self.store.keep_number(replace(self.store.number_line(number), reminded=True))
        turn.tell_holders(self.store, self.store.cases_told_by(text), "sms.refused", turn.stamp(self.clock()))

    # --- clocks -----------------------------------------------------------------------------

    def _sent(self, text: Text) -> datetime:
        """When a text was sent, by our clock: the centre's own may be minutes off.

        The text that took least from the centre's stamp to here tells by how much: no text comes before it is
        sent.
        """
        stamp = _moment(text.stamp)
        return stamp + timedelta(seconds=min(self._delays, default=0.0))

    def _note_delay(self, text: Text) -> None:
        """Remember how long a text took, by two clocks; the newest twenty count."""
        delay = (self.clock() - _moment(text.stamp)).total_seconds()
        self._delays = [*self._delays, delay][-20:]

    def hashed(self, number: str) -> str:
        """A number as logs may show it."""
        return self.store.hashed(number)


_BRIEF = ("stop.brief.running", "stop.brief.riding", "stop.brief.hurt")
_RANK = ("safety", "answer", "reminder")


def _moment(stamp: str) -> datetime:
    return datetime.fromisoformat(stamp).astimezone(UTC)


def _pressed(message: Message, numbers: Sequence[int]) -> str:
    """What the one answer with this number sends back; "" where there is none, or several may be meant."""
    found = [c.press for c in message.choices if c.n in numbers]
    return found[0] if len(numbers) == 1 and len(found) == 1 and not message.many else ""
