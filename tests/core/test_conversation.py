"""The talk as a rider has it, on a small invented flow."""

from __future__ import annotations

import pytest

from bot.core.conversation import TABLE, draw_table
from bot.core.events import (
    AccessOpened,
    Answered,
    BikeTaken,
    FlowChosen,
    Noted,
    Opened,
    TraitTold,
    WasAsked,
    WatchSet,
)
from bot.core.flow import read
from bot.core.moves import MOVES
from bot.core.putting import PUT
from tests.core.chat import HASH, Chat
from tests.rattle import FLOW, RATTLE, Diary

TO_THE_SEARCH = ("it rattles", "no knock", "Goat", "by foot", "all of them cling", "garage", "4")


def chat() -> Chat:
    return Chat(FLOW)


def to_the_nut(talk: Chat) -> Chat:
    """On to the look at the nut, whatever short questions and looks come before it."""
    replies = {"amount": "6 to 20", "meter": "not sure", "inside": "none of these", "magnet": "all of them"}
    for _ in range(8):
        if talk.asked == ("check", "nut"):
            return talk
        talk.say("done" if talk.asked[0] == "access" else replies[talk.asked[1]])
    raise AssertionError(f"the nut was never looked at; asked {talk.asked}")


def test_first_words_pick_the_flow_and_safety_comes_first() -> None:
    talk = chat().talk("it rattles since Sunday")
    assert talk.state.complaint == "it rattles since Sunday"
    assert talk.state.flow == "rattle"
    assert talk.asked == ("question", "knock")


def test_a_greeting_is_greeted_and_is_no_complaint() -> None:
    talk = chat().talk("hello")
    assert talk.state.complaint == ""
    assert "Tell me in your own words" in talk.said


def test_a_case_begins_before_the_bike_is_named() -> None:
    talk = chat().talk("it rattles", "1")
    assert talk.state.bike is None
    assert talk.stops == {"big-knock"}
    assert talk.asked == ("bike", "")


def test_a_stop_is_said_before_anything_else_and_stands_over_every_later_message() -> None:
    talk = chat().talk("it rattles", "it knocks")
    assert talk.messages[0].text.startswith("STOP. Do not start the engine.")
    assert talk.messages[0].signal == "danger"
    talk.say("Goat")
    assert "Still standing: STOP. DO NOT START." in talk.said


def test_a_contrary_answer_does_not_lift_a_stop_but_the_named_look_does() -> None:
    talk = chat().talk("it rattles", "it knocks", "change knock")
    assert talk.asked == ("question", "knock")
    talk.talk("no knock")
    assert talk.stops == {"big-knock"}
    to_the_nut(talk.talk("Goat", "by foot", "garage", "4"))
    talk.say("it does not move")
    assert talk.stops == set()


def test_a_slip_lifts_the_stop_and_stays_in_the_record() -> None:
    talk = chat().talk("it rattles", "it knocks", "I pressed the wrong one")
    assert talk.asked[0] == "slip"
    talk.say("yes")
    assert talk.stops == set()
    assert talk.state.stops[0].lifted_by == "slip"
    assert talk.asked == ("question", "knock")


def test_a_slip_that_was_none_leaves_the_stop() -> None:
    talk = chat().talk("it rattles", "it knocks", "wrong one", "no")
    assert talk.stops == {"big-knock"}


def test_ran_it_anyway_is_noted_without_a_lecture_and_the_stop_is_said_again_in_full() -> None:
    talk = chat().talk("it rattles", "it knocks", "I rode it anyway 20 min")
    assert [w.minutes for _, w in talk.state.went_on] == [20]
    assert talk.said.count("STOP. Do not start the engine.") == 1
    assert talk.stops == {"big-knock"}


def test_running_it_is_heard_among_other_words_while_a_stop_stands() -> None:
    talk = chat().talk("it rattles", "it knocks", "ok... rode it home anyway, 20 min, no new noise")
    assert [w.minutes for _, w in talk.state.went_on] == [20]
    talk = chat().talk("it rattles", "it knocks", "a friend heard it when I rode it last week")
    assert talk.state.went_on == ()
    assert chat().talk("it rattles", "rode it home to look").state.went_on == ()


def test_traits_are_asked_once_and_known_ones_never() -> None:
    from bot.core.desk import BikeCard

    bike = BikeCard("b1", "Goat", {"starter": "kick"}, 43)
    talk = Chat(FLOW, bikes=(bike,)).talk("it rattles", "2", "goat")
    assert talk.state.traits == {"starter": "kick"}
    assert talk.asked == ("question", "magnet")


