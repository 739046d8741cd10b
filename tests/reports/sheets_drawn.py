"""Invented cases on paper, and the command that prints them for a look.

`python -m tests.reports.sheets_drawn FOLDER` writes their pages there as pictures of few colours.
"""

from __future__ import annotations

import hashlib
import io
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

from PIL import Image, ImageDraw

from bot.authoring import rehearse, shelf
from bot.authoring.play import Exchange, play
from bot.authoring.stage import Stage
from bot.authoring.wording import read_words
from bot.core import events
from bot.core.book import Book, fold
from bot.core.book_draft import Trouble
from bot.core.book_entries import Entry as Page
from bot.core.book_lines import read_line
from bot.core.events import Entry, Role
from bot.core.spoken import ENGLISH
from bot.core.state import State, apply
from bot.reports import pdf, text
from bot.reports.book_picture import picture_of
from bot.reports.sheet import Facts
from bot.reports.trend_picture import draw, text_line
from tests.reports.bikes_drawn import few_colours

BOOK = (
    "oil change at 31 on 2026-01-10 with filter, 2 flakes",
    "oil change at 36 on 2026-01-24 with filter, 1 flake",
    "opened the clutch cover at 38 on 2026-01-30",
    "clutch plates 89 euro at 38 on 2026-01-30",
    "oil change at 41 on 2026-02-14 with filter, clean",
    "oil change at 46 on 2026-03-01 with filter, 11 flakes, silver, biggest 1 mm",
)


@cache
def _rehearsal() -> rehearse.Rehearsal:
    return rehearse.Rehearsal(text.summary)


@cache
def played(name: str) -> tuple[Stage, tuple[Exchange, ...]]:
    """A sample conversation of the shipped flow, turn by turn."""
    script = rehearse.read(shelf.find().samples / "metal-in-oil" / f"{name}.txt")
    stage = _rehearsal().stage(script)
    return stage, play(script, stage).exchanges


@dataclass
class Case:
    """A played case that goes on by hand: `add` writes one more entry at the time of the last."""

    stage: Stage
    state: State
    now: datetime
    book: Book = field(default_factory=Book)

    def add(self, event: Any, who: str = "rider", role: Role = "rider") -> Case:
        at = self.now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        self.state = apply(self.state, Entry(self.state.next_seq, at, who, role, event))
        return self

    def facts(self) -> Facts:
        script = rehearse.read(shelf.find().samples / "metal-in-oil" / "running-in.txt")
        desk = replace(self.stage.desk(script), books=lambda bike: self.book, words=read_words())
        return text.facts_of(self.stage.flow, self.state, self.now, desk)


def case(name: str, until: str = "") -> Case:
    """A sample as it stood after the last time that the rider said this; without words, to its end."""
    stage, exchanges = played(name)
    said = [x for x in exchanges if not until or x.line.text == until]
    last = said[-1]
    return Case(stage, last.after, last.now)


def book(lines: tuple[str, ...] = BOOK) -> Book:
    """A bike's book of these lines."""
    pages: list[Page] = []
    for line in lines:
        read = read_line(line, ENGLISH, datetime(2026, 4, 1, tzinfo=UTC))
        assert not isinstance(read, Trouble), line
        pages += [Page(len(pages) + n, "2026-03-01T10:00:00Z", one) for n, one in enumerate(read, 1)]
    return fold(pages)


# --- photos ----------------------------------------------------------------------------------


def photo(seed: int, size: tuple[int, int] = (1600, 1200)) -> bytes:
    """An invented photo: bits on white paper beside a ruler."""
    chance = random.Random(seed)
    picture = Image.new("RGB", size, "#ece9e0")
    pen = ImageDraw.Draw(picture)
    for n in range(17):
        x = 100 + n * (size[0] - 200) // 16
        pen.line((x, size[1] - 160, x, size[1] - (60 if n % 5 else 20)), fill="#303030", width=6)
    for _ in range(40):
        x, y = chance.randrange(100, size[0] - 100), chance.randrange(80, size[1] - 260)
        bits = [(x + chance.randrange(-40, 40), y + chance.randrange(-30, 30)) for _ in range(4)]
        pen.polygon(bits, fill=chance.choice(["#8d9299", "#6f747a", "#b9bcc0", "#5d5349"]))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=80)
    return out.getvalue()


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


