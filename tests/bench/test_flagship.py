"""The flagship benchmark runs on the flow that ships, decides as the bot decides, and gives what is kept."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from bot.authoring import load
from bot.core import events, plan
from bot.core.choose import choose
from bot.core.events import Entry
from bot.core.findings import Answered, Finding, Looked, Marked, Mended, Ran, Said, Step, Stepped
from bot.core.flow import FREQUENCY, Flow
from bot.core.state import State, fold
from tests.bench import frozen_flow
from tests.bench.bench_flagship import FLOW, SAMPLE, Frame
from tests.bench.frozen_flow import COMMAND, digest_of_numbers, digest_of_programs, store, stored
from tests.bench.played_bikes import (
    Play,
    clairvoyant,
    fixed_order,
    hand_over_at_once,
    order_and_gate,
    planner_moves,
)
from tests.bench.played_flow import Case, Move, Planner, _move
from tests.bench.report_flagship import FIXED, GATED, PLANNER
from tests.bench.worlds_of_flow import FRAMES, NOTHING, Bike, gathered, number
from tests.core.chat import Chat

NINE = datetime(2026, 5, 4, 9, tzinfo=UTC)
AT_HOME = {"place": "garage", "kit": "special", "skill": "workshop"}
STATES = 20


@pytest.fixture(scope="module")
def flow() -> Flow:
    return load.shipped(FLOW).flow


@pytest.fixture(scope="module")
def frames(flow: Flow) -> dict[str, Frame]:
    return {name: Frame(flow, name) for name in FRAMES}


# --- what is kept -----------------------------------------------------------------------------------


def test_the_numbers_of_the_flow_are_those_the_benchmark_was_run_on(flow: Flow) -> None:
    assert stored()["numbers"] == digest_of_numbers(flow), (
        f"{FLOW} has other numbers than the benchmark was run on. Run `{COMMAND}` and put the new results "
        "into docs/benchmarks.md. Numbers and benchmark may not change in one commit."
    )


def test_the_programs_are_those_that_gave_the_results() -> None:
    assert stored()["programs"] == digest_of_programs(), (
        f"the benchmark has changed since its results were kept: run `{COMMAND}`. "
        "Numbers and benchmark may not change in one commit."
    )


def test_texts_may_change_and_numbers_may_not(flow: Flow) -> None:
    before = digest_of_numbers(flow)
    cause = next(iter(flow.causes))
    for change, same in (({"name": "Another name"}, True), ({"share": 7.7}, False), ({"shows": {}}, False)):
        causes = {**flow.causes, cause: flow.causes[cause].model_copy(update=change)}
        changed = digest_of_numbers(flow.model_copy(update={"causes": causes}))
        assert (changed == before) is same, change
    step = next(iter(flow.access))
    dearer = {**flow.access, step: flow.access[step].model_copy(update={"close": 99.0})}
    assert digest_of_numbers(flow.model_copy(update={"access": dearer})) != before


def test_numbers_and_benchmark_change_apart(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept = tmp_path / "kept.json"
    monkeypatch.setattr(frozen_flow, "STORED", kept)
    store({}, "numbers one", "program one")
    store({}, "numbers two", "program one")
    with pytest.raises(ValueError, match="both changed"):
        store({}, "numbers three", "program two")
    store({}, "numbers two", "program two")
    assert (stored()["numbers"], stored()["programs"]) == ("numbers two", "program two")


@pytest.mark.parametrize("name", FRAMES)
def test_a_sample_of_bikes_costs_what_is_kept(frames: dict[str, Frame], name: str) -> None:
    frame, kept = frames[name], stored()["frames"][name]
    tuned, seeds = kept["tuned"], stored()["seeds"]["report"]
    players = {
        PLANNER: planner_moves(frame.planner),
        GATED: order_and_gate(frame.planner),
        FIXED: fixed_order(frame.planner, tuned["threshold"], tuned["limit"]),
    }
    for who, policy in players.items():
        found = [round(bill.minutes, 2) for bill in frame.play(policy, frame.bikes(seeds, SAMPLE))]
        assert found == kept["sample"][who], f"{who} decides otherwise than in what is kept: run `{COMMAND}`"


# --- the same decision as the bot's -----------------------------------------------------------------


def entries_of(flow: Flow, frame: str, case: Case, opened: tuple[str, ...]) -> State:
    """The case as the bot's own entries."""
    told: list[object] = [events.BikeTaken(bike="", nickname="the old one", traits=dict(FRAMES[frame]))]
    told += [events.SettingTold(setting=name, value=value) for name, value in AT_HOME.items()]
    for step in case.history:
        told += _events(flow, step)
    told += [events.Skipped(ask=ask, why="not_sure") for ask in sorted(case.unsure)]
    told += [events.AccessOpened(access=step) for step in opened]
    return fold(Entry(n, "2026-05-04T09:00:00Z", "rider", "rider", e) for n, e in enumerate(told, 1))


