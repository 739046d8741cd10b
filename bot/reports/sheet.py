"""What a sheet holds: frozen records of a case, ready to be shown or dumped as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Literal

from bot.core.events import Role
from bot.core.standing import Stale, Standing
from bot.reports.ahead import Ahead
from bot.reports.orders import Order

OTHER = "other"
Hours = tuple[float, float] | None
Strength = Literal["strong", "clear", "weak"]
Held = Literal["", "held", "same", "came-back", "not-proved"]
How = Literal["seen", "measured", "gone_after_repair", "judged", ""]


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
class Speaks:
    """A finding that speaks for or against a cause, and how strongly."""

    finding: str
    strength: Strength


@dataclass(frozen=True)
class SuspectLine:
    """A cause: its standing, how likely it is (0 to 1), whether any look at it was made, and which counts.

    `stale`: why a clean look no longer rules it out. `excluded_by`: the bike's own feature that does.
    `speaks_for`, `speaks_against`: the two or three findings that say most, of the likeliest causes only.
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
    speaks_for: tuple[Speaks, ...] = ()
    speaks_against: tuple[Speaks, ...] = ()


@dataclass(frozen=True)
class TakenUpLine:
    """The bike was gone on with although somebody was hurt: by somebody else, or by him who was hurt."""

    by: Literal["other", "rider"]
    words: str
    voice: Voice


@dataclass(frozen=True)
class StopLine:
    """A stop that was raised. `ran_after`: minutes run after it (None: not told how long).

    `say` is '' where the flow has no words for it: damage of another kind, or a rule of an older flow.
    `person`: it is about a hurt person, and says nothing of the bike.
    `lifted`: by whom and when it was lifted, None while it stands; `looked_at`: what a mechanic looked at
    whose word lifted it.
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
    person: bool = False
    taken_up: tuple[TakenUpLine, ...] = ()
    lifted: Voice | None = None
    looked_at: str = ""

    @property
    def bars_the_bike(self) -> bool:
        """Whether it keeps the bike from running, whoever has it now."""
        given = bool(self.taken_up) and self.taken_up[-1].by == "other"
        return self.stands and "running" in self.bars and not given


@dataclass(frozen=True)
class RepairLine:
    """Work that was done; `unconfirmed`: closing points not answered yes.

    `held`: so far, or `same` (it changed nothing), came back, nothing told yet; "" where it was not asked.
    `fixed`: chance (0 to 1) that nothing is wrong any more, of the last repair while it holds.
    `clean_hours`: running hours without a sign of it, up to the last look, or until it came back.
    `parts_told`: what its parts came to by the word of who did it; None where he named no price.
    """

    name: str
    voice: Voice
    suspicion: bool
    unconfirmed: tuple[str, ...]
    held: Held = ""
    fixed: float | None = None
    clean_hours: float | None = None
    parts_told: float | None = None


@dataclass(frozen=True)
class InHandLine:
    """Work that is begun and not done. `told`: told as done, with its closing list still open.

    `parts_told`: as of a repair.
    """

    name: str
    voice: Voice
    suspicion: bool
    told: bool
    parts_told: float | None


@dataclass(frozen=True)
class AccessLine:
    """Something that was opened in this case, however often, and whether it is open now.

    `opened`: who did it first, and when. `unconfirmed`: closing points that nobody answered yes to when it
    was shut last; () while it is open.
    """

    name: str
    open: bool
    opened: Voice
    times: int
    unconfirmed: tuple[str, ...]


@dataclass(frozen=True)
class PartLine:
    """A part that is in the bike now: by a repair or by closing up, as the work asks for it, or by its book.

    `price`: of one, None when not known. `day`: as YYYY-MM-DD.
    """

    name: str
    quantity: int
    price: float | None
    currency: str
    source: Literal["repair", "closing", "book"]
    for_work: str
    day: str
    hours: Hours


@dataclass(frozen=True)
class WorkLine:
    """Work that the bike's book tells of. `opened`: the engine was opened for it."""

    what: str
    day: str
    hours: Hours
    opened: bool


@dataclass(frozen=True)
class TrendLine:
    """What the pieces in the oil do over the running hours, by the bike's book."""

    words: str
    direction: str


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
    """A photo or file: the `n`-th of its kind that came while `about` was asked ("" for nothing).

    `digest`: under which it is kept, or the name under which it is still on its way.
    """

    kind: str
    n: int
    about: str
    digest: str = ""


@dataclass(frozen=True)
class NoteLine:
    words: str
    file_kind: str
    voice: Voice
    files: tuple[FileLine, ...] = ()


@dataclass(frozen=True)
class VinLine:
    """The number of the frame, and what its check digit says: "none" where it has none.

    `reread`: it was read again because that digit does not fit, and the frame says so all the same.
    """

    text: str
    digit: Literal["right", "wrong", "none"]
    reread: bool = False


@dataclass(frozen=True)
class QueryLine:
    """What a mechanic asked the rider, and what was answered; `answered`: None while it is open."""

    words: str
    asked: Voice
    answer: str
    answered: Voice | None
    files: tuple[FileLine, ...] = ()


@dataclass(frozen=True)
class ConfirmedLine:
    """A cause that a mechanic is sure of, by its name or in his words. `slice`: after how many repairs."""

    cause: str
    words: str
    how: How
    voice: Voice
    slice: int


@dataclass(frozen=True)
class OutcomeLine:
    """How the case came out when it was closed."""

    result: Literal["cause", "not_found", "unlisted"]
    cause: str
    words: str
    how: How
    voice: Voice


@dataclass(frozen=True)
class Facts:
    """Everything that a sheet says. `unlisted`: chance of something not in this list.

    `misfit`: what was found does not fit what the flow knows. Money is in `currency` as of `as_of`.
    `cant`: what could not be done here by the rider's word. `fitted`, `worked`: parts and work, oldest first;
    `book_earlier`: how many such lines of the bike's book are older than those. `holders`: mechanics who hold
    the case.
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
    vin: VinLine | None = None
    cant: tuple[str, ...] = ()
    access: tuple[AccessLine, ...] = ()
    fitted: tuple[PartLine, ...] = ()
    worked: tuple[WorkLine, ...] = ()
    book_earlier: int = 0
    trend: TrendLine | None = None
    holders: tuple[str, ...] = ()
    queries: tuple[QueryLine, ...] = ()
    confirmed: tuple[ConfirmedLine, ...] = ()
    outcome: OutcomeLine | None = None
    in_hand: InHandLine | None = None

    def files(self) -> Iterator[tuple[FileLine, Voice]]:
        """Photos and files with who sent them: of notes, then of answers to a mechanic."""
        for note in self.notes:
            yield from ((file, note.voice) for file in note.files)
        for query in self.queries:
            yield from ((file, query.answered) for file in query.files if query.answered)

    def not_confirmed(self) -> Iterator[tuple[str, str]]:
        """Work and closing point, of what was repaired or shut and is not known to be right; each once."""
        seen = set[str]()
        hands: tuple[RepairLine | AccessLine, ...] = (*self.repairs, *self.access)
        for done in hands:
            for point in done.unconfirmed:
                if point not in seen:
                    seen.add(point)
                    yield done.name, point

    def dump(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return asdict(self)
