"""Commands about versions of flows, for whoever runs the bot: arguments and printing only."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bot.core.moving import Hindrance
    from bot.record.cases import FlowLine, KeptFlow
    from bot.record.publishing import Act, Published
    from bot.record.store import Store

WIDTH = 80
SHORT = 8  # characters of a text's digest that are shown, and at least wanted
DONE = {
    "published": "published", "used_again": "taken back into use", "withdrawn": "withdrawn",
    "kept": "kept as draft", "dropped": "dropped", "shares_taken": "given the shares of closed cases",
    "moved": "taken for case {case}",
}  # fmt: skip
KEPT = {
    "flow": "it is a version of another flow: {id}",
    "question": "'{id}' was answered or is open",
    "trait": "'{id}' was answered",
    "cause": "the cause '{id}' was found or repaired",
    "remedy": "the repair '{id}' was begun, done or proposed",
    "access": "'{id}' is open, or was proposed",
    "stop": "the stop '{id}' stands",
    "second_look": "the second looks '{id}' are waited for",
}


def add(commands: Any, record: Any, refused: type[Exception], db: Any) -> None:
    """`flow publish`, `versions`, `use`, `withdraw` and `acts`. `record` opens it."""
    publishing = commands.add_parser("publish", help="put a flow file in use for riders")
    publishing.add_argument("file", metavar="FILE", help="the flow file")
    _who(publishing)
    for name, run, words in (
        ("use", use_version, "take an earlier version back into use"),
        ("withdraw", withdraw_version, "take a version out of use"),
    ):
        command = commands.add_parser(name, help=words)
        command.add_argument("flow", metavar="FLOW", help="its id")
        command.add_argument(
            "version", metavar="VERSION", help="its number, or the first signs of its digest"
        )
        _who(command)
        command.set_defaults(run=run)
    listing = commands.add_parser("versions", help="list the versions of a flow and who put them in use")
    listing.add_argument("flow", metavar="FLOW", help="its id")
    acts = commands.add_parser("acts", help="list what was done to flows, by whom and when")
    acts.add_argument("flow", metavar="FLOW", nargs="?", default="", help="of one flow only")
    for command, run in ((publishing, publish_file), (listing, list_versions), (acts, list_acts)):
        command.set_defaults(run=run)
    for command in (publishing, listing, acts, *(commands.choices[name] for name in ("use", "withdraw"))):
        db(command)
        command.set_defaults(record=record, refused=refused)


def add_move(commands: Any, record: Any, refused: type[Exception], db: Any) -> None:
    """`case move`."""
    moving = commands.add_parser("move", help="move an open case to the version of its flow in use now")
    moving.add_argument("id", metavar="ID", type=int, help="its number")
    moving.add_argument("--as", dest="who", metavar="NAME", default="", help="the admin who does it")
    db(moving)
    moving.set_defaults(run=move_case, record=record, refused=refused)


def _who(command: argparse.ArgumentParser) -> None:
    command.add_argument("--scope", metavar="SCOPE", default="everyone", help="everyone, or group:ID")
    command.add_argument("--as", dest="who", metavar="NAME", default="", help="the admin who does it")
    command.add_argument("--yes", action="store_true", help="do not ask")


# --- what is done ------------------------------------------------------------------------------


def publish_file(args: argparse.Namespace) -> int:
    """Judge a file, say what it would replace, and put it in use after a yes."""
    from bot import publishing

    with _record(args) as store:
        person, scope = _admin(args, store), _scope(args)
        kept = _judged(args)
        was = _in_use(store, scope, kept.flow)
        _say([f"{kept.title}, version {kept.version}, {_for(scope)}.", was])
        _confirm(args, f"put version {kept.version} of {kept.flow} in use {_for(scope)}")
        _done(args, lambda: publishing.publish(store, kept, scope, _now(), person))
    _say([f"Version {kept.version} of {kept.title} is in use {_for(scope)}, from the next case on.", _PIN])
    return 0


_PIN = "Open cases keep theirs; 'sumpline case move ID' moves one where nothing it was told changes."


def use_version(args: argparse.Namespace) -> int:
    """Take an earlier version back into use."""
    from bot import publishing

    with _record(args) as store:
        person, scope = _admin(args, store), _scope(args)
        line = _meant(args, store, scope)
        _confirm(args, f"take version {line.version} of {line.flow} back into use {_for(scope)}")
        _done(args, lambda: publishing.use_again(store, scope, line.flow, line.hash, _now(), person))
    _say(
        [
            f"Version {line.version} of {line.title} is in use {_for(scope)} again, from the next case on.",
            _PIN,
        ]
    )
    return 0


def withdraw_version(args: argparse.Namespace) -> int:
    """Take a version out of use and say which one is offered instead."""
    from bot import publishing

    with _record(args) as store:
        person, scope = _admin(args, store), _scope(args)
        line = _meant(args, store, scope)
        _confirm(args, f"withdraw version {line.version} of {line.flow} {_for(scope)}")
        _done(args, lambda: publishing.withdraw(store, scope, line.flow, line.hash, _now(), person))
        now = _in_use(store, scope, line.flow)
    _say(
        [
            f"Version {line.version} of {line.title} is withdrawn {_for(scope)}.",
            now,
            "Open cases keep theirs.",
        ]
    )
    return 0


def move_case(args: argparse.Namespace) -> int:
    """Move a case, or say what keeps it; 1 when it stays."""
    from bot import publishing, turn

    with _record(args) as store:
        person, case = _admin(args, store), store.case(args.id)
        scope = store.scope_of_case(case.id)
        flows = turn.KeptFlows(store)
        flow = flows[case.flow].flow if case.flow else ""
        line = _offered(store, scope, flow)
        if line is None:
            raise args.refused(f"Case {case.id} has no flow that is in use now, so it stays as it is.")
        kept = _done(args, lambda: publishing.move(store, flows, case.id, line.hash, _now(), person))
    if kept:
        _say([f"Case {case.id} stays with its version:", *_hindrances(kept)])
        return 1
    _say([f"Case {case.id} goes by version {line.version} of {line.title} from its next message on."])
    return 0


def _hindrances(kept: Iterable[Hindrance]) -> Iterator[str]:
    for one in kept:
        told = KEPT[one.what].format(id=one.id)
        changed = "is gone there" if one.gone else "means something else there"
        yield f"- {told}" if one.what == "flow" else f"- {told} and {changed}."


# --- what there is -----------------------------------------------------------------------------


def list_versions(args: argparse.Namespace) -> int:
    """Newest first; the one in use in each scope is marked."""
    with _record(args) as store:
        lines = store.versions(args.flow)
        in_use = {scope: store.published(scope).get(args.flow) for scope in {line.scope for line in lines}}
        if not lines:
            raise args.refused(f"No version of '{args.flow}' is in this record.")
        for line in lines:
            print(_version(line, in_use[line.scope] == line.hash))
    return 0


def _version(line: Published, used: bool) -> str:
    state = "in use" if used and not line.withdrawn else "withdrawn" if line.withdrawn else "earlier"
    who = line.who or ("the package" if line.scope == "shipped" else "the machine")
    taught = ", shares of closed cases" if line.taught else ""
    return f"{line.version:>4} {line.hash[:SHORT]} {line.at[:16]} {state:<9} {line.scope}, by {who}{taught}"


def list_acts(args: argparse.Namespace) -> int:
    """Newest first."""
    with _record(args) as store:
        for act in store.acts(args.flow):
            print(_act(act))
    return 0


def _act(act: Act) -> str:
    done = DONE[act.what].format(case=act.case or "of one who was erased")
    text = f"{act.flow} {act.version} {act.hash[:SHORT]}"
    return f"{act.at[:16]} {text} {done}, {act.scope}, by {act.who or 'the machine'}"


# --- what is meant -----------------------------------------------------------------------------


def _record(args: argparse.Namespace) -> AbstractContextManager[Store]:
    opened: AbstractContextManager[Store] = args.record(args, must_exist=True)
    return opened


def _scope(args: argparse.Namespace) -> str:
    scope = str(args.scope)
    kind, _, group = scope.partition(":")
    if scope != "everyone" and (kind != "group" or not group.strip()):
        raise args.refused(f"'{scope}' is no scope; write everyone, or group:ID with the group's number.")
    return scope


def _for(scope: str) -> str:
    return "for everyone" if scope == "everyone" else f"in {scope}"


def _admin(args: argparse.Namespace, store: Store) -> int | None:
    """The number of the admin who acts; None for whoever works at the machine itself."""
    if not args.who:
        return None
    person = store.named(args.who)
    if person is None or person.role != "admin":
        raise args.refused(f"'{args.who}' is no admin in this record; leave --as out, or name one.")
    return person.id


def _judged(args: argparse.Namespace) -> KeptFlow:
    """The file as it would be kept; one with a mistake is shown and refused."""
    from bot import publishing
    from bot.authoring import shelf

    path = Path(args.file)
    if not path.is_file():
        raise args.refused(f"There is no file {path}; name a flow file that is there.")
    beside = path.with_name(f"{shelf.COMMON}.yaml")
    judged = publishing.judge(path.read_bytes(), str(path), beside if beside.is_file() else None)
    if judged.kept is None:
        print(judged.shown)
        found = len(judged.lines)
        raise args.refused(f"Nothing was published: mend {found} mistake{'s' * (found > 1)} first.")
    return judged.kept


def _in_use(store: Store, scope: str, flow: str) -> str:
    line = _offered(store, scope, flow)
    if line is None:
        return f"No version of {flow} is offered there now."
    return f"Offered there now: version {line.version} ({line.scope}, {line.hash[:SHORT]})."


def _offered(store: Store, scope: str, flow: str) -> FlowLine | None:
    from bot import turn

    turn.stock(store, _now())
    return store.in_use(scope, flow)


def _meant(args: argparse.Namespace, store: Store, scope: str) -> Published:
    """The newest version of that number or digest in the scope."""
    from bot import publishing

    found: Published = _done(
        args, lambda: publishing.meant(store, scope, args.flow, str(args.version), _for(scope))
    )
    return found


def _confirm(args: argparse.Namespace, what: str) -> None:
    if args.yes:
        return
    print(f"Type yes to {what}:", flush=True)
    if sys.stdin.readline().strip().casefold() != "yes":
        raise args.refused("'yes' was not typed, so nothing was changed.")


def _done(args: argparse.Namespace, act: Any) -> Any:
    """Do it; what cannot be done is said."""
    from bot.publishing import NotDoneError

    try:
        return act()
    except NotDoneError as wrong:
        raise args.refused(str(wrong)) from wrong


def _now() -> str:
    from bot import turn

    return turn.stamp(datetime.now(UTC))


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print("\n".join(textwrap.wrap(line, WIDTH)))
