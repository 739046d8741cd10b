"""How much of a find a line of the book may tell before it asks for a look, at both sides of each limit."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.book_entries import Find
from bot.core.book_limits import past_limit


def find(form: Any, low: int, high: int | None = -1, **more: Any) -> Find:
    return Find(form=form, count=(low, low if high == -1 else high), **more)


STEEL: dict[str, Any] = {"magnet": "magnetic"}

# The service instruction: 20 small pieces, 10 hairs. The nose gearbox: more than ten steel flakes of 1/16 in.
WANTED: list[tuple[list[Find], str | None]] = [
    ([], None),
    ([find("flake", 20)], None),
    ([find("flake", 21)], "pieces"),
    ([find("flake", 15), find("", 6)], "pieces"),
    ([find("flake", 20), find("paste", 0)], None),
    ([find("flake", 10, 60)], None),  # may be fewer
    ([find("flake", 20, None)], "pieces"),  # over 20
    ([find("flake", 19, None)], None),  # 20 or more
    ([find("flake", 5, None, amount="a pinch")], None),
    ([find("hair", 10)], None),
    ([find("hair", 6), find("hair", 5, **STEEL)], "hairs"),
    ([find("flake", 10, biggest=2, **STEEL)], None),
    ([find("flake", 11, biggest=2, **STEEL)], "large"),
    ([find("flake", 11, biggest=2, magnet="mixed")], "large"),
    ([find("", 11, biggest=2, metal="steel")], "large"),
    ([find("flake", 11, biggest=1.5875, **STEEL)], "large"),
    ([find("flake", 11, biggest=1.58, **STEEL)], None),
    ([find("flake", 11, **STEEL)], None),
    ([find("flake", 11, biggest=2, magnet="not")], None),
    ([find("flake", 11, biggest=2)], None),  # nobody held a magnet to it
    ([find("flake", 30, biggest=2, **STEEL)], "large"),
    ([find("smear", 1, metal="white")], "white"),
    ([find("smear", 1, None, metal="white")], "white"),
    ([find("smear", 2, metal="grey")], None),
    ([find("flake", 2, metal="white")], None),
]


@pytest.mark.parametrize(("found", "past"), WANTED)
def test_a_find_is_past_its_limit_above_it_and_not_at_it(found: list[Find], past: str | None) -> None:
    assert past_limit(found) == past


FINDS = st.builds(
    Find,
    form=st.sampled_from(["flake", "hair", "smear", "curl", ""]),
    count=st.tuples(st.integers(0, 30), st.none() | st.integers(30, 60)),
    metal=st.sampled_from(["white", "steel", "grey", ""]),
    magnet=st.sampled_from(["magnetic", "not", "mixed", "untested"]),
    biggest=st.none() | st.floats(0.1, 4),
)


@given(st.lists(FINDS, max_size=3), FINDS, st.integers(0, 40), st.floats(0, 4))
def test_more_and_bigger_is_never_within_what_less_was_past(
    others: list[Find], one: Find, more: int, bigger: float
) -> None:
    low, high = one.count
    grown = one.model_copy(
        update={"count": (low + more, high), "biggest": (one.biggest or 0) + bigger or None}
    )
    assert past_limit([*others, one]) is None or past_limit([*others, grown]) is not None
    assert past_limit(others) is None or past_limit([*others, one]) is not None
