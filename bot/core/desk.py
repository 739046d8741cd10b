"""What the core is handed for one turn besides the case: words, flows, bikes, settings."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from bot.core import vin
from bot.core.events import BikeTaken
from bot.core.state import State
from bot.core.words import Words

if TYPE_CHECKING:
    from bot.core.book import Book
    from bot.core.flow import Flow
    from bot.core.intervals import Reminded


@dataclass(frozen=True)
class Card:
    """One flow on offer: enough to pick it by a rider's first words."""

    flow: str
    hash: str
    title: str
    riders_say: tuple[str, ...]
    told_as: tuple[str, ...]


@dataclass(frozen=True)
class Past:
    """An earlier case of a bike: what it was about, how it ended, and when (UTC ISO)."""

    title: str
    complaint: str
    ended: str
    at: str


def fold_name(name: str) -> str:
    """Names are the same whatever their case and spacing."""
    return " ".join(name.split()).casefold()


@dataclass(frozen=True)
class BikeCard:
    """A bike of this rider, with what is known of it for good. `past`: the newest earlier case.

    `hours`: in all, over its meters; `shown`, `shown_km`: what the meters showed last, spans. `vin`: its
    frame number.
    """

    id: str
    nickname: str
    traits: Mapping[str, str] = field(default_factory=dict)
    hours: float | None = None
    past: Past | None = None
    shown: tuple[float, float] | None = None
    vin: str = ""
    shown_km: tuple[float, float] | None = None

    def taken(self) -> BikeTaken:
        """A case is about this bike, with all that is known of it."""
        frame = vin.read(self.vin)
        return BikeTaken(
            bike=self.id, nickname=self.nickname, traits=dict(self.traits), hours=self.hours,
            vin=frame.text if frame else self.vin, digit=frame.digit if frame else "none",
        )  # fmt: skip

    def is_called(self, name: str) -> bool:
        return fold_name(self.nickname) == fold_name(name)


ENOUGH = 5  # closed cases of a scope below which nothing is shown of them: one could guess whose they are


@dataclass(frozen=True)
class Tally:
    """How closed cases of a flow came out in one scope: `cases` by cause, "" for one that it does not know.

    `flow`: hash of the version in use there; `author`: of the author's text that its shares go back to;
    `older`: how many of the cases had another version; `group`: what the scope is called, "" for everyone.
    """

    scope: str
    flow: str
    author: str
    cases: Mapping[str, int]
    older: int = 0
    group: str = ""

    @property
    def total(self) -> int:
        return sum(self.cases.values())

    @property
    def is_enough(self) -> bool:
        return self.total >= ENOUGH


def _no_book(bike: str) -> Book:
    from bot.core.book import Book  # not needed for the first line

    return Book()


def _no_code() -> str:
    raise RuntimeError("a desk without codes was handed to a talk that shares a case")


def _english() -> dict[str, str]:
    return {"en": "English"}


def _as_it_is(desk: Desk, language: str) -> Desk:
    return desk


@dataclass(frozen=True)
class Desk:
    """`flows` is by hash and may load on demand. `settings` are the rider's standing ones.

    `summary` writes a case up in short, `whole` with everything, `brief` in three text messages; reports
    are not the core's business, so they are handed in.

    `message_minutes`: what one more message costs the rider on this channel, in minutes.
    """

    words: Words
    cards: tuple[Card, ...]
    flows: Mapping[str, Flow]
    summary: Callable[[Flow, State, datetime], str]
    bikes: tuple[BikeCard, ...] = ()
    settings: Mapping[str, str | float | bool] = field(default_factory=dict)
    message_minutes: float = 2.0
    open_cases: int = 0  # other open cases of the speaker: then the bot names the bike
    whole: Callable[[Flow, State, datetime], str] | None = None
    brief: Callable[[Flow, State, datetime], str] | None = None
    books: Callable[[str], Book] = _no_book  # by the bike's id
    reminded: tuple[Reminded, ...] = ()  # of what the newest message to the speaker reminded him
    zones: Callable[[], Collection[str]] = tuple  # names of the tz database
    outcomes: Callable[[], Sequence[Tally]] = tuple  # for admins: of flows with enough closed cases
    away: Collection[str] = ()  # who of this case cannot be reached now, by name
    code: Callable[[], str] = _no_code  # makes a code that opens this case
    code_days: int = 7  # how long such a code is good
    unused: Callable[[], tuple[str, ...]] = tuple  # until when (UTC ISO) codes are good that nobody used
    languages: Callable[[], Mapping[str, str]] = _english  # what each calls itself, by its code
    speak: Callable[[Desk, str], Desk] = _as_it_is  # the same desk in another language

    def spoken_in(self, language: str) -> Desk:
        """This desk with words and flows in another of its languages."""
        return self.speak(self, language)
