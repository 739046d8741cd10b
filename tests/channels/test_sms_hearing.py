"""What a text message is before the talk reads it; expected readings are written by hand."""

from __future__ import annotations

import pytest

from bot.channels.sms.hearing import Reading, is_answer, numbers, read

# Whole messages that networks reserve (see the module for the source), in the ways that phones write them.
OPT_OUT = (
    "STOP",
    "stop",
    " Stop. ",
    "STOPALL",
    "Stop all",
    "end",
    "CANCEL",
    "quit",
    "Unsubscribe",
    "ＳＴＯＰ",
)
WORDS = (
    "engine would not stop", "stop rattling at idle", "the end of the fork leaks", "cancel that",
    "it quit on me", "start it?", "no information", "more noise when warm", "2", "1 4", "10-60", "6 to 20",
    "Q? what do you mean", "q", "two bits", "about 12.5 h",
)  # fmt: skip


@pytest.mark.parametrize("text", OPT_OUT)
def test_a_reserved_word_alone_opts_out(text: str) -> None:
    assert read(text).kind == "opt_out"


@pytest.mark.parametrize("text", WORDS)
def test_reserved_words_inside_a_text_are_words(text: str) -> None:
    assert read(text) in (Reading("words", text), Reading("tagged", "60", 10, sure=False))


@pytest.mark.parametrize("text", ["START", "unstop", "yes", "YES"])
def test_he_begins_again_only_after_he_opted_out(text: str) -> None:
    assert read(text, opted_out=True).kind == "opt_in"
    assert read(text).kind == "words"


@pytest.mark.parametrize(
    ("text", "tag", "rest"),
    [("Q7 2", 7, "2"), ("q7 yes", 7, "yes"), ("Q 7: 2", 7, "2"), ("Q7-2", 7, "2"), ("7-2", 7, "2"),
     ("Q12 1 4", 12, "1 4"), ("q7.2", 7, "2"), ("Ｑ７ ２", 7, "2")],
)  # fmt: skip
def test_a_tag_names_its_question(text: str, tag: int, rest: str) -> None:
    assert read(text) == Reading("tagged", rest, tag, sure=text != "7-2")


@pytest.mark.parametrize(
    ("text", "control"),
    [("0", "back"), ("Back", "back"), ("menu", "where"), ("NEW", "start_over"), ("skip", "not_sure"),
     ("sum", "summary")],
)  # fmt: skip
def test_short_words_that_every_keypad_has(text: str, control: str) -> None:
    assert read(text).control == control


def test_digits_of_other_keyboards_are_digits() -> None:
    assert read("２").text == "2"
    assert read("٢").text == "٢"  # NFKC leaves Arabic digits; the talk says what it can read


@pytest.mark.parametrize("text", ["1", "1 4", "2.", "yes", "NO", "ok", "1, 4"])
def test_what_can_only_be_an_answer(text: str) -> None:
    assert is_answer(text)


@pytest.mark.parametrize("text", ["it knocks", "1 bit of metal", "yes it does", "123", "brakes gone"])
def test_what_says_more_than_an_answer(text: str) -> None:
    assert not is_answer(text)


def test_numbers_of_answers() -> None:
    assert [numbers(x) for x in ("2", "1 4", "1,4", "3.", "yes", "2 bits")] == [
        (2,),
        (1, 4),
        (1, 4),
        (3,),
        (),
        (),
    ]
