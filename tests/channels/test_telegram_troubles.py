"""The network and the record in trouble while the bot runs: no one waits for another, nothing twice."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta

import pytest

from bot import turn
from bot.channels.telegram import hearing, layout, sending, serve
from bot.core.messages import Choice, Message
from bot.record import opening
from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running, say
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]

SOON = 8.0  # seconds; far less than a hanging request is waited for
MANY = 5  # calls for one message that are no storm yet


@contextmanager
def held(bot: Running, seconds: float) -> Iterator[None]:
    """Another program holds the record for so long."""
    with closing(sqlite3.connect(bot.path, isolation_level=None, timeout=10)) as other:
        other.execute("begin immediate")
        yield
        time.sleep(seconds)
        other.execute("rollback")


def told(bot: Running) -> dict[str, list[str]]:
    """What each person's cases were told, in order."""
    found: dict[str, list[str]] = {}
    with bot.record() as store:
        for case in reversed(store.all_cases()):
            events = [e.event for e in store.entries(case.id) if e.event.kind == "heard"]
            found.setdefault(case.rider, []).extend(event.heard.text for event in events)
    return found


def rest(telegram: TelegramServer, bot: Running, within: float = 30.0) -> None:
    """Until nothing waits, neither at the platform nor in the record."""

    def done() -> bool:
        if telegram.pending:
            return False
        with bot.record() as store:
            depths = store.depths()
            return not any(depths[name] for name in ("updates", "turns", "messages"))

    telegram.wait_for(done, within, "nothing waits any more")


def put_out(bot: Running, person: Person, message: Message) -> int:
    """Lay out a message for him, as a turn does."""
    with bot.record() as store, store.writing():
        known = store.known_as("telegram", str(person.id))
        assert known is not None
        at = turn.stamp(datetime.now(UTC))
        return store.put_out(turn.Address("telegram", str(person.id)), known.id, message, at, n=0)


def met(telegram: TelegramServer, name: str) -> Person:
    """Someone who has begun a case and been answered."""
    person = telegram.person(name)
    say(person, "something rattles")
    return person


# --- one who is slow holds up no other -----------------------------------------------------------------


@pytest.mark.parametrize("method", ["sendMessage", "editMessageText", "answerCallbackQuery"])
def test_a_request_that_hangs_holds_up_only_its_own_chat(
    telegram: TelegramServer, bot: Running, method: str
) -> None:
    ann, ben = met(telegram, "Ann"), met(telegram, "Ben")
    telegram.hang(method, 60)
    [question] = [seen for seen in ann.bot_says() if seen.rows][-1:]
    ann.press(question, question.labels[0])
    telegram.wait_for(lambda: not telegram.troubles.waiting, told="the request that hangs")
    before = len(ben.bot_says())
    ben.say("where are we")
    telegram.wait_for(lambda: len(ben.bot_says()) > before, SOON, "the answer to Ben")


def test_a_chat_that_is_told_to_slow_down_waits_and_no_other(telegram: TelegramServer, bot: Running) -> None:
    ann, ben = met(telegram, "Ann"), met(telegram, "Ben")
    telegram.fail("sendMessage", 429, retry_after=3)
    ann.say("where are we")
    telegram.wait_for(lambda: not telegram.troubles.waiting, told="the refusal")
    refused = telegram.calls_of("sendMessage")[-1]
    ben.say("where are we")
    assert ben.answer(within=SOON)

    def to_ann() -> list[float]:
        calls = telegram.calls_of("sendMessage")
        return [call.at for call in calls if call.chat_id == ann.id and call.at > refused.at]

    again = telegram.wait_for(to_ann, 2 * SOON, "the answer to Ann")
    to_ben = [c.at for c in telegram.calls_of("sendMessage") if c.chat_id == ben.id]
    assert again[0] - refused.at >= 3
    assert to_ben[-1] < again[0]


def test_when_two_chats_are_told_to_slow_down_all_wait(telegram: TelegramServer, bot: Running) -> None:
    """Then it is the bot as a whole that writes too much."""
    ann, ben, cleo = (met(telegram, name) for name in ("Ann", "Ben", "Cleo"))
    telegram.fail("sendMessage", 429, times=2, retry_after=3)
    ann.say("where are we")
    ben.say("where are we")
    telegram.wait_for(lambda: not telegram.troubles.waiting, told="both refusals")
    refused = telegram.calls_of("sendMessage")[-1]
    cleo.say("where are we")
    telegram.wait_for(lambda: len(cleo.bot_says()) > 1, 2 * SOON, "the answer to Cleo")
    later = [call.at for call in telegram.calls_of("sendMessage") if call.at > refused.at]
    assert later[0] - refused.at >= 2.5


