"""Short replies as they are typed with gloves on, against what was offered."""

from __future__ import annotations

import pytest

from bot.core.answers import led, read
from bot.core.offers import Ambiguous, Chosen, Control, Offer, Offered, Reading, Sweeping, Ticked, Unclear
from tests.core.test_answers import AMOUNT, HOURS, KINDS, MAGNET, NUT, PIECES, RIGHT, ticked

SHRUGS = {"not_sure": ("not sure", "dunno", "idk", "no idea", "can't tell", "cant tell")}


@pytest.mark.parametrize(
    "typed",
    [
        "2", "2.", "#2", "2)", "(2", "[2]", "2!", "2,", "2-", '"2"', "number 2", "Number two", "no 2", "No.2",
        "nr 2", "n° 2", "№2", "opt 2", "option two", "answer 2", "ans 2", "it's 2", "2 i think", "i think 2",
        "2 pls", "2 thx", "2 definitely", "prob 2", "2nd", "second", "the second one", "2\ufe0f\u20e3",
        "②", "２",
    ],
)  # fmt: skip
@pytest.mark.parametrize("offer", [MAGNET, NUT, KINDS])
def test_one_number_is_read_however_it_is_typed(offer: Offer, typed: str) -> None:
    second = offer.answers[1].id
    assert read(typed, offer, SHRUGS) == (ticked(second) if offer.kind == "several" else Chosen(second))


@pytest.mark.parametrize(
    "typed",
    ["1 4", "1,4", "1.4", "1, 4", "1+4", "1 + 4", "1 and 4", "1&4", "1 n 4", "1/4", "1;4", "#1 #4",
     "1\ufe0f\u20e34\ufe0f\u20e3", "① ④"],
)  # fmt: skip
def test_two_numbers_are_read_however_they_are_typed(typed: str) -> None:
    assert read(typed, KINDS, SHRUGS) == ticked("hair", "paste")


@pytest.mark.parametrize(
    "typed", ["none", "None!", "nope", "nah", "n", "noo", "none of them", "neither", "5"]
)
def test_none_of_the_marks_is_read_however_it_is_typed(typed: str) -> None:
    assert read(typed, KINDS, SHRUGS) == Ticked(frozenset(), none=True)


@pytest.mark.parametrize(
    "typed", ["dunno", "Dunno mate", "idk", "idk tbh", "cant tell", "can’t tell", "no idea"]
)
@pytest.mark.parametrize("offer", [MAGNET, KINDS, AMOUNT, HOURS, NUT])
def test_a_shrug_is_a_shrug_at_any_question(offer: Offer, typed: str) -> None:
    assert read(typed, offer, SHRUGS) == Control("not_sure")


@pytest.mark.parametrize(
    ("typed", "wanted"), [("y", "yes"), ("Y", "yes"), ("yea", "yes"), ("n", "no"), ("nah", "no")]
)
def test_one_letter_is_a_yes_or_a_no(typed: str, wanted: str) -> None:
    assert read(typed, RIGHT, SHRUGS) == Chosen(wanted)


@pytest.mark.parametrize(
    "typed", ["all of them", "all of these", "all four", "all 4", "the lot", "1-4", "1 to 4"]
)
def test_all_marks_are_ticked_where_it_is_said_in_so_many_words(typed: str) -> None:
    assert read(typed, KINDS, {}) == ticked("hair", "flake", "chunk", "paste")


@pytest.mark.parametrize("typed", ["all", "ALL!", "everything", "all of it"])
def test_a_bare_all_of_many_marks_ticks_none(typed: str) -> None:
    assert read(typed, KINDS, {}) == Sweeping(4)
    two = Offer("several", KINDS.answers[:2])
    assert read(typed, two, {}) == ticked("hair", "flake")


def test_a_run_of_marks_is_taken_where_it_can_be_no_list() -> None:
    assert read("1 to 3", KINDS, {}) == ticked("hair", "flake", "chunk")
    assert read("1-3", KINDS, {}) == Unclear()
    assert read("3 to 1", KINDS, {}) == Unclear()
    assert read("1-5", KINDS, {}) == Unclear()  # the fifth is "none of these"


RUN = Offer(
    "look", (Offered("good", "Five flakes or fewer, nothing new"), Offered("bad", "More than that"))
)  # fmt: skip
PRICKS = Offer(
    "one",
    (
        Offered("small", "Small bits, or up to ten hairs"),
        Offered("hairs", "More than ten hairs that bend"),
        Offered("big", "One over 3 mm, or more than ten over 1 mm"),
    ),
)


@pytest.mark.parametrize(
    ("offer", "typed", "wanted"),
    [
        (RUN, "five or fewer", Chosen("good")),
        (RUN, "5 or fewer", Chosen("good")),
        (RUN, "5 flakes", Chosen("good")),
        (RUN, "more than", Chosen("bad")),
        (PRICKS, "more than 10", Chosen("hairs")),
        (PRICKS, "more than ten hairs", Chosen("hairs")),
        (PRICKS, "one over 3", Chosen("big")),
        (AMOUNT, "five or fewer", Chosen("few")),
        (AMOUNT, "6-20", Chosen("some")),
        (AMOUNT, "six to twenty", Chosen("some")),
        (AMOUNT, "more than sixty", Chosen("heaps")),
        (PIECES, "2 please", Ambiguous(("some", "few"))),
    ],
)
def test_the_beginning_of_a_label_may_have_its_numbers_in_words_or_figures(
    offer: Offer, typed: str, wanted: Reading
) -> None:
    assert read(typed, offer, {}) == wanted


CLINGS = Offer("one", (Offered("some", "Some cling, some do not"), Offered("none", "None clings")))


def test_an_and_between_the_parts_of_a_label_does_not_matter() -> None:
    assert read("some cling and some do not", CLINGS, {}) == Chosen("some")


HOME = Offer("one", (Offered("yes", "Yes", words=("yes",)), Offered("no", "No", words=("no",))))


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("no, we have a van", Chosen("no")),
        ("No. My mate picks me up", Chosen("no")),
        ("no we have a van", Chosen("no")),
        ("nope - trailer is here", Chosen("no")),
        ("yes, no other way", None),  # holds both
        ("yes, it is 20 miles", Chosen("yes")),
        ("no, but maybe later", None),
        ("yes, i think", None),
        ("no, should i?", None),
        ("no front brake", None),  # no answer, but a thing that is not there
        ("no", None),  # a plain no is read as any answer
    ],
)
def test_a_yes_or_no_with_a_remark_after_it(typed: str, wanted: Chosen | None) -> None:
    assert led(typed, HOME) == wanted
    assert led(typed, MAGNET) is None  # three answers
    assert led(typed, RIGHT) is None  # what is read back is agreed to without a remark
