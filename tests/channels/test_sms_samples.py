"""Sample conversations over text messages: the same talk to the entry, in few segments, on any phone.

All of the flagship, and of each other flow one in ten. What a rider types goes in as he types it; what the
record holds afterwards is held against the same talk in the core. The clock stands where the sample's does.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import timedelta
from itertools import zip_longest
from pathlib import Path

import pytest

from bot import turn
from bot.authoring import play, rehearse, shelf
from bot.authoring import stage as stages
from bot.authoring.script import Line, Script
from bot.channels.sms import exchange, hearing
from bot.core.segments import is_plain, plain, segments
from bot.core.state import State
from bot.reports import text
from tests.channels.sms_talk import Air
from tests.channels.telegram_rehearsal import Step, lay_given, steps_of, told, unsayable
from tests.record.small_talk import admit

SAMPLES = shelf.find().samples
FILES = rehearse.samples_of(SAMPLES)
READ = rehearse.Rehearsal(text.summary)
GROUPS = 8

# What cannot be texted, beside what cannot be said on any phone, and why.
PHOTO = "a photo: text messages carry none"
FIXED = "'{text}': here the channel answers it, by itself"


def named(path: Path) -> str:
    return str(path.relative_to(SAMPLES).with_suffix(""))


def untextable(script: Script) -> str:
    """Why a sample cannot be played over text messages; "" when it can."""
    for line in script.talk:
        if line.kind in ("you", "mechanic"):
            said = play.heard(line, "")
            if said.file:
                return PHOTO
            if hearing.read(said.text).kind in ("opt_out", "opt_in", "info"):
                return FIXED.format(text=said.text)
    return unsayable(script)


def of_all() -> Iterator[Path]:
    for flow in shelf.find().ids():
        paths = [path for path in FILES if path.parent.name == flow]
        yield from paths if flow == "metal-in-oil" else paths[::10]


LEFT_OUT = {named(path): why for path in of_all() if (why := untextable(rehearse.read(path)))}
PLAYED = [path for path in of_all() if named(path) not in LEFT_OUT]


def by_text(script: Script) -> Script:
    """The sample as the core plays it where each message costs what a text does."""
    head = Line("head", ("sms",), key="channel")
    return replace(script, lines=(head, *(x for x in script.lines if x.key != "channel")))


@dataclass
class Texted:
    """One sample on phones of its own."""

    air: Air
    script: Script
    n: int
    names: dict[str, str] = field(default_factory=dict)  # by number
    cases: list[int] = field(default_factory=list)
    stops: list[str] = field(default_factory=list)

    def play(self) -> list[str]:
        """From what is given to the last line; what is not as in the core, one line each."""
        stage = READ.stage(self.script)
        steps = steps_of(self.script, stage)
        self.air.now = self.script.now
        lay_given(self.air.store, self.script, stage, self.at("rider"), "rider", self.held())
        for step in steps:
            self.say(step)
            self.stops += [m.short for m in step.exchange.messages if m.kind == "stop"]
        return [f"{self.script.file}: {wrong}" for wrong in self.other_entries(steps)]

    def number(self, who: str) -> str:
        return f"+1555{self.n:04}{'1' if who == 'rider' else '2'}"

    def at(self, who: str) -> turn.Address:
        return turn.Address("sms", self.number(who))

    def held(self) -> str:
        """The name of the mechanic who holds it from the start, or ""."""
        if not any(given.kind == stages.HELD for given in self.script.given):
            return ""
        return self.meet("mechanic").name

    def meet(self, who: str) -> turn.Person:
        with self.air.store.writing():
            role = "mechanic" if who == "mechanic" else "rider"
            return self.air.store.meet("sms", self.number(who), who, role, turn.stamp(self.air.now))

    def say(self, step: Step) -> None:
        who, said = step.who, play.heard(step.line, "")
        self.air.now = step.exchange.now
        if who == "mechanic":
            self.seat(self.cases[-1] if self.cases else None)
        # No two texts have one stamp; the clock stands, so the network's runs ahead of it.
        self.air.count += 1
        stamp = turn.stamp(self.air.now + timedelta(seconds=self.air.count))
        self.air.daemon.receive(self.number(who), said.text, stamp)
        self.air.rest()
        person = self.air.store.known_as("sms", self.number(who))
        assert person is not None
        case = self.air.store.current(self.at(who), person.id)
        assert case is not None
        if case not in self.cases:
            self.cases.append(case)

    def seat(self, case: int | None) -> None:
        mechanic, rider = self.meet("mechanic"), self.meet("rider")
        case = case or self.air.store.current(self.at("rider"), rider.id)
        assert case is not None
        if not any(held.case == case for held in self.air.store.held_by(mechanic.id)):
            admit(self.air.store, case, mechanic.id, self.at("mechanic"), self.air.now)

    def other_entries(self, steps: list[Step]) -> Iterator[str]:
        """The first entry of each case in which record and core differ."""
        names = {person.name: who for who in ("rider", "mechanic")
                 if (person := self.air.store.known_as("sms", self.number(who)))}  # fmt: skip
        ends: list[State] = []
        for step in steps:
            goes_on = bool(ends) and step.exchange.before.entries != ()
            ends[-1 if goes_on else len(ends) :] = [step.exchange.after]
        kept = [self.air.store.entries(case) for case in self.cases]
        for record, end in zip_longest(kept, ends, fillvalue=()):
            got = [told(entry, names) for entry in record]
            wanted = [told(entry, {}) for entry in getattr(end, "entries", ())]
            for want, have in zip_longest(wanted, got):
                if want != have:
                    yield f"the core has {want}, the record {have}"
                    return


@pytest.fixture
def air(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Air]:
    monkeypatch.setattr(exchange, "QUICK", 10_000)  # the sample's clock stands between two lines
    with closing(turn.open_record(tmp_path / "record.db")) as store:
        made = Air(store, tmp_path, rehearse.read(PLAYED[0]).now)
        turn.stock(store, turn.stamp(made.now))
        yield made
        made.close()


@pytest.mark.parametrize("group", range(GROUPS))
def test_samples_go_over_text_messages(group: int, air: Air) -> None:
    wrong: list[str] = []
    stops: list[str] = []
    for n, path in list(enumerate(PLAYED))[group::GROUPS]:
        sample = Texted(air, by_text(rehearse.read(path)), n)
        wrong += sample.play()
        stops += sample.stops
    assert wrong == []
    texts = [text for got in air.got.values() for text in got]
    assert texts
    assert [text for text in texts if segments(text) > 3 or not is_plain(text)] == []
    assert stops
    assert [short for short in stops if segments(plain(short)) > 2] == []


def test_what_is_left_out_is_known() -> None:
    assert {why.split(":")[0] for why in LEFT_OUT.values()} <= {
        "a photo", "a code", "an admin", "an empty message", "'help'", "'start'",
        "settings of a case that is not open yet",
    }  # fmt: skip
    assert len(LEFT_OUT) < len(PLAYED) / 10
