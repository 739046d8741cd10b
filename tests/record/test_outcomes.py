"""Counts of how cases came out: in any order the same, taken off again without a trace, without names."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.core import events
from bot.core.events import Entry
from bot.core.state import State, fold
from bot.record.cases import KeptFlow
from bot.record.outcomes import Version
from bot.record.post import Address
from bot.record.store import Store

AT = "2026-05-01T09:00:00Z"
CAUSES = ("nut", "basket", "")
CASE = st.tuples(
    st.integers(0, 9),  # whose
    st.sampled_from(CAUSES),
    st.dictionaries(st.sampled_from(CAUSES), st.floats(0, 1)),
    st.booleans(),  # reopened in the end
)


def state_of(cause: str, expected: dict[str, float], *more: Any, words: str = "", hash: str = "h1") -> State:
    """A case of the flow 'metal' that a mechanic closed."""
    told: Any = events.OutcomeTold(
        result="cause" if cause else "unlisted", cause=cause, words=words, how="seen", expected=expected
    )
    begun = events.FlowChosen(flow="metal", hash=hash, title="Metal")
    found = (begun, told, events.Ended(how="closed"), *more)
    return fold(Entry(n, AT, "Max", "mechanic", event) for n, event in enumerate(found, 1))


@contextmanager
def a_record() -> Iterator[Store]:
    with tempfile.TemporaryDirectory() as folder, closing(Store(Path(folder) / "record.db")) as store:
        store.run("pragma synchronous = off")
        for text in ("h1", "h2"):
            store.keep_flow(KeptFlow(text, "metal", int(text[1]), 1, "Metal", "", "", "{}"))
        yield store


@pytest.fixture
def store() -> Iterator[Store]:
    with a_record() as opened:
        yield opened


def opened(store: Store, who: str, group: str = "") -> tuple[int, int]:
    """Person and number of a new case."""
    person = store.meet("terminal", who, who, "rider", AT).id
    return person, store.open_case(person, AT, group)


def tables(store: Store) -> list[list[dict[str, Any]]]:
    order = ("outcomes", "hash, cause"), ("calibration", "hash, bin"), ("scores", "hash")
    return [store.rows(f"select * from {table} order by scope, {columns}") for table, columns in order]


@settings(max_examples=25)
@given(st.lists(CASE, max_size=9), st.randoms(use_true_random=False))
def test_counts_in_any_order_are_the_same_and_leave_nothing_of_what_was_reopened(
    cases: list[tuple[int, str, dict[str, float], bool]], drawn: Any
) -> None:
    with a_record() as store, store.writing():
        told = [(*opened(store, f"rider {n}"), *case[1:]) for n, case in enumerate(cases)]
        for person, number, cause, expected, _ in told:
            store.count_case(number, person, state_of(cause, expected))
        for person, number, cause, expected, reopened in told:
            if reopened:
                store.count_case(number, person, state_of(cause, expected, events.Reopened(why="back")))
        first = tables(store)
    with a_record() as store, store.writing():
        kept = [case for case in cases if not case[3]]
        drawn.shuffle(kept)
        for n, (_, cause, expected, _) in enumerate(kept):
            person, number = opened(store, f"rider {n}")
            store.count_case(number, person, state_of(cause, expected))
        second = tables(store)
    assert [[{k: pytest.approx(v) for k, v in row.items()} for row in t] for t in second] == first
    assert {row["cause"]: row["cases"] for row in first[0]} == Counter(
        cause for _, cause, _, r in cases if not r
    )


@settings(max_examples=25)
@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from(CAUSES)), max_size=16))
def test_no_rider_counts_more_than_three_times(cases: list[tuple[int, str]]) -> None:
    with a_record() as store, store.writing():
        for who, cause in cases:
            person, number = opened(store, f"rider {who}")
            store.count_case(number, person, state_of(cause, {}))
        total = sum(row["cases"] for row in tables(store)[0])
    assert total == sum(min(3, n) for n in Counter(who for who, _ in cases).values())


def test_counting_twice_counts_once(store: Store) -> None:
    person, number = opened(store, "Ann")
    for _ in range(2):
        store.count_case(number, person, state_of("nut", {"nut": 0.5}))
    assert store.outcomes_of("everyone", "metal") == (Version("h1", 1, {"nut": 1}, 1, 0.25),)


def test_three_are_counted_in_each_scope(store: Store) -> None:
    for group in ("", "north") * 4:
        person, number = opened(store, "Ann", group)
        store.count_case(number, person, state_of("nut", {}))
    counted = [store.outcomes_of(scope, "metal") for scope in ("everyone", "group:north")]
    assert counted == [(Version("h1", 1, {"nut": 3}),)] * 2
    assert store.scopes_counted() == ("everyone", "group:north")


def test_three_are_counted_over_all_versions_of_a_flow(store: Store) -> None:
    for text in ("h1", "h2") * 2:
        person, number = opened(store, "Ann")
        store.count_case(number, person, state_of("nut", {}, hash=text))
    assert store.outcomes_of("everyone", "metal") == (
        Version("h2", 2, {"nut": 1}),
        Version("h1", 1, {"nut": 2}),
    )


@pytest.mark.parametrize("how", ["proved", "handed_over", "abandoned"])
def test_only_a_case_that_was_closed_counts(store: Store, how: Any) -> None:
    person, number = opened(store, "Ann")
    store.count_case(number, person, state_of("nut", {}, events.Ended(how=how)))
    assert tables(store) == [[], [], []]


@pytest.mark.parametrize(("let_in", "counts"), [(True, 1), (False, 0)])
def test_an_admin_who_was_let_in_by_a_code_is_a_mechanic_there(
    store: Store, let_in: bool, counts: int
) -> None:
    person, number = opened(store, "Ann")
    held = (events.CaseHeld(),) if let_in else ()
    told = events.OutcomeTold(result="cause", cause="nut", how="seen")
    begun = events.FlowChosen(flow="metal", hash="h1", title="Metal")
    found = (begun, *held, told, events.Ended(how="closed"))
    state = fold(Entry(n, AT, "Ida", "admin", event) for n, event in enumerate(found, 1))
    store.count_case(number, person, state)
    assert len(store.outcomes_of("everyone", "metal")) == counts


def test_what_the_flow_does_not_know_is_told_newest_first_and_without_names(store: Store) -> None:
    for day, who, words in (
        ("2026-05-01", "Ann Bell", "cracked stud, seen with ann bell and Max on Pepper"),
        ("2026-05-03", "Ben", "Benzene in the oil"),
    ):
        person, number = opened(store, who)
        at = f"{day}T09:00:00Z"
        begun = events.FlowChosen(flow="metal", hash="h1", title="Metal")
        bike = store.make_bike(person, "Pepper", AT)
        taken = events.BikeTaken(bike=bike, nickname="Pepper")
        told = events.OutcomeTold(result="unlisted", words=words, how="seen")
        found = (begun, taken, told, events.Ended(how="closed"))
        store.append(number, [Entry(n, at, "Max", "mechanic", e) for n, e in enumerate(found, 1)])
        store.keep_line(number, store.state(number), at)
        store.sit_down(number, person, Address("terminal", "here"), at)
    assert store.unknown_causes("everyone", "metal") == (
        ("2026-05-03", "Benzene in the oil"),
        ("2026-05-01", "cracked stud, seen with someone and someone on the bike"),
    )
    assert store.unknown_causes("group:north", "metal") == ()
