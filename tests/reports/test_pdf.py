"""The sheet on paper, read back by another program: it holds every fact, is tagged, and fits its page."""

from __future__ import annotations

import io
import logging
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from typing import Any, Literal

import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.core import events
from bot.reports import pdf, sheet_json
from bot.reports.lines import moment
from bot.reports.pdf import print_sheet
from bot.reports.sheet import Facts, FindingLine, NoteLine, Voice
from bot.reports.wording import ENGLISH
from tests.reports.sheets_drawn import CASES, PHOTOS, case, digest, photo, printed, under_watch
from tests.reports.test_facts import settled, started
from tests.reports.test_pocket import usual

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
Size = Literal["a4", "letter"]


@cache
def page_sizes() -> dict[str, tuple[int, int]]:
    return {"a4": (595, 842), "letter": (612, 792)}  # points; ISO 216, and 8.5 by 11 inches


def opened_pdf(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data))


def bare(text: str) -> str:
    """Without what another line break or a hyphen would change."""
    return re.sub(r"[\s\u200b]+", "", text)


def text_of(data: bytes) -> str:
    """All that is printed, without the line at the foot of each page."""
    reader = opened_pdf(data)
    assert reader.metadata is not None
    foot = re.escape(bare(f"{reader.metadata.title} · {ENGLISH['outranked']}")) + r"page\d+of\d+"
    return "".join(re.sub(foot, "", bare(page.extract_text())) for page in reader.pages)


# --- every fact is on the page ---------------------------------------------------------------

# Keys whose values are of the form and not told in these words; what they say is worded on the page.
CODES = {
    "kind", "certainty", "role", "standing", "strength", "said", "stale", "held", "why", "source", "basis",
    "how", "running", "bars", "direction", "check_digit", "result", "ended",
}  # fmt: skip


def strings(plain: Any, key: str = "") -> Iterator[tuple[str, str]]:
    """Every text of the JSON, with its key."""
    if isinstance(plain, dict):
        for name, value in plain.items():
            yield from strings(value, name)
    elif isinstance(plain, list):
        for value in plain:
            yield from strings(value, key)
    elif isinstance(plain, str) and plain and key not in CODES:
        yield key, plain


def parts(key: str, told: str) -> list[str]:
    """How a text of the JSON stands on the page: a time as day and clock, a digest by its beginning."""
    if key in ("at", "since", "written"):
        return moment(told).split(" ")
    if key == "digest":
        return [told[:12]]
    return [" ".join(told.split()).rstrip(".:")]


def missing(facts: Facts, data: bytes) -> list[tuple[str, str]]:
    """What the JSON tells and the page does not."""
    page, plain = text_of(data), sheet_json.dump(facts)
    unused = set() if plain["parts_to_order"] else {"currency", "prices_as_of"}  # nothing has a price
    return [
        (key, part)
        for key, told in strings(plain)
        if key not in unused
        for part in parts(key, told)
        if bare(part) not in page
    ]


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("size", ["a4", "letter"])
def test_the_page_holds_every_fact_of_the_json(name: str, size: Size) -> None:
    one = CASES[name]()
    assert missing(one.facts(), printed(one, size)) == []


@pytest.mark.parametrize(
    "name",
    [
        "handed-over", "two-faults", "relapse-because-the-nut-went-onto-an-oily-thread",
        "does-not-fit-what-i-know", "parked-for-lack-of-tools", "not-sure-to-everything", "step-renew-crank",
        "stop-very-many-pieces",
    ],
)  # fmt: skip
def test_the_page_holds_every_fact_of_a_sample(name: str) -> None:
    facts = case(name).facts()
    data = print_sheet(facts, {})
    assert missing(facts, data) == []
    page = text_of(data)
    for suspect in facts.suspects:
        word = ENGLISH.get(f"short.standing.{suspect.standing}", ENGLISH[f"standing.{suspect.standing}"])
        assert bare(word) in page


def test_the_search_for_what_is_missing_finds_it() -> None:
    facts = case("handed-over").facts()
    more = replace(
        facts,
        notes=(*facts.notes, NoteLine("never printed", "", Voice("x", "rider", facts.written_at, None))),
    )
    assert ("words", "never printed") in missing(more, print_sheet(facts, {}))


def test_numbers_are_on_the_page_in_words() -> None:
    page = text_of(printed(under_watch()))
    for told in (
        "0.8 clean running hours", "Chance that it is fixed: 97 of 100", "1 x clutch plates, 89 EUR", "38 h",
        "Finds 7 to 9 of 10", "Spent: 232 min and 35 EUR", "NO LOOK MADE",
    ):  # fmt: skip
        assert bare(told) in page


