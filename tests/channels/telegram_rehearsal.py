"""A sample conversation rehearsed on phones: the record laid as the sample gives it, then its lines one by
one over the real channel, and what is seen there held against the sample and the same talk in the core.

A line that a button answers may be pressed or typed. Which button that is, is told by what the core reads in
the typed words: so a press must lead to the very entries to which the words lead.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import Any

from bot import turn
from bot.authoring import play
from bot.authoring import stage as stages
from bot.authoring.musts import broken
from bot.authoring.play import Exchange, Played
from bot.authoring.script import Line, Script
from bot.authoring.stage import Stage
from bot.channels.telegram.errands import SAID
from bot.core.answers import read
from bot.core.desk import Desk
from bot.core.events import Entry, Heard
from bot.core.hearing import offer
from bot.core.messages import SIGNALS, Message
from bot.core.offers import Chosen, Control, Ticked
from bot.core.state import State, apply, fold
from bot.core.talk import Talk
from bot.record.keeping import RIDER_SETTINGS
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_running import Running
from tests.record.test_photos import jpeg

CHANNEL = "telegram"
WITHIN = 40.0  # seconds for one turn on a busy machine
DONE = "Done"
LATE = "9999-12-31T00:00:00Z"
IN_LABELS = ("question", "check", "trait", "setting")  # their answers are shown in labels, however they came


# --- what cannot be said on a phone -----------------------------------------------------------


def unsayable(script: Script) -> str:
    """Why a sample cannot be rehearsed on phones; "" when it can."""
    for line in script.talk:
        if line.kind == "admin":
            return "an admin: he talks in a chat of his own, and what he accepts is there for all others"
        said = play.heard(line, "") if line.kind in ("you", "mechanic") else Heard(text="-")
        if said.press:
            return "a press that names an entry of the record: buttons send the number of their message"
        if said.file_kind not in ("", "photo"):
            return f"a {said.file_kind} without content"
        if stages.CODE in said.text:
            return "a code: here it is another one each time"
        if not said.text.strip() and not said.file:
            return "an empty message: the app sends none"
    standing = {g.name for g in script.given if g.kind == "setting"}
    if not stages.opens_case(script) and not standing <= RIDER_SETTINGS:
        return "settings of a case that is not open yet: the record keeps none"
    return ""


# --- the talk as the core has it ------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """One line that is said, its turn in the core, and the lines of the sample that answer it.

    `beside`: the lines for the one who did not speak. `presses`: how the buttons begin that say the same, in
    the order in which they are pressed; `told`: the whole words of these answers.
    """

    exchange: Exchange
    wanted: tuple[str, ...]
    beside: tuple[str, ...] = ()
    presses: tuple[str, ...] = ()
    told: str = ""

    @property
    def line(self) -> Line:
        return self.exchange.line

    @property
    def who(self) -> str:
        return play.who(self.line)


def steps_of(script: Script, stage: Stage) -> list[Step]:
    """The talk in the core, line by line."""
    desk, wanted = stage.desk(script), _written(script)
    asked: dict[str, Message] = {}  # by person: the newest message with buttons
    found = []
    for exchange in play.exchanges_of(script, stage, stages.begin(script, stage)):
        who = play.who(exchange.line)
        open_ = asked.get(who, Message(""))
        presses = _presses(desk, exchange, open_)
        labels = {f"{c.n} ": c.label for c in open_.choices if not c.control}
        told = "; ".join(labels[press] for press in presses if press in labels)
        own, beside = wanted[exchange.line.n]
        found.append(Step(exchange, own, beside, presses, told))
        asked |= {m.to or who: m for m in exchange.messages if m.choices}
    return found


def _written(script: Script) -> dict[int, tuple[tuple[str, ...], tuple[str, ...]]]:
    """The bot's lines of the file by the number of the line that they answer: to who spoke, to the other."""
    found: dict[int, tuple[tuple[str, ...], tuple[str, ...]]] = {}
    at = 0
    for line in script.talk:
        if line.kind == "bot":
            said = tuple(text for raw in line.lines if (text := even(raw)))
            own, beside = found[at]
            found[at] = (own, (*beside, *said)) if line.key else ((*own, *said), beside)
        elif line.kind != "clock":
            at = line.n
            found[at] = ((), ())
    return found


