"""A cause confirmed by a mechanic: how it is told, what it does to odds, standing and stops; taken back."""

from __future__ import annotations

from typing import Any

import pytest

from bot.core import odds, plan, stops
from bot.core.agenda import unmended
from bot.core.events import CauseConfirmed, Reopened, SaidOfRepair, Withdrawn
from bot.core.flow import Flow, read
from bot.core.history import history, sureties
from bot.core.naming import meant
from bot.core.standing import standings
from tests.core.chat import Chat
from tests.rattle import FLOW, RATTLE, Diary, opened


def at_bench(flow: Flow = FLOW) -> Chat:
    talk = Chat(flow).talk("it rattles", "no knock", "Goat", "by foot", "all of them cling", "hand over")
    return talk.hold().wrench("hello")


def sure(cause: str = "nut-loose", how: Any = "seen", words: str = "") -> CauseConfirmed:
    return CauseConfirmed(cause=cause, how=how, words=words)


def told(diary: Diary) -> list[CauseConfirmed]:
    return [each.event for each in diary.state.confirmed]


def chance(diary: Diary, cause: str) -> float:
    return plan.beliefs(FLOW, diary.state).of(cause)


def stand(diary: Diary, cause: str, flow: Flow = FLOW) -> str:
    now = plan.beliefs(flow, diary.state)
    return standings(flow, diary.state, now, odds.prior(flow, {}))[cause].standing


# --- how it is told ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        "cause is the drive nut",
        "cause: drive nut",
        "the cause was the nut",
        "it was the drive nut",
        "it's the nut",
    ],
)
def test_a_cause_is_named_by_words_of_its_name_and_then_how_it_is_known(words: str) -> None:
    talk = at_bench().wrench(words)
    assert talk.asked_of_wrench == ("cause", "nut-loose")
    assert "Drive nut working loose: how do you know?" in talk.said
    talk.wrench("I measured it")
    assert [c.event for c in talk.state.confirmed] == [sure(how="measured")]
    assert "Confirmed: Drive nut working loose (measured)." in talk.said
    assert "The mechanic is sure: Drive nut working loose (measured)." in talk.to("rider")


def test_where_no_cause_is_named_or_several_a_list_is_shown_and_its_numbers_pick() -> None:
    talk = at_bench().wrench("cause")
    labels = [c.label for c in talk.messages[-1].choices if not c.control]
    assert labels[0] == "Drive nut working loose"  # the likeliest
    assert labels[-1] == "None of these"
    assert len(labels) == 5
    talk.wrench("1", "2")
    assert [c.event for c in talk.state.confirmed] == [sure(how="measured")]


def test_in_the_list_another_name_may_be_written() -> None:
    talk = at_bench().wrench("cause", "kick gear", "saw it")
    assert [c.event.cause for c in talk.state.confirmed] == ["kick-gear"]


def test_none_of_these_is_told_in_words_whatever_the_words_are() -> None:
    talk = at_bench().wrench("cause", "none", "Left case cracked; it came back twice", "seen")
    assert [c.event for c in talk.state.confirmed] == [
        sure("", words="Left case cracked; it came back twice")
    ]
    assert "Left case cracked; it came back twice (seen)" in talk.to("rider")


def test_not_this_one_leads_to_the_list_and_back_out_of_it() -> None:
    talk = at_bench().wrench("cause is the nut", "not this one")
    assert talk.asked_of_wrench[0] == "cause"
    talk.wrench("back")
    assert talk.state.confirmed == ()
    assert talk.asked_of_wrench == ("question", "amount")


def crowded() -> Flow:
    """The rattling bike with twenty further causes."""
    found = {"catches": 0.9, "false_alarm": 0.01}
    looks = {
        f"look-{n}": {**RATTLE["checks"]["nut"], "finds": [{"cause": f"c{n}", **found}]} for n in range(20)
    }
    causes = {f"c{n}": {"name": f"Bearing number {n}", "share": 0.5, "shows": {"steel-bits": "often"},
                        "remedy": "file-basket"} for n in range(20)}  # fmt: skip
    return read({**RATTLE, "checks": {**RATTLE["checks"], **looks}, "causes": {**RATTLE["causes"], **causes}})


