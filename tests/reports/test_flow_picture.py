"""Pictures of flows: nothing overlaps, nothing is cut, nothing is lost, and grey says as much as colour."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from bot.authoring import load, shelf, skeleton
from bot.core.flow import Flow
from bot.reports import flow_cards, flow_layout, flow_picture
from bot.reports.flow_cards import PART_NAMES, Card, Grid, Part, Row
from bot.reports.flow_layout import EDGE, WIDTH, Frame, Line, Page, Symbol, Text, pages, width_of
from bot.reports.lettering import overlap

COMMON = shelf.find().common.read_bytes()


def chain() -> Flow:
    return load.load_text(skeleton.text("chain-comes-off").encode(), COMMON).flow


FLOWS = {"chain-comes-off": chain()} | {id: load.shipped(id).flow for id in load.shipped_ids()}
DRAWN = [(flow, name) for flow in FLOWS for name in PART_NAMES]


def drawn(flow: str, name: str) -> tuple[Page, ...]:
    return pages(flow_cards.part(FLOWS[flow], name))


def judge(page: Page) -> None:
    """What must hold for every page, whatever stands on it."""
    boxes = [text.box for text in page.texts]
    for box in boxes:
        assert box[0] >= EDGE - 1, box
        assert box[2] <= WIDTH - EDGE + 1, box
        assert 0 <= box[1] < box[3] <= page.height, box
    for one, other in combinations(boxes, 2):
        assert not overlap(one, other), (one, other)
    frames = [(f.left, f.top, f.right, f.bottom) for f in page.frames]
    for one, other in combinations(frames, 2):
        assert not overlap(one, other), (one, other)
    for box in boxes:
        around = [f for f in frames if overlap(f, box)]
        assert len(around) <= 1
        for left, top, right, bottom in around:
            assert left <= box[0], "a text juts out of its card"
            assert top <= box[1]
            assert box[2] <= right
            assert box[3] <= bottom
    for symbol in page.symbols:
        half = symbol.half * (1.2 if symbol.kind != "dot" else 1.0)
        at = (symbol.x - half, symbol.y - half, symbol.x + half, symbol.y + half)
        assert not any(overlap(at, box) for box in boxes), symbol
    for line in page.lines:
        at = (min(line.x1, line.x2), min(line.y1, line.y2), max(line.x1, line.x2), max(line.y1, line.y2))
        assert not any(overlap(at, box) for box in boxes), line
        inner = [(a + 1, b + 1, c - 1, d - 1) for a, b, c, d in frames]
        assert not any(overlap(at, frame) for frame in inner), line
    for bar in page.bars:
        at = (bar.left, bar.top, bar.right, bar.bottom)
        assert not any(overlap(at, box) for box in boxes)
        assert any(f[0] <= at[0] and f[1] <= at[1] and at[2] <= f[2] and at[3] <= f[3] for f in frames)


@pytest.mark.parametrize(("flow", "name"), DRAWN)
def test_nothing_overlaps_and_nothing_juts_out(flow: str, name: str) -> None:
    laid = drawn(flow, name)
    assert laid
    for page in laid:
        judge(page)


@pytest.mark.parametrize(("flow", "name"), DRAWN)
def test_nothing_is_lost(flow: str, name: str) -> None:
    """Every word of every card stands on the pages, in the order of the cards."""
    part = flow_cards.part(FLOWS[flow], name)
    shown = " ".join(t.said for page in pages(part) for t in page.texts).split()
    for card in part.cards:
        wanted = " ".join(
            [card.head, *([card.note] if card.note else []), *(r.text for r in card.rows)]
        ).split()
        assert contains(shown, wanted), wanted
    for word in (*part.grid.rows, *part.grid.columns) if part.grid else ():
        assert contains(shown, word.split()), word


def contains(shown: list[str], wanted: list[str]) -> bool:
    return any(shown[n : n + len(wanted)] == wanted for n in range(len(shown) - len(wanted) + 1))


def test_the_room_for_a_text_is_never_less_than_the_font_needs() -> None:
    """Measured a second time by the font itself, for every text of both flows."""
    ft2font = pytest.importorskip("matplotlib.ft2font")
    from matplotlib import get_data_path

    fonts = {
        bold: ft2font.FT2Font(f"{get_data_path()}/fonts/ttf/DejaVuSans{'-Bold' if bold else ''}.ttf")
        for bold in (False, True)
    }
    texts = {t for flow, name in DRAWN for page in drawn(flow, name) for t in page.texts}
    assert len(texts) > 500
    for text in texts:
        font = fonts[text.bold]
        font.set_size(text.size, 72)
        font.set_text(text.said, 0.0)
        assert font.get_width_height()[0] / 64 <= width_of(text.said, text.size, text.bold) + 1, text


@pytest.mark.parametrize(
    "spoilt",
    [
        Page("x", 100.0, [Text("one", 20.0, 40.0, 24.0), Text("two", 40.0, 45.0, 24.0)]),
        Page("x", 100.0, [Text("W" * 60, 20.0, 40.0, 24.0)]),
        Page("x", 30.0, [Text("below", 20.0, 40.0, 24.0)]),
        Page("x", 100.0, [Text("juts out", 20.0, 40.0, 24.0)], [Frame(20.0, 0.0, 60.0, 90.0)]),
        Page("x", 100.0, [], [Frame(20.0, 0.0, 60.0, 90.0), Frame(20.0, 80.0, 60.0, 99.0)]),
        Page("x", 100.0, [Text("+", 20.0, 40.0, 24.0)], symbols=[Symbol("+", 25.0, 32.0, 8.0)]),
        Page("x", 100.0, [Text("crossed", 20.0, 40.0, 24.0)], lines=[Line(30.0, 0.0, 30.0, 90.0)]),
    ],
    ids=["texts", "right edge", "lower edge", "card", "cards", "mark", "line"],
)
def test_the_judge_sees_what_is_wrong(spoilt: Page) -> None:
    with pytest.raises(AssertionError):
        judge(spoilt)


# --- odd flows ----------------------------------------------------------------------------------------

WORDS = st.text(st.sampled_from("abcWM -_/.,éß%12"), max_size=120)
ROWS = st.builds(
    Row,
    WORDS,
    st.sampled_from(["", "+", "-", "!", "?", ">"]),
    st.sampled_from(["plain", "faint", "strong"]),
    st.integers(0, 2),
)


@st.composite
def _cards(draw: st.DrawFn) -> tuple[Card, ...]:
    """Cards as a tree has them: each at most one deeper than the one before."""
    cards, depth = list[Card](), 0
    for _ in range(draw(st.integers(1, 8))):
        depth = draw(st.integers(0, depth + 1)) if cards else 0
        bar = draw(st.none() | st.floats(0, 1))
        rows = tuple(draw(st.lists(ROWS, max_size=12)))
        note = draw(st.sampled_from(["", "10 min off, 20 on", "1. safety"]))
        cards.append(Card(draw(WORDS), rows, note, depth, joined=depth > 0, bar=bar))
    return tuple(cards)


@given(_cards(), WORDS)
def test_whatever_an_author_writes_nothing_overlaps(cards: tuple[Card, ...], title: str) -> None:
    for page in pages(Part("looks", title, (Row("what it means", "+"),), cards)):
        judge(page)


@given(st.integers(1, 40), st.integers(1, 40), st.randoms(use_true_random=False), WORDS)
def test_a_grid_of_any_size_shows_every_dot_once(rows: int, columns: int, chance: object, word: str) -> None:
    pick = {(r, c): 0.5 for r in range(rows) for c in range(columns) if (r * 7 + c * 3) % 4 == 0}
    grid = Grid(tuple(f"{word} {r}" for r in range(rows)), tuple(f"cause {c}" for c in range(columns)), pick)
    laid = pages(Part("speaks", "Grid", (), grid=grid))
    for page in laid:
        judge(page)
    assert sum(s.kind == "dot" for page in laid for s in page.symbols) == len(pick)


def test_a_word_wider_than_the_page_is_broken_and_kept_whole() -> None:
    word = "W" * 200
    lines = flow_layout.fold(word, 24.0, 300.0)
    assert "".join(lines) == word
    assert all(width_of(line, 24.0) <= 300.0 for line in lines)


def test_a_page_ends_before_it_is_too_high_unless_one_card_is() -> None:
    for flow, name in DRAWN:
        for page in drawn(flow, name):
            top = min((f.top for f in page.frames), default=0.0)
            assert len(page.frames) <= 1 or page.height - top <= flow_layout.HIGHEST + 2 * EDGE


# --- what is told --------------------------------------------------------------------------------------


def test_the_tree_of_access_by_hand() -> None:
    """Oil comes before the filter, and before the cover that also wants the coolant out."""
    tree = flow_cards.tree(FLOWS["metal-in-oil"])
    assert tree[:4] == [("skid-plate", 0), ("oil-out", 1), ("filter-out", 2), ("main-right-cover", 2)]
    assert ("clutch-pack-out", 3) in tree
    assert sorted(id for id, _ in tree) == sorted(FLOWS["metal-in-oil"].access)
    assert all(after <= before + 1 for (_, before), (_, after) in pairwise(tree))


def test_the_stop_of_the_small_flow_by_hand() -> None:
    [card] = [c for c in flow_cards.part(FLOWS["chain-comes-off"], "stops").cards if c.head == "Chain jammed"]
    assert card.note == "no running and no riding"
    assert [(row.mark, row.text) for row in card.rows[1:]] == [
        ("!", "the chain is wedged and the rear wheel does not turn"),
        ("", "asked by: Chain wedged, wheel stuck"),
        (">", "one of:"),
        ("", "Look at the front sprocket: Tight, straight, case whole"),
        ("", "Front sprocket refitted"),
        ("", "Chain and both sprockets renewed"),
    ]


def test_the_questions_of_the_small_flow_by_hand() -> None:
    first, second, *_ = flow_cards.part(FLOWS["chain-comes-off"], "opening").cards
    assert (first.note, second.note) == ("1. safety", "2. opening")
    assert [(row.mark, row.text) for row in second.rows] == [
        ("", "Over bumps, or with the throttle shut"),
        ("-", "Chain and sprockets worn out, Front sprocket loose on its shaft"),
        ("", "Under load, with a jerk"),
        ("+", "Chain and sprockets worn out, Front sprocket loose on its shaft"),
    ]
    assert ("!", "stop: chain jammed") in [(row.mark, row.text) for row in first.rows]


def test_the_looks_and_causes_of_the_small_flow_by_hand() -> None:
    chain_look, front = flow_cards.part(FLOWS["chain-comes-off"], "looks").cards
    assert "Chain too slack: 95, by mistake 5" in [row.text for row in chain_look.rows]
    assert front.rows[0].text == "behind sprocket cover; trail, pit or garage; anyone"
    assert (">", "lifts chain jammed") in [(row.mark, row.text) for row in front.rows]
    slack, worn, loose = flow_cards.part(FLOWS["chain-comes-off"], "causes").cards
    assert [c.bar for c in (slack, worn, loose)] == pytest.approx([1.0, 35 / 45, 10 / 45])
    assert ("?", "Look at the front sprocket") in [(row.mark, row.text) for row in loose.rows]
    assert (">", "Chain and both sprockets renewed") in [(row.mark, row.text) for row in worn.rows]


def test_what_is_shared_comes_last() -> None:
    shared = frozenset({("stop_rules", "rider-hurt"), ("questions", "rider-hurt")})
    flow = FLOWS["chain-comes-off"]
    for name in ("stops", "opening"):
        heads = [card.head for card in flow_cards.part(flow, name, shared).cards]
        assert heads[-1] in ("Rider hurt", "Head hit, black-out, neck pain, tingling")


def test_a_cause_that_nobody_speaks_about_is_named_in_the_grid() -> None:
    grid = Grid(("a look",), ("one", "two"), {(0, 0): 1.0})
    [page] = pages(Part("speaks", "x", (), grid=grid))
    assert "2. two - nobody speaks about it" in " ".join(t.said for t in page.texts)


# --- what is written -----------------------------------------------------------------------------------


def test_svg_is_well_formed_and_holds_every_text() -> None:
    for page in drawn("chain-comes-off", "opening"):
        root = ET.fromstring(flow_picture.svg(page))
        said = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
        assert said == [text.said for text in page.texts]


def test_svg_takes_letters_that_mean_something_to_it() -> None:
    page = Page("a < b & c", 100.0, [Text('<"&>', 20.0, 50.0, 24.0)])
    root = ET.fromstring(flow_picture.svg(page))
    assert [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")] == ['<"&>']


@pytest.mark.parametrize("name", ["access", "causes", "speaks"])
def test_png_is_grey_and_as_large_as_laid_out(name: str) -> None:
    pytest.importorskip("matplotlib")
    page = drawn("chain-comes-off", name)[0]
    picture = Image.open(io.BytesIO(flow_picture.png(page))).convert("RGB")
    assert (picture.width, abs(picture.height - page.height) <= 1) == (800, True)
    pixels = np.asarray(picture).astype(int)
    assert (pixels.max(axis=2) - pixels.min(axis=2)).max() == 0
    assert pixels.min() < 40
    assert (pixels == 255).mean() > 0.1


def test_letters_stand_out_from_their_ground() -> None:
    """At least 7 to 1, by the formula of the web accessibility guidelines (WCAG 2, relative luminance)."""

    def light(colour: str) -> float:
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for ink in (flow_picture.INK, flow_picture.SOFT):
        for ground in (flow_picture.PAPER, flow_picture.CARD, flow_picture.BAND):
            assert (light(ground) + 0.05) / (light(ink) + 0.05) >= 7, (ink, ground)
