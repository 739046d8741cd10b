"""What a sheet holds: frozen records of a case, ready to be shown or dumped as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from bot.core.events import Role
from bot.core.standing import Stale, Standing
from bot.reports.ahead import Ahead
from bot.reports.orders import Order

OTHER = "other"
Hours = tuple[float, float] | None


@dataclass(frozen=True)
class Voice:
    """Who said something, in what role, when (UTC ISO with Z), and at what running hours."""

    who: str
    role: Role
    at: str
    hours: Hours


@dataclass(frozen=True)
class Lost:
    """An earlier value that no longer counts, or one that was taken back."""

    answer: str
    voice: Voice
    taken_back: bool
    short: str = ""


@dataclass(frozen=True)
class FindingLine:
    """What counts as found at one question or check between two repairs.

    `rank`: 4 a mechanic's look, 3 a rider's look, 2 asked, 1 told unprompted, 0 from the bike's book.
    `slice` counts the repairs before it, `round` the second looks. `quiet`: it says no more than that
    nothing was seen there. `short`: the answer in its short form.
    """

    question: str
    answer: str
    rank: int
    voice: Voice
    slice: int
    round: int
    lost: tuple[Lost, ...] = ()
    quiet: bool = False
    short: str = ""


@dataclass(frozen=True)
class LookLine:
    """The look that a standing rests on. `finds_of_10`: of ten such faults it finds so many."""

    question: str
    answer: str
    said: Literal["good", "bad", "other"]
    voice: Voice
    finds_of_10: float


@dataclass(frozen=True)
class SuspectLine:
    """A cause: its standing, how likely it is (0 to 1), whether any look at it was made, and which counts.

    `stale`: why a clean look no longer rules it out. `excluded_by`: the bike's own feature that does.
    """

    name: str
    standing: Standing
    chance: float
    look_made: bool
    look: LookLine | None
    stale: Stale
    excluded_by: str
    remedy: str
    short: str = ""


@dataclass(frozen=True)
class StopLine:
    """A stop that was raised. `ran_after`: minutes run after it (None: not told how long).

    `say` is '' where the flow has no words for it: damage of another kind, or a rule of an older flow.
    """

    kind: Literal["rule", "damage", "older"]
    say: str
    short: str
    bars: tuple[str, ...]
    at: str
    because: tuple[str, ...]
    stands: bool
    lifted_by: str
    ran_after: tuple[float | None, ...]


@dataclass(frozen=True)
class RepairLine:
    """Work that was done; `unconfirmed`: closing points not answered yes."""

    name: str
    voice: Voice
    suspicion: bool
    unconfirmed: tuple[str, ...]


@dataclass(frozen=True)
class LookAgainLine:
    """A second look that is still to come."""

    do: str
    after_minutes: float | None
    after_hours: float | None
    running: str
    basis: str
    from_hours: float | None


@dataclass(frozen=True)
class FileLine:
    """A photo or file: the `n`-th of its kind that came while `about` was asked ("" for nothing)."""

    kind: str
    n: int
    about: str


@dataclass(frozen=True)
class NoteLine:
    words: str
    file_kind: str
    voice: Voice
    files: tuple[FileLine, ...] = ()


@dataclass(frozen=True)
class Facts:
    """Everything that a sheet says. `unlisted`: chance of something not in this list.

    `misfit`: what was found does not fit what the flow knows. Money is in `currency` as of `as_of`.
    """

    title: str
    version: int
    written_at: str
    complaint: str
    bike: str
    hours: Hours
    traits: tuple[tuple[str, str], ...]
    findings: tuple[FindingLine, ...]
    not_sure: tuple[str, ...]
    suspects: tuple[SuspectLine, ...]
    unlisted: float
    unlisted_standing: Standing
    fixed: float
    misfit: bool
    stops: tuple[StopLine, ...]
    repairs: tuple[RepairLine, ...]
    ahead: Ahead
    ended: str
    order: Order
    minutes_spent: float
    money_spent: float
    currency: str
    as_of: str
    looks_again: tuple[LookAgainLine, ...]
    notes: tuple[NoteLine, ...]

    def dump(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return asdict(self)
