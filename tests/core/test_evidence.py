"""One sign, one value, per slice: who wins, what is silent, and what is told anew after a repair."""

from __future__ import annotations

from typing import Any

import pytest

from bot.core.evidence import known_signs
from bot.core.findings import (
    ASKED,
    BOOK,
    LOOKED,
    MECHANIC,
    TOLD,
    Answered,
    Finding,
    Known,
    Looked,
    Marked,
    Mended,
    Ran,
    Step,
    Stepped,
)
from bot.core.flow import Flow
from bot.core.odds import Beliefs, likelihood, posterior
from tests.core.worlds import by_set, flow_of, look, one, remedy, several, yes_no


def bench(**more: Any) -> Flow:
    """Steel and brass bits told by several questions, one of which was known before the work."""
    changing = {"background": 0.1, "changes": "each_look"}
    signs = {
        "steel": {"means": "clings"} | changing,
        "brass": {"means": "does not cling"} | changing,
        "chunk": {"means": "a broken piece"} | changing,
        "opened": {"means": "opened lately", "background": 0.2},
        "much": {
            "means": "how much", "steps": ["bit", "some", "lots"], "changes": "each_look",
            "background": [70, 20, 10], "silent_while": ["chunk"],
        },
    }  # fmt: skip
    causes = {
        "gear": {
            "name": "Gear", "share": 45, "remedy": "new-gear",
            "shows": {"steel": 0.9, "chunk": 0.3, "much": [10, 30, 60], "opened": 0.5},
        },
        "bush": {"name": "Bush", "share": 45, "shows": {"brass": 0.8, "steel": 0.2}, "remedy": "new-bush"},
    }  # fmt: skip
    parts: dict[str, Any] = {
        "signs": signs,
        "causes": causes,
        "questions": {
            "magnet": one(
                all={"shows": ["steel"], "denies": ["brass"]},
                mixed={"shows": ["steel", "brass"]},
                none={"shows": ["brass"], "denies": ["steel"]},
            ),
            "steel-seen": yes_no("steel"),
            "kinds": several({"steel": {"shows": "steel"}, "chunk": {"shows": "chunk"}}),
            "amount": {
                "kind": "graded", "ask": "How much?", "sign": "much",
                "classes": {c: {"label": c} for c in ("bit", "some", "lots")},
            },
            "opened": yes_no("opened"),
            "opened-when": one(lately={"shows": ["opened"]}, long={"denies": ["opened"]}),
        },
        "checks": {c: look(c, 0.9, other_damage=True) for c in ("gear", "bush")},
        "remedies": {"new-gear": remedy(0.9, comes_back=0.1), "new-bush": remedy(0.9)},
    }  # fmt: skip
    return flow_of(**(parts | more))


FLOW = bench()
YES, NO = Answered("yes"), Answered("no")


def told(*history: Step, flow: Flow = FLOW) -> Beliefs:
    return posterior(flow, {}, history)


def same(left: Beliefs, right: Beliefs) -> bool:
    return by_set(left) == pytest.approx(by_set(right), abs=1e-12)


# --- who wins -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("better", "worse"), [(MECHANIC, LOOKED), (LOOKED, ASKED), (ASKED, TOLD), (TOLD, BOOK), (MECHANIC, BOOK)]
)
@pytest.mark.parametrize("first", ["better", "worse"])
def test_the_better_word_wins_whenever_it_was_said(better: int, worse: int, first: str) -> None:
    high = Finding("steel-seen", YES, better, 0, 1 if first == "better" else 2)
    low = Finding("steel-seen", NO, worse, 0, 2 if first == "better" else 1)
    assert known_signs(FLOW, (high, low))["steel"] == Known(True, high.seq, (low.seq,))
    assert same(told(high, low), told(high))
    assert same(told(low, high), told(high))


def test_of_equal_words_the_newest_wins_and_the_first_is_kept_as_lost() -> None:
    no, yes = Finding("steel-seen", NO, ASKED, 0, 4), Finding("steel-seen", YES, ASKED, 0, 9)
    assert known_signs(FLOW, (no, yes))["steel"] == Known(True, 9, (4,))
    assert same(told(no, yes), told(yes))


def test_a_later_round_beats_a_better_word_where_each_look_counts() -> None:
    before, after = Finding("steel-seen", YES, MECHANIC, 0, 1), Finding("steel-seen", NO, TOLD, 1, 2)
    assert known_signs(FLOW, (before, after))["steel"] == Known(False, 2, (1,))
    assert same(told(before, after), told(after))