def test_a_long_list_has_nine_a_page_and_goes_round() -> None:
    talk = at_bench(crowded()).wrench("cause")
    seen: list[str] = []
    for shown, last in ((9, "More of the list"), (9, "More of the list"), (6, "Back to the first ones")):
        labels = [c.label for c in talk.messages[-1].choices if not c.control]
        assert labels[shown:] == [last, "None of these"]
        seen += labels[:shown]
        talk.wrench(str(shown + 1))
    assert len(set(seen)) == 24
    assert [c.label for c in talk.messages[-1].choices][:9] == seen[:9]


def test_words_pick_what_shares_most_with_them() -> None:
    names = {
        "a": ("Clutch hub nut loose", "Hub nut"),
        "b": ("Primary drive nut loose", "Primary nut"),
        "c": ("Oil pump", ""),
    }
    assert meant("the hub nut", names) == ("a",)
    assert meant("a nut", names) == ("a", "b")
    assert meant("the drive nuts", names) == ("b",)
    assert meant("gearbox", names) == ()
    assert meant("", names) == ()


# --- the odds ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "factor"), [("seen", 950), ("measured", 950), ("gone_after_repair", 95), ("judged", 95)]
)
def test_the_odds_of_a_confirmed_cause_grow_by_one_factor_and_stay_below_one(how: str, factor: float) -> None:
    """Good's factor on the odds: .95 of the time when it is there, .001 or .01 when it is not."""
    before = chance(opened(), "nut-loose")
    after = chance(opened().add(sure(how=how)), "nut-loose")
    assert after / (1 - after) == pytest.approx(factor * before / (1 - before))
    assert 0 < after < 1


def test_a_cause_that_is_none_of_the_list_is_confirmed_alike() -> None:
    before = plan.beliefs(FLOW, opened().state).unlisted
    after = plan.beliefs(FLOW, opened().add(sure("", words="frame cracked")).state).unlisted
    assert after / (1 - after) == pytest.approx(950 * before / (1 - before))


def test_two_confirmed_causes_are_two_faults() -> None:
    both = opened().add(sure()).add(sure("basket-worn"))
    assert chance(both, "nut-loose") > 0.9
    assert chance(both, "basket-worn") > 0.9


def test_said_twice_it_counts_once_and_in_the_newest_words() -> None:
    once, twice = opened().add(sure()), opened().add(sure(how="judged")).add(sure())
    assert chance(once, "nut-loose") == pytest.approx(chance(twice, "nut-loose"))


def test_taken_back_it_leaves_no_trace() -> None:
    diary = opened().add(sure())
    diary.add(Withdrawn(entries=(diary.last,)))
    assert chance(diary, "nut-loose") == chance(opened(), "nut-loose")
    assert stand(diary, "nut-loose") == stand(opened(), "nut-loose")


def test_a_cause_that_the_bike_cannot_have_moves_nothing() -> None:
    known = {"starter": "button"}
    before = odds.posterior(FLOW, known, history(FLOW, opened().state))
    after = odds.posterior(FLOW, known, history(FLOW, opened().add(sure("kick-gear")).state))
    assert after.marginals == pytest.approx(before.marginals)


def test_confirmed_after_its_repair_it_speaks_of_the_bike_before() -> None:
    """The same chance of being gone as where it was confirmed first and mended then."""
    first = opened().add(sure(how="gone_after_repair")).mend("refit-nut", "nut-loose")
    later = opened().mend("refit-nut", "nut-loose").add(sure(how="gone_after_repair"))
    assert plan.beliefs(FLOW, later.state).fixed == pytest.approx(plan.beliefs(FLOW, first.state).fixed)
    assert (
        plan.beliefs(FLOW, later.state).fixed
        > plan.beliefs(FLOW, opened().mend("refit-nut", "nut-loose").state).fixed
    )
    assert chance(later, "nut-loose") < 0.5


