"""Typed lines of the book: what they are read as was written down before the reader existed."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.book_draft import Trouble
from bot.core.book_entries import (
    Find,
    Hours,
    Lab,
    Look,
    Meter,
    Note,
    OilChange,
    Part,
    Ride,
    Work,
)
from bot.core.book_finds import pieces
from bot.core.book_lines import is_book_talk, read_line
from bot.core.spoken import ENGLISH

NOW = datetime(2026, 5, 20, 12, tzinfo=UTC)  # a Wednesday


def at(hours: float, upto: float | None = None) -> tuple[float, float]:
    return (hours, hours if upto is None else upto)


def n(count: int) -> tuple[int, int]:
    return (count, count)


FLAKES = Find(form="flake", count=n(6), metal="silver")

# --- three tones: short notes, whole sentences, and hurried ones -------------------------------

WANTED: list[tuple[str, list[Any]]] = [
    # the oil
    (
        "oil change at 54.5, six small silver flakes, biggest 1 mm",
        [OilChange(hours=at(54.5), found=(Find(form="flake", count=n(6), metal="silver", biggest=1),))],
    ),
    ("changed oil and filter 61h, clean", [OilChange(hours=at(61), filter="changed", found=())]),
    (
        "oil 10w50 and filter at 70.2, a pinch of dark paste, magnetic",
        [
            OilChange(
                hours=at(70.2),
                oil="10W-50",
                filter="changed",
                found=(Find(form="paste", count=n(0), metal="dark", magnet="magnetic", amount="a pinch"),),
            )
        ],
    ),
    ("oil change at about 50", [OilChange(hours=at(40, 60))]),
    ("oil change 54.5", [OilChange(hours=at(54.5))]),
    ("Oil changed at 54,5 h.", [OilChange(hours=at(54.5))]),
    ("I changed the oil yesterday at 54.5 hours.", [OilChange(hours=at(54.5), date="2026-05-19")]),
    ("did an oil change on 12 May at 54.5", [OilChange(hours=at(54.5), date="2026-05-12")]),
    (
        "oil change 2026-05-01, 54.5 h, nothing found",
        [OilChange(hours=at(54.5), date="2026-05-01", found=())],
    ),
    ("oil chnage at 54.5, filter not changed", [OilChange(hours=at(54.5), filter="kept")]),
    (
        "oil and filter changed at 61, screen cleaned, nothing in it",
        [OilChange(hours=at(61), filter="changed", screen="cleaned", found=())],
    ),
    (
        "oil change at 54.5, a few flakes, not magnetic",
        [OilChange(hours=at(54.5), found=(Find(form="flake", count=(3, 5), magnet="not"),))],
    ),
    (
        "oil change at 80: 6-20 flakes, yellow",
        [OilChange(hours=at(80), found=(Find(form="flake", count=(6, 20), metal="yellow"),))],
    ),
    (
        "oil change at 80, over 60 flakes",
        [OilChange(hours=at(80), found=(Find(form="flake", count=(60, None)),))],
    ),
    (
        "oil change at 80, two hairs and a 3 mm splinter, all magnetic",
        [
            OilChange(
                hours=at(80),
                found=(
                    Find(form="hair", count=n(2), magnet="magnetic"),
                    Find(form="splinter", count=n(1), magnet="magnetic", biggest=3),
                ),
            )
        ],
    ),
    (
        "changed the oil at 33.1, grey paste on the plug, one chunk 1/4 in",
        [
            OilChange(
                hours=at(33.1),
                found=(
                    Find(form="paste", count=n(0), metal="grey", where="plug"),
                    Find(form="chunk", count=n(1), biggest=6.35),
                ),
            )
        ],
    ),
    (
        "oil change at 41, 4 flakes 1/16 in",
        [OilChange(hours=at(41), found=(Find(form="flake", count=n(4), biggest=1.5875),))],
    ),
    (
        "oil change at 41, about 3 grains, the biggest one is 0.5 mm",
        [OilChange(hours=at(41), found=(Find(form="grain", count=(2, 4), biggest=0.5),))],
    ),
    (
        "oil change at 41 and found 5 or 6 bits of bronze in the filter",
        [OilChange(hours=at(41), found=(Find(count=(5, 6), metal="yellow", where="filter"),))],
    ),
    (
        "oil change at 41, metal in the filter",
        [OilChange(hours=at(41), found=(Find(where="filter"),))],
    ),
    ("oil change at 12, smells of petrol", [OilChange(hours=at(12), note="smells of petrol")]),
    (
        "oil change at 12, clean, 1.1 litres of Grün & Söhne",
        [OilChange(hours=at(12), found=(), note="1.1 litres of Grün & Söhne")],
    ),
    (
        "changed gearbox oil at 22, three curls",
        [OilChange(hours=at(22), found=(Find(form="curl", count=n(3)),), note="gearbox")],
    ),
    (
        "drained the oil at 22.5, 2 pieces of plastic, black",
        [OilChange(hours=at(22.5), found=(Find(form="plastic", count=n(2), metal="dark"),))],
    ),
    # what a piece is of is no second kind of find, and does not open its count
    (
        "drained the oil at 22.5, 1 piece of hard plastic",
        [OilChange(hours=at(22.5), found=(Find(form="plastic", count=n(1)),))],
    ),
    (
        "oil change at 22.5, 2 pieces of black plastic",
        [OilChange(hours=at(22.5), found=(Find(form="plastic", count=n(2), metal="dark"),))],
    ),
    (
        "oil change at 22.5, a strip of plastic 4 mm",
        [OilChange(hours=at(22.5), found=(Find(form="plastic", count=n(1), biggest=4),))],
    ),
    (
        "oil change at 22.5, 3 flakes of metal",
        [OilChange(hours=at(22.5), found=(Find(form="flake", count=n(3)),))],
    ),
    (
        "oil change at 22.5, 5 small bits of shiny metal, 2 flakes",
        [
            OilChange(
                hours=at(22.5),
                found=(Find(count=n(5), metal="silver"), Find(form="flake", count=n(2))),
            )
        ],
    ),
    (
        "oil change at 22.5, 2 pieces of thin silver flakes",
        [OilChange(hours=at(22.5), found=(Find(form="flake", count=n(2), metal="silver"),))],
    ),
    (
        "oil change at 22.5, 2 tiny grains of sand",
        [OilChange(hours=at(22.5), found=(Find(form="grain", count=n(2)),))],
    ),
    (
        "oil change at 22.5, 1 chunk of metal 6 mm",
        [OilChange(hours=at(22.5), found=(Find(form="chunk", count=n(1), biggest=6),))],
    ),
    ("new oil at 22.5, no flakes", [OilChange(hours=at(22.5), found=())]),
    ("Fresh 10w-40 oil @ 19 h", [OilChange(hours=at(19), oil="10W-40")]),
    (
        "oil change at 70, lots of silver flakes, mixed",
        [
            OilChange(
                hours=at(70),
                found=(Find(form="flake", count=(5, None), metal="silver", magnet="mixed"),),
            )
        ],
    ),
    (
        "oil change at 70, flakes, some magnetic",
        [OilChange(hours=at(70), found=(Find(form="flake", count=(1, None), magnet="mixed"),))],
    ),
    (
        "oil change at 70, a pinch of flakes",
        [OilChange(hours=at(70), found=(Find(form="flake", count=(5, None), amount="a pinch"),))],
    ),
    (
        "oil change at 70, half a teaspoon of grains",
        [OilChange(hours=at(70), found=(Find(form="grain", count=(5, None), amount="half a teaspoon"),))],
    ),
    (
        "oil change at 70 h, 12 hairs that stick to the magnet",
        [OilChange(hours=at(70), found=(Find(form="hair", count=n(12), magnet="magnetic"),))],
    ),
    # looks without a change
    (
        "found 3 splinters in the screen at 58",
        [Look(hours=at(58), found=(Find(form="splinter", count=n(3), where="screen"),))],
    ),
    ("looked at the plug at 58, clean", [Look(hours=at(58), found=(), note="plug")]),
    (
        "checked the screen at 58, 2 silver flakes, cleaned it",
        [
            Look(
                hours=at(58),
                cleaned="cleaned",
                found=(Find(form="flake", count=n(2), metal="silver", where="screen"),),
            )
        ],
    ),
    (
        "saw a smear on the plug at 58 yesterday",
        [Look(hours=at(58), date="2026-05-19", found=(Find(form="smear", count=n(1), where="plug"),))],
    ),
    # the meter
    ("hours 72.4", [Hours(hours=at(72.4))]),
    ("72.4 h", [Hours(hours=at(72.4))]),
    ("meter shows 72,4", [Hours(hours=at(72.4))]),
    ("the hour meter is at 72.4 today", [Hours(hours=at(72.4), date="2026-05-20")]),
    ("72:30 hours", [Hours(hours=at(72.5))]),
    ("about 70 hours", [Hours(hours=at(56, 84))]),
    ("new hour meter, shows 0", [Meter(shows=0)]),
    ("hour meter replaced, old one showed 812, new one shows 0.3", [Meter(hours=at(812), shows=0.3)]),
    ("reset the hour meter", [Meter(shows=0)]),
    # rides
    ("rode 2.5 h today", [Ride(ridden=at(2.5), date="2026-05-20")]),
    ("rode an hour and a half, deep sand", [Ride(ridden=at(1.5), ride="deep sand")]),
    ("raced 90 min on Sunday", [Ride(ridden=at(1.5), date="2026-05-17", ride="raced")]),
    ("ride 2 h, enduro, hours 72.4", [Ride(hours=at(72.4), ridden=at(2), ride="enduro")]),
    # parts and work
    ("clutch plates 89 euro at 70", [Part(hours=at(70), what="clutch plates", price=89, currency="EUR")]),
    ("fitted new lock washer 6 EUR", [Part(what="fitted new lock washer", price=6, currency="EUR")]),
    ("bought a chain, $79.90", [Part(what="bought a chain", price=79.9, currency="USD")]),
    (
        "piston kit £145 and gasket set £38.50 at 90 h",
        [
            Part(hours=at(90), what="piston kit", price=145, currency="GBP"),
            Part(hours=at(90), what="gasket set", price=38.5, currency="GBP"),
        ],
    ),
    (
        "opened the clutch cover at 66, new washer",
        [Work(hours=at(66), what="opened the clutch cover, new washer", opened=True)],
    ),
    ("replaced clutch cable at 40", [Work(hours=at(40), what="replaced clutch cable")]),
    ("rebuilt the top end at 90 h", [Work(hours=at(90), what="rebuilt the top end", opened=True)]),
    ("took the cylinder off at 90", [Work(hours=at(90), what="took the cylinder off", opened=True)]),
    ("greased the head bearings 3 days ago", [Work(date="2026-05-17", what="greased the head bearings")]),
    # the laboratory
    ("lab iron 45 copper 12 after 8 h", [Lab(ppm={"Fe": 45, "Cu": 12}, on_oil=at(8))]),
    ("lab report at 70: Fe 45, Cu 12, Si 8.5", [Lab(hours=at(70), ppm={"Fe": 45, "Cu": 12, "Si": 8.5})]),
    ("oil analysis: 45 ppm iron, 3 ppm tin", [Lab(ppm={"Fe": 45, "Sn": 3})]),
    # several at once, and what is no line of any kind
    (
        "rode 2.5 h and changed the oil at 54.5",
        [Ride(ridden=at(2.5)), OilChange(hours=at(54.5))],
    ),
    (
        "opened the clutch cover at 66 and found 3 splinters",
        [
            Work(hours=at(66), what="opened the clutch cover", opened=True),
            Look(hours=at(66), found=(Find(form="splinter", count=n(3)),)),
        ],
    ),
    (
        "oil change at 54.5, six silver flakes\nclutch plates 89 euro",
        [
            OilChange(hours=at(54.5), found=(FLAKES,)),
            Part(hours=at(54.5), what="clutch plates", price=89, currency="EUR"),
        ],
    ),
    ("note: left mirror cracked", [Note(note="left mirror cracked")]),
    ("left mirror cracked", [Note(note="left mirror cracked")]),
]


@pytest.mark.parametrize(("typed", "wanted"), WANTED, ids=[typed for typed, _ in WANTED])
def test_a_typed_line_is_read(typed: str, wanted: list[Any]) -> None:
    assert read_line(typed, ENGLISH, NOW) == wanted


TROUBLES: list[tuple[str, tuple[float, float] | None, str]] = [
    ("hours 52", (54.5, 54.5), "fell"),
    ("oil change at 45", (54.5, 54.5), "fell"),
    ("hours 545", (54.5, 54.5), "jump"),
    ("hours 5000", None, "high"),
    ("hours -5", None, "negative"),
    ("new hour meter, shows -1", None, "negative"),
    ("new hour meter, shows 62317", None, "high"),
    ("oil change at 54.5 on 2027-01-01", None, "future"),
    ("oil change tomorrow at 54.5", None, "future"),
    ("oil change at 54.5 on 12 June", None, "future"),
    ("oil change at 54.5 on 31 April", None, "no_date"),
    ("oil change at 54.5 on 4/5/2026", None, "day_first"),
    ("oil change at 54.5 yesterday on 12 May", None, "two_dates"),
    ("oil change at 54.5, at 61 h", None, "two_hours"),
    ("need to change the oil at 60", None, "planned"),
    ("lab iron 45 unobtainium 3", None, "element"),
    ("lab iron 45, iron 54", None, "ppm"),
    ("lab report is back", None, "no_ppm"),
    ("new hour meter", None, "shows"),
    ("", None, "empty"),
    ("x" * 1200, None, "long"),
]


@pytest.mark.parametrize(("typed", "last", "key"), TROUBLES, ids=[each[0][:40] for each in TROUBLES])
def test_what_cannot_be_is_not_written(typed: str, last: tuple[float, float] | None, key: str) -> None:
    found = read_line(typed, ENGLISH, NOW, last)
    assert isinstance(found, Trouble)
    assert (found.key, found.text) == (key, typed)


def test_an_earlier_day_may_have_a_lower_reading() -> None:
    found = read_line("oil change at 40 on 2 April", ENGLISH, NOW, (54.5, 54.5))
    assert found == [OilChange(hours=at(40), date="2026-04-02")]


def test_about_may_reach_below_the_last_reading() -> None:
    assert read_line("oil change at about 50", ENGLISH, NOW, (54.5, 54.5)) == [OilChange(hours=at(40, 60))]


DAYS = [  # on Wednesday, 20 May 2026
    ("today", "2026-05-20"),
    ("this morning", "2026-05-20"),
    ("last night", "2026-05-19"),
    ("the day before yesterday", "2026-05-18"),
    ("on Sunday", "2026-05-17"),
    ("on Wednesday", "2026-05-20"),
    ("last Wednesday", "2026-05-13"),
    ("two weeks ago", "2026-05-06"),
    ("a day ago", "2026-05-19"),
    ("2026-5-1", "2026-05-01"),
    ("on 12.05.2026", "2026-05-12"),
    ("on 1.5.", "2026-05-01"),
    ("on 25/04/26", "2026-04-25"),
    ("04/25/2026", "2026-04-25"),
    ("on the 3rd of March", "2026-03-03"),
    ("May 3rd", "2026-05-03"),
    ("12 Dec", "2025-12-12"),
    ("12 December 2024", "2024-12-12"),
    ("29 Feb", "2024-02-29"),
    ("2026-05-21", "2026-05-21"),  # it is tomorrow already in half of the world
]


@pytest.mark.parametrize(("typed", "day"), DAYS)
def test_a_day_is_read(typed: str, day: str) -> None:
    assert read_line(f"oil change at 54.5 {typed}", ENGLISH, NOW) == [OilChange(hours=at(54.5), date=day)]
    assert read_line(f"{typed}: 54.5 h", ENGLISH, NOW) == [Hours(hours=at(54.5), date=day)]


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [
        (6, 6, (6, 6)),
        (4.8, 7.2, (5, 7)),  # about 6
        (2.4, 3.6, (2, 4)),  # about 3
        (0.5, 0.5, (0, 1)),
        (0, 4.999999, (0, 4)),  # under 5
        (60.0000001, math.inf, (60, None)),  # over 60
        (6, math.inf, (5, None)),  # 6 or more
        (0, math.inf, (0, None)),
    ],
)
def test_pieces_are_whole(low: float, high: float, wanted: tuple[int, int | None]) -> None:
    assert pieces(low, high) == wanted


# --- for the book, or a complaint? -------------------------------------------------------------

FOR_THE_BOOK = """
oil change at 54.5
oil change at 54.5, six flakes
oil change at 54.5, six small silver flakes, biggest 1 mm
changed oil and filter 61h, clean
changed the oil and the filter today
oil 10w50 and filter at 70.2, a pinch of dark paste, magnetic
Changed the oil yesterday, 10w40, filter too
oil changed at 33 hours, nothing found
did the oil at 12.5 h, filter as well, clean
new oil and filter at 45
hours 72.4
72.4 h
meter shows 72.4
hour meter at 72.4
hour meter is at 101 today
rode 2.5 h today
rode 3 hours yesterday, sand
raced 90 min on Sunday
new hour meter, shows 0
hour meter replaced, shows 0
reset the hour meter, shows 0
clutch plates 89 euro at 70
fitted new lock washer 6 EUR
bought a chain for 79 euro
piston kit £145
opened the clutch cover at 66, new washer
rebuilt the top end at 90 h
replaced clutch cable at 40
valves shimmed at 60 h
greased the head bearings yesterday
lab iron 45 copper 12 after 8 h
lab report at 70: Fe 45, Cu 12
oil analysis: 45 ppm iron, 3 ppm tin
found 3 splinters in the screen at 58
checked the screen at 58, 2 silver flakes, cleaned it
looked at the plug at 58, clean
oil change at about 50
oil change 12 May, 54.5 h
note: left mirror cracked
fixed the leak at the water pump at 66 h
Oil change today, 54.5 on the meter. Filter done too. About a dozen tiny shiny flakes, none magnetic.
oil change at 54.5, metal in the filter
swapped the clutch plates at 70 h
54.5h oil + filter, 3 bits
rode 40 min today, all good
oil chnage at 54.5, filter not changed
"""

COMPLAINTS = """
metal in my oil
found metal in the oil at the oil change, what now?
changed the oil, now the clutch slips
metal in the oil
found metal in the oil
found metal flakes in my oil filter
there are flakes in the oil
is it normal to find six flakes at an oil change?
oil change at 54.5 and now there is a rattle
changed oil at 50 h and it smokes
I found a chunk in the screen, is that bad?
glitter in the oil after the oil change
the oil looks like it has metal in it
what oil should I use at 54.5 hours
need to change the oil at 60
when should I change the oil
oil change due at 60
clutch drags since the oil change
clutch slips after 70 hours
engine knocks at 72 h
it won't start
bike died after 2 hours
rode 2 h and then it overheated
the starter clanks
rattle since I replaced the clutch at 40
lost power at 54.5 hours
oil light came on at 61 h
how much is a clutch, 89 euro?
hour meter does not work
how do I reset the hour meter
changed the oil yesterday and found lots of metal
milky oil
splinters in the screen, help
magnet full of hairs
the oil pressure is low at 70 h
opened the clutch cover and found a broken washer at 66, what next
fuel leaks from the carb
it jumps out of second gear
brakes feel soft after new pads for 40 euro
smells burnt after 3 h
rode 2 h, then it cut out
rode 2 h and found metal in the oil
replaced the clutch at 40 and it still slips
plug was covered in metal at the oil change at 54 h
found silver flakes in the screen
metal flakes, six of them, on the magnet
chunk in the oil
just did the oil change and there was metal on the plug
about 6 h
5 pieces
hello
yes
2
"""


def _each(block: str) -> list[str]:
    return [line for line in block.split("\n") if line]


@pytest.mark.parametrize("typed", _each(FOR_THE_BOOK))
def test_a_line_for_the_book_is_known_as_one(typed: str) -> None:
    assert is_book_talk(typed)


@pytest.mark.parametrize("typed", _each(COMPLAINTS))
def test_a_complaint_is_not_written_in_the_book(typed: str) -> None:
    assert not is_book_talk(typed)


# --- the same in other units -------------------------------------------------------------------------


def the_find(said: str) -> Find:
    found: Find
    [line] = read_line(f"oil change at 54.5, 3 silver flakes, magnetic, {said}", ENGLISH, NOW)  # type: ignore[misc]
    [found] = line.found
    return found


WAYS = st.sampled_from(["biggest {}", "biggest is {}", "{} long", "the largest {}", "up to {}"])


@given(st.integers(1, 400), WAYS, st.sampled_from(["mm", "cm", "in", "inch", '"']))
def test_a_size_is_the_same_in_any_unit(tenths: int, way: str, unit: str) -> None:
    """To the hundredth of a millimetre; an inch is 25.4 mm."""
    size = tenths / 10
    said = {"mm": size, "cm": size / 10}.get(unit, size / 25.4)
    other, metric = (the_find(way.format(text)) for text in (f"{said:.6f} {unit}", f"{size} mm"))
    assert other.biggest == pytest.approx(metric.biggest, abs=0.005)
    assert metric.biggest == pytest.approx(size)
    assert other.model_copy(update={"biggest": size}) == metric.model_copy(update={"biggest": size})


@pytest.mark.parametrize(
    ("said", "size"),
    [
        ("0.2 in long", 5.08), ("biggest 0.2 in in the screen", 5.08), ("biggest 0.2 in magnetic", 5.08),
        ("1 in wide", 25.4), ("biggest 2 in the screen", None), ("2 in the screen", None),
    ],
)  # fmt: skip
def test_in_is_an_inch_where_a_size_is_told_and_a_place_elsewhere(said: str, size: float | None) -> None:
    [line] = read_line(f"oil change at 54.5, 3 silver flakes, {said}", ENGLISH, NOW)  # type: ignore[misc]
    assert line.found[0].biggest == size


@given(st.sampled_from([2, 4, 8, 16, 32, 64]).flatmap(lambda n: st.tuples(st.integers(1, n - 1), st.just(n))))
def test_a_fraction_of_an_inch_is_read_as_one(part: tuple[int, int]) -> None:
    above, below = part
    assert the_find(f"biggest {above}/{below} in").biggest == pytest.approx(25.4 * above / below, abs=1e-4)


@given(st.integers(1, 600))
def test_a_ride_in_minutes_is_the_ride_in_hours(minutes: int) -> None:
    [ride] = read_line(f"rode {minutes} min", ENGLISH, NOW)  # type: ignore[misc]
    assert ride.ridden == pytest.approx(at(minutes / 60), abs=1e-4)