# --- what was said stays to be read ----------------------------------------------------------------------


def test_the_record_of_an_answer_keeps_all_that_was_said(telegram: TelegramServer, bot: Running) -> None:
    """Also what went out in one message with the question."""
    ann = met(telegram, "Ann")
    before = {seen.message_id: seen.text for seen in ann.bot_says()}
    for text in ("No knock", "Goat", "By foot", "None of these", "Not sure"):
        say(ann, text)
        rest(telegram, bot)
        before |= {seen.message_id: seen.text for seen in ann.bot_says() if not seen.edited}
    telegram.idle(0.5)
    assert any(seen.edited for seen in ann.bot_says())
    assert [s.text for s in ann.bot_says() if not s.text.startswith(before[s.message_id])] == []


# --- nothing is lost, and no storm ------------------------------------------------------------------------


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer of the platform is waited for that long."""
    monkeypatch.setattr(serve, "ANSWERED_WITHIN", 0.5)


def _copies(telegram: TelegramServer, text: str) -> int:
    return sum(text in str(call.get("text")) for call in telegram.calls_of("sendMessage"))


@pytest.mark.parametrize(
    ("trouble", "shown"),
    [
        pytest.param(lambda t: t.fail("sendMessage", 502, times=3), 1, id="bad gateway three times"),
        pytest.param(lambda t: t.drop("sendMessage", times=2), 1, id="lost before, twice"),
        pytest.param(lambda t: t.drop("sendMessage", after=True), 2, id="lost after"),
        pytest.param(lambda t: t.hang("sendMessage", 60, times=2), 1, id="hangs twice"),
        pytest.param(
            lambda t: (t.fail("sendMessage", 502, times=2), t.hang("sendMessage", 60)), 1, id="then hangs"
        ),
    ],
)
def test_a_message_comes_through(
    impatient: None, telegram: TelegramServer, bot: Running,
    trouble: Callable[[TelegramServer], object], shown: int,
) -> None:  # fmt: skip
    ann = met(telegram, "Ann")
    trouble(telegram)
    put_out(bot, ann, Message("Mind the plug."))
    telegram.wait_for(lambda: any("Mind the plug." in s.text for s in ann.bot_says()), 30, "the message")
    rest(telegram, bot)
    time.sleep(1.5)  # a hanging request is no rest to the server, which counts those that it owes an answer
    assert _copies(telegram, "Mind the plug.") <= MANY
    assert len([s for s in ann.bot_says() if "Mind the plug." in s.text]) == shown


def test_what_has_to_be_sent_again_is_not_overtaken_by_what_came_after_it(
    telegram: TelegramServer, bot: Running
) -> None:
    ann = met(telegram, "Ann")
    texts = [f"Step {n}." for n in range(1, 5)]
    telegram.fail("sendMessage", 502, times=2)
    with bot.record() as store, store.writing():
        known = store.known_as("telegram", str(ann.id))
        assert known is not None
        at = turn.stamp(datetime.now(UTC))
        for text in texts:
            store.put_out(turn.Address("telegram", str(ann.id)), known.id, Message(text), at, n=0)
    rest(telegram, bot)
    assert [seen.text for seen in ann.bot_says()][-4:] == texts


def test_a_stop_goes_before_what_waits_to_be_sent_again(telegram: TelegramServer, bot: Running) -> None:
    ann = met(telegram, "Ann")
    telegram.fail("sendMessage", 502, times=1)
    put_out(bot, ann, Message("Step 1."))
    telegram.wait_for(lambda: not telegram.troubles.waiting, told="the refusal")
    with bot.record() as store, store.writing():
        known = store.known_as("telegram", str(ann.id))
        assert known is not None
        at = turn.stamp(datetime.now(UTC))
        stop = Message("STOP. Do not start it.", kind="stop")
        store.put_out(turn.Address("telegram", str(ann.id)), known.id, stop, at, n=0, priority="safety")
    rest(telegram, bot)
    assert [seen.text for seen in ann.bot_says()][-2:] == ["STOP. Do not start it.", "Step 1."]


def test_a_message_for_later_holds_nothing_up(telegram: TelegramServer, bot: Running) -> None:
    ann = met(telegram, "Ann")
    with bot.record() as store, store.writing():
        known = store.known_as("telegram", str(ann.id))
        assert known is not None
        now = datetime.now(UTC)
        at, tomorrow = turn.stamp(now), turn.stamp(now + timedelta(days=1))
        address = turn.Address("telegram", str(ann.id))
        later = Message("Look again.")
        store.put_out(address, known.id, later, at, n=0, priority="reminder", due=tomorrow)
    say(ann, "where are we")
    assert not any("Look again." in seen.text for seen in ann.bot_says())


def test_a_message_that_is_never_confirmed_is_not_sent_for_ever(
    telegram: TelegramServer, bot: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may have come each time; whoever runs the bot finds it among what was given up."""
    monkeypatch.setattr(sending, "SLOWEST", 0.1)
    ann = met(telegram, "Ann")
    telegram.drop("sendMessage", times=None, after=True)
    put_out(bot, ann, Message("Mind the plug."))
    rest(telegram, bot)
    assert _copies(telegram, "Mind the plug.") == sending.DOUBTFUL
    with bot.record() as store:
        assert [letter["kind"] for letter in store.dead_letters()] == ["message"]


