"""Rider and mechanic at one case: whose word counts, what each is told of the other, in any order."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from bot.core import odds, plan, stops
from bot.core.desk import BikeCard, Desk
from bot.core.events import Answered, CauseConfirmed, Entry, RiderAsked, StopLifted
from bot.core.evidence import known_signs
from bot.core.findings import MECHANIC
from bot.core.history import history
from bot.core.messages import Message
from bot.core.reasons import suspects
from bot.core.state import State, fold
from bot.reports.text import summary
from tests.core.chat import HASH, Chat, card, wording
from tests.rattle import FLOW, Diary, opened

RIDER = ("it rattles", "no knock", "Goat", "by foot", "all of them cling", "garage", "4", "6 to 20")


def at_the_nut() -> Chat:
    """Both are asked to try the nut: the covers are off, each has the look open."""
    talk = Chat(FLOW).talk(*RIDER)
    while talk.asked[0] != "check" or talk.asked[1] != "nut":
        talk.say("done" if talk.asked[0] == "access" else "none of these")
    talk.hold().wrench("hello")
    while talk.asked_of_wrench != ("check", "nut"):
        talk.wrench("none of these")
    return talk


def standing_of(talk: Chat) -> str:
    return suspects(FLOW, talk.state)["nut-loose"].standing


# --- told of each other ------------------------------------------------------------------------


def test_each_is_told_what_the_other_found_when_it_answers_his_own_question() -> None:
    talk = at_the_nut()
    before = talk.state.asked["rider"]
    talk.wrench("it moves")
    assert talk.to("rider") == (
        "Meanwhile the mechanic answered what you are asked: It moves. "
        "Answer it too if you saw it yourself, else send: not sure"
    )
    assert talk.state.asked["rider"] == before
    talk.say("it moves")
    assert talk.to("wrench") == "Meanwhile the rider answered this too: It moves. Both are kept."
    assert [(t.who, t.event.rank) for t in talk.state.answers if t.event.ask == "nut"] == [
        ("wrench", 4),
        ("rider", 3),
    ]


def test_what_answers_another_question_is_not_told() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat").hold().wrench("hello", "by foot", "none clings")
    assert talk.to("rider") == ""


# --- contradictions ------------------------------------------------------------------------------


def test_a_mechanic_who_finds_otherwise_is_asked_once_and_his_look_counts() -> None:
    talk = at_the_nut()
    talk.say("it does not move")
    talk.wrench("it moves")
    assert talk.asked_of_wrench == ("which", "conflict")
    assert "Earlier the rider said: It does not move. You say: It moves. Which is right?" in talk.said
    talk.wrench("it moves")
    assert "The mechanic looked and says: It moves. So this no longer counts: It does not move." in talk.to(
        "rider"
    )
    assert standing_of(talk) == "found"
    talk.wrench("change nut to it does not move", "change nut to it moves")
    assert talk.asked_of_wrench != ("which", "conflict")


def test_a_mechanic_who_was_wrong_takes_back_his_own_word() -> None:
    talk = at_the_nut()
    talk.say("it does not move")
    talk.wrench("it moves", "it does not move")
    assert [t.who for t in talk.state.answers if t.event.ask == "nut"] == ["rider"]
    assert talk.to("rider") == ""


def test_a_rider_who_says_otherwise_is_asked_and_cannot_take_a_mechanics_look_away() -> None:
    talk = at_the_nut()
    talk.wrench("it moves")
    talk.say("it does not move")
    assert "Earlier the mechanic said: It moves. You say: It does not move. Which is right?" in talk.said
    talk.say("It does not move")
    assert "Both are kept. The look of the mechanic counts" in talk.said
    assert (
        "The rider says: It does not move. You found: It moves. Yours counts; please look again."
        in talk.to("wrench")
    )
    assert [t.event.value for t in talk.state.answers if t.event.ask == "nut"] == [("bad",), ("good",)]
    assert standing_of(talk) == "found"


def test_of_a_question_from_memory_the_newest_word_counts_until_one_is_taken_back() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat", "by foot").hold().wrench("hello", "none clings")
    talk.say("all of them cling")
    assert talk.asked == ("which", "conflict")
    talk.say("all of them cling")
    assert [(t.who, t.event.value) for t in talk.state.answers if t.event.ask == "magnet"] == [
        ("rider", ("all",))
    ]
    assert "The rider looked and says: All of them cling." in talk.to("wrench")


def test_two_riders_of_one_bike_are_not_asked_who_is_right() -> None:
    talk = Chat(FLOW).talk("it rattles", "no knock", "Goat", "by foot")
    talk.say("hello", who="mate")
    talk.say("none clings", who="mate")
    talk.say("all of them cling")
    assert talk.asked[0] != "which"


# --- the order of the voices ---------------------------------------------------------------------


def voices(order: str) -> Diary:
    """The same sign from every rank, in this order: b(ook), t(old), a(sked), l(ooked), m(echanic's look)."""
    diary = opened()
    for letter in order:
        rank = "btalm".index(letter)
        diary.by("mechanic" if letter == "m" else "rider")
        if rank < 3:
            diary.answer("magnet", "none", rank=rank)
        else:
            diary.answer("nut", "good" if letter == "l" else "bad", rank=rank)
    return diary


@given(st.permutations("btalm"))
def test_a_mechanics_look_counts_more_than_a_riders_in_any_order(order: list[str]) -> None:
    known = known_signs(FLOW, history(FLOW, voices("".join(order)).state))
    assert known["nut.bad"].value is True
    assert not known["steel-bits"].value


@given(st.permutations("btal"), st.sampled_from("btal"))
def test_of_one_question_the_better_word_counts_in_any_order(order: list[str], steel: str) -> None:
    """One of the four says that they cling: that counts just where it is the best word of all."""
    diary = opened()
    for letter in order:
        diary.answer("magnet", "all" if letter == steel else "none", rank="btal".index(letter))
    known = known_signs(FLOW, history(FLOW, diary.state))
    assert known["steel-bits"].value is (steel == "l")


# --- any words in any order ----------------------------------------------------------------------

PRIVATE = 1234.0  # minutes that giving up would cost the rider
SECRETS = ("1234", "1 234", "On the trail", "Hardly any", "Half an hour")
WORDS = wording()
FREE = (
    "note: chain is new", "where are we", "why", "summary", "order list", "what is ruled out", "hello",
    "what can I say", "the seat is torn", "back",
)  # fmt: skip


class Both(Chat):
    """A rider on the trail with limits of his own, and a mechanic who holds the case; the real sheet."""

    def desk(self) -> Desk:
        desk = Desk(
            WORDS,
            (card(FLOW),),
            {HASH: FLOW},
            lambda *_: "",
            self.bikes,
            {"giving_up": PRIVATE, "kit": "bare"},
        )
        return replace(desk, summary=lambda flow, state, now: summary(flow, state, now, desk=desk))

    def turn(self, who: str, pick: int, free: int) -> None:
        """One answer on offer, or a few free words."""
        shown = self.offered.get(who)
        asked = self.state.asked.get(who)
        answers = [c for c in shown.choices if not c.control] if shown else []
        press = (
            f"{asked.seq}:{answers[pick % len(answers)].press}"
            if asked and answers and free >= len(FREE)
            else ""
        )
        text = "" if press else FREE[free % len(FREE)]
        self.say(text, who=who, role="mechanic" if who == "wrench" else "rider", press=press)
        for message in self.messages:
            if message.choices:
                self.offered[message.to or who] = message

    @property
    def offered(self) -> dict[str, Message]:
        return self.__dict__.setdefault("shown", {})


def both() -> Both:
    talk = Both(FLOW, bikes=(BikeCard("b1", "Goat", {"starter": "kick"}, 43),))
    talk.talk("it rattles", "no knock", "goat", "all of them cling", "trail", "none", "half an hour", "yes")
    talk.hold()
    talk.turn("wrench", 0, FREE.index("hello"))
    talk.turn("rider", 0, FREE.index("hello"))
    return talk


TURNS = st.lists(
    st.tuples(st.sampled_from(["rider", "wrench"]), st.integers(0, 5), st.integers(0, 3 * len(FREE))),
    max_size=14,
)


@settings(max_examples=60, deadline=None)
@given(TURNS)
def test_two_speakers_in_any_order_keep_each_his_own_question_and_the_riders_secrets(
    turns: list[tuple[str, int, int]],
) -> None:
    """Saved and restored between turns (see `Chat.say`)."""
    talk = both()
    for who, pick, free in turns:
        other = "rider" if who == "wrench" else "wrench"
        before = talk.state.asked[other]
        talk.turn(who, pick, free)
        after = talk.state.asked[other]
        assert after == before or who == "wrench"  # only what a mechanic leads to is put to the rider
        assert after == before or before.what in (
            "none",
            "hand_over",
            "park",
            "cure",
            "proof",
            "held",
            "second_look",
        )
        for message in talk.messages:
            if message.to == "wrench" or (who == "wrench" and not message.to):
                text = "\n".join([message.text, message.more, *(c.label for c in message.choices)])
                assert not [secret for secret in SECRETS if secret in text]


ANY_WORDS = (
    "hello", "note: x y", "note", "ask rider: why?", "ask rider", "answer: yes", "answer", "lift the stop",
    "lift the stop: looked, fine", "cause", "cause is the nut", "it was the drive nut", "none of these",
    "not this one", "saw it", "judged", "repaired", "repaired: drive nut, parts 24 EUR",
    "repaired: something odd",
    "close", "not found", "something else", "do not close it", "drive nut", "vin 1M8GDM9AXKP042788", "vin ok",
    "back", "it is back", "hand over", "start over", "later", "done", "yes", "no", "not sure",
    "can't do that here", "where are we", "why", "summary", "change", "1", "2", "10", "I ran it anyway",
    "pressed the wrong one", "more", "gone", "thanks", "it knocks", "it moves", "6 to 20", "", "...", "book",
    "2 is wrong", "fixed: nut", "the seat is torn",
)  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["rider", "wrench"]), st.sampled_from(ANY_WORDS)), max_size=20))
def test_whatever_two_people_say_each_is_answered_and_nobody_lifts_what_he_may_not(
    said: list[tuple[str, str]],
) -> None:
    talk = both()
    for who, text in said:
        before = talk.state
        talk.say(text, who=who, role="mechanic" if who == "wrench" else "rider")
        assert [m for m in talk.messages if not m.to], text
        assert all(m.text.strip() for m in talk.messages)
        fresh = talk.state.entries[len(before.entries) :]
        by_word = [e.who for e in fresh if isinstance(e.event, StopLifted) and e.event.by == "mechanic"]
        assert set(by_word) <= {"wrench"}
        assert not [e for e in fresh if isinstance(e.event, CauseConfirmed | RiderAsked) and e.who == "rider"]


