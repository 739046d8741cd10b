"""The order of things: work in hand, what has to cure, covers, second looks; on the rattling bike."""

from __future__ import annotations

from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest

from bot.authoring.load import shipped, shipped_ids
from bot.core import events
from bot.core.agenda import unmended
from bot.core.flow import Flow, read
from bot.core.history import repairs
from tests.core.chat import Chat
from tests.rattle import FLOW, RATTLE, Diary, opened

TO_THE_SEARCH = ("it rattles", "no knock", "Goat", "by foot", "all of them cling", "garage", "4")
REPLIES = {"amount": "6 to 20", "meter": "not sure", "inside": "none of these", "nut": "it does not move"}


def flow(**parts: Any) -> Flow:
    return read(RATTLE | parts)


def told(talk: Chat, *until: str) -> Chat:
    """On, with a plain answer to each thing, until one of these kinds of step is open."""
    for _ in range(16):
        if talk.asked[0] in until or talk.asked[1] in until:
            return talk
        plain = {"point": "yes", "access": "done", "shut": "done", "remedy": "not now", "proof": "done"}
        talk.say(plain.get(talk.asked[0], REPLIES.get(talk.asked[1], "no")))
    raise AssertionError(f"never came to {until}; asked {talk.asked}")


def refitted(talk: Chat) -> Chat:
    """The nut found loose and refitted; its one closing point told."""
    told(talk.talk(*TO_THE_SEARCH), "nut")
    return talk.talk("it moves", "do it now", "I have it all", "done", "done", "yes")


def watched(talk: Chat) -> Chat:
    """On through the closing up and the proof run to the first second look."""
    told(refitted(talk), "proof")
    return talk.talk("done", "quiet")


# --- what has to cure -----------------------------------------------------------------------------------


def gluing(hours: float = 24) -> Flow:
    """The nut goes on with locker that has to cure."""
    remedies = deepcopy(RATTLE["remedies"])
    remedies["refit-nut"]["steps"][1]["wait_hours"] = hours
    figure = {"what": "locker, full cure", "value": hours, "unit": "h", "basis": "practice"}
    remedies["refit-nut"]["figures"] = [figure]
    return flow(remedies=remedies)


def test_the_proof_run_waits_until_the_locker_has_cured() -> None:
    talk = told(refitted(Chat(gluing())), "cure", "proof")
    assert talk.asked == ("cure", "refit-nut/1")
    assert "needs 24 hours first: Fit the nut." in talk.said
    assert "That time is up in about 24 hours." in talk.said
    assert "locker, full cure: 24 h (common practice, no source)" in talk.said
    assert not talk.state.open


def test_the_time_is_counted_from_the_step_itself_and_the_rest_of_it_is_said() -> None:
    talk = told(refitted(Chat(gluing())), "cure", "proof")
    talk.now += timedelta(hours=3)
    talk.say("hello")
    assert "That time is up in about 21 hours." in talk.said
    talk.now += timedelta(hours=20)
    talk.say("hello")
    assert talk.asked[0] == "cure"
    assert "minutes. Write again then" in talk.said
    talk.now += timedelta(hours=1)
    talk.say("hello")
    assert talk.asked == ("proof", "refit-nut")


def test_closing_up_need_not_wait_and_what_took_a_day_has_cured() -> None:
    talk = refitted(Chat(gluing()))
    assert talk.asked[0] != "cure"
    talk.now += timedelta(hours=24)
    assert told(talk, "cure", "proof").asked == ("proof", "refit-nut")


@pytest.mark.parametrize("words", ["it has cured", "I used another locker", "1"])
def test_the_riders_word_that_it_has_cured_is_kept_and_counts(words: str) -> None:
    talk = told(refitted(Chat(gluing())), "cure").talk(words)
    assert talk.asked == ("proof", "refit-nut")
    assert [n.words for _, _, _, n in talk.state.notes] == [words]


@pytest.mark.parametrize("words", ["ok", "yes", "thanks", "not sure", "can't do that here", "why"])
def test_no_other_word_ends_the_wait(words: str) -> None:
    talk = told(refitted(Chat(gluing())), "cure").talk(words)
    assert talk.asked == ("cure", "refit-nut/1")
    assert talk.messages


def test_a_run_before_the_time_is_kept_without_a_lecture_and_waits_no_more() -> None:
    talk = told(refitted(Chat(gluing())), "cure").talk("I ran it anyway")
    assert "so if the fault returns, look there first" in talk.said
    assert talk.asked == ("proof", "refit-nut")


