"""A flow file and its common file to a Flow, or every problem of both at once.

Talk goes through `shipped` and `revive`: when the validated JSON is at hand and its hash fits,
no YAML is read, so the parser is imported only where a file is really judged.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from bot.authoring import form, shelf
from bot.authoring.problems import FlowError, Problem, hint, problem
from bot.core import flow as language
from bot.core.findings import Pinned
from bot.core.flow import Flow

if TYPE_CHECKING:
    from bot.authoring.source import Source

_Model = TypeVar("_Model", bound=BaseModel)

LANGUAGE = 1  # of the flow language; stored JSON is kept by text hash and this number


@dataclass(frozen=True)
class Loaded:
    """A flow that has the right form, with what is needed to name places in its files."""

    flow: Flow
    hash: str
    merged: dict[str, Any]
    own: Source
    shared: Source | None = None
    mild: tuple[Problem, ...] = ()  # warnings met while reading

    def source(self, path: form.Path) -> Source:
        """The file that a path of the merged flow comes from; the flow's own words win."""
        return _owner(path, self.own, self.shared)

    def place(self, path: form.Path, key: bool = False) -> tuple[str, int, int]:
        """File, line and column of a path, at its value or at its key."""
        return _located(path, key, self.own, self.shared)

    def is_own(self, path: form.Path) -> bool:
        return self.source(path) is self.own

    @property
    def texts(self) -> dict[str, str]:
        """Text by file name, for printing problems."""
        return {s.file: s.text for s in (self.own, self.shared) if s}


@dataclass(frozen=True)
class Shipped:
    """A flow as the package brings it, with the two texts that a case is pinned to."""

    flow: Flow
    hash: str
    text: str
    common: str


@dataclass(frozen=True)
class Card:
    """What is needed to tell from a rider's first words which flow he wants."""

    flow: str
    title: str
    riders_say: tuple[str, ...]
    told_as: tuple[str, ...]


# --- reading and judging a flow ------------------------------------------------------------------


def load(path: Path, common: Path | None = None) -> Loaded:
    """A flow file with the common file (by default the one beside it, else the shipped one).

    FlowError with every problem of both files; OSError when the file cannot be opened.
    """
    common = common or shelf.common_for(path)
    shared = common.read_bytes() if common else None
    return load_text(path.read_bytes(), shared, str(path), str(common or ""))


def load_text(
    text: bytes, common: bytes | None = None, file: str = "flow.yaml", common_file: str = "common.yaml"
) -> Loaded:
    """The same for texts that are not in files. FlowError with every problem of both."""
    from bot.authoring import source

    own = source.read(text, file)
    wanted = common is not None and shelf.COMMON in _uses(own)
    shared = source.read(common or b"", common_file) if wanted else None
    problems = [*own.problems, *(shared.problems if shared else ())]
    if shared and shared.data is not None:
        problems += _judged(language.Common, shared.data, shared, None)[1]
    merged = _merged(own.data or {}, (shared.data if shared else None) or {})
    flow = None
    if own.data is not None:
        flow, found = _judged(Flow, merged, own, shared)
        problems += [*found, *_uses_problems(own, common is not None)]
    if flow is None or any(p.stops for p in problems):
        raise FlowError(_without_echo(problems))
    mild = tuple(sorted(set(problems)))
    return Loaded(flow, text_hash(text, common if wanted else None), merged, own, shared, mild)


def _without_echo(problems: list[Problem]) -> list[Problem]:
    """Where a name is set twice, its block lacks what stands in the second one; that is one mistake."""
    twice = {p.file for p in problems if p.code == "Y008"}
    return [p for p in problems if p.code != "F114" or p.file not in twice]


def _merged(own: dict[str, Any], shared: dict[str, Any]) -> dict[str, Any]:
    """Both together; a part that is no block is left as it stands, for the models to complain of."""
    odd = {part: own[part] for part in language.SHARED if not isinstance(own.get(part, {}), dict)}
    fit = {part: said for part, said in own.items() if part not in odd}
    from_common = {part: said for part, said in shared.items() if isinstance(said, dict)}
    return {**language.merge(fit, from_common), **odd}


def load_common(path: Path) -> language.Common:
    """The common file alone. FlowError with every problem of its form."""
    from bot.authoring import source

    read = source.read(path.read_bytes(), str(path))
    common, problems = None, list(read.problems)
    if read.data is not None:
        common, found = _judged(language.Common, read.data, read, None)
        problems += found
    if common is None or any(p.stops for p in problems):
        raise FlowError(problems)
    return common


def text_hash(text: bytes, common: bytes | None = None) -> str:
    """sha256 (hex) over a flow's text and, when it uses it, the common text.

    Line ends are made equal first, so that a checkout on another system has the same hash. A zero
    byte parts the two: it can stand in neither.
    """
    both = text if common is None else text + b"\0" + common
    return hashlib.sha256(both.replace(b"\r\n", b"\n")).hexdigest()


def _judged(
    model: type[_Model], data: Mapping[str, Any], own: Source, shared: Source | None
) -> tuple[_Model | None, list[Problem]]:
    try:
        return model.model_validate_json(json.dumps(data)), []
    except ValidationError as error:
        return None, form.judge(error, data, lambda path, key: _located(path, key, own, shared))


def _uses(own: Source) -> tuple[str, ...]:
    uses = (own.data or {}).get("uses")
    return tuple(u for u in uses if isinstance(u, str)) if isinstance(uses, list) else ()


