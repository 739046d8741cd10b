"""Commands about how cases came out, and about the shares that follow: arguments and printing only."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bot.core.desk import Tally
    from bot.core.flow import Flow
    from bot.core.outcomes import Learned
    from bot.record.outcomes import Version
    from bot.record.store import Store

WIDTH = 80
NAME = 34  # columns of a cause
UNLISTED = "Not in this list"


def add(commands: Any, record: Any, refused: type[Exception], db: Any) -> None:
    """`flow outcomes` and `flow accept`. `record` opens it, `refused` says that something cannot be done."""
    for name, run, words in (
        ("outcomes", show_outcomes, "how closed cases came out, beside the shares in use"),
        ("accept", accept_shares, "put a new version with the shares of closed cases in use"),
    ):
        command = commands.add_parser(name, help=words)
        command.add_argument("flow", metavar="FLOW", help="its id")
        command.add_argument("--scope", metavar="SCOPE", default="everyone", help="everyone, or group:ID")
        if name == "accept":
            command.add_argument("--as", dest="who", metavar="NAME", default="", help="the admin who does it")
            command.add_argument("--yes", action="store_true", help="do not ask")
        db(command)
        command.set_defaults(run=run, record=record, refused=refused)


def show_outcomes(args: argparse.Namespace) -> int:
    """Shares in the file and here, whether stated chances were right, and causes that the flow lacks."""
    from bot import turn

    with _record(args) as store:
        flows = turn.KeptFlows(store)
        tally = _tally(args, store)
        if not tally.is_enough:
            print(_not_yet())
            return 0
        flow, author = flows[tally.flow], flows[tally.author]
        _say(_shares(flow, author, tally, store.outcomes_of(tally.scope, flow.flow)))
        _say(_calibration(store, tally, store.outcomes_of(tally.scope, flow.flow)))
        _say(_unknown(store.unknown_causes(tally.scope, flow.flow)))
    return 0


def accept_shares(args: argparse.Namespace) -> int:
    """Show what a new version would say, and put it in use after a yes."""
    from bot import outcomes, turn
    from bot.core.events import SharesAccepted
    from bot.core.outcomes import differing, shares

    with _record(args) as store:
        flows = turn.KeptFlows(store)
        person = _admin(args, store)
        tally = _tally(args, store)
        if not tally.is_enough:
            raise args.refused(_not_yet())
        flow, author = flows[tally.flow], flows[tally.author]
        found, new = differing(flow, author, tally.cases, len(flow.causes) + 1), shares(author, tally.cases)
        if not found:
            print("The version in use says what the cases say; there is nothing to take over.")
            return 0
        _say(_difference(flow, tally, found, new))
        where = _where(tally)
        if not args.yes and not _confirmed(f"put version {flow.version + 1} in use {where}"):
            raise args.refused("'yes' was not typed, so nothing was changed.")
        told = SharesAccepted(scope=tally.scope, flow=flow.flow, hash=tally.flow, shares=new)
        try:
            kept = outcomes.accept(store, flows, told, turn.stamp(datetime.now(UTC)), person)
        except outcomes.OutdatedError as late:
            raise args.refused(
                "Another version came into use meanwhile, so nothing was changed; run it again."
            ) from late
    done = f"Version {kept.version} of {flow.title} is in use {where}, from the next case on."
    _say(_wrapped(f"{done} Open cases keep theirs."))
    return 0


# --- what is meant ----------------------------------------------------------------------------


def _record(args: argparse.Namespace) -> AbstractContextManager[Store]:
    opened: AbstractContextManager[Store] = args.record(args, must_exist=True)
    return opened


def _tally(args: argparse.Namespace, store: Store) -> Tally:
    """How the cases of the named flow came out in the named scope."""
    from bot import outcomes, turn

    group = args.scope.removeprefix("group:")
    if args.scope != "everyone" and (group == args.scope or not group):
        known = ", ".join(("everyone", *(s for s in store.scopes_counted() if s != "everyone")))
        raise args.refused(
            f"'{args.scope}' is no scope; write everyone or group:ID. Cases came out in: {known}."
        )
    turn.stock(store, turn.stamp(datetime.now(UTC)))
    found = outcomes.tally(store, turn.KeptFlows(store), args.scope, args.flow)
    if found is None:
        known = ", ".join(line.flow for line in store.offered())
        raise args.refused(f"There is no flow '{args.flow}' in use; flows: {known}.")
    return found


def _admin(args: argparse.Namespace, store: Store) -> int | None:
    """The number of the admin who accepts; None when no name is given."""
    if not args.who:
        return None
    person = store.named(args.who)
    if person is None:
        raise args.refused(f"Nobody called '{args.who}' is in this record; leave --as out, or name an admin.")
    if person.role != "admin":
        raise args.refused(f"{person.name} is no admin here; leave --as out, or name one who is.")
    return person.id


def _not_yet() -> str:
    from bot.core.desk import ENOUGH

    return f"Not yet: fewer than {ENOUGH} cases came out there, and so few say nothing."


def _confirmed(what: str) -> bool:
    print(f"Type yes to {what}:", flush=True)
    return sys.stdin.readline().strip().casefold() == "yes"


# --- tables -----------------------------------------------------------------------------------


def _shares(flow: Flow, author: Flow, tally: Tally, versions: Sequence[Version]) -> Iterator[str]:
    from bot.core.outcomes import learned

    yield f"{flow.title}, version {flow.version}, {_where(tally)}: {tally.total} closed cases."
    yield from _wrapped(_apart(tally, versions))
    yield ""
    yield f"{'of 100 such cases':<{NAME}}  {'file':>5}  {'here':>5}  {'95 of 100 times':>15}  {'cases':>5}"
    for one in learned(flow, author, tally.cases):
        limits = f"{one.low:.1f} to {one.high:.1f}"
        row = f"{one.file:>5.1f}  {one.here:>5.1f}  {limits:>15}  {one.cases:>5}"
        yield f"{_name(flow, one.cause):<{NAME}}  {row}"


def _apart(tally: Tally, versions: Sequence[Version]) -> str:
    """What is and what is not in the table."""
    from bot.core.outcomes import WORTH

    said = []
    if tally.older:
        said.append(f"{tally.older} of them had another version with the same causes.")
    other = sum(sum(version.cases.values()) for version in versions) - tally.total
    if other:
        said.append(f"{other} more had a version with other causes and are left out.")
    missed = sum(version.missed for version in versions)
    if missed:
        said.append(f"In {missed} more no cause was found.")
    said.append(f"What the author wrote counts as {WORTH:.0f} cases.")
    return " ".join(said)


def _calibration(store: Store, tally: Tally, versions: Sequence[Version]) -> Iterator[str]:
    """The score of each version, and by tenths how stated chances did in the newest that has enough."""
    from bot.core.desk import ENOUGH

    yield ""
    enough = [version for version in versions if version.scored >= ENOUGH]
    if not enough:
        yield from _wrapped(f"Whether stated chances were right cannot be said yet: no version has {ENOUGH} "
                            "cases with chances.")  # fmt: skip
        return
    yield from _wrapped("Were the chances right that were stated just before? Brier score, summed over all "
                        "causes and what is not in the list: 0 is best, 2 is worst.")  # fmt: skip
    for version in enough:
        score = version.brier / version.scored
        yield f"  version {version.version}{_mark(version, tally)}: {score:.2f}, from {version.scored} cases"
    shown = next((v for v in enough if v.hash == tally.flow), enough[0])
    yield ""
    yield f"version {shown.version}, stated   times  on average  came true  95 of 100 times"
    yield from _tenths(store, tally.scope, shown.hash)


def _mark(version: Version, tally: Tally) -> str:
    return " (in use)" if version.hash == tally.flow else ""


def _tenths(store: Store, scope: str, text: str) -> Iterator[str]:
    from bot.core.calibration import BINS, reliability

    held = {one.bin: one for one in reliability(store.calibration_of(scope, text))}
    for k in range(BINS):
        one = held.get(k)
        span = f"{10 * k:>7} to {10 * k + 10:>3} %"
        if one is None:
            yield f"{span:<18}{0:>7}"
            continue
        limits = f"{100 * one.low:.1f} to {100 * one.high:.1f} %"
        yield f"{span:<18}{one.held:>7}{100 * one.said:>10.1f} %{100 * one.seen:>9.1f} %  {limits:>15}"


def _unknown(told: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Causes that the flow does not know, in the words of those who found them."""
    if not told:
        return
    yield ""
    yield "Not in this list, in the words of the mechanics, newest first:"
    for day, words in told:
        yield from textwrap.wrap(f"{day}  {words or '(no words)'}", WIDTH, subsequent_indent=" " * 12)


def _difference(flow: Flow, tally: Tally, found: Sequence[Learned], new: dict[str, float]) -> Iterator[str]:
    """What a new version would say, and why."""
    yield f"{flow.title}, version {flow.version}, {_where(tally)}: {tally.total} closed cases."
    yield ""
    yield f"{'of 100 such cases':<{NAME}}  {'now':>5}  {'new':>5}  {'cases':>5}"
    for one in found:
        row = f"{one.file:>5g}  {new[one.cause]:>5g}  {one.cases:>5}"
        yield f"{_name(flow, one.cause):<{NAME}}  {row}"
    if any(cause.share_if for cause in flow.causes.values()):
        yield from _wrapped("What is said for one kind of bike only (share_if) moves along with its cause.")


def _name(flow: Flow, id: str) -> str:
    name = flow.causes[id].short or flow.causes[id].name if id else UNLISTED
    return name if len(name) <= NAME else f"{name[: NAME - 3]}..."


def _where(tally: Tally) -> str:
    if tally.scope == "everyone":
        return "for everyone"
    return f"in {tally.group}" if tally.group else f"in {tally.scope}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)
