"""The frame number: what is read from a message, and what the check digit says."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.vin import Vin, check_digit, read, weighted_sum

ALLOWED = "".join(c for c in string.ascii_uppercase + string.digits if c not in "IOQ")

# 49 CFR 565.15 table V; NHTSA's outline for new manufacturers; the last two from memory.
WORKED = [
    ("1G4AH59H45G118341", 411, "4"),
    ("1J9RP1A36A1644345", 314, "6"),
    ("11111111111111111", 89, "1"),
    ("1M8GDM9AXKP042788", 351, "X"),
]


@pytest.mark.parametrize(("vin", "total", "digit"), WORKED)
def test_the_check_digit_of_published_examples(vin: str, total: int, digit: str) -> None:
    assert (weighted_sum(vin), check_digit(vin), vin[8]) == (total, digit, digit)
    assert read(vin) == Vin(vin, "right")


@pytest.mark.parametrize(
    "told",
    [
        "1g4ah59h45g118341", " 1G4 AH59H 45G118341 ", "1G4AH59H4-5G-118341", "VIN: 1G4AH59H45G118341",
        "my vin is 1G4AH59H45G118341", "it says 1G4AH59H45G118341 on the left", "*1G4AH59H45G118341*",
        "1G4AH59H4\u20135G118341", "\uff11G4AH59H45G118341",
    ],
)  # fmt: skip
def test_spaces_dashes_case_and_words_around_it_do_not_matter(told: str) -> None:
    assert read(told) == Vin("1G4AH59H45G118341", "right")


def test_a_digit_that_fails_asks_for_another_look_and_rejects_nothing() -> None:
    assert read("1G4AH59H55G118341") == Vin("1G4AH59H55G118341", "wrong")


@pytest.mark.parametrize("letter", "IOQ")
def test_a_letter_that_is_never_used_cannot_be_right(letter: str) -> None:
    assert read(f"{letter}G4AH59H45G118341") == Vin(f"{letter}G4AH59H45G118341", "wrong")


# Shorter frame numbers are common practice off the road, no source.
@pytest.mark.parametrize(
    ("told", "kept"),
    [("ab12-345678", "AB12345678"), ("frame no. AB 012345", "AB012345"), ("* 123456 *", "123456")],
)
def test_a_shorter_number_is_kept_whole(told: str, kept: str) -> None:
    assert read(told) == Vin(kept, "none")


@pytest.mark.parametrize(
    "told",
    ["", "no", "not sure", "vin", "43 h", "in the pits, two hours ago I rode 1200 km", "ABCDEFGHABCDEFGHJ",
     '#read("/etc")', "1234567890123456789012345678", "масло 12345"],
)  # fmt: skip
def test_what_is_no_frame_number_is_not_taken_for_one(told: str) -> None:
    assert read(told) is None


def test_of_two_numbers_in_one_message_the_first_is_read() -> None:
    assert read("1G4AH59H45G118341 or 1G4AH59H55G118341") == Vin("1G4AH59H45G118341", "right")


@given(st.text(ALLOWED, min_size=17, max_size=17), st.integers(0, 16), st.sampled_from(ALLOWED))
def test_of_two_numbers_that_differ_in_one_place_at_most_one_check_digit_per_remainder_fits(
    vin: str, place: int, letter: str
) -> None:
    # By hand: the sum changes by weight times the difference of two values below 10. 11 is prime and every
    # weight but that of the digit itself is no multiple of it, so equal remainders mean equal values.
    other = vin[:place] + letter + vin[place + 1 :]
    if place != 8 and check_digit(vin) == check_digit(other):
        value = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789", strict=True))
        assert value.get(letter, letter) == value.get(vin[place], vin[place])


@given(st.text(max_size=60))
def test_whatever_is_typed_is_read_or_left(told: str) -> None:
    found = read(told)
    assert found is None or (found.text and found.text == found.text.upper())