def test_a_step_of_work_that_the_other_one_has_ended_meanwhile_moves_nothing() -> None:
    talk = Chat(FLOW).talk(*RIDER).hold().wrench("hello", "cause is the nut", "seen")
    while talk.asked_of_wrench[0] != "remedy":
        talk.wrench("done" if talk.asked_of_wrench[0] == "access" else "not sure")
    talk.wrench("do it now", "I have it all")
    assert talk.asked_of_wrench[0] == "step"
    talk.talk("start over", "it is back")
    assert talk.state.work is None
    talk.wrench("done")
    assert "That work is no longer in hand." in talk.said


def test_who_begins_anew_tells_the_mechanic_and_his_next_press_is_answered() -> None:
    talk = Chat(FLOW).talk(*RIDER).hold().wrench("hello")
    asked, choice = talk.state.asked["wrench"].seq, talk.messages[-1].choices[0].press
    talk.say("start over")
    assert "The rider has begun anew." in talk.to("wrench")
    talk.say("", who="wrench", role="mechanic", press=f"{asked}:{choice}")
    assert talk.said


def findings(state: State) -> list[Entry]:
    return [e for e in state.entries if isinstance(e.event, Answered) and e.seq not in state.withdrawn]


def interleaved(entries: list[Entry], first: str) -> State:
    """The same findings with one person's before the other's, each in his own order."""
    ordered = sorted(entries, key=lambda e: e.who != first)
    return fold(replace(e, seq=n) for n, e in enumerate(ordered, 1))


