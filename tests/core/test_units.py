"""Quantities as riders type them, and conversions against published figures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.spoken import speak
from bot.core.units import Quantity, alike, convert, measure, name, quantities, show

# Factors as printed in NIST SP 811 (2008), appendix B.8, to the figures given there. The torque and
# pound-per-square-inch factors were written down from memory of that table.
NIST = [
    (1, "lbf.ft", "N.m", 1.355818, 7),
    (1, "lbf.in", "N.m", 0.1129848, 7),
    (1, "psi", "kPa", 6.894757, 7),
    (1, "bar", "kPa", 100, 9),
    (1, "in", "mm", 25.4, 9),
    (1, "ft", "m", 0.3048, 9),
    (1, "mile", "km", 1.609344, 9),
    (1, "lb", "kg", 0.45359237, 9),
    (1, "lbf", "N", 4.448222, 7),
    (1, "kgf.m", "N.m", 9.80665, 9),
    (1, "US gal", "l", 3.785412, 7),
    (1, "imp gal", "l", 4.54609, 9),
    (1, "fl oz", "ml", 29.57353, 7),
    (1, "tbsp", "ml", 14.78676, 7),
    (1, "tsp", "ml", 4.928922, 7),
]
# Conversion tables of a US naval facilities design manual for the volumes, and worked figures of the
# trade. All to the figures printed.
WORKED = [
    (150, "N·m", "lbf·ft", 110.63, 5),
    (12, "lbf·ft", "N·m", 16.27, 4),
    (10, "N·m", "lbf·ft", 7.38, 3),
    (15, "psi", "kPa", 103.42, 5),
    (12, "psi", "kPa", 82.74, 4),
    (110, "kPa", "psi", 15.95, 4),
    (1, "bar", "psi", 14.50, 4),
    (1.2, "qt", "ml", 1135.6, 5),
    (1, "US qt", "ml", 946.353, 6),
    (1, "imp pint", "ml", 568.26, 5),
    (0.5, "tsp", "ml", 2.46, 3),
    (284, "F", "C", 140.0, 4),
    (500, "F", "C", 260.0, 4),
    (268, "F", "C", 131.1, 4),
    (-36.4, "C", "F", -33.5, 3),
    (1, "N·m", "lbf·ft", 0.737562, 6),
]


@pytest.mark.parametrize(("value", "start", "end", "wanted", "figures"), [*NIST, *WORKED])
def test_conversion_agrees_with_the_published_figure(
    value: float, start: str, end: str, wanted: float, figures: int
) -> None:
    found = convert(value, start, end)
    assert found is not None
    step = 10.0 ** (math.floor(math.log10(abs(wanted))) + 1 - figures)
    assert abs(found - wanted) <= step / 2 * (1 + 1e-9)


@pytest.mark.parametrize(
    ("start", "end"), [("h", "km"), ("N·m", "psi"), ("tsp", ""), ("", "h"), ("d", "h"), ("wibble", "mm")]
)
def test_what_measures_something_else_is_not_converted(start: str, end: str) -> None:
    assert convert(1, start, end) is None
    assert not alike(start, end)


@given(
    st.floats(-1e6, 1e6),
    st.sampled_from(
        [("N·m", "lbf·ft"), ("°C", "°F"), ("kPa", "psi"), ("l", "qt"), ("mm", "in"), ("h", "min")]
    ),
)
def test_there_and_back_is_the_same(value: float, pair: tuple[str, str]) -> None:
    there = convert(value, *pair)
    assert there is not None
    back = convert(there, pair[1], pair[0])
    assert back == pytest.approx(value, rel=1e-9, abs=1e-9)


def exact(value: float, unit: str) -> Quantity:
    return Quantity(value, value, unit)


TYPED = [
    ("4,5 h", None, exact(4.5, "h")),
    ("4.5 hours", None, exact(4.5, "h")),
    ("45 min", "h", exact(45, "min")),
    ("5 m", "h", exact(5, "min")),
    ("5 m", None, exact(5, "m")),
    ("110 ft lb", None, exact(110, "lbf·ft")),
    ("110 ft-lbs", None, exact(110, "lbf·ft")),
    ("110 lbf.ft", None, exact(110, "lbf·ft")),
    ("80 foot pounds", None, exact(80, "lbf·ft")),
    ("150 Nm", None, exact(150, "N·m")),
    ("150 N·m", None, exact(150, "N·m")),
    ("150 newton metres", None, exact(150, "N·m")),
    ("half a teaspoon", None, exact(0.5, "tsp")),
    ("a quarter teaspoon", None, exact(0.25, "tsp")),
    ("1/2 tsp", None, exact(0.5, "tsp")),
    ("½ tsp", None, exact(0.5, "tsp")),
    ("a teaspoon", None, exact(1, "tsp")),
    ("a pinch", None, Quantity(1 / 16, 1 / 8, "tsp")),
    ("10 to 60", "", Quantity(10, 60, "")),
    ("10-60", "", Quantity(10, 60, "")),
    ("10 – 60 pieces", "", Quantity(10, 60, "")),
    ("between 10 and 60 hours", "h", Quantity(10, 60, "h")),
    ("30 min to 1 h", "h", Quantity(0.5, 1, "h")),
    ("6 or 7", "", Quantity(6, 7, "")),
    ("about 40", "", Quantity(32, 48, "")),
    ("~40 h", "h", Quantity(32, 48, "h")),
    ("40ish hours", "h", Quantity(32, 48, "h")),
    ("60+", "", Quantity(60, math.inf, "")),
    ("5 or fewer", "", Quantity(0, 5, "")),
    ("no more than 5", "", Quantity(0, 5, "")),
    ("54:30", "h", exact(54.5, "h")),
    ("54:30", None, None),
    ("1h30", "h", exact(1.5, "h")),
    ("1 h 30", "h", exact(1.5, "h")),
    ("2 h 30 bolts", "h", exact(2, "h")),
    ("2 3/2", "", None),
    ("1 h 30 min", "h", exact(1.5, "h")),
    ("2 hours and 15 minutes", "h", exact(2.25, "h")),
    ("an hour and a half", "h", exact(1.5, "h")),
    ("half an hour", "h", exact(0.5, "h")),
    ("one and a half hours", "h", exact(1.5, "h")),
    ("6 engine hours", "h", exact(6, "h")),
    ("6 small flakes", "", exact(6, "")),
    ("two", "", exact(2, "")),
    ("twenty-five", "", exact(25, "")),
    ("two hundred", "", exact(200, "")),
    ("a dozen", "", exact(12, "")),
    ("half a dozen", "", exact(6, "")),
    ("a few", "", Quantity(3, 5, "")),
    ("a couple of hours", "h", exact(2, "h")),
    ("none", "", exact(0, "")),
    ("no", "h", exact(0, "")),
    ("none", None, None),
    ("no", None, None),
    ("no idea", "h", None),
    ("3 mm", None, exact(3, "mm")),
    ("1/8 inch", None, exact(0.125, "in")),
    ("1 1/2 inches", None, exact(1.5, "in")),
    ('1/8"', None, exact(0.125, "in")),
    ("3 in the pan", "", exact(3, "")),
    ("14 psi", None, exact(14, "psi")),
    ("14 pounds", "psi", exact(14, "psi")),
    ("14 pounds", None, exact(14, "lb")),
    ("1 bar", None, exact(1, "bar")),
    ("100 C", None, exact(100, "°C")),
    ("212 F", None, exact(212, "°F")),
    ("212°F", None, exact(212, "°F")),
    ("90 degrees", "°F", exact(90, "°F")),
    ("-5 C", None, exact(-5, "°C")),
    ("1.2 qt", None, exact(1.2, "qt")),
    ("12.6v", None, exact(12.6, "V")),
    ("1,200 km", None, exact(1200, "km")),
    ("12 500 km", None, exact(12500, "km")),
    ("3k km", None, exact(3000, "km")),
    ("2 days ago", "h", exact(2, "d")),
    ("54 hours, 3 bolts", "h", exact(54, "h")),
    ("3 and 7", "", None),
    ("an M8 bolt", "", None),
    ("10w40", "", None),
    ("²", "", None),
    ("1/0", "", None),
    ("٤٥", "", exact(45, "")),
    ("", "", None),
    ("ft", None, None),
]


@pytest.mark.parametrize(("text", "asked", "wanted"), TYPED)
def test_quantity_is_read_as_typed(text: str, asked: str | None, wanted: Quantity | None) -> None:
    found = measure(text, asked)
    if wanted is None:
        assert found is None
    else:
        assert found is not None
        assert found.unit == wanted.unit
        assert (found.low, found.high) == pytest.approx((wanted.low, wanted.high))


def test_more_than_and_less_than_leave_the_edge_out() -> None:
    more, less = measure("more than 60", ""), measure("less than 5", "")
    assert more is not None
    assert 60 < more.low < 60.001
    assert less is not None
    assert 4.999 < less.high < 5


def test_every_quantity_of_a_text_has_its_place() -> None:
    text = "ran 20 min then did 12 km at 3 bar"
    assert [(text[f.start : f.end], f.quantity) for f in quantities(text)] == [
        ("20 min", exact(20, "min")),
        ("12 km", exact(12, "km")),
        ("3 bar", exact(3, "bar")),
    ]


@given(st.text(max_size=60) | st.text("0123456789.,:/-+ habouttnm²½%\"'°", max_size=40))
def test_nothing_typed_raises(text: str) -> None:
    for asked in (None, "", "h", "°C", "wibble"):
        found = measure(text, asked)
        assert found is None or found.low <= found.high


@given(st.integers(0, 99_999), st.integers(0, 99), st.sampled_from(".,"))
def test_decimal_comma_and_point_are_one(whole: int, hundredths: int, mark: str) -> None:
    found = measure(f"{whole}{mark}{hundredths:02d} h", "h")
    assert found is not None
    assert found.low == pytest.approx(whole + hundredths / 100)
    assert found.unit == "h"


@pytest.mark.parametrize(
    ("value", "unit", "units", "wanted"),
    [
        (150, "Nm", "metric", "150 N·m (111 lbf·ft)"),
        (150, "N·m", "imperial", "111 lbf·ft (150 N·m)"),
        (150, "N·m", "both", "150 N·m (111 lbf·ft)"),
        (12, "lbf.ft", "metric", "16.3 N·m (12 lbf·ft)"),
        (3, "mm", "metric", "3 mm"),
        (3, "mm", "imperial", "0.118 in"),
        (3, "mm", "both", "3 mm (0.118 in)"),
        (15, "psi", "metric", "103 kPa"),
        (15, "psi", "imperial", "15 psi"),
        (1135.6, "ml", "metric", "1135.6 ml"),
        (284, "F", "metric", "140°C"),
        (54.5, "h", "imperial", "54.5 h"),
        (0, "mm", "both", "0 mm (0 in)"),
        (5, "pieces", "metric", "5 pieces"),
        (5, "", "metric", "5"),
        (20, "%", "metric", "20%"),
    ],
)
def test_value_is_shown_in_the_riders_units(value: float, unit: str, units: str, wanted: str) -> None:
    assert show(value, unit, units) == wanted  # type: ignore[arg-type]


def test_span_is_shown_with_one_unit() -> None:
    assert show(22, "N·m", "metric", upto=28) == "22–28 N·m (16.2–20.7 lbf·ft)"


def test_units_have_one_name_however_they_are_written() -> None:
    assert {name(u) for u in ("Nm", "N.m", "N·m", "newton metres")} == {"N·m"}
    assert {name(u) for u in ("ft lb", "lbf.ft", "ft-lbs", "foot pounds")} == {"lbf·ft"}
    assert name("wibbles") == "wibbles"


def test_another_language_brings_its_own_words() -> None:
    german = speak(
        {
            "numbers": ("zwei = 2",),
            "units": ("Stunden = h", "Minuten = min"),
            "before": ("etwa = about",),
            "and": ("und",),
            "vague": ("paar = 3 5",),
        }
    )
    assert measure("zwei Stunden und 15 Minuten", "h", german) == exact(2.25, "h")
    assert measure("etwa 40 Stunden", "h", german) == Quantity(32, 48, "h")
    assert measure("paar Stunden", "h", german) == Quantity(3, 5, "h")


@pytest.mark.parametrize(
    "lists", [{"numbers": ("zwei",)}, {"before": ("etwa = sort of",)}, {"parts": ("halb = x",)}]
)
def test_a_word_list_that_cannot_be_read_is_refused(lists: dict[str, tuple[str, ...]]) -> None:
    with pytest.raises(ValueError, match=r"is not|is none of|could not convert"):
        speak(lists)
