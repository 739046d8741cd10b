"""How much likelier an answer is with a cause: by hand, and beside the sums that the talk itself uses."""

from __future__ import annotations

import numpy as np
import pytest

from bot.authoring import load, shelf, skeleton
from bot.core import chances
from bot.core.flow import Flow
from bot.reports.flow_weight import LEAST, Saying, sayings


@pytest.fixture(scope="module", name="chain")
def _chain() -> Flow:
    text = skeleton.text("chain-comes-off").encode()
    return load.load_text(text, shelf.find().common.read_bytes()).flow


@pytest.fixture(scope="module", name="metal")
def _metal() -> Flow:
    return load.shipped("metal-in-oil").flow


def test_by_hand(chain: Flow) -> None:
    """Background of off-under-load .26 (sometimes); worn .77 (usually), loose .50 (half), slack .12 (seldom).

    Shown with worn: 1 - .74 * .23 = .8298, over .26 = 3.192; loose: 1 - .74 * .5 = .63, over .26 = 2.423;
    slack: 1 - .74 * .88 = .3488, over .26 = 1.342. Denied: 1 - .77 = .23; .50; .88.
    """
    bumps, under_load = sayings(chain, "when-off")
    assert under_load.factors == pytest.approx(
        {"chain-slack": 1.342, "chain-worn": 3.192, "front-loose": 2.423}, abs=0.001
    )
    assert bumps.factors == pytest.approx({"chain-slack": 0.88, "chain-worn": 0.23, "front-loose": 0.5})
    assert under_load.speaks_for == ("chain-worn", "front-loose")
    assert bumps.speaks_against == ("chain-worn", "front-loose")


def test_a_look_weighs_what_it_catches_against_its_mistakes(chain: Flow) -> None:
    bad, good = sayings(chain, "front-look")
    assert bad.factors == pytest.approx({"front-loose": 0.95 / 0.01})
    assert good.factors == pytest.approx({"front-loose": 0.05 / 0.99})
    assert (bad.tells, good.tells) == (("front-look.bad",), ("front-look.good",))


def test_plain_signs_as_the_talk_has_them(metal: Flow) -> None:
    """`chances.noisy_or` over sets of one cause, beside the factor for each answer that shows one sign."""
    tried = 0
    for id, ask in metal.questions.items():
        for said, answer in zip(sayings(metal, id), getattr(ask, "answers", {}).values(), strict=False):
            if len(answer.shows) != 1 or answer.denies:
                continue
            base = metal.signs[answer.shows[0]].background
            for cause, factor in said.factors.items():
                link = metal.causes[cause].shows.get(answer.shows[0], 0.0)
                sets = np.array([[False], [True]])
                none, own = chances.noisy_or(np.array([base]), np.array([[link]]), sets)[0]
                assert factor == pytest.approx(own / none, rel=1e-9)
                tried += 1
    assert tried > 100


def test_graded_signs_as_the_talk_has_them(metal: Flow) -> None:
    base = np.array(metal.signs["amount"].background) / 100
    sets = np.array([[False], [True]])
    for cause in ("big-end", "gear-dog-or-tooth"):
        own = np.array(metal.causes[cause].shows["amount"]) / 100
        steps = chances.noisy_max(base, own[None, :], sets)
        for n, said in enumerate(sayings(metal, "amount")):
            assert said.factors[cause] == pytest.approx(steps[n, 1] / max(steps[n, 0], LEAST), rel=1e-6)


def test_every_question_and_look_of_the_flagship_has_its_answers(metal: Flow) -> None:
    for id, ask in metal.asks.items():
        labels = [said.label for said in sayings(metal, id)]
        wanted = {"one": "answers", "several": "marks", "graded": "classes", "number": "ranges"}.get(ask.kind)
        assert len(labels) == (
            2 if ask.kind == "look" else len(getattr(ask, wanted or "")) + (ask.kind == "several")
        )


def test_nothing_is_said_for_a_cause_that_is_no_likelier() -> None:
    said = Saying("x", {"a": 1.9, "b": 0.51, "c": 2.0, "d": 0.5})
    assert said.speaks_for == ("c",)
    assert said.speaks_against == ("d",)
