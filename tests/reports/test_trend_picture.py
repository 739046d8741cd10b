"""The picture of a trend: what is worked out before it is drawn, and that what is drawn can be sent."""

from __future__ import annotations

import io
import math
import re
import subprocess
import sys
import threading
import warnings
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageColor

from bot.core.trend import Interval, judge
from bot.core.trend_words import tell
from bot.reports import lettering, trend_layout, trend_marks, trend_picture, trend_points
from bot.reports.lettering import EDGE, HEIGHT, SMALL, WIDTH, Label, legible, overlap, shorten, width
from bot.reports.trend_layout import Layout, lay_out
from bot.reports.trend_picture import FAINT, INK, PAPER, STYLES, Mark, TrendPicture, draw, text_line
from bot.reports.trend_points import alarms
from tests.core.test_trend import BIKE, OIL, bike, look
from tests.reports.bikes_drawn import (
    WORDS,
    at,
    changes,
    drawn,
    long_history,
    notes,
    of,
    picture,
)

SMALLEST_ON_PHONE = 11  # pixels of a letter when 1080 are shown as 360


# --- alarm --------------------------------------------------------------------------------------


def test_the_alarm_line_is_the_limit_over_the_next_hours() -> None:
    """8 in 10 h, then 1 in 10 h: above 6 in the next 10 h, as in test_trend; .6 an hour."""
    fallen = of(look(8, 10), look(1, 10))
    assert alarms(fallen.trend) == ((0.6, False),)
    (level,) = lay_out(fallen).levels
    assert level.label.text == "alarm above 0.6"
    assert "Alarm: above 6 pieces in the next 10 h." in notes(lay_out(fallen))


def test_a_vague_history_has_a_doubtful_line_below_the_alarm() -> None:
    doubtful = of(look((2, 6), 6), look(2, 5))
    low, high = doubtful.trend.alarm
    assert high is not None
    assert low < high
    assert alarms(doubtful.trend) == ((high / 5, False), (low / 5, True))
    sure, doubt = lay_out(doubtful).levels
    assert sure.y > doubt.y
    assert f"in doubt above {low}" in notes(lay_out(doubtful))


def test_an_open_count_has_no_alarm_line() -> None:
    layout = lay_out(of(look((60, None), 5)))
    assert [level.doubt for level in layout.levels] == [True]
    assert "No alarm line" in notes(layout)


def test_the_alarm_is_written_where_it_hides_nothing_if_there_is_such_a_place() -> None:
    layout = lay_out(picture("", at(0, look(14, 1), look(13, 2), look(9, 3), look(8, 5), look(5, 20))))
    (level,) = layout.levels
    assert not any(overlap(level.label.box, box) for dot in layout.dots for box in (dot.bar, dot.marker))


def test_no_ground_is_laid_over_a_marker() -> None:
    """0 to 60 in 5 h: ranges from 0 to 12 an hour. The alarm is above them; in doubt is all above 0."""
    full = lay_out(of(*[look((0, 60), 5)] * 40))
    assert [(level.doubt, level.clear) for level in full.levels] == [
        (False, True),
        (True, False),
    ]
    assert full.levels[1].rate == 0


# --- marks --------------------------------------------------------------------------------------


def test_names_of_marks_at_the_same_hours_are_staggered() -> None:
    names = ("first repair", "second repair", "new meter")
    kinds = ("repair", "repair", "meter")
    marks = tuple(Mark(10, kind, name) for kind, name in zip(kinds, names, strict=True))  # type: ignore[arg-type]
    stems = lay_out(of(look(1, 5), look(1, 5), look(1, 20), marks=marks)).stems
    assert [stem.name.text for stem in stems if stem.name] == list(names)
    rows = [stem.name.y for stem in stems if stem.name]
    assert rows[0] > rows[1] > rows[2]  # the leftmost flies highest, over the lines of the others
    assert all(b.x - a.x >= trend_marks.NUDGE for a, b in pairwise(stems))


def test_of_too_many_names_the_repairs_keep_theirs_and_the_rest_is_counted() -> None:
    oil = [Mark(10 + n / 10, "oil_change", f"a thicker oil {n}") for n in range(8)]
    layout = lay_out(of(*[look(1, 5)] * 10, marks=(*oil, Mark(10.45, "repair", "clutch basket"))))
    named = [stem.name.text for stem in layout.stems if stem.name]
    assert "clutch basket" in named
    assert len(layout.stems) == 9
    missing = 9 - len(named)
    assert missing > 0
    assert f"{missing} lines without their names." in notes(layout)


