"""The handover sheet of a case as it stands in the record: gathered with its photos, written, printed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from bot.books import draw, has_trend, picture_of
from bot.record.photos import Unreadable, for_paper
from bot.record.store import Store

if TYPE_CHECKING:  # a talk begins without them
    from bot.core.desk import Desk
    from bot.core.state import State
    from bot.reports.pdf import Drawn
    from bot.reports.sheet import Facts
    from bot.reports.trend_picture import TrendPicture

Paper = Literal["a4", "letter"]
MOST_PHOTOS = 200  # printed; of more the newest
MOST_BYTES = 16_000_000  # of all photos of a sheet, so that its PDF stays below 20 MB
# Pixels of the longer side and quality of the JPEG: the first with which all photos together are small
# enough. 1000 pixels on half a page are 280 to the inch.
SIZES = ((1000, 75), (800, 65), (640, 50), (480, 40))


@dataclass(frozen=True)
class Handover:
    """Everything that a sheet is made of; what is made of it needs no record. `photos`: where each lies.

    `say`: the wording of sheets in the language of whoever reads it.
    """

    facts: Facts
    photos: Mapping[str, Path]
    trend: TrendPicture | None
    say: Mapping[str, str]


def gather_sheet(store: Store, case: int, desk: Desk, now: datetime) -> Handover | None:
    """The sheet of a case by `desk`; None before a flow was chosen. RecordError when there is no case."""
    from bot.reports import text

    store.case(case)
    state = known_files(store, store.state(case))
    if not state.hash:
        return None
    facts = text.facts_of(desk.flows[state.hash], state, now, desk)
    trend = None
    if state.bike and has_trend(store, state.bike):
        trend = picture_of(store, state.bike, desk.words)
    return Handover(facts, dict(_photos(store, facts)), trend, text.in_words(desk))


def _photos(store: Store, facts: Facts) -> Iterator[tuple[str, Path]]:
    """Photos of the case that lie in the record's folder."""
    for file, _ in facts.files():
        if file.kind == "photo":
            try:
                yield file.digest, store.file(file.digest)
            except KeyError:  # still on its way, or erased
                continue


def known_files(store: Store, state: State) -> State:
    """The case with files by their digests, without those that were sent and could not be kept."""
    answers = [query.answer.file for query in state.queries if query.answer]
    told = [*(note.file for _, _, _, note in state.notes), *answers]
    refs = {ref for refs in told for ref in refs.split()}
    if not refs:
        return state
    refused = store.refused_files(refs)
    kept = {ref: store.fetched(ref) or ref for ref in refs}
    notes = ((*about, _named(note, refused, kept)) for *about, note in state.notes)
    queries = (replace(q, answer=q.answer and _named(q.answer, refused, kept)) for q in state.queries)
    return replace(state, notes=tuple(notes), queries=tuple(queries))


def _named(told: Any, refused: Set[str], kept: Mapping[str, str]) -> Any:
    """What was told with a file, with the file under its digest."""
    files = (kept[ref] for ref in told.file.split() if ref not in refused)
    return told.model_copy(update={"file": " ".join(files)})


# --- forms -----------------------------------------------------------------------------------


def write_sheet(handover: Handover) -> str:
    """The whole sheet as text."""
    from bot.reports import text

    return text.write(handover.facts, handover.say)


def sheet_as_json(handover: Handover) -> str:
    """The sheet for other programs, by the published schema."""
    from bot.reports import sheet_json

    return sheet_json.write(handover.facts)


def print_sheet(handover: Handover, paper: Paper = "a4") -> bytes:
    """The sheet as PDF. ImportError where the packages for it are missing. It may be called in a thread."""
    from bot.reports import pdf

    photos = [file.digest for file, _ in handover.facts.files() if file.kind == "photo"]
    printed = photos[-MOST_PHOTOS:]
    shrunk = _shrink({digest: handover.photos[digest] for digest in printed if digest in handover.photos})
    trend = _draw(handover.trend)
    left_out = len(photos) - len(printed)
    return pdf.print_sheet(handover.facts, shrunk, trend, paper, handover.say, left_out)


def _shrink(photos: Mapping[str, Path]) -> dict[str, bytes]:
    """The photos as small as they must be to fit; one that cannot be read is left out."""
    made: dict[str, bytes] = {}
    for largest, quality in SIZES:
        made = dict(_shrunk(photos, largest, quality))
        if sum(map(len, made.values())) <= MOST_BYTES:
            break
    return made


def _shrunk(photos: Mapping[str, Path], largest: int, quality: int) -> Iterator[tuple[str, bytes]]:
    for digest, path in photos.items():
        try:
            yield digest, for_paper(path.read_bytes(), largest, quality)
        except (Unreadable, OSError):
            continue


def _draw(trend: TrendPicture | None) -> Drawn | None:
    """The picture of the trend; without the package for pictures its words on the sheet must do."""
    from bot.reports.pdf import Drawn

    if trend is None:
        return None
    try:
        return Drawn(*draw(trend))
    except ImportError:
        return None
