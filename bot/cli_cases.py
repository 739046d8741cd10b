"""Commands about cases and their sheets: arguments and printing only."""

from __future__ import annotations

import argparse
import sys
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from bot.cli_files import fresh

if TYPE_CHECKING:
    from bot.record.cases import CaseLine
    from bot.record.store import Store
    from bot.sheets import Handover

COLUMNS = 80


def add(commands: Any, record: Any, refused: type[Exception], db: Any) -> None:
    """The commands below `sumpline case`. `record` opens it, `refused` says that something cannot be done."""
    listing = commands.add_parser("list", help="one line a case, newest first")
    listing.add_argument("--as", dest="who", metavar="NAME", default="", help="only the cases of this rider")
    listing.set_defaults(run=list_cases)
    for name, run, words in (
        ("show", show_case, "the whole sheet of a case"),
        ("sheet", make_sheet, "the sheet for a mechanic, as text, PDF or JSON"),
        ("replay", replay_case, "run a case through today's code"),
    ):
        command = commands.add_parser(name, help=words)
        command.add_argument("id", type=int, metavar="ID", help="the number of the case")
        command.set_defaults(run=run)
        if name == "sheet":
            command.add_argument("--pdf", metavar="FILE", help="write it as a PDF; must not be there yet")
            command.add_argument("--json", metavar="FILE", help="write it as JSON, - to print it")
            command.add_argument("--paper", choices=["a4", "letter"], default="a4", help="of the PDF")
    for command in commands.choices.values():
        db(command)
        command.set_defaults(record=record, refused=refused)


def _record(args: argparse.Namespace) -> AbstractContextManager[Store]:
    opened: AbstractContextManager[Store] = args.record(args, must_exist=True)
    return opened


def list_cases(args: argparse.Namespace) -> int:
    """One line a case, newest first."""
    with _record(args) as store:
        person = store.named(args.who) if args.who else None
        if args.who and person is None:
            raise args.refused(
                f"Nobody called '{args.who}' is in this record; leave --as out to see all cases."
            )
        cases = store.cases_of(person.id) if person else store.all_cases()
        for case in cases:
            print(_case_line(case))
        if not cases:
            print("There are no cases yet.")
    return 0


def _case_line(case: CaseLine) -> str:
    bike, about = case.nickname or "no bike named", case.title or case.complaint
    return f"{case.id:>4}  {case.last[:10]}  {case.rider}, {bike}: {about} ({case.ended or 'open'})"


def replay_case(args: argparse.Namespace) -> int:
    """Run what was heard through today's code; 1 when something goes another way."""
    from bot import turn

    with _record(args) as store:
        store.case(args.id)
        found = turn.replay(store, args.id)
    if found is None:
        print(f"Case {args.id} goes the same way today.")
        return 0
    print(f"Case {args.id} goes another way from entry {found.seq} on:")
    print(f"then: {found.then or 'nothing more'}\nnow:  {found.now or 'nothing more'}")
    return 1


# --- sheets ---------------------------------------------------------------------------------


def show_case(args: argparse.Namespace) -> int:
    """The whole sheet of a case."""
    from bot import sheets
    from bot.reports import text

    with _record(args) as store:
        handover = _gather(store, args.id)
        told = sheets.write_sheet(handover) if handover else _without_flow(store, args.id)
    print(text.wrap(told, COLUMNS))
    return 0


def _gather(store: Store, case: int) -> Handover | None:
    from bot import sheets, turn

    rider = store.person(store.case(case).person)
    desk = turn.lay_desk(store, rider, rider, "terminal")
    return sheets.gather_sheet(store, case, desk, datetime.now(UTC))


def _without_flow(store: Store, case: int) -> str:
    """Before a flow was chosen, there are only the rider's own words."""
    return f'Case {case}: "{store.case(case).complaint}". No flow was chosen yet, so nothing was looked at.'


def make_sheet(args: argparse.Namespace) -> int:
    """The sheet as PDF, as JSON, or both; as text where neither is asked for."""
    if not (args.pdf or args.json):
        return show_case(args)
    for name in (args.pdf, args.json):
        if name and name != "-":
            fresh(name, args.refused)
    with _record(args) as store:
        handover = _gather(store, args.id)
        if handover is None:
            raise args.refused(f"{_without_flow(store, args.id)} There is no sheet of it.")
    if args.pdf:
        _write_pdf(handover, args)
    if args.json:
        _write_json(handover, args)
    return 0


def _write_pdf(handover: Handover, args: argparse.Namespace) -> None:
    from bot import sheets

    try:
        made = sheets.print_sheet(handover, args.paper)
    except ImportError as err:
        raise args.refused("This needs one more package: pip install 'sumpline[paper]'.") from err
    with open(args.pdf, "xb") as file:
        file.write(made)
    print(f"Written to {args.pdf}.", file=sys.stderr if args.json == "-" else sys.stdout)


def _write_json(handover: Handover, args: argparse.Namespace) -> None:
    from bot import sheets

    told = sheets.sheet_as_json(handover)
    if args.json == "-":
        sys.stdout.write(told)
        return
    with open(args.json, "x", encoding="utf-8", newline="") as file:
        file.write(told)
    print(f"Written to {args.json}.")