PHOTOS = {digest(data): data for data in (photo(1), photo(2, (1200, 1600)), photo(3))}


# --- four cases ------------------------------------------------------------------------------


def before_repair() -> Case:
    """A rider's case after his answers and one look, with his bike's book and a frame number."""
    one = case("notched-basket", "fingers")
    one.add(events.VinTold(vin="1J9RP1A36A1644345", digit="right"))
    one.book = book()
    return one


def under_a_stop() -> Case:
    """It was run although a stop stood; a mechanic holds the case and has asked."""
    one = case("ran-it-anyway")
    one.add(events.CaseHeld(), "Ann", "mechanic")
    one.add(events.RiderAsked(words="Was the lever in or out when it clacked?"), "Ann", "mechanic")
    asked = one.state.entries[-1].seq
    one.add(events.RiderAnswered(query=asked, words="out, with it in it was quiet"))
    one.add(events.RiderAsked(words="Which oil is in it?"), "Ann", "mechanic")
    return one


def told_at_the_bench() -> Case:
    """A mechanic lifted the stop by what he looked at, and told work as done with its price."""
    one = case("ran-it-anyway")
    one.add(events.CaseHeld(), "Ann", "mechanic")
    looked = "filter and both covers, no more of it"
    one.add(events.StopLifted(rule="steel-splinters", by="mechanic", words=looked), "Ann", "mechanic")
    one.add(events.VinTold(vin="1J9RP1A37A1644345", digit="wrong", reread=True), "Ann", "mechanic")
    done = events.RemedyBegun(remedy="refit-primary-nut", suspicion=True, told=True, money=24)
    return one.add(done, "Ann", "mechanic")


def under_watch() -> Case:
    """After a repair, between two second looks, with photos and a closing point that nobody confirmed."""
    one = case("primary-nut-loose", "three")
    told = list(PHOTOS)
    for about, files in (("question:kinds", told[0]), ("check:main-cover", f"{told[1]} {told[2]}")):
        one.add(events.Noted(words="beside the ruler", file=files, file_kind="photo", about=about))
    one.add(events.CauseConfirmed(cause="primary-nut-loose", how="seen"), "Ann", "mechanic")
    one.book = book()
    return one


CASES = {
    "before-repair": before_repair, "under-a-stop": under_a_stop, "under-watch": under_watch,
    "told-at-the-bench": told_at_the_bench,
}  # fmt: skip


def printed(one: Case, size: Literal["a4", "letter"] = "a4") -> bytes:
    """The PDF of a case with its photos and the picture of its trend."""
    facts = one.facts()
    picture = picture_of(facts.bike, one.book, read_words())
    trend = pdf.Drawn(draw(picture), text_line(picture)) if picture else None
    return pdf.print_sheet(facts, PHOTOS, trend, size)


def pages(data: bytes, scale: float = 1.7) -> Iterator[Image.Image]:
    """The pages of a PDF as pictures; 1 is 72 dots to the inch."""
    import pypdfium2

    document = pypdfium2.PdfDocument(data)
    for page in document:
        yield page.render(scale=scale).to_pil()
    document.close()


def drawn() -> Iterator[tuple[str, Image.Image]]:
    """Pages worth keeping: a usual case on both papers, one under a stop in grey, one with its pictures."""
    yield "a4", next(pages(printed(before_repair())))
    yield "letter", next(pages(printed(before_repair(), "letter")))
    yield "grey", next(pages(printed(under_a_stop()))).convert("L").convert("RGB")
    for n, page in enumerate(pages(printed(under_watch())), 1):
        yield f"watch-{n}", page


if __name__ == "__main__":
    for name, page in drawn():
        out = io.BytesIO()
        page.save(out, "PNG")
        Path(sys.argv[1], f"sheet-{name}.png").write_bytes(few_colours(out.getvalue(), 16))
