"""Commands of mechanics: opening a case by a code, and the bench of all that are held."""

from __future__ import annotations

import argparse
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any

from bot.cli_files import put_csv

if TYPE_CHECKING:
    from bot.record.store import Store


def add_open(commands: Any, record: Any, refused: type[Exception], db: Any, now: Any, talk: Any) -> None:
    """`open` below `sumpline case`. `talk` goes on at the terminal with what was said first."""
    command = commands.add_parser("open", help="open a rider's case by the code that he gave you")
    command.add_argument("code", metavar="CODE", help="the code, like ABCD-EF23")
    command.add_argument("--as", dest="who", metavar="NAME", default="", help="who opens it (default: you)")
    db(command)
    now(command)
    command.set_defaults(run=open_case, record=record, refused=refused, talk=talk)


def add_bench(commands: Any, record: Any, refused: type[Exception], db: Any, now: Any, login: Any) -> None:
    """`sumpline bench`. `login`: who is meant when nobody is named."""
    command = commands.add_parser("bench", help="the cases that a mechanic holds, stops first")
    command.add_argument("filter", nargs="*", metavar="FILTER", help="only rows that hold these words")
    command.add_argument("--as", dest="who", metavar="NAME", default="", help="whose bench (default: yours)")
    command.add_argument("--csv", metavar="FILE", default="", help="write it as CSV; - prints it")
    db(command)
    now(command)
    command.set_defaults(run=show_bench, record=record, refused=refused, login=login)


def _record(args: argparse.Namespace) -> AbstractContextManager[Store]:
    opened: AbstractContextManager[Store] = args.record(args, must_exist=True)
    return opened


def open_case(args: argparse.Namespace) -> int:
    """Come in by a code, and go on as the mechanic of that case."""
    from bot import sharing

    code = sharing.code_in(args.code)
    if not code:
        raise args.refused(f"'{args.code}' is no code; one is written like {sharing.LIKE}.")
    with _record(args) as store:
        status: int = args.talk(store, args, f"open {sharing.shown(code)}")
    return status


def show_bench(args: argparse.Namespace) -> int:
    """One line a case, or all of it as CSV."""
    from bot import bench, turn
    from bot.channels.seat import CHANNEL, clock
    from bot.core.spoken import tokens

    words, at = turn.read_words(), turn.stamp(clock(args.now)())
    who = args.who or args.login()
    with _record(args) as store:
        person = store.known_as(CHANNEL, who) or store.named(who)
        if person is None:
            raise args.refused(f"Nobody called '{who}' is in this record; say whose bench with --as.")
        found = bench.rows(store, person.id, at)
    wanted = [word for said in args.filter for word in tokens(said)]
    fit = bench.fitting(found, wanted, words)
    if args.csv:
        put_csv(bench.as_csv(fit), args.csv, args.refused)
        return 0
    for row in fit:
        print(bench.line(row, words))
    if not fit:
        print(words.say("bench.nothing", n=len(found)) if found else words.say("bench.none"))
    return 0
