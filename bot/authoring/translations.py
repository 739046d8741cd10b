"""Translations as files: what is missing or outdated in them and where, and writing them anew.

A text stands under its id with a digest of the text that it was made from. Without a digest it is new,
and writing the file anew stamps it. An empty text is not translated yet.
"""

from __future__ import annotations

import json
import re
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from bot.authoring import load, source
from bot.authoring.problems import Place, Problem, hint, problem
from bot.authoring.source import Source
from bot.core.flow import Common, Flow
from bot.core.translation import Said, digest, paths_of, texts_of

MAX_BYTES = 600_000  # of one translation: the texts of a flow twice
MOST = 900  # characters of a translated text, as of any text of a flow
_TOP = re.compile(r"(?m)^(?=[a-z_]+:)")
_KEY = re.compile(r'\s+"?([\w.-]+)"?:')
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


@dataclass(frozen=True)
class Original:
    """One text to be translated: what it says and where that stands."""

    said: Said
    file: str
    place: Place


Originals = Mapping[str, Original]


@dataclass(frozen=True)
class Entry:
    """One text of a translation as written; `of` is empty for one that is not stamped."""

    id: str
    of: str
    said: Said
    place: Place


# --- what there is to translate ------------------------------------------------------------------


def of_flow(file: Path) -> Originals:
    """The texts that stand in a flow's own file. FlowError when it is no flow."""
    loaded = load.load(file)
    own = (part for part in _placed(loaded.flow, loaded.own) if loaded.is_own(part[1]))
    return {id: original for id, _, original in own}


def of_common(file: Path) -> Originals:
    """The texts that all flows share. FlowError when the file has mistakes."""
    placed = _placed(load.load_common(file), source.read(file.read_bytes(), str(file)))
    return {id: original for id, _, original in placed if id != "title"}


def _placed(flow: Flow | Common, read: Source) -> Iterator[tuple[str, tuple[str | int, ...], Original]]:
    texts = texts_of(flow)
    for id, path in paths_of(flow).items():
        yield id, path, Original(texts[id], read.file, read.place(path, key=True))


def of_wording(texts: Mapping[str, str], file: Path) -> Originals:
    """The bot's own wording by key, which stands in `file` with one key at the start of a line."""
    lines: dict[str, int] = {}
    for n, line in enumerate(file.read_text(encoding="utf-8").splitlines(), 1):
        if found := _KEY.match(line):
            lines.setdefault(found[1], n)
    return {key: Original(said, str(file), (lines.get(key, 1), 1)) for key, said in texts.items() if said}


# --- a translation as it is written --------------------------------------------------------------


@dataclass(frozen=True)
class Translation:
    """One part of a translation file. `problems`: of the file itself."""

    file: str
    part: str
    text: str
    entries: Mapping[str, Entry]
    problems: tuple[Problem, ...] = ()

    def wrong(self, originals: Originals) -> tuple[Problem, ...]:
        """Every problem, sorted; what is not translated is told at the line of the original."""
        found = [*self.problems]
        for entry in self.entries.values():
            found += self._wrong(entry, originals)
        for id, original in originals.items():
            if id not in self.entries:
                found.append(problem(original.file, original.place, "T101", id=id, where=self.file))
        return tuple(sorted(found))

    def _wrong(self, entry: Entry, originals: Originals) -> Iterator[Problem]:
        original = originals.get(entry.id)
        if original is None:
            yield problem(self.file, entry.place, "T103", id=entry.id, hint=hint(entry.id, originals))
        elif isinstance(entry.said, str) != isinstance(original.said, str):
            wanted = "a text" if isinstance(original.said, str) else "a list of phrases"
            yield problem(self.file, entry.place, "T107", id=entry.id, wanted=wanted)
        else:
            yield from self._outdated(entry, original)
            yield from self._differs(entry, original)

    def _outdated(self, entry: Entry, original: Original) -> Iterator[Problem]:
        if not entry.of:
            yield problem(self.file, entry.place, "T106", id=entry.id)
        elif entry.of != digest(original.said):
            line = original.place[0]
            yield problem(self.file, entry.place, "T102", id=entry.id, source=original.file, line=line)

    def _differs(self, entry: Entry, original: Original) -> Iterator[Problem]:
        if not isinstance(entry.said, str) or not isinstance(original.said, str):
            return
        if (names := _names(entry.said)) != (wanted := _names(original.said)):
            told = {"id": entry.id, "found": _shown(names), "wanted": _shown(wanted)}
            yield problem(self.file, entry.place, "T104", **told)
        elif _numbers(entry.said) != (numbers := _numbers(original.said)):
            yield problem(self.file, entry.place, "T108", id=entry.id, wanted=" ".join(numbers) or "none")
        if len(entry.said) > MOST:
            yield problem(self.file, entry.place, "T105", id=entry.id, length=len(entry.said), limit=MOST)


