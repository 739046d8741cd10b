"""Words that are one word in another form: plural, tense, spelling, and what a trade calls one thing.

What is told as done must be said as done: "changed the oil" is never heard in "change the oil".
The other way round any form will do, so that "clutch drags" is heard in "the clutch was dragging".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from bot.core.spoken import Spoken, off

SHORTEST = 3  # letters that must be left of a word when its ending goes
FORM, SAME_THING, SLIP = 1, 2, 3  # how far off: another form, another word for it, one wrong letter
_DOUBLED = frozenset("bdgmnprt")  # slip and slipped; but not fill, pass and off


@lru_cache(maxsize=8192)
def root(word: str, spoken: Spoken) -> str:
    """The word without its ending: slipping, slipped and slips are slip; flakes and flake are flak."""
    base = spoken.forms.get(word, word)
    if not base.isalpha() or len(base) <= SHORTEST:
        return base
    one = _less(base, spoken.plural)  # first the plural: bearings, bearing, bear
    return _closed(_less(one, spoken.endings))


def _less(word: str, endings: Iterable[str]) -> str:
    """The word without the first of these endings that leaves enough of it."""
    for ending in endings:
        left = word.removesuffix(ending)
        if left != word and len(left) >= SHORTEST and _sounds(left) and not word.endswith("ss"):
            return left
    return word


def _sounds(letters: str) -> bool:
    """Whether there is a vowel in it: spring is no form of spr."""
    return any(letter in "aeiouy" for letter in letters)


def _closed(word: str) -> str:
    if len(word) > SHORTEST and word[-1] == word[-2] and word[-1] in _DOUBLED:
        return word[:-1]
    return word.removesuffix("e") if len(word) > SHORTEST else word


@lru_cache(maxsize=8192)
def thing(word: str, spoken: Spoken) -> str:
    """The root that stands for all words of the same thing."""
    return _things(spoken).get(root(word, spoken), root(word, spoken))


@lru_cache(maxsize=8)
def _things(spoken: Spoken) -> Mapping[str, str]:
    groups = [[root(word, spoken) for word in group.split()] for group in spoken.alike]
    return {word: group[0] for group in groups for word in group}


def done(word: str, spoken: Spoken) -> bool:
    """Whether the word tells what is past: fitted, rebuilt."""
    return word in spoken.forms or any(
        word.endswith(ending) and len(word) > len(ending) + 2 for ending in spoken.past
    )


@lru_cache(maxsize=65536)
def likeness(said: str, meant: str, spoken: Spoken) -> int | None:
    """0 for the same word, more the farther off it is, None for another word."""
    if said == meant:
        return 0
    alike = root(said, spoken) == root(meant, spoken)
    if done(meant, spoken) and not done(said, spoken):
        return None if alike else slip(said, meant)  # "change" is no slip of the pen for "changed"
    if alike:
        return FORM
    if thing(said, spoken) == thing(meant, spoken):
        return SAME_THING
    return slip(said, meant)


def slip(said: str, meant: str) -> int | None:
    """`SLIP` for one wrong letter in a word long enough to forgive it, 0 for none."""
    wrong = off(said, meant)
    return SLIP if wrong else wrong


def number_only(said: str, meant: str, spoken: Spoken) -> bool:
    """Whether two words differ by no more than one and many: a single word allows no more."""
    plural = spoken.plural
    longer, shorter = (said, meant) if len(said) > len(meant) else (meant, said)
    return len(shorter) > SHORTEST and any(longer == shorter + ending for ending in plural)
