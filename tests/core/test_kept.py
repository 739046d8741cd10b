"""Results that are kept: by the very objects, by equal plain values, and only the newest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from bot.core.events import revive
from bot.core.history import history
from bot.core.kept import Kept
from bot.core.plan import beliefs
from bot.core.state import apply, fold, grow
from bot.core.stops import survey
from tests.rattle import FLOW, Diary, opened


def test_the_same_objects_are_worked_out_once_and_equal_ones_anew() -> None:
    kept, made = Kept[int](4), list[int]()

    def make() -> int:
        made.append(len(made))
        return made[-1]

    one, other = [1], [1]
    assert [kept.of((one,), make), kept.of((one,), make), kept.of((other,), make)] == [0, 0, 1]
    assert [kept.of((one,), make, "a"), kept.of((one,), make, "b"), kept.of((one,), make, "a")] == [2, 3, 2]


def test_the_oldest_is_forgotten_first() -> None:
    kept, made = Kept[str](2), list[str]()

    def make(word: str) -> str:
        made.append(word)
        return word

    for word in ("a", "b", "a", "c", "b", "a"):
        kept.of((), partial(make, word), word)
    assert made == ["a", "b", "c", "a"]


def test_objects_are_kept_alive_so_that_no_identity_passes_to_another() -> None:
    kept = Kept[tuple[int, ...]](1000)
    for n in range(500):
        assert kept.of(((n, n + 1),), partial(tuple, [n])) == (n,)


STEPS: tuple[Callable[[Diary], Diary], ...] = (
    lambda diary: diary.answer("magnet", "all"),
    lambda diary: diary.answer("nut", "bad"),
    lambda diary: diary.mend("refit-nut", "nut-loose"),
    lambda diary: diary.answer("nut", "good"),
)


def test_what_is_kept_of_a_case_is_what_a_case_read_anew_gives() -> None:
    """Entry by entry the memo answers as it does for a state that it never saw."""
    diary, seen = opened(), [opened().state]
    for step in STEPS:
        diary = step(diary)
        seen.append(diary.state)
    for state in (*seen, *reversed(seen)):
        fresh = fold(revive(e.seq, e.at, e.who, e.role, e.dump()) for e in state.entries)
        assert history(FLOW, state) == history(FLOW, fresh)
        assert survey(FLOW, state) == survey(FLOW, fresh)
        assert beliefs(FLOW, state).weights.tolist() == beliefs(FLOW, fresh).weights.tolist()
    assert len({len(history(FLOW, state)) for state in seen}) == len(seen)


def test_who_tells_the_same_event_of_the_same_state_comes_to_the_very_same_state() -> None:
    state, told = opened().state, opened().answer("magnet", "all").state.entries[-1]
    once = grow(state, told.at, told.who, told.role, told.event)
    assert grow(state, told.at, told.who, told.role, told.event) is once
    assert once == apply(state, replace(told, seq=state.next_seq))
    later = grow(state, "2031-01-01T00:00:00Z", told.who, told.role, told.event)
    assert later is not once
    assert later.entries[-1].at == "2031-01-01T00:00:00Z"
