"""What the bot says of its reasons where it stops short of running or riding."""

from __future__ import annotations

from typing import Any

from bot.core import plan, reasons
from bot.core.events import StopRaised
from bot.core.flow import Flow, read
from bot.core.state import State
from tests.core.chat import wording
from tests.rattle import FLOW, RATTLE, opened


def nut_that(**hazard: str) -> Flow:
    """The nut, likely at about half, with this hazard."""
    nut: dict[str, Any] = {**RATTLE["causes"]["nut-loose"], "hazard": hazard}
    return read({**RATTLE, "causes": {**RATTLE["causes"], "nut-loose": nut}})


def refused(flow: Flow, state: State) -> list[str]:
    return reasons.refused_lines(wording(), flow, state)


def test_the_cause_for_which_the_odds_refuse_is_named_with_its_chance() -> None:
    name = FLOW.causes["nut-loose"].name
    chance = f"{100 * plan.beliefs(FLOW, opened().state).of('nut-loose'):.0f}"
    likely = f"{name} is too likely ({chance} of 100)"
    assert refused(nut_that(running="engine"), opened().state) == [
        f"I will not ask you to run it: {likely} and running can wreck the engine."
    ]
    assert refused(nut_that(riding="rider"), opened().state) == [
        f"I will not ask you to ride it: {likely} and it can hurt you."
    ]
    assert refused(FLOW, opened().state) == []


def test_what_a_stop_bars_already_is_not_refused_a_second_time() -> None:
    stopped = opened().add(StopRaised(rule="loose-nut", bars=("running", "riding"))).state
    assert refused(nut_that(running="engine"), stopped) == []