def _events(flow: Flow, step: object) -> Iterator[object]:
    match step:
        case Finding(ask, Looked(result), rank):
            yield events.Answered(ask=ask, value=(result,), form="look", rank=rank)
        case Finding(ask, Marked(marks), rank):
            yield events.Answered(ask=ask, value=tuple(sorted(marks)), form="marks", rank=rank)
        case Finding(ask, Stepped(steps), rank):
            yield events.Answered(ask=ask, value=tuple(steps), form="steps", rank=rank)
        case Finding(ask, value, rank):
            yield events.Answered(ask=ask, value=(value.answer,), form="one", rank=rank)  # type: ignore[union-attr]
        case Mended(remedy):
            causes = tuple(c for c, cause in flow.causes.items() if cause.remedy == remedy)
            yield events.Mended_(remedy=remedy, causes=causes, confirmed=True)
        case Ran(hours):
            yield events.ProofRun(remedy="", minutes=60 * hours)
        case Said(word):
            yield events.SaidOfRepair(word=word)


def wander(frame: Frame, nth: int) -> Play:
    """A bike some way into its case, by moves taken at random: looks, and now and then a repair."""
    rng, planner = random.Random(f"wander {nth}"), frame.planner
    play = Play(frame.garage, planner, frame.bikes("wander", nth + 1)[nth])

    class Enough(Exception):
        pass

    def policy(case: Case) -> Move:
        if len(case.history) >= 2 + nth % 9:
            raise Enough
        if rng.random() < 0.15:
            return "mend", (rng.choice(sorted(frame.garage.remedies)),)
        return "ask", (rng.choice(planner.candidates(case)),)

    try:
        play.run(policy)
    except Enough:
        return play
    return wander(frame, nth + STATES)


@pytest.mark.parametrize("name", FRAMES)
def test_the_arrays_give_the_bots_own_choice(flow: Flow, frames: dict[str, Frame], name: str) -> None:
    frame, desk, compared = frames[name], Chat(flow).desk(), 0
    for nth in range(STATES):
        case = wander(frame, nth).case
        state = entries_of(flow, name, case, tuple(sorted(case.open)))
        ours, theirs = choose(frame.planner.problem(case)), choose(plan.problem(desk, flow, state, None)[0])
        assert (ours.kind, ours.ids) == (theirs.kind, theirs.ids), case
        assert ours.minutes == pytest.approx(theirs.minutes, abs=1e-6)
        assert [g.act for g in ours.gains] == [g.act for g in theirs.gains]
        if not plan.refused(flow, state):
            advice = plan.advise(desk, flow, state, NINE)
            assert advice.choice is not None
            assert (advice.choice.kind, advice.choice.ids) == (ours.kind, ours.ids)
            compared += 1
    assert compared >= STATES // 3, "too few states in which the bot refuses nothing"


def test_what_gathers_has_only_the_run_to_gather_in(flow: Flow, frames: dict[str, Frame]) -> None:
    """Where .77 show a piece that clings in 5 h, none is seen after 20 minutes with (1 - .77)^(1/15)."""
    truth = frames["A"].truth
    clinging = next(
        c for c in truth.causes if flow.causes[c].shows.get("magnetic-pieces") == FREQUENCY["usually"]
    )
    own = flow.signs["magnetic-pieces"].background
    assert isinstance(own, float)
    absent = truth.rows(frozenset({clinging}), 1 / 3).of("magnetic-pieces", frozenset({0}))[0]
    assert absent == pytest.approx(((1 - own) * (1 - 0.77)) ** (1 / 15), rel=1e-6)


def test_the_hours_run_since_the_last_look(flow: Flow) -> None:
    look = Finding("magnet", Answered("none"))
    told: list[Step] = [look, Mended("clean-oil-change"), Ran(0.4), Said("same")]
    assert gathered(flow, (look,)) is None
    assert gathered(flow, tuple(told)) == 0.4
    assert gathered(flow, (*told, look, Ran(1.0))) == 1.0  # what was looked for is gone with the look
    assert gathered(flow, (*told, Ran(1.0))) == 1.4
    assert gathered(flow, (*told, Mended("clean-oil-change"))) is None


# --- the bikes --------------------------------------------------------------------------------------


def test_a_bike_gives_one_answer_whoever_asks(frames: dict[str, Frame]) -> None:
    frame = frames["A"]
    for nth in range(30):
        one, other = frame.bikes("twice", nth + 1)[nth], frame.bikes("twice", nth + 1)[nth]
        asks = list(frame.garage.asks)
        first = [one.answer(ask, 0, {}) for ask in asks]
        assert [other.answer(ask, 0, {}) for ask in reversed(asks)] == first[::-1]


def test_causes_come_as_often_as_the_prior_says(frames: dict[str, Frame]) -> None:
    """Within five standard errors of a binomial share, for every cause."""
    frame, count = frames["B"], 4000
    truth, bikes = frame.truth, frame.bikes("how often", count)
    for cause in truth.causes:
        wanted = truth.prior.of(cause)
        found = sum(cause in bike.wrong for bike in bikes) / count
        assert abs(found - wanted) < 5 * np.sqrt(wanted * (1 - wanted) / count), cause


