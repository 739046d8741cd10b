"""Whatever happens to the record, in any order, it holds what a plain list in memory holds."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from bot import turn
from bot.record.store import Store
from tests.record.small_talk import NINE, begins_new, heard_texts, receive

PEOPLE = st.sampled_from(["ann", "ben"])
WORDS = st.sampled_from(
    ["metal", "all", "bike Blue", "hours 4-6", "yes", "", "🛢 <b>'; drop table entries", "end"]
)


class AnyOrder(RuleBasedStateMachine):
    """The model: messages accepted and not taken, texts by person and case, numbers sent."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.store = Store(self.folder / "record.db")
        self.number = 0
        self.waiting: list[tuple[int, str, str]] = []
        self.taken: dict[str, list[list[str]]] = {"ann": [], "ben": []}
        self.unsent: list[int] = []

    @rule(who=PEOPLE, text=WORDS)
    def accept(self, who: str, text: str) -> None:
        self.number += 1
        inbox = self._accept(who, self.number, text)
        assert inbox is not None
        self.waiting.append((inbox, who, text))

    def _accept(self, who: str, number: int, text: str) -> int | None:
        return turn.accept(self.store, "terminal", who, who, f"m{number}", turn.Heard(text=text), NINE)

    @rule(who=PEOPLE, text=WORDS)
    def accept_the_newest_again(self, who: str, text: str) -> None:
        """The network repeats itself; only number and chat tell a repeat, as the text may differ."""
        if self.waiting and self.waiting[-1][1] == who:
            assert self._accept(who, self.number, text) is None

    @rule()
    def take_the_oldest(self) -> None:
        if self.waiting:
            inbox, who, text = self.waiting.pop(0)
            said = turn.take(self.store, inbox, NINE, receive, begins_new)
            self._note(who, text, said)
            assert turn.take(self.store, inbox, NINE, receive, begins_new) == said

    def _note(self, who: str, text: str, said: tuple[turn.Outgoing, ...]) -> None:
        cases = self.taken[who]
        if not cases or cases[-1][-1] == "end":
            cases.append([])
        opening = not cases[-1]
        cases[-1].append(text)
        assert said or text == ""
        assert all(out.person == who for out in said)
        self.unsent += [out.id for out in said]
        if opening and text == "metal":
            assert [out.message.text for out in said] == ["magnet?"]

    @rule()
    def finish(self) -> None:
        turn.finish(self.store, NINE, receive, begins_new)
        for inbox, who, text in self.waiting:
            self._note(who, text, self.store.unsent(inbox))
        self.waiting = []

    @rule()
    def send_the_first_due(self) -> None:
        due = turn.due(self.store, NINE)
        if due:
            turn.sent(self.store, due[0].id, NINE)
            self.unsent.remove(due[0].id)

    @rule()
    def start_again(self) -> None:
        self.store.close()
        self.store = Store(self.folder / "record.db")

    @invariant()
    def the_record_holds_what_the_lists_hold(self) -> None:
        for who, cases in self.taken.items():
            person = self.store.known_as("terminal", who)
            lines = self.store.cases_of(person.id) if person else ()
            assert [heard_texts(self.store, line.id) for line in reversed(lines)] == cases
        assert sorted(out.id for out in turn.due(self.store, NINE)) == sorted(self.unsent)
        assert self.store.waiting() == [inbox for inbox, _, _ in self.waiting]

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.store.close()
            shutil.rmtree(self.folder)


TestAnyOrder = AnyOrder.TestCase
TestAnyOrder.settings = settings(max_examples=25, stateful_step_count=20, deadline=None, derandomize=True)