def test_covers_come_off_one_message_at_a_time_before_the_look() -> None:
    talk = chat().talk(*TO_THE_SEARCH, "6 to 20")
    seen: list[str] = []
    while talk.asked[0] == "access" and len(seen) < 5:
        seen.append(talk.asked[1])
        assert "WARNING: Hot oil burns" in talk.said or talk.asked[1] != "oil-out"
        talk.say("done")
    assert seen == ["oil-out", "cover"]
    assert talk.asked[0] == "check"


def mended(talk: Chat) -> Chat:
    """From the search to the closing up, the nut found loose and refitted."""
    to_the_nut(talk.talk(*TO_THE_SEARCH))
    return talk.talk("it moves", "do it now", "I have it all", "done", "done", "yes")


def test_a_repair_runs_from_the_parts_to_the_second_look() -> None:
    talk = mended(chat())
    assert [m.remedy for _, m in talk.state.mended] == ["refit-nut"]
    if talk.asked == ("check", "inside"):
        assert "worth a look while it is open" in talk.said
        talk.say("none of these")
    assert talk.asked == ("point", "cover/dowels")
    talk.talk("yes", "done", "yes", "done")
    assert talk.asked == ("proof", "refit-nut")
    talk.talk("done", "quiet")
    assert talk.asked == ("second_look", "debris")


def proved(talk: Chat) -> Chat:
    mended(talk)
    if talk.asked == ("check", "inside"):
        talk.say("none of these")
    return talk.talk("yes", "done", "yes", "done", "done", "quiet")


def test_two_clean_looks_close_the_case() -> None:
    talk = proved(chat()).talk("1", "5 or fewer", "all of them cling", "2.5 h", "3 bits", "all of them cling")
    assert talk.state.ended is not None
    assert talk.state.ended.how == "proved"
    assert talk.asked[0] == "none"


def test_a_new_kind_at_the_second_look_reopens_with_the_fresh_work_first() -> None:
    talk = chat().talk("it rattles", "no knock", "Goat", "by foot", "none clings", "garage", "4")
    to_the_nut(talk).talk("it moves", "do it now", "I have it all", "done", "done", "not sure")
    if talk.asked == ("check", "inside"):
        talk.say("none of these")
    talk.talk("yes", "done", "yes", "done", "done", "quiet", "1", "more than 20", "all of them cling")
    assert [r.why for _, r in talk.state.reopened] == ["new_kind"]
    assert talk.asked == ("point", "refit-nut/tab")
    talk.say("yes")
    assert talk.asked == ("after_work", "refit-nut/thread-oily")


def test_a_point_answered_no_stays_open_until_it_is_right() -> None:
    talk = to_the_nut(chat().talk(*TO_THE_SEARCH))
    talk.talk("it moves", "do it now", "I have it all", "done", "done", "no")
    assert talk.asked == ("point", "refit-nut/tab")
    assert "Put that right first" in talk.said
    assert not talk.state.mended


def test_at_a_point_no_counts_with_words_behind_it_and_a_yes_with_a_but_does_not() -> None:
    talk = to_the_nut(chat().talk(*TO_THE_SEARCH))
    talk.talk("it moves", "do it now", "I have it all", "done", "done", "yes but the washer is the old one")
    assert talk.state.points == {}
    assert talk.asked == ("point", "refit-nut/tab")
    talk.talk("no I guessed")
    assert talk.state.points == {"refit-nut/tab": "no"}


def test_not_sure_is_kept_as_asked_and_changes_no_odds() -> None:
    talk = chat().talk("it rattles", "not sure")
    assert talk.state.skipped["knock"].why == "not_sure"
    assert talk.asked == ("bike", "")


def test_back_takes_the_last_answer_back_and_asks_it_again() -> None:
    talk = chat().talk("it rattles", "no knock", "Goat", "by foot", "back")
    assert talk.asked == ("trait", "starter")
    assert talk.state.traits == {}


def test_bad_but_something_else_stops_and_asks_which_part() -> None:
    talk = to_the_nut(chat().talk(*TO_THE_SEARCH))
    talk.say("bad, but something else")
    assert talk.stops == {"damage-seen"}
    assert talk.asked == ("which", "damage")