def _names(text: str) -> list[str]:
    """The {names} of a text; a brace that opens none is a name that nothing fills."""
    try:
        return sorted({name for _, name, _, _ in string.Formatter().parse(text) if name is not None})
    except ValueError:
        return ["{"]


def _shown(names: Sequence[str]) -> str:
    return " ".join(f"{{{name}}}" for name in names) or "none"


def _numbers(text: str) -> list[str]:
    """Its figures in order of size; a comma in a decimal is a point."""
    return sorted(number.replace(",", ".") for number in _NUMBER.findall(text))


def read(file: Path, part: str = "texts") -> Translation:
    """One part of a translation file; without entries when the file is not there yet."""
    if not file.is_file():
        return Translation(str(file), part, "", {})
    found = source.read(file.read_bytes(), str(file), MAX_BYTES)
    texts = (found.data or {}).get(part) or {}
    if not isinstance(texts, dict):
        wrong = problem(str(file), found.place((part,)), "T109", part=part)
        return Translation(str(file), part, found.text, {}, (*found.problems, wrong))
    entries = (_entry(key, said, found.place((part, key), key=True)) for key, said in texts.items())
    return Translation(str(file), part, found.text, {e.id: e for e in entries if e.said}, found.problems)


def _entry(key: str, said: object, place: Place) -> Entry:
    id, _, of = key.partition(" ")
    if isinstance(said, list):
        return Entry(id, of, tuple(map(str, said)), place)
    return Entry(id, of, "" if said is None else str(said), place)


# --- writing it anew -----------------------------------------------------------------------------


def written(translation: Translation, originals: Originals, head: str) -> str:
    """The file with this part anew: each text below what it translates, in the order of the original.

    New texts are stamped, what is not translated yet stands empty, what has no original any more and
    whatever else is in the file stays. `head` begins a new file.
    """
    lines = [f"{translation.part}:"]
    for id, original in originals.items():
        lines += _commented(original.said)
        lines.append(f"  {_line(id, original, translation.entries.get(id))}")
    left = [entry for id, entry in translation.entries.items() if id not in originals]
    lines += [f"  {_pair(f'{e.id} {e.of}'.strip(), e.said)}" for e in left]
    return _replaced(translation.text or head, translation.part, "\n".join(lines) + "\n")


def _line(id: str, original: Original, entry: Entry | None) -> str:
    if entry is None:
        return _pair(id, "" if isinstance(original.said, str) else ())
    return _pair(f"{id} {entry.of or digest(original.said)}", entry.said)


def _commented(said: Said) -> list[str]:
    text = said if isinstance(said, str) else ", ".join(said)
    return [f"  # {line}" for line in text.splitlines()]


def _pair(key: str, said: Said) -> str:
    """One line of YAML, whatever the text holds."""
    return f"{key}: {json.dumps(said, ensure_ascii=False)}"  # a text of JSON is one of YAML too


def _replaced(text: str, part: str, block: str) -> str:
    pieces = _TOP.split(text)
    if not any(piece.startswith(f"{part}:") for piece in pieces):
        return text.rstrip("\n") + "\n" + block
    return "".join(block if piece.startswith(f"{part}:") else piece for piece in pieces)