def test_once_the_fault_is_back_a_confirmation_speaks_of_the_bike_as_it_is() -> None:
    diary = opened().mend("refit-nut", "nut-loose")
    diary.add(SaidOfRepair(word="came_back")).add(Reopened(why="came_back", remedy="refit-nut")).add(sure())
    assert [s.repair for s in sureties(diary.state)] == [0]
    assert chance(diary, "nut-loose") > 0.9
    assert stand(diary, "nut-loose") == "found"


def test_why_names_the_word_of_the_mechanic() -> None:
    talk = at_bench().wrench("cause is the nut", "seen", "why")
    assert "For Drive nut working loose: a mechanic is sure of it (strongly)" in talk.said


# --- standing and work ---------------------------------------------------------------------------


def test_a_confirmed_cause_is_found_however_unlikely_it_was() -> None:
    diary = opened().add(sure("kick-gear", how="judged"))
    assert stand(diary, "kick-gear") == "found"
    assert stand(diary, "nut-loose") != "found"


def test_found_lasts_until_it_is_mended_or_a_mechanic_looks_and_finds_it_clean() -> None:
    diary = opened().add(sure())
    assert stand(diary.by("rider").answer("nut", "good"), "nut-loose") == "found"
    assert stand(diary.by("mechanic").answer("nut", "good"), "nut-loose") != "found"
    mended = opened().add(sure()).mend("refit-nut", "nut-loose")
    assert stand(mended, "nut-loose") == "repaired"


def test_its_remedy_is_no_longer_on_suspicion_and_is_what_comes_next() -> None:
    assert unmended(FLOW, opened().add(sure()).state) == ("refit-nut",)
    assert unmended(FLOW, opened().add(sure("", words="x")).state) == ()


# --- stops -----------------------------------------------------------------------------------------


def with_rule(*when: str) -> Flow:
    rule = {
        "say": "Do not run it.",
        "when": {"any": list(when)},
        "bars": ["running"],
        "cleared_by": {"any": ["refit-nut"]},
    }
    return read({**RATTLE, "stop_rules": {**RATTLE["stop_rules"], "found-loose": rule}})


def test_a_confirmed_cause_raises_the_stop_that_its_own_look_would_raise() -> None:
    talk = at_bench(with_rule("nut.bad")).wrench("cause is the nut", "seen")
    assert talk.stops == {"found-loose"}
    assert "STOP. Do not run it." in talk.to("rider")
    [because] = talk.state.stops[0].because
    assert because == talk.state.confirmed[0].seq


def test_it_raises_nothing_that_only_a_look_at_several_causes_would() -> None:
    """Grooves may be the basket or the kick gear: naming one of them is no such look."""
    assert stops.own_looks(FLOW, "kick-gear") == ()
    assert set(stops.own_looks(FLOW, "basket-worn")) == {"inside.notches", "inside.bad"}
    talk = at_bench(with_rule("inside.grooves")).wrench("cause: kick gear", "seen")
    assert talk.stops == set()


def test_it_lifts_nothing_and_after_the_repair_raises_nothing() -> None:
    flow = with_rule("nut.bad")
    diary = opened().mend("refit-nut", "nut-loose").add(sure())
    assert stops.newly_true(flow, diary.state) == ()


def test_a_confirmation_by_a_slip_takes_its_stop_with_it() -> None:
    talk = at_bench(with_rule("nut.bad")).wrench("cause is the nut", "seen", "pressed the wrong one")
    assert talk.asked_of_wrench == ("slip", "found-loose")
    assert "You told me: Drive nut working loose" in talk.said
    talk.wrench("yes")
    assert talk.stops == set()
    assert talk.state.confirmed == ()


def test_taken_back_with_a_word_the_stop_stays() -> None:
    talk = at_bench(with_rule("nut.bad")).wrench("cause is the nut", "seen", "back")
    assert talk.state.confirmed == ()
    assert talk.stops == {"found-loose"}


def test_the_entry_holds_what_was_told() -> None:
    assert told(opened().add(sure("", "judged", "stone in the case"))) == [
        CauseConfirmed(cause="", how="judged", words="stone in the case")
    ]
