"""The sheet as a PDF for the bench: tagged, A4 or US letter, good in grey, photos on following pages.

The typesetter is imported when the first PDF is made; the start of everything else would wait for it.
It sees one folder that holds the template, the texts as JSON and the pictures, and the fonts of installed
font packages only, so that a PDF is the same wherever it is made.
"""

from __future__ import annotations

import json
import logging
import re
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from bot.reports import paper
from bot.reports.glyphs import letters_of, printable
from bot.reports.lines import counted
from bot.reports.sheet import Facts
from bot.reports.wording import ENGLISH, Wording

Paper = Literal["a4", "letter"]
PAPERS: Mapping[str, str] = {"a4": "a4", "letter": "us-letter"}
FONT = "noto-sans"  # the one that must be there; others fill in for scripts that it has not
TEMPLATE = Path(__file__).with_name("sheet.typ")
LOG = logging.getLogger("sumpline.reports")


@dataclass(frozen=True)
class Drawn:
    """A picture of the trend as PNG, and the same in words."""

    png: bytes
    words: str


def print_sheet(
    sheet: Facts,
    photos: Mapping[str, bytes],
    trend: Drawn | None = None,
    size: Paper = "a4",
    say: Wording = ENGLISH,
    left_out: int = 0,
) -> bytes:
    """The PDF. `photos`: JPEG by digest; one that is missing is said to be.

    `left_out`: how many older photos are not in. ImportError where no PDF can be made, for want of the
    packages of `sumpline[paper]`.
    """
    import typst

    fonts = _fonts()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copyfile(TEMPLATE, folder / "sheet.typ")
        data = _data(folder, sheet, photos, trend, say, left_out)
        data |= {"paper": PAPERS[size], "fonts": list(fonts.families), "lang": say["paper.lang"]}
        shown = fonts.fit(data, say["paper.foreign"])
        (folder / "data.json").write_text(json.dumps(shown, ensure_ascii=False), "utf-8")
        made: bytes = typst.compile(
            folder / "sheet.typ", root=folder, font_paths=fonts.loaded, ignore_system_fonts=True,
            timestamp=datetime.fromisoformat(sheet.written_at), pdf_standards="ua-1",
        )  # fmt: skip
    return made


def _data(
    folder: Path, sheet: Facts, photos: Mapping[str, bytes], trend: Drawn | None, say: Wording, left_out: int
) -> dict[str, Any]:
    """The page, with its pictures laid into the folder."""
    page = paper.lay(sheet, say)
    if trend is not None:
        (folder / "trend.png").write_bytes(trend.png)
    page["pictures"] = page["pictures"][left_out:]
    for n, picture in enumerate(page["pictures"]):
        digest = picture.pop("digest")
        known = photos.get(digest)
        why = "paper.missing" if re.fullmatch("[0-9a-f]{64}", digest) else "paper.on_its_way"
        picture["file"] = f"photo-{n}.jpg" if known else ""
        picture["missing"] = "" if known else say[why]
        if known:
            (folder / picture["file"]).write_bytes(known)
    return {
        **page,
        "next_title": say["paper.next"],
        "trend": trend and {"file": "trend.png", "alt": trend.words},
        "trend_title": say["trend"],
        "left_out": counted("paper.left_out", left_out, say) if left_out else "",
    }


# --- fonts -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fonts:
    """The fonts of installed packages, the main one first, and the letters that they have."""

    loaded: Any
    families: Sequence[str]
    letters: frozenset[int]

    def fit(self, data: Any, notice: str) -> Any:
        """The same data with every text made fit to print."""
        if isinstance(data, str):
            shown = printable(data, self.letters, notice)
            if notice in shown and notice not in data:
                LOG.warning("a text of this sheet is in a script that no installed font package has")
            return shown
        if isinstance(data, Mapping):
            return {key: self.fit(value, notice) for key, value in data.items()}
        return [self.fit(one, notice) for one in data] if isinstance(data, list) else data


@lru_cache(maxsize=1)
def _fonts() -> Fonts:
    """Raises ImportError where the main font is not installed."""
    import fontpkg  # type: ignore[import-untyped]
    import typst

    found = fontpkg.families()
    if FONT not in found:
        raise ImportError("the font package for paper is not installed", name="fontpkg_noto_sans")
    ranked = sorted(found.values(), key=lambda family: (family.slug != FONT, family.slug))
    files = [file.path for family in ranked for file in family.files]
    upright = [file.path for family in ranked for file in family.files if file.style == "normal"]
    loaded = typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=list({p.parent for p in files})
    )
    letters = frozenset[int]().union(*(letters_of(path) for path in upright))
    return Fonts(loaded, [family.name for family in ranked], letters)
