"""The facts of a case, by hand: who saw what, how suspects stand, what was done, what comes next."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone

import pytest

from bot.core import events, odds, plan
from bot.core.desk import Desk
from bot.reports import text
from bot.reports.ahead import Ahead
from bot.reports.facts import READING_ORDER, facts
from bot.reports.orders import order_list
from bot.reports.sheet import Facts
from tests.rattle import FLOW, Diary, opened

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def of(case: Diary) -> Facts:
    state = case.state
    return facts(FLOW, state, plan.beliefs(FLOW, state), odds.prior(FLOW, plan.known(state)), NOON, Ahead())


def settled(case: Diary, **settings: str | float | bool) -> Diary:
    for setting, value in {"place": "garage", "kit": "special", **settings}.items():
        case.add(events.SettingTold(setting=setting, value=value))
    return case


def coming(case: Diary) -> Ahead:
    return text.facts_of(FLOW, case.state, NOON).ahead


def test_the_head_of_the_sheet() -> None:
    case = opened("it rattles, since Sunday").add(events.TraitTold(trait="starter", answer="kick"))
    sheet = of(case.add(events.Ran(hours=2)))
    assert (sheet.title, sheet.version, sheet.bike) == ("Something rattles", 2, "Goat")
    assert (sheet.complaint, sheet.hours) == ("it rattles, since Sunday", (45, 45))
    assert sheet.traits == (("How is it started?", "By foot"),)
    assert (sheet.currency, sheet.as_of) == ("EUR", "2026-05")


def test_the_time_of_writing_is_utc_and_needs_a_zone() -> None:
    state = opened().state
    now, before = plan.beliefs(FLOW, state), odds.prior(FLOW, {})
    east = datetime(2026, 5, 4, 12, tzinfo=timezone(timedelta(hours=2)))
    assert facts(FLOW, state, now, before, east, Ahead()).written_at == "2026-05-04T10:00:00Z"
    with pytest.raises(ValueError, match="zone"):
        facts(FLOW, state, now, before, datetime(2026, 5, 4), Ahead())  # noqa: DTZ001


def test_facts_dump_as_json() -> None:
    sheet = of(opened().answer("knock", "yes").by("mechanic").answer("nut", "bad"))
    plain = json.loads(json.dumps(sheet.dump()))
    assert plain["findings"][1]["voice"]["role"] == "mechanic"
    assert plain["suspects"][0]["standing"] == "found"


# --- findings --------------------------------------------------------------------------------


def test_a_finding_says_who_when_how_sure_and_at_what_hours() -> None:
    [finding] = of(opened().by("mechanic").answer("nut", "good")).findings
    assert (finding.question, finding.answer, finding.rank) == ("Try the nut by hand.", "It does not move", 4)
    voice = finding.voice
    assert (voice.who, voice.role, voice.at, voice.hours) == (
        "mechanic",
        "mechanic",
        "2026-05-04T09:04:00Z",
        (43, 43),
    )


def test_first_no_then_yes() -> None:
    [finding] = of(opened().answer("knock", "no").answer("knock", "yes")).findings
    assert finding.answer == "It knocks"
    assert [(x.answer, x.taken_back) for x in finding.lost] == [("No knock", False)]


def test_a_mechanics_look_holds_against_a_later_one_of_the_rider() -> None:
    [finding] = of(opened().by("mechanic").answer("nut", "bad").by("rider").answer("nut", "good")).findings
    assert (finding.answer, finding.lost[0].answer, finding.lost[0].voice.role) == (
        "It moves", "It does not move", "rider",
    )  # fmt: skip


def test_what_was_taken_back_stays_on_the_sheet() -> None:
    case = opened().answer("knock", "yes").add(events.Withdrawn(entries=(4,))).answer("knock", "no")
    [finding] = of(case).findings
    assert finding.answer == "No knock"
    assert [(x.answer, x.taken_back) for x in finding.lost] == [("It knocks", True)]


def test_answers_before_and_after_a_repair_and_of_a_second_look_stand_apart() -> None:
    case = opened().answer("magnet", "all").mend("refit-nut", "nut-loose").answer("magnet", "all")
    case.add(events.LookRound(plan="debris", index=0, ran_hours=2)).answer("magnet", "none")
    assert [(f.slice, f.round, f.answer) for f in of(case).findings] == [
        (0, 0, "All of them cling"),
        (1, 0, "All of them cling"),
        (1, 1, "None clings"),
    ]


def test_marks_steps_and_other_damage_in_words() -> None:
    case = opened().answer("inside", "notches", "grooves").answer("amount", "some").answer("nut", "other")
    assert [f.answer for f in of(case).findings] == ["Notches in the fingers, Grooves", "6 to 20", "other"]
    assert of(opened().answer("inside")).findings[0].answer == "None of these"


@pytest.mark.parametrize(
    ("ask", "value", "quiet"),
    [
        ("knock", ("no",), True),  # few bikes knock: nothing to tell
        ("knock", ("yes",), False),
        ("magnet", ("none",), False),  # most have bits that cling: that none does is news
        ("nut", ("good",), True),
        ("nut", ("other",), False),
        ("inside", (), True),
        ("inside", ("grooves",), False),
        ("amount", ("a-few",), False),
    ],
)
def test_an_answer_that_only_says_that_nothing_was_seen_is_quiet(
    ask: str, value: tuple[str, ...], quiet: bool
) -> None:
    [finding] = of(opened().answer(ask, *value)).findings
    assert finding.quiet == quiet


def test_answers_have_their_short_form_beside_them() -> None:
    case = opened().answer("inside", "notches", "grooves").answer("amount", "a-few", "some")
    assert [f.short for f in of(case).findings] == [
        "Notches in the fingers, Grooves",
        "5 or fewer or 6 to 20",
    ]
    [finding] = of(opened().answer("nut", "other")).findings
    assert finding.short == "other"


def test_what_the_rider_was_not_sure_of_is_named() -> None:
    assert of(opened().add(events.Skipped(ask="knock", why="not_sure"))).not_sure == (
        "Does it knock from below?",
    )


# --- suspects --------------------------------------------------------------------------------


def test_every_suspect_is_there_and_the_found_ones_come_first() -> None:
    sheet = of(opened().answer("nut", "bad").answer("inside"))
    assert {s.name for s in sheet.suspects} == {c.name for c in FLOW.causes.values()}
    places = [READING_ORDER.index(s.standing) for s in sheet.suspects]
    assert places == sorted(places)
    assert sheet.suspects[0].name == "Drive nut working loose"


def test_a_suspect_names_its_look_and_how_good_such_a_look_is() -> None:
    look = of(opened().answer("nut", "bad")).suspects[0].look
    assert look is not None
    assert (look.question, look.answer, look.said, look.finds_of_10) == (
        "Try the nut by hand.",
        "It moves",
        "bad",
        9.1,
    )


def test_a_look_with_several_marks_says_of_each_cause_only_its_own() -> None:
    sheet = of(opened().answer("inside", "notches"))
    said = {s.name: s.look.answer for s in sheet.suspects if s.look}
    assert said == {"Clutch basket notched": "Notches in the fingers", "Kick gear worn": "None of these"}


def test_no_look_made_shows_beside_any_standing() -> None:
    made = {s.name: s.look_made for s in of(opened().answer("nut", "good")).suspects}
    assert made["Drive nut working loose"]
    assert not made["Clutch basket notched"]


def test_a_trait_that_rules_out_is_named() -> None:
    case = opened().add(events.TraitTold(trait="starter", answer="button"))
    [kick] = [s for s in of(case).suspects if s.name == "Kick gear worn"]
    assert (kick.standing, kick.excluded_by) == ("ruled-out", "How is it started?")


def test_a_clean_look_grows_stale() -> None:
    case = opened().answer("nut", "good").add(events.Ran(hours=11))
    [nut] = [s for s in of(case).suspects if s.name == "Drive nut working loose"]
    assert (nut.stale, nut.look and nut.look.voice.hours) == ("hours", (43, 43))


# --- stops -----------------------------------------------------------------------------------


def stopped() -> Diary:
    case = opened().answer("knock", "yes")
    return case.add(events.StopRaised(rule="big-knock", bars=("running", "riding"), because=(4,)))


def test_a_stop_says_why_since_when_and_whether_it_was_run_after() -> None:
    case = stopped().add(events.WentOn(minutes=20)).add(events.WentOn())
    [stop] = of(case).stops
    assert (stop.stands, stop.say, stop.short) == (True, "Do not start the engine.", "STOP. DO NOT START.")
    assert (stop.because, stop.at, stop.ran_after) == (("It knocks",), "2026-05-04T09:05:00Z", (20, None))


def test_running_before_a_stop_is_not_held_against_it() -> None:
    case = opened().add(events.WentOn(minutes=20)).answer("knock", "yes")
    case.add(events.StopRaised(rule="big-knock", bars=("running",), because=(5,)))
    assert of(case).stops[0].ran_after == ()


@pytest.mark.parametrize(
    ("by", "words"),
    [("nut.good", "Try the nut by hand."), ("refit-nut", "Refit the drive nut"), ("mechanic", "mechanic")],
)
def test_a_lifted_stop_says_what_lifted_it(by: str, words: str) -> None:
    [stop] = of(stopped().add(events.StopLifted(rule="big-knock", by=by))).stops
    assert (stop.stands, stop.lifted_by) == (False, words)


def test_the_reason_of_a_stop_stays_when_the_answer_was_taken_back() -> None:
    assert of(stopped().add(events.Withdrawn(entries=(4,)))).stops[0].because == ("It knocks",)


def test_damage_without_a_name_and_rules_of_an_older_flow_have_no_words_of_this_flow() -> None:
    case = opened().add(events.StopRaised(rule="damage-seen", bars=("running",)))
    case.add(events.StopRaised(rule="long-gone", bars=("riding",)))
    assert [(s.kind, s.say) for s in of(case).stops] == [("damage", ""), ("older", "")]


# --- work, looks to come, notes ---------------------------------------------------------------


def test_a_repair_lists_the_closing_points_that_nobody_confirmed() -> None:
    case = opened().mend("refit-nut", "nut-loose")
    case.add(events.PointTold(of="cover", point="dowels", answer="unsure"))
    [repair] = of(case).repairs
    assert (repair.name, repair.suspicion) == ("Refit the drive nut", False)
    assert repair.unconfirmed == ("tab bent up", "both dowels in")
    case.add(events.PointTold(of="cover", point="dowels", answer="yes"))
    assert of(case).repairs[0].unconfirmed == ("tab bent up",)


def test_second_looks_that_are_still_to_come() -> None:
    case = opened().mend("refit-nut", "nut-loose")
    case.add(events.WatchSet(plan="debris", index=1, for_remedy="refit-nut", from_hours=43))
    [look] = of(case).looks_again
    assert (look.after_minutes, look.after_hours, look.running, look.basis) == (None, 2, "normal", "practice")
    assert look.from_hours == 43
    assert of(opened()).looks_again == ()


def test_words_and_photos_are_kept_with_who_sent_them() -> None:
    case = opened().by("mechanic").add(events.Noted(words="blue at the rod"))
    case.add(events.Noted(file="5f1c", file_kind="photo")).add(events.Noted())
    assert [(n.words, n.file_kind, n.voice.role) for n in of(case).notes] == [
        ("blue at the rod", "", "mechanic"),
        ("", "photo", "mechanic"),
    ]


def test_photos_are_counted_by_what_was_asked_when_they_came() -> None:
    case = opened().add(events.Noted(file="a", file_kind="photo", about="question:magnet"))
    case.add(events.Noted(file="b c", file_kind="photo", about="question:magnet", words="both sides"))
    case.add(events.Noted(file="d", file_kind="voice", about="check:nut"))
    case.add(events.Noted(file="e", file_kind="photo", about="step:refit-nut/clean"))
    case.add(events.Noted(file="f", file_kind="photo", about="access:cover"))
    case.add(events.Noted(file="g", file_kind="photo", about="bike:"))
    magnet = "Hold a magnet under the bits. What happens?"
    assert [[(f.kind, f.n, f.about) for f in note.files] for note in of(case).notes] == [
        [("photo", 1, magnet)], [("photo", 2, magnet), ("photo", 3, magnet)],
        [("voice", 1, "Try the nut by hand.")], [("photo", 1, "Refit the drive nut")],
        [("photo", 1, "Take the cover off.")], [("photo", 1, "")],
    ]  # fmt: skip


def test_minutes_and_money_spent_are_the_declared_ones() -> None:
    case = (
        opened()
        .answer("magnet", "all", minutes=1)
        .add(events.AccessOpened(access="oil-out", minutes=10, money=4))
    )
    sheet = of(case.mend("refit-nut", "nut-loose"))
    assert (sheet.minutes_spent, sheet.money_spent) == (1 + 10 + 40, 4 + 6)


# --- order list --------------------------------------------------------------------------------


def test_the_order_list_holds_the_parts_of_the_plan_and_what_closes_its_covers() -> None:
    order = order_list(FLOW, opened().state, ["refit-nut", "file-basket"])
    assert [(x.name, x.price, x.suspicion) for x in order.lines] == [
        ("lock washer", 6, True),
        ("clutch basket", 110.5, True),
        ("cover gasket", None, True),
    ]
    assert (order.total, order.sure, order.unpriced) == (116.5, 0, 1)


def test_parts_for_what_a_look_found_are_no_suspicion() -> None:
    order = order_list(FLOW, opened().answer("nut", "bad").state, ["refit-nut", "file-basket"])
    assert (order.total, order.sure) == (116.5, 6)
    assert [x.suspicion for x in order.lines] == [False, True, False]


def test_a_cover_that_is_off_needs_its_gasket_whatever_the_plan() -> None:
    case = opened().add(events.AccessOpened(access="oil-out")).add(events.AccessOpened(access="cover"))
    [line] = order_list(FLOW, case.state, []).lines
    assert (line.name, line.suspicion, line.single_use) == ("cover gasket", False, True)


# --- what comes next ------------------------------------------------------------------------------


def test_the_first_thing_is_what_can_hurt() -> None:
    ahead = coming(opened())
    assert (ahead.kind, ahead.what, ahead.why) == ("question", "Does it knock from below?", "safety")


def started() -> Diary:
    case = opened().add(events.TraitTold(trait="starter", answer="kick"))
    return settled(case.answer("knock", "no").answer("magnet", "all"))


def test_a_step_of_the_planner_says_what_it_costs_and_saves() -> None:
    ahead = coming(started())
    assert (ahead.kind, ahead.what, ahead.why) == ("question", "How many bits?", "cheapest")
    assert ahead.saves is not None
    assert ahead.saves > 0
    assert ahead.minutes > 0


def test_under_a_stop_the_look_that_lifts_it_comes_first() -> None:
    case = started().add(events.StopRaised(rule="big-knock", bars=("running",)))
    assert (coming(case).why, coming(case).what) == ("stop", "Drain the oil.")


def test_work_in_hand_goes_on_and_its_parts_are_ordered() -> None:
    case = started().answer("nut", "bad").add(events.RemedyBegun(remedy="refit-nut", suspicion=False))
    ahead = coming(case)
    assert (ahead.why, ahead.remedies) == ("work", ("refit-nut",))
    assert [x.name for x in text.facts_of(FLOW, case.state, NOON).order.lines] == [
        "lock washer",
        "cover gasket",
    ]


def test_the_price_of_handing_over_is_the_riders_word_else_the_flows() -> None:
    ahead = coming(started())
    assert (ahead.giving_up, ahead.giving_up_money) == (300, 80)
    ahead = coming(settled(started(), giving_up=1200.0))
    assert (ahead.giving_up, ahead.giving_up_money) == (1200, 0)
    desk = Desk(text.BARE, (), {"abc": FLOW}, summary=text.summary, settings={"giving_up": 600.0})
    assert text.facts_of(FLOW, started().state, NOON, desk).ahead.giving_up == 600


def test_what_cannot_be_done_here_is_left_for_the_garage() -> None:
    case = settled(started(), place="trail", kit="roll", minutes_left=600.0, must_ride=False)
    left = {x.what: x.why for x in coming(case).left_out}
    assert left["Try the nut by hand"] == "place"
    case = started().add(events.Skipped(ask="nut", why="cant"))
    assert {x.what: x.why for x in coming(case).left_out} == {"Try the nut by hand": "cant"}


def test_the_most_telling_comes_first_of_what_is_left_for_the_garage() -> None:
    # 58 of 100 for the nut, 22 each for the basket and the kick gear: the look at the nut finds 9 of 10 of
    # the first, that inside 9 of 10 and 6 of 10 of the others.
    case = settled(started(), place="trail", kit="roll", minutes_left=600.0, must_ride=False)
    assert [x.what for x in coming(case).left_out] == [
        "Refit the drive nut",
        "Try the nut by hand",
        "New clutch basket",
        "Which of these do you see",
    ]