STRAY = (
    "", "🏍️", "x" * 5000, "'; DROP TABLE entries; --", "<b>bold</b>", "asdf", "no knock at all I think?!",
    "99999", "dove è il mio casco", "it rattles",
)  # fmt: skip


def test_ten_stray_inputs_end_in_the_same_place() -> None:
    """A talk with strays between its answers ends where it ends without them."""
    plain, stray = chat().talk(*TO_THE_SEARCH), chat()
    for text, noise in zip(TO_THE_SEARCH, ("", *STRAY), strict=False):
        if noise and stray.asked[0] != "bike":
            stray.say(noise)
            assert stray.messages, f"{noise!r} was not answered"
        stray.say(text)
    assert stray.asked == plain.asked
    assert [a.event.value for a in stray.state.answers] == [a.event.value for a in plain.state.answers]
    assert stray.state.traits == plain.state.traits


@pytest.mark.parametrize("noise", STRAY)
def test_what_is_no_answer_moves_nothing_and_is_answered(noise: str) -> None:
    talk = chat().talk("it rattles", "no knock", "Goat", "by foot")
    before = talk.state
    talk.say(noise)
    assert talk.messages
    assert talk.asked == ("question", "magnet")
    assert (talk.state.answers, talk.state.traits, talk.state.stops) == (
        before.answers, before.traits, before.stops,
    )  # fmt: skip


def test_a_photo_is_kept_with_the_open_step_and_answers_nothing() -> None:
    talk = chat().talk("it rattles")
    talk.say("", file="ab" * 32, file_kind="photo")
    notes = [n for _, _, _, n in talk.state.notes]
    assert notes == [Noted(file="ab" * 32, file_kind="photo", about="question:knock")]
    assert talk.asked == ("question", "knock")
    assert "Kept with this step." in talk.said


def test_presses_of_closed_questions_never_move_the_case() -> None:
    talk = chat().talk("it rattles")
    seq = talk.state.asked["rider"].seq
    talk.say("", press=f"{seq}:no")
    assert talk.state.told("knock") is not None
    answers = talk.state.answers
    for press in (f"{seq}:yes", "0:no", "x:y", f"{talk.state.asked['rider'].seq}:nonsense"):
        talk.say("", press=press)
        assert talk.state.answers == answers
        assert "That question is closed" in talk.said


def test_the_table_has_a_message_and_a_move_for_every_kind_of_step() -> None:
    assert {what for what, _ in TABLE} == set(MOVES) == set(PUT)
    drawn = draw_table()
    for what in MOVES:
        assert f"settle --> {what}: next step" in drawn


def test_a_mechanic_may_lift_a_stop_and_a_rider_may_not() -> None:
    talk = chat().talk("it rattles", "it knocks")
    talk.say("lift the stop")
    assert talk.stops == {"big-knock"}
    talk.wrench("lift the stop: nut tight")
    assert talk.stops == {"big-knock"}  # not before he holds the case
    talk.hold().wrench("lift the stop: nut tight")
    assert talk.stops == set()
    assert (talk.state.stops[0].lifted_by, talk.state.stops[0].looked_at) == ("mechanic", "nut tight")
    told = [(m.to, m.text) for m in talk.messages if "Lifted" in m.text]
    assert [to for to, _ in told] == ["", "rider"]  # he who is waiting is told without asking
    assert told[0][1] == told[1][1]


def test_a_mechanics_look_outranks_a_riders() -> None:
    talk = to_the_nut(chat().talk(*TO_THE_SEARCH))
    opened = [e.event.access for e in talk.state.entries if isinstance(e.event, AccessOpened)]
    assert opened == ["oil-out", "cover"]
    talk.say("hello", who="wrench", role="mechanic")
    assert talk.state.asked["wrench"].what == "check"
    kind = talk.state.asked["wrench"].id
    talk.say("1", who="wrench", role="mechanic")
    ranks = [t.event.rank for t in talk.state.answers if t.event.ask == kind]
    assert ranks == [4]


def test_why_names_what_speaks_for_the_likeliest_cause() -> None:
    talk = chat().talk("it rattles", "no knock", "Goat", "by foot", "all of them cling", "why")
    assert "For Drive nut working loose: All of them cling" in talk.said
    assert talk.asked == ("setting", "place")


def test_giving_up_is_priced_in_words_or_minutes() -> None:
    talk = chat().talk(*TO_THE_SEARCH, "giving up costs 900")
    assert talk.state.settings["giving_up"] == 900
    talk.say("giving up costs 2 hours")
    assert talk.state.settings["giving_up"] == 120


