"""An open case may go over to another version only where everything it was told still means the same."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from bot.core import events
from bot.core.flow import Flow, read
from bot.core.moving import Hindrance, hindrances
from bot.core.state import State
from tests.rattle import FLOW, RATTLE, opened


def version(changes: dict[str, Any]) -> Flow:
    """The rattling flow with some values put in, or taken out where the new value is None."""
    data = copy.deepcopy(RATTLE)
    for path, value in changes.items():
        *way, last = path.split("/")
        node: Any = data
        for part in way:
            node = node[part]
        if value is None:
            del node[last]
        else:
            node[last] = value
    return read(data)


@pytest.fixture(name="state")
def _state() -> State:
    """Told: no knock, all bits cling, started by foot; the oil is out."""
    diary = opened().add(events.TraitTold(trait="starter", answer="kick"))
    diary.answer("knock", "no").answer("magnet", "all")
    return diary.add(events.AccessOpened(access="oil-out")).state


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"title": "Something rattles a lot", "version": 3},
        {"questions/magnet/ask": "A magnet: what happens?", "questions/magnet/minutes": 3},
        {"questions/magnet/answers/all/label": "Every one clings"},
        {"questions/magnet/answers/all/told_as": ["sticks to a magnet"]},
        {"causes/nut-loose/share": 39, "causes/basket-worn/share": 31},
        {"causes/nut-loose/shows/steel-bits": "usually"},
        {"questions/amount/classes/a-few/upto": 4},  # not answered
        {"checks/nut/finds": [{"cause": "nut-loose", "catches": 0.95}]},
        {"access/cover/open": 20},
        {"causes/basket-worn/name": "Basket notched"},
    ],
    ids=str,
)
def test_texts_shares_strengths_and_what_was_not_asked_may_differ(
    state: State, changes: dict[str, Any]
) -> None:
    assert hindrances(FLOW, version(changes), state) == ()


@pytest.mark.parametrize(
    ("changes", "wanted"),
    [
        ({"questions/magnet/answers/all/shows": []}, Hindrance("question", "magnet", gone=False)),
        ({"questions/magnet/answers/none/denies": []}, Hindrance("question", "magnet", gone=False)),
        ({"questions/magnet/answers/some": {"label": "Some"}}, Hindrance("question", "magnet", gone=False)),
        ({"questions/magnet/only_when": {"starter": ["kick"]}}, Hindrance("question", "magnet", gone=False)),
        ({"questions/magnet/needs": "running"}, Hindrance("question", "magnet", gone=False)),
        ({"questions/magnet": None, "opening": []}, Hindrance("question", "magnet", gone=True)),
        ({"traits/starter/answers/kick/shows": []}, Hindrance("trait", "starter", gone=False)),
        ({"flow": "clatter"}, Hindrance("flow", "clatter", gone=False)),
    ],
)
def test_what_was_answered_must_mean_the_same(
    state: State, changes: dict[str, Any], wanted: Hindrance
) -> None:
    assert hindrances(FLOW, version(changes), state) == (wanted,)


def test_a_question_that_is_open_must_be_there_too() -> None:
    asked = opened().add(events.WasAsked(seat="rider", what="question", id="magnet")).state
    [found] = hindrances(FLOW, version({"questions/magnet": None, "opening": []}), asked)
    assert found == Hindrance("question", "magnet", gone=True)


def test_a_cause_that_was_found_or_repaired_must_still_be_there() -> None:
    without = version(
        {
            "causes/nut-loose": None,
            "causes/basket-worn/share": 70,
            "remedies/refit-nut/may_leave": {},
            "checks/nut/finds": [{"cause": "basket-worn", "catches": 0.9}],
        }
    )
    unseen = opened().answer("knock", "no").state
    assert hindrances(FLOW, without, unseen) == ()
    found = opened().add(events.AccessOpened(access="oil-out")).add(events.AccessOpened(access="cover"))
    assert Hindrance("cause", "nut-loose", gone=True) in hindrances(
        FLOW, without, found.answer("nut", "bad").state
    )
    mended = opened().mend("refit-nut", "nut-loose").state
    assert Hindrance("cause", "nut-loose", gone=True) in hindrances(FLOW, without, mended)


def test_a_repair_a_cover_that_is_off_a_stop_and_a_watch_must_still_be_there(state: State) -> None:
    def without(part: str, id: str, **more: Any) -> Flow:
        """Straight from the models: the linter would have more to say of such a flow."""
        kept = {key: value for key, value in getattr(FLOW, part).items() if key != id}
        return FLOW.model_copy(update={part: kept, **more})

    assert hindrances(FLOW, without("access", "oil-out"), state) == (
        Hindrance("access", "oil-out", gone=True),
    )
    mended = opened().mend("refit-nut", "nut-loose").state
    assert Hindrance("remedy", "refit-nut", gone=True) in hindrances(
        FLOW, without("remedies", "refit-nut"), mended
    )
    raised = opened().add(events.StopRaised(rule="big-knock", bars=("running",), because=(1,))).state
    gone = Hindrance("stop", "big-knock", gone=True)
    assert hindrances(FLOW, without("stop_rules", "big-knock"), raised) == (gone,)
    lifted = opened().add(events.StopRaised(rule="big-knock", bars=("running",), because=(1,)))
    lifted.add(events.StopLifted(rule="big-knock", by="nut.good"))
    assert hindrances(FLOW, without("stop_rules", "big-knock"), lifted.state) == ()
    watched = opened().add(events.WatchSet(plan="debris", index=0, for_remedy="", from_hours=43.0)).state
    gone = Hindrance("second_look", "debris", gone=True)
    assert hindrances(FLOW, without("second_looks", "debris"), watched) == (gone,)


def test_a_moved_case_goes_by_the_other_version_and_keeps_what_it_was_told(state: State) -> None:
    moved = opened().answer("magnet", "all").add(events.FlowMoved(hash="def", title="It rattles")).state
    assert (moved.hash, moved.title, moved.flow) == ("def", "It rattles", "rattle")
    assert moved.told("magnet") is not None
