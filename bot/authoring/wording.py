"""The bot's own wording, read once a language from bot/words/<language>.yaml."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path

import yaml

from bot.core.words import Words

_WORDS = Path(__file__).parents[1] / "words"


@lru_cache(maxsize=8)
def read_words(language: str = "en") -> Words:
    """The bot's own wording; what a language lacks, or a language we lack, is said in English."""
    if not re.fullmatch(r"[a-z]{2,3}(-[a-z]+)?", language) or not (_WORDS / f"{language}.yaml").is_file():
        return read_words()
    text = (_WORDS / f"{language}.yaml").read_text(encoding="utf-8")
    # The base loader leaves every scalar as text, so that a bare yes or 1 stays what was written.
    told = getattr(yaml, "CBaseLoader", yaml.BaseLoader)(text).get_single_data()
    english = None if language == "en" else read_words()
    return Words(
        language=language,
        texts={**(english.texts if english else {}), **told["texts"]},
        controls={**(english.controls if english else {}), **_phrases(told["controls"])},
        lists={**(english.lists if english else {}), **_phrases(told["lists"])},
    )


def _phrases(lists: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    return {name: tuple(phrases) for name, phrases in lists.items()}
