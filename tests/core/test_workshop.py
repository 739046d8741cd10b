"""Work that a mechanic tells as done: which remedy it is, its closing points, its price, and what follows."""

from __future__ import annotations

from typing import Any

import pytest

from bot.core.curing import until
from bot.core.events import Mended_, Noted, RemedyBegun
from bot.core.flow import Flow, read
from tests.core.chat import Chat
from tests.rattle import FLOW, RATTLE

BEFORE = ("it rattles", "no knock", "Goat", "by foot", "all of them cling")


def at_bench(flow: Flow = FLOW, *told: str) -> Chat:
    return Chat(flow).talk(*(told or BEFORE), "hand over").hold().wrench("hello")


def mended(talk: Chat) -> list[Mended_]:
    return [done for _, done in talk.state.mended]


def test_a_listed_remedy_is_done_once_its_closing_points_are_answered() -> None:
    talk = at_bench().wrench("repaired: refit the drive nut")
    assert talk.asked_of_wrench == ("point", "refit-nut/tab")
    assert mended(talk) == []
    talk.wrench("yes")
    assert mended(talk) == [
        Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True, minutes=40, money=6)
    ]
    assert "The mechanic has done this: Refit the drive nut." in talk.to("rider")
    [entry] = [e for e in talk.state.entries if isinstance(e.event, Mended_)]
    assert (entry.who, entry.role) == ("wrench", "mechanic")


def test_no_step_of_it_and_no_cover_is_asked_any_more() -> None:
    talk = at_bench().wrench("fixed: drive nut")
    asked = [talk.asked_of_wrench]
    for _ in range(3):
        talk.wrench("yes")
        asked.append(talk.asked_of_wrench)
    assert not [what for what, _ in asked if what in ("step", "access", "remedy")]


def test_a_point_that_is_not_right_stays_open_and_one_not_sure_is_unconfirmed() -> None:
    talk = at_bench().wrench("repaired: drive nut", "no")
    assert "Put that right first" in talk.said
    assert mended(talk) == []
    talk.wrench("not sure")
    assert [done.confirmed for done in mended(talk)] == [False]


def test_a_cover_that_the_record_has_open_is_closed_by_its_list() -> None:
    talk = at_bench().wrench("6 to 20", "done", "done", "repaired: drive nut", "yes")
    while talk.asked_of_wrench[0] == "check":
        talk.wrench("none of these" if talk.asked_of_wrench[1] == "inside" else "it does not move")
    assert talk.asked_of_wrench == ("point", "cover/dowels")
    talk.wrench("yes", "done", "yes", "done")
    assert talk.state.open == ()
    assert talk.asked == ("proof", "refit-nut")


@pytest.mark.parametrize(
    ("words", "money"),
    [
        ("repaired: drive nut", 6),  # by the list
        ("repaired: drive nut, parts 24 EUR", 24),
        ("repaired: drive nut (parts 24,50 euro)", 24.5),
        ("repaired: drive nut. Parts: 24", 24),
        ("repaired: drive nut, 24.50 EUR for parts", 24.5),
        ("repaired: drive nut parts 0", 0),
        ("repaired: drive nut, parts 24 USD", 6),  # another currency is not counted
        ("repaired: drive nut, parts 2 new", 6),  # no price
    ],
)
def test_the_price_of_the_parts_is_what_he_says(words: str, money: float) -> None:
    talk = at_bench().wrench(words)
    if "USD" in words:
        assert "I count parts in EUR" in talk.said
    if talk.asked_of_wrench[0] == "repair":  # too many other words: asked which work it was
        talk.wrench("1")
    talk.wrench("yes")
    assert [done.money for done in mended(talk)] == [money]


def test_work_that_is_only_partly_meant_by_the_words_is_asked_about() -> None:
    """Taken for a listed repair it would lift stops."""
    talk = at_bench().wrench("repaired: drive shaft seal pressed in anew")
    assert talk.asked_of_wrench[0] == "repair"
    assert [c.label for c in talk.messages[-1].choices][:2] == ["Refit the drive nut", "None of these"]


def test_without_clear_words_he_picks_from_a_list_and_the_price_is_not_lost() -> None:
    talk = at_bench().wrench("repaired: it all, parts 30 EUR")
    labels = [c.label for c in talk.messages[-1].choices if not c.control]
    assert labels == ["Refit the drive nut", "New clutch basket", "None of these"]
    talk.wrench("2")
    assert [(done.remedy, done.money) for done in mended(talk)] == [("file-basket", 30)]


