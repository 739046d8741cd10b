"""The odds against published examples, against plain enumeration, and by what must always hold."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core import odds
from bot.core.chances import noisy_or
from bot.core.family import Array, Family, family_of
from bot.core.findings import (
    LOOKED,
    Answered,
    Finding,
    History,
    Looked,
    Mended,
    NotSure,
    Ran,
    Said,
    Stepped,
)
from bot.core.flow import Flow, Graded, Traits, read
from bot.core.odds import Beliefs, decibans, explain, posterior, prior, weights_of
from tests.core.oracle import UNLISTED, enumerate_posterior
from tests.core.worlds import (
    OPENING,
    asked,
    by_set,
    flow_of,
    look,
    miniature,
    odd_sums,
    random_findings,
    random_flow,
    yes_no,
)

seeds = st.integers(0, 10**6)
BIKES: tuple[Traits, ...] = ({}, {"starter": "kick"}, {"starter": "electric"})


# --- published examples ---------------------------------------------------------------------

# Four faults, five signs with leaks; noisy-or as in Jaakkola and Jordan 1999, "Variational
# probabilistic inference and the QMR-DT network", JAIR 10: P(absent) = (1 - leak) * prod(1 - q).
PRIOR = {"A": 0.30, "B": 0.10, "C": 0.05, "D": 0.02}
LEAK = np.array([0.05, 0.02, 0.10, 0.01, 0.03])
LINK = np.array(
    [
        [0.90, 0.40, 0.00, 0.00],
        [0.00, 0.80, 0.60, 0.20],
        [0.20, 0.00, 0.70, 0.50],
        [0.00, 0.00, 0.30, 0.95],
        [0.10, 0.50, 0.00, 0.60],
    ]
)
SEEN = np.array([True, True, False, False, True])
EXACT = {"A": 0.466502352053, "B": 0.970275812652, "C": 0.019460931589, "D": 0.001492376517}


def example(sizes: tuple[int, ...], signs: int = 5, left_out: int = -1) -> Beliefs:
    """Beliefs after the first signs of the example, over sets of the given sizes."""
    family = family_of(tuple(PRIOR), sizes)
    weights = weights_of({c: p / (1 - p) for c, p in PRIOR.items()}, family)
    weights *= math.prod(1 - p for p in PRIOR.values())
    shown = noisy_or(LEAK, LINK, family.member)
    for k in range(signs):
        if k != left_out:
            weights = weights * (shown[k] if SEEN[k] else 1 - shown[k])
    return Beliefs(family, weights)


def test_the_four_fault_example_over_all_sixteen_sets() -> None:
    now = example((0, 1, 2, 3, 4))
    assert now.family.rows == 16
    assert {c: now.of(c) for c in PRIOR} == pytest.approx(EXACT, abs=1e-9)
    assert now.total == pytest.approx(0.0196833229, abs=1e-10)  # P(evidence)
    assert by_set(now)[frozenset("B")] == pytest.approx(0.525241, abs=1e-6)
    assert by_set(now)[frozenset("ABC")] == pytest.approx(0.005475, abs=1e-6)
    assert now.fixed == pytest.approx(0.000797, abs=1e-6)


def test_what_the_limit_to_two_faults_costs_on_that_example() -> None:
    two = example((1, 2))
    assert two.of("C") == pytest.approx(0.01405, abs=5e-6)  # against .01946
    assert max(abs(two.of(c) - EXACT[c]) for c in PRIOR) == pytest.approx(0.0054, abs=5e-5)
    one = example((1,))
    assert max(abs(one.of(c) - EXACT[c]) for c in PRIOR) == pytest.approx(0.428, abs=6e-3)


def test_the_fever_table() -> None:
    """Russell and Norvig, Artificial Intelligence: cold, flu and malaria; inhibitors .6, .2, .1."""
    member = np.array([[c, f, m] for c in (0, 1) for f in (0, 1) for m in (0, 1)], dtype=bool)
    fever = noisy_or(np.array([0.0]), np.array([[0.4, 0.8, 0.9]]), member)[0]
    assert fever == pytest.approx([0, 0.9, 0.8, 0.98, 0.4, 0.94, 0.88, 0.988])


def test_two_answers_worth_more_than_each_alone() -> None:
    """Hay, Russell, Tolpin and Shimony (UAI 2012): observations worth nothing by themselves may pay
    together. Priors .6 and .4, a sign shown by .5 and .7; the price is that of stripping wrongly."""
    family = family_of(("a", "b"), (1,))
    before = np.array([0.6, 0.4])
    shown = noisy_or(np.zeros(2), np.array([[0.5, 0.7]] * 2), family.member)
    one = [before * shown[0], before * (1 - shown[0])]
    two = [w * s for w in one for s in (shown[1], 1 - shown[1])]

    def right(worlds: list[Array]) -> float:
        return sum(float(w.max()) for w in worlds)

    assert right(one) - 0.6 == pytest.approx(0, abs=1e-12)
    assert right(two) - 0.6 == pytest.approx(0.046)
    assert two[0].sum() == pytest.approx(0.346)
    assert Beliefs(family, two[0]).of("b") == pytest.approx(0.5665, abs=5e-5)


@pytest.mark.parametrize(
    ("for_it", "against", "db"), [(8, 5, 2), (20, 1, 13), (5, 2, 4), (1, 1, 0), (1, 10, -10)]
)
def test_decibans_of_the_general_report_on_tunny(for_it: int, against: int, db: int) -> None:
    """General Report on Tunny (Good, Michie and Timms, 1945): 8/13 is 2 db, 20 to 1 is 13, 5 to 2 is 4."""
    family = family_of(("a", "b"), (1,))
    assert round(decibans(Beliefs(family, np.array([for_it, against])), "a")) == db


def test_the_weight_of_each_sign_in_the_four_fault_example() -> None:
    """In order and by taking away, after I. J. Good; cause B."""
    every = (0, 1, 2, 3, 4)
    upto = [decibans(example(every, k), "B") for k in range(6)]
    assert upto[0] == pytest.approx(-9.54, abs=0.005)
    assert np.diff(upto) == pytest.approx([2.80, 11.83, 2.71, 0.69, 6.65], abs=0.006)
    away = [upto[5] - decibans(example(every, 5, k), "B") for k in range(5)]
    assert away == pytest.approx([0.21, 14.75, 2.38, 1.85, 6.65], abs=0.006)
    assert upto[5] == pytest.approx(15.14, abs=0.005)


# --- before any answer ----------------------------------------------------------------------


def test_pairs_hold_what_the_author_said() -> None:
    flow = miniature(paired=6)
    now = by_set(prior(flow, {}))
    assert sum(p for s, p in now.items() if len(s) == 2) == pytest.approx(0.06)
    odds_of = {"basket-notched": 40 / 60, "cable-tight": 25 / 75}
    assert now[frozenset({"basket-notched"})] / now[frozenset({"cable-tight"})] == pytest.approx(
        odds_of["basket-notched"] / odds_of["cable-tight"]
    )


def test_a_cause_that_stands_alone_is_in_no_pair() -> None:
    causes = {
        "fines": {"name": "Ordinary fines", "share": 40, "alone": True},
        "a": {"name": "A", "share": 30},
        "b": {"name": "B", "share": 20},
    }
    now = by_set(prior(flow_of(signs={}, causes=causes), {}))
    assert {s for s in now if len(s) == 2} == {frozenset("ab")}
    assert now[frozenset("ab")] == pytest.approx(0.06)


def bound(**more: object) -> Flow:
    """A kick starter gear that only some bikes have, and a bearing that is likelier with kick."""
    causes = {
        "gear": {"name": "Gear", "share": 30, "only_when": {"starter": ["kick"]}, "shows": {"clack": 0.9}},
        "bearing": {
            "name": "B.",
            "share": 40,
            "share_if": {"starter": {"kick": 20}},
            "shows": {"clack": 0.3},
        },
        "rod": {"name": "Rod", "share": 20},
    }
    parts: dict[str, object] = {
        "signs": {"clack": {"means": "clacks", "background": 0.05}},
        "causes": causes,
        "questions": {"clack": yes_no("clack", slip=0)},
        "traits": {
            "starter": {
                "ask": "Starter?",
                "answers": {"kick": {"label": "Kick"}, "electric": {"label": "Button"}},
            }
        },
    }
    return flow_of(**(parts | more))


def test_a_known_trait_excludes_causes_and_changes_shares_but_not_the_scale() -> None:
    flow = bound()
    scale = odds.scale_of_odds(flow)
    electric, kick = prior(flow, {"starter": "electric"}), prior(flow, {"starter": "kick"})
    assert prior(flow, {}).family.causes == ("gear", "bearing", "rod")
    assert electric.family.causes == ("bearing", "rod")
    assert electric.of("gear") == 0
    assert electric.weights[0] == pytest.approx(scale * 40 / 60)
    assert kick.weights[1] == pytest.approx(scale * 20 / 80)


# --- answers --------------------------------------------------------------------------------


@given(seeds)
def test_every_question_adds_up_to_one_for_any_set(seed: int) -> None:
    flow = random_flow(seed, overlap=seed % 2 == 0)
    assert odd_sums(flow, BIKES[seed % 3], seed) == []


def walk(flow: Flow, rnd: random.Random, repairs: int) -> History:
    """Findings, repairs, running and words, in any order that may happen."""
    steps: list[History] = [random_findings(flow, rnd)]
    for k in range(repairs):
        badly = frozenset(rnd.sample(["dry", "washer"], rnd.randint(0, 2)))
        steps += [(Mended(rnd.choice(list(flow.remedies)), rnd.random() < 0.5, badly),)]
        steps += [random_findings(flow, rnd, 100 * k + 100)]
        if rnd.random() < 0.6:
            steps += [(Said(rnd.choice(["gone", "same", "came_back"])),)]
        steps += [(Ran(rnd.uniform(0.1, 30)),), random_findings(flow, rnd, 100 * k + 150)]
    return tuple(step for part in steps for step in part)


@given(seeds, st.integers(0, 3))
def test_as_plain_enumeration_has_it(seed: int, repairs: int) -> None:
    flow, bike = random_flow(seed), BIKES[seed % 3]
    history = walk(flow, random.Random(seed), repairs)
    got, want = by_set(posterior(flow, bike, history)), enumerate_posterior(flow, bike, history)
    for here in got.keys() | want.keys():
        assert got.get(here, 0.0) == pytest.approx(want.get(here, 0.0), abs=1e-9)


@given(seeds, st.randoms(use_true_random=False))
def test_answers_of_one_slice_commute(seed: int, shuffled: random.Random) -> None:
    """Even where questions overlap and people contradict themselves: entries keep their numbers."""
    flow, rnd = random_flow(seed, overlap=True), random.Random(seed)
    told = random_findings(flow, rnd) + random_findings(flow, rnd, 50)
    told = tuple(replace(f, rank=rnd.randint(0, 4)) for f in told)
    other = list(told)
    shuffled.shuffle(other)
    now, then = (by_set(posterior(flow, {}, (*t, Mended("remedy0"), *t))) for t in (told, tuple(other)))
    assert then == pytest.approx(now, abs=1e-12)


@given(seeds)
def test_the_order_of_asking_leaves_no_trace(seed: int) -> None:
    """Entries numbered anew: one question after the other or the other way round, without contradiction."""
    flow, rnd = random_flow(seed, overlap=True), random.Random(seed)
    truth = {s: rnd.random() < 0.5 for s in flow.signs}
    told = [f for f in random_findings(flow, rnd) if agrees(flow, f, truth)]
    forward = tuple(replace(f, seq=k) for k, f in enumerate(told))
    backward = tuple(replace(f, seq=k) for k, f in enumerate(reversed(told)))
    assert by_set(posterior(flow, {}, forward)) == pytest.approx(by_set(posterior(flow, {}, backward)))


def agrees(flow: Flow, finding: Finding, truth: Mapping[str, bool]) -> bool:
    signs = odds.known_signs(flow, (finding,))
    return all(k.value == truth[s] for s, k in signs.items() if s in truth and isinstance(k.value, bool))


@given(seeds)
def test_not_knowing_changes_nothing(seed: int) -> None:
    flow, rnd = random_flow(seed), random.Random(seed)
    told = random_findings(flow, rnd)
    ask = rnd.choice(list(flow.asks))
    vague = [
        Finding(name, Stepped(frozenset(q.classes)), seq=90)
        for name, q in flow.asks.items()
        if isinstance(q, Graded) and name not in {f.ask for f in told}
    ]
    more = (*told, Finding(ask, NotSure(), seq=91), Finding("words", NotSure(), seq=92), *vague)
    assert by_set(posterior(flow, {}, more)) == pytest.approx(by_set(posterior(flow, {}, told)), abs=1e-12)


@given(seeds)
def test_what_is_taken_back_leaves_no_trace(seed: int) -> None:
    """The history without the entry, after one with it has been worked out."""
    flow, rnd = random_flow(seed, overlap=True), random.Random(seed)
    told = (*random_findings(flow, rnd, most=6), Mended("remedy0"), *random_findings(flow, rnd, 50, 3))
    before = by_set(posterior(flow, {}, told))
    known = odds.known_signs(flow, told)
    slip = random_findings(flow, rnd, 90, 1)
    posterior(flow, {}, told[:1] + slip + told[1:])
    odds.known_signs(flow, told + slip)
    assert by_set(posterior(flow, {}, told)) == before
    assert odds.known_signs(flow, told) == known


@given(seeds)
def test_other_names_and_another_order_give_the_same_answer(seed: int) -> None:
    flow = random_flow(seed)
    text = flow.model_dump_json()
    for k in range(9):
        text = text.replace(f'"cause{k}"', f'"named{8 - k}"')
    data = json.loads(text)
    data["causes"] = dict(sorted(data["causes"].items(), reverse=seed % 2 == 0))
    told = walk(flow, random.Random(seed), 0)
    now, then = posterior(flow, {}, told), posterior(read(data), {}, told)
    assert [then.of(f"named{8 - int(c[-1])}") for c in flow.causes] == pytest.approx(
        [now.of(c) for c in flow.causes]
    )


def test_an_answer_weighs_as_the_planner_was_shown() -> None:
    """The posterior after an answer is the prior times the column that the planner was shown."""
    flow = miniature()
    before = (asked("creep", "yes"), Finding("basket", Looked("good"), LOOKED, 0, 2))
    now = posterior(flow, {}, before)
    table = odds.likelihood(flow, now.family, "dust", odds.known_signs(flow, before))
    then = posterior(flow, {}, (*before, asked("dust", "yes", 3)))
    assert then.weights == pytest.approx(now.weights * table.outcomes[table.labels.index("yes")])


# --- what an answer may never do ------------------------------------------------------------


def magnetic() -> Flow:
    """Steel parts shed bits that cling; an alloy cover and a bronze bush do not."""
    causes = {
        "gear": {"name": "Gear", "share": 30, "shows": {"clings": "almost_always", "dull": "seldom"}},
        "needle": {"name": "Needle bearing", "share": 20, "shows": {"clings": "usually"}},
        "cover": {"name": "Alloy cover rubbed", "share": 25, "shows": {"dull": "almost_always"}},
        "bush": {"name": "Bush, steel back", "share": 15, "shows": {"dull": "usually", "clings": "seldom"}},
    }
    signs = {s: {"means": s, "background": "seldom", "changes": "each_look"} for s in ("clings", "dull")}
    questions = {"magnet": yes_no("clings"), "colour": yes_no("dull")}
    return flow_of(signs=signs, causes=causes, questions=questions)


def test_what_clings_never_speaks_for_an_alloy_part() -> None:
    """Stated for the sign alone: an answer may well show two signs at once."""
    flow = magnetic()
    before, after = prior(flow, {}), posterior(flow, {}, (asked("magnet", "yes"),))
    assert after.of("cover") < before.of("cover")
    alone = [k for k, row in enumerate(before.family.member) if row.tolist() == [False, False, True, False]]
    gain = after.weights / before.weights
    assert gain[alone[0]] == pytest.approx(gain.min())


def test_what_does_not_cling_never_removes_a_steel_part() -> None:
    flow = magnetic()
    before, after = prior(flow, {}), posterior(flow, {}, (asked("magnet", "no"),))
    factor = after.weights / before.weights
    assert factor.min() >= 0.03 / 2  # what slips alone leave
    assert min(after.of(c) for c in flow.causes) > 0.005
    assert after.of("bush") > before.of("bush")


# --- what is not in the list ----------------------------------------------------------------


def test_the_unlisted_shows_a_sign_as_the_listed_do_on_average() -> None:
    flow = bound()
    table = odds.likelihood(flow, prior(flow, {}).family, "clack")
    shown = table.outcomes[0][-1]
    single = {"gear": 1 - 0.95 * 0.1, "bearing": 1 - 0.95 * 0.7, "rod": 0.05}
    assert shown == pytest.approx((30 * single["gear"] + 40 * single["bearing"] + 20 * single["rod"]) / 90)


def test_an_excluded_cause_does_not_lend_its_signs_to_the_unlisted() -> None:
    flow = bound()
    electric = odds.likelihood(flow, prior(flow, {"starter": "electric"}).family, "clack")
    assert electric.outcomes[0][-1] == pytest.approx((40 * (1 - 0.95 * 0.7) + 20 * 0.05) / 60)
    kick = odds.likelihood(flow, prior(flow, {"starter": "kick"}).family, "clack")
    wanted = (30 * (1 - 0.95 * 0.1) + 20 * (1 - 0.95 * 0.7) + 20 * 0.05) / 70
    assert kick.outcomes[0][-1] == pytest.approx(wanted)


def test_no_look_finds_or_clears_the_unlisted() -> None:
    """Against any cause that the look is not made for, a look leaves it where it was."""
    flow = miniature()
    before = by_set(prior(flow, {}))
    for result in ("good", "bad"):
        after = by_set(posterior(flow, {}, (Finding("basket", Looked(result), LOOKED),)))
        other = frozenset({"cable-tight"})
        assert after[UNLISTED] / after[other] == pytest.approx(before[UNLISTED] / before[other])
    assert after[UNLISTED] < 0.02  # the basket was found bad


def test_the_unlisted_joins_no_cause_and_no_remedy_mends_it() -> None:
    flow = miniature()
    every = tuple(Mended(r) for r in flow.remedies)
    before, after = prior(flow, {}), posterior(flow, {}, (*every, Ran(40.0), Mended("dress-basket")))
    assert after.weights[after.family.unlisted] == pytest.approx(before.weights[before.family.unlisted])
    assert not after.family.member[after.family.unlisted].any()


def test_damage_of_another_kind_speaks_for_the_unlisted_only_and_once() -> None:
    checks = {c: look(c, 0.9, other_damage=True, slip=0) for c in ("basket-notched", "plates-warped")}
    flow = miniature(checks=checks)
    seen = tuple(Finding(c, Looked("other"), LOOKED, 0, k) for k, c in enumerate(checks))
    before = prior(flow, {})
    for told in (seen[:1], seen[1:], seen):
        after = posterior(flow, {}, told)
        assert after.weights[-1] / before.weights[-1] == pytest.approx(0.50)
        assert after.weights[:-1] / before.weights[:-1] == pytest.approx(0.02)
    # Seen at one place and not at the other is still seen.
    for k, there in enumerate(seen):
        clean = Finding(seen[1 - k].ask, Looked("good"), LOOKED, 0, 9)
        for history in ((there, clean), (clean, there)):
            after = posterior(flow, {}, history)
            assert after.weights[-1] / before.weights[-1] == pytest.approx(0.50 * 0.995)
            assert max(after.weights[:-1] / before.weights[:-1]) < 0.02


# --- why ------------------------------------------------------------------------------------


def test_the_weights_in_order_add_up_to_the_odds() -> None:
    flow = miniature()
    history = (
        *OPENING,
        asked("slip", "no", 4),
        Mended("dress-basket", seq=5),
        Ran(2.0, 6),
        asked("dust", "no", 7),
    )
    explained = explain(flow, {}, history, flow.causes)
    assert list(explained) == list(flow.causes)
    for cause, rows in explained.items():
        assert [row.seq for row in rows] == [1, 2, 3, 4, 5, 6, 7]
        change = decibans(posterior(flow, {}, history), cause) - decibans(prior(flow, {}), cause)
        assert sum(row.decibans for row in rows) == pytest.approx(change)


def test_a_weight_is_that_of_when_it_was_heard() -> None:
    flow = miniature()
    rows = explain(flow, {}, OPENING, ["basket-notched"])["basket-notched"]
    without_look, without_first, now = (
        decibans(posterior(flow, {}, heard), "basket-notched")
        for heard in (OPENING[:2], OPENING[1:], OPENING)
    )
    assert rows[2].decibans == pytest.approx(now - without_look)  # the last one heard
    # The look has taken over what the first answers said: each of them is worth less now than when heard.
    assert rows[0].decibans > now - without_first > 0


def test_an_answer_that_lost_its_voice_has_no_weight() -> None:
    flow = miniature()
    history = (asked("creep", "no", 1), Finding("creep", Answered("yes"), LOOKED, 0, 2))
    first, second = explain(flow, {}, history, ["basket-notched"])["basket-notched"]
    assert first.decibans < 0 < second.decibans
    now, without = (decibans(posterior(flow, {}, h), "basket-notched") for h in (history, history[1:]))
    assert now == pytest.approx(without)


# --- memory ---------------------------------------------------------------------------------


def test_two_flows_alike_are_never_mixed_up() -> None:
    """Many short-lived flows: a remembered table must not pass to a flow that took another's place."""
    for share in range(10, 80, 2):
        causes = {c: {"name": c, "share": s} for c, s in (("a", share), ("b", 90 - share))}
        now = prior(flow_of(signs={}, causes=causes), {})
        want = share / (100 - share) / ((90 - share) / (10 + share))
        assert now.weights[0] / now.weights[1] == pytest.approx(want)


def test_what_is_remembered_cannot_be_changed_by_a_reader() -> None:
    flow = miniature()
    with pytest.raises(ValueError, match="read-only"):
        prior(flow, {}).weights[0] = 1
    with pytest.raises(ValueError, match="read-only"):
        odds.likelihood(flow, prior(flow, {}).family, "creep").outcomes[0] = 1


def test_marginals_and_pairs_agree_with_single_chances() -> None:
    now = posterior(miniature(), {}, OPENING)
    assert list(now.marginals) == pytest.approx([now.of(c) for c in now.family.causes])
    assert np.diag(now.pairs) == pytest.approx(now.marginals)
    together = by_set(now)[frozenset({"basket-notched", "cable-tight"})]
    assert now.pairs[0, 1] == pytest.approx(together)


def test_a_cause_that_is_not_there_has_no_weights_to_explain() -> None:
    with pytest.raises(KeyError):
        explain(bound(), {"starter": "electric"}, (asked("clack", "yes"),), ["gear"])


def test_a_family_given_from_outside_keeps_its_rows() -> None:
    member = np.array([[True, False], [False, False], [False, False]])
    family = Family(("a", "b"), member, unlisted=1)
    assert (family.rows, family.unlisted, family.empty) == (3, 1, 2)
