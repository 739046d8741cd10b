"""The command line: arguments and printing only; each command calls one function."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from bot import (
    __version__,
    cli_bikes,
    cli_cases,
    cli_flows,
    cli_imagined,
    cli_outcomes,
    cli_publishing,
    cli_sharing,
    cli_words,
)
from bot.cli_files import utf8

if TYPE_CHECKING:
    from bot.channels.seat import Role, Seat
    from bot.record.store import Store

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]

# Nothing else is imported here: `sumpline chat` must not wait for what `flow lint` needs.

CANNOT = 2  # exit status when what was asked cannot be done


class Refused(Exception):
    """What was asked cannot be done; the text is one sentence that says what to do."""


# --- chat -----------------------------------------------------------------------------------


def chat(args: argparse.Namespace) -> int:
    """Talk, for people or for programs."""
    from bot.channels import jsonl, terminal

    source, out = utf8(sys.stdin), utf8(sys.stdout)
    with _record(args) as store:
        _check_flow(store, args.flow)
        if args.jsonl:
            return jsonl.serve(jsonl.Table(_seats(store, args)), source, out)
        return terminal.talk(_seat(store, args, args.who or _login()), source, out, _history(store))


def _talk_on(store: Store, args: argparse.Namespace, first: str) -> int:
    """Say something first, and go on talking if it was taken; if not, that is why the command ends."""
    from bot.channels import terminal
    from bot.channels.seat import Seat, clock

    seat = Seat(store, args.who or _login(), clock=clock(args.now))
    left, said = seat.left(), seat.say(first)
    for out in said:
        if out.message.kind == "error":
            seat.sent(out)
            raise Refused(out.message.text)
    return terminal.talk(seat, utf8(sys.stdin), utf8(sys.stdout), _history(store), (*left, *said))


def _history(store: Store) -> Path:
    return store.path.with_name(store.path.name + ".history")


def _seats(store: Store, args: argparse.Namespace) -> Callable[[str], Seat]:
    """Whose seat a name stands for: one each, kept for the whole talk."""
    known: dict[str, Seat] = {}

    def seat_of(name: str) -> Seat:
        who = name.strip() or args.who or "rider"
        return known.setdefault(who, _seat(store, args, who))

    return seat_of


def _seat(store: Store, args: argparse.Namespace, who: str) -> Seat:
    """`--role` is for who speaks when no name is given; the name 'mechanic' speaks as a mechanic."""
    from bot.channels.seat import Seat, clock

    own = who == (args.who or ("rider" if args.jsonl else who))
    role: Role = args.role if own and args.role else "mechanic" if who == "mechanic" else "rider"
    return Seat(store, who, role, args.flow, clock(args.now))


def _login() -> str:
    import getpass

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "rider"


def _check_flow(store: Store, flow: str) -> None:
    """Refuse a flow that is neither shipped nor published, and say which one may be meant."""
    if not flow:
        return
    from bot.authoring import shelf

    known = {*shelf.find().ids(), *(line.flow for line in store.offered())}
    if flow not in known:
        raise Refused(f"There is no flow '{flow}'{_meant(flow, known)}; flows: {', '.join(sorted(known))}.")


# --- the record -----------------------------------------------------------------------------


def copy_record(args: argparse.Namespace) -> int:
    """A consistent copy of the record, while others go on using it."""
    with _record(args, must_exist=True) as store:
        store.backup(args.file)
    print(f"Copied to {args.file}.")
    return 0


def erase_rider(args: argparse.Namespace) -> int:
    """Take a rider out of the record for good, once the name was typed again."""
    with _record(args, must_exist=True) as store:
        person = store.named(args.name)
        if person is None:
            raise Refused(f"Nobody called '{args.name}' is here; 'sumpline case list' shows who is.")
        if not args.yes and not _confirmed(person.name):
            raise Refused("The name was not typed again, so nothing was erased.")
        store.erase(person.id)
        _history(store).unlink(missing_ok=True)  # it may hold his words, and says not whose they are
    print(f"Erased {person.name}: cases, bikes, messages and pictures. Old backups still hold them.")
    return 0


def _confirmed(name: str) -> bool:
    print(f"This removes {name} and all cases, bikes, messages and pictures of {name} for good.")
    print(f"Type the name again to go on: {name}")
    return sys.stdin.readline().strip() == name


def print_version(args: argparse.Namespace) -> int:
    """The version."""
    print(f"sumpline {__version__}")
    return 0


# --- what commands share ----------------------------------------------------------------------


@contextmanager
def _record(args: argparse.Namespace, must_exist: bool = False) -> Iterator[Store]:
    from bot import turn

    path = Path(args.db or os.environ.get("SUMPLINE_DB") or _own_record()).expanduser()
    if must_exist and not path.exists():
        raise Refused(f"There is no record at {path}; name it with --db, or begin one with 'sumpline chat'.")
    store = turn.open_record(path)
    store.code_days = _code_days()
    try:
        yield store
    finally:
        store.close()


def _code_days() -> int:
    """How long codes are good, by the environment."""
    told = os.environ.get("SUMPLINE_CODE_DAYS", "") or "7"
    if not told.isascii() or not told.isdigit() or not 1 <= int(told) <= 90:
        raise Refused(f"SUMPLINE_CODE_DAYS: '{told}' is not a whole number of days between 1 and 90.")
    return int(told)


def _own_record() -> Path:
    data = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(data, "sumpline", "record.db")


def _meant(word: str, known: Iterable[str]) -> str:
    import difflib

    near = difflib.get_close_matches(word, list(known), n=1)
    return f" (did you mean '{near[0]}'?)" if near else ""


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


# --- serving --------------------------------------------------------------------------------


def serve_telegram(args: argparse.Namespace) -> int:
    """Run the bot, or (--dry-run) say what is in its way."""
    try:
        from bot.channels.telegram import serve, settings
    except ImportError as err:
        raise Refused("This needs one more package: pip install 'sumpline[telegram]'.") from err
    try:
        chosen = settings.gather(os.environ, Path(args.settings) if args.settings else None, args.db or "")
    except settings.SettingsError as wrong:
        _say(wrong.problems)
        return CANNOT
    if not args.dry_run:
        return serve.serve(chosen, sys.stderr)
    import asyncio

    found = asyncio.run(serve.look(chosen))
    _say(found or ["Everything is there; start it without --dry-run."])
    return CANNOT if found else 0


def serve_sms(args: argparse.Namespace) -> int:
    """Run the bot on text messages, or (--dry-run) say what is in its way."""
    from bot.channels.sms import check, serve, settings

    try:
        chosen = settings.gather(os.environ, Path(args.settings) if args.settings else None, args.db or "")
    except settings.SettingsError as wrong:
        return check.refuse(wrong, sys.stdout)
    return serve.look(chosen, sys.stdout) if args.dry_run else serve.serve(chosen, sys.stderr)


def list_letters(args: argparse.Namespace) -> int:
    """What could not be taken or sent."""
    with _record(args, must_exist=True) as store:
        found = store.dead_letters()
    _say(f"{line['kind']} {line['id']}  {line['at']}  {line['fault']}" for line in found)
    if not found:
        print("Nothing was set aside.")
    return 0


def retry_letter(args: argparse.Namespace) -> int:
    """Let what was set aside be tried again."""
    from bot import turn

    with _record(args, must_exist=True) as store, store.writing():
        again = store.revive_letter(args.kind, args.id, turn.stamp(datetime.now(UTC)))
    if not again:
        raise Refused(f"No {args.kind} {args.id} was set aside; 'sumpline letters list' shows what was.")
    print("It will be tried again.")
    return 0


# --- arguments ------------------------------------------------------------------------------


def parser() -> argparse.ArgumentParser:
    """All commands with their options."""
    made = argparse.ArgumentParser(prog="sumpline", description="Roadside and pit diagnosis by text message.")
    commands = made.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _chat_arguments(commands.add_parser("chat", help="talk in the terminal or through a pipe"))
    flow = commands.add_parser("flow", help="check, try and rehearse flows")
    of_flow = flow.add_subparsers(title="commands", metavar="COMMAND", required=True)
    cli_flows.add(of_flow, Refused, _now)
    cli_outcomes.add(of_flow, _record, Refused, _db)
    cli_publishing.add(of_flow, _record, Refused, _db)
    cli_imagined.add(of_flow, Refused)
    case = commands.add_parser("case", help="cases and their sheets")
    of_case = case.add_subparsers(title="commands", metavar="COMMAND", required=True)
    cli_cases.add(of_case, _record, Refused, _db)
    cli_publishing.add_move(of_case, _record, Refused, _db)
    cli_sharing.add_open(of_case, _record, Refused, _db, _now, _talk_on)
    cli_sharing.add_bench(commands, _record, Refused, _db, _now, _login)
    cli_words.add(commands, Refused)
    bike = commands.add_parser("bike", help="bikes and their books")
    cli_bikes.add(
        bike.add_subparsers(title="commands", metavar="COMMAND", required=True), _record, Refused, _db
    )
    _record_arguments(commands)
    serving = commands.add_parser("serve", help="run the bot on a network")
    _serve_arguments(serving.add_subparsers(title="networks", metavar="NETWORK", required=True))
    letters = commands.add_parser("letters", help="what could not be taken or sent")
    _letter_arguments(letters.add_subparsers(title="commands", metavar="COMMAND", required=True))
    version = commands.add_parser("version", help="print the version")
    version.set_defaults(run=print_version)
    return made


def _chat_arguments(chatting: argparse.ArgumentParser) -> None:
    _db(chatting)
    chatting.add_argument("--flow", metavar="ID", default="", help="use this flow, whatever is said first")
    chatting.add_argument("--as", dest="who", metavar="NAME", default="", help="who speaks (default: you)")
    roles = ["rider", "mechanic", "admin"]
    chatting.add_argument("--role", choices=roles, help="in which role (default: rider)")
    _now(chatting)
    chatting.add_argument("--jsonl", action="store_true", help="for programs: one JSON object a line")
    chatting.set_defaults(run=chat)


def _record_arguments(commands: Commands) -> None:
    copying = commands.add_parser("backup", help="copy the record while it is in use")
    copying.add_argument("file", metavar="FILE", help="where to; must not be there yet")
    _db(copying)
    copying.set_defaults(run=copy_record)
    erasing = commands.add_parser("erase", help="remove a rider for good")
    erasing.add_argument("name", metavar="NAME", help="the rider's name")
    erasing.add_argument("--yes", action="store_true", help="do not ask for the name again")
    _db(erasing)
    erasing.set_defaults(run=erase_rider)


def _serve_arguments(networks: Commands) -> None:
    telegram = networks.add_parser("telegram", help="private chats and groups")
    telegram.set_defaults(run=serve_telegram)
    sms = networks.add_parser("sms", help="text messages, through gammu-smsd and a modem")
    sms.set_defaults(run=serve_sms)
    for network in (telegram, sms):
        network.add_argument("--settings", metavar="FILE", help="NAME=value lines, readable by you alone")
        network.add_argument("--dry-run", action="store_true", help="say what is missing, and end")
        _db(network)


def _letter_arguments(commands: Commands) -> None:
    listing = commands.add_parser("list", help="everything that was set aside, with the reason")
    _db(listing)
    listing.set_defaults(run=list_letters)
    again = commands.add_parser("retry", help="let one be tried again")
    again.add_argument("kind", choices=["update", "turn", "message"], help="what it is, as the list says")
    again.add_argument("id", type=int, metavar="ID", help="its number, as the list says")
    _db(again)
    again.set_defaults(run=retry_letter)


def _db(command: argparse.ArgumentParser) -> None:
    command.add_argument("--db", metavar="FILE", help="the record (default: SUMPLINE_DB, or your own)")


def _now(command: argparse.ArgumentParser) -> None:
    command.add_argument("--now", metavar="TIME", help="a time with its zone, instead of the clock")


# --- start ----------------------------------------------------------------------------------


def main(words: list[str] | None = None) -> int:
    """Run one command; its exit status. 2 and one sentence when it cannot be done."""
    args = parser().parse_args(words)
    try:
        return int(args.run(args))
    except BrokenPipeError:  # whoever read has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        return 130
    except Exception as fault:
        sentence = _sentence(fault)
        if sentence is None:
            raise
        print(f"sumpline: {sentence}", file=sys.stderr)
        return CANNOT


def _sentence(fault: Exception) -> str | None:
    """What a person is told, or None for a fault of the program's own."""
    from sqlite3 import Error as DatabaseFault

    from bot.authoring.problems import FlowError
    from bot.channels.seat import Unusable
    from bot.record.opening import RecordError

    if isinstance(fault, Refused | RecordError | FlowError | Unusable):
        return str(fault)
    if isinstance(fault, DatabaseFault):
        return f"The record cannot be used ({fault}); check the disk and who else holds the file."
    if isinstance(fault, OSError) and fault.filename:
        return f"{fault.filename}: {fault.strerror}; name a file that you may read or write."
    return None


if __name__ == "__main__":
    sys.exit(main())