def test_work_that_is_in_no_list_is_kept_in_his_own_words_and_moves_no_odds() -> None:
    talk = at_bench().wrench("repaired: Welded the engine mount, parts 5 EUR")
    assert talk.asked_of_wrench[0] == "repair"
    talk.wrench("none of these")
    assert talk.state.notes[-1][3] == Noted(words="Welded the engine mount, parts 5 EUR", about="work")
    assert mended(talk) == []
    assert "The mechanic has done this: Welded the engine mount, parts 5 EUR" in talk.to("rider")
    assert talk.asked_of_wrench == ("question", "amount")


def test_said_without_any_words_it_asks_for_them() -> None:
    talk = at_bench().wrench("repaired", "none", "New gasket all round")
    assert talk.state.notes[-1][3] == Noted(words="New gasket all round", about="work")


def test_words_in_the_list_name_a_remedy() -> None:
    talk = at_bench().wrench("repaired", "new basket")
    assert [done.remedy for done in mended(talk)] == ["file-basket"]
    assert at_bench().wrench("repaired", "back").state.work is None


def test_after_a_confirmed_cause_the_work_is_not_on_suspicion_and_else_it_is() -> None:
    def suspicion(talk: Chat) -> list[bool]:
        return [e.event.suspicion for e in talk.state.entries if isinstance(e.event, RemedyBegun)]

    assert suspicion(at_bench().wrench("cause is the nut", "seen", "repaired: drive nut")) == [False]
    assert suspicion(at_bench().wrench("repaired: drive nut")) == [True]


def test_a_stop_that_the_work_lifts_is_lifted_and_both_are_told() -> None:
    talk = at_bench(FLOW, "it rattles", "it knocks", "Goat", "by foot").wrench("repaired: drive nut", "yes")
    assert talk.stops == set()
    assert "Lifted by Refit the drive nut" in talk.to("rider")


def test_the_run_that_proves_it_is_the_riders_and_the_mechanic_is_told() -> None:
    talk = at_bench().wrench("repaired: drive nut", "yes")
    assert talk.asked == ("proof", "refit-nut")
    assert talk.asked_of_wrench == ("none", "")
    assert "The next is for the rider: Idle for ten minutes. I asked him." in talk.said
    talk.say("done")
    talk.wrench("hello")
    assert talk.asked == ("held", "refit-nut")  # it is not put to him twice
    assert talk.to("rider") == ""
    talk.say("quiet")
    assert "The rider says of the repair: it is gone." in talk.to("wrench")
    assert talk.asked == ("second_look", "debris")


def test_a_rider_with_a_question_open_answers_that_first() -> None:
    talk = Chat(FLOW).talk(*BEFORE[:-1]).hold().wrench("repaired: drive nut", "yes")
    assert talk.asked == ("question", "magnet")
    assert "After this one the next for you is: Idle for ten minutes." in talk.to("rider")
    assert "I ask him once he has answered what is open" in talk.said
    talk.say("all of them cling")
    assert talk.asked == ("proof", "refit-nut")


def test_what_has_to_cure_cures_from_now_on_and_the_rider_is_told_to_wait() -> None:
    remedies: dict[str, Any] = {**RATTLE["remedies"]}
    steps = [{"id": "nut", "do": "Fit the nut with locker.", "wait_hours": 12}]
    remedies["refit-nut"] = {**remedies["refit-nut"], "steps": steps}
    flow = read({**RATTLE, "remedies": remedies})
    talk = at_bench(flow).wrench("repaired: drive nut", "yes")
    assert talk.asked == ("cure", "refit-nut/0")
    assert set(until(flow, talk.state)) == {"refit-nut/0"}


def test_a_rider_who_tells_work_so_keeps_it_as_a_note() -> None:
    talk = Chat(FLOW).talk(*BEFORE, "repaired: drive nut")
    assert mended(talk) == []
    assert talk.state.notes[-1][3].words == "repaired: drive nut"
    assert talk.asked == ("setting", "place")


def test_it_can_be_taken_back() -> None:
    talk = at_bench().wrench("repaired: new basket", "back")
    assert mended(talk) == []
    assert talk.state.work is None
