"""The talk under any order of answers, slips, babble and presses, against a small model of its own.

The model knows three things: which of the rider's answers still count and what was asked when he gave
them, which stops must stand, and which caution belongs to which step. It never asks the talk for them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from bot.core.desk import BikeCard, Desk
from bot.core.messages import Choice
from tests.core.chat import HASH, Chat, card, wording
from tests.rattle import FLOW, RATTLE

Step = tuple[str, str]
BABBLE = "zzkx qwrt plugh mnopq wxyz vvv"  # longer than a bike's name may be, and like no answer
INFORMING = (
    "where are we",
    "why",
    "summary",
    "order list",
    "help",
    "hello",
    "what is ruled out",
)
CAUTIONS: dict[Step, str] = {
    ("access", "oil-out"): "Hot oil burns",
    ("shut", "oil-out"): "Hot oil burns",
    ("check", "nut"): "Fingers clear of gears",
}
IDS = {
    name
    for part in ("signs", "checks", "access", "causes", "remedies", "stop_rules", "cautions", "traits")
    for name in RATTLE[part]
    if "-" in name
} | {"damage-seen", "thread-oily", "a-few"}  # fmt: skip
SHOWN_ID = re.compile(rf"(?<![\w-])({'|'.join(sorted(IDS))})(?![\w-])")


WORDS = wording()


class QuickChat(Chat):
    """A talk that does not read the wording anew with each turn."""

    def desk(self) -> Desk:
        return Desk(WORDS, (card(FLOW),), {HASH: FLOW}, lambda *_: "the summary", self.bikes)


@dataclass
class Given:
    """An answer of the rider's: what was asked, and the stops that it lifted."""

    asked: Step
    lifts: set[str] = field(default_factory=set)


def raised_by(asked: Step, answer: str) -> set[str]:
    """The stops that this answer raises, by the invented flow as its author wrote it."""
    if asked == ("question", "knock") and answer == "yes":
        return {"big-knock"}
    return {"damage-seen"} if asked[0] == "check" and answer == "other" else set()


def lifted_by(asked: Step, answer: str) -> set[str]:
    """The stops that this answer may lift: a good look, or the last point of the refitted nut."""
    if asked == ("check", "nut") and answer == "good":
        return {"big-knock", "damage-seen"}
    if asked == ("check", "inside") and answer == "none":
        return {"damage-seen"}
    return {"big-knock"} if asked == ("point", "refit-nut/tab") and answer in ("yes", "unsure") else set()