def equal_words_differ(state: State) -> bool:
    """Whether rider and mechanic said the opposite at one rank: there the newest counts, by the rule."""
    told = [(t.who, t.event.rank, dict(stops.told(FLOW, t.event)), t.event) for t in state.answers]
    for who, rank, said, event in told:
        for other, other_rank, others, other_event in told:
            same_question = event.ask == other_event.ask and event.value != other_event.value
            opposite = any(said[sign] is not value for sign, value in others.items() if sign in said)
            if who != other and rank == other_rank and (opposite or same_question):
                return True
    return False


@settings(max_examples=60, deadline=None)
@given(TURNS)
def test_what_was_found_does_not_depend_on_whose_turn_came_first(turns: list[tuple[str, int, int]]) -> None:
    """Within a slice: known signs and beliefs are the same with all of the rider's words first, or last."""
    talk = both()
    for who, pick, free in turns:
        talk.turn(who, pick, free)
        if talk.state.mended or talk.state.round:
            return
    entries = findings(talk.state)
    rider, wrench = (interleaved(entries, first) for first in ("rider", "wrench"))
    if equal_words_differ(rider):
        return
    values = [
        {sign: k.value for sign, k in known_signs(FLOW, history(FLOW, s)).items()} for s in (rider, wrench)
    ]
    assert values[0] == values[1]
    beliefs = [plan.beliefs(FLOW, s) for s in (rider, wrench)]
    for cause in FLOW.causes:
        assert abs(beliefs[0].of(cause) - beliefs[1].of(cause)) < 1e-12
    rules = [{rule for rule, _ in stops.newly_true(FLOW, s)} for s in (rider, wrench)]
    assert rules[0] == rules[1]


def test_a_mechanics_look_is_a_mechanics_in_the_record_whoever_asks() -> None:
    talk = at_the_nut().wrench("it moves")
    [entry] = [e for e in talk.state.entries if isinstance(e.event, Answered) and e.event.ask == "nut"]
    assert (entry.role, entry.event.rank) == ("mechanic", MECHANIC)
    assert odds.posterior(FLOW, {}, history(FLOW, talk.state)).of("nut-loose") > 0.9
