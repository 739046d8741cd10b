"""Causes that go and come: repairs, what they leave behind, running time and the rider's own words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core import odds
from bot.core.findings import LOOKED, Finding, Looked, Mended, Ran, Said
from bot.core.odds import posterior, prior
from tests.core.oracle import UNLISTED
from tests.core.worlds import OPENING, asked, by_set, flow_of, miniature, remedy, yes_no


def test_a_new_grab_after_the_basket_job_points_at_the_job() -> None:
    flow = miniature()
    before = (*OPENING, asked("bite", "no", 4))
    assert posterior(flow, {}, before).of("clutch-misassembled") < 0.01
    after = (*before, Mended("dress-basket", seq=5), Said("gone", 6), asked("bite", "yes", 7))
    now = posterior(flow, {}, after)
    assert now.of("clutch-misassembled") > 0.3
    careful = (*before, Mended("dress-basket", True, seq=5), Said("gone", 6), asked("bite", "yes", 7))
    assert posterior(flow, {}, careful).of("clutch-misassembled") < now.of("clutch-misassembled")


def test_one_clean_look_speaks_for_the_repair_and_a_second_one_more() -> None:
    flow = miniature()
    done = (*OPENING, Mended("dress-basket", seq=4))
    once = (*done, Ran(2.0, 5), asked("dust", "no", 6))
    twice = (*once, Ran(2.0, 7), asked("dust", "no", 8))
    fixed = [posterior(flow, {}, history).fixed for history in (OPENING, done, once, twice)]
    assert fixed[0] == 0
    assert 0.5 < fixed[1] < fixed[2] < fixed[3] < 1


def test_two_clean_looks_and_then_the_same_again_put_the_mended_cause_first() -> None:
    flow = miniature()
    clean = (Ran(2.0, 5), asked("dust", "no", 6), Ran(8.0, 7), asked("dust", "no", 8))
    again = (Ran(5.0, 9), asked("dust", "yes", 10))
    now = posterior(flow, {}, (*OPENING, Mended("dress-basket", seq=4), *clean, *again))
    assert max(flow.causes, key=now.of) == "basket-notched"
    said = posterior(
        flow, {}, (*OPENING, Mended("dress-basket", seq=4), *clean, *again, Said("came_back", 11))
    )
    assert said.of("basket-notched") > now.of("basket-notched")


def test_a_thread_that_was_not_dry_comes_back_sooner() -> None:
    flow = miniature()

    def back(badly: set[str], hours: float) -> float:
        return posterior(flow, {}, (Mended("dress-basket", badly=frozenset(badly)), Ran(hours))).of(
            "basket-notched"
        )

    still = posterior(flow, {}, (Mended("dress-basket"),)).of("basket-notched")
    assert still < back(set(), 10) < back({"thread-oily"}, 10) < back({"thread-oily", "old-washer"}, 10)
    assert back(set(), 4) < back(set(), 10)


@given(st.floats(0.1, 50), st.floats(0.1, 50))
def test_running_in_two_parts_is_running_once(first: float, second: float) -> None:
    flow = flow_of(
        signs={},
        causes={c: {"name": c, "share": 45, "remedy": f"mend-{c}"} for c in "ab"},
        remedies={f"mend-{c}": remedy(0.8, comes_back=0.2) for c in "ab"},
    )
    parts = posterior(flow, {}, (Mended("mend-a"), Ran(first), Ran(second)))
    whole = posterior(flow, {}, (Mended("mend-a"), Ran(first + second)))
    assert by_set(parts) == pytest.approx(by_set(whole))
    # From nothing wrong: 1 - .8 ** (hours / 10) is back, all else stays.
    before = by_set(posterior(flow, {}, (Mended("mend-a"),)))
    stays = before[frozenset()] * 0.8 ** ((first + second) / 10)
    assert by_set(whole)[frozenset()] == pytest.approx(stays)


def test_with_a_perfect_test_only_what_was_not_mended_is_left() -> None:
    """What fails the test weighs the sum of w * (1 - F), F the chance that all that was wrong is gone."""
    causes = {
        c: {"name": c, "share": s, "remedy": f"mend-{c}"} for c, s in zip("abc", (40, 30, 20), strict=True)
    }
    holds = {"a": 0.9, "b": 0.6, "c": 0.8}
    flow = flow_of(signs={}, causes=causes, remedies={f"mend-{c}": remedy(h) for c, h in holds.items()})
    before = prior(flow, {})
    weights = {s: p * before.total for s, p in by_set(before).items()}
    for done in ("a", "ab", "ba", "abc"):
        after = posterior(flow, {}, tuple(Mended(f"mend-{c}") for c in done))
        unfixed = 0.0
        for here, weight in weights.items():
            mended = here != UNLISTED and here <= set(done)
            unfixed += weight * (1 - (math.prod(holds[c] for c in here) if mended else 0.0))
        assert after.total * (1 - after.fixed) == pytest.approx(unfixed, rel=1e-12)


def test_what_was_told_before_the_repair_is_not_applied_again() -> None:
    flow = miniature()
    done = (*OPENING, Mended("dress-basket", seq=4))
    assert odds.known_signs(flow, done) == {}
    late = (*done, Ran(1.0, 5))
    again = posterior(flow, {}, (*late, asked("creep", "yes", 6)))
    never = posterior(flow, {}, (*late, asked("creep", "no", 6)))
    assert again.fixed < posterior(flow, {}, late).fixed < never.fixed


def test_sets_grow_to_three_and_no_further() -> None:
    causes = {c: {"name": c, "share": 22, "remedy": f"mend-{c}"} for c in "abcd"}
    left = {"mend-a": "bcd", "mend-b": "cd"}
    work = {f"mend-{c}": remedy(0.5) for c in "abcd"}
    for name, may in left.items():
        work[name]["may_leave"] = dict.fromkeys(may, 0.5)
    flow = flow_of(signs={}, causes=causes, remedies=work)
    now = posterior(flow, {}, (Mended("mend-a"), Mended("mend-b"), Ran(20), Mended("mend-a"), Ran(20)))
    assert now.family.member.sum(axis=1).max() == 3
    assert now.total == pytest.approx(prior(flow, {}).total)


def test_what_stands_alone_comes_only_to_nothing_and_gives_way() -> None:
    causes = {
        "fault": {"name": "Fault", "share": 50, "remedy": "mend"},
        "residue": {"name": "Residue", "share": 20, "alone": True},
        "other": {"name": "Other", "share": 20},
    }
    flow = flow_of(
        signs={}, causes=causes, remedies={"mend": remedy(0.8, may_leave={"residue": 0.5, "other": 0.1})}
    )
    sets = by_set(posterior(flow, {}, (Mended("mend"), Mended("mend"))))
    assert not [s for s in sets if "residue" in s and len(s) > 1]
    before = by_set(prior(flow, {}))
    once = by_set(posterior(flow, {}, (Mended("mend"),)))
    nothing = 0.8 * before[frozenset({"fault"})] * 0.9
    assert once[frozenset({"residue"})] == pytest.approx(before[frozenset({"residue"})] * 0.9 + nothing * 0.5)
    assert once[frozenset()] == pytest.approx(nothing * 0.5)


def test_one_remedy_of_two_causes_brings_back_what_was_there() -> None:
    """The chance to come back is shared out by how likely each was there."""
    causes = {
        c: {"name": c, "share": 45, "remedy": "both", "shows": {"s": q}}
        for c, q in (("a", 0.95), ("b", 0.05))
    }
    flow = flow_of(
        signs={"s": {"means": "s", "background": 0.02, "changes": "each_look"}},
        causes=causes,
        questions={"s": yes_no("s", slip=0)},
        remedies={"both": remedy(0.98, comes_back=0.2)},
    )
    before = (asked("s", "yes"), Mended("both"))
    still, back = (posterior(flow, {}, (*before, *more)) for more in ((), (Ran(10.0),)))
    assert back.of("a") - still.of("a") > 5 * (back.of("b") - still.of("b")) > 0
    assert still.fixed - back.fixed == pytest.approx(0.2 * still.fixed, rel=0.06)


@pytest.mark.parametrize(("word", "up"), [("gone", True), ("same", False), ("came_back", False)])
def test_the_riders_own_word_after_a_repair(word: str, up: bool) -> None:
    flow = miniature()
    done = (*OPENING, Mended("dress-basket"), Ran(1.0))
    before = posterior(flow, {}, done)
    after = posterior(flow, {}, (*done, Said(word)))  # type: ignore[arg-type]
    assert (after.fixed > before.fixed) is up
    assert (after.of("basket-notched") < before.of("basket-notched")) is up


def test_a_word_before_any_repair_tells_nothing_apart() -> None:
    flow = miniature()
    before = posterior(flow, {}, OPENING)
    assert by_set(posterior(flow, {}, (*OPENING, Said("same")))) == pytest.approx(by_set(before))


def test_a_long_case_keeps_its_weights() -> None:
    flow = miniature()
    again = (Ran(1.0), Finding("basket", Looked("bad"), LOOKED), asked("dust", "yes"))
    now = posterior(flow, {}, (Mended("set-cable"), *again * 2000))
    assert 1e-200 < now.total < math.inf
    assert now.of("basket-notched") > 0.999
