"""Commands for those who write flows: arguments and printing only."""

from __future__ import annotations

import argparse
import shlex
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bot.cli_files import fresh, utf8

if TYPE_CHECKING:
    from bot.authoring.load import Loaded
    from bot.authoring.problems import Problem
    from bot.authoring.skeleton import Begun
    from bot.channels.seat import Seat
    from bot.record.store import Store
    from bot.reports.flow_layout import Page

TRIAL = "This was a trial, and nothing of it is kept. With --save FILE a talk becomes a sample conversation."
DONE = "This was a trial; the record knows nothing of it."

PARTS = ("opening", "access", "looks", "causes", "stops", "speaks")  # as bot/reports/flow_cards.py has them


def add(commands: Any, refused: type[Exception], now: Any) -> None:
    """The commands below `sumpline flow`. `refused` says that something cannot be done."""
    _new_arguments(commands)
    _lint_arguments(commands)
    schema = commands.add_parser("schema", help="print the JSON Schema of a flow, for editors")
    schema.add_argument("--common", action="store_true", help="of the file that all flows share")
    schema.set_defaults(run=print_schema)
    trying = commands.add_parser("talk", help="try a flow without touching the record")
    trying.add_argument("file", metavar="FILE", help="the flow file")
    trying.add_argument("--save", metavar="FILE", help="keep the talk as a sample conversation")
    now(trying)
    trying.set_defaults(run=try_flow)
    playing = commands.add_parser("rehearse", help="play sample conversations")
    playing.add_argument(
        "files",
        nargs="*",
        metavar="FLOW|FILE",
        help="flow files, sample conversations, or ids of flows (default: all)",
    )
    playing.add_argument("--update", action="store_true", help="write the bot's lines anew")
    playing.add_argument("--coverage", action="store_true", help="show what no conversation would notice")
    playing.set_defaults(run=rehearse_flows)
    telling = commands.add_parser("keys", help="what may stand in a flow, and what it means")
    telling.add_argument("word", nargs="?", metavar="WORD", help="a key or a block (default: all)")
    telling.set_defaults(run=tell_keys)
    counting = commands.add_parser("segments", help="what a flow costs as text messages")
    counting.add_argument("flows", nargs="*", metavar="FLOW|FILE", help="ids or files (default: all)")
    counting.set_defaults(run=count_segments)
    _draw_arguments(commands)
    for command in commands.choices.values():
        command.set_defaults(refused=refused)


def _new_arguments(commands: Any) -> None:
    new = commands.add_parser("new", help="begin a flow of your own, from a small one that works")
    new.add_argument(
        "name", metavar="NAME", help="its name in small letters and hyphens, like chain-comes-off"
    )
    new.add_argument(
        "--in",
        dest="folder",
        metavar="FOLDER",
        help="where to (default: flows/ of a clone, else this folder)",
    )
    new.set_defaults(run=begin_flow)


def _lint_arguments(commands: Any) -> None:
    lint = commands.add_parser("lint", help="show every mistake in flow files")
    lint.add_argument("files", nargs="*", metavar="FILE", help="flow files (default: the shipped ones)")
    form = lint.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="one JSON object for each mistake")
    form.add_argument(
        "--annotate", action="store_true", help="one line for each mistake, as editors and CI read it"
    )
    lint.set_defaults(run=lint_flows)


def _draw_arguments(commands: Any) -> None:
    drawing = commands.add_parser("draw", help="a flow as pictures for a phone")
    drawing.add_argument("file", metavar="FILE", help="the flow file")
    drawing.add_argument("--part", choices=PARTS, help="only this part (default: all)")
    drawing.add_argument("--png", metavar="FILE", help="write PNG files named after this one")
    drawing.add_argument("--svg", metavar="FILE", help="write SVG files named after this one")
    drawing.set_defaults(run=draw_flow)


# --- beginning ------------------------------------------------------------------------------


def begin_flow(args: argparse.Namespace) -> int:
    """Write a small flow that works with its first sample conversation, and say what to do next."""
    from bot.authoring import shelf, skeleton

    in_clone = Path(shelf.FLOWS, f"{shelf.COMMON}.yaml").is_file()
    folder = args.folder if args.folder is not None else shelf.FLOWS if in_clone else "."
    try:
        begun = skeleton.begin(args.name, Path(folder).expanduser())
    except skeleton.CannotBegin as wrong:
        raise args.refused(str(wrong)) from wrong
    print(_what_next(begun))
    return 0


def _what_next(begun: Begun) -> str:
    file = shlex.quote(str(begun.flow))
    commands = (
        ("talk", "talk with it as a rider would; --save FILE keeps the talk"),
        ("lint", "show every mistake with its line and what to do"),
        ("rehearse", "play its sample conversations; shows what goes another way now"),
    )
    lines = (f"  sumpline flow {name} {file}\n      {what}" for name, what in commands)
    return "\n".join(
        (
            f"Written: {begun.flow}",
            f"         {begun.sample}",
            "It knows why a chain comes off, so that it works at once. Change it bit by bit into yours.",
            "After each change:",
            *lines,
        )
    )


# --- checking -------------------------------------------------------------------------------


def lint_flows(args: argparse.Namespace) -> int:
    """Print every problem of the files; 1 when one of them keeps a flow from being used."""
    from bot.authoring import problems

    files = _files(args)
    found = sorted({problem for path in files for problem in _judge(path)})
    if args.json or args.annotate:
        as_line = problems.as_json if args.json else problems.annotation
        for problem in found:
            print(as_line(problem))
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


