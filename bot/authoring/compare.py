"""What two versions of a flow differ in: by part, in the sample conversations, and on the same bikes."""

from __future__ import annotations

import multiprocessing
import os
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from bot.authoring import rehearse, shelf
from bot.authoring.load import Loaded
from bot.authoring.play import Played, play
from bot.authoring.problems import FlowError
from bot.authoring.script import Script
from bot.authoring.simulate import ENDS, End, Outcome
from bot.authoring.stage import Stage

Kind = Literal["added", "gone", "changed"]
Data = Mapping[str, Any]
Keys = tuple[str | int, ...]

PARTS = {
    "causes": "cause", "signs": "sign", "questions": "question", "checks": "check", "access": "access",
    "remedies": "remedy", "stop_rules": "stop rule", "second_looks": "second look", "traits": "trait",
    "cautions": "caution", "tools": "tool", "normal": "normal thing", "false_cures": "false cure",
    "sources": "source",
}  # fmt: skip
HEAD = "flow"
LONGEST = 48  # characters that are shown of a text
NAMES = ("name", "title", "short", "means", "ask", "do", "say", "looks_like")  # what a part is called by


@dataclass(frozen=True)
class Difference:
    """One thing that is otherwise. `part`: what kind of thing; `line`: in the new file, else in the old."""

    kind: Kind
    part: str
    id: str
    what: str
    file: str
    line: int


# --- by part ---------------------------------------------------------------------------------------


def differences(old: Loaded, new: Loaded) -> tuple[Difference, ...]:
    """All that is otherwise, part by part, in the order of the new file; then what is gone."""
    before, after = old.flow.model_dump(mode="json"), new.flow.model_dump(mode="json")
    found: list[Difference] = []
    for part, called in PARTS.items():
        found += _of_part(part, called, before[part], after[part], old, new)
    head = {key for key in (*before, *after) if key not in PARTS}
    for key in sorted(head):
        for path, was, now in _leaves((key,), before.get(key), after.get(key)):
            found.append(_changed(HEAD, path[0], path[1:], was, now, path, new))
    return tuple(found)


def _of_part(
    part: str, called: str, before: Data, after: Data, old: Loaded, new: Loaded
) -> Iterator[Difference]:
    for id in after:
        if id not in before:
            yield Difference("added", called, id, _called(after[id]), *_place((part, id), new))
        else:
            for path, was, now in _leaves((part, id), before[id], after[id]):
                yield _changed(called, id, path[2:], was, now, path, new)
    for id in before:
        if id not in after:
            yield Difference("gone", called, id, _called(before[id]), *_place((part, id), old))


def _called(data: Data) -> str:
    """What a thing is called in the file."""
    return _shown(next((data[key] for key in NAMES if isinstance(data.get(key), str)), ""))


def _changed(
    part: str, id: object, inner: Keys, was: object, now: object, path: Keys, new: Loaded
) -> Difference:
    where = ".".join(map(str, inner))
    what = f"{where}{': ' if where else ''}{_shown(was)} -> {_shown(now)}"
    return Difference("changed", part, str(id), what, *_place(path, new))


def _leaves(path: Keys, was: Any, now: Any) -> Iterator[tuple[Keys, Any, Any]]:
    """Places at which two values differ, as deep as both have the same shape."""
    if was == now:
        return
    if isinstance(was, dict) and isinstance(now, dict):
        for key in dict.fromkeys((*now, *was)):
            yield from _leaves((*path, key), was.get(key), now.get(key))
    elif _is_list_of_parts(was) and _is_list_of_parts(now) and len(was) == len(now):
        for n, (one, other) in enumerate(zip(was, now, strict=True)):
            yield from _leaves((*path, n), one, other)
    else:
        yield path, was, now


def _is_list_of_parts(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(part, dict) for part in value)


