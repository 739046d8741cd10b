"""What no sample conversation would notice: the flow is changed in one place and played again.

A flow answers for what stands in its own file and for the shared cautions that it uses. What else all
flows share is noticed when the conversations of any of them notice it.

One change at a time (`changes`). Only conversations that used the changed place are played, from
the exchange that used it first, up to the first difference or broken rule. What each exchange used
is read once; the changes are shared between the processors.
"""

from __future__ import annotations

import json
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from pydantic import ValidationError

from bot.authoring.changes import GROUPS, Change, Data, Group, Path, cautions_named, changes, traced
from bot.authoring.load import Loaded
from bot.authoring.musts import broken
from bot.authoring.play import Exchange, Played, exchanges_of
from bot.authoring.stage import Stage
from bot.core.flow import Flow, read

NONE_MAY_SURVIVE: tuple[Group, ...] = ("caution", "stop rule", "good and bad")
ANSWERS_MAY_SURVIVE = 0.10
COUNTED: tuple[Group, ...] = (*NONE_MAY_SURVIVE, "answer")  # by the gate


@dataclass(frozen=True)
class Survivor:
    """A change that no sample conversation noticed."""

    file: str
    line: int
    column: int
    group: Group
    what: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}: no sample conversation would notice if {self.what}"


@dataclass(frozen=True)
class Coverage:
    """How many changes were tried in each group, and which survived."""

    tried: Mapping[Group, int]
    survivors: tuple[Survivor, ...]

    def survived(self, group: Group) -> int:
        return sum(s.group == group for s in self.survivors)

    @property
    def passes(self) -> bool:
        """No survivor among cautions, stop rules, good and bad; at most a tenth among answers."""
        return self.passes_with(())

    def passes_with(self, others: Iterable[Coverage]) -> bool:
        """The same where answers are counted together with those of others.

        What all flows share is a few questions whose good answers weigh something in one or two flows only.
        """
        none = all(self.survived(group) == 0 for group in NONE_MAY_SURVIVE)
        together = (self, *others)
        tried = sum(each.tried.get("answer", 0) for each in together)
        return none and sum(each.survived("answer") for each in together) <= ANSWERS_MAY_SURVIVE * tried

    @property
    def figures(self) -> tuple[str, ...]:
        """One line a group: how many changes were noticed."""
        counts = [(group, self.tried.get(group, 0)) for group in GROUPS]
        return tuple(f"{group}: {tried - self.survived(group)} of {tried} noticed" for group, tried in counts)


# --- trying them ---------------------------------------------------------------------------------


