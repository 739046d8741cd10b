"""The book as rows of a spreadsheet and back: every entry, the replaced and the struck ones too."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, get_args

from bot.core.book import Book
from bot.core.book_entries import LINE, Entry, Find, Form, Magnet, Metal, Where
from bot.core.book_terms import ELEMENTS

Row = dict[str, str]
_EVERY = ("number", "written", "replaces", "line", "date", "hours", "km", "note")
_FIND = ("pieces", "form", "metal", "magnet", "biggest_mm", "where", "amount", "photo")
_OF_KIND: dict[str, tuple[str, ...]] = {
    "oil_change": ("oil", "filter", "screen", "found", *_FIND),
    "look": ("cleaned", "found", *_FIND),
    "hours": (),
    "distance": (),
    "meter": ("shows",),
    "odometer": ("shows",),  # in km
    "part": ("what", "price", "currency"),
    "work": ("what", "opened"),
    "ride": ("ridden", "ride"),
    "lab": ("ppm", "on_oil"),
    "note": (),
    "more": _FIND,  # something else that was found at the line above
    "struck": (),
}
COLUMNS = tuple(dict.fromkeys((*_EVERY[:-1], *(c for some in _OF_KIND.values() for c in some), "note")))
_NEEDED = {
    "hours": "hours", "distance": "km", "meter": "shows", "odometer": "shows", "ride": "ridden", "lab": "ppm",
    "struck": "replaces",
}  # fmt: skip
_LIKE = {"hours": "54.5", "km": "1240", "shows": "0", "ridden": "2.5", "ppm": "Fe 45, Cu 12", "replaces": "3"}


@dataclass(frozen=True)
class RowTrouble:
    """What cannot be taken: the row as a spreadsheet counts (the header is 1), the column, what to write."""

    row: int
    column: str
    key: str  # of book.row.<key> or book.table.<key>
    values: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Table:
    """What rows hold. With any trouble the entries are not all there, and none should be written."""

    entries: tuple[Entry, ...]
    troubles: tuple[RowTrouble, ...]


class _Wrong(Exception):
    def __init__(self, column: str, key: str, **values: str) -> None:
        super().__init__(key)
        self.column, self.key, self.values = column, key, tuple(values.items())


# --- to rows ---------------------------------------------------------------------------------


def to_rows(book: Book) -> list[Row]:
    """A row for each entry; what else was found at a line follows in rows of its own."""
    return [row for entry in book.entries for row in _rows(entry)]


def _rows(entry: Entry) -> Iterator[Row]:
    row = dict.fromkeys(COLUMNS, "")
    row |= {"number": str(entry.number), "written": entry.at}
    row["replaces"] = "" if entry.replaces is None else str(entry.replaces)
    if entry.line is None:
        yield row | {"line": "struck"}
        return
    told = entry.line.model_dump()
    found = told.pop("found", None)
    row |= {"line": told.pop("kind"), **{name: _cell(value) for name, value in told.items()}}
    if found is not None:
        row["found"] = "pieces" if found else "nothing"
    first, *others = found or ({},)
    yield row | _find_cells(first)
    for other in others:
        yield dict.fromkeys(COLUMNS, "") | {"line": "more"} | _find_cells(other)


def _find_cells(find: Mapping[str, Any]) -> Row:
    cells = {name: _cell(value) for name, value in find.items() if name not in ("count", "biggest")}
    if find:
        low, high = find["count"]
        cells["pieces"] = f"over {low}" if high is None else _cell((low, high))
        cells["biggest_mm"] = _cell(find["biggest"])
    return cells


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, tuple):
        low, high = map(_cell, value)
        return low if low == high else f"{low} to {high}"
    if isinstance(value, dict):
        return ", ".join(f"{symbol} {_cell(ppm)}" for symbol, ppm in value.items())
    return "" if value is None else str(value).removesuffix(".0") if isinstance(value, float) else str(value)


# --- from rows -------------------------------------------------------------------------------


@dataclass
class _Reader:
    """Rows being read. `numbers`: all that are told. `above`: the entry that a row "more" belongs to."""

    at: str
    numbers: list[int]
    entries: list[Entry] = field(default_factory=list)
    troubles: list[RowTrouble] = field(default_factory=list)
    above: str = ""  # "" for none, "wrong" for one that could not be read

    def read(self, place: int, row: Mapping[str, str]) -> None:
        try:
            self._take(row)
        except _Wrong as wrong:
            self.troubles.append(RowTrouble(place, wrong.column, wrong.key, wrong.values))
            self.above = "wrong"

    def _take(self, row: Mapping[str, str]) -> None:
        kind = _kind(row)
        _no_foreign(row, kind)
        if kind == "more":
            self._more(row)
            return
        self.above = ""
        number = self._number(row)
        replaces = self._replaces(row, number)
        entry = Entry(number, row.get("written", "") or self.at, _line(row, kind), replaces)
        self.entries.append(entry)
        self.above = "found" if getattr(entry.line, "found", None) else ""

    def _more(self, row: Mapping[str, str]) -> None:
        if not self.above:
            raise _Wrong("line", "alone")
        if self.above == "found":
            last = self.entries[-1]
            line = last.line.model_copy(update={"found": (*last.line.found, _find(row))})
            self.entries[-1] = Entry(last.number, last.at, line, last.replaces)

    def _number(self, row: Mapping[str, str]) -> int:
        told = _whole(row, "number")
        if told is None:
            used = {*self.numbers, *(entry.number for entry in self.entries)}
            return max(used, default=0) + 1
        if self.numbers.count(told) > 1:
            raise _Wrong("number", "twice", said=str(told))
        return told

    def _replaces(self, row: Mapping[str, str], number: int) -> int | None:
        told = _whole(row, "replaces")
        if told is not None and (told >= number or told not in self.numbers):
            raise _Wrong("replaces", "replaces", said=str(told))
        return told


def from_rows(rows: Sequence[Mapping[str, str]], at: str = "") -> Table:
    """The entries that rows hold, and what is wrong with each row that cannot be taken.

    Rows count from 2, since the header is row 1; empty ones are passed over. `at`: when lines were
    written that do not say so; lines without a number are numbered on.
    """
    reader = _Reader(at, [told for row in rows if (told := _number_of(row)) is not None])
    for place, row in enumerate(rows, 2):
        if any(cell.strip() for cell in row.values()):
            reader.read(place, row)
    return Table(tuple(reader.entries), tuple(reader.troubles))


def _number_of(row: Mapping[str, str]) -> int | None:
    said = row.get("number", "").strip()
    return int(said) if re.fullmatch(r"[0-9]{1,9}", said) else None


def _kind(row: Mapping[str, str]) -> str:
    said = re.sub(r"[\s-]+", "_", row.get("line", "").strip().casefold())
    if said not in _OF_KIND:
        key = "choice" if said else "needed"
        raise _Wrong("line", key, said=row.get("line", ""), choices=", ".join(_OF_KIND))
    return said


def _no_foreign(row: Mapping[str, str], kind: str) -> None:
    for column in COLUMNS:
        if column not in (*_EVERY, *_OF_KIND[kind]) and row.get(column, "").strip():
            raise _Wrong(column, "foreign")
    needed = _NEEDED.get(kind)
    if needed and not row.get(needed, "").strip():
        raise _Wrong(needed, "missing", like=_LIKE[needed])


def _line(row: Mapping[str, str], kind: str) -> Any:
    if kind == "struck":
        return None
    told: dict[str, Any] = {"kind": kind}
    for column in (*_EVERY[4:], *_OF_KIND[kind]):
        if column in _READ:
            value = _READ[column](row, column)
            told |= {column: value} if value is not None else {}
    if "found" in _OF_KIND[kind]:
        told["found"] = _found(row)
    return LINE.validate_python(told)


def _found(row: Mapping[str, str]) -> tuple[Find, ...] | None:
    said = _choice(row, "found", ("nothing", "pieces"))
    if said == "pieces" or any(row.get(column, "").strip() for column in _FIND):
        if said == "nothing":
            raise _Wrong("found", "choice", said=said, choices="pieces")
        return (_find(row),)
    return () if said else None


def _find(row: Mapping[str, str]) -> Find:
    biggest = _figure(row, "biggest_mm")
    if biggest is not None and biggest <= 0:
        raise _Wrong("biggest_mm", "number", said=row["biggest_mm"])
    count = _count(row)
    return Find(
        form=_choice(row, "form", get_args(Form)) or "",
        count=count if count is not None else (0, None),
        metal=_choice(row, "metal", get_args(Metal)) or "",
        magnet=_choice(row, "magnet", get_args(Magnet)) or "untested",
        biggest=biggest,
        where=_choice(row, "where", get_args(Where)) or "",
        amount=row.get("amount", ""),
        photo=row.get("photo", ""),
    )


# --- cells -----------------------------------------------------------------------------------

_TO = re.compile(r"\s*(?:\bto\b|(?<!e)[-–—])\s*(?=[\d.])")
_NUMBER = re.compile(r"(?:[0-9]{1,15}(?:\.[0-9]*)?|\.[0-9]+)(?:e[+-]?[0-9]{1,2})?")


def _value(said: str) -> float | None:
    """A number of 0 or more, with a decimal point or comma; None when it is none."""
    plain = said.strip().replace(",", ".")
    return float(plain) if _NUMBER.fullmatch(plain) else None


def _figure(row: Mapping[str, str], column: str) -> float | None:
    said = row.get(column, "").strip()
    if not said:
        return None
    value = _value(said)
    if value is None:
        raise _Wrong(column, "number", said=said)
    return value


def _whole(row: Mapping[str, str], column: str) -> int | None:
    value = _figure(row, column)
    if value is not None and value != int(value):
        raise _Wrong(column, "number", said=row[column])
    return None if value is None else int(value)


def _ends(said: str) -> list[float] | None:
    """The two ends of '54.5', '40 to 60' or '40-60'; None when it is none of these."""
    ends = [_value(end) for end in _TO.split(said)]
    known = [end for end in ends if end is not None]
    if len(known) != len(ends) or not 1 <= len(known) <= 2 or known[0] > known[-1]:
        return None
    return [known[0], known[-1]]


def _span(row: Mapping[str, str], column: str) -> tuple[float, float] | None:
    said = row.get(column, "").strip()
    ends = _ends(said) if said else None
    if said and ends is None:
        raise _Wrong(column, "span", said=said)
    return (ends[0], ends[1]) if ends else None


def _count(row: Mapping[str, str]) -> tuple[int, int | None] | None:
    said = row.get("pieces", "").strip().casefold()
    over = re.fullmatch(r"(?:over|more than|>)\s*(\d{1,9})", said)
    ends = _ends(said) if said and not over else None
    if over:
        return (int(over[1]), None)
    if said and (ends is None or any(end != int(end) for end in ends)):
        raise _Wrong("pieces", "count", said=said)
    return (int(ends[0]), int(ends[1])) if ends else None


def _choice(row: Mapping[str, str], column: str, choices: Sequence[str]) -> Any:
    said = row.get(column, "").strip().casefold()
    if said and said not in choices:
        known = ", ".join(choice for choice in choices if choice)
        raise _Wrong(column, "choice", said=row[column].strip(), choices=known)
    return said or None


def _text(row: Mapping[str, str], column: str) -> str:
    return row.get(column, "")


def _date(row: Mapping[str, str], column: str) -> str | None:
    said = row.get(column, "").strip()
    try:
        return date.fromisoformat(said).isoformat() if said else None
    except ValueError:
        raise _Wrong(column, "date", said=said) from None


def _ppm(row: Mapping[str, str], column: str) -> dict[str, float]:
    """'Fe 45, Cu 12'; with a semicolon between them where numbers have a decimal comma."""
    said = row.get(column, "").strip()
    out: dict[str, float] = {}
    for pair in re.split(r"\s*[;,]\s+|\s*;\s*", said):
        symbol, _, figure = pair.strip().partition(" ")
        value = _value(figure)
        if value is None or symbol.casefold() not in ELEMENTS:
            raise _Wrong(column, "ppm", said=pair)
        out[ELEMENTS[symbol.casefold()]] = value
    return out


def _yes(row: Mapping[str, str], column: str) -> bool:
    return bool(_choice(row, column, ("yes", "no")) == "yes")


def _one_of(*choices: str) -> Callable[[Mapping[str, str], str], Any]:
    return lambda row, column: _choice(row, column, choices)


_READ: Mapping[str, Callable[[Mapping[str, str], str], Any]] = {
    "date": _date, "hours": _span, "km": _span, "note": _text, "oil": _text,
    "filter": _one_of("changed", "kept"),
    "screen": _one_of("cleaned", "left"), "cleaned": _one_of("cleaned", "left"), "shows": _figure,
    "what": _text, "price": _figure, "currency": _text, "opened": _yes, "ridden": _span, "ride": _text,
    "ppm": _ppm, "on_oil": _span,
}  # fmt: skip
