"""What may be done here and now, what it costs, and in which order things go back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from bot.core import plan
from bot.core.events import AccessOpened, SettingTold
from bot.core.flow import Flow, read
from tests.core.chat import Chat
from tests.rattle import FLOW, RATTLE, Diary, opened

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)


def flow_with(**parts: Any) -> Flow:
    return read({**RATTLE, **parts})


def setting(diary: Diary, **told: str | float | bool) -> Diary:
    for name, value in told.items():
        diary.add(SettingTold(setting=name, value=value))
    return diary


def test_missing_access_is_named_in_the_order_of_opening() -> None:
    state = opened().state
    assert plan.missing_access(FLOW, state, ("cover",)) == ("oil-out", "cover")
    state = opened().add(AccessOpened(access="oil-out")).state
    assert plan.missing_access(FLOW, state, ("cover",)) == ("cover",)


def test_what_gives_an_access_opens_it_too() -> None:
    access = {**RATTLE["access"], "cover": {**RATTLE["access"]["cover"], "given_by": ["oil-out"]}}
    state = opened().add(AccessOpened(access="oil-out")).state
    assert plan.missing_access(flow_with(access=access), state, ("cover",)) == ()


def test_a_known_trait_picks_another_way_in() -> None:
    other = {**RATTLE["access"]["cover"], "after_when": {"starter": {"kick": []}}}
    flow = flow_with(access={**RATTLE["access"], "cover": other})
    state = replace(opened().state, traits={"starter": "kick"})
    assert plan.missing_access(flow, state, ("cover",)) == ("cover",)
    assert plan.missing_access(flow, opened().state, ("cover",)) == ("oil-out", "cover")


def test_covers_go_back_before_what_they_are_behind_and_fluids_last() -> None:
    side = {"do": "Side cover off.", "shut": "Side cover on.", "open": 5, "close": 5}
    oil = {**RATTLE["access"]["oil-out"], "fills": True}
    flow = flow_with(access={**RATTLE["access"], "oil-out": oil, "side": side})
    diary = opened()
    for access in ("side", "oil-out", "cover"):
        diary.add(AccessOpened(access=access))
    state, order = diary.state, []
    while state.open:
        order.append(plan.shut_first(flow, state))
        state = replace(state, open=tuple(a for a in state.open if a != order[-1]))
    assert order == ["cover", "side", "oil-out"]


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({"place": "garage", "kit": "special"}, ""),
        ({"place": "trail", "kit": "special"}, "place"),
        ({"place": "pit", "kit": "special", "minutes_left": 200.0, "must_ride": True}, ""),
        ({"place": "pit", "kit": "special", "minutes_left": 60.0, "must_ride": True}, "time"),
        ({"place": "pit", "kit": "special", "minutes_left": 60.0, "must_ride": False}, ""),
    ],
)
def test_place_and_time_bar_a_look(told: dict[str, Any], why: str) -> None:
    """The nut: 35 minutes to open, 5 to look, 40 to close when he must ride on it."""
    diary = setting(opened(), **told)
    at = datetime.fromisoformat(diary.state.entries[-1].at.replace("Z", "+00:00"))
    here = plan.limits(FLOW, diary.state, at)
    assert plan.obstacle(FLOW, diary.state, here, "nut") == why


def test_time_left_runs_with_the_clock() -> None:
    diary = setting(opened(), place="pit", kit="special", minutes_left=60.0)
    at = datetime.fromisoformat(diary.state.entries[-1].at.replace("Z", "+00:00"))
    assert plan.limits(FLOW, diary.state, at + timedelta(minutes=25)).minutes_left == pytest.approx(35, abs=1)


def test_a_tool_that_the_kit_does_not_hold_bars_a_look() -> None:
    tools = {**RATTLE["tools"], "puller": {"name": "puller", "kit": "special"}}
    nut = {**RATTLE["checks"]["nut"], "tools": ["puller"]}
    flow = flow_with(tools=tools, checks={**RATTLE["checks"], "nut": nut})
    diary = setting(opened(), place="garage", kit="garage")
    assert plan.obstacle(flow, diary.state, plan.limits(flow, diary.state, NOW), "nut") == "tools"


def test_a_repair_on_suspicion_is_preceded_by_the_look_that_comes_for_nothing() -> None:
    diary = setting(opened(), place="garage", kit="special")
    assert plan.free_look(FLOW, diary.state, NOW, "refit-nut") == "nut"
    diary.answer("nut", "bad")
    assert plan.free_look(FLOW, diary.state, NOW, "refit-nut") is None


def test_parts_are_a_price_only_as_far_as_they_may_be_bought_for_nothing() -> None:
    """A basket of 110.50 at .30 a minute: the planner loses it where the repair is not needed."""
    fixes = {f.id: f for f in plan.problem(Chat(FLOW).desk(), FLOW, opened().state, None)[0].fixes}
    assert fixes["file-basket"].minutes == pytest.approx(60 + 2 * 2)  # the work, and two messages
    assert fixes["file-basket"].wasted == pytest.approx(110.5 / 0.30)


def test_a_harmless_cause_is_waited_for_only_when_it_leads_and_nothing_can_hurt_the_rider() -> None:
    fixes = {f.id: f for f in plan.problem(Chat(FLOW).desk(), FLOW, opened().state, None)[0].fixes}
    causes = plan.beliefs(FLOW, opened().state).family.causes
    watch = fixes["watch:fines"]
    assert (watch.least, watch.most) == (0.3, 0.05)
    assert watch.unless == {n for n, c in enumerate(causes) if FLOW.causes[c].hazard.riding == "rider"}


def test_the_odds_refuse_running_while_one_cause_may_wreck_the_engine() -> None:
    """40 of 100 for the nut passes the gate of 25; so a look that needs running is barred."""
    nut = {**RATTLE["causes"]["nut-loose"], "hazard": {"running": "engine"}}
    flow = flow_with(causes={**RATTLE["causes"], "nut-loose": nut})
    state = opened().state
    assert plan.refused(flow, state) == (("running", "nut-loose"),)
    assert plan.refused(FLOW, state) == ()