def test_marks_without_a_name_of_their_own_are_explained_by_the_key_alone() -> None:
    layout = lay_out(of(look(1, 5), look(1, 5), marks=(Mark(5, "oil_change"), Mark(7, "repair", " \n "))))
    assert [stem.name for stem in layout.stems] == [None, None]
    assert "without" not in notes(layout)
    assert {"oil_change", "repair"} <= {line.kind for line in layout.key}


def test_oil_changes_are_drawn_all_or_none() -> None:
    looks = [look(1, 5)] * 20
    changed = tuple(changes(bike(*looks)))
    layout = lay_out(of(*looks, marks=(*changed, Mark(12, "repair"), Mark(30, "meter"))))
    assert [stem.mark.kind for stem in layout.stems] == ["repair", "meter"]
    assert "19 marks not drawn." in notes(layout)
    assert len(lay_out(of(*looks, marks=changed[:10])).stems) == trend_marks.MOST == 10


def test_marks_before_and_after_what_is_shown_are_counted_and_not_drawn() -> None:
    early = (Mark(-3, "repair"), Mark(math.nan, "repair"), Mark(900, "meter"), Mark(4, "repair"))
    layout = lay_out(of(look(1, 5), look(1, 5), marks=early))
    assert [stem.mark.at for stem in layout.stems] == [4]
    assert "3 marks not drawn." in notes(layout)


def test_a_mark_at_a_look_stands_beside_it() -> None:
    layout = lay_out(of(look(1, 5), look(1, 5), marks=(Mark(5, "repair"),)))
    assert layout.stems[0].x >= layout.dots[0].marker[2]


MARKS = st.lists(
    st.builds(
        Mark,
        st.floats(0, 60),
        st.sampled_from(["oil_change", "repair", "meter"]),
        st.text(max_size=30) | st.sampled_from(["clutch", "gear 2", "new hour meter from 0"]),
    ),
    max_size=20,
)


@given(st.text(max_size=60), BIKE, MARKS)
@settings(max_examples=150)
def test_no_text_lies_on_another_and_all_are_on_the_page(
    title: str, looks: list[Interval], marks: list[Mark]
) -> None:
    layout = lay_out(picture(title, looks, *marks))
    check_labels(layout)


def check_labels(layout: Layout) -> None:
    apart = [label for label in layout.labels if label.text]
    for n, label in enumerate(apart):
        left, lower, right, upper = label.box
        assert left >= 0, label
        assert lower >= EDGE - 1, label
        assert upper <= HEIGHT, label
        assert right <= WIDTH, label
        on_it = [other for other in apart[n + 1 :] if overlap(label.box, other.box)]
        # Two alarm lines at nearly one height in a full plot may have to share their place.
        assert not [other for other in on_it if {label.role, other.role} != {"alarm"}], (label, on_it)


def test_no_line_of_a_mark_crosses_a_name() -> None:
    marks = tuple(Mark(3 + 2.3 * n, "repair", f"part {n}") for n in range(10))
    layout = lay_out(of(*[look(1, 5)] * 6, marks=marks))
    for stem in layout.stems:
        for other in layout.stems:
            if other.name and other is not stem:
                left, lower, right, _ = other.name.box
                assert not (left < stem.x < right and stem.top > lower)


# --- words on the picture -----------------------------------------------------------------------


def test_all_letters_can_be_read_on_a_phone() -> None:
    for _, one in [*drawn(), ("long", long_history(300))]:
        layout = lay_out(one)
        assert min(label.size for label in layout.labels) / WIDTH * 360 >= SMALLEST_ON_PHONE
        check_labels(layout)


def test_the_key_names_what_is_shown_and_nothing_else() -> None:
    kinds = [line.kind for line in lay_out(of(look(2, 5, OIL), look((5, 30), 5), look(1, 5))).key]
    assert kinds == ["counted", "vague", "other", "span"]
    kinds = [line.kind for line in lay_out(of(look((60, None), 5))).key]
    assert kinds == ["vague", "open", "span"]
    assert [line.kind for line in lay_out(long_history(200)).key][:2] == ["counted", "pooled"]


def test_no_text_of_the_key_is_cut() -> None:
    for key, text in WORDS.texts.items():
        if key.startswith("picture.key."):
            assert shorten(text, SMALL, (WIDTH - 2 * EDGE) / 2 - trend_layout.SYMBOL) == text


