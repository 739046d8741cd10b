"""Clean running as proof of a repair: the same odds, with what gathers taken over the hours that were run."""

from __future__ import annotations

import math
from copy import deepcopy
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core import plan
from bot.core.chances import Rows, rows_of
from bot.core.family import family_of
from bot.core.findings import ABSENT, Answered, Finding, Mended, Ran
from bot.core.flow import Flow
from bot.core.odds import posterior
from bot.core.proving import clean_hours_to
from tests.core.chat import Chat
from tests.rattle import RATTLE, read

HOURS = 5.0


def gathering(hours: float = HOURS) -> Flow:
    """The small flow, where bits that cling gather while the engine runs."""
    signs = deepcopy(RATTLE["signs"])
    signs["steel-bits"]["gathers"] = hours
    return read(RATTLE | {"signs": signs})


FLOW = gathering()
FAMILY = family_of(tuple(FLOW.causes), (0, 1, 2), frozenset(), unlisted=True)


def absent(flow: Flow, hours: float | None) -> Any:
    return rows_of(flow, FAMILY, hours).of("steel-bits", ABSENT)


@pytest.mark.parametrize("hours", [0.5, 1.0, 5.0, 12.0])
def test_what_comes_at_a_rate_is_absent_by_poisson(hours: float) -> None:
    """P(0 in T) = exp(-rate T), with the rate by which P(0 in 5 h) is what the strengths say."""
    rate = -np.log(absent(FLOW, HOURS)) / HOURS
    assert absent(FLOW, hours) == pytest.approx(np.exp(-rate * hours), rel=1e-9)


def test_over_its_own_hours_nothing_changes() -> None:
    assert absent(FLOW, HOURS) == pytest.approx(absent(FLOW, None), rel=1e-12)


def test_what_does_not_gather_is_the_same_over_any_hours() -> None:
    plain = read(RATTLE)
    assert rows_of(plain, FAMILY, 0.1) is rows_of(plain, FAMILY, 30.0)


def test_the_answers_still_add_up_over_any_hours() -> None:
    for hours in (0.1, 1.0, 40.0):
        rows = Rows(FLOW, FAMILY, hours)
        one = rows.of("steel-bits", ABSENT) + rows.of("steel-bits", frozenset({1}))
        assert one == pytest.approx(np.ones(FAMILY.rows))


def fixed(flow: Flow, *runs: float) -> float:
    """P(fixed) after the nut was done and so many runs, each looked through and clean."""
    steps: list[Any] = [Finding("magnet", Answered("all"), seq=1), Mended("refit-nut", seq=2)]
    for n, hours in enumerate(runs):
        steps += [
            Ran(hours, seq=10 + 2 * n),
            Finding("magnet", Answered("none"), round=n + 1, seq=11 + 2 * n),
        ]
    return posterior(flow, {}, tuple(steps)).fixed


def test_a_clean_look_after_minutes_says_little_and_one_after_hours_much() -> None:
    start = fixed(FLOW)
    assert start < fixed(FLOW, 1 / 3) < fixed(FLOW, 2) < fixed(FLOW, 5)
    assert fixed(FLOW, 1 / 3) - start < (fixed(FLOW, 5) - start) / 4


@given(short=st.floats(0.1, 10), longer=st.floats(0, 10))
def test_a_longer_clean_run_never_lowers_it(short: float, longer: float) -> None:
    """Where the redone joint does not come loose; that it may is another sum."""
    remedies = deepcopy(RATTLE["remedies"])
    for each in remedies.values():
        each["comes_back"] = 0.001
    signs = deepcopy(RATTLE["signs"])
    signs["steel-bits"]["gathers"] = HOURS
    flow = read(RATTLE | {"signs": signs, "remedies": remedies})
    assert fixed(flow, short + longer) >= fixed(flow, short) - 1e-3


def test_hours_wanted_are_those_after_which_it_is_so() -> None:
    """By hand: with each row's rate r, P(fixed | T) = w0 / sum(w exp(-(r - r0) T))."""
    now = posterior(FLOW, {}, (Finding("magnet", Answered("all"), seq=1), Mended("refit-nut", seq=2)))
    wanted = [clean_hours_to(FLOW, now, FLOW.second_looks["debris"], level) for level in (0.9, 0.95)]
    rate = -np.log(rows_of(FLOW, now.family, 1.0).of("steel-bits", ABSENT))
    for level, hours in zip((0.9, 0.95), wanted, strict=True):
        weights = now.weights * np.exp(-(rate - rate[now.family.empty]) * hours)
        assert weights[now.family.empty] / weights.sum() == pytest.approx(level, abs=1e-6)
    assert 0 < wanted[0] < wanted[1]


def test_no_silence_proves_what_would_be_silent_anyway() -> None:
    """Without a sign that gathers, no running time does anything."""
    plain = read(RATTLE)
    now = posterior(plain, {}, (Finding("magnet", Answered("all"), seq=1), Mended("refit-nut", seq=2)))
    assert math.isinf(clean_hours_to(plain, now, plain.second_looks["debris"], 0.9))


# --- in the talk ----------------------------------------------------------------------------------


def repaired(flow: Flow, pieces: str) -> Chat:
    """The nut was found loose and done; before that so many pieces were counted."""
    return at_the_watch(Chat(flow), pieces)


def counting() -> Flow:
    signs, questions = deepcopy(RATTLE["signs"]), deepcopy(RATTLE["questions"])
    for sign in ("steel-bits", "amount"):
        signs[sign]["gathers"] = HOURS
    questions["amount"]["counts"] = "pieces"
    return read(RATTLE | {"signs": signs, "questions": questions, "opening": ["magnet", "amount"]})


def at_the_watch(chat: Chat, pieces: str) -> Chat:
    chat.talk("it rattles", "no knock", "Goat", "by foot", "all of them cling")
    for _ in range(60):
        what, id = chat.asked
        if what == "second_look":
            return chat
        chat.say(pieces if id == "amount" else ANSWERS.get(id) or ANSWERS[what])
    raise AssertionError(f"no second look came, but {chat.asked}: {chat.said}")


ANSWERS = {
    "nut": "bad", "inside": "none of these", "remedy": "1", "access": "done", "step": "done",
    "point": "yes", "shut": "done",
    "proof": "done", "held": "gone", "after_work": "1", "place": "3", "kit": "4", "minutes_left": "4",
    "must_ride": "no", "giving_up": "2", "magnet": "all of them cling", "check": "good", "park": "1",
    "setting": "1", "question": "not sure", "hand_over": "1",
}  # fmt: skip


def looked(chat: Chat, hours: str) -> str:
    chat.say(hours)
    said = ""
    for _ in range(6):
        if chat.asked == ("question", "amount"):
            chat.say("0")
        elif chat.asked == ("question", "magnet"):
            chat.say("none clings")
        said += "\n" + chat.said
        if "of 100" in said or "no proof" in said:
            break
    return said


def test_each_clean_look_says_how_far_it_is_proved() -> None:
    chat = repaired(counting(), "30 pieces")
    first = looked(chat, "20 min")
    assert "Held" in first
    assert "of 100" in first
    assert plan.beliefs(chat.flow, chat.state).fixed < 0.99


def test_one_piece_before_is_never_called_proof() -> None:
    chat = repaired(counting(), "1 pieces")
    assert "no proof" in looked(chat, "20 min")
