"""The command line: arguments and printing only; each command calls one function."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from bot import __version__, cli_bikes, cli_cases, cli_imagined, cli_outcomes, cli_sharing

if TYPE_CHECKING:
    from bot.authoring.load import Loaded
    from bot.authoring.problems import Problem
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

    source, out = _utf8(sys.stdin), _utf8(sys.stdout)
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
    return terminal.talk(seat, _utf8(sys.stdin), _utf8(sys.stdout), _history(store), (*left, *said))


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


# --- flows ----------------------------------------------------------------------------------


def lint_flows(args: argparse.Namespace) -> int:
    """Print every problem of the files; 1 when one of them keeps a flow from being used."""
    from bot.authoring import problems

    files = _files(args.files)
    found = sorted({problem for path in files for problem in _judge(path)})
    if args.json:
        _say(problems.as_json(p) for p in found)
    elif found:
        texts = {p.file: Path(p.file).read_bytes().decode("utf-8", "replace") for p in found}
        print(problems.show_all(found, texts))
    else:
        print(f"No mistakes found in {len(files)} file{'s' * (len(files) != 1)}.")
    return int(any(p.stops for p in found))


def _judge(path: Path) -> tuple[Problem, ...]:
    from bot.authoring import lint, load, problems, shelf

    if path.stem != shelf.COMMON:
        return lint.judge(path)
    try:
        load.load_common(path)
    except problems.FlowError as error:
        return error.problems
    return ()


def print_schema(args: argparse.Namespace) -> int:
    """JSON Schema of a flow file, or of the common file, for editors."""
    import json

    from bot.authoring import schema

    print(json.dumps(schema.schema(args.common), indent=2, ensure_ascii=False))
    return 0


def try_flow(args: argparse.Namespace) -> int:
    """Talk with a flow that is being written, in a record that is thrown away."""
    import tempfile

    from bot import turn
    from bot.authoring import load
    from bot.channels import seat, terminal

    loaded = load.load(_there(args.file))
    with tempfile.TemporaryDirectory() as folder, closing(turn.open_record(f"{folder}/trial.db")) as store:
        turn.lay_out(store, *_texts(loaded), "everyone", datetime.now(UTC))
        trial = seat.Seat(store, "rider", flow=loaded.flow.flow, clock=seat.clock(args.now))
        status = terminal.talk(trial, _utf8(sys.stdin), _utf8(sys.stdout))
        return _save(store, trial, loaded, args.save) if args.save else status


def _texts(loaded: Loaded) -> tuple[str, str]:
    return loaded.own.text, loaded.shared.text if loaded.shared else ""


def _save(store: Store, trial: Seat, loaded: Loaded, target: str) -> int:
    """Write the talk just had as a sample conversation; never over one that is there."""
    from bot.authoring import rehearse, stage
    from bot.reports import text

    standing = trial.standing()
    if standing is None:
        raise Refused("Nothing was said, so there is no talk to save.")
    sample = rehearse.save(store.entries(standing.case), stage.set_up(loaded, text.summary), target)
    with open(target, "x", encoding="utf-8") as file:
        file.write(sample)
    print(f"Saved as {target}; now add by hand what must and must never happen.")
    return 0


def rehearse_flows(args: argparse.Namespace) -> int:
    """Play sample conversations; 1 when one goes another way or breaks its own rules."""
    from bot.authoring import rehearse
    from bot.reports import text

    try:
        return rehearse.run(args.files, text.summary, update=args.update, coverage=args.coverage)
    except (rehearse.NoSamples, rehearse.UpdateRefused) as wrong:
        raise Refused(f"{str(wrong)[:1].upper()}{str(wrong)[1:]}.") from wrong


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


def _there(name: str) -> Path:
    path = Path(name)
    if not path.is_file():
        raise Refused(f"There is no file {name}; name a flow file that is there.")
    return path


def _files(names: list[str]) -> list[Path]:
    """The named files, or every flow that is shipped."""
    from bot.authoring import shelf

    return [_there(name) for name in names] or sorted(shelf.find().flows.glob("*.yaml"))


def _meant(word: str, known: Iterable[str]) -> str:
    import difflib

    near = difflib.get_close_matches(word, list(known), n=1)
    return f" (did you mean '{near[0]}'?)" if near else ""


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


def _utf8(stream: TextIO) -> TextIO:
    """The stream with UTF-8 whatever the machine's habit; what cannot be read or shown is replaced."""
    if isinstance(stream, TextIOWrapper):
        stream.reconfigure(encoding="utf-8", errors="replace")
    return stream


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
    _flow_arguments(flow.add_subparsers(title="commands", metavar="COMMAND", required=True))
    case = commands.add_parser("case", help="cases and their sheets")
    of_case = case.add_subparsers(title="commands", metavar="COMMAND", required=True)
    cli_cases.add(of_case, _record, Refused, _db)
    cli_sharing.add_open(of_case, _record, Refused, _db, _now, _talk_on)
    cli_sharing.add_bench(commands, _record, Refused, _db, _now, _login)
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


def _flow_arguments(commands: Commands) -> None:
    lint = commands.add_parser("lint", help="show every mistake in flow files")
    lint.add_argument("files", nargs="*", metavar="FILE", help="flow files (default: the shipped ones)")
    lint.add_argument("--json", action="store_true", help="one JSON object for each mistake")
    lint.set_defaults(run=lint_flows)
    schema = commands.add_parser("schema", help="print the JSON Schema of a flow, for editors")
    schema.add_argument("--common", action="store_true", help="of the file that all flows share")
    schema.set_defaults(run=print_schema)
    trying = commands.add_parser("talk", help="try a flow without touching the record")
    trying.add_argument("file", metavar="FILE", help="the flow file")
    trying.add_argument("--save", metavar="FILE", help="keep the talk as a sample conversation")
    _now(trying)
    trying.set_defaults(run=try_flow)
    cli_outcomes.add(commands, _record, Refused, _db)
    cli_imagined.add(commands, Refused)
    playing = commands.add_parser("rehearse", help="play sample conversations")
    playing.add_argument("files", nargs="*", metavar="FLOW|FILE", help="flows or files (default: all)")
    playing.add_argument("--update", action="store_true", help="write the bot's lines anew")
    playing.add_argument("--coverage", action="store_true", help="show what no conversation would notice")
    playing.set_defaults(run=rehearse_flows)


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
    telegram.add_argument("--settings", metavar="FILE", help="NAME=value lines, readable by you alone")
    telegram.add_argument("--dry-run", action="store_true", help="say what is missing, and end")
    _db(telegram)
    telegram.set_defaults(run=serve_telegram)


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
