"""Who sees which case, however numbers are joined, given back, silent and guessed at: held against a model.

The model knows people as the words and bikes that are theirs, numbers, codes and times; it shares no code
with the bot. What is shown at each place is searched for words that stand in one case alone.
"""

from __future__ import annotations

import re
import tempfile
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from bot import turn
from tests.workshop import Talker, opened

NUMBERS = ("+15550101", "+15550102")
ACCOUNTS = ("robin", "zoe", "max")
PLACES = (*NUMBERS, *ACCOUNTS)
WORDS = (
    "again", "summary", "where are we", "bench", "my own case", "case 1", "1", "whole sheet", "who has it",
    "All of them cling", "erase me", "new",
)  # fmt: skip
HALF_A_YEAR = timedelta(days=182)


@dataclass(eq=False)
class Someone:
    """A person as the model knows him."""

    words: set[str] = field(default_factory=set)  # of his own cases
    bikes: list[str] = field(default_factory=list)
    holds: set[str] = field(default_factory=set)  # words of cases that he holds
    wrong: list[datetime] = field(default_factory=list)  # codes that opened nothing


@dataclass
class Code:
    code: str
    number: str
    whose: Someone
    until: datetime
    dead: bool = False


@dataclass
class Line:
    """A number: since when it is silent, whether it is asked whose it is, and how often it was wrong."""

    last: datetime | None = None
    asked: bool = False
    tries: int = 0
    codes: list[datetime] = field(default_factory=list)


