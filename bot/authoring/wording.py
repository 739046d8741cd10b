"""What is said in each language: the bot's own wording, and the texts of flows that are translated.

In a translation each text stands under its id with a digest of the text that it was made from.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from bot.authoring import shelf
from bot.core.words import Words

if TYPE_CHECKING:
    from bot.core.translation import Line

_WORDS = Path(__file__).parents[1] / "words"
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[a-z]+)?")
_KEY = re.compile(r"(\S+) ([0-9a-f]{8})")


@lru_cache(maxsize=8)
def read_words(language: str = "en") -> Words:
    """The bot's own wording; what a language lacks, or a language we lack, is said in English.

    English words are understood in every language, after its own.
    """
    if language not in languages():
        return read_words()
    told = _read(file_of(language))
    if language == "en":
        return Words(language, told["texts"], _phrases(told["controls"]), _phrases(told["lists"]))
    english = read_words()
    return Words(
        language=language,
        texts={**english.texts, **_said(told, "texts")},
        controls=_both(_phrases(told.get("controls", {})), english.controls),
        lists=_both(_phrases(told.get("lists", {})), english.lists),
        small=_phrases(told.get("spoken", {})),
        sheets=_said(told, "sheets"),
    )


def languages() -> tuple[str, ...]:
    """Codes of the languages that the bot speaks, English first."""
    codes = sorted(file.stem for file in _WORDS.glob("*.yaml") if is_language(file.stem))
    return tuple(sorted(codes, key=lambda code: code != "en"))


def is_language(code: str) -> bool:
    """Whether this may be the code of a language."""
    return _LANGUAGE.fullmatch(code) is not None


def file_of(language: str) -> Path:
    """Where the bot's own wording in a language stands."""
    return _WORDS / f"{language}.yaml"


def file_of_flow(flow: str, language: str) -> Path:
    """Where the translation of a flow's texts, or of those that all share, stands."""
    return shelf.find().flows / "words" / language / f"{flow}.yaml"


@lru_cache(maxsize=64)
def read_lines(flow: str, language: str) -> Mapping[str, Line]:
    """What is translated of a flow and of what all flows share, by text id; empty where nothing is."""
    lines: dict[str, Line] = {}
    for file in (file_of_flow(shelf.COMMON, language), file_of_flow(flow, language)):
        if language in languages() and file.is_file():
            lines |= lines_in(_read(file).get("texts", {}))
    return lines


def lines_in(texts: Mapping[str, Any]) -> dict[str, Line]:
    """Lines by text id; a key that is not 'id digest' is left out."""
    from bot.core.translation import Line  # which brings the models of flows along

    found = ((_KEY.fullmatch(key), said) for key, said in texts.items())
    return {
        key[1]: Line(key[2], said if isinstance(said, str) else tuple(map(str, said or ())))
        for key, said in found
        if key
    }


def _said(told: Mapping[str, Any], part: str) -> dict[str, str]:
    return {key.partition(" ")[0]: text for key, text in told.get(part, {}).items() if text}


def _read(file: Path) -> Any:
    # The base loader leaves every scalar as text, so that a bare yes or 1 stays what was written.
    return getattr(yaml, "CBaseLoader", yaml.BaseLoader)(file.read_text(encoding="utf-8")).get_single_data()


def _phrases(lists: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    return {name: tuple(phrases) for name, phrases in lists.items()}


def _both(
    own: Mapping[str, tuple[str, ...]], english: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    return {name: (*own.get(name, ()), *phrases) for name, phrases in english.items()}
