"""The seven standings: order, thresholds on both sides, looks, repairs and what makes a look stale."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from bot.core import events
from bot.core.standing import ORDER, Suspect, of_unlisted, standings
from tests.rattle import FLOW, Diary, opened

PRIOR = {"nut-loose": 0.4, "basket-worn": 0.3, "kick-gear": 0.1, "fines": 0.1}


@dataclass
class Chances_:
    """Beliefs by hand."""

    chance: dict[str, float] = field(default_factory=dict)
    unlisted: float = 0.1

    def of(self, cause: str) -> float:
        return self.chance.get(cause, PRIOR[cause])


def stand(case: Diary, **chance: float) -> dict[str, Suspect]:
    named = {name.replace("_", "-"): p for name, p in chance.items()}
    return standings(FLOW, case.state, Chances_(named), Chances_())


def of(case: Diary, cause: str = "nut-loose", **chance: float) -> str:
    return stand(case, **chance)[cause].standing


def test_every_cause_has_one_of_seven_standings_in_the_authors_order() -> None:
    found = stand(opened())
    assert list(found) == ["nut-loose", "basket-worn", "kick-gear", "fines"]
    assert {s.standing for s in found.values()} <= set(ORDER)
    assert len(ORDER) == len(set(ORDER)) == 7


def test_a_bad_look_finds_it_however_unlikely_it_is() -> None:
    assert of(opened().answer("nut", "bad"), nut_loose=0.01) == "found"


def test_what_was_seen_and_not_mended_stays_found_after_another_repair() -> None:
    case = opened().answer("nut", "bad").mend("file-basket", "basket-worn")
    assert of(case, nut_loose=0.6) == "found"
    assert of(case.mend("refit-nut", "nut-loose"), nut_loose=0.1) == "repaired"


def test_the_same_look_made_again_replaces_what_was_seen_before() -> None:
    case = opened().answer("nut", "bad").mend("file-basket", "basket-worn").answer("nut", "good")
    assert of(case, nut_loose=0.2) == "suspected"
    case = opened().answer("nut", "bad").answer("nut", "good").mend("file-basket", "basket-worn")
    assert of(case, nut_loose=0.2) == "suspected"


def test_a_mechanics_bad_look_stands_until_that_cause_is_repaired() -> None:
    case = opened().by("mechanic").answer("nut", "bad").mend("file-basket", "basket-worn")
    assert of(case, nut_loose=0.6) == "found"
    assert of(case.mend("refit-nut", "nut-loose"), nut_loose=0.1) == "repaired"


def test_a_mechanic_who_looks_again_and_finds_it_clean_takes_his_word_back() -> None:
    case = opened().by("mechanic").answer("nut", "bad").mend("file-basket", "basket-worn")
    assert of(case.answer("nut", "good"), nut_loose=0.2) == "suspected"


def test_the_same_rank_goes_by_the_newer_look_and_a_mechanic_outranks_a_rider() -> None:
    case = opened().answer("nut", "bad").answer("nut", "good")
    assert of(case, nut_loose=0.01) == "ruled-out"
    case = opened().by("mechanic").answer("nut", "good").by("rider").answer("nut", "bad")
    assert of(case, nut_loose=0.01) == "ruled-out"


def test_a_newer_round_outranks_a_better_look() -> None:
    case = opened().by("mechanic").answer("nut", "good").by("rider")
    case.add(events.WentOn(minutes=20)).answer("nut", "bad")
    assert of(case, nut_loose=0.3) == "found"


def test_a_look_that_finds_two_causes_names_only_what_is_likelier_there_than_not() -> None:
    case = opened().answer("inside", "grooves")
    found = stand(case, basket_worn=0.3, kick_gear=0.5)
    assert found["kick-gear"].standing == "found"
    assert found["basket-worn"].standing == "suspected"


def test_damage_of_another_kind_neither_finds_nor_clears() -> None:
    suspect = stand(opened().answer("nut", "other"), nut_loose=0.01)["nut-loose"]
    assert suspect.standing == "unlikely"
    assert suspect.looked


@pytest.mark.parametrize(("chance", "wanted"), [(0.49, "repaired"), (0.50, "suspected"), (0.001, "repaired")])
def test_repaired_while_it_is_likelier_gone_than_there(chance: float, wanted: str) -> None:
    assert of(opened().mend("refit-nut", "nut-loose"), nut_loose=chance) == wanted


def test_proof_ends_the_watching_and_a_relapse_starts_it_again() -> None:
    case = opened().mend("refit-nut", "nut-loose").add(events.Ended(how="released"))
    assert of(case, nut_loose=0.02) == "unlikely"
    assert of(case, nut_loose=0.2, basket_worn=0.3) == "suspected"
    case.add(events.Reopened(why="it came back", remedy="refit-nut"))
    assert of(case, nut_loose=0.2) == "repaired"


def test_a_case_at_rest_with_a_look_still_to_come_is_being_watched() -> None:
    case = opened().mend("refit-nut", "nut-loose")
    case.add(events.WatchSet(plan="debris", index=0, for_remedy="refit-nut")).add(events.Ended(how="proved"))
    assert of(case, nut_loose=0.02) == "repaired"


def test_a_relapse_of_other_work_leaves_what_was_proved() -> None:
    case = opened().mend("refit-nut", "nut-loose").add(events.Ended(how="proved"))
    case.add(events.Reopened(why="it came back", remedy="file-basket"))
    assert of(case, nut_loose=0.02) == "unlikely"


def test_what_was_repaired_is_never_not_looked_at() -> None:
    case = opened().mend("refit-nut", "nut-loose").add(events.Ended(how="proved"))
    crowd = {"basket_worn": 0.3, "kick_gear": 0.09, "fines": 0.3}
    assert of(case, nut_loose=0.08) == "unlikely"
    low_prior = standings(FLOW, case.state, Chances_({"nut-loose": 0.04}), Chances_({"nut-loose": 0.05}))
    assert low_prior["nut-loose"].standing == "still-possible"
    assert (
        of(opened(), "kick-gear", nut_loose=0.4, basket_worn=0.3, fines=0.2, kick_gear=0.09)
        == "not-looked-at"
    )
    assert stand(case, **crowd)["nut-loose"].repaired_at == 5


@pytest.mark.parametrize(("chance", "wanted"), [(0.02, "ruled-out"), (0.021, "unlikely")])
def test_ruled_out_takes_a_clean_look_and_two_in_a_hundred(chance: float, wanted: str) -> None:
    assert of(opened().answer("nut", "good"), nut_loose=chance) == wanted


def test_unlikely_without_a_look_is_never_ruled_out() -> None:
    assert of(opened(), nut_loose=0.0001) == "unlikely"


def test_a_mark_left_out_is_a_clean_look() -> None:
    found = stand(opened().answer("inside"), basket_worn=0.01, kick_gear=0.01)
    assert found["basket-worn"].standing == found["kick-gear"].standing == "ruled-out"


def test_marks_told_unprompted_find_and_never_clear() -> None:
    told = events.Answered(ask="inside", value=("notches",), form="some_marks", rank=1)
    found = stand(opened().add(told), basket_worn=0.5, kick_gear=0.01)
    assert found["basket-worn"].standing == "found"
    assert (found["kick-gear"].standing, found["kick-gear"].looked) == ("unlikely", False)


def test_a_known_trait_rules_out_and_an_unknown_one_does_not() -> None:
    case = opened().add(events.TraitTold(trait="starter", answer="button"))
    suspect = stand(case)["kick-gear"]
    assert (suspect.standing, suspect.excluded_by, suspect.chance) == ("ruled-out", "starter", 0.0)
    assert of(opened().add(events.TraitTold(trait="starter", answer="")), "kick-gear") == "suspected"


@pytest.mark.parametrize(
    ("chance", "others", "wanted"),
    [
        (0.10, 0.3, "suspected"),  # by its own chance, whoever leads
        (0.09, 0.3, "not-looked-at"),  # fourth of four
        (0.05, 0.01, "suspected"),  # among the first three
        (0.049, 0.01, "not-looked-at"),
        (0.024, 0.01, "unlikely"),  # a quarter of .1 is .025
        (0.025, 0.01, "not-looked-at"),
    ],
)
def test_where_suspected_and_unlikely_begin(chance: float, others: float, wanted: str) -> None:
    rest = {"nut_loose": others, "basket_worn": others, "fines": others}
    assert of(opened(), "kick-gear", kick_gear=chance, **rest) == wanted


def test_looked_at_and_neither_likely_nor_unlikely() -> None:
    rest = {"nut_loose": 0.3, "basket_worn": 0.3, "fines": 0.3}
    assert of(opened().answer("inside"), "kick-gear", kick_gear=0.06, **rest) == "still-possible"


# --- which look, and whether it still counts ------------------------------------------------


def test_the_line_names_who_looked_when_at_what_hours_and_how_good_the_look_is() -> None:
    look = stand(opened(hours=43).by("mechanic").answer("nut", "good"), nut_loose=0.01)["nut-loose"].look
    assert look is not None
    assert (look.ask, look.role, look.hours, look.catches) == ("nut", "mechanic", (43, 43), 0.91)
    assert look.at == "2026-05-04T09:04:00Z"


def test_a_repair_makes_a_clean_look_stale() -> None:
    suspect = stand(opened().answer("nut", "good").mend("file-basket", "basket-worn"), nut_loose=0.01)[
        "nut-loose"
    ]
    assert (suspect.standing, suspect.stale) == ("unlikely", "repair")
    assert suspect.look is not None
    assert suspect.look.said == "good"


def test_an_opened_cover_in_the_same_place_makes_it_stale_and_another_place_does_not() -> None:
    case = opened().answer("nut", "good").add(events.AccessOpened(access="oil-out"))
    assert of(case, nut_loose=0.01) == "ruled-out"
    case.add(events.AccessOpened(access="cover"))
    suspect = stand(case, nut_loose=0.01)["nut-loose"]
    assert (suspect.standing, suspect.stale) == ("unlikely", "opened")


@pytest.mark.parametrize(("hours", "stale"), [(10.0, ""), (10.1, "hours")])
def test_more_than_ten_running_hours_make_it_stale(hours: float, stale: str) -> None:
    case = opened().answer("nut", "good").add(events.Ran(hours=hours))
    suspect = stand(case, nut_loose=0.01)["nut-loose"]
    assert suspect.stale == stale
    assert suspect.standing == ("unlikely" if stale else "ruled-out")


def test_a_fresh_clean_look_is_not_stale_any_more() -> None:
    case = opened().answer("nut", "good").add(events.Ran(hours=11)).answer("nut", "good")
    assert of(case, nut_loose=0.01) == "ruled-out"


def test_a_look_that_was_taken_back_was_not_made() -> None:
    case = opened().answer("nut", "good").add(events.Withdrawn(entries=(4,)))
    suspect = stand(case, nut_loose=0.01)["nut-loose"]
    assert (suspect.standing, suspect.looked, suspect.look) == ("unlikely", False, None)


@pytest.mark.parametrize(
    ("chance", "wanted"), [(0.10, "suspected"), (0.05, "not-looked-at"), (0.02, "unlikely")]
)
def test_something_not_in_the_list_is_never_looked_at_nor_cleared(chance: float, wanted: str) -> None:
    assert of_unlisted(Chances_(unlisted=chance), Chances_(unlisted=0.1)) == wanted
