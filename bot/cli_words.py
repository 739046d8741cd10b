"""`sumpline words`: what is missing or outdated in the translations, and writing them anew."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bot.authoring.problems import Problem
    from bot.authoring.translations import Originals

HEAD = "# {what} in another language. `sumpline words {language}` says what is missing or outdated.\n"


def add(commands: Any, refused: type[Exception]) -> None:
    """The command and its arguments; `refused` says that something cannot be done."""
    words = commands.add_parser("words", help="check translations, or write them anew")
    words.add_argument("language", metavar="LANGUAGE", help="its code, like: es")
    words.add_argument("flows", nargs="*", metavar="FLOW", help="flows, or 'common' (default: everything)")
    words.add_argument("--update", action="store_true", help="write the files anew, with what is missing")
    words.set_defaults(run=run, refused=refused)


def run(args: argparse.Namespace) -> int:
    """Print every problem of the translations; 1 when one of them must be mended."""
    from bot.authoring import problems

    found = sorted(set(_gone_through(args)))
    if not found:
        print(f"Everything is translated into {args.language}, and nothing is outdated.")
        return 0
    texts = {p.file: Path(p.file).read_bytes().decode("utf-8", "replace") for p in found if p.file}
    print(problems.show_all(found, texts))
    return int(any(p.stops for p in found))


def _gone_through(args: argparse.Namespace) -> Iterator[Problem]:
    from bot.authoring import translations

    for file, part, originals, head in _wanted(args):
        found = translations.read(file, part)
        if args.update and not any(p.stops for p in found.problems):  # what cannot be read would be lost
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(translations.written(found, originals, head), encoding="utf-8", newline="\n")
            found = translations.read(file, part)
        yield from found.wrong(originals)


def _wanted(args: argparse.Namespace) -> Iterator[tuple[Path, str, Originals, str]]:
    """Each translation file with its part, what it translates, and how a new file begins."""
    from bot.authoring import shelf, translations, wording
    from bot.reports import wording as sheets

    if not wording.is_language(args.language) or args.language == "en":
        raise args.refused(
            f"'{args.language}' is no language to translate into; write a code of two letters, like: es"
        )
    here = shelf.find()
    if not args.flows:
        file, english = wording.file_of(args.language), wording.file_of("en")
        head = HEAD.format(what="The bot's own wording", language=args.language)
        head += f"language: {args.language}\n"
        yield file, "texts", translations.of_wording(wording.read_words().texts, english), head
        yield file, "sheets", translations.of_wording(sheets.ENGLISH, Path(sheets.__file__)), head
    for name in args.flows or (shelf.COMMON, *here.ids()):
        if name not in (shelf.COMMON, *here.ids()):
            raise args.refused(f"There is no flow '{name}'; flows: {', '.join((shelf.COMMON, *here.ids()))}.")
        common = name == shelf.COMMON
        originals = translations.of_common(here.common) if common else translations.of_flow(here.flow(name))
        head = HEAD.format(what=f"The texts of flows/{name}.yaml", language=args.language)
        yield wording.file_of_flow(name, args.language), "texts", originals, head