def test_every_kind_differs_in_marker_or_dash_and_not_in_colour_alone() -> None:
    """Colour left out, no two are drawn alike; ranges and runs are boxes and bars that lie, not stand."""
    symbols = {kind: (style.marker, style.dash, style.hollow) for kind, style in STYLES.items()}
    shapes = {kind: symbol for kind, symbol in symbols.items() if kind not in ("vague", "span")}
    assert len(set(shapes.values())) == len(shapes) == 10
    assert {line.kind for line in lay_out(of(look((60, None), 5))).key} <= set(STYLES)
    assert STYLES["vague"].width > 5 * STYLES["span"].width


def test_every_wording_of_a_picture_is_used() -> None:
    modules = (trend_layout, trend_picture, trend_points, trend_marks, lettering)
    source = "".join(Path(module.__file__).read_text("utf-8") for module in modules)
    joined = {f"picture.key.{kind}" for kind in STYLES} | {"picture.line.repair", "picture.line.meter"}
    keys = {re.sub(r"\.(one|other)$", "", key) for key in WORDS.texts if key.startswith("picture.")}
    assert {f"picture.line.{kind}" for kind in ("repair", "meter")} <= keys
    # "other" is a kind of look in the key and the half of a pair elsewhere.
    keys = {("picture.key.other" if key == "picture.key" else key) for key in keys}
    assert not [key for key in keys - joined if f'"{key}"' not in source]


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("Old  Goat\n", "Old Goat"),
        ("a\u202eb\u0000c\ud800d", "abcd"),
        ("Zo\u0308e\u0336\u0337\u0338", "Zöe"),
        ("$\\frac{1}{0}$", "$\\frac{1}{0}$"),
        ("", ""),
    ],
)
def test_names_are_made_one_clean_line(told: str, shown: str) -> None:
    assert legible(told) == shown


@given(st.text(max_size=80), st.floats(60, 900))
def test_a_shortened_text_fits(text: str, most: float) -> None:
    short = shorten(text, SMALL, most)
    assert width(short, SMALL) <= most
    assert short == text or short.endswith("…")


# --- the message --------------------------------------------------------------------------------


def test_the_message_of_a_rise() -> None:
    risen = picture("Old Goat", bike(look(2, 6), look(9, 5)), Mark(6, "repair"), Mark(7, "meter"))
    assert text_line(risen) == (
        "Old Goat: 2 looks, 0 to 11 running hours. Alarm: above 7 pieces in the next 5 h. 1 repair. "
        "1 new hour meter. "
        "Rising: 2 pieces in 6 h, then 9 in 5 h; chance alone would do this about 1 time in 60."
    )


@given(st.text(max_size=300), BIKE)
def test_the_message_is_short_and_ends_with_the_judgement(title: str, looks: list[Interval]) -> None:
    told = picture(title, looks)
    text = text_line(told)
    assert len(text) < 300
    assert text.endswith(tell(told.trend, WORDS))
    assert not re.search(r"[\n\r]", text)


# --- the file -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "one"), list(drawn()), ids=[name for name, _ in drawn()])
def test_the_file_can_be_sent(name: str, one: TrendPicture) -> None:
    png = draw(one)
    assert len(png) <= 100_000
    with Image.open(io.BytesIO(png)) as image:
        image.load()
        assert (image.format, image.size, image.mode) == ("PNG", (1080, 1350), "P")
        texts = {key: value for key, value in image.info.items() if isinstance(value, str)}
    assert texts == {"Title": one.title, "Description": text_line(one)}
    assert re.findall(rb"tIME|eXIf|Software|[Mm]atplotlib", png) == []


def test_two_thousand_looks_are_drawn_and_small_enough() -> None:
    assert len(draw(long_history(2000))) <= 100_000


def test_the_fullest_picture_is_small_enough() -> None:
    """72 points of every kind, three names, a long title, all remarks."""
    full = fullest()
    assert len(lay_out(full).dots) == 72
    assert len(draw(full)) <= 100_000


def fullest() -> TrendPicture:
    kinds = (look(0, 5), look((5, 30), (4, 9), OIL), look((60, None), 0.5, chunk=True), look(50, 7.3, ""))
    looks = bike(*(kinds[n % 4] for n in range(72 + 240)))
    marks = [Mark(looks[n].ends, "repair", "WWW MMM $$") for n in range(280, 312, 3)]
    return TrendPicture("Ŵŵ " * 20, tuple(looks), tuple(marks), judge(looks[-12:]), WORDS)


