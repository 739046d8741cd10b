"""A look after a repair on a bike whose pieces were counted before it.

The flow's strengths speak of bikes at large. Where this bike was counted, its own count says better
how silent a fault that is still there would be (`proof.py`). So for every set of causes in which
something mended is there again, what gathered is weighed as if that were gone, times the factor of
"still wrong" over "fixed". Of a vague count the fewest pieces over the most hours count: nothing is
proved that is not proved in the worst case.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from bot.core.chances import rows_of
from bot.core.evidence import Voice
from bot.core.family import Array, Family, Numbers
from bot.core.findings import ABSENT, Finding, Marked, Shed
from bot.core.flow import Flow
from bot.core.proof import still_wrong_factor


def gathers(flow: Flow, observable: str) -> bool:
    """Whether it gathers while the engine runs."""
    sign = flow.signs.get(observable)
    return sign is not None and sign.gathers is not None


@dataclass(frozen=True)
class Shedding:
    """What the bike shed before the repair, with what was looked through since; `mended` by place."""

    shed: Shed
    mended: tuple[int, ...]

    def factor(self, flow: Flow, family: Family, found: float, hours: float) -> float:
        """P(`found` pieces in `hours` | still wrong) / P(the same | fixed)."""
        own, anyway = self.shed, sheds_anyway(flow, family)
        if found > 0 and anyway <= 0:
            return 1.0
        return still_wrong_factor(found, hours, own.pieces, own.hours, anyway, own.spread)

    def beside(self, family: Family, chance: Array, factor: float) -> Array:
        """The chance of a look for each row, where in some of them something mended is there again."""
        gone = without(family, self.mended)
        return np.where(gone == np.arange(family.rows), chance, chance[gone] * factor)

    def looked(self, found: float, hours: float) -> Shedding:
        """One more look: were the fault still there, its rate would have been counted on."""
        shed = replace(self.shed, pieces=self.shed.pieces + found, hours=self.shed.hours + hours)
        return replace(self, shed=shed)


@lru_cache(maxsize=128)
def without(family: Family, causes: tuple[int, ...]) -> Numbers:
    """For each row the row of the same set without these causes; itself where there is no such row."""
    at = {row.tobytes(): k for k, row in enumerate(family.member) if k != family.unlisted}
    bare = family.member.copy()
    bare[:, list(causes)] = False
    rows = [at.get(row.tobytes(), k) for k, row in enumerate(bare)]
    if family.unlisted >= 0:
        rows[family.unlisted] = family.unlisted
    return np.asarray(rows)


def sheds_anyway(flow: Flow, family: Family) -> float:
    """Pieces per hour of a bike with nothing wrong: at least as many as show its commonest mark."""
    one = rows_of(flow, family, 1.0)
    plain = [name for name, sign in flow.signs.items() if sign.gathers and sign.steps is None]
    return max((-math.log(one.of(name, ABSENT)[family.empty]) for name in plain), default=0.0)


def found(flow: Flow, voices: Iterable[Voice]) -> float | None:
    """How many pieces a look found, the most of a vague count; None when it does not say.

    None of the marks that a rider may tick means no piece at all.
    """
    heard = list(voices)
    claims = [(seen, places) for voice in heard for seen, places in voice.own.items() if gathers(flow, seen)]
    any_seen = any(places != ABSENT for seen, places in claims if flow.signs[seen].steps is None)
    counted = [voice.finding.pieces for voice in heard if voice.finding.pieces is not None]
    low, high = counted[-1] if counted else (0, None)
    if not any_seen and low == 0 and any(_ticked_none(voice.finding) for voice in heard):
        return 0.0
    if not counted:
        return None
    return float(max(low if high is None else high, int(any_seen)))


def _ticked_none(finding: Finding) -> bool:
    value = finding.value
    return isinstance(value, Marked) and not value.marks and not value.partly
