"""Commands that talk imagined bikes through a flow: arguments and printing only."""

from __future__ import annotations

import argparse
import json
import os
import sys
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from bot.authoring.compare import Difference, Sampled
    from bot.authoring.load import Loaded
    from bot.authoring.simulate import Outcome, Simulation
    from bot.authoring.tally import Spread, Tally
    from bot.core.flow import Flow

Played = TypeVar("Played")

WIDTH = 80
NAME = 34  # columns of a cause
MOST = 1_000_000  # bikes
UNLISTED = "Not in this list"
SAID = {
    "found": "found, mended and proved",
    "handed_over": "handed over",
    "still_wrong": "called mended, and was not",
    "otherwise": "ended otherwise",
    "endless": "WITHOUT END",
    "broke": "BROKE THE PROGRAM",
}


def add(commands: Any, refused: type[Exception]) -> None:
    """`flow simulate` and `flow compare`. `refused` says that something cannot be done."""
    command = commands.add_parser("simulate", help="talk many imagined bikes through a flow")
    command.add_argument("file", metavar="FILE", help="a flow file, or the id of a shipped flow")
    _bikes(command, 2000)
    command.add_argument("--bike", type=int, metavar="N", help="print the talk about this one bike")
    command.add_argument("--json", action="store_true", help="figures and every bike as JSON")
    command.set_defaults(run=simulate, refused=refused)
    command = commands.add_parser("compare", help="what another version of a flow changes")
    command.add_argument("old", metavar="OLD", help="a flow file, or the id of a shipped flow")
    command.add_argument("new", metavar="NEW", help="the same")
    _bikes(command, 300)
    command.set_defaults(run=compare, refused=refused)


def _bikes(command: argparse.ArgumentParser, usual: int) -> None:
    command.add_argument("--bikes", type=int, default=usual, metavar="N", help=f"how many (default: {usual})")
    command.add_argument("--seed", type=int, default=1, metavar="N", help="other bikes (default: 1)")


def simulate(args: argparse.Namespace) -> int:
    """The figures of many talks, or one talk. 1 when a talk has no end or broke the program."""
    from bot.authoring import tally

    played = _simulation(args, args.file)
    if args.bike is not None:
        return _show_one(args, played)
    found = tuple(_with_bar(played.outcomes(args.bikes), args.bikes))
    figures, flow = tally.count(played.stage.flow, found), played.stage.flow
    if args.json:
        head = {"flow": flow.flow, "version": flow.version, "seed": args.seed}
        cases = [asdict(outcome) for outcome in found]
        print(json.dumps(head | {"figures": asdict(figures), "cases": cases}, ensure_ascii=False))
    else:
        _say(_table(flow, figures, args.seed))
    return int(bool(figures.faults))


def _show_one(args: argparse.Namespace, played: Simulation) -> int:
    """One talk as a sample conversation, with how it went below."""
    from bot.authoring import script

    _check(args, "--bike", args.bike, 0)
    outcome = played.play(args.bike)
    if args.json:
        print(json.dumps(asdict(outcome), ensure_ascii=False))
    else:
        print(script.write(played.script(args.bike)))
        print(_line(outcome))
    return int(outcome.end in ("endless", "broke"))


def compare(args: argparse.Namespace) -> int:
    """What differs by part, in the sample conversations, and on the same imagined bikes."""
    from bot.authoring import compare as versions

    old, new = _simulation(args, args.old), _simulation(args, args.new)
    _say(_parts(versions.differences(old.stage.loaded, new.stage.loaded)))
    print()
    files = versions.samples_of(old.stage.loaded, new.stage.loaded)
    pair = versions.Pair(old.stage, new.stage)
    _say(_samples(tuple(_with_bar(pair.all_sampled(files), len(files), "samples"))))
    print()
    before, after = (
        tuple(_with_bar(version.outcomes(args.bikes), args.bikes, f"bikes of the {which} version"))
        for which, version in (("old", old), ("new", new))
    )
    _say(_bikes_moved(before, after))
    return 0


# --- what the commands share ----------------------------------------------------------------------