def test_of_a_long_message_no_part_is_sent_twice_when_a_later_one_is_refused(
    telegram: TelegramServer, bot: Running
) -> None:
    ann = met(telegram, "Ann")
    before = len(ann.bot_says())
    text = "\n".join(f"line {n} " + "x" * 90 for n in range(60))
    telegram.hang("sendMessage", 0.5, after=True)  # so that the refusal meets the second part
    put_out(bot, ann, Message(text, choices=(Choice(1, "Yes", "y"),)))
    telegram.wait_for(lambda: len(ann.bot_says()) > before, told="the first part")
    telegram.fail("sendMessage", 429, retry_after=1)
    rest(telegram, bot)
    parts = [seen.text for seen in ann.bot_says()[before:]]
    assert "\n".join(parts) == text
    assert ann.bot_says()[-1].labels == ["1 Yes"]


def test_an_edit_that_keeps_failing_is_tried_ever_more_seldom_and_comes_in_the_end(
    telegram: TelegramServer, bot: Running
) -> None:
    ann = met(telegram, "Ann")
    [question] = [seen for seen in ann.bot_says() if seen.rows][-1:]
    telegram.fail("editMessageText", 502, times=None)
    ann.press(question, question.labels[0])
    ann.answer()
    telegram.wait_for_calls("editMessageText", 3, within=30)
    tries = [call.at for call in telegram.calls_of("editMessageText")]
    assert tries[2] - tries[1] > tries[1] - tries[0]
    telegram.mend()
    telegram.wait_for(lambda: _is_edited(ann, question.message_id), 30, "the answer on record")


def _is_edited(person: Person, number: int) -> bool:
    return next(seen.edited for seen in person.bot_says() if seen.message_id == number)


