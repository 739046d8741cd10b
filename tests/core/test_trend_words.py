"""What a rider reads of a trend and of a proof, to the letter, and that it fits on a phone."""

from __future__ import annotations

import re
from pathlib import Path

from hypothesis import given

from bot.authoring.wording import read_words
from bot.core import trend_words
from bot.core.trend import Interval, judge
from bot.core.trend_words import numbers, tell
from tests.core.test_trend import BIKE, CLUMPED, OIL, bike, look, new_engine

WORDS = read_words()


def said(*looks: Interval) -> str:
    return tell(judge(bike(*looks)), WORDS)


def test_a_rise() -> None:
    assert said(look(2, 6), look(9, 5)) == (
        "Rising: 2 pieces in 6 h, then 9 in 5 h; chance alone would do this about 1 time in 60."
    )


def test_a_fall() -> None:
    assert said(look(8, 10), look(1, 10)) == (
        "Falling: 8 pieces in 10 h, then 1 in 10 h; chance alone would do this about 1 time in 50."
    )


def test_a_first_look() -> None:
    assert said(look(1, 5)) == (
        "First look on record: 1 piece in 5 h. Nothing to compare it with yet; the next look tells."
    )


def test_a_first_look_after_work() -> None:
    assert said(look(8, 10), look(3, 5, work=True)) == (
        "First look after the work: 3 in 5 h, before it 8 pieces in 10 h. "
        "Fresh work may shed some; the next look tells."
    )
    assert said(look(3, 5, work=True)).startswith("First look after the work: 3 pieces in 5 h. Fresh")


def test_running_in() -> None:
    assert said(*new_engine(3)) == (
        "Settling since the work, by running-in or what was left over: fewer by the hour at each look, "
        "17 pieces in 3 h (2 looks), then 9 in 3 h. A rise now would be news."
    )


def test_the_same_is_no_all_clear() -> None:
    assert said(look(10, 5), look(9, 5)) == (
        "No change that counts: 10 pieces in 5 h, then 9 in 5 h. The same again is no all-clear."
    )
    assert said(look(0, 5), look(0, 5)) == "None this time: 0 pieces in 5 h, then 0 in 5 h. No rise."


def test_less_after_a_chunk() -> None:
    text = said(look(8, 10, chunk=True), look(0, 10))
    assert text == (
        "Fewer by the hour, 8 pieces in 10 h, then 0 in 10 h. But a broken-off piece came before, "
        "and that clears nothing: find the part it broke from."
    )
    running_in = said(look(9, 1, work=True, chunk=True), look(9, 5))
    assert "Running in" not in running_in
    assert "clears nothing" in running_in


def test_a_chunk_is_not_forgotten_where_nothing_fell() -> None:
    assert "A broken-off piece came before" in said(look(3, 5, chunk=True), look(3, 5))
    assert "A broken-off piece is among them" in said(look(3, 5), look(3, 5, chunk=True))


def test_a_pinch_cannot_be_told() -> None:
    assert said(look(2, 6), look((5, 30), 5)) == (
        "Cannot be told: 2 pieces in 6 h, then 5 to 30 in 5 h. At one end of what you gave me it is a rise, "
        "at the other it is not. Count pieces and hours next time."
    )


def test_open_counts_and_vague_runs() -> None:
    assert said(look(2, 6), look((60, None), (4, 6))).startswith(
        "Rising: 2 pieces in 6 h, then over 60 in 4 to 6 h; chance alone would do this less than 1 time "
        "in 1000."
    )


def test_clumps_are_said() -> None:
    text = said(*[look(k, 5) for k in CLUMPED], look(10, 5))
    assert text.startswith("Cannot be told yet: 32 pieces in 40 h (8 looks), then 10 in 5 h.")
    assert text.endswith("Pieces come in clumps on this bike; I have allowed for it.")


def test_what_was_left_out_is_said() -> None:
    text = said(look(30, 5, OIL), look(30, 5, OIL), look(1, 0.5), look(2, 6), look(9, 5))
    assert "2 looks left out: they began with other cleaning." in text
    assert "1 look left out: its run was over 4 times longer or shorter." in text
    assert "differ more than 4 times" in said(look(1, 10), look(6, 0.5))
    assert said(look(2, 10, OIL), look(30, 10)) == (
        "Cannot be told: 30 pieces in 10 h, and no look before it began with the same cleaning."
    )


def test_numbers_on_request() -> None:
    """Limits: 0.242/6, 7.225/6, 4.115/5, 17.085/5 as in test_counts; chance as by hand there.

    E-test by scipy 1.17.1: .00762.
    """
    text = numbers(judge(bike(look(2, 6), look(9, 5))), WORDS)
    assert text == (
        "An hour: 0.33 (95% limits 0.04 to 1.2) before, 1.8 (95% limits 0.82 to 3.4) now. "
        "Times as many: 1.1 to 51. So many or more by chance alone: 1.6 of 100, "
        "by the bolder E-test 0.76. Alarm: above 7 in the next 5 h; a stop comes first. "
        "Whether pieces clump needs 7 more looks."
    )


def test_numbers_of_a_first_look_of_clumps_and_of_spans() -> None:
    assert numbers(judge(bike(look(0, 5))), WORDS) == (
        "An hour: 0 (95% limits 0 to 0.74). Alarm: above 4 in the next 5 h; a stop comes first. "
        "Whether pieces clump needs 8 more looks."
    )
    clumped = numbers(judge(bike(*[look(k, 5) for k in CLUMPED], look(10, 5))), WORDS)
    assert "Variance to mean 2.8, over 2: all this is widened for clumps." in clumped
    assert "by chance alone: 13 of 100. Alarm" in clumped  # I(3.59, 12.49; 1/9) = .126 by scipy 1.17.1
    vague = numbers(judge(bike(look(2, 6, ""), look((5, 30), 5))), WORDS)
    assert "An hour: 0.33 (95% limits 0.04 to 1.2) before, 1 to 6 (95% limits 0.32 to 8.6) now." in vague
    assert "in doubt above" in vague
    assert "the count was open" in numbers(judge(bike(look((60, None), 5))), WORDS)
    many = numbers(judge(bike(*[look(4, 5) for _ in range(9)])), WORDS)
    assert "Variance to mean 0." in many


# --- what always holds --------------------------------------------------------------------------


@given(BIKE)
def test_every_trend_fits_and_is_whole(looks: list[Interval]) -> None:
    trend = judge(looks)
    for text in (tell(trend, WORDS), numbers(trend, WORDS)):
        assert 0 < len(text) < 300
        assert text.endswith((".", "!"))
        assert not re.search(r"[{}]|nan|inf\b|  ", text)


@given(BIKE)
def test_a_chunk_is_always_spoken_of(looks: list[Interval]) -> None:
    assert ("broken-off piece" in tell(judge(looks), WORDS)) == any(x.chunk for x in looks)


def test_every_wording_of_a_trend_is_used() -> None:
    """A key that no sentence needs is a wording nobody will keep right."""
    source = Path(trend_words.__file__).read_text("utf-8")
    joined = {f"trend.{part}" for part in ("rising", "falling", "running_in", "same", "found")}
    joined |= {"trend.rise.chance", "trend.fall.chance"}
    keys = {re.sub(r"\.(one|other)$", "", key) for key in WORDS.texts if key.startswith("trend.")}
    assert joined <= keys
    assert not [key for key in keys - joined if f'"{key}"' not in source]