def test_the_first_second_look_waits_too_when_it_needed_no_proof_run() -> None:
    remedies = deepcopy(RATTLE["remedies"])
    remedies["refit-nut"]["steps"][1]["wait_hours"] = 24
    del remedies["refit-nut"]["proof"]
    talk = told(refitted(Chat(flow(remedies=remedies))), "held").talk("it is gone")
    assert talk.asked == ("cure", "refit-nut/1")
    talk.now += timedelta(hours=24)
    assert talk.talk("hello").asked == ("second_look", "debris")


def test_nothing_waits_where_nothing_has_to_cure() -> None:
    assert told(refitted(Chat(FLOW)), "cure", "proof").asked == ("proof", "refit-nut")


def test_each_time_to_wait_of_the_shipped_flows_stands_beside_a_figure_with_its_basis() -> None:
    waits = [
        (remedy, step.wait_hours)
        for remedy in (r for id in shipped_ids() for r in shipped(id).flow.remedies.values())
        for step in remedy.steps
        if step.wait_hours
    ]
    assert len(waits) >= 5
    for remedy, hours in waits:
        assert any(f.unit == "h" and f.value == hours for f in remedy.figures), remedy.name


# --- a repair that was begun and left -------------------------------------------------------------------


def confirmed() -> Diary:
    """A nut refitted, its point confirmed, the bike proved."""
    diary = opened().add(events.RemedyBegun(remedy="refit-nut", suspicion=False))
    diary.add(events.StepDone(of="refit-nut/0")).add(events.StepDone(of="refit-nut/1"))
    diary.add(events.PointTold(of="refit-nut", point="tab", answer="yes"))
    diary.add(events.Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True))
    return diary.add(events.SaidOfRepair(word="same"))


BEGUN = events.RemedyBegun(remedy="refit-nut", suspicion=True)
LEFT = events.WorkLeft(remedy="refit-nut", why="cant")


def test_points_stay_confirmed_when_a_repair_is_begun_again_and_left_at_once() -> None:
    diary = confirmed().add(BEGUN)
    assert "refit-nut/tab" not in diary.state.points  # of the new work it is open
    back = confirmed().add(BEGUN).add(events.Reopened(why="came_back"))
    diary.add(events.StepDone(of="refit-nut/parts")).add(LEFT)
    assert diary.state.points == back.state.points == {"refit-nut/tab": "yes"}


@pytest.mark.parametrize(
    "done", [events.StepDone(of="refit-nut/0"), events.AccessOpened(access="cover")], ids=["step", "cover"]
)
def test_points_are_open_again_when_something_was_done_or_opened_since(done: Any) -> None:
    assert "refit-nut/tab" not in confirmed().add(BEGUN).add(done).add(LEFT).state.points


def test_what_is_told_of_the_work_after_another_was_left_belongs_to_the_work_that_was_done() -> None:
    diary = confirmed().add(BEGUN).add(LEFT)
    diary.add(events.PointTold(of="refit-nut", point="tab", answer="no"))
    [repair] = repairs(FLOW, diary.state)
    assert repair.points["refit-nut/tab"] == "no"


# --- a second fault, a slip, a relapse, a look that proves nothing --------------------------------------


def both_seen() -> Chat:
    """Notches and a loose nut, both seen behind the cover; the nut is refitted first."""
    talk = told(Chat(FLOW).talk(*TO_THE_SEARCH), "inside").talk("notches in the fingers")
    told(talk, "nut").talk("it moves")
    if talk.asked == ("remedy", "file-basket"):
        talk.say("not now")
    talk.talk("do it now", "I have it all", "done", "done", "yes")
    assert [m.remedy for _, m in talk.state.mended] == ["refit-nut"]
    return talk


def test_a_second_fault_that_was_seen_is_mended_before_the_cover_goes_back() -> None:
    talk = told(both_seen(), "remedy", "point")
    assert talk.asked == ("remedy", "file-basket")
    assert set(talk.state.open) == {"oil-out", "cover"}
    talk.talk("do it now", "I have it all", "done")
    assert [m.remedy for _, m in talk.state.mended] == ["refit-nut", "file-basket"]
    assert told(talk, "point", "check").asked in (("point", "cover/dowels"), ("check", "inside"))


def test_a_second_fault_that_is_put_off_does_not_keep_the_cover_open() -> None:
    assert told(both_seen(), "point").asked == ("point", "cover/dowels")


@pytest.mark.parametrize("words", ["that was wrong", "I pressed the wrong one", "oops"])
def test_what_was_answered_by_a_slip_is_asked_again_and_may_raise_the_stop_again(words: str) -> None:
    talk = Chat(FLOW).talk("it rattles", "it knocks", words, "yes")
    assert talk.stops == set()
    assert talk.asked == ("question", "knock")
    assert talk.talk("it knocks").stops == {"big-knock"}


