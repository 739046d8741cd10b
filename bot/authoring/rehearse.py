"""Rehearses sample conversations: says where today's talk differs from what is written, rewrites, saves."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from bot.authoring import lint, shelf
from bot.authoring import script as scripts
from bot.authoring import stage as stages
from bot.authoring.musts import broken
from bot.authoring.play import Exchange, NotRestored, Played, line_of, play
from bot.authoring.problems import FlowError
from bot.authoring.script import PEOPLE, Line, Script
from bot.authoring.stage import Stage
from bot.core import events
from bot.core.events import Entry
from bot.core.flow import Flow

if TYPE_CHECKING:
    from bot.authoring.coverage import Coverage


class UpdateRefused(Exception):
    """Samples may not be rewritten here."""


class NoSamples(Exception):
    """No sample conversation is where one was named."""


# --- what differs ------------------------------------------------------------------------------


def differences(played: Played, flow: Flow) -> list[str]:
    """One line for each exchange that differs from the file, and for each rule that does not hold."""
    return [*_talk_differs(played), *broken(played, flow)]


def _talk_differs(played: Played) -> Iterator[str]:
    wanted: list[Line] = []
    exchanges = list(played.exchanges)
    for line in played.script.talk:
        if line.kind == "bot":
            wanted.append(line)
        elif line.kind in PEOPLE:
            index = next((i for i, x in enumerate(exchanges) if x.line is line), 0)
            yield from _differs(played, wanted, exchanges[index - 1] if index else None)
            wanted = []
    yield from _differs(played, wanted, exchanges[-1] if exchanges else None)


def _differs(played: Played, wanted: list[Line], exchange: Exchange | None) -> Iterator[str]:
    """The first difference between the bot's lines after one exchange and what it said."""
    said = exchange.replies if exchange else ()
    at = exchange.line.n if exchange else 1
    for n in range(max(len(wanted), len(said))):
        if n >= len(said):
            yield _difference(played, wanted[n].n, _addressed(wanted[n], wanted[n].lines[0]), "nothing")
            return
        if n >= len(wanted):
            yield _difference(played, at, "nothing more", _addressed(said[n], said[n].lines[0]))
            return
        if wanted[n].key != said[n].key:
            want, got = (_addressed(line, line.lines[0]) for line in (wanted[n], said[n]))
            yield _difference(played, wanted[n].n, want, got)
            return
        if (found := _first(wanted[n].lines, said[n].lines)) is not None:
            offset, want, got = found
            yield _difference(played, wanted[n].n + offset, want, got)
            return
        at = wanted[n].n + len(wanted[n].lines) - 1


def _addressed(line: Line, text: str) -> str:
    """What is said, with whom it is for where that is not who spoke."""
    return f"to {line.key}: {text}" if line.key else text


def _first(wanted: Sequence[str], got: Sequence[str]) -> tuple[int, str, str] | None:
    """The first line in which two messages differ."""
    for n in range(max(len(wanted), len(got))):
        want = wanted[n].rstrip() if n < len(wanted) else "nothing more"
        have = got[n] if n < len(got) else "nothing more"
        if want != have or (n < len(wanted)) != (n < len(got)):
            return min(n, len(wanted) - 1), want, have
    return None


def _difference(played: Played, line: int, wanted: str, got: str) -> str:
    return f"{played.script.file}:{line}: wanted {wanted!r} got {got!r}"


# --- many files --------------------------------------------------------------------------------


def read(path: Path) -> Script:
    """A script from its file. FlowError, OSError."""
    return scripts.read(path.read_bytes(), str(path))


def samples_of(folder: Path) -> tuple[Path, ...]:
    """The sample conversations in a folder and below, by name."""
    return tuple(sorted(folder.rglob("*.txt")))


def named(names: Sequence[str]) -> tuple[Path, ...]:
    """The samples meant by files, folders, flow files or flow ids; by nothing, all shipped. NoSamples."""
    found: list[Path] = []
    for name in names or [str(shelf.find().samples)]:
        if is_flow_file(name):
            found += _of_flow(Path(name))
            continue
        path = _place_of(name)
        here = (path,) if path.is_file() else samples_of(path)
        if not here:
            raise NoSamples(f"there is no sample conversation in {path}")
        found += here
    return tuple(dict.fromkeys(found))


def is_flow_file(name: str) -> bool:
    """Whether a flow file is named, and not a sample conversation."""
    return Path(name).suffix in (".yaml", ".yml") and Path(name).is_file()


def _of_flow(file: Path) -> tuple[Path, ...]:
    found = shelf.samples_near(file)
    if not found:
        raise NoSamples(
            f"there is no sample conversation of {file} in {shelf.sample_folder(file)}; "
            f"talk with it and keep that: sumpline flow talk {file} --save FILE"
        )
    return found


def _place_of(name: str) -> Path:
    """A file or folder of that name, or the samples of a flow: first of this folder, then shipped ones."""
    here = (Path(name), Path(shelf.SAMPLES, name))
    return next((path for path in here if path.exists()), shelf.find().samples / name)