@pytest.mark.parametrize("one", [fullest(), *(one for _, one in drawn())])
def test_every_colour_that_is_drawn_is_there_as_it_was_named(one: TrendPicture) -> None:
    """Fewer shades may soften an edge, never turn one kind's colour into another's."""
    with Image.open(io.BytesIO(draw(one))) as image:
        there = {colour for _, colour in image.convert("RGB").getcolors(1 << 24) or []}
    layout = lay_out(one)
    kinds = {dot.point.kind for dot in layout.dots} | {stem.mark.kind for stem in layout.stems}
    kinds |= {"doubt" if level.doubt else "alarm" for level in layout.levels}
    assert {ImageColor.getrgb(STYLES[kind].colour) for kind in kinds} <= there
    assert {ImageColor.getrgb(colour) for colour in (INK, PAPER, FAINT)} <= there


def test_the_same_picture_is_the_same_bytes_also_from_many_threads() -> None:
    one = dict(drawn())["vague"]
    first, out = draw(one), dict[int, bytes]()

    def at_once(n: int) -> None:
        out[n] = draw(one)

    threads = [threading.Thread(target=at_once, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [out[n] == first for n in range(4)] == [True] * 4


NAMES = ["$x_1$ \\alpha", "山田号", "🐢🐢", "ترولی", "Żółw", "a\ud800b", "\u202eevil", "ꧺ" * 50, "﷽"]


@pytest.mark.parametrize("name", NAMES)
def test_any_name_is_drawn_without_a_warning(name: str) -> None:
    told = picture(name, bike(look(1, 5), look(2, 5)), Mark(5, "repair", name))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        png = draw(told)
    with Image.open(io.BytesIO(png)) as image:
        assert image.info["Title"] == legible(name)


def test_dollars_are_drawn_as_letters() -> None:
    """Were it read as a formula the sign would be gone and the text narrower than its letters."""
    paper = trend_picture.Paper()
    for text in ("$x$", "x"):
        paper.text(Label(text, 10, 100, 50, "title"))
    dollars, plain = (text.get_window_extent(paper.canvas.get_renderer()) for text in paper.figure.texts)
    assert dollars.width > 2.5 * plain.width


def test_letters_that_the_font_has_not() -> None:
    paper = trend_picture.Paper()
    assert paper._drawable("Tante 🐢") == "Tante"
    assert paper._drawable("山田 No. 7") == "□ No. 7"
    assert paper._drawable("🐢") == "□"


def test_room_for_a_text_is_never_taken_too_small() -> None:
    """Every letter that the font has, by its own advance, beside the guess."""
    from matplotlib import get_data_path
    from matplotlib.font_manager import get_font

    font = get_font(f"{get_data_path()}/fonts/ttf/DejaVuSans.ttf")
    font.set_size(1000, 72)
    drawable = [chr(code) for code in font.get_charmap() if legible(chr(code)) == chr(code)]
    assert len(drawable) > 5000
    narrow = [c for c in drawable if font.load_char(ord(c)).linearHoriAdvance / 65536e3 > width(c, 1.0)]
    assert not narrow


@pytest.mark.parametrize("one", [one for _, one in drawn()], ids=[name for name, _ in drawn()])
def test_texts_as_drawn_lie_within_the_room_kept_for_them(one: TrendPicture) -> None:
    paper, labels = trend_picture.Paper(), lay_out(one).labels
    for label in labels:
        paper.text(label)
    for label, text in zip(labels, paper.figure.texts, strict=True):
        took = text.get_window_extent(paper.canvas.get_renderer())
        left, lower, right, upper = label.box
        assert left - 2 <= took.x0, label
        assert took.x1 <= right + 2, label
        assert lower - 2 <= took.y0, label
        assert took.y1 <= upper + 2, label


def test_nothing_that_draws_is_loaded_before_a_picture_is_asked_for() -> None:
    code = "import sys, bot.reports.trend_picture; sys.exit('matplotlib' in sys.modules)"
    assert run_alone(code) == 0


def run_alone(code: str) -> int:
    root = Path(__file__).parents[2]
    return subprocess.run([sys.executable, "-W", "error", "-c", code], check=False, cwd=root).returncode


def test_no_state_of_the_drawing_program_is_touched() -> None:
    """Its settings but one: asking for "backend" would itself load pyplot."""
    code = """
import sys, matplotlib
from tests.reports.bikes_drawn import draw, rise
def settings(): return {key: matplotlib.rcParams[key] for key in matplotlib.rcParams if key != "backend"}
before = settings()
draw(rise())
sys.exit(settings() != before or "matplotlib.pyplot" in sys.modules)
"""
    assert run_alone(code) == 0