class Trial:
    """The plays of one flow, what each exchange used, and the changes to try on them."""

    def __init__(self, played: Sequence[Played], stage: Stage, wanted: Callable[[Change], bool]) -> None:
        self.played, self.stage = played, stage
        self.traces = [[traced(x, stage.flow) for x in p.exchanges] for p in played]
        self._data = json.dumps(stage.loaded.merged)  # read back faster than it is copied
        self.changes = [c for c in changes(stage.loaded.merged, stage.flow) if wanted(c)]

    def noticed(self, n: int) -> bool:
        """Whether one of the plays that used the place goes otherwise on the changed flow."""
        change = self.changes[n]
        uses = self._uses(change)
        flow = changed(change, json.loads(self._data)) if uses else self.stage.flow
        if flow is None:
            return True  # what is no flow any more is refused when it is read
        other = self.stage.with_flow(flow)
        once = change.group == "text"
        return any(_differs(play, skip, other, once) for play, skip in uses)

    def _uses(self, change: Change) -> list[tuple[Played, int]]:
        """Plays that used the place, each from its first exchange that did; the shortest rest first.

        A text is read only where it is said: each such exchange is tried by itself.
        """
        found = []
        for play, traces in zip(self.played, self.traces, strict=True):
            used = [(play, n) for n, trace in enumerate(traces) if change.used(trace)]
            found += used if change.group == "text" else used[:1]
        return sorted(found, key=lambda use: len(use[0].exchanges) - use[1])

    def results(self) -> Iterator[tuple[Change, bool]]:
        """Each change with whether it was noticed, in order."""
        return zip(self.changes, self.all_noticed(), strict=True)

    def all_noticed(self) -> list[bool]:
        """One answer a change, in order; shared between the processors where a process can be forked."""
        count = range(len(self.changes))
        workers = min(os.cpu_count() or 1, len(self.changes) // FEW)
        if workers < 2 or "fork" not in multiprocessing.get_all_start_methods():
            return [self.noticed(n) for n in count]
        global _trial
        _trial = self  # a forked worker finds it here; changes are functions and cannot be sent
        try:
            with multiprocessing.get_context("fork").Pool(workers) as pool:
                return pool.map(_noticed, count, chunksize=FEW)
        finally:
            _trial = None


FEW = 20  # changes that are not worth a process of their own
_trial: Trial | None = None


def _noticed(n: int) -> bool:
    assert _trial is not None
    return _trial.noticed(n)


def cover(played: Sequence[Played], stage: Stage, groups: Iterable[Group] = GROUPS) -> Coverage:
    """Try every change that the flow itself answers for, on plays of it that all went as written."""
    wanted = frozenset(groups)
    trial = Trial(played, stage, lambda change: change.group in wanted and _answers_for(stage.loaded, change))
    return _told([(change, trial.stage, noticed) for change, noticed in trial.results()])


def cover_shared(
    rehearsed: Iterable[tuple[Sequence[Played], Stage]], groups: Iterable[Group] = GROUPS
) -> Coverage:
    """Try what stands in the common file on the plays of each flow in turn, until one notices."""
    found: dict[tuple[Group, Path], tuple[Change, Stage, bool]] = {}
    wanted = frozenset(groups)

    def open_yet(stage: Stage, change: Change) -> bool:
        known = found.get((change.group, change.path))
        shared = change.group in wanted and not stage.loaded.is_own(change.path)
        return shared and not (known and known[-1])

    for played, stage in rehearsed:
        trial = Trial(played, stage, partial(open_yet, stage))
        found |= {(c.group, c.path): (c, stage, noticed) for c, noticed in trial.results()}
    return _told(found.values())


def _answers_for(loaded: Loaded, change: Change) -> bool:
    if loaded.is_own(change.path):
        return True
    return change.group == "caution" and change.path[-1] in cautions_named(loaded.own.data)


def _told(results: Iterable[tuple[Change, Stage, bool]]) -> Coverage:
    tried = dict.fromkeys(GROUPS, 0)
    survivors = []
    for change, stage, noticed in results:
        tried[change.group] += 1
        if not noticed:
            survivors.append(_survivor(stage.loaded, change))
    return Coverage(tried, tuple(survivors))


def _survivor(loaded: Loaded, change: Change) -> Survivor:
    return Survivor(*loaded.place(change.path, key=True), change.group, change.what)


def changed(change: Change, data: Data) -> Flow | None:
    """The flow with the change made in `data`; None when it is no flow any more, as lint would say."""
    change.make(data)
    try:
        return read(data)
    except ValidationError:
        return None


def _differs(played: Played, skip: int, stage: Stage, once: bool) -> bool:
    """Play from an exchange that used the place, to the first difference or the end, or `once` only."""
    start = played.exchanges[skip].before if skip else played.start
    again: list[Exchange] = []
    plays = exchanges_of(played.script, stage, start, skip)
    for was in played.exchanges[skip : skip + 1] if once else played.exchanges[skip:]:
        try:
            now = next(plays)
        except (KeyError, IndexError, StopIteration):
            return True  # the talk itself broke on the changed flow
        if now.shown != was.shown:
            return True
        again.append(now)
    if once:
        return False
    whole = Played(played.script, played.start, (*played.exchanges[:skip], *again))
    return bool(broken(whole, stage.flow))