# --- tagged, sized, titled -------------------------------------------------------------------


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_it_is_tagged_titled_and_of_its_paper(size: Size) -> None:
    reader = opened_pdf(printed(CASES["under-watch"](), size))
    root = reader.root_object
    assert root["/MarkInfo"]["/Marked"].value is True
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    assert reader.metadata is not None
    assert reader.metadata.title == "Old Nail: Metal in the oil"
    wide, high = (round(x) for x in reader.pages[0].mediabox.upper_right)
    assert (wide, high) == page_sizes()[size]
    # ISO 14289-1 (PDF/UA-1) asks the file to say so itself.
    assert b"pdfuaid:part" in root["/Metadata"].get_data()


def kinds(node: Any, found: list[str]) -> list[str]:
    """The kinds of all elements of the structure tree."""
    node = node.get_object()
    if isinstance(node, list):
        for one in node:
            kinds(one, found)
    elif isinstance(node, dict):
        if "/S" in node:
            found.append(str(node["/S"]))
        if "/K" in node:
            kinds(node["/K"], found)
    return found


def test_tables_headings_and_pictures_are_what_they_are_to_a_screen_reader() -> None:
    root = opened_pdf(printed(CASES["under-watch"]())).root_object
    found = kinds(root["/StructTreeRoot"]["/K"], [])
    assert found.count("/Table") >= 2
    assert {"/H1", "/H2", "/TH", "/TD", "/Figure"} <= set(found)
    assert found.count("/Figure") == 1 + len(PHOTOS)


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize("name", ["usual", "before-repair", "under-a-stop"])
def test_a_usual_case_takes_one_page_without_its_pictures(name: str, size: Size) -> None:
    facts = usual() if name == "usual" else CASES[name]().facts()
    assert len(opened_pdf(print_sheet(facts, {}, None, size)).pages) == 1


@pytest.mark.parametrize("name", CASES)
def test_each_page_says_which_it_is_of_how_many(name: str) -> None:
    pages = opened_pdf(printed(CASES[name]())).pages
    for n, page in enumerate(pages, 1):
        assert f"page{n}of{len(pages)}" in bare(page.extract_text())


def letter_sizes(page: pypdf.PageObject) -> set[float]:
    """The sizes of all letters of a page, in points."""
    sizes: set[float] = set()

    def visit(text: str, cm: list[float], tm: list[float], font: Any, size: float) -> None:
        if text.strip():
            sizes.add(round(abs(size * tm[0] * cm[0]), 1))

    page.extract_text(visitor_text=visit)
    return sizes


@pytest.mark.parametrize(
    "name", ["running-in", "handed-over", "step-renew-gearbox-bearings", "two-faults", "primary-nut-loose"]
)
def test_no_letter_is_smaller_than_eight_points(name: str) -> None:
    sizes = set[float]().union(*map(letter_sizes, opened_pdf(print_sheet(case(name).facts(), {})).pages))
    assert min(sizes) == 8  # the line at the foot


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize(
    "name", ["handed-over", "step-renew-gears", "notched-basket", "stop-steel-splinters"]
)
def test_a_full_case_is_set_smaller_rather_than_on_two_pages(name: str, size: Size) -> None:
    pages = opened_pdf(print_sheet(case(name).facts(), {}, None, size)).pages
    assert len(pages) == 1
    assert 9 not in letter_sizes(pages[0])


def test_what_needs_two_pages_anyway_is_set_as_large_as_ever() -> None:
    pages = opened_pdf(print_sheet(case("two-faults").facts(), {})).pages
    assert len(pages) == 2
    assert 9 in letter_sizes(pages[0])


def test_pictures_stand_on_following_pages() -> None:
    reader = opened_pdf(printed(CASES["before-repair"]()))
    assert [len(page.images) for page in reader.pages] == [0, 1]
    several = opened_pdf(printed(under_watch()))
    assert len(several.pages[0].images) == 0
    assert sum(len(page.images) for page in several.pages) == 1 + len(PHOTOS)


def test_the_same_facts_make_the_same_file() -> None:
    facts = usual()
    assert print_sheet(facts, {}) == print_sheet(facts, {})


# --- what is missing -------------------------------------------------------------------------


def with_photos(*refs: str) -> Facts:
    case_ = started()
    for ref in refs:
        case_.add(events.Noted(file=ref, file_kind="photo", about="question:magnet"))
    from bot.reports import text
    from tests.rattle import FLOW

    return text.facts_of(FLOW, settled(case_).state, NOON)


def test_a_photo_that_is_gone_or_on_its_way_is_said_to_be() -> None:
    gone = digest(b"gone")
    page = text_of(print_sheet(with_photos(gone, "telegram-3"), {}))
    assert bare(ENGLISH["paper.missing"]) in page
    assert bare(ENGLISH["paper.on_its_way"]) in page
    assert gone[:12] in page