def test_answers_come_as_often_as_the_beliefs_say(frames: dict[str, Frame]) -> None:
    """The beliefs were right about a first answer: mean predicted and found, four standard errors."""
    frame = frames["A"]
    act = next(a for a in frame.planner.problem(Case()).actions if a.id == "magnet")
    predicted = act.outcomes @ frame.planner.problem(Case()).weights
    answers = [bike.answer("magnet", 0, {}) for bike in frame.bikes("predicted", 3000)]
    labels = list(frame.garage.flow.questions["magnet"].answers)  # type: ignore[union-attr]
    told = [labels.index(a.answer) for a in answers if a is not None]  # type: ignore[union-attr]
    found = np.bincount(told, minlength=len(labels)) / len(told)
    assert (np.abs(found - predicted) < 4 * np.sqrt(predicted * (1 - predicted) / len(told))).all()


def test_numbers_are_the_same_on_every_machine() -> None:
    """First eight bytes of the BLAKE2b digest of "set/0/wrong", by b2sum -l 64."""
    assert number("set", 0, "wrong") == 0x7E0C2D31ACC298E8 / 2**64


def test_a_repair_that_holds_takes_its_cause_and_nothing_else(flow: Flow, frames: dict[str, Frame]) -> None:
    truth, left = frames["A"].truth, 0
    for nth in range(200):
        bike = Bike(truth, ("repair", nth), frozenset({"starter-drive", "cam-or-follower"}))
        assert bike.mend("renew-starter-drive")
        assert "cam-or-follower" in bike.wrong
        left += "starter-drive" in bike.wrong
        assert not bike.mend("renew-gears")
    assert left / 200 == pytest.approx(1 - flow.remedies["renew-starter-drive"].holds, abs=0.07)


def test_nobody_beats_one_who_knows(frames: dict[str, Frame]) -> None:
    frame, planner = frames["A"], frames["A"].planner
    bikes = frame.bikes("bound", 40)
    for policy in (planner_moves(planner), fixed_order(planner, 0.5, 20.0), hand_over_at_once(planner)):
        for bike, bill in zip(bikes, frame.play(policy, frame.bikes("bound", 40)), strict=True):
            assert bill.minutes >= clairvoyant(frame.garage, bike) - 1e-6


# --- what a move costs, by hand ---------------------------------------------------------------------


def test_the_price_of_a_repair_by_hand(frames: dict[str, Frame]) -> None:
    """Starter drive, frame A: skid plate, oil, left cover, flywheel off and on; 60 minutes, 4 steps, 25 run.

    Opening 5+10+15+15, closing 5+10+25+15, gasket 10 at .30 a minute, eight messages for the covers, five
    for the work: 45 + 55 + 33.33 + 16 + 60 + 10 + 25.
    """
    frame = frames["A"]
    bike = Bike(frame.truth, ("price", 0), frozenset({"starter-drive"}))
    play = Play(frame.garage, frame.planner, bike)
    play._prove(("renew-starter-drive",))
    assert play.bill.minutes == pytest.approx(244.33, abs=0.01)
    assert play.bill.messages == 13
    assert play.case.open == frozenset()


def test_parts_for_nothing_are_paid(frames: dict[str, Frame]) -> None:
    """The same work where the cam is worn: 12 of parts, at .30 a minute 40 minutes more."""
    frame = frames["A"]
    play = Play(frame.garage, frame.planner, Bike(frame.truth, ("price", 1), frozenset({"cam-or-follower"})))
    assert not play._prove(("renew-starter-drive",))
    assert play.bill.minutes == pytest.approx(284.33, abs=0.01)
    assert (play.bill.repairs, play.bill.in_vain) == (1, 1)
    assert play.bike.wrong != NOTHING


def test_a_cover_taken_off_again_after_a_running_check_is_counted(frames: dict[str, Frame]) -> None:
    frame = frames["A"]
    play = Play(frame.garage, frame.planner, frame.bikes("again", 1)[0])
    for ask in ("left-side", "listen-thirty-seconds"):
        play._ask(ask)
        assert not play.bill.reopened
    assert play.case.open == frozenset()
    play._ask("left-side")
    assert play.bill.reopened
    assert play.bill.for_running


def test_the_gated_order_asks_only_what_pays(frames: dict[str, Frame]) -> None:
    planner: Planner = frames["A"].planner
    case = Case()
    kind, ids = order_and_gate(planner)(case)
    choice = choose(planner.problem(case))
    paying = [gain.act for gain in choice.gains if gain.net > 0.05]
    assert kind == "ask"
    assert ids[0] == min(paying, key=planner.garage.order.index)
    assert planner_moves(planner)(case) == _move(choice.kind, choice.ids)
