"""The bike's book: running hours, hours on the oil, intervals, corrections. Figures worked by hand."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.book import Book, amend, count, fold, grow, intervals, oil_hours, recent_intervals, strike
from bot.core.book_entries import (
    LINE,
    Entry,
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
    revive,
)
from bot.core.trend import Interval, judge
from tests.core.book_strategies import lines


def at(hours: float, upto: float | None = None) -> tuple[float, float]:
    return (hours, hours if upto is None else upto)


def flakes(n: int, most: int | None = -1) -> Find:
    return Find(form="flake", count=(n, n if most == -1 else most))


def book(*written: Any, day: str = "2026-05-{:02d}T18:00:00Z") -> Book:
    """A line a day, from 1 May on."""
    return fold(Entry(i, day.format(i), line) for i, line in enumerate(written, 1))


def total(found: Book) -> tuple[float, float]:
    assert found.total is not None
    return found.total


# --- running hours ---------------------------------------------------------------------------


def test_hours_are_those_of_the_meter_and_of_the_rides_since() -> None:
    assert total(book(Hours(hours=at(54.5)), Ride(ridden=at(2.5)), Ride(ridden=at(1)))) == (58, 58)


def test_a_reading_outranks_the_rides_before_it() -> None:
    assert total(book(Hours(hours=at(54.5)), Ride(ridden=at(2.5)), Hours(hours=at(56.2)))) == (56.2, 56.2)


def test_another_meter_goes_on_from_where_the_old_one_was() -> None:
    # 812 on the old one; the new one began at 0.3 and shows 10.3: 822 in all
    found = book(Hours(hours=at(800)), Meter(hours=at(812), shows=0.3), Hours(hours=at(10.3)))
    assert total(found) == pytest.approx((822, 822))


def test_hours_on_the_oil_run_over_another_meter() -> None:
    found = book(OilChange(hours=at(100)), Meter(hours=at(104), shows=0), Hours(hours=at(3)))
    assert oil_hours(found) == (7, 7)


def test_what_was_unsure_of_the_old_meter_stays_unsure() -> None:
    # oil at 100 exactly; the old meter ended at 102 to 106; 3 h on the new one: 5 to 9 h on the oil
    found = book(OilChange(hours=at(100)), Meter(hours=at(102, 106), shows=0), Hours(hours=at(3)))
    assert oil_hours(found) == (5, 9)


def test_running_hours_do_not_fall_because_of_an_about() -> None:
    found = book(Hours(hours=at(54.5)), Hours(hours=at(48, 60)))
    assert total(found) == (54.5, 60)
    assert found.fallen == ()


def test_an_exact_reading_ends_what_an_about_had_left_open() -> None:
    """About 70 is 56 to 84; on a later day exactly 75. At 70 it was no more than 75, and now it is 75."""
    found = book(Hours(hours=at(50)), Hours(hours=at(56, 84)), Hours(hours=at(75)))
    assert total(found) == (75, 75)
    assert [row.place.total for row in found.lines if row.place] == [(50, 50), (56, 75), (75, 75)]
    assert found.fallen == ()


def test_hours_on_the_oil_are_as_sure_as_the_readings_at_both_ends() -> None:
    found = book(OilChange(hours=at(60)), Hours(hours=at(56, 84)), Hours(hours=at(75)))
    assert oil_hours(found) == (15, 15)
    found = book(OilChange(hours=at(56, 84)), Hours(hours=at(75)))
    assert oil_hours(found) == (0, 19)  # 75 - 75 to 75 - 56


def test_a_second_about_narrows_the_first() -> None:
    """40 to 60, then 45 to 55: now 45 to 55, and before no more than 55."""
    found = book(Hours(hours=at(40, 60)), Hours(hours=at(45, 55)))
    assert [row.place.total for row in found.lines if row.place] == [(40, 55), (45, 55)]


def test_a_reading_below_the_last_is_told() -> None:
    assert book(Hours(hours=at(54.5)), Hours(hours=at(45))).fallen == (2,)


def test_a_line_told_late_stands_on_its_own_day() -> None:
    found = book(OilChange(hours=at(60)), Hours(hours=at(66)), OilChange(hours=at(50), date="2026-04-02"))
    assert [row.number for row in found.lines] == [3, 1, 2]
    assert oil_hours(found) == (6, 6)
    assert found.fallen == ()


def test_a_change_without_hours_was_where_the_meter_was_that_day() -> None:
    same = [Hours(hours=at(72.4), date="2026-05-02"), OilChange(date="2026-05-02"), Hours(hours=at(80))]
    assert oil_hours(book(*same)) == pytest.approx((7.6, 7.6))


def test_a_change_without_hours_was_between_the_readings_around_it() -> None:
    found = book(Hours(hours=at(70)), OilChange(), Hours(hours=at(80)))
    assert oil_hours(found) == (0, 10)


def test_no_change_no_hours_on_the_oil() -> None:
    assert oil_hours(book(Hours(hours=at(70)))) is None
    assert oil_hours(fold([])) is None
    assert fold([]).total is None


# --- intervals -------------------------------------------------------------------------------


def test_each_change_ends_an_interval() -> None:
    found = book(
        OilChange(hours=at(50), filter="changed", found=()),
        OilChange(hours=at(56.5), filter="kept", found=(flakes(6),)),
        OilChange(hours=at(63.2), found=(flakes(3, 5), Find(form="hair", count=(2, 2)))),
    )
    assert intervals(found) == (
        Interval(hours=(6.5, 6.5), pieces=(6, 6), ends=56.5, cleaned="filter"),
        Interval(hours=(6.7, 6.7), pieces=(5, 7), ends=63.2, cleaned="oil"),
    )


@pytest.mark.parametrize(
    ("change", "cleaned"),
    [
        (OilChange(hours=at(50), filter="changed"), "filter"),
        (OilChange(hours=at(50), screen="cleaned"), "filter"),
        (OilChange(hours=at(50), filter="changed", screen="left"), "oil"),
        (OilChange(hours=at(50), filter="kept", screen="cleaned"), "oil"),
        (OilChange(hours=at(50)), ""),
        (Look(hours=at(50), cleaned="cleaned"), ""),
    ],
)
def test_what_was_cleaned_at_the_beginning(change: Any, cleaned: str) -> None:
    found = intervals(book(change, OilChange(hours=at(55), found=())))
    assert [each.cleaned for each in found] == [cleaned]


def test_a_look_that_cleaned_ends_an_interval() -> None:
    look = Look(hours=at(53), cleaned="cleaned", found=(flakes(4),))
    found = intervals(book(OilChange(hours=at(50)), look, OilChange(hours=at(58), found=(flakes(1),))))
    assert [(each.hours, each.pieces) for each in found] == [((3, 3), (4, 4)), ((5, 5), (1, 1))]


def test_pieces_seen_at_a_look_that_cleaned_nothing_may_be_seen_again() -> None:
    look = Look(hours=at(53), found=(flakes(4),))
    found = intervals(book(OilChange(hours=at(50)), look, OilChange(hours=at(58), found=(flakes(6),))))
    assert [(each.hours, each.pieces) for each in found] == [((8, 8), (6, 10))]


def test_the_interval_that_still_runs_reaches_to_its_last_look() -> None:
    look = Look(hours=at(53), found=(Find(form="splinter", count=(3, 3)),))
    found = intervals(book(OilChange(hours=at(50)), look, Hours(hours=at(60))))
    assert found == (Interval(hours=(3, 3), pieces=(3, 3), ends=53, chunk=True),)


def test_a_change_of_which_nothing_was_said_tells_nothing() -> None:
    assert intervals(book(OilChange(hours=at(50)), OilChange(hours=at(55)))) == ()


def test_the_first_change_has_no_beginning() -> None:
    assert intervals(book(OilChange(hours=at(50), found=(flakes(9),)))) == ()


def test_an_about_makes_the_hours_a_span() -> None:
    found = intervals(book(OilChange(hours=at(40, 60)), OilChange(hours=at(62), found=(flakes(2),))))
    assert [each.hours for each in found] == [(2, 22)]


def test_hours_of_an_interval_are_never_none_at_all() -> None:
    found = intervals(book(OilChange(hours=at(40, 60)), OilChange(hours=at(55), found=(flakes(2),))))
    assert [each.hours for each in found] == [(0.1, 15)]  # the first was at 40 to 55


@pytest.mark.parametrize(("work", "fresh"), [(50, [True]), (53, [True]), (55, [False]), (49, [False])])
def test_fresh_work_is_work_at_the_beginning_or_within(work: float, fresh: list[bool]) -> None:
    opened = Work(hours=at(work), what="clutch cover", opened=True, date="2026-05-01")
    lines = [OilChange(hours=at(50), date="2026-05-01"), OilChange(hours=at(55), found=())]
    order = [opened, *lines] if work <= 50 else [lines[0], opened.model_copy(update={"date": None}), lines[1]]
    assert [each.fresh_work for each in intervals(book(*order))] == fresh


def test_work_that_opened_nothing_is_not_fresh_work() -> None:
    cable = Work(hours=at(52), what="clutch cable")
    found = intervals(book(OilChange(hours=at(50)), cable, OilChange(hours=at(55), found=())))
    assert [each.fresh_work for each in found] == [False]


@pytest.mark.parametrize(
    ("find", "chunk"),
    [
        (Find(form="chunk", count=(1, 1)), True),
        (Find(form="flake", count=(1, 1), biggest=4.9), True),
        (Find(form="flake", count=(1, 1), biggest=4.7625), False),  # 3/16 in
        (Find(form="paste", count=(0, 0)), False),
    ],
)
def test_a_chunk_is_one_by_form_or_by_size(find: Find, chunk: bool) -> None:
    found = intervals(book(OilChange(hours=at(50)), OilChange(hours=at(55), found=(find,))))
    assert [each.chunk for each in found] == [chunk]


@pytest.mark.parametrize(
    ("counts", "wanted"),
    [
        ([], (0, 0)),
        ([(6, 6), (0, 0)], (6, 6)),
        ([(3, 5), (2, 2)], (5, 7)),
        ([(60, None), (3, 3)], (63, None)),
        ([(0, None), (0, None)], (1, None)),  # one at least, twice: more than one
    ],
)
def test_counts_add_up(counts: list[tuple[int, int | None]], wanted: tuple[int, int | None]) -> None:
    assert count(Find(count=each) for each in counts) == wanted


# --- corrections -----------------------------------------------------------------------------


def test_the_old_line_stays_and_says_what_replaced_it() -> None:
    first = book(OilChange(hours=at(50)), OilChange(hours=at(65), found=(flakes(6),)))
    right = amend(first, 2, OilChange(hours=at(56), found=(flakes(6),)), "2026-05-09T18:00:00Z")
    assert right.entries[:2] == first.entries
    assert right.entries[2].number == 3
    assert right.replaced == {2: 3}
    assert [each.hours for each in intervals(right)] == [(6, 6)]


def test_a_correction_stands_where_the_old_line_stood() -> None:
    first = book(OilChange(hours=at(50)), OilChange(hours=at(56)), Hours(hours=at(60)))
    right = amend(first, 1, OilChange(hours=at(49)), "2026-06-01T18:00:00Z")
    assert [row.number for row in right.lines] == [4, 2, 3]
    assert right.fallen == ()


def test_a_struck_line_counts_no_more() -> None:
    first = book(Hours(hours=at(50)), Hours(hours=at(500)))
    right = strike(first, 2, "2026-05-09T18:00:00Z")
    assert total(right) == (50, 50)
    assert len(right.entries) == 3
    assert strike(right, 2, "2026-05-10T18:00:00Z") == right


def test_a_line_is_put_right_twice() -> None:
    once = amend(book(Hours(hours=at(50))), 1, Hours(hours=at(51)), "2026-05-09T18:00:00Z")
    twice = amend(once, 1, Hours(hours=at(52)), "2026-05-09T19:00:00Z")
    assert twice.replaced == {1: 2, 2: 3}
    assert total(twice) == (52, 52)


def test_a_struck_line_can_be_put_back() -> None:
    struck = strike(book(Hours(hours=at(50))), 1, "2026-05-09T18:00:00Z")
    assert total(amend(struck, 1, Hours(hours=at(50)), "2026-05-09T19:00:00Z")) == (50, 50)


def test_what_is_not_there_cannot_be_put_right() -> None:
    with pytest.raises(KeyError):
        amend(book(Hours(hours=at(50))), 7, Hours(hours=at(51)), "2026-05-09T18:00:00Z")
    with pytest.raises(ValueError, match="no earlier entry"):
        fold([Entry(1, "", Hours(hours=at(5)), replaces=2), Entry(2, "", Hours(hours=at(6)))])
    with pytest.raises(ValueError, match="two entries of number 1"):
        fold([Entry(1, "", Hours(hours=at(5))), Entry(1, "", Hours(hours=at(6)))])


# --- whatever is written ---------------------------------------------------------------------

WRITTEN = st.lists(
    st.tuples(
        lines(),
        st.dates(min_value=date(2026, 1, 1), max_value=date(2026, 3, 1)),
        st.none() | st.integers(1, 8),
        st.booleans(),
    ),
    max_size=8,
)


def entries(written: Sequence[tuple[Any, Any, int | None, bool]]) -> list[Entry]:
    out = []
    for number, (line, day, replaces, struck) in enumerate(written, 1):
        old = replaces if replaces is not None and replaces < number else None
        kept = None if struck and old is not None else line
        out.append(Entry(number, f"{day.isoformat()}T10:00:00Z", kept, old))
    return out


@given(WRITTEN, st.randoms(use_true_random=False))
def test_the_order_of_entries_does_not_matter(written: list[Any], chance: Any) -> None:
    first = entries(written)
    mixed = list(first)
    chance.shuffle(mixed)
    assert fold(mixed) == fold(first)
    assert intervals(fold(mixed)) == intervals(fold(first))


@given(st.lists(lines(), max_size=6), st.randoms(use_true_random=False))
def test_lines_of_known_days_may_be_written_in_any_order(told: list[Any], chance: Any) -> None:
    """Whoever copies his notebook from the last page on has the same book, but for the numbers."""
    dated = [line.model_copy(update={"date": f"2026-02-{day:02}"}) for day, line in enumerate(told, 1)]
    mixed = list(dated)
    chance.shuffle(mixed)
    first, other = (
        fold(Entry(i, f"2026-05-{i:02}T10:00:00Z", line) for i, line in enumerate(each, 1))
        for each in (dated, mixed)
    )
    assert [(row.day, row.line, row.place) for row in other.lines] == [
        (row.day, row.line, row.place) for row in first.lines
    ]
    assert (other.now, oil_hours(other), intervals(other)) == (first.now, oil_hours(first), intervals(first))


@given(WRITTEN)
def test_a_book_always_makes_sense(written: list[Any]) -> None:
    found = fold(entries(written))
    for each in intervals(found):
        low, high = each.hours
        assert 0 < low <= high
        assert each.pieces[1] is None or 0 <= each.pieces[0] <= each.pieces[1]
    ends = [each.ends for each in intervals(found)]
    assert ends == sorted(ends)
    standing = {row.number for row in found.lines}
    gone = {entry.number for entry in found.entries if entry.line is None}
    assert standing | set(found.replaced) | gone == {entry.number for entry in found.entries}
    assert not standing & set(found.replaced)
    oil = oil_hours(found)
    assert oil is None or 0 <= oil[0] <= oil[1]


@given(lines())
def test_a_line_comes_back_from_json(line: Any) -> None:
    entry = Entry(3, "2026-05-01T18:00:00Z", line, 2)
    assert revive(3, entry.at, entry.dump(), 2) == entry
    assert LINE.validate_python(json.loads(entry.dump())) == line


@pytest.mark.parametrize(
    "wrong",
    [
        '{"kind": "hours", "hours": [5, 4]}',
        '{"kind": "hours", "hours": [-1, 4]}',
        '{"kind": "hours"}',
        '{"kind": "note", "date": "2026-02-30"}',
        '{"kind": "note", "date": "20260201"}',
        '{"kind": "meter", "shows": -1}',
        '{"kind": "look", "found": [{"count": [3, 2]}]}',
        '{"kind": "lab", "ppm": {"Fe": -1}}',
        '{"kind": "tea"}',
        '{"kind": "note", "tea": 1}',
    ],
)
def test_a_line_that_cannot_be_is_refused(wrong: str) -> None:
    with pytest.raises(ValueError, match="validation error"):
        revive(1, "", wrong)


def test_every_kind_has_its_own_name() -> None:
    kinds = [OilChange(), Look(), Hours(hours=at(1)), Meter(shows=0), Part(what="chain"), Work(what="x")]
    kinds += [Ride(ridden=at(1)), Lab(ppm={}), Note()]
    assert len({line.kind for line in kinds}) == 9


@given(WRITTEN)
def test_a_book_that_grows_is_the_book_that_is_folded(written: list[Any]) -> None:
    told = entries(written)
    grown = Book()
    for n, entry in enumerate(told, 1):
        grown = grow(grown, entry)
        assert grown == fold(told[:n])


def test_the_newest_intervals_are_those_of_the_whole_book_and_remember_a_chunk() -> None:
    """Two hundred changes of 5 h each; a chunk in the tenth."""
    told = [
        Entry(n, "2026-05-01T18:00:00Z", OilChange(hours=(5.0 * n, 5.0 * n), filter="changed",
              found=(Find(form="chunk" if n == 10 else "flake", count=(1, 1)),)))
        for n in range(1, 201)
    ]  # fmt: skip
    found = fold(told)
    newest, whole = recent_intervals(found), intervals(found)
    assert 40 < len(newest) < 60
    assert newest[1:] == whole[-len(newest) + 1 :]
    assert newest[0].chunk
    assert not whole[-len(newest)].chunk
    assert judge(newest).chunk_before