class Rehearsal:
    """Plays of several files; each flow is read once. `flows`: which flow file a sample is played on,
    where that was said."""

    def __init__(self, summary: stages.Summary, flows: Mapping[Path, Path] | None = None) -> None:
        self.summary = summary
        self.plays: dict[Path, list[Played]] = {}  # by flow file
        self._stages: dict[Path, Stage] = {}
        self._flows = flows or {}

    def flow_file(self, script: Script) -> Path:
        return self._flows.get(Path(script.file)) or stages.find_flow(script)

    def stage(self, script: Script) -> Stage:
        file = self.flow_file(script)
        if file not in self._stages:
            made = stages.set_up(file, self.summary)
            lint.sound(made.loaded)
            self._stages[file] = made
        return self._stages[file]

    def hear(self, path: Path) -> list[str]:
        """Every difference of a file. One that cannot be read or played is a difference too."""
        try:
            script = read(path)
            stage = self.stage(script)
            played = play(script, stage)
        except FlowError as error:
            return [str(p) for p in error.problems]
        except NotRestored as error:
            return [f"{path}:1: {error}"]
        self.plays.setdefault(self.flow_file(script), []).append(played)
        return differences(played, stage.flow)

    def cover(self, all_flows: bool) -> Iterator[str]:
        """What no conversation heard so far would notice, flow by flow, and the figures of the gate.

        `all_flows`: what they share too, as far as no flow's conversations notice it; and then only what
        the gate counts. The author of one flow is shown texts as well.
        """
        from bot.authoring.changes import GROUPS
        from bot.authoring.coverage import COUNTED, cover, cover_shared

        groups = COUNTED if all_flows else GROUPS

        rehearsed = [(played, self._stages[file]) for file, played in self.plays.items()]
        found = []
        for played, stage in rehearsed:
            found.append(cover(played, stage, groups))
            yield from _gate(stage.flow.title, found[-1], found[-1].passes)
        if all_flows:
            shared = cover_shared(rehearsed, groups)
            yield from _gate("what all flows share", shared, shared.passes_with(found))


def _gate(title: str, found: Coverage, passes: bool) -> Iterator[str]:
    yield from map(str, found.survivors)
    yield f"{title}:"
    yield from found.figures
    yield "passes" if passes else "does not pass"


def _rewritten(path: Path, rehearsal: Rehearsal) -> str:
    """What became of a file; what is wrong with it is told when it is played."""
    try:
        return "rewritten" if rewrite(path, rehearsal.stage(read(path))) else "as it was"
    except (FlowError, NotRestored):
        return "not rewritten"


def run(names: Sequence[str], summary: stages.Summary, update: bool = False, coverage: bool = False) -> int:
    """The command: print what differs, or rewrite, or show coverage. 1 when something is wrong."""
    rehearsal = Rehearsal(
        summary, {s: Path(name) for name in names if is_flow_file(name) for s in named([name])}
    )
    wrong = 0
    for path in named(names):
        if update:
            print(f"{path}: {_rewritten(path, rehearsal)}")
        for difference in rehearsal.hear(path):
            print(difference)
            wrong += 1
    played = sum(map(len, rehearsal.plays.values()))
    print(f"{played} sample conversations played, {wrong} differences")
    if coverage and not wrong:
        lines = list(rehearsal.cover(all_flows=not names))
        print("\n".join(lines))
        wrong += "does not pass" in lines
    return int(wrong > 0)


# --- rewriting and saving --------------------------------------------------------------------------


def updated(played: Played) -> Script:
    """The script with the bot's lines of this play; everything else stays as it was written."""
    lines: list[Line] = []
    said = {x.line.n: x.replies for x in played.exchanges}
    for line in played.script.lines:
        if line.kind != "bot":
            lines.append(line)
        if line.kind in PEOPLE:
            lines += said.get(line.n, ())
    return replace(played.script, lines=tuple(lines))


def rewrite(path: Path, stage: Stage) -> bool:
    """Rewrite the talk of a file as it is today; whether that changed it. UpdateRefused in CI."""
    if os.environ.get("CI"):
        raise UpdateRefused(
            "sample conversations are not rewritten in CI; run it at home and read the change"
        )
    script = read(path)
    before = scripts.write(script)
    after = scripts.write(updated(play(script, stage)))
    if after != before:
        path.write_text(after, encoding="utf-8", newline="\n")
    return after != before


def save(entries: Sequence[Entry], stage: Stage, file: str = "saved.txt") -> str:
    """A talk just had as the text of a sample: what was heard, with the bot's lines of today."""
    heads = [Line("head", (stage.flow.flow,), "flow")]
    if entries:
        heads.append(Line("head", (entries[0].at,), "now"))
    said = [e for e in entries if isinstance(e.event, events.WasHeard)]
    known, heads_of_bike = _given(entries)
    talk: list[Line] = []
    for before, entry in zip([None, *said], said, strict=False):
        talk += _pause(before.at if before else entry.at, entry.at)
        talk.append(line_of(entry.event.heard))
    lines = (*heads, *heads_of_bike, Line("blank", ()), *known, *talk)
    text = scripts.write(Script(file, lines))
    if not said:
        return text
    return scripts.write(updated(play(scripts.read(text, file), stage)))


def _given(entries: Sequence[Entry]) -> tuple[list[Line], list[Line]]:
    """What was known before the talk, as given lines, and the bike as a head line."""
    taken = next((e.event for e in entries if isinstance(e.event, events.BikeTaken)), None)
    bike = taken if taken is not None and (taken.traits or taken.hours is not None) else None
    known = [f"trait {trait} = {answer}" for trait, answer in bike.traits.items() if answer] if bike else []
    known += [f"hours: {bike.hours:g}"] if bike and bike.hours is not None else []
    known += ["held: mechanic"] if any(isinstance(e.event, events.CaseHeld) for e in entries) else []
    if not known:
        return [], []
    given = [Line("given", ("",)), *(Line("known", (text,)) for text in known), Line("blank", ())]
    return given, [Line("head", (bike.nickname,), "bike")] if bike else []


def _pause(before: str, after: str) -> list[Line]:
    """The clock line between two times, in whole minutes."""
    gone = datetime.fromisoformat(after) - datetime.fromisoformat(before)
    minutes = int(gone.total_seconds() // 60)
    return [Line("clock", (f"+{minutes} min",))] if minutes > 0 else []
