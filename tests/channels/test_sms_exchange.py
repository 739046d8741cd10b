"""A rider with an old phone and no data signal: what he is texted, and what it costs.

The daemon is the pretend one of `sms_pretend`; what is expected is written by hand.
"""

from __future__ import annotations

import json
import logging
import random
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from bot import turn
from bot.channels.sms.budgets import Caps
from bot.core.events import Heard
from bot.core.messages import Message
from bot.core.segments import is_plain, segments
from tests.channels.contract import NOW
from tests.channels.sms_talk import OWN, RIDER, Air, without_tag
from tests.rattle import RATTLE

OTHER = "+15550002"
FIRST = "something rattles"
KNOCK = "Does it knock from below? 1 It knocks 2 No knock"


@pytest.fixture
def air(tmp_path: Path) -> Iterator[Air]:
    with closing(turn.open_record(tmp_path / "record.db")) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
        made = Air(store, tmp_path, NOW)
        yield made
        made.close()


def kinds(air: Air) -> list[str]:
    """What happened in the newest case, without what was heard and asked."""
    case = max(case.id for case in air.store.all_cases())
    return [e.event.kind for e in air.store.entries(case) if e.event.kind not in ("heard", "asked")]


def tag(text: str) -> str:
    """The tag of a question, such as Q12."""
    return text[text.index("Q") :].split()[0]


def until_bike(air: Air) -> None:
    """A case with a bike, no stop: the next question is how it is started."""
    for said in (FIRST, "2", "Goat"):
        air.text(RIDER, said)


# --- one question, one text --------------------------------------------------------------------------


def test_a_question_is_one_text_with_a_tag_and_numbers(air: Air) -> None:
    [text] = air.text(RIDER, FIRST)
    assert without_tag([text]) == [KNOCK]
    assert text.startswith("Q")
    assert segments(text) == 1


def test_a_stop_comes_first_and_in_the_same_text_as_what_follows(air: Air) -> None:
    air.text(RIDER, FIRST)
    [text] = air.text(RIDER, "1")
    assert text == "STOP. DO NOT START.\nWhat do you call this bike? Send a short name, no plate needed."


