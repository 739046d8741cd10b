"""Who may see what, however people share, open, take back, hand back and let time pass: held against a model.

The model knows people, cases, codes and times only; it shares no code with the bot. What each mechanic was
shown is searched for words that stand in one case alone.
"""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from bot import turn
from tests.workshop import Talker, opened

RIDERS = {"Robin": "zyxalpha", "Zoe": "zyxbravo", "Ann": "zyxcharlie"}
MECHANICS = ("Max", "Mo")
EVERYBODY = (*MECHANICS, *RIDERS)


@dataclass
class Given:
    """A code as the model knows it."""

    code: str
    case: str  # whose
    until: datetime
    dead: bool = False  # used or taken back


class Sharing(RuleBasedStateMachine):
    """Three riders with a case each; two mechanics; riders may be each other's mechanics too."""

    @initialize()
    def begin(self) -> None:
        self.stack = ExitStack()
        folder = self.stack.enter_context(tempfile.TemporaryDirectory())
        self.shop = self.stack.enter_context(opened(Path(folder) / "record.db"))
        self.people: dict[str, Talker] = {}
        self.cases: dict[str, int] = {}
        for n, (name, word) in enumerate(RIDERS.items()):
            rider = self.shop.rider(name, f"Bike{n}", f"something rattles {word}")
            self.people[name] = rider
            self.cases[name] = rider.case or 0
        for name in MECHANICS:
            self.people[name] = self.shop.person(name)
            self.people[name].say("hello")
        self.codes: list[Given] = []
        self.holds: set[tuple[str, str]] = set()  # mechanic, whose case
        self.saw: dict[str, set[str]] = {name: set() for name in EVERYBODY}  # by mechanic: whose case, ever
        self.wrong: list[tuple[str, datetime]] = []

    def teardown(self) -> None:
        if hasattr(self, "stack"):
            self.stack.close()

    # --- what people do ------------------------------------------------------------------------

    @rule(who=st.sampled_from(sorted(RIDERS)))
    def share(self, who: str) -> None:
        """A rider is at home when he shares: what he says goes to his own case."""
        self._home(who)
        code = self.people[who].share()
        assert code not in {given.code for given in self.codes}
        self.codes.append(Given(code, who, self.shop.clock.now + timedelta(days=7)))

    def _home(self, who: str) -> None:
        if self.people[who].case != self.cases[who]:
            self.people[who].say("my own case")
            assert self.people[who].case == self.cases[who]

    @rule(whose=st.sampled_from(sorted(RIDERS)), who=st.sampled_from(EVERYBODY))
    def share_with(self, whose: str, who: str) -> None:
        self.share(whose)
        self._open(who, self.codes[-1])

    @precondition(lambda self: self.holds)
    @rule(data=st.data())
    def take_back_what_is_held(self, data: st.DataObject) -> None:
        mechanic, whose = data.draw(st.sampled_from(sorted(self.holds)))
        self.take_back(whose)
        self.talk(mechanic, "again")

    @precondition(lambda self: self.codes)
    @rule(who=st.sampled_from(EVERYBODY), data=st.data())
    def open(self, who: str, data: st.DataObject) -> None:
        self._open(who, data.draw(st.sampled_from(self.codes)))

    def _open(self, who: str, given: Given) -> None:
        before = self.people[who].case
        told = self.people[who].hears(f"open {given.code}")
        now = self.shop.clock.now
        if self._is_tired(who, now):
            assert "Try again in" in told
        elif given.dead or now >= given.until:
            assert "That code opens nothing" in told
            self.wrong.append((who, now))
        elif given.case == who:
            assert "your own case" in told
        elif (who, given.case) in self.holds:
            assert "You hold that case already" in told
        else:
            given.dead = True
            self.holds.add((who, given.case))
            self.saw[who].add(given.case)
            assert self.people[who].case == self.cases[given.case]
            return
        assert self.people[who].case == before

    def _is_tired(self, who: str, now: datetime) -> bool:
        """Five wrong codes of his own in ten minutes, or fifty of everybody in an hour."""
        own = [at for name, at in self.wrong if name == who and now - at < timedelta(minutes=10)]
        every = [at for _, at in self.wrong if now - at < timedelta(hours=1)]
        return len(own) >= 5 or len(every) >= 50

    @rule(who=st.sampled_from(EVERYBODY), n=st.integers(0, 9))
    def guess(self, who: str, n: int) -> None:
        told = self.people[who].hears(f"open ZZZZ-ZZ{n % 8 + 2}{n % 7 + 2}")
        if self._is_tired(who, self.shop.clock.now):
            assert "Try again in" in told
        else:
            assert "That code opens nothing" in told
            self.wrong.append((who, self.shop.clock.now))

    @rule(who=st.sampled_from(sorted(RIDERS)))
    def take_back(self, who: str) -> None:
        """While what his mechanics have just asked for is on its way to them."""
        self._home(who)
        for mechanic in [name for name, whose in sorted(self.holds) if whose == who]:
            self.people[mechanic].say("summary", shown=False)
        self.people[who].say("take it back")
        for given in self.codes:
            given.dead |= given.case == who
        self._end(*((mechanic, whose) for mechanic, whose in self.holds if whose == who))

    @rule(who=st.sampled_from(sorted(RIDERS)), mechanic=st.sampled_from(EVERYBODY))
    def take_back_from_one(self, who: str, mechanic: str) -> None:
        self._home(who)
        self.people[who].say(f"take it back from {mechanic}")
        self._end((mechanic, who))

    @rule(who=st.sampled_from(EVERYBODY))
    def hand_back(self, who: str) -> None:
        person = self.people[who]
        here = next((name for name, case in self.cases.items() if case == person.case), "")
        person.read()
        self.nobody_was_shown_what_he_may_not_see()
        person.say("hand it back, the part is on order")
        self._end((who, here))

    def _end(self, *holds: tuple[str, str]) -> None:
        """What a mechanic was shown till now he was to see; what waits for him now is read later."""
        for mechanic, whose in holds:
            self.holds.discard((mechanic, whose))
            self.people[mechanic].seen.clear()

    @rule(who=st.sampled_from(EVERYBODY), n=st.integers(1, 4))
    def go_to(self, who: str, n: int) -> None:
        self.people[who].say(f"case {n}")

    @rule(
        who=st.sampled_from(EVERYBODY),
        text=st.sampled_from(
            ["summary", "whole sheet", "where are we", "again", "1", "bench", "bench zyx", "share",
             "who has it", "change", "book", "my own case", "order list", "start", "all"]
        ),
    )  # fmt: skip
    def talk(self, who: str, text: str) -> None:
        before = self.people[who].case
        said = self.people[who].say(text)
        for message in said:
            if message.kind == "secret":  # of the case that he was in, so that is his own
                assert before is not None
                assert self.shop.store.case(before).person == self.people[who].id
                code = message.text.split("open ")[1].split("\n")[0]
                if before == self.cases.get(who):
                    self.codes.append(Given(code, who, self.shop.clock.now + timedelta(days=7)))

    @rule(who=st.sampled_from(EVERYBODY), text=st.sampled_from(["summary", "whole sheet", "bench"]))
    def ask_and_look_later(self, who: str, text: str) -> None:
        self.people[who].say(text, shown=False)

    @rule(who=st.sampled_from(EVERYBODY), seq=st.integers(0, 60))
    def press(self, who: str, seq: int) -> None:
        self.people[who].say("", press=f"{seq}:control:summary")

    @rule(hours=st.sampled_from([1 / 60, 1 / 6, 1.0, 24.0, 24.0 * 7]))
    def wait(self, hours: float) -> None:
        self.shop.clock.on(hours=hours)

    # --- what must hold --------------------------------------------------------------------------

    @invariant()
    def each_sees_what_is_his(self) -> None:
        if not hasattr(self, "holds"):
            return
        store = self.shop.store
        for name, person in self.people.items():
            for whose, case in self.cases.items():
                allowed = whose == name or (name, whose) in self.holds
                assert store.may_see(case, person.id) == allowed
                assert (name in store.state(case).holders) == ((name, whose) in self.holds)
            assert {held.case for held in store.held_by(person.id)} == {
                self.cases[whose] for mechanic, whose in self.holds if mechanic == name
            }
            here = person.case
            assert here is None or store.may_see(here, person.id)

    @invariant()
    def nobody_was_shown_what_he_may_not_see(self) -> None:
        if not hasattr(self, "holds"):
            return
        for name, person in self.people.items():
            told = "\n".join(person.seen).casefold()
            for whose, word in RIDERS.items():
                if whose != name and (name, whose) not in self.holds:
                    assert word not in told, f"{name} was shown {whose}'s case"

    @invariant()
    def codes_are_counted_and_kept_nowhere(self) -> None:
        if not hasattr(self, "holds"):
            return
        store, now = self.shop.store, self.shop.clock.now
        for whose, case in self.cases.items():
            live = [g for g in self.codes if g.case == whose and not g.dead and now < g.until]
            assert len(store.unused_codes(case, turn.stamp(now))) == len(live)
        kept = "\n".join(
            str(row["told"])
            for row in store.rows(
                "select heard as told from inbox union all select payload from outbox"
                " union all select event from entries union all select desk from turns"
                " union all select data from jobs"
            )
        )
        assert not [given.code for given in self.codes if given.code in kept]


TestSharing = Sharing.TestCase
TestSharing.settings = settings(
    max_examples=settings().max_examples // 4, stateful_step_count=30
)  # a life is slow