class Linking(RuleBasedStateMachine):
    """Two numbers and three accounts; whoever has an account may be a mechanic too."""

    @initialize()
    def begin(self) -> None:
        self.stack = ExitStack()
        folder = self.stack.enter_context(tempfile.TemporaryDirectory())
        self.shop = self.stack.enter_context(opened(Path(folder) / "record.db"))
        self.talkers = {
            place: Talker(self.shop.store, place, self.shop.clock,
                          channel="sms" if place in NUMBERS else "telegram")
            for place in PLACES
        }  # fmt: skip
        self.who = {place: Someone() for place in PLACES}
        self.lines = {number: Line() for number in NUMBERS}
        self.codes: list[Code] = []
        self.made = 0
        self.once: set[str] = set()  # places from which something was ever said
        for place in (NUMBERS[0], "robin", "zoe"):
            self.begin_a_case(place)

    def teardown(self) -> None:
        if hasattr(self, "stack"):
            for line in self.shop.store.all_cases():
                assert turn.replay(self.shop.store, line.id) is None
            self.stack.close()

    # --- saying something ------------------------------------------------------------------------

    def _say(self, place: str, text: str) -> tuple[str, bool]:
        """What is shown for it, and whether it went past the question whose the number is."""
        told = self.talkers[place].hears(text)
        self.once.add(place)
        past = self._gate(place, text, told) if place in NUMBERS else True
        self._is_only_his(place, told)
        return told, past

    def _gate(self, number: str, text: str, told: str) -> bool:
        line, now, here = self.lines[number], self.shop.clock.now, self.who[number]
        silent = line.last is not None and now - line.last >= HALF_A_YEAR
        line.last = now
        if line.asked:
            return self._answer(number, text, told)
        if not silent:
            return True
        if not here.bikes:
            self._becomes_new(number)
            return True
        line.asked, line.tries = True, 0
        assert "This number was silent for half a year." in told
        return False

    def _answer(self, number: str, text: str, told: str) -> bool:
        line, here = self.lines[number], self.who[number]
        if text.casefold() in [bike.casefold() for bike in here.bikes]:
            line.asked = False
            return False  # what was said first goes on, not this
        line.tries += 1
        if text == "new" or line.tries == 3:
            assert "Then we begin from nothing." in told
            self._becomes_new(number)
        else:
            assert "I know no bike of that name." in told
        return False

    def _becomes_new(self, number: str) -> None:
        for code in self.codes:
            code.dead |= code.whose is self.who[number]
        self.who[number] = Someone()
        self.lines[number].asked = False

    def _is_only_his(self, place: str, told: str) -> None:
        here = self.who[place]
        shown = set(re.findall(r"zyx\d+", told.casefold()))
        assert shown <= here.words | here.holds, f"{place} was shown {shown}"

    # --- what people do ----------------------------------------------------------------------------

    @rule(place=st.sampled_from(PLACES))
    def begin_a_case(self, place: str) -> None:
        """The bike is named in it; so is a word that stands nowhere else."""
        self.made += 1
        word, bike = f"zyx{self.made:03}", f"Bike{self.made}"
        _, past = self._say(place, "start over")
        if not past:
            return
        self.who[place].words.add(word)
        self._say(place, f"something rattles {word}")
        self._say(place, "No knock")
        store, talker = self.shop.store, self.talkers[place]
        self._say(place, bike)
        if any(card.nickname == bike for card in store.bikes_of(talker.id)):
            self.who[place].bikes.append(bike)

    @rule(place=st.sampled_from(PLACES), text=st.sampled_from(WORDS))
    def talk(self, place: str, text: str) -> None:
        self._say(place, text)

    @rule(number=st.sampled_from(NUMBERS), data=st.data())
    def name_a_bike(self, number: str, data: st.DataObject) -> None:
        """His own, or one of somebody else."""
        known = [bike for someone in self.who.values() for bike in someone.bikes]
        if known and self.lines[number].asked:
            self._say(number, data.draw(st.sampled_from(sorted(set(known)))))

    @rule(number=st.sampled_from(NUMBERS))
    def ask_for_a_code(self, number: str) -> None:
        told, past = self._say(number, "link")
        if not past:
            return
        line, here, now = self.lines[number], self.who[number], self.shop.clock.now
        if self._is_joined(number):
            assert "is joined to a Telegram account already" in told
        elif len([at for at in line.codes if now - at < timedelta(days=1)]) >= 3:
            assert "Send it again tomorrow" in told
        else:
            [code] = re.findall(r"^(\w{4}-\w{4}) is your code", told, re.MULTILINE)
            for older in self.codes:
                older.dead |= older.whose is here
            line.codes.append(now)
            self.codes.append(Code(code, number, here, now + timedelta(minutes=10)))

    def _is_joined(self, number: str) -> bool:
        return any(self.who[name] is self.who[number] for name in ACCOUNTS)

    @precondition(lambda self: self.codes)
    @rule(account=st.sampled_from(ACCOUNTS), data=st.data())
    def type_a_code(self, account: str, data: st.DataObject) -> None:
        self._type(account, data.draw(st.sampled_from(self.codes[-3:])))

    @rule(number=st.sampled_from(NUMBERS), account=st.sampled_from(ACCOUNTS))
    def join(self, number: str, account: str) -> None:
        self.ask_for_a_code(number)
        if self.codes and self.codes[-1].number == number:
            self._type(account, self.codes[-1])

    def _type(self, account: str, code: Code) -> None:
        told = self.talkers[account].hears(code.code)
        self.once.add(account)
        here, other, now = self.who[account], code.whose, self.shop.clock.now
        if len([at for at in here.wrong if now - at < timedelta(minutes=10)]) >= 5:
            assert "Too many codes that opened nothing" in told
        elif code.dead or now >= code.until:
            assert "That code opens nothing" in told
            here.wrong.append(now)
        elif any(self.who[number] is here for number in NUMBERS):
            assert "Your account has a number already" in told
        elif here.holds & other.words or other.holds & here.words or other.holds & here.holds:
            assert "at one case as rider and mechanic" in told
        else:
            assert f"Your number that ends in {code.number[-2:]} is joined" in told
            self._become_one(here, other)
        self._is_only_his(account, told)

    def _become_one(self, stays: Someone, gone: Someone) -> None:
        stays.words |= gone.words
        stays.bikes += gone.bikes
        stays.holds |= gone.holds
        stays.wrong += gone.wrong
        for place, someone in self.who.items():
            self.who[place] = stays if someone is gone else someone
        for code in self.codes:
            code.dead |= code.whose is gone

    @rule(account=st.sampled_from(ACCOUNTS))
    def unlink(self, account: str) -> None:
        numbers = [number for number in NUMBERS if self.who[number] is self.who[account]]
        told, _ = self._say(account, "unlink")
        assert ("is no longer yours here" if numbers else "No number is joined") in told
        for number in numbers:
            self._becomes_new(number)
            self.lines[number].last = None

    @rule(place=st.sampled_from(PLACES), mechanic=st.sampled_from(ACCOUNTS))
    def share_with(self, place: str, mechanic: str) -> None:
        """Whatever case he is in; the mechanic sees the words of that one from now on."""
        told, past = self._say(place, "share")
        codes = re.findall(r"^open (\S+)$", told, re.MULTILINE)
        if not past or not codes or self.who[mechanic] is self.who[place]:
            return
        opened_ = self.talkers[mechanic].hears(f"open {codes[0]}")
        self.once.add(mechanic)
        shown = set(re.findall(r"zyx\d+", opened_.casefold()))
        if "You are in" in opened_:
            new = shown - self.who[mechanic].words - self.who[mechanic].holds
            assert new <= self.who[place].words
            self.who[mechanic].holds |= new
        self._is_only_his(mechanic, opened_)

    @rule(number=st.sampled_from(NUMBERS))
    def try_a_mechanics_code_by_number(self, number: str) -> None:
        told, past = self._say(number, "open ABCD-EF23")
        if past and not self._is_joined(number):
            assert "By text message alone I cannot know who you are." in told
        elif past:
            mine = self.who[number]
            now = self.shop.clock.now
            if "That code opens nothing" in told:
                mine.wrong.append(now)

    @rule(days=st.sampled_from([0.005, 0.01, 1.0, 100.0, 182.0, 200.0]))
    def wait(self, days: float) -> None:
        self.shop.clock.on(days=days)

    @rule(place=st.sampled_from(PLACES))
    def read(self, place: str) -> None:
        """What waits there; a number that was silent is not asked by that."""
        told = "\n".join(message.text for message in self.talkers[place].read())
        line = self.lines.get(place)
        now = self.shop.clock.now
        unsure = line is not None and (
            line.asked or (line.last is not None and now - line.last >= HALF_A_YEAR)
        )
        if unsure:
            assert "zyx" not in told.casefold()
        self._is_only_his(place, told)

    # --- what must hold --------------------------------------------------------------------------------

    @invariant()
    def each_place_leads_to_its_person(self) -> None:
        if not hasattr(self, "who"):
            return
        store = self.shop.store
        found = {place: store.known_as(self.talkers[place].channel, place) for place in self.once}
        for one in self.once:
            for other in self.once:
                assert (found[one] == found[other]) == (self.who[one] is self.who[other]), (one, other)

    @invariant()
    def each_has_his_own_cases_and_no_other(self) -> None:
        if not hasattr(self, "who"):
            return
        store = self.shop.store
        for place in self.once:
            own = store.cases_of(self.talkers[place].id)
            words = {word for line in own for word in re.findall(r"zyx\d+", line.complaint)}
            assert words <= self.who[place].words
            here = self.talkers[place].case
            assert here is None or store.may_see(here, self.talkers[place].id)

    @invariant()
    def codes_are_kept_nowhere(self) -> None:
        if not hasattr(self, "codes"):
            return
        kept = "\n".join(
            str(row["told"])
            for row in self.shop.store.rows(
                "select heard as told from inbox union all select payload from outbox"
                " union all select event from entries union all select code_digest from link_codes"
            )
        )
        assert not [code.code for code in self.codes if code.code in kept]


TestLinking = Linking.TestCase
TestLinking.settings = settings(
    max_examples=settings().max_examples // 4, stateful_step_count=30
)  # a life is slow