def test_what_was_said_is_in_the_entry() -> None:
    talk = chat().talk("it rattles", "no knock")
    event = talk.state.answers[0].event
    assert isinstance(event, Answered)
    assert (event.ask, event.value, event.rank, event.words) == ("knock", ("no",), 2, "no knock")


def test_two_people_answer_the_same_question_and_both_answers_are_kept() -> None:
    talk = chat().talk("it rattles")
    talk.say("hello", who="wrench", role="mechanic")
    asked = talk.state.asked["rider"].seq
    talk.say("no knock", who="wrench", role="mechanic")
    assert "Meanwhile the mechanic answered what you are asked: No knock" in talk.to("rider")
    talk.say("", press=f"{asked}:no")
    assert "Meanwhile the rider answered this too: No knock" in talk.to("wrench")
    assert [t.who for t in talk.state.answers] == ["wrench", "rider"]


def test_damage_of_another_kind_is_said_as_a_stop_and_the_same_look_good_again_lifts_it() -> None:
    talk = to_the_nut(chat().talk(*TO_THE_SEARCH))
    talk.say("bad, but something else")
    assert talk.messages[0].kind == "stop"
    talk.say("not sure")
    talk.talk("change nut")
    talk.say("it does not move")
    assert talk.stops == set()


def test_a_stop_may_name_the_looks_that_follow_it() -> None:
    from bot.core.flow import read
    from tests.rattle import RATTLE

    rules = {"big-knock": {**RATTLE["stop_rules"]["big-knock"], "second_look": "debris"}}
    remedies = {**RATTLE["remedies"], "refit-nut": {**RATTLE["remedies"]["refit-nut"]}}
    del remedies["refit-nut"]["second_look"]
    talk = Chat(read({**RATTLE, "stop_rules": rules, "remedies": remedies}))
    to_the_nut(talk.talk("it rattles", "it knocks", "Goat", "by foot", "garage", "4"))
    talk.talk("it moves", "none of these", "do it now", "I have it all", "done", "done", "yes")
    for _ in range(8):
        if talk.asked[0] in ("held", "second_look"):
            break
        talk.say({"check": "none of these", "point": "yes"}.get(talk.asked[0], "done"))
    talk.say("quiet")
    assert talk.asked == ("second_look", "debris")


def told_and_asked(opening: str = "feel") -> Chat:
    """A flow whose magnet may be told unasked, so that a later answer can contradict it."""
    from bot.core.flow import read
    from tests.rattle import RATTLE

    answers = {k: dict(v) for k, v in RATTLE["questions"]["magnet"]["answers"].items()}
    answers["all"]["told_as"] = ["it is magnetic"]
    magnet = {**RATTLE["questions"]["magnet"], "answers": answers}
    steel = {"label": "Steel", "shows": ["steel-bits"]}
    soft = {"label": "Soft", "denies": ["steel-bits"]}
    feel = {"kind": "one", "ask": "What are the bits?", "answers": {"steel": steel, "soft": soft}}
    questions = {**RATTLE["questions"], "magnet": magnet, "feel": feel}
    return Chat(read({**RATTLE, "questions": questions, "opening": [opening]}))


def test_own_words_about_the_open_question_alone_answer_it_without_a_confirmation() -> None:
    talk = told_and_asked("magnet").talk("it rattles", "no knock", "Goat", "by foot")
    assert talk.asked == ("question", "magnet")
    talk.say("I washed them and it is magnetic")
    told = talk.state.told("magnet")
    assert told is not None
    assert told.event.value == ("all",)
    assert talk.asked[0] != "confirm"


def test_a_contradiction_between_two_ranks_is_asked_about_once() -> None:
    talk = told_and_asked().talk(
        "it rattles and it is magnetic", "yes", "no knock", "Goat", "by foot", "soft"
    )
    assert talk.asked == ("which", "conflict")
    assert "Earlier you said: All of them cling. Now: Soft." in talk.said
    talk.talk("All of them cling")
    assert talk.asked == ("question", "feel")
    talk.talk("soft")
    assert talk.asked[0] != "which"
    assert [t.event.ask for t in talk.state.answers if t.event.rank == 2][-1] == "feel"


