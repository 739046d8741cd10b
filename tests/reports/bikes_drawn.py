"""Four invented bikes whose trend is drawn, and the command that draws them for a look.

`python -m tests.reports.bikes_drawn FOLDER` writes their pictures there.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from PIL import Image, PngImagePlugin

from bot.authoring.wording import read_words
from bot.core.trend import Interval, judge
from bot.reports.trend_layout import Layout
from bot.reports.trend_picture import Mark, TrendPicture, draw
from tests.core.test_trend import OIL, bike, look

WORDS = read_words()


def picture(title: str, looks: list[Interval], *marks: Mark) -> TrendPicture:
    return TrendPicture(title, tuple(looks), marks, judge(looks), WORDS)


def at(hours: float, *looks: Interval) -> list[Interval]:
    """These looks on a bike that had so many hours before the first of these runs."""
    return [replace(one, ends=one.ends + hours) for one in bike(*looks)]


def changes(looks: list[Interval]) -> list[Mark]:
    return [Mark(one.ends, "oil_change") for one in looks[:-1]]


def running_in() -> TrendPicture:
    calming = ((14, 1), (13, 2), (9, 3), (8, 5), (5, 6), (4, 6))
    looks = at(120, *(look(k, h, work=n == 0) for n, (k, h) in enumerate(calming)))
    return picture("Old Goat", looks, Mark(120, "repair", "new piston and rings"), *changes(looks))


def rise() -> TrendPicture:
    quiet = [look(2, 5), look(1, 6), look(3, 5), look(2, 6), look(2, 5, OIL), look(2, 6)]
    looks = at(40, *quiet, look(9, 5))
    return picture("Muddy Duck No. 7", looks, *changes(looks))


def repair_held() -> TrendPicture:
    before = [look(7, 6), look(9, 5), look(12, 6, chunk=True)]
    looks = at(310, *before, look(1, 4, work=True), look(0, 5), look(0, 6))
    return picture("Blue Heron", looks, Mark(looks[2].ends, "repair", "clutch basket"), *changes(looks)[2:])


def vague() -> TrendPicture:
    told = [look(4, 8), look((5, 30), (6, 10)), look(5, 6), look(2, (4, 8)), look(1, 0.5)]
    looks = at(95, *told, look((60, None), 5), look(6, 6))
    meter = Mark(looks[1].ends, "meter", "new meter, from 0")
    return picture("Tante $ö$fi", looks, meter, Mark(looks[4].ends, "oil_change", "thicker oil"))


def of(*looks: Interval, marks: tuple[Mark, ...] = ()) -> TrendPicture:
    return picture("Old Goat", bike(*looks), *marks)


def long_history(looks: int) -> TrendPicture:
    """Counts 0 1 2 3 0 1 ... in 5 h each; judged by its end, since who sends the picture has judged."""
    all_looks = bike(*(look(n % 4, 5) for n in range(looks)))
    marks = [*changes(all_looks), Mark(5.0 * looks - 100, "repair", "crank"), Mark(50, "meter", "new meter")]
    return TrendPicture("Long Tom", tuple(all_looks), tuple(marks), judge(all_looks[-20:]), WORDS)


def notes(layout: Layout) -> str:
    return " ".join(label.text for label in layout.labels if label.role == "note")


def drawn() -> Iterator[tuple[str, TrendPicture]]:
    yield "running-in", running_in()
    yield "rise", rise()
    yield "repair-held", repair_held()
    yield "vague", vague()


def few_colours(png: bytes, colours: int = 64) -> bytes:
    """The picture with its texts, in a palette: for keeping, not for sending."""
    with Image.open(io.BytesIO(png)) as whole:
        said = PngImagePlugin.PngInfo()
        for key, text in whole.info.items():
            if isinstance(text, str):
                said.add_text(key, text)
        palette, out = whole.convert("RGB").quantize(colours, dither=Image.Dither.NONE), io.BytesIO()
    palette.save(out, "PNG", optimize=True, pnginfo=said)
    return out.getvalue()


if __name__ == "__main__":
    for name, one in drawn():
        Path(sys.argv[1], f"trend-{name}.png").write_bytes(draw(one))