class TalkMachine(RuleBasedStateMachine):
    """A rider with a known bike, and a mate who answers too."""

    def __init__(self) -> None:
        super().__init__()
        self.chat = QuickChat(FLOW, bikes=(BikeCard("b1", "Goat", {}, 43),))
        self.given: list[Given] = []
        self.standing: set[str] = set()
        self.ended_once = False

    # --- the model ----------------------------------------------------------------------------

    def count(self, asked: Step, answer: str) -> None:
        """The rider's answer counts from now on."""
        lifts = lifted_by(asked, answer) & self.standing
        self.standing = (self.standing - lifts) | raised_by(asked, answer)
        self.given.append(Given(asked, lifts))

    def snapshot(self) -> tuple[object, ...]:
        s = self.chat.state
        told = tuple((t.event.ask, t.event.value) for t in s.answers)
        return (self.chat.asked, told, s.traits, s.skipped, s.open, s.mended, s.work, s.bike, s.stops)

    def offered(self, who: str = "rider") -> list[Choice]:
        """The answers under the open question, as its own message showed them last."""
        self.chat.say("hello", who=who)
        shown = [m for m in self.chat.messages if m.choices and m.to in ("", who)]
        return [c for c in shown[-1].choices if not c.control] if shown else []

    @property
    def open(self) -> bool:
        return self.chat.state.ended is None

    # --- answers ------------------------------------------------------------------------------

    @initialize()
    def complain(self) -> None:
        self.chat.say("it rattles since Sunday")
        assert self.chat.asked == ("question", "knock")

    @precondition(lambda self: self.open)
    @rule(data=st.data(), how=st.sampled_from(["press", "label", "number"]))
    def answer(self, data: st.DataObject, how: str) -> None:
        """One of the answers on offer, by button, in words, or by its number where it stands for one."""
        choices = self.offered()
        asked = self.chat.asked
        if not choices:
            self.chat.say("30 h")
            self.count(asked, "30 h")
            return
        choice = data.draw(st.sampled_from(choices))
        if how == "press":
            self.chat.say(press=f"{self.chat.state.asked['rider'].seq}:{choice.press}")
        else:
            numbered = how == "number" and asked != ("question", "amount")  # there a number is an amount
            self.chat.say(str(choice.n) if numbered else choice.label)
        assert "not an answer" not in self.chat.said
        if asked[0] not in ("which", "confirm"):
            self.count(asked, choice.press)

    @precondition(lambda self: self.open)
    @rule(data=st.data())
    def press_twice(self, data: st.DataObject) -> None:
        """The second press of one button moves nothing."""
        choices = self.offered()
        if not choices or self.chat.asked[0] in ("which", "confirm"):
            return
        asked, choice = self.chat.asked, data.draw(st.sampled_from(choices))
        press = f"{self.chat.state.asked['rider'].seq}:{choice.press}"
        self.chat.say(press=press)
        self.count(asked, choice.press)
        before = self.snapshot()
        self.chat.say(press=press)
        assert self.snapshot() == before

    @precondition(lambda self: self.open)
    @rule()
    def not_sure(self) -> None:
        asked, before = self.chat.asked, self.snapshot()
        self.chat.say("not sure")
        if asked[0] in ("question", "check", "trait", "setting", "point", "after_work", "held"):
            self.count(asked, "unsure")
        elif asked[0] != "which":
            assert self.snapshot() == before

    @precondition(lambda self: self.open and self.chat.asked[0] in ("question", "check", "access", "remedy"))
    @rule()
    def cannot_here(self) -> None:
        asked = self.chat.asked
        self.chat.say("can't do that here")
        self.count(asked, "cant")
        assert self.chat.asked != asked

    @precondition(lambda self: self.open)
    @rule()
    def go_back(self) -> None:
        """Exactly what was asked before comes again; a stop stays, and one that was lifted stands anew."""
        if not self.given:
            before = self.snapshot()
            self.chat.say("back")
            assert self.ended_once or self.snapshot() == before
            return
        last = self.given.pop()
        self.chat.say("back")
        self.standing |= last.lifts
        assert self.chat.asked == last.asked

    # --- what is no answer --------------------------------------------------------------------

    @precondition(lambda self: self.open)
    @rule(what=st.sampled_from(["babble", "empty", "dots", "photo", "stale", *INFORMING]))
    def say_what_is_no_answer(self, what: str) -> None:
        """It is answered, and moves nothing."""
        before = self.snapshot()
        if what == "photo":
            self.chat.say(file="ab" * 32, file_kind="photo")
        elif what == "stale":
            self.chat.say(press="1:yes")
        else:
            self.chat.say({"babble": BABBLE, "empty": "", "dots": "..."}.get(what, what))
        assert self.snapshot() == before

    @precondition(lambda self: self.open)
    @rule(data=st.data())
    def mate_answers(self, data: st.DataObject) -> None:
        """Another person answers at a seat of his own; the rider's question stays open."""
        mine = self.chat.asked
        choices = self.offered("mate")
        asked = self.chat.state.asked["mate"]
        if not choices or asked.what not in ("question", "check", "trait"):
            return
        choice = data.draw(st.sampled_from(choices))
        self.chat.say(who="mate", press=f"{asked.seq}:{choice.press}")
        step = (asked.what, asked.id)
        self.standing = (self.standing - lifted_by(step, choice.press)) | raised_by(step, choice.press)
        assert self.chat.asked == mine

    @precondition(lambda self: not self.open)
    @rule(words=st.sampled_from(["hello", "it rattles again", BABBLE, "where are we"]))
    def speak_after_the_end(self, words: str) -> None:
        """A closed case answers, and may open again; how far 'back' then goes is not followed."""
        self.chat.say(words)
        self.given.clear()
        self.ended_once = True

    # --- what always holds --------------------------------------------------------------------

    @invariant()
    def every_message_is_answered(self) -> None:
        assert not self.chat.state.entries or self.chat.messages
        assert all(m.text.strip() for m in self.chat.messages)

    @invariant()
    def it_is_never_stuck(self) -> None:
        assert not self.chat.state.entries or not self.open or self.chat.asked[0] != "none"

    @invariant()
    def the_stops_of_the_model_stand(self) -> None:
        assert self.standing <= self.chat.stops

    @invariant()
    def a_step_is_never_shown_without_its_caution(self) -> None:
        wanted = CAUTIONS.get(self.chat.asked)
        asked = [m for m in self.chat.messages if m.choices and m.kind in ("question", "step")]
        if wanted and asked and self.chat.state.entries[-1].who == "rider":
            assert wanted in asked[-1].text

    @invariant()
    def no_id_is_shown(self) -> None:
        for message in self.chat.messages:
            labels = [text for c in message.choices for text in (c.label, c.short)]
            for text in (message.text, message.short, message.more, *labels):
                assert not SHOWN_ID.search(text), text


def test_the_talk_holds_against_its_model() -> None:
    run_state_machine_as_test(TalkMachine, settings=settings(max_examples=60, stateful_step_count=20))


def test_a_known_bike_is_chosen_by_its_number_or_its_name() -> None:
    bikes = (BikeCard("b1", "Goat", {}, 43), BikeCard("b2", "Mule", {}, 7))
    for said, bike in (("2", "b2"), ("mule", "b2"), ("1.", "b1"), ("3", ""), ("Third One", "")):
        talk = Chat(FLOW, bikes=bikes).talk("it rattles", "no knock", said)
        assert talk.state.bike == bike