def tell_keys(args: argparse.Namespace) -> int:
    """A key wherever it stands, a block with its keys, or all that may stand in a flow."""
    from bot.authoring import keys, problems

    if not args.word:
        print(keys.page(), end="")
        return 0
    found = keys.listing(args.word.strip().rstrip(":"))
    if not found:
        meant = problems.hint(args.word, keys.known())
        raise args.refused(f"A flow has no key '{args.word}'{meant}; 'sumpline flow keys' shows all.")
    print("\n".join(found))
    return 0


# --- trying and rehearsing --------------------------------------------------------------------


def try_flow(args: argparse.Namespace) -> int:
    """Talk with a flow that is being written, in a record that is thrown away."""
    import tempfile

    from bot import turn
    from bot.authoring import lint, load
    from bot.channels import seat, terminal

    loaded = lint.sound(load.load(_there(args, args.file)))
    if args.save:
        fresh(args.save, args.refused)  # before the talk: it would be lost after it
    with tempfile.TemporaryDirectory() as folder, closing(turn.open_record(f"{folder}/trial.db")) as store:
        turn.lay_out(store, *_texts(loaded), "everyone", datetime.now(UTC))
        trial = seat.Seat(store, "rider", flow=loaded.flow.flow, clock=seat.clock(args.now))
        status = terminal.talk(trial, utf8(sys.stdin), utf8(sys.stdout), end=TRIAL if not args.save else DONE)
        return _save(store, trial, loaded, args) if args.save else status


def _texts(loaded: Loaded) -> tuple[str, str]:
    return loaded.own.text, loaded.shared.text if loaded.shared else ""


def _save(store: Store, trial: Seat, loaded: Loaded, args: argparse.Namespace) -> int:
    """Write the talk just had as a sample conversation; never over one that is there."""
    from bot.authoring import rehearse, stage
    from bot.reports import text

    standing = trial.standing()
    if standing is None:
        raise args.refused("Nothing was said, so there is no talk to save.")
    sample = rehearse.save(store.entries(standing.case), stage.set_up(loaded, text.summary), args.save)
    with open(args.save, "x", encoding="utf-8") as file:
        file.write(sample)
    print(f"Saved as {args.save}; now add by hand what must and must never happen.")
    return 0


def rehearse_flows(args: argparse.Namespace) -> int:
    """Play sample conversations; 1 when one goes another way or breaks its own rules."""
    from bot.authoring import rehearse
    from bot.reports import text

    try:
        return rehearse.run(args.files, text.summary, update=args.update, coverage=args.coverage)
    except (rehearse.NoSamples, rehearse.UpdateRefused) as wrong:
        raise args.refused(f"{str(wrong)[:1].upper()}{str(wrong)[1:]}.") from wrong


def count_segments(args: argparse.Namespace) -> int:
    """Septets and messages of each text of a flow, and messages per sample conversation."""
    from bot.authoring import postage, rehearse, shelf
    from bot.reports import text

    for name in args.flows:
        if rehearse.is_flow_file(name):
            _there(args, name)
        elif name not in shelf.find().ids():
            known = ", ".join(shelf.find().ids())
            raise args.refused(f"There is no flow '{name}'; name a flow file, or one of: {known}.")
    try:
        return postage.run(args.flows, text.summary, text.brief)
    except rehearse.NoSamples as wrong:
        raise args.refused(f"{str(wrong)[:1].upper()}{str(wrong)[1:]}.") from wrong


# --- drawing ----------------------------------------------------------------------------------


def draw_flow(args: argparse.Namespace) -> int:
    """Write a flow as pictures, a page a file; never over one that is there."""
    from bot.reports import flow_picture

    if not args.png and not args.svg:
        raise args.refused("Say where to: --png FILE, --svg FILE, or both.")
    pages = _pages(args)
    for path in (*_named_after(args.svg, pages), *_named_after(args.png, pages)):
        fresh(str(path), args.refused)
    for target, draw in ((args.svg, flow_picture.svg), (args.png, flow_picture.png)):
        for path, page in _named_after(target, pages).items():
            try:
                made = draw(page)
            except ImportError as err:
                raise args.refused("PNG needs one more package: pip install 'sumpline[pictures]'.") from err
            path.write_bytes(made if isinstance(made, bytes) else made.encode())
            print(f"{path}: {page.title}")
    return 0


def _pages(args: argparse.Namespace) -> dict[str, Page]:
    """The pages by what their files are called besides the name; a flow with errors is refused."""
    from bot.authoring import lint, load
    from bot.reports import flow_cards, flow_layout

    loaded = lint.sound(load.load(_there(args, args.file)))
    drawn = (("questions", loaded.flow.questions), ("stop_rules", loaded.flow.stop_rules))
    shared = frozenset((part, id) for part, ids in drawn for id in ids if not loaded.is_own((part, id)))
    made: dict[str, Page] = {}
    for name in [args.part] if args.part else PARTS:
        laid = flow_layout.pages(flow_cards.part(loaded.flow, name, shared))
        lead = "" if args.part else f"-{name}"
        made |= {lead + (f"-{n}" if len(laid) > 1 else ""): page for n, page in enumerate(laid, 1)}
    return made


def _named_after(target: str | None, pages: dict[str, Page]) -> dict[Path, Page]:
    """The file of each page: the name itself, or with part and number before its end."""
    if not target:
        return {}
    path = Path(target)
    return {path.with_name(f"{path.stem}{added}{path.suffix}"): page for added, page in pages.items()}


# --- which files are meant --------------------------------------------------------------------


def _there(args: argparse.Namespace, name: str) -> Path:
    path = Path(name)
    if not path.is_file():
        raise args.refused(f"There is no file {name}; name a flow file that is there.")
    return path


def _files(args: argparse.Namespace) -> list[Path]:
    """The named files, or every flow that is shipped."""
    from bot.authoring import shelf

    return [_there(args, name) for name in args.files] or sorted(shelf.find().flows.glob("*.yaml"))
