"""Rows of the book as CSV text and back, as spreadsheets write it: commas or semicolons, BOM, quotes."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Iterator, Sequence

from bot.core.book_draft import SHOWN
from bot.core.book_say import cut
from bot.core.book_table import COLUMNS, Row, RowTrouble
from bot.core.words import Words

MARKS = (";", ",", "\t")
NEAR = 0.6  # likeness from which a column's name is taken for a slip of another
_LINES = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_FORMULA = re.compile(r"'*[=+\-@\t\r]")


class _Sheet(list[str]):
    """Takes what a csv writer writes."""

    def write(self, text: str) -> None:
        self.append(text)


def write_csv(rows: Sequence[Row], mark: str = ",") -> str:
    """The book as CSV text with a header."""
    return write_table(COLUMNS, rows, mark)


def write_table(columns: Sequence[str], rows: Sequence[Row], mark: str = ",") -> str:
    """CSV text with a header; what a spreadsheet would run as a formula gets an apostrophe before it."""
    sheet = _Sheet()
    writer = csv.writer(sheet, delimiter=mark, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_guarded(row.get(column, "")) for column in columns] for row in rows)
    return "".join(sheet)


def _guarded(cell: str) -> str:
    return "'" + cell if _FORMULA.match(cell) else cell


def _unguarded(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell[1:]) else cell


def read_csv(text: str) -> tuple[list[Row], tuple[RowTrouble, ...]]:
    """The rows of CSV text by column, row 2 first, empty ones too; or what is wrong with the file."""
    plain = text.removeprefix("\ufeff")
    head = plain.split("\n", 1)[0]
    mark = max(MARKS, key=head.count)
    told, troubles = _cells(plain, mark)
    names = [_name(cell) for cell in told[0]] if told else []
    troubles += _wrong_names(names, told[0] if told else [])
    for place, cells in enumerate(told[1:], 2):
        if any(cells[len(names) :]):
            troubles.append(RowTrouble(place, "", "ragged", (("mark", mark),)))
    if troubles:
        return [], tuple(troubles)
    return [dict(zip(names, map(_unguarded, cells), strict=False)) for cells in told[1:]], ()


def _cells(plain: str, mark: str) -> tuple[list[list[str]], list[RowTrouble]]:
    told: list[list[str]] = []
    try:
        told += csv.reader((match.group() for match in _LINES.finditer(plain)), delimiter=mark, strict=True)
    except csv.Error:
        place = len(told) + 1
        return told, [RowTrouble(place, "", "broken", (("row", str(place)),))]
    return told, []


def _name(cell: str) -> str:
    return re.sub(r"[\s-]+", "_", cell.strip().casefold())


def _wrong_names(names: Sequence[str], told: Sequence[str]) -> list[RowTrouble]:
    if not set(names) & set(COLUMNS):
        return [RowTrouble(1, "", "no_header")]
    missing = [] if "line" in names else [RowTrouble(1, "line", "no_header")]
    return [*_unknown(names, told), *missing]


def _unknown(names: Sequence[str], told: Sequence[str]) -> Iterator[RowTrouble]:
    for i, name in enumerate(names):
        if name in COLUMNS and name not in names[:i]:
            continue
        if name in COLUMNS:
            yield RowTrouble(1, told[i], "twice", (("said", told[i]),))
            continue
        near = difflib.get_close_matches(name, COLUMNS, 1, NEAR)
        if near:
            yield RowTrouble(1, told[i], "unknown", (("said", told[i]), ("near", near[0])))
        else:
            yield RowTrouble(1, told[i], "unknown.none", (("said", told[i]), ("choices", ", ".join(COLUMNS))))


def say_row(trouble: RowTrouble, words: Words) -> str:
    """The row, the column and what to write instead."""
    values = {name: cut(value, SHOWN if name == "said" else 300) for name, value in trouble.values}
    of_table = trouble.row == 1 or trouble.key in ("ragged", "broken")
    said = words.say(f"book.{'table' if of_table else 'row'}.{trouble.key}", **values)
    if of_table and trouble.key != "ragged":
        return said
    return words.say("book.row", row=trouble.row, column=trouble.column or "-", what=said)
