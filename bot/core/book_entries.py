"""The lines of a bike's book, what was found in the oil among them, and the entries that hold them."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SerializerFunctionWrapHandler,
    TypeAdapter,
    model_serializer,
)

Magnet = Literal["magnetic", "not", "mixed", "untested"]
Metal = Literal["silver", "grey", "dark", "yellow", "copper", "white", "steel", "aluminium", ""]
Form = Literal["flake", "hair", "splinter", "grain", "chunk", "curl", "smear", "plastic", "paste", ""]
Where = Literal["screen", "filter", "plug", "pan", ""]
BROKEN = ("chunk", "splinter", "plastic")
CHUNK_MM = 4.8  # 3/16 in: US Army limit for one steel splinter on a gearbox plug, borrowed


def _rising(span: tuple[float, float]) -> tuple[float, float]:
    if not 0 <= span[0] <= span[1]:
        raise ValueError("a span begins at 0 or above and does not end before it begins")
    return span


def _counted(count: tuple[int, int | None]) -> tuple[int, int | None]:
    low, high = count
    if low < 0 or (high is not None and high < low):
        raise ValueError("a count begins at 0 or above and does not end before it begins")
    return count


def _day(text: str) -> str:
    if datetime.date.fromisoformat(text).isoformat() != text:
        raise ValueError("a date is written YYYY-MM-DD")
    return text


Span = Annotated[tuple[float, float], AfterValidator(_rising)]
Count = Annotated[tuple[int, int | None], AfterValidator(_counted)]  # high None: more than low
Day = Annotated[str, AfterValidator(_day)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)


class Find(_Frozen):
    """One kind of thing found in the oil.

    `count`: washed pieces that can be picked up; paste is not counted. `biggest` in mm. `amount`: how
    much, in the rider's words, where it is no number of pieces ("a pinch"). `photo`: its digest.
    """

    form: Form = ""
    count: Count = (0, None)
    metal: Metal = ""
    magnet: Magnet = "untested"
    biggest: float | None = Field(default=None, gt=0)
    where: Where = ""
    amount: str = ""
    photo: str = ""

    @property
    def chunk(self) -> bool:
        """A piece that broke off: a chunk, a splinter, hard plastic, or anything of more than `CHUNK_MM`."""
        return self.form in BROKEN or (self.biggest or 0) > CHUNK_MM


class _Line(_Frozen):
    """`hours`, `km`: what the meters showed, spans when told as 'about'. `note`: what was not understood."""

    hours: Span | None = None
    km: Span | None = None
    date: Day | None = None
    note: str = ""

    @model_serializer(mode="wrap")
    def _without_empty_km(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """A line without it is written as lines were before there were any with it."""
        told: dict[str, Any] = write(self)
        if told.get("km") is None:
            told.pop("km", None)
        return told


class OilChange(_Line):
    """`found`: None when nothing was said of it, empty when it was clean."""

    kind: Literal["oil_change"] = "oil_change"
    oil: str = ""
    filter: Literal["changed", "kept", ""] = ""
    screen: Literal["cleaned", "left", ""] = ""
    found: tuple[Find, ...] | None = None


class Look(_Line):
    """A look for metal without a change. `cleaned`: whether screen, plug and pan were cleaned after it."""

    kind: Literal["look"] = "look"
    cleaned: Literal["cleaned", "left", ""] = ""
    found: tuple[Find, ...] | None = None


class Hours(_Line):
    kind: Literal["hours"] = "hours"
    hours: Span


class Distance(_Line):
    kind: Literal["distance"] = "distance"
    km: Span


class Meter(_Line):
    """Another hour meter, or one set back; `hours` is what the former one showed last, if told."""

    kind: Literal["meter"] = "meter"
    shows: float = Field(ge=0)


class Odometer(_Line):
    """Another odometer, or one set back; `km` is what the former one showed last, if told."""

    kind: Literal["odometer"] = "odometer"
    shows: float = Field(ge=0)


class Part(_Line):
    kind: Literal["part"] = "part"
    what: str
    price: float | None = Field(default=None, ge=0)
    currency: str = ""


class Work(_Line):
    """Repair or other work. `opened`: whether the engine was opened for it."""

    kind: Literal["work"] = "work"
    what: str
    opened: bool = False


class Ride(_Line):
    """`ridden`: running hours of the ride. `ride`: race, trail, ... as told."""

    kind: Literal["ride"] = "ride"
    ridden: Span
    ride: str = ""


class Lab(_Line):
    """A laboratory report: ppm by symbol of the element. `on_oil`: running hours of that oil."""

    kind: Literal["lab"] = "lab"
    ppm: dict[str, Annotated[float, Field(ge=0)]]
    on_oil: Span | None = None


class Note(_Line):
    kind: Literal["note"] = "note"


Line = Annotated[
    OilChange | Look | Hours | Distance | Meter | Odometer | Part | Work | Ride | Lab | Note,
    Field(discriminator="kind"),
]
LINE: TypeAdapter[Any] = TypeAdapter(Line, config=ConfigDict(defer_build=True))


@dataclass(frozen=True)
class Entry:
    """What was written in the book once, and is never changed.

    `at`: when it was written (UTC ISO). `replaces`: the number of an earlier entry that holds no more;
    with no line, that one is struck out.
    """

    number: int
    at: str
    line: Any  # one of Line, or None
    replaces: int | None = None

    def dump(self) -> str:
        """The line as JSON text; "null" for a strike."""
        text: str = self.line.model_dump_json() if self.line else "null"
        return text


def revive(number: int, at: str, line: str, replaces: int | None = None) -> Entry:
    """An entry from its stored parts. Raises pydantic.ValidationError on foreign text."""
    return Entry(number, at, None if line == "null" else LINE.validate_json(line), replaces)