def _shown(value: Any) -> str:
    """A value as it is read: a number, a few words, a list of ids, or how many parts."""
    if value is None or value == "" or value == [] or value == {}:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, dict):
        return _shown(_called(value)) if any(key in value for key in NAMES) else ", ".join(map(str, value))
    if isinstance(value, list):
        return f"{len(value)} of them" if _is_list_of_parts(value) else ", ".join(map(_shown, value))
    text = " ".join(str(value).split())
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def _place(path: Keys, loaded: Loaded) -> tuple[str, int]:
    """File and line of a path, or of the nearest thing above it that is written down."""
    data: Any = loaded.merged
    there: list[str | int] = []
    for key in path:
        inside = data.get(key) if isinstance(data, dict) else None
        if isinstance(data, list) and isinstance(key, int) and key < len(data):
            inside = data[key]
        if inside is None:
            break
        there.append(key)
        data = inside
    file, line, _ = loaded.place(tuple(there), key=True) if there else (loaded.own.file, 1, 1)
    return file, line


# --- sample conversations ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sampled:
    """A sample on both versions: how it ends, and whether anything is said otherwise.

    An end is "cannot be played" where the sample names what a version does not have.
    """

    file: str
    old: str
    new: str
    same: bool

    @property
    def ends_otherwise(self) -> bool:
        return self.old != self.new


UNPLAYED = "cannot be played"


def samples_of(old: Loaded, new: Loaded) -> tuple[Path, ...]:
    """The sample conversations of a flow: beside the new file, else beside the old one, else shipped."""
    for loaded in (new, old):
        if found := shelf.samples_near(Path(loaded.own.file)):
            return found
    shipped = shelf.find().samples / new.flow.flow
    return rehearse.samples_of(shipped)


def _end(sample: Script, stage: Stage) -> tuple[str, Played | None]:
    """How a sample ends: the end of the case, stops that stand, what was repaired."""
    try:
        played = play(sample, stage)
    except (FlowError, KeyError, IndexError):
        return UNPLAYED, None
    state = played.end
    parts: list[str] = [state.ended.how if state.ended else "asking"]
    parts += [f"stop {stop.rule}" for stop in state.standing]
    parts += [f"repaired {mended.remedy}" for _, mended in state.mended]
    return ", ".join(parts), played


class Pair:
    """Two versions side by side, and what is played on both."""

    def __init__(self, old: Stage, new: Stage) -> None:
        self.old, self.new = old, new

    def sampled(self, path: Path) -> Sampled:
        """One sample on both."""
        sample = rehearse.read(path)
        (before, was), (after, now) = _end(sample, self.old), _end(sample, self.new)
        same = was is not None and now is not None and _said(was) == _said(now)
        return Sampled(str(path), before, after, same)

    def all_sampled(self, paths: Sequence[Path], processes: int | None = None) -> Iterator[Sampled]:
        """Every sample, in order; shared between the processors where a process can be forked."""
        workers = min(processes or os.cpu_count() or 1, len(paths) // FEW)
        if workers < 2 or "fork" not in multiprocessing.get_all_start_methods():
            yield from map(self.sampled, paths)
            return
        global _pair
        _pair = self  # a forked worker finds it here
        try:
            with multiprocessing.get_context("fork").Pool(workers) as pool:
                yield from pool.imap(_sampled, paths, chunksize=FEW)
        finally:
            _pair = None


FEW = 5  # samples that one process plays before it is given more
_pair: Pair | None = None


def _sampled(path: Path) -> Sampled:
    assert _pair is not None
    return _pair.sampled(path)


def _said(played: Played) -> list[tuple[str, ...]]:
    return [exchange.shown for exchange in played.exchanges]


# --- the same bikes ---------------------------------------------------------------------------------------


def crossed(old: Iterable[Outcome], new: Iterable[Outcome]) -> dict[tuple[End, End], int]:
    """How many bikes ended one way on the old and one way on the new; in the order of `ENDS`."""
    pairs = Counter((was.end, now.end) for was, now in zip(old, new, strict=True))
    return {(was, now): pairs[was, now] for was in ENDS for now in ENDS if pairs[was, now]}


def moved(pairs: Mapping[tuple[End, End], int]) -> int:
    """Bikes that end otherwise."""
    return sum(bikes for (was, now), bikes in pairs.items() if was != now)