def test_a_stop_that_stands_is_named_in_every_question(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.text(RIDER, "1")
    [text] = air.text(RIDER, "Goat")
    assert "STOP stands: do not run it." in text


@pytest.mark.parametrize("said", ["1", "q{n} 1", "Q{n}-1", "{n}-1", "Q{n}: 1", "It knocks", "q{n} it knocks"])
def test_an_answer_is_a_number_a_tag_with_a_number_or_words(air: Air, said: str) -> None:
    [question] = air.text(RIDER, FIRST)
    air.text(RIDER, said.format(n=tag(question)[1:]))
    assert "stop_raised" in kinds(air)


def test_an_answer_with_the_tag_of_another_question_is_not_taken_for_this_one(air: Air) -> None:
    [first] = air.text(RIDER, FIRST)
    air.text(RIDER, "2")
    air.text(RIDER, "Goat")
    before = kinds(air)
    [again] = air.text(RIDER, f"{tag(first)} 1")
    assert kinds(air) == before
    assert "How is it started?" in again
    [again] = air.text(RIDER, "Q999 1")
    assert kinds(air) == before
    assert "How is it started?" in again


def test_zero_goes_back(air: Air) -> None:
    until_bike(air)
    air.text(RIDER, "1")
    [text] = air.text(RIDER, "0")
    assert "How is it started?" in text


def test_more_turns_the_page_of_a_long_text(air: Air) -> None:
    until_bike(air)
    person = air.store.known_as("sms", RIDER)
    assert person is not None
    long = " ".join(f"word{n}" for n in range(150))
    with air.store.writing():
        to = turn.Address("sms", RIDER)
        air.store.put_out(to, person.id, Message(long), turn.stamp(air.now), n=0)
    got = air.rest()
    while got[-1].endswith(" (more)"):
        got += air.text(RIDER, "MORE")
    assert " ".join(text.removesuffix(" (more)") for text in got) == long
    assert max(map(segments, got)) <= 3


# --- order and delay ------------------------------------------------------------------------------------


def test_an_answer_that_crossed_with_a_question_is_not_taken_for_it(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.wait(minutes=1)
    air.text(RIDER, "2")
    before = kinds(air)
    [text] = air.text(RIDER, "1", ago=30)  # sent before the question about the bike was
    assert text.startswith("Your answer crossed with this question")
    assert kinds(air) == before


def test_an_answer_to_a_question_that_is_just_being_repeated_is_taken(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.arrive(RIDER, "where are we")
    air.arrive(RIDER, "2")  # the question comes once more, and is the one that he had before him
    air.rest()
    assert "answered" in kinds(air)


def test_of_two_answers_at_once_the_second_is_not_taken_for_a_question_that_nobody_has_seen(
    air: Air,
) -> None:
    air.text(RIDER, FIRST)
    air.arrive(RIDER, "2")
    air.arrive(RIDER, "1")
    [text] = air.rest()
    assert text == "What do you call this bike? Send a short name, no plate needed."
    assert "bike_taken" not in kinds(air)


def test_the_second_time_it_is_taken_for_it_so_that_a_wrong_clock_holds_nobody_up(air: Air) -> None:
    until_bike(air)
    air.text(RIDER, "1", ago=60)
    air.text(RIDER, "1", ago=60)
    assert "trait_told" in kinds(air)


def test_a_clock_of_the_service_centre_that_is_behind_is_learnt(air: Air) -> None:
    for said in (FIRST, "2", "Goat", "1"):
        [text] = air.text(RIDER, said, ago=240)
        assert "crossed" not in text
    assert "trait_told" in kinds(air)


def test_a_copy_of_an_answer_to_a_question_that_has_passed_is_passed_over(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.wait(minutes=1)
    air.text(RIDER, "2")
    before = kinds(air)
    assert air.text(RIDER, "2", ago=8) == []
    assert kinds(air) == before


def test_the_same_answer_to_two_questions_in_a_row_counts_twice(air: Air) -> None:
    for said in (FIRST, "2", "Goat"):
        air.text(RIDER, said)
    air.text(RIDER, "1")
    air.text(RIDER, "1")
    assert kinds(air)[-2:] == ["trait_told", "answered"]


def test_words_that_say_more_than_an_answer_are_heard_however_late(air: Air) -> None:
    until_bike(air)
    air.text(RIDER, "and the chain was slack", ago=600)
    assert kinds(air)[-1] == "noted"


def test_after_a_long_silence_a_text_says_first_what_it_is_about(air: Air) -> None:
    until_bike(air)
    air.wait(hours=7)
    [text] = air.text(RIDER, "1")
    assert text.startswith("(Goat, Something rattles) Q")
    [text] = air.text(RIDER, "1")
    assert text.startswith("Q")


def test_a_text_with_a_part_missing_is_asked_for_again(air: Air) -> None:
    until_bike(air)
    before = kinds(air)
    text = replace(air.gateway.read()[0] if air.gateway.read() else lone(air), whole=False)
    air.exchange.hear(text)
    assert air.rest() == ["A part of your text is missing. Please send it again."]
    air.exchange.hear(text)
    assert air.rest() == []
    assert kinds(air) == before


def lone(air: Air) -> Any:
    air.arrive(RIDER, "and then it began to")
    [text] = air.gateway.read()
    air.gateway.done(text.rows)
    return text


# --- opting out --------------------------------------------------------------------------------------------


def test_stop_is_confirmed_once_and_then_nothing_more_comes(air: Air) -> None:
    until_bike(air)
    assert air.text(RIDER, "Stop") == [
        "Sumpline sends you no more texts. Your cases are kept. Text START to begin again."
    ]
    assert [air.text(RIDER, said) for said in ("STOP", "1", "are you there")] == [[], [], []]


def test_what_waits_is_not_sent_to_who_opted_out(air: Air) -> None:
    until_bike(air)
    air.arrive(RIDER, "1")
    air.arrive(RIDER, "STOP")
    got = air.rest()
    assert got == ["Sumpline sends you no more texts. Your cases are kept. Text START to begin again."]


@pytest.mark.parametrize("said", ["START", "unstop", "yes"])
def test_he_begins_again_where_he_was(air: Air, said: str) -> None:
    until_bike(air)
    air.text(RIDER, "STOP")
    [text] = air.text(RIDER, said)
    assert text.startswith("Sumpline answers your texts again.")
    [text] = air.text(RIDER, "again")
    assert "How is it started?" in text


def test_a_safety_word_inside_a_text_is_no_opt_out(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.text(RIDER, "it would not stop when I let go")
    assert kinds(air)[-1] == "noted"
    assert air.text(RIDER, "2")


@pytest.mark.parametrize("said", ["HELP", "info"])
def test_help_says_what_this_is_and_how_to_end_it(air: Air, said: str) -> None:
    until_bike(air)
    before = kinds(air)
    [text] = air.text(RIDER, said)
    assert "Sumpline helps" in text
    assert "STOP ends all texts" in text
    assert kinds(air) == before


# --- what it costs -----------------------------------------------------------------------------------------


def test_a_limit_is_told_once_and_a_stop_goes_out_all_the_same(air: Air) -> None:
    air.exchange.caps = Caps(session=3, day=60, sim=1000)
    air.exchange.help = "+15550777"
    assert len(air.text(RIDER, FIRST)) == 1
    air.text(RIDER, "why")
    [last] = air.text(RIDER, "where are we")
    assert last.startswith("That is all that I may text now.")
    assert "+15550777" in last
    assert air.text(RIDER, "where are we") == []
    [stop] = air.text(RIDER, "1")
    assert stop.startswith("STOP. DO NOT START.")


def test_what_is_texted_beyond_a_limit_is_kept(air: Air) -> None:
    air.exchange.caps = Caps(session=1, day=1, sim=1)
    air.text(RIDER, FIRST)
    air.text(RIDER, "2")
    air.text(RIDER, "Goat")
    assert "bike_taken" in kinds(air)


def test_a_limit_of_a_day_ends_with_the_day(air: Air) -> None:
    air.exchange.caps = Caps(session=100, day=2, sim=1000)
    for said in (FIRST, "2", "Goat"):
        air.text(RIDER, said)
    assert air.text(RIDER, "1") == []
    air.wait(days=1)
    assert len(air.text(RIDER, "again")) == 1


def test_a_session_ends_after_three_days_of_silence(air: Air) -> None:
    air.exchange.caps = Caps(session=2, day=60, sim=1000)
    for said in (FIRST, "2", "Goat"):
        air.text(RIDER, said)
    assert air.text(RIDER, "1") == []
    air.wait(hours=73)
    assert len(air.text(RIDER, "again")) == 1


def test_one_riders_limit_is_not_anothers_but_the_sims_is(air: Air) -> None:
    air.exchange.caps = Caps(session=2, day=2, sim=4)
    for said in (FIRST, "2", "Goat"):
        air.text(RIDER, said)
    assert len(air.text(OTHER, FIRST)) == 1
    air.text(OTHER, "2")
    assert "That is all" in air.text("+15550003", FIRST)[0]


def test_who_texts_fast_is_answered_more_slowly_and_nothing_is_lost(air: Air) -> None:
    got: list[str] = []
    for n in range(44):
        got += air.text(RIDER, FIRST if not n else ("where are we", "why", "again")[n % 3])
    assert len(got) == 40
    air.wait(minutes=11)
    assert len(air.rest()) == 4


def test_a_machine_that_says_the_same_again_and_again_is_not_answered(air: Air) -> None:
    got = []
    for _ in range(12):
        air.wait(minutes=20)
        got.append(len(air.text(RIDER, "I am out of the office, back on Monday.")))
    assert sum(got) == 6  # the first of them opens a question, and then five are no answer to it
    assert got[-6:] == [0] * 6
    assert air.text(RIDER, FIRST)


def test_who_answers_one_question_after_the_other_alike_is_no_machine(air: Air) -> None:
    until_bike(air)
    got = [air.text(RIDER, said) for said in ("not sure", "back") * 5]
    got += [air.text(RIDER, "back"), air.text(RIDER, "not sure")]
    assert all(got)


@pytest.mark.parametrize("sender", ["OPERATOR", "1234", "+123", OWN, "", "+0155500011"])
def test_who_is_no_rider_is_not_answered(air: Air, sender: str) -> None:
    air.arrive(sender, FIRST)
    air.rest()
    assert air.got == {}
    assert air.store.all_cases() == ()


def test_every_message_in_the_outbox_says_what_it_cost(air: Air) -> None:
    until_bike(air)
    air.text(RIDER, "why")
    rows = air.store.rows("select segments from outbox where channel = 'sms' and state = 'sent'")
    assert sum(row["segments"] for row in rows) == sum(air.segments[RIDER])


def remind(air: Air, text: str) -> list[str]:
    """Something that the rider is to be reminded of, laid out as `turn.remind` does it."""
    person = air.store.known_as("sms", RIDER)
    assert person is not None
    with air.store.writing():
        to = turn.Address("sms", RIDER)
        air.store.put_out(to, person.id, Message(text), turn.stamp(air.now), n=0, priority="reminder")
    return air.rest()


def test_a_reminder_that_nobody_answers_is_the_last_one(air: Air) -> None:
    until_bike(air)
    assert remind(air, "Goat: oil change is due.") == ["Goat: oil change is due."]
    assert remind(air, "Goat: oil change is overdue.") == []
    air.text(RIDER, "1")
    assert remind(air, "Goat: second look is due.") == ["Goat: second look is due."]


def test_nobody_who_opted_out_is_reminded(air: Air) -> None:
    until_bike(air)
    air.text(RIDER, "STOP")
    assert remind(air, "Goat: oil change is due.") == []


def test_a_language_may_go_out_in_letters_of_its_own_where_that_is_set(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.text(RIDER, "español")
    assert all(map(is_plain, air.text(RIDER, "por qué")))
    air.exchange.wide = frozenset({"es"})
    assert not all(map(is_plain, air.text(RIDER, "por qué")))
    codings = {row[0] for row in air.daemon.ask("select Coding from sentitems")}
    assert codings == {"Default_No_Compression", "Unicode_No_Compression"}


# --- who is told when a text does not arrive ------------------------------------------------------------


def test_a_mechanic_at_the_case_is_told_that_a_text_was_refused(air: Air, caplog: Any) -> None:
    until_bike(air)
    [case] = air.store.all_cases()
    with air.store.writing():
        mechanic = air.store.meet("terminal", "mo", "Mo", "mechanic", turn.stamp(air.now))
        digest = air.store.digest_code("ABCDEF23")
        air.store.keep_code(case.id, case.person, digest, turn.stamp(air.now))
        found = air.store.case_of_code(digest, turn.stamp(air.now))
        assert found is not None
        air.store.use_code(found[0], mechanic.id, turn.stamp(air.now))
        air.store.sit_down(case.id, mechanic.id, turn.Address("terminal", "here"), turn.stamp(air.now))
    air.arrive(RIDER, "1")
    while air.exchange.step():
        pass
    air.daemon.refuse(1, 38)
    with caplog.at_level(logging.WARNING):
        air.rest()
        air.rest()
    told = [out.message.text for out in turn.due(air.store, air.now, channel="terminal", person_name="Mo")]
    assert "A text to the rider may not have arrived. Call the rider if it matters." in told
    assert RIDER not in caplog.text


def test_of_a_stop_it_is_known_whether_it_arrived(air: Air) -> None:
    air.text(RIDER, FIRST)
    air.text(RIDER, "1")
    air.daemon.deliver()
    air.rest()
    states = [row["state"] for row in air.store.rows("select state from texts order by id")]
    assert states == ["sent", "delivered"]


# --- killed anywhere ----------------------------------------------------------------------------------------


class Killed(Exception):
    """The program ends here."""


@pytest.mark.parametrize("seed", range(8))
def test_nothing_is_lost_and_nothing_done_twice_however_often_it_is_killed(air: Air, seed: int) -> None:
    """Seventy kills each of either side: ours before or after a step at the gateway or in the record, the
    daemon's before it has deleted a text from the card, so that it stores the same rows again."""
    rng = random.Random(seed)
    plan = [FIRST, "2", "Goat", "1", "2", "why", "1", "0", "1", "1", "where are we", "1"]
    kills = 0
    for said in plan:
        air.wait(minutes=2)
        air.arrive(RIDER, said)
        for _ in range(6):
            if rng.random() < 0.2:
                air.daemon.again()
                kills += 1
            else:
                kills += killed_once(air, rng)
        air.exchange = air.program()
        air.rest()
    [case] = air.store.all_cases()
    heard = [e.event.heard.text or "press" for e in air.store.entries(case.id) if e.event.kind == "heard"]
    assert len(heard) == len(plan)
    assert kills >= 30
    assert not air.gateway.read()
    tokens = [row["token"] for row in air.store.rows("select token from texts where state <> 'dropped'")]
    sent = [row[0] for row in air.daemon.ask("select CreatorID from sentitems where SequencePosition = 1")]
    assert sorted(sent) == sorted(tokens)
    assert air.exchange.step() is False


STEPS = ("accept", "take", "done", "lay_text", "mark_sent", "hand_over", "mark_handed", "keep_number")


def killed_once(air: Air, rng: random.Random) -> int:
    """One pass that is killed before or after a step; 0 when it came to its end before that."""
    step, after = rng.choice(STEPS), rng.random() < 0.5
    with pytest.MonkeyPatch.context() as patch:
        owner: Any = turn if step in ("accept", "take") else None
        owner = owner or (air.gateway if hasattr(air.gateway, step) else air.store)
        real = getattr(owner, step)

        def die(*args: Any, **kwargs: Any) -> Any:
            if after:
                real(*args, **kwargs)
            raise Killed(step)

        patch.setattr(owner, step, die)
        try:
            air.exchange = air.program()
            air.exchange.step()
        except Killed:
            return 1
    air.carry()
    return 0


def test_every_text_of_ours_fits_what_it_is_meant_to_cost(air: Air) -> None:
    longest = "x" * 60  # the longest help that the settings allow
    for language in turn.languages():
        say = turn.read_words(language).say
        for key in ("info", "opted_out", "opted_in", "part_missing", "full", "refused"):
            assert segments(say(f"sms.{key}")) == 1, (language, key)
        assert segments(say("sms.full.help", help=longest)) == 1, language


# --- one rider, two channels --------------------------------------------------------------------------------


def test_a_case_goes_on_in_the_account_that_the_number_is_joined_to_and_back(air: Air) -> None:
    until_bike(air)
    [told] = air.text(RIDER, "link")
    assert segments(told) == 1
    code = turn.code_in(told)
    said = by_account(air, code)
    assert "How is it started?" in "\n".join(said)
    assert "Hold a magnet under the bits." in "\n".join(by_account(air, "1"))
    [text] = air.text(RIDER, "2")
    assert "Where is the bike now?" in text
    assert "Hold a magnet under the bits." in "\n".join(by_account(air, "back"))
    assert len(air.store.all_cases()) == 1
    assert not [row for row in air.store.rows("select body from texts") if row["body"]]


def by_account(air: Air, words: str) -> list[str]:
    """He says it in his private chat; what he is told there."""
    air.now += timedelta(seconds=20)
    heard = Heard(text=words, who="77", role="rider")
    inbox = turn.accept(air.store, "telegram", "77", "Robin", words, heard, air.now, handle="77")
    assert inbox is not None
    said = turn.take(air.store, inbox, air.now)
    return [out.message.text for out in said if out.channel == "telegram"]