def _presses(desk: Desk, exchange: Exchange, asked: Message) -> tuple[str, ...]:
    """The buttons of the open question that say what the line says; none where only words can."""
    said = play.heard(exchange.line, "")
    talk = Talk(desk, exchange.before, said, exchange.now)
    if said.file or talk.asked is None or exchange.before.ended is not None:
        return ()
    answers = {c.press: f"{c.n} " for c in asked.choices if not c.control}
    reading = read(said.text, offer(talk, talk.asked, asked.choices), desk.words.controls)
    if isinstance(reading, Chosen) and reading.id in answers:
        return (answers[reading.id],)
    if isinstance(reading, Ticked):
        ticked = tuple(begins for id, begins in answers.items() if id in reading.ids)
        return tuple(answers.values())[-1:] if reading.none else (*ticked, DONE)
    if isinstance(reading, Control) and not reading.rest:
        fixed = {c.press: c.label for c in asked.choices if c.control}
        fixed |= {f"control:{name}": f"/{command}" for command, name in SAID.items()}
        return tuple(label for press, label in fixed.items() if press == f"control:{reading.name}")
    return ()


# --- what is given ------------------------------------------------------------------------------


def lay_given(
    store: turn.Store, script: Script, stage: Stage, to: turn.Address, name: str, mechanic: str
) -> None:
    """Put into the record what stands there before the first word. `mechanic`: who holds it, or ""."""
    at, desk = turn.stamp(script.now), stage.desk(script)
    with store.writing():
        person = store.meet(to.channel, to.chat, name, "rider", at)
        for setting in RIDER_SETTINGS & set(desk.settings):
            store.settle(person.id, setting, desk.settings[setting])
        for bike in desk.bikes:
            made = store.make_bike(person.id, bike.nickname, at)
            store.know_traits(made, bike.traits)
            if bike.hours is not None:
                store.read_meter(made, bike.hours, bike.hours, at)
            for page in stages.pages(script):
                store.write_book(made, page.line, page.at)
        if given := stages.begin(script, stage).entries:
            _open_case(store, given, person, to, {"rider": person.name, "mechanic": mechanic})


def _open_case(
    store: turn.Store, given: Sequence[Entry], person: Any, to: turn.Address, names: Mapping[str, str]
) -> None:
    entries = []
    for entry in given:
        event = entry.event
        if event.kind == "bike_taken":
            [bike] = store.bikes_of(person.id)
            event = event.model_copy(update={"bike": bike.id})
        entries.append(replace(entry, who=names[entry.who] or entry.who, event=event))
    at = entries[0].at
    case = store.open_case(person.id, at)
    store.append(case, entries)
    store.keep_line(case, fold(entries), at)
    store.sit_down(case, person.id, to, at)


# --- the play -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shown:
    """What one person saw after one line, and where the case stood then."""

    step: Step
    pressed: bool
    new: tuple[Seen, ...]
    beside: tuple[Seen, ...]  # what the other one saw
    answered: Seen | None  # the question that stood open before, as it looks now
    with_buttons: int  # messages that can be pressed now
    case: int
    entries: int


