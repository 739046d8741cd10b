"""Talks imagined bikes through by the real talk, one after the other or on all processors.

A rider in a garage with all tools answers by pressing, as his bike has it (see `imagined.py`), and gives
the bike away when the bot says so. Nothing here depends on which process plays a bike, so the results are
the same whatever their number.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from bot.authoring import script as scripts
from bot.authoring.imagined import Bike, World
from bot.authoring.play import Exchange, grown, line_of
from bot.authoring.script import START, Line, Script
from bot.authoring.stage import BIKE, Said, Stage
from bot.core import curing, events, plan
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.flow import Number
from bot.core.history import ran
from bot.core.state import Asked, State

End = Literal["found", "still_wrong", "handed_over", "otherwise", "endless", "broke"]
ENDS: tuple[End, ...] = ("found", "handed_over", "still_wrong", "otherwise", "endless", "broke")
CAP = 400  # turns after which a talk counts as one without end
MINUTE = timedelta(minutes=1)
NAME = "Goat"
SETTINGS = {"place": "garage", "kit": "special", "minutes_left": "600", "must_ride": "no"}
DECIDED = ("question", "check", "remedy", "park", "hand_over", "second_look")  # what the search comes to
AT_REST = ("none", "pause")  # nothing is asked of the bike, or not while somebody is hurt
PRESSED = {
    "access": "done", "shut": "done", "proof": "done", "second_look": "done", "cure": "cured",
    "remedy": "do", "point": "yes", "after_work": "good", "park": "garage", "hand_over": "yes",
    "confirm": "no", "slip": "no", "bike": BIKE,
}  # fmt: skip


@dataclass(frozen=True)
class Repair:
    """A remedy that was done. `needed`: the causes that it was there for; none, and it was in vain.

    `cause`: which of its causes was thought the likeliest just before.
    """

    remedy: str
    cause: str
    needed: tuple[str, ...]


@dataclass(frozen=True)
class Outcome:
    """How the talk about one bike went. `fault`: what was wrong with it. `how`: the talk's own end.

    `first`: the likeliest cause at the end. `asked`: questions, checks, covers and remedies that were put.
    `stops`: rules that were raised; `gates`: running or riding refused by the odds, with the cause.
    """

    n: int
    fault: tuple[str, ...]
    end: End
    how: str
    minutes: float
    money: float
    turns: int
    messages: int
    first: str
    repairs: tuple[Repair, ...] = ()
    asked: tuple[tuple[str, str], ...] = ()  # (kind, id)
    stops: tuple[str, ...] = ()
    gates: tuple[tuple[str, str], ...] = ()

    @property
    def in_vain(self) -> bool:
        return any(not repair.needed for repair in self.repairs)


# --- one talk ------------------------------------------------------------------------------------


@dataclass
class Talk:
    """The talk about one bike, exchange by exchange. `first`: the first turn, which all bikes share."""

    stage: Stage
    desk: Desk
    bike: Bike
    opening: str
    first: Said
    state: State = field(default_factory=State)
    now: datetime = field(default_factory=lambda: datetime.fromisoformat(START))
    turns: int = 0
    messages: int = 0
    repairs: list[Repair] = field(default_factory=list)
    asked: dict[tuple[str, str], None] = field(default_factory=dict)
    stops: dict[str, None] = field(default_factory=dict)
    gates: dict[tuple[str, str], None] = field(default_factory=dict)

    def exchanges(self, cap: int = CAP) -> Iterator[Exchange]:
        """Until the case is at rest, nothing is asked any more, or the cap is reached."""
        heard = typed(self.opening)
        while True:
            yield self._turn(heard)
            asked = self.state.asked.get("rider")
            if self.state.ended is not None or asked is None or asked.what in AT_REST or self.turns >= cap:
                return
            self._note(asked)
            heard = self._answer(asked)

    def _turn(self, heard: Heard) -> Exchange:
        before, now = self.state, self.now
        turn = self.stage.receive(self.desk, before, heard, now) if self.turns else self.first
        self.turns += 1
        self.messages += len(turn.messages)
        for event in turn.events:
            self._live(event, before)
        self.state = grown(before, turn.events, heard, now)
        self.now += MINUTE
        return Exchange(line_of(heard), now, before, tuple(turn.messages), self.state)

    def _live(self, event: object, before: State) -> None:
        """What an event does to the bike."""
        if isinstance(event, events.Mended_):
            now = plan.beliefs(self.bike.flow, before)
            likeliest = max(event.causes, key=now.of, default="")
            self.repairs.append(Repair(event.remedy, likeliest, tuple(sorted(self.bike.mend(event.remedy)))))
        elif isinstance(event, events.StopRaised):
            self.stops[event.rule] = None
        elif isinstance(event, events.LookRound):
            self.bike.wait()
        if hours := ran(event):
            self.bike.run(hours)

    def _note(self, asked: Asked) -> None:
        """What was put; and, once the search is on, what the odds refuse now."""
        if asked.what in ("question", "check", "access", "remedy"):
            self.asked[asked.what, asked.id] = None
        flow = self.bike.flow
        if asked.what in DECIDED and asked.id not in flow.safety and asked.id not in flow.opening:
            self.gates |= dict.fromkeys(plan.refused(flow, self.state))

    # --- what the rider answers ------------------------------------------------------------------

    def _answer(self, asked: Asked) -> Heard:
        reply = _REPLIES.get(asked.what)
        if reply is not None:
            return reply(self, asked)
        return self._press(asked, PRESSED[asked.what])

    def _press(self, asked: Asked, id: str) -> Heard:
        return typed("", f"{asked.seq}:{id}")

    def _pick_problem(self, asked: Asked) -> Heard:
        return self._press(asked, self.stage.loaded.hash)

    def _tell_trait(self, asked: Asked) -> Heard:
        """Not sure also of what this bike does not have, where the talk cannot know that it has not."""
        if asked.id not in self.bike.traits:
            return self._press(asked, "control:not_sure")
        if not self.bike.is_sure(asked.id, "", self.bike.flow.traits[asked.id].not_sure):
            return self._press(asked, "control:not_sure")
        return self._press(asked, self.bike.traits[asked.id])

    def _tell_setting(self, asked: Asked) -> Heard:
        """What giving up costs is as the flow has it."""
        if asked.id == "giving_up":
            return typed(f"{plan.giving_up(self.desk, self.bike.flow, self.state):g} min")
        return self._press(asked, SETTINGS[asked.id])

    def _tell(self, asked: Asked) -> Heard:
        """An answer to a question or check."""
        ask, part = self.bike.flow.asking(asked.id), f"{self.state.slice}.{self.state.round}"
        if ask.kind == "note":
            return self._press(asked, "done")
        if not self.bike.is_sure(asked.id, part, ask.not_sure):
            return self._press(asked, "control:not_sure")
        said = self.bike.answer(asked.id, self.state)
        if ask.kind == "several" and len(said) != 1:
            order = [*ask.marks, "other"]
            numbers = ", ".join(str(order.index(mark) + 1) for mark in said)
            return typed(numbers) if said else self._press(asked, "none")
        return typed(_inside(ask, said[0])) if isinstance(ask, Number) else self._press(asked, said[0])

    def _do_step(self, asked: Asked) -> Heard:
        return self._press(asked, "have" if asked.id.endswith("/parts") else "done")

    def _let_cure(self, asked: Asked) -> Heard:
        """He waits as long as it takes."""
        ready = curing.until(self.bike.flow, self.state).get(asked.id, self.now)
        self.now = max(self.now, ready)
        return self._press(asked, "cured")

    def _say_held(self, asked: Asked) -> Heard:
        return self._press(asked, "gone" if self.bike.says_gone(self.state.next_seq) else "same")

    def _decide(self, asked: Asked) -> Heard:
        """Of two answers that contradict each other a look is right, else the newer; a damage is named."""
        if asked.id == "conflict":
            ranks = {told.seq: told.event.rank for told in self.state.answers}
            first, second = (ranks.get(int(seq), 0) for seq in asked.extra)
            return self._press(asked, "first" if first > second else "second")
        if asked.id == "change":
            return self._press(asked, asked.extra[0])
        there = [cause for cause in asked.extra if cause in self.bike.wrong]
        return self._press(asked, there[0] if there else "other")

    # --- how it went -----------------------------------------------------------------------------

    def outcome(self, broke: str = "") -> Outcome:
        ended = self.state.ended
        return Outcome(
            self.bike.n, tuple(sorted(self.bike.fault)), "broke" if broke else self._end(),
            broke or (ended.how if ended else self._open()), round(self.state.minutes, 6),
            round(self.state.money, 6), self.turns, self.messages, self._likeliest(), tuple(self.repairs),
            tuple(self.asked), tuple(self.stops), tuple(self.gates),
        )  # fmt: skip

    def _open(self) -> str:
        """What is asked last of a case that has no end."""
        asked = self.state.asked.get("rider")
        return f"{asked.what} {asked.id}".strip() if asked else "none"

    def _end(self) -> End:
        ended = self.state.ended
        if ended is None:
            return "endless" if self.turns >= CAP else "otherwise"
        if ended.how == "handed_over":
            return "handed_over"
        if ended.how not in ("proved", "released"):
            return "otherwise"
        return "found" if self.bike.is_well else "still_wrong"

    def _likeliest(self) -> str:
        if not self.state.hash:
            return ""
        now = plan.beliefs(self.bike.flow, self.state)
        return max(
            ("unlisted", *now.family.causes), key=lambda c: now.unlisted if c == "unlisted" else now.of(c)
        )


_REPLIES: dict[str, Callable[[Talk, Asked], Heard]] = {
    "problem": Talk._pick_problem,
    "trait": Talk._tell_trait,
    "setting": Talk._tell_setting,
    "question": Talk._tell,
    "check": Talk._tell,
    "step": Talk._do_step,
    "cure": Talk._let_cure,
    "held": Talk._say_held,
    "which": Talk._decide,
}


def typed(text: str, press: str = "") -> Heard:
    """What the rider types or presses."""
    return Heard(who="rider", role="rider", channel="terminal", text=text, press=press)


def _inside(ask: Number, label: str) -> str:
    """A number in the middle of a range, with its unit."""
    at = next(n for n, part in enumerate(ask.ranges) if label in (part.step, str(n)))
    low = ask.ranges[at - 1].upto if at else ask.allowed[0]
    high = ask.ranges[at].upto
    middle = ((low or 0.0) + (ask.allowed[1] if high is None else high)) / 2
    return f"{middle:g} {ask.unit}"


# --- many bikes ------------------------------------------------------------------------------------

FEW = 10  # bikes that are played by one process before it is given more
_simulation: Simulation | None = None


class Simulation:
    """All that the bikes of one flow and one seed are played on."""

    def __init__(self, stage: Stage, seed: int) -> None:
        self.stage, self.seed = stage, seed
        self.world = World(stage.flow)
        self.desk = stage.desk(Script("", (Line("head", (NAME,), "bike"),)))
        self.opening = self._opening()
        self.first = stage.receive(self.desk, State(), typed(self.opening), datetime.fromisoformat(START))

    def _opening(self) -> str:
        """The first complaint that tells of nothing which may not be so on this bike; else the first."""
        phrases = self.stage.flow.riders_say
        return next((words for words in phrases if self._tells_nothing(words)), phrases[0])

    def _tells_nothing(self, words: str) -> bool:
        now = datetime.fromisoformat(START)
        turn = self.stage.receive(self.desk, State(), typed(words), now)
        told = [e for e in turn.events if isinstance(e, events.StopRaised)]
        asked = [e.what for e in turn.events if isinstance(e, events.WasAsked)]
        return not told and "confirm" not in asked

    def talk(self, n: int) -> Talk:
        """The talk about the nth bike, from its first word."""
        return Talk(self.stage, self.desk, self.world.bike(self.seed, n), self.opening, self.first)

    def play(self, n: int) -> Outcome:
        """How the talk about the nth bike goes. A fault of the program is an outcome too."""
        talk, broke = self.talk(n), ""
        try:
            for _ in talk.exchanges():
                pass
        except Exception as fault:
            broke = f"{type(fault).__name__}: {fault}"
        return talk.outcome(broke)

    def outcomes(self, bikes: int, processes: int | None = None) -> Iterator[Outcome]:
        """One outcome a bike, in order; shared between the processors where a process can be forked."""
        workers = min(processes or os.cpu_count() or 1, bikes // FEW)
        if workers < 2 or "fork" not in multiprocessing.get_all_start_methods():
            yield from map(self.play, range(bikes))
            return
        global _simulation
        _simulation = self  # a forked worker finds it here
        gc.freeze()  # what is there already is not looked through again in each of them
        try:
            with multiprocessing.get_context("fork").Pool(workers) as pool:
                yield from pool.imap(_played, range(bikes), chunksize=FEW)
        finally:
            _simulation = None
            gc.unfreeze()

    def script(self, n: int) -> Script:
        """The talk about the nth bike as it is read, with what is wrong with the bike above it."""
        talk = self.talk(n)
        wrong = ", ".join(sorted(talk.bike.fault)) or "nothing"
        told = ", ".join(f"{trait} {answer}" for trait, answer in talk.bike.traits.items())
        lines = [Line("comment", (f"# bike {n} of seed {self.seed}: {wrong}{'; ' * bool(told)}{told}",))]
        lines += [Line("head", (self.stage.flow.flow,), "flow"), Line("blank", ("",))]
        labels: dict[str, str] = {}
        with suppress(Exception):  # what went before a fault is shown
            for exchange in talk.exchanges():
                lines += [_as_read(exchange.line, labels), *exchange.replies]
                labels = {c.press: c.label for m in exchange.messages for c in m.choices}
        return Script("", tuple(lines))


def _played(n: int) -> Outcome:
    assert _simulation is not None
    return _simulation.play(n)


_PRESS = re.compile(r"\[press \d+:(\S+)\]")


def _as_read(line: Line, labels: dict[str, str]) -> Line:
    """A press as the label that was pressed."""
    found = _PRESS.fullmatch(line.text)
    return scripts.turn("you", labels.get(found[1], found[1])) if found else line