@pytest.mark.parametrize("said", ["3 h", "5 mm", "a pinch"])
def test_a_count_told_in_another_measure_is_asked_for_as_a_number(said: str) -> None:
    talk = Chat(read({**RATTLE, "opening": ["amount"]})).talk("it rattles", "no knock", "Goat", "by foot")
    talk.say(said)
    assert f"I need a count here, a plain number like 6; '{said}' is another kind of measure." in talk.said
    assert talk.asked == ("question", "amount")


def test_hours_told_in_another_measure_are_asked_for_by_name() -> None:
    talk = Chat(read({**RATTLE, "opening": ["meter"]})).talk("it rattles", "no knock", "Goat", "by foot")
    assert talk.asked == ("question", "meter")
    talk.say("3 mm")
    assert "I need that in hours; '3 mm' is another kind of measure." in talk.said


# --- a harmless cause that is only watched -------------------------------------------------------


def watched() -> Chat:
    """Some bits that no magnet takes, as ordinary fines; two looks to come, after 30 min and after 2 h."""
    diary = Diary().add(Opened(complaint="it rattles"))
    diary.add(FlowChosen(flow="rattle", hash=HASH, title="Something rattles"))
    diary.add(BikeTaken(bike="b1", nickname="Goat")).add(TraitTold(trait="starter", answer="kick"))
    diary.answer("knock", "no").answer("amount", "some").answer("magnet", "none")
    diary.add(WatchSet(plan="debris", index=0, for_remedy="", from_hours=None))
    asked = WasAsked(seat="rider", what="second_look", id="debris", extra=("0",))
    return Chat(FLOW, state=diary.add(asked).state)


SAME = ("1", "6 to 20", "none clings")


def test_a_look_that_comes_out_the_same_is_made_once_more() -> None:
    talk = watched().talk(*SAME)
    assert "wait" in talk.said
    assert talk.asked == ("second_look", "debris")
    assert talk.state.watch is not None
    assert talk.state.watch.index == 0


def test_the_same_at_every_look_ends_with_the_plan_and_says_how_to_go_on() -> None:
    """By hand: each of the two looks is made twice; after the fourth round another one tells nothing."""
    talk = watched()
    for index in (0, 0, 1, 1):
        assert talk.state.watch is not None
        assert talk.state.watch.index == index
        talk.talk(*SAME)
    assert talk.state.ended is not None
    assert talk.state.ended.how == "released"
    assert talk.asked[0] == "none"
    assert "another such look tells no more" in talk.said
    assert "write again" in talk.said


def test_what_grows_less_is_looked_at_again_however_often() -> None:
    talk = watched().talk(*SAME, "1", "5 or fewer", "none clings")
    assert talk.state.watch is not None
    assert talk.state.watch.index == 1
    talk.talk(*SAME)  # more than at the last look
    assert [r.why for _, r in talk.state.reopened] == ["more"]


def test_the_same_at_the_last_look_closes_nothing_under_a_stop() -> None:
    talk = watched()
    for _ in range(3):
        talk.talk(*SAME)
    talk.talk("change knock", "it knocks", "6 to 20")
    assert talk.stops == {"big-knock"}
    assert talk.state.ended is None


def test_who_is_not_understood_three_times_is_shown_a_way_out() -> None:
    chat = Chat(FLOW)
    chat.say("something rattles")
    told = ["\n".join(m.text for m in chat.say("asdf qwert").messages) for _ in range(3)]
    assert ["hand over" in text for text in told] == [False, False, True]


def test_a_mark_that_is_called_other_is_no_other_damage() -> None:
    """Only a look that offers 'bad, but something else' asks which part it is."""
    marks = {
        "other": {
            "label": "Another kind",
            "looks_like": "no label",
            "finds": [{"cause": "nut-loose", "catches": 0.5}],
        },
        "milky": {"label": "Milky", "looks_like": "grey", "finds": [{"cause": "nut-loose", "catches": 0.5}]},
    }
    look = {"kind": "several", "ask": "What is wrong with it?", "marks": marks,
            "none_of_these": {"label": "Nothing"}, "minutes": 1}  # fmt: skip
    flow = read({**RATTLE, "checks": {**RATTLE["checks"], "bottle": look}, "opening": ["bottle"]})
    chat = Chat(flow).talk("it rattles", "no knock", "Goat", "by foot")
    assert chat.state.asked["rider"].id == "bottle"
    chat.say("another kind")
    assert chat.state.asked["rider"].what != "which"