def test_a_later_round_does_not_beat_a_better_word_on_what_never_changes() -> None:
    before, after = Finding("opened", YES, MECHANIC, 0, 1), Finding("opened", NO, ASKED, 1, 2)
    assert known_signs(FLOW, (before, after))["opened"] == Known(True, 1, (2,))
    assert same(told(before, after), told(before))


def test_without_a_repair_a_second_look_replaces_the_first_and_is_not_multiplied() -> None:
    first, again = (Finding("steel-seen", YES, ASKED, k, k) for k in (0, 1))
    assert same(told(first, Ran(5.0), again), told(first))
    good, bad = Finding("gear", Looked("good"), LOOKED, 0, 1), Finding("gear", Looked("bad"), LOOKED, 1, 2)
    assert same(told(good, bad), told(bad))


def test_the_same_look_by_two_people_counts_once_and_the_mechanic_wins() -> None:
    rider, mechanic = (
        Finding("gear", Looked("good"), LOOKED, 0, 1),
        Finding("gear", Looked("bad"), MECHANIC, 0, 2),
    )
    assert same(told(mechanic, rider), told(mechanic))
    assert same(told(rider, Finding("gear", Looked("good"), LOOKED, 0, 3)), told(rider))


def test_an_entry_delivered_twice_acts_once() -> None:
    once = Finding("magnet", Answered("mixed"), ASKED, 0, 1)
    assert same(told(once, once), told(once))
    assert same(told(once, Finding("magnet", Answered("mixed"), ASKED, 0, 2)), told(once))


def test_two_questions_about_one_sign_are_one_observation() -> None:
    all_cling = Finding("magnet", Answered("all"), ASKED, 0, 1)
    assert same(told(all_cling, Finding("steel-seen", YES, ASKED, 0, 2)), told(all_cling))
    # The other way round the magnet still tells of brass.
    steel = Finding("steel-seen", YES, LOOKED, 0, 2)
    both = told(all_cling, steel)
    weights = told(steel).weights * likelihood(FLOW, both.family, "magnet", {"steel": True}).outcomes[0]
    assert both.weights == pytest.approx(weights)


def test_an_answer_that_is_partly_overruled_keeps_its_other_sign() -> None:
    mixed = Finding("magnet", Answered("mixed"), ASKED, 0, 1)
    overruled = Finding("steel-seen", NO, MECHANIC, 0, 2)
    known = known_signs(FLOW, (mixed, overruled))
    assert (known["steel"], known["brass"]) == (Known(False, 2, (1,)), Known(True, 1))
    assert told(mixed, overruled).of("bush") > told(overruled).of("bush")


def test_a_vague_amount_is_not_contradicted_by_an_exact_one() -> None:
    vague = Finding("amount", Stepped(frozenset({"some", "lots"})), ASKED, 0, 1)
    exact = Finding("amount", Stepped(frozenset({"lots"})), ASKED, 0, 2)
    assert known_signs(FLOW, (vague, exact))["much"] == Known(frozenset({"lots"}), 2)
    assert same(told(vague, exact), told(exact))


# --- what is known narrows what may be answered ----------------------------------------------


def test_a_known_sign_speaks_no_more_and_drops_answers_that_contradict_it() -> None:
    family = told().family
    table = likelihood(FLOW, family, "magnet", {"steel": True})
    assert table.labels == ("all", "mixed")
    # Brass: the bush shows it with .8, the background with .1; nothing is said of steel any more.
    bush = 1 - 0.9 * 0.2
    assert table.outcomes[1, :2] == pytest.approx([0.97 * 0.1 + 0.015, 0.97 * bush + 0.015])
    flat = likelihood(FLOW, family, "steel-seen", {"steel": True})
    assert flat.outcomes == pytest.approx(1.0)
    assert likelihood(FLOW, family, "kinds", {"steel": False}).labels == ("none_of_these", "chunk")


def test_a_vague_amount_may_still_be_told_apart() -> None:
    family = told().family
    table = likelihood(FLOW, family, "amount", {"much": frozenset({"some", "lots"})})
    assert table.labels == ("some", "lots")
    plain = likelihood(FLOW, family, "amount").outcomes - 0.01
    assert table.outcomes[1] == pytest.approx(0.97 * plain[2] / (plain[1] + plain[2]) + 0.015)


def test_a_vague_amount_weighs_in_a_question_that_mentions_it_once() -> None:
    flow = bench(questions={"any": one(yes={"shows": ["much"]}, neither={}) | {"slip": 0}})
    family = told(flow=flow).family
    table = likelihood(flow, family, "any", {"much": frozenset({"bit", "some"})})
    # The bush shows none of it, so the background has it: 70 and 20 of 100.
    some = 20 / (70 + 20)
    assert table.outcomes[0, 1] == pytest.approx(some / (1 + some))