def _uses_problems(own: Source, there: bool) -> list[Problem]:
    """'uses' names the common file or nothing; and that file must be there."""
    known = (shelf.COMMON,) if there else ()
    return [
        problem(own.file, own.place(("uses", i)), "L101", id=u, hint=hint(u, known))
        for i, u in enumerate(_uses(own))
        if u not in known
    ]


def _owner(path: form.Path, own: Source, shared: Source | None) -> Source:
    if shared is None or len(path) < 2 or path[0] not in language.SHARED:
        return own
    part = (own.data or {}).get(str(path[0]))
    return own if isinstance(part, dict) and path[1] in part else shared


def _located(path: form.Path, key: bool, own: Source, shared: Source | None) -> tuple[str, int, int]:
    owner = _owner(path, own, shared)
    return (owner.file, *owner.place(path, key))


# --- the stored form -----------------------------------------------------------------------------


def parsed(flow: Flow) -> str:
    """The validated JSON to keep beside a text; `revive` gives the same flow back."""
    return flow.model_dump_json(exclude_unset=True)


def revive(stored: str) -> Flow:
    """A flow from `parsed`. ValidationError when it was made by another language number."""
    return Flow.model_validate_json(stored)


def card(flow: Flow) -> Card:
    """The flow's entry in the index of what riders say.

    Only what tells for or against a cause of this flow picks it. What every flow asks (the brakes,
    the steering, what the bike is) says nothing of which flow a rider wants.
    """
    return _card(Pinned(flow))


@functools.lru_cache(maxsize=32)  # making one takes longer than a whole turn without thinking
def _card(pinned: Pinned) -> Card:
    flow = pinned.flow
    if flow.only_riders_say:
        return Card(flow.flow, flow.title, flow.riders_say, ())
    weighed = {sign for cause in flow.causes.values() for sign in cause.shows}
    told = [p for id, ask in flow.asks.items() if _tells(flow, id, weighed) for p in _phrases(ask)]
    return Card(flow.flow, flow.title, flow.riders_say, tuple(dict.fromkeys(told)))


def _tells(flow: Flow, id: str, weighed: Set[str]) -> bool:
    """Whether an answer to it moves the odds of a cause: through a sign, or by finding the cause."""
    if id in flow.checks:
        return True
    ask = flow.asking(id)
    parts = [said for part in ("answers", "marks") for said in getattr(ask, part, {}).values()]
    shown = {sign for said in parts for sign in _signs(said.shows or ())}
    return not weighed.isdisjoint({*shown, *_signs(getattr(ask, "sign", None) or ())})


def _signs(shows: str | Iterable[str]) -> tuple[str, ...]:
    return (shows,) if isinstance(shows, str) else tuple(shows)


def _phrases(ask: language.Asked_) -> Iterator[str]:
    for part in ("answers", "marks", "classes"):
        for said in getattr(ask, part, {}).values():
            yield from said.told_as
    for side in ("good", "bad", "none_of_these"):
        yield from getattr(getattr(ask, side, None), "told_as", ())


# --- the flows that come with the package ----------------------------------------------------------


def shipped_ids() -> tuple[str, ...]:
    return shelf.find().ids()


def shipped(flow_id: str) -> Shipped:
    """A flow of the package. KeyError when there is none; FlowError when its file is wrong."""
    here = shelf.find()
    text = here.flow(flow_id).read_bytes()
    common = here.common.read_bytes() if here.common.is_file() else b""
    flow, found = _revived(here, flow_id, text, common)
    return Shipped(flow, found, text.decode("utf-8"), common.decode("utf-8"))


def cards() -> tuple[Card, ...]:
    """The index of what riders say, over all shipped flows."""
    return tuple(card(shipped(flow_id).flow) for flow_id in shipped_ids())


def keep(folder: Path, flows: Path | None = None) -> tuple[Path, ...]:
    """Write the stored form of every flow in `flows` into `folder` (the package build does)."""
    here = shelf.find() if flows is None else shelf.Shelf(flows, flows)
    folder.mkdir(parents=True, exist_ok=True)
    return tuple(_keep(folder / f"{flow_id}.json", load(here.flow(flow_id))) for flow_id in here.ids())


def _keep(file: Path, loaded: Loaded) -> Path:
    head = {"hash": loaded.hash, "language": LANGUAGE, "uses_common": loaded.shared is not None}
    file.write_text(f"{json.dumps(head)}\n{parsed(loaded.flow)}\n", encoding="utf-8")
    return file


@functools.lru_cache(maxsize=64)
def _revived(here: shelf.Shelf, flow_id: str, text: bytes, common: bytes) -> tuple[Flow, str]:
    """Flow and hash from the stored form if it fits the texts, else from the texts."""
    kept = _kept(here.parsed / f"{flow_id}.json", text, common)
    if kept:
        return kept
    loaded = load_text(text, common or None, str(here.flow(flow_id)), str(here.common))
    return loaded.flow, loaded.hash


def _kept(stored: Path, text: bytes, common: bytes) -> tuple[Flow, str] | None:
    """The stored form; None when it is missing, spoilt, or made from another text or language."""
    try:
        head, _, body = stored.read_text(encoding="utf-8").partition("\n")
        said = json.loads(head)
        expected = text_hash(text, common if said["uses_common"] else None)
        if (said["hash"], said["language"]) != (expected, LANGUAGE):
            return None
        return revive(body), expected
    except (OSError, ValueError, KeyError, TypeError):
        return None


def forget() -> None:
    """Drop the flows kept in memory."""
    _revived.cache_clear()