class Phones:
    """A sample on phones. `first`: whether the first line that buttons can say is pressed; then in turns."""

    def __init__(self, bot: Running, store: turn.Store, script: Script, stage: Stage, first: bool) -> None:
        self.bot, self.store, self.script, self.stage = bot, store, script, stage
        self.turn_to_press = first
        self.people = {"rider": bot.server.person("Robin")}
        self.steps = steps_of(script, stage)
        self.shown: list[Shown] = []

    def play(self) -> None:
        """From what is given to the last line."""
        self.bot.stands = self.script.now
        held = any(given.kind == stages.HELD for given in self.script.given)
        name = self._known(self._meet_mechanic()).name if held else ""
        if held and self.steps[0].who == "mechanic":  # nobody is written to who has never written
            self.people["rider"].start()
            self._rest()
        rider = self.people["rider"]
        at = turn.Address(CHANNEL, str(rider.id))
        lay_given(self.store, self.script, self.stage, at, rider.name, name)
        if held:
            case = self.store.current(at, self._known(rider).id)
            assert case is not None
            self.bot.seat_mechanic(case, self.people["mechanic"].id)
        for step in self.steps:
            self.bot.stands = step.exchange.now
            if step.who not in self.people:
                self.bot.seat_mechanic(self.shown[-1].case, self._meet_mechanic().id)
            self.shown.append(self._turn(self.people[step.who], step))

    def _meet_mechanic(self) -> Person:
        mechanic = self.people["mechanic"] = self.bot.server.person("Mo")
        mechanic.start()
        self._rest()
        return mechanic

    def _turn(self, person: Person, step: Step) -> Shown:
        last = max((seen.message_id for seen in person.sees()), default=0)
        others = [other for other in self.people.values() if other is not person]
        before = {other.id: max((s.message_id for s in other.sees()), default=0) for other in others}
        open_ = next((seen for seen in reversed(person.bot_says()) if seen.rows), None)
        pressed = bool(step.presses) and self.turn_to_press
        self.turn_to_press ^= bool(step.presses)
        if pressed:
            self._press(person, step.presses)
        else:
            self._write(person, step)
        says = person.bot_says()
        new = tuple(seen for seen in says if seen.message_id > last)
        beside = tuple(s for other in others for s in other.bot_says() if s.message_id > before[other.id])
        answered = next((seen for seen in says if open_ and seen.message_id == open_.message_id), None)
        case = self.store.current(turn.Address(CHANNEL, str(person.id)), self._known(person).id)
        assert case is not None
        entries = self.store.value("select count(*) from entries where case_id = ?", case)
        buttons = sum(1 for seen in says if seen.rows)
        return Shown(step, pressed, new, beside, answered, buttons, case, int(entries))

    def _known(self, person: Person) -> Any:
        known = self.store.known_as(CHANNEL, str(person.id))
        assert known is not None
        return known

    def _write(self, person: Person, step: Step) -> None:
        said = play.heard(step.line, "")
        if said.file:
            person.send_photo(jpeg(), caption=said.text)
        else:
            person.say(said.text)
        self._rest()

    def _press(self, person: Person, presses: Sequence[str]) -> None:
        """The buttons of the newest question that begin so, box or no box; or a command of the menu."""
        for begins in presses:
            if begins.startswith("/"):
                person.say(begins)
            else:
                asked = next(seen for seen in reversed(person.bot_says()) if seen.rows)
                [label] = [label for label in asked.labels if unboxed(label).startswith(begins)]
                person.press(asked, label)
            self._rest()

    def _rest(self) -> None:
        """Until the bot has nothing left to do: exact, where waiting for silence would be slow."""
        end = time.monotonic() + WITHIN
        while self.bot.server.pending or self._waiting():
            assert time.monotonic() < end, f"no rest in {WITHIN:g} s\n{self.bot.server.picture()}"
            time.sleep(0.005)

    def _waiting(self) -> bool:
        depths = self.store.depths()
        assert not depths["dead"], self.store.dead_letters()
        return any(depths.values()) or bool(self.store.chats_waiting(CHANNEL, LATE))

    # --- what came of it --------------------------------------------------------------------------

    def differences(self) -> list[str]:
        """One line for each thing that is not as in the sample, or not as in the core."""
        after = (
            f"after line {shown.step.line.n}: {wrong}"
            for shown in self.shown
            for wrong in (*self._other_words(shown), *_other_record(shown))
        )
        found = [*after, *self._other_entries(), *self._rules_broken()]
        return [f"{self.script.file}: {each}" for each in found]

    def _other_words(self, shown: Shown) -> Iterator[str]:
        """The first line that the sample has and the phone does not show there, or the other way."""
        names = [self._known(person).name for person in self.people.values()]
        named = re.compile(rf"\b(rider|mechanic) (?:{'|'.join(map(re.escape, names))})\b")
        held = {f"In the hands of: {self._known(person).name}.": f"In the hands of: {who}."
                for who, person in self.people.items()}  # fmt: skip
        pairs = (("", shown.step.wanted, shown.new), ("beside: ", shown.step.beside, shown.beside))
        for where, wanted, phone in pairs:
            got = [held.get(line, named.sub(r"\1", line)) for seen in phone for line in page(seen)]
            for want, have in zip_longest(wanted, got, fillvalue=""):
                if have not in headed(want):
                    yield f"{where}wanted {want!r}, the phone shows {have!r}"
                    return

    def _other_entries(self) -> Iterator[str]:
        """The first entry of each case in which record and core differ."""
        names = {self._known(person).name: who for who, person in self.people.items()}
        ends: list[State] = []
        for step in self.steps:
            goes_on = bool(ends) and step.exchange.before.entries != ()
            ends[-1 if goes_on else len(ends) :] = [step.exchange.after]
        cases = [self.store.entries(case) for case in dict.fromkeys(shown.case for shown in self.shown)]
        for kept, end in zip_longest(cases, ends, fillvalue=State()):
            got = [told(entry, names) for entry in (kept.entries if isinstance(kept, State) else kept)]
            wanted = [told(entry, {}) for entry in end.entries]
            for want, have in zip_longest(wanted, got):
                if want != have:
                    yield f"the core has {want}, the record {have}"
                    break

    def _rules_broken(self) -> list[str]:
        """The sample's own `must:` and `never:`, held against what was shown and kept."""
        states: dict[int, State] = {}
        exchanges = []
        for shown in self.shown:
            before = after = states.get(shown.case, State())
            for entry in self.store.entries(shown.case)[len(before.entries) : shown.entries]:
                after = apply(after, entry)
            states[shown.case] = after
            messages = tuple(self._message(seen) for seen in (*shown.new, *shown.beside))
            exchanges.append(Exchange(shown.step.line, shown.step.exchange.now, before, messages, after))
        return broken(Played(self.script, State(), tuple(exchanges)), self.stage.flow)

    def _message(self, seen: Seen) -> Message:
        """What was seen, and what waits behind its button for more."""
        receipt = self.store.shown_as(CHANNEL, str(seen.chat.id), str(seen.message_id))
        assert receipt is not None
        parts = [turn.revive_message(part.payload) for part in self.store.sent_with(receipt)]
        return Message("\n".join([seen.text, *seen.labels]), more="\n".join(part.more for part in parts))