def test_older_photos_beyond_the_limit_are_counted() -> None:
    told = list(PHOTOS)
    data = print_sheet(with_photos(*told), {told[2]: PHOTOS[told[2]]}, left_out=2)
    assert bare("2 older photos are not printed.") in text_of(data)
    assert sum(len(page.images) for page in opened_pdf(data).pages) == 1
    assert all(one[:12] in text_of(data) for one in told)  # among the notes


def test_without_the_font_nothing_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    import fontpkg

    pdf._fonts.cache_clear()
    monkeypatch.setattr(fontpkg, "families", dict)
    with pytest.raises(ImportError):
        print_sheet(usual(), {})
    monkeypatch.undo()
    pdf._fonts.cache_clear()


# --- large -----------------------------------------------------------------------------------


def test_sixty_findings_and_forty_photos_stay_below_20_mb_and_are_soon_made() -> None:
    """Photos as they come out of the record, 1600 pixels and as full of detail as noise."""
    import random

    from PIL import Image

    from bot.record.photos import for_paper

    noise, shots = random.Random(7), {}
    for _ in range(40):
        out = io.BytesIO()
        Image.effect_noise((1600, 1200), noise.uniform(40, 90)).convert("RGB").save(out, "JPEG", quality=85)
        shots[digest(out.getvalue())] = for_paper(out.getvalue(), 1000, 75)
    facts = with_photos(*shots)
    voice = Voice("Ann", "mechanic", "2026-05-04T09:00:00Z", (43, 43))
    many = tuple(
        FindingLine(
            f"Look number {n} at this part, all of it?",
            f"What was found there, in words, {n}",
            4,
            voice,
            0,
            0,
        )
        for n in range(60)
    )
    began = time.perf_counter()
    data = print_sheet(replace(facts, findings=many), shots)
    assert time.perf_counter() - began < 30
    assert len(data) < 20_000_000
    assert sum(len(page.images) for page in opened_pdf(data).pages) == 40
    assert all(bare(f"in words, {n}") in text_of(data) for n in range(60))


# --- texts of anyone -------------------------------------------------------------------------

HOSTILE = [
    '#read("/etc/passwd")', "$x^2$ $ $", "*bold* _it_ `raw` <label> @ref", "= a heading\n== another",
    "#set page(width: 1pt)", "- list\n+ list\n/ term: x", "\\u{1F600} \\ #let x = 1", "// gone? /* gone */",
    "https://example.org/#a?b=c&d", "../../../etc/passwd", "C:\\temp\\x.jpg", "'; drop table cases; --",
    "{n} {all} {{}}", "-- --- ... ~ ''\"\"", "Масло блестит", "ελαιόλαδο", "x" * 4000,
    "words again and " * 250, "a\x00\x01\x1b[2Jb", "\u202edoog\u202c ok",
]  # fmt: skip


def everywhere(facts: Facts, text: str) -> Facts:
    """The same case with this text wherever a person's words stand."""
    voice = Voice(text, "mechanic", facts.written_at, None)
    note = NoteLine(text, "", voice)
    finding = replace(facts.findings[0], answer=text, voice=voice)
    part = replace(under_watch().facts().fitted[0], name=text, currency=text[:20])
    return replace(
        facts, complaint=text, bike=text, notes=(note,), findings=(finding,), fitted=(part,), holders=(text,)
    )


def as_shown(text: str) -> str:
    """What of it can be shown, by hand: one line, no control and no direction marks."""
    return "".join(c for c in " ".join(text.split()) if c >= " " and c not in "\u202e\u202c")


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: text[:20])
def test_what_a_person_wrote_is_text_and_nothing_else(text: str) -> None:
    facts = everywhere(usual(), text)
    data = print_sheet(facts, {})
    page, plain = text_of(data), bare(as_shown(text))
    assert page.count(plain) >= 6
    assert "root:" not in page
    assert opened_pdf(data).metadata.title.startswith(as_shown(text)[:20])  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("油里有金属 at 43 h", "[text in another script, see chat] at 43 h"),
        ("عند 43 ساعة", "[text in another script, see chat] 43 [text in another script, see chat]"),
        ("hot \U0001f525 oil", "hot \ufffd oil"),
    ],
)
def test_letters_that_no_font_has_are_named_and_logged(
    text: str, shown: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING, "sumpline.reports"):
        page = text_of(print_sheet(replace(usual(), complaint=text), {}))
    assert bare(shown) in page
    assert text not in caplog.text
    assert ("another script" in shown) == bool(caplog.records)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.text(max_size=400))
def test_any_text_can_be_printed(text: str) -> None:
    assert opened_pdf(print_sheet(everywhere(usual(), text), {})).pages


def test_photos_are_not_named_by_what_a_person_wrote() -> None:
    """A file's name on disk is ours; a path in a reference is no path."""
    page = text_of(
        print_sheet(with_photos("../../../../etc/passwd", "/etc/passwd"), {"/etc/passwd": photo(1)})
    )
    assert "root:" not in page