def test_nothing_known_that_fits_leaves_all_answers_even() -> None:
    table = likelihood(FLOW, told().family, "magnet", {"steel": False, "brass": False})
    assert table.outcomes == pytest.approx(1 / 3)


# --- silence --------------------------------------------------------------------------------


def test_after_a_broken_piece_the_amount_says_nothing_any_more() -> None:
    lots = Finding("amount", Stepped(frozenset({"lots"})), ASKED, 0, 1)
    chunk = Finding("kinds", Marked(frozenset({"chunk"})), ASKED, 0, 2)
    assert same(told(lots, chunk), told(chunk))
    assert same(told(chunk, lots), told(chunk))
    known = known_signs(FLOW, (chunk,))
    assert known["much"] == Known(None, silent=True)
    assert likelihood(FLOW, told().family, "amount", known).outcomes == pytest.approx(1 / 3)


def test_less_at_the_next_look_does_not_give_the_voice_back() -> None:
    chunk = Finding("kinds", Marked(frozenset({"chunk"})), ASKED, 0, 1)
    clean = Finding("kinds", Marked(frozenset()), ASKED, 1, 2)
    less = Finding("amount", Stepped(frozenset({"bit"})), ASKED, 1, 3)
    assert same(told(chunk, clean, less), told(chunk, clean))
    mended = (chunk, Mended("new-gear", seq=4))
    assert same(told(*mended, clean, less), told(*mended, clean))


def test_a_broken_piece_that_a_better_look_denied_silences_nothing() -> None:
    chunk = Finding("kinds", Marked(frozenset({"chunk"})), TOLD, 0, 1)
    denied = Finding("kinds", Marked(frozenset()), MECHANIC, 0, 2)
    lots = Finding("amount", Stepped(frozenset({"lots"})), ASKED, 0, 3)
    assert not same(told(chunk, denied, lots), told(chunk, denied))


def test_a_piece_found_after_the_repair_does_not_undo_what_had_acted() -> None:
    lots = Finding("amount", Stepped(frozenset({"lots"})), ASKED, 0, 1)
    chunk = Finding("kinds", Marked(frozenset({"chunk"})), ASKED, 1, 3)
    with_lots, without = told(lots, Mended("new-gear"), chunk), told(Mended("new-gear"), chunk)
    assert not same(with_lots, without)


# --- before and after a repair --------------------------------------------------------------


def test_a_repair_opens_every_changing_sign_anew() -> None:
    seen = Finding("steel-seen", YES, MECHANIC, 0, 1)
    after = Finding("steel-seen", NO, TOLD, 0, 3)
    assert known_signs(FLOW, (seen, Mended("new-gear", seq=2))) == {}
    assert known_signs(FLOW, (seen, Mended("new-gear", seq=2), after))["steel"] == Known(False, 3)


def test_after_a_repair_each_look_acts_beside_the_earlier_ones() -> None:
    done = Mended("new-gear", seq=1)
    clean = [Finding("steel-seen", NO, ASKED, k, 2 + k) for k in range(3)]
    run = Ran(2.0)
    fixed = []
    for n in range(4):
        looks = [step for f in clean[:n] for step in (run, f)]
        fixed.append(told(done, *looks, *([run] * (3 - n))).fixed)
    assert fixed == sorted(fixed)
    assert len(set(fixed)) == 4
    # Twice in the same stretch is once.
    assert same(told(done, run, clean[0], clean[1]), told(done, run, clean[1]))


def test_what_never_changes_is_no_news_when_told_again_after_a_repair() -> None:
    before, done = Finding("opened", YES, ASKED, 0, 1), Mended("new-gear", seq=2)
    again = Finding("opened-when", Answered("lately"), ASKED, 0, 3)
    assert same(told(before, done, again), told(before, done))
    known = known_signs(FLOW, (before, done))
    assert known["opened"] == Known(True, 1)
    assert likelihood(FLOW, told().family, "opened-when", known).outcomes == pytest.approx(1.0)
    other = Finding("opened-when", Answered("long"), ASKED, 0, 3)
    assert not same(told(before, done, other), told(before, done))


def test_damage_of_another_kind_is_known_by_its_check_and_asked_no_more() -> None:
    seen = Finding("gear", Looked("other"), LOOKED, 0, 1)
    known = known_signs(FLOW, (seen,))
    assert known == {"gear.other": Known(True, 1)}
    assert likelihood(FLOW, told().family, "bush", known).labels == ("good", "bad")
    assert likelihood(FLOW, told().family, "bush").labels == ("good", "bad", "other")