def _other_record(shown: Shown) -> Iterator[str]:
    """An answered question must be a record of the answer, and only the open one can be pressed."""
    if shown.with_buttons > 1:
        yield f"{shown.with_buttons} messages can be pressed"
    if not shown.step.told or shown.answered is None:
        return
    record = shown.answered.text.rpartition("\n\n> ")[2]
    asked = shown.step.exchange.before.asked[shown.step.who].what
    as_typed = not shown.pressed and asked not in IN_LABELS and record == even(shown.step.line.text)
    if shown.answered.rows or not (shown.step.told.startswith(record) or as_typed):
        yield f"wanted '> {shown.step.told}' as the record of the answer, the phone shows {record!r}"


# --- reading the phone ------------------------------------------------------------------------------

_BOX = re.compile(r"\[[ x]\] ")
_NUMBERED = re.compile(r"\d+ ")
_LISTED = re.compile(r"1  \S")  # as answers are listed that are too long for buttons


def even(text: str) -> str:
    return " ".join(text.split())


def unboxed(label: str) -> str:
    return _BOX.sub("", label, count=1)


def page(seen: Seen) -> list[str]:
    """The lines of a message with its numbered answers: as they are listed in the text, else as buttons."""
    lines = seen.text.split("\n")
    listed = any(_LISTED.match(line) for line in lines)
    buttons = [unboxed(label) for label in seen.labels if _NUMBERED.match(unboxed(label))]
    return [text for line in (lines if listed else [*lines, *buttons]) if (text := even(line))]


def headed(line: str) -> tuple[str, ...]:
    """How a line of a sample may look on a phone: the signal of its message may stand before it."""
    return (line, *(f"{signal.upper()}: {line}" for signal in SIGNALS))


# --- reading the record ------------------------------------------------------------------------------


def told(entry: Entry, names: dict[str, str]) -> dict[str, Any]:
    """An entry without what may differ: names, the bike's number, a press for words, where a file lies."""
    event = entry.event.model_dump()
    if event["kind"] == "heard":
        event = {"kind": "heard", "file_kind": event["heard"]["file_kind"]}
    elif event["kind"] == "answered":
        event.pop("words")
        if event["form"] == "steps":  # a press says the class, words may say the number
            event.pop("number")
    elif event["kind"] in ("bike_taken", "book_written"):
        event.pop("bike")
    elif event["kind"] in ("noted", "rider_answered"):
        event["file"] = bool(event["file"])
    elif event["kind"] == "asked":
        event["seat"] = names.get(event["seat"], event["seat"])
        if event["what"] == "book":
            event.pop("id")  # the bike's number
    who = names.get(entry.who, entry.who)
    return {"seq": entry.seq, "at": entry.at, "who": who, "role": entry.role, **event}
