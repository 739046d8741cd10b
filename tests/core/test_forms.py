"""Words in other forms: what is one word, what is one thing, and what must stay apart."""

from __future__ import annotations

import pytest

from bot.core.forms import FORM, SAME_THING, SLIP, likeness, root
from bot.core.spoken import ENGLISH


@pytest.mark.parametrize(
    ("said", "meant", "wanted"),
    [
        ("clutch", "clutch", 0),
        ("slipping", "slips", FORM),
        ("slipped", "slips", FORM),
        ("flake", "flakes", FORM),
        ("rattling", "rattle", FORM),
        ("broke", "breaks", FORM),
        ("stuck", "sticks", FORM),
        ("aluminum", "aluminium", SAME_THING),
        ("colored", "coloured", SAME_THING),
        ("pieces", "bits", SAME_THING),
        ("strainer", "screen", SAME_THING),
        ("renewed", "replaced", SAME_THING),
        ("2nd", "second", SAME_THING),
        ("clucth", "clutch", SLIP),
        # what is told as done must be said as done
        ("change", "changed", None),
        ("fitting", "fitted", None),
        ("rebuild", "rebuilt", None),
        ("stick", "stuck", None),
        # other words
        ("magnet", "magnetic", None),
        ("spring", "spruce", None),
        ("bear", "bore", None),
        ("gas", "gauze", None),
        ("brass", "bras", None),
    ],
)
def test_words_are_as_near_as_their_forms_make_them(said: str, meant: str, wanted: int | None) -> None:
    assert likeness(said, meant, ENGLISH) == wanted


@pytest.mark.parametrize("word", ["ring", "spring", "bed", "oil", "gas", "loss", "is"])
def test_a_word_too_short_or_without_a_vowel_left_keeps_its_ending(word: str) -> None:
    assert root(word, ENGLISH) == word


@pytest.mark.parametrize(
    "word", ["flake", "piece", "plate", "gear", "spring", "bearing", "curl", "hair", "clutch"]
)
def test_one_and_many_have_one_root(word: str) -> None:
    many = word + ("es" if word.endswith("ch") else "s")
    assert root(many, ENGLISH) == root(word, ENGLISH)


def test_every_group_of_one_thing_holds_each_word_once() -> None:
    said = [root(word, ENGLISH) for group in ENGLISH.alike for word in set(group.split())]
    doubled = {word for word in said if said.count(word) > 1}
    assert doubled == set()