@pytest.mark.parametrize("words", ["the rattle is back", "it is back", "hm, it has come back on the hill"])
def test_relapse_words_while_a_second_look_is_awaited_open_the_case_again(words: str) -> None:
    talk = watched(Chat(FLOW))
    assert talk.asked == ("second_look", "debris")
    talk.say(words)
    assert [r.why for _, r in talk.state.reopened] == ["came_back"]
    assert "the case is open again" in talk.said
    assert talk.asked == ("after_work", "refit-nut/thread-oily")
    assert talk.state.watch is None


def test_words_that_it_is_not_back_leave_the_watch_alone() -> None:
    talk = watched(Chat(FLOW)).talk("no, it is not back so far")
    assert talk.state.reopened == ()
    assert talk.asked == ("second_look", "debris")


def test_a_look_under_a_stop_proves_nothing_and_the_case_goes_on() -> None:
    smoke = {"means": "it smokes", "background": "rarely"}
    answers = {"yes": {"label": "It smokes", "shows": ["smoke"]}, "no": {"label": "No", "denies": ["smoke"]}}
    rule = {"when": {"all": ["smoke"]}, "say": "Leave it.", "bars": ["running"]}
    looks = deepcopy(RATTLE["second_looks"])
    looks["debris"]["asks"] = ["smoke", "amount", "magnet"]
    smoking = flow(
        signs=RATTLE["signs"] | {"smoke": smoke},
        questions=RATTLE["questions"] | {"smoke": {"kind": "one", "ask": "Smoke?", "answers": answers}},
        stop_rules=RATTLE["stop_rules"] | {"smoke": rule | {"cleared_by": {"any": ["nut.good"]}}},
        second_looks=looks,
    )
    talk = watched(Chat(smoking)).talk("1", "it smokes", "5 or fewer", "all of them cling")
    assert "A stop came up, so this look proves nothing yet." in talk.said
    assert [r.why for _, r in talk.state.reopened] == ["stopped"]
    assert talk.stops == {"smoke"}
    assert talk.state.ended is None


def test_a_clutch_put_together_anew_is_asked_for_nut_and_basket_though_no_cover_step_names_them() -> None:
    """With a small outer cover the basket comes out in the steps of the repair itself."""
    closing = " ".join(p.point for p in shipped("metal-in-oil").flow.remedies["reassemble-clutch"].closing)
    for wanted in ("lock washer under the hub nut", "Basket spins free", "OUT marks"):
        assert wanted in closing


# --- several causes behind one mark ----------------------------------------------------------------------

NUTS = ("nut-one", "nut-two", "nut-three", "nut-four")


def four_nuts(share: float = 40) -> Flow:
    """One mark of a look behind the cover may mean any of four nuts, each with its own repair."""
    data = deepcopy(RATTLE)
    for nut in NUTS:
        data["causes"][nut] = {"name": nut, "share": share, "remedy": f"turn-{nut}"}
        data["remedies"][f"turn-{nut}"] = {**deepcopy(RATTLE["remedies"]["file-basket"]), "name": nut}
    finds = [{"cause": nut, "catches": 0.5, "false_alarm": 0.01} for nut in NUTS]
    data["checks"]["inside"]["marks"] = {"loose": {"label": "Something is loose", "finds": finds}}
    data["checks"]["nut"] |= {"behind": ["cover"], "other_damage": True}
    return read(data)


def test_repairs_of_one_mark_are_offered_in_the_order_of_the_author_on_every_machine() -> None:
    found = opened().answer("inside", "loose")
    assert unmended(four_nuts(), found.state) == tuple(f"turn-{nut}" for nut in NUTS)


def test_damage_behind_a_cover_is_offered_in_the_order_of_the_author_on_every_machine() -> None:
    talk = told(Chat(four_nuts()).talk(*TO_THE_SEARCH), "nut").talk("3")
    assert talk.asked == ("which", "damage")
    assert [choice.press for choice in talk.messages[-1].choices][:4] == list(NUTS)


def test_a_mark_that_may_mean_many_things_has_found_only_those_that_are_likely() -> None:
    """One nut of 60 in 100 and three of 1: the look is for all four, and it is the first that is offered.

    Before, each of the four was said to be found by a look and was renewed in turn while the cover was off.
    """
    flow = four_nuts(1)
    causes = {**flow.causes, "nut-two": flow.causes["nut-two"].model_copy(update={"share": 60.0})}
    found = opened().answer("inside", "loose")
    assert unmended(flow.model_copy(update={"causes": causes}), found.state) == ("turn-nut-two",)


def test_a_look_for_one_cause_has_found_it_however_unlikely_it_was() -> None:
    assert unmended(FLOW, opened().answer("inside", "notches").state) == ("file-basket",)
