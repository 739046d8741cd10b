"""Commands about bikes and their books: arguments and printing only."""

from __future__ import annotations

import argparse
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bot.cli_files import fresh, put_csv

if TYPE_CHECKING:
    from bot.core.desk import BikeCard
    from bot.record.store import Store


def add(commands: Any, record: Any, refused: type[Exception], db: Any) -> None:
    """The commands below `sumpline bike`. `record` opens it, `refused` says that something cannot be done."""
    for name, run, words in (
        ("list", list_bikes, "all bikes with their riders and hours"),
        ("book", show_book, "the whole book of a bike"),
        ("export", export_book, "the book as CSV"),
        ("import", import_book, "lines from a CSV file into the book"),
        ("plot", plot, "the trend of debris as a picture"),
    ):
        command = commands.add_parser(name, help=words)
        if name != "list":
            command.add_argument("name", metavar="BIKE", help="its name")
        if name in ("import", "plot"):
            command.add_argument(
                "file", metavar="FILE", help="the CSV file" if name == "import" else "the PNG"
            )
        if name == "export":
            command.add_argument("file", metavar="FILE", nargs="?", help="where to (default: print it)")
        command.add_argument("--as", dest="who", metavar="NAME", default="", help="whose bike it is")
        db(command)
        command.set_defaults(run=run, record=record, refused=refused)


def _record(args: argparse.Namespace) -> AbstractContextManager[Store]:
    opened: AbstractContextManager[Store] = args.record(args, must_exist=True)
    return opened


def _bike(store: Store, args: argparse.Namespace) -> BikeCard:
    """The bike of that name; with several riders' of one name, his who is named."""
    found = [(who, bike) for who, bike in _bikes(store, args.who)
             if bike.is_called(args.name)]  # fmt: skip
    if len(found) == 1:
        return found[0][1]
    if found:
        raise args.refused(f"{len(found)} riders have a bike called {args.name}; say whose with --as "
                  f"({', '.join(who for who, _ in found)}).")  # fmt: skip
    names = ", ".join(sorted(bike.nickname for _, bike in _bikes(store, args.who))) or "none yet"
    raise args.refused(f"There is no bike called '{args.name}'; bikes here: {names}.")


def _bikes(store: Store, who: str) -> list[tuple[str, BikeCard]]:
    people = [store.person(number) for number in store.riders()]
    return [(p.name, bike) for p in people if who in ("", p.name) for bike in store.bikes_of(p.id)]


def list_bikes(args: argparse.Namespace) -> int:
    """One line a bike."""
    with _record(args) as store:
        for who, bike in _bikes(store, args.who):
            hours = "hours not known" if bike.hours is None else f"{bike.hours:g} h"
            far = f", odometer {sum(bike.shown_km) / 2:g} km" if bike.shown_km else ""
            print(f"{bike.nickname}  {hours}{far}  ({who})")
    return 0


def show_book(args: argparse.Namespace) -> int:
    """Every line that holds, the trend, and what a laboratory said."""
    from bot import turn
    from bot.core.book import intervals
    from bot.core.book_say import say_row
    from bot.core.lab import tell_lab
    from bot.core.trend import judge
    from bot.core.trend_words import numbers, tell

    words = turn.read_words()
    with _record(args) as store:
        kept = turn.read_book(store, _bike(store, args).id)
    for n, row in enumerate(kept.lines, 1):
        print(say_row(n, row, words))
    if looks := intervals(kept):
        trend = judge(looks)
        print(tell(trend, words), numbers(trend, words), sep="\n")
    for line in tell_lab(kept, words):
        print(line)
    if not kept.lines:
        print("Nothing is written in this book yet.")
    return 0


def export_book(args: argparse.Namespace) -> int:
    """Everything that was ever written in it, as CSV."""
    from bot import turn
    from bot.core.book_csv import write_csv
    from bot.core.book_table import to_rows

    with _record(args) as store:
        text = write_csv(to_rows(turn.read_book(store, _bike(store, args).id)))
    put_csv(text, args.file or "", args.refused)
    return 0


def import_book(args: argparse.Namespace) -> int:
    """All lines of a file, or none of them and every mistake by row and column."""
    from bot import books, turn
    from bot.core.book_csv import read_csv, say_row
    from bot.core.book_table import from_rows

    words, now = turn.read_words(), datetime.now(UTC)
    try:
        text = Path(args.file).read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as err:
        raise args.refused(f"{args.file} is not UTF-8 text; save it again as CSV UTF-8.") from err
    rows, wrong = read_csv(text)
    table = from_rows(rows, turn.stamp(now))
    troubles = (*wrong, *table.troubles)
    for trouble in troubles:
        print(say_row(trouble, words))
    if troubles:
        print("Nothing was written: put these right and import the file again.")
        return 1
    with _record(args) as store:
        written, there = books.import_book(store, _bike(store, args).id, table.entries, turn.stamp(now))
    print(f"{written} lines written; {there} were there already.")
    return 0


def plot(args: argparse.Namespace) -> int:
    """The trend as a PNG, and the same in words."""
    from bot import turn

    path = fresh(args.file, args.refused)
    with _record(args) as store:
        picture = turn.picture_of(store, _bike(store, args).id, turn.read_words())
    if picture is None:
        raise args.refused("No trend yet: it takes an oil change with its hours, and what the next one held.")
    try:
        data, line = turn.draw(picture)
    except ImportError as err:
        raise args.refused("This needs one more package: pip install 'sumpline[pictures]'.") from err
    path.write_bytes(data)
    print(f"{line}\nWritten to {path}.")
    return 0