def test_a_message_that_cannot_be_laid_out_holds_up_no_one_and_is_listed(
    telegram: TelegramServer, bot: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    ann, ben = met(telegram, "Ann"), met(telegram, "Ben")
    real = layout.lay_out

    def lay_out(message: Message, *rest: object, **more: object) -> layout.Sheet:
        if message.text == "bad":
            raise ValueError("bad")
        return real(message, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(layout, "lay_out", lay_out)
    put_out(bot, ann, Message("bad"))
    ben.say("where are we")
    assert ben.answer()
    rest(telegram, bot)
    with bot.record() as store:
        assert [letter["kind"] for letter in store.dead_letters()] == ["message"]


# --- the record is held by another program -----------------------------------------------------------------


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """The record waits for others only that long."""
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.2)


def test_a_message_that_was_taken_while_the_record_is_held_is_not_sent_again(
    short: None, telegram: TelegramServer, bot: Running
) -> None:
    ann = met(telegram, "Ann")
    telegram.hang("sendMessage", 0.5, after=True)
    put_out(bot, ann, Message("Mind the plug."))
    telegram.wait_for(lambda: _copies(telegram, "Mind the plug."), told="the message")
    with held(bot, 1.5):
        pass
    rest(telegram, bot)
    assert _copies(telegram, "Mind the plug.") == 1
    assert say(ann, "where are we")


def test_what_one_says_stays_in_order_when_the_record_is_held_in_between(
    short: None, telegram: TelegramServer, bot: Running
) -> None:
    ann = met(telegram, "Ann")
    texts = [f"note {n}" for n in range(25)]
    bot.stop()
    for text in texts:
        ann.say(text)
    bot.start()
    telegram.wait_for(lambda: "note 1" in told(bot)["Ann"], told="the first of them")
    with held(bot, 0.5):
        pass
    rest(telegram, bot)
    assert told(bot)["Ann"] == ["something rattles", *texts]


# --- told to end ------------------------------------------------------------------------------------------


def test_ended_in_the_middle_of_sending_nothing_comes_twice(telegram: TelegramServer, bot: Running) -> None:
    people = [met(telegram, name) for name in ("Ann", "Ben", "Cleo")]
    telegram.latency = 0.15
    for n in range(4):
        for person in people:
            person.say(f"note {n}")
    telegram.wait_for_calls("sendMessage", 6)
    bot.stop()
    telegram.latency = 0.0
    bot.start()
    rest(telegram, bot)
    telegram.idle(0.5)
    with bot.record() as store:
        kept = store.value("select count(distinct address || '/' || receipt) from outbox where receipt <> ''")
    assert sum(len(person.bot_says()) for person in people) == kept


@pytest.mark.parametrize("pages", [0, 3])
def test_a_full_disk_loses_nothing_and_answers_nobody_twice(
    telegram: TelegramServer, bot: Running, pages: int
) -> None:
    """With no page left nothing can be kept; with a few, it fills up in the middle of the work."""
    ann, ben = met(telegram, "Ann"), met(telegram, "Ben")
    shown = len(ann.bot_says()), len(ben.bot_says())
    bot.limit_disk(pages)
    said = [f"note {n} {'rust ' * 200}" for n in range(10)]
    for text in said:
        ann.say(text)
        ben.say(text)
    telegram.idle(3.0)
    assert told(bot) != {"Ann": ["something rattles", *said], "Ben": ["something rattles", *said]}
    bot.limit_disk(None)
    rest(telegram, bot, 60)
    assert told(bot) == {"Ann": ["something rattles", *said], "Ben": ["something rattles", *said]}
    with bot.record() as store:
        laid = store.rows(
            "select address, count(distinct receipt) as n from outbox where receipt <> '' group by 1"
        )
    sent = {str(person.id): len(person.bot_says()) for person in (ann, ben)}
    assert {row["address"]: row["n"] for row in laid} == sent
    assert all(len(person.bot_says()) > before for person, before in zip((ann, ben), shown, strict=True))


def test_a_fault_in_what_follows_one_persons_turn_stops_nobody_elses(
    telegram: TelegramServer, bot: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    ann, ben = met(telegram, "Ann"), met(telegram, "Ben")
    with bot.record() as store:
        known = store.known_as("telegram", str(ann.id))
    assert known is not None
    as_it_is = hearing.Hearing._keep_private

    def broken(self: hearing.Hearing, inbox: int, case: int) -> None:
        if self.store.incoming(inbox).person == known.id:
            raise ValueError("cannot tell")
        as_it_is(self, inbox, case)

    monkeypatch.setattr(hearing.Hearing, "_keep_private", broken)
    ann.say("where are we")
    assert "went wrong" in ann.answer(within=SOON)[-1].text
    for _ in range(4):  # each of his turns takes hers up once more, until it is given up
        ben.say("where are we")
        assert ben.answer(within=SOON)
    assert "other words" in ann.bot_says()[-1].text
    monkeypatch.undo()
    ann.say("where are we")
    assert ann.answer(within=SOON)
    assert told(bot)["Ann"] == ["something rattles", "where are we"]


def test_what_leads_to_a_stop_is_read_before_it(bot: Running, robin: Person) -> None:
    """A safety message goes out before all that waits, but not before the words that it completes."""
    say(robin, "something rattles")
    say(robin, "It knocks")
    first, stop, question = (seen.text for seen in say(robin, "rode it home anyway"))
    assert first == "Noted, no lecture. The stop still stands:"
    assert stop.startswith("STOP. Do not start the engine.")
    assert "What do you call this bike?" in question


def test_a_fault_in_making_a_record_holds_up_nobody(
    bot: Running, robin: Person, telegram: TelegramServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*given: object) -> None:
        raise RuntimeError

    say(robin, "something rattles")
    monkeypatch.setattr(hearing, "understood", fail)
    assert "What do you call this bike?" in say(robin, "2")[-1].text
    assert "Does it knock" in say(telegram.person("Ann"), "something rattles")[-1].text
    assert told(bot) == {"Robin": ["something rattles", "2"], "Ann": ["something rattles"]}
