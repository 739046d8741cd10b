"""Lines of a book for property tests: any that can be stored, and those that can be said in words."""

from __future__ import annotations

import datetime
from typing import Any, get_args

from hypothesis import strategies as st

from bot.core.book_entries import (
    Distance,
    Find,
    Form,
    Hours,
    Lab,
    Look,
    Magnet,
    Metal,
    Meter,
    Note,
    Odometer,
    OilChange,
    Part,
    Ride,
    Where,
    Work,
)

AWKWARD = ['a "b"; c', "x\ny", "größer, Öl", "=1+1", "'=2", "\r\n", " - "]
TEXTS = st.text(max_size=30) | st.sampled_from(AWKWARD)
TENTHS = st.integers(0, 3000).map(lambda tenths: tenths / 10)
DAYS = st.dates(min_value=datetime.date(2020, 1, 1), max_value=datetime.date(2026, 5, 20)).map(str)
FORMS, METALS, MAGNETS, WHERES = (st.sampled_from(get_args(each)) for each in (Form, Metal, Magnet, Where))


def spans(ends: st.SearchStrategy[float] = TENTHS) -> st.SearchStrategy[tuple[float, float]]:
    exact = ends.map(lambda end: (end, end))
    return exact | st.tuples(ends, ends).map(lambda pair: (min(pair), max(pair)))


def counts() -> st.SearchStrategy[tuple[int, int | None]]:
    whole = st.integers(0, 99)
    exact = whole.map(lambda n: (n, n))
    ranged = st.tuples(whole, whole).map(lambda pair: (min(pair), max(pair)))
    return exact | ranged | st.tuples(whole, st.none())


def finds() -> st.SearchStrategy[Find]:
    sizes = st.none() | st.integers(1, 300).map(lambda tenths: tenths / 10)
    return st.builds(
        Find, form=FORMS, count=counts(), metal=METALS, magnet=MAGNETS, biggest=sizes, where=WHERES,
        amount=TEXTS, photo=TEXTS,
    )  # fmt: skip


def lines() -> st.SearchStrategy[Any]:
    """Any line of any kind."""
    every: dict[str, Any] = {
        "hours": st.none() | spans(), "km": st.none() | spans(), "date": st.none() | DAYS, "note": TEXTS,
    }  # fmt: skip
    found = st.none() | st.lists(finds(), max_size=3).map(tuple)
    filters, screens = st.sampled_from(["changed", "kept", ""]), st.sampled_from(["cleaned", "left", ""])
    ppm = st.dictionaries(st.sampled_from(["Fe", "Cu", "Al", "K"]), TENTHS, min_size=1)
    return st.one_of(
        st.builds(OilChange, oil=TEXTS, filter=filters, screen=screens, found=found, **every),
        st.builds(Look, cleaned=screens, found=found, **every),
        st.builds(Hours, **{**every, "hours": spans()}),
        st.builds(Distance, **{**every, "km": spans()}),
        st.builds(Meter, shows=TENTHS, **every),
        st.builds(Odometer, shows=TENTHS, **every),
        st.builds(Part, what=TEXTS, price=st.none() | TENTHS, currency=TEXTS, **every),
        st.builds(Work, what=TEXTS, opened=st.booleans(), **every),
        st.builds(Ride, ridden=spans(), ride=TEXTS, **every),
        st.builds(Lab, ppm=ppm, on_oil=st.none() | spans(), **every),
        st.builds(Note, **every),
    )


# --- what can be said and read again -----------------------------------------------------------


def _said_counts() -> st.SearchStrategy[tuple[int, int | None]]:
    some = st.integers(1, 80)
    ranged = st.tuples(some, some).filter(lambda pair: pair[0] < pair[1])
    return some.map(lambda n: (n, n)) | ranged | st.tuples(st.integers(0, 80), st.none())


def _said_find(form: Any, count: Any, **more: Any) -> Find:
    return Find(form=form, count=(0, 0) if form == "paste" else count, **more)


def said_lines() -> st.SearchStrategy[Any]:
    """Lines that hold no free text, so that all of them is in their read-back."""
    hours = spans(st.integers(1, 3000).map(lambda tenths: tenths / 10))
    far = spans(st.integers(1, 300_000).map(lambda tenths: tenths / 10))
    every: dict[str, Any] = {"km": st.none() | far, "date": st.none() | DAYS}
    sizes = st.none() | st.integers(1, 300).map(lambda tenths: tenths / 10)
    find = st.builds(
        _said_find, form=FORMS, count=_said_counts(), metal=METALS, magnet=MAGNETS, biggest=sizes,
        where=WHERES,
    )  # fmt: skip
    found = st.lists(find, max_size=3).map(tuple)
    filters, screens = st.sampled_from(["changed", "kept", ""]), st.sampled_from(["cleaned", "left", ""])
    grades = st.sampled_from(["", "10W-40", "10W-50", "5W-40"])
    ppm = st.dictionaries(st.sampled_from(["Fe", "Cu", "Al", "Si"]), TENTHS, min_size=1)
    parts = st.sampled_from(["clutch plates", "lock washer", "piston kit", "oil filter"])
    money = st.sampled_from(["EUR", "GBP"])
    works = st.sampled_from(["replaced clutch cable", "greased the head bearings"])
    opened = st.sampled_from(["opened the clutch cover", "rebuilt the top end", "split the cases"])
    return st.one_of(
        st.builds(
            OilChange, hours=hours, oil=grades, filter=filters, screen=screens, found=st.none() | found,
            **every,
        ),
        st.builds(Look, hours=hours, cleaned=screens, found=found, **every),
        st.builds(Hours, hours=hours, **every),
        st.builds(Distance, **{**every, "km": far}),
        st.builds(Meter, hours=st.none() | hours, shows=TENTHS, date=every["date"]),
        st.builds(Odometer, km=st.none() | far, shows=TENTHS, date=every["date"]),
        st.builds(Part, hours=hours, what=parts, price=TENTHS, currency=money, **every),
        st.builds(Work, hours=hours, what=works, **every),
        st.builds(Work, hours=hours, what=opened, opened=st.just(True), **every),
        st.builds(Ride, ridden=hours, ride=st.sampled_from(["", "enduro", "deep sand"]), **every),
        st.builds(Lab, hours=hours, ppm=ppm, on_oil=st.none() | hours, **every),
    )  # fmt: skip
