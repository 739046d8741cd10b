"""Laboratory reports beside the same bike's earlier ones, on published examples and figures by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring.wording import read_words
from bot.core.book import Book, fold
from bot.core.book_entries import Entry, Lab, Note, OilChange
from bot.core.book_lines import read_line
from bot.core.lab import FLOOR, TIMES, Sample, judge, rate, samples, tell_lab
from bot.core.spoken import ENGLISH

WORDS = read_words()


def book(*written: Any) -> Book:
    return fold(Entry(i, f"2026-05-{i:02d}T18:00:00Z", line) for i, line in enumerate(written, 1))


def change(hours: float) -> OilChange:
    return OilChange(hours=(hours, hours))


def lab(hours: float, **ppm: float) -> Lab:
    return Lab(hours=(hours, hours), ppm=ppm)


def test_the_published_rate() -> None:
    # machinerylubrication.com, Read/284: 100 ppm in 100 hours is 1 ppm an hour
    assert rate(samples(book(change(0), lab(100, Fe=100))), 0, "Fe") == 1


def test_a_second_sample_of_the_same_oil_counts_from_the_first() -> None:
    # 12 ppm at 4 h, 20 ppm at 8 h on the same oil: 3 an hour, then 2
    reports = samples(book(change(50), lab(54, Fe=12), lab(58, Fe=20)))
    assert [rate(reports, i, "Fe") for i in (0, 1)] == [3, 2]


def test_after_a_change_it_counts_from_new_oil() -> None:
    reports = samples(book(change(50), lab(58, Fe=16), change(58.5), lab(62.5, Fe=8)))
    assert [each.filling for each in reports] == [1, 2]
    assert rate(reports, 1, "Fe") == 2


def test_oil_drained_at_a_change_is_of_the_old_filling() -> None:
    reports = samples(book(change(50), change(58), lab(58, Fe=16)))
    assert (reports[0].hours, reports[0].filling) == (8, 1)


def test_hours_told_with_the_report_outrank_the_book() -> None:
    line = Lab(hours=(58, 58), ppm={"Fe": 20}, on_oil=(10, 10))
    assert rate(samples(book(change(50), line)), 0, "Fe") == 2


@pytest.mark.parametrize("hours", [None, 0.0])
def test_no_hours_no_rate(hours: float | None) -> None:
    assert rate((Sample({"Fe": 20}, hours, 1),), 0, "Fe") is None
    assert rate((Sample({"Fe": 20}, 8, 1),), 0, "Cu") is None


def test_a_machine_that_always_read_nothing_and_reads_six_is_called_up() -> None:
    # reliabilityweb.com, "Rate of change": always 0 ppm, then 6, and failing, under a limit of 50
    quiet = [line for i in range(3) for line in (change(10 * i), lab(10 * i + 9, Fe=0))]
    verdict = judge(samples(book(*quiet, change(30), lab(39, Fe=6))))[0]
    assert (verdict.element, verdict.usual, verdict.raised) == ("Fe", 0, True)


def typed(*said: str) -> Book:
    now = datetime(2026, 5, 20, 12, tzinfo=UTC)
    return book(*(line for text in said for line in read_line(text, ENGLISH, now)))


def test_both_published_examples_as_they_are_typed() -> None:
    """100 ppm in 100 h; and none, none, none, then 6, which no limit of 50 would have called up."""
    first = tell_lab(typed("oil change at 0 h", "lab report at 100 h: iron 100"), WORDS)
    assert first[0].startswith("Iron: 100 ppm, 1 an hour.")
    quiet = ["lab iron 0 after 9 h"] * 3
    said = tell_lab(typed(*quiet, "lab iron 6 after 9 h"), WORDS)
    assert said[0].startswith("Iron is up: 6 ppm, 0.67 an hour, where 0 an hour was usual for this bike.")
    assert "Look at filter, screen and plug" in said[0]
    busy = tell_lab(typed(*["lab iron 60 after 9 h"] * 3, "lab iron 60 after 9 h"), WORDS)
    assert busy[0].startswith("Iron: 60 ppm, 6.7 an hour. Usual for this bike is 6.7 an hour.")


def test_a_machine_that_always_reads_much_is_usual_at_that() -> None:
    busy = [line for i in range(3) for line in (change(10 * i), lab(10 * i + 10, Fe=100))]
    verdict = judge(samples(book(*busy, change(30), lab(38, Fe=100))))[0]
    assert verdict.usual == 10
    assert verdict.rate == 12.5
    assert not verdict.raised


def test_a_few_ppm_are_within_what_two_analyses_differ_by() -> None:
    quiet = [line for i in range(3) for line in (change(10 * i), lab(10 * i + 9, Fe=0))]
    assert not judge(samples(book(*quiet, change(30), lab(39, Fe=4))))[0].raised


def test_what_is_up_comes_first_and_additives_are_not_judged() -> None:
    past = [change(0), lab(10, Fe=10, Cu=2, Zn=900)]
    found = judge(samples(book(*past, change(10), lab(20, Fe=10, Cu=40, Zn=5000))))
    assert [(each.element, each.raised) for each in found] == [("Cu", True), ("Fe", False)]


def test_it_says_what_no_report_can_see_whatever_the_figures() -> None:
    clean = tell_lab(book(change(50), lab(58, Fe=0)), WORDS)
    assert "clears no piece that you can see" in clean[-1]
    loose = tell_lab(book(lab(58, Fe=0)), WORDS)
    assert "running hours of the oil" in loose[0]
    assert loose[-1] == clean[-1]
    assert tell_lab(book(Note(note="x")), WORDS) == ()


def test_what_is_said_of_each_element() -> None:
    past = [change(0), lab(10, Fe=10, Cu=2)]
    said = tell_lab(book(*past, change(10), lab(20, Fe=11, Cu=40, Al=3)), WORDS)
    assert said[0].startswith("Copper is up: 40 ppm, 4 an hour, where 0.2 an hour was usual for this bike.")
    assert said[1] == "Iron: 11 ppm, 1.1 an hour. Usual for this bike is 1 an hour."
    assert said[2].startswith("Aluminium: 3 ppm, 0.3 an hour. The first figure")
    assert all(len(text) < 300 for text in said)


# --- what always holds --------------------------------------------------------------------------

REPORTS = st.lists(
    st.builds(
        lambda fe, hours, filling: Sample({"Fe": fe}, hours, filling),
        st.floats(0, 200), st.none() | st.floats(0.5, 100), st.integers(1, 3),
    ),
    min_size=1, max_size=6,
).map(lambda told: tuple(sorted(told, key=lambda report: report.filling)))  # fmt: skip


def on(report: Sample, ppm: float, hours: float | None) -> Sample:
    return Sample({"Fe": ppm}, hours, report.filling)


@given(REPORTS)
def test_minutes_give_what_hours_give(reports: tuple[Sample, ...]) -> None:
    """But for a figure that is just at a limit, where a bit of rounding may tip it."""
    minutes = tuple(on(r, r.ppm["Fe"], None if r.hours is None else 60 * r.hours) for r in reports)
    for one, other in zip(judge(reports), judge(minutes), strict=True):
        assert 60 * other.rate == pytest.approx(one.rate, abs=1e-6)
        usual = one.usual or 0.0
        above = (one.rate - usual) * (reports[-1].hours or 0.0)
        if abs(one.rate - TIMES * usual) > 1e-6 and abs(above - FLOOR) > 1e-6:
            assert other.raised == one.raised


@given(REPORTS, st.floats(0.1, 500))
def test_more_of_an_element_never_takes_the_call_back(reports: tuple[Sample, ...], more: float) -> None:
    *past, newest = reports
    raised = (*past, on(newest, newest.ppm["Fe"] + more, newest.hours))
    for fewer, found in zip(judge(reports), judge(raised), strict=True):
        assert found.raised or not fewer.raised