def _simulation(args: argparse.Namespace, name: str) -> Simulation:
    """The stage for the bikes; numpy must not take processors that the talks are shared between."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from bot.authoring import stage
    from bot.authoring.simulate import Simulation

    _check(args, "--bikes", args.bikes, 1)
    return Simulation(stage.set_up(_flow(args, name), lambda flow, state, now: ""), args.seed)


def _check(args: argparse.Namespace, option: str, value: int, least: int) -> None:
    if not least <= value <= MOST:
        raise args.refused(f"{option} is {value}; write a whole number between {least} and {MOST}.")


def _flow(args: argparse.Namespace, name: str) -> Loaded:
    """A flow file, or a shipped flow by its id."""
    from bot.authoring import load, shelf

    here = shelf.find()
    path = Path(name)
    if not path.is_file() and name in here.ids():
        path = here.flow(name)
    if not path.is_file():
        known = ", ".join(here.ids())
        raise args.refused(
            f"There is no file {name}; name a flow file, or one of the shipped flows: {known}."
        )
    return load.load(path)


def _with_bar(outcomes: Iterable[Played], total: int, what: str = "bikes") -> Iterator[Played]:
    """What was played, as it comes, with a bar on the terminal, where there is one."""
    shown = sys.stderr.isatty()
    for n, outcome in enumerate(outcomes, 1):
        if shown:
            done = 40 * n // total
            print(
                f"\r[{'#' * done}{'.' * (40 - done)}] {n} of {total} {what}",
                end="",
                file=sys.stderr,
                flush=True,
            )
        yield outcome
    if shown:
        print(file=sys.stderr)


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _name(flow: Flow, id: str) -> str:
    if id not in flow.causes:
        return UNLISTED if id == "unlisted" else id
    name = flow.causes[id].short or flow.causes[id].name
    return name if len(name) <= NAME else f"{name[: NAME - 3]}..."


# --- the table --------------------------------------------------------------------------------------


def _line(outcome: Outcome) -> str:
    """How one talk went, in a line."""
    wrong = ", ".join(outcome.fault) or "nothing"
    vain = f"; repaired in vain: {', '.join(r.remedy for r in outcome.repairs if not r.needed)}"
    return (
        f"bike {outcome.n} ({wrong}): {SAID[outcome.end]} ({outcome.how}); {outcome.minutes:g} min, "
        f"{outcome.money:g} of money, {outcome.turns} answers, {outcome.messages} messages"
        f"{vain if outcome.in_vain else ''}"
    )


def _table(flow: Flow, figures: Tally, seed: int) -> Iterator[str]:
    yield f"{flow.title}, version {flow.version}: {figures.bikes} imagined bikes, seed {seed}"
    yield ""
    yield from _ends(figures)
    yield ""
    yield from _spreads(flow, figures)
    yield ""
    yield from _of_causes(flow, figures)
    yield ""
    yield from _closed(flow, figures)
    yield ""
    yield from _never_asked(figures)
    yield from _faults(figures)


def _of(bikes: int, figures: Tally) -> str:
    return f"{bikes:>6}  {100 * bikes / figures.bikes:>5.1f} %"


def _ends(figures: Tally) -> Iterator[str]:
    for end, bikes in figures.ends.items():
        yield f"{SAID[end]:<{NAME}}{_of(bikes, figures)}"
        if end == "handed_over":
            yield f"{'  with a true cause as first suspect':<{NAME}}{_of(figures.well_handed, figures)}"
    yield f"{'something repaired in vain':<{NAME}}{_of(figures.in_vain, figures)}"


def _spreads(flow: Flow, figures: Tally) -> Iterator[str]:
    currency = flow.money.currency if flow.money else "money"
    yield f"{'of one bike':<{NAME}}{'mean':>8}{'median':>9}{'90 of 100':>11}"
    rows: tuple[tuple[str, Spread], ...] = (
        ("minutes of work", figures.minutes), (currency, figures.money),
        ("answers of the rider", figures.turns), ("messages of the bot", figures.messages),
    )  # fmt: skip
    for name, spread in rows:
        yield f"{name:<{NAME}}{spread.mean:>8.1f}{spread.median:>9.1f}{spread.of_100_90:>11.1f}"


def _of_causes(flow: Flow, figures: Tally) -> Iterator[str]:
    yield f"{'what was wrong':<{NAME}}{'bikes':>8}{'found':>9}"
    for one in figures.causes:
        yield f"{_name(flow, one.cause):<{NAME}}{one.there:>8}{one.found:>9}"
    never = ", ".join(_name(flow, one.cause) for one in figures.never_found)
    yield from _wrapped(f"Never found: {never or 'none'}.")
    yield ""
    yield "repaired in vain, the worst pairs:"
    for true, repaired, bikes in figures.confused:
        yield f"  {_name(flow, true)} was there, repaired was {_name(flow, repaired)}: {bikes}"
    if not figures.confused:
        yield "  none"


def _closed(flow: Flow, figures: Tally) -> Iterator[str]:
    yield f"{'stops and refusals':<{NAME}}{'bikes':>6}"
    for rule, bikes in figures.stops.items():
        yield f"{rule[: NAME - 1]:<{NAME}}{_of(bikes, figures)}"
    for gate in figures.gates:
        most = f"  (most often for: {_name(flow, gate.cause)})" if gate.cause else ""
        yield f"{gate.bar + ' refused by the odds':<{NAME}}{_of(gate.bikes, figures)}{most}"


def _never_asked(figures: Tally) -> Iterator[str]:
    yield f"put in fewer than 1 of 100 bikes: {'' if figures.rare else 'nothing'}"
    for kind in ("question", "check", "access", "remedy"):
        rare = [f"{id} ({bikes})" for which, id, bikes in figures.rare if which == kind]
        if rare:
            yield from _wrapped(f"  {kind}: {', '.join(rare)}", "    ")


def _faults(figures: Tally) -> Iterator[str]:
    if figures.faults:
        yield ""
        yield "FAULTS, each to be seen with --bike N:"
    for n, what in figures.faults:
        yield from _wrapped(f"  bike {n}: {what}", "    ")


# --- two versions -----------------------------------------------------------------------------------


def _parts(found: Sequence[Difference]) -> Iterator[str]:
    """Each difference with its line, by kind of part."""
    counts = Counter(one.kind for one in found)
    told = ", ".join(f"{counts[kind]} {kind}" for kind in ("added", "gone", "changed") if counts[kind])
    yield f"What is written: {told or 'nothing differs'}."
    for one in found:
        head = f"{one.part} {one.id}" if one.part != "flow" else one.id
        yield from _wrapped(f"  {one.kind}: {head}: {one.what}  [{one.file}:{one.line}]", "    ")


def _samples(found: Sequence[Sampled]) -> Iterator[str]:
    other = [one for one in found if not one.same]
    ends = [one for one in found if one.ends_otherwise]
    yield f"Sample conversations: {len(found)}; otherwise: {len(other)}, with another end: {len(ends)}."
    for one in ends:
        yield from _wrapped(f"  {one.file}: {one.old} -> {one.new}", "    ")


def _bikes_moved(before: Sequence[Outcome], after: Sequence[Outcome]) -> Iterator[str]:
    """How many of the same bikes end otherwise, and how."""
    from bot.authoring import compare as versions
    from bot.authoring.tally import spread

    pairs = versions.crossed(before, after)
    yield f"The same {len(before)} imagined bikes: {versions.moved(pairs)} end otherwise."
    for (was, now), bikes in pairs.items():
        if was != now:
            first = next(a.n for a, b in zip(before, after, strict=True) if (a.end, b.end) == (was, now))
            yield f"  {SAID[was]} -> {SAID[now]}: {bikes} (the first is bike {first})"
    yield f"  {'':<{NAME}}{'old':>8}{'new':>9}"
    for end in SAID:
        counts = [sum(o.end == end for o in outcomes) for outcomes in (before, after)]
        if any(counts):
            yield f"  {SAID[end]:<{NAME}}{counts[0]:>8}{counts[1]:>9}"
    vain = [sum(o.in_vain for o in outcomes) for outcomes in (before, after)]
    yield f"  {'something repaired in vain':<{NAME}}{vain[0]:>8}{vain[1]:>9}"
    for name, of in (("minutes of work, mean", "minutes"), ("answers of the rider, mean", "turns")):
        means = [spread(getattr(o, of) for o in outcomes).mean for outcomes in (before, after)]
        yield f"  {name:<{NAME}}{means[0]:>8.1f}{means[1]:>9.1f}"
