"""What is offered with a question, and the forms that a reply to it can take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["one", "several", "graded", "number", "look", "pick", "confirm", "name", "done"]


@dataclass(frozen=True)
class Offered:
    """One answer: `words` are further ways to say it while its question is open."""

    id: str
    label: str
    short: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Offer:
    """What was offered, in the order it was numbered.

    `unit`, `allowed`: of a number (or a graded amount). `upto`: the largest amount of each graded
    step, None for an open one. `none_of_these` is numbered after the marks of `several`.
    """

    kind: Kind
    answers: tuple[Offered, ...] = ()
    unit: str | None = None
    allowed: tuple[float, float] | None = None
    upto: tuple[float | None, ...] = ()
    none_of_these: Offered | None = None

    @property
    def numbered(self) -> tuple[Offered, ...]:
        """All that bears a number."""
        return (*self.answers, self.none_of_these) if self.none_of_these else self.answers


@dataclass(frozen=True)
class Chosen:
    """One answer."""

    id: str


@dataclass(frozen=True)
class Ticked:
    """The marks ticked; `none` when "none of these" was said."""

    ids: frozenset[str]
    none: bool = False


@dataclass(frozen=True)
class Measured:
    """A number or a span of it, in the offer's unit."""

    low: float
    high: float


@dataclass(frozen=True)
class Spanned:
    """The graded steps that a vague amount covers, two or more."""

    ids: tuple[str, ...]


@dataclass(frozen=True)
class Control:
    """A control word and what was said after it."""

    name: str
    rest: str = ""


@dataclass(frozen=True)
class OutOfRange:
    """A measurement outside what is possible, in the offer's unit."""

    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class WrongUnit:
    """A measurement in a unit that measures something else than was asked ("" for a count)."""

    said: str
    wanted: str


@dataclass(frozen=True)
class Ambiguous:
    """Answers that are equally near to what was said."""

    ids: tuple[str, ...]


@dataclass(frozen=True)
class Sweeping:
    """A bare "all" where many marks are offered: too easily typed to tick each of them."""

    marks: int


@dataclass(frozen=True)
class Unclear:
    """Nothing that was offered."""


Reading = (
    Chosen | Ticked | Measured | Spanned | Control | OutOfRange | WrongUnit | Ambiguous | Sweeping | Unclear
)
