"""The bot's own wording in one language, handed to the core; flows bring their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from bot.core.spoken import Spoken

Units = Literal["metric", "imperial", "both"]


@dataclass(frozen=True)
class Words:
    """Fixed texts by key, control words, and what the parser of words needs.

    `texts`: key -> text with {names}. A key that ends in `.one` / `.other` is a plural pair.
    `controls`: control name -> phrases. `lists`: e.g. what means yes. `spoken`: the small words by which
    answers and free words are understood, made of `small` where it is not English. `sheets`: wording of
    sheets where that is not English.
    """

    language: str
    texts: Mapping[str, str]
    controls: Mapping[str, tuple[str, ...]]
    lists: Mapping[str, tuple[str, ...]]
    small: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    sheets: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def spoken(self) -> Spoken:
        """Made when it is wanted first: the first line of a talk needs none. ValueError as `speak` has it."""
        from bot.core.spoken import ENGLISH, speak

        return speak(self.small) if self.small else ENGLISH

    def say(self, key: str, **values: object) -> str:
        """The text of a key with its names filled in. KeyError when either is missing."""
        return self.texts[key].format_map(values)

    def short(self, key: str, **values: object) -> str:
        """The short form of a key, for channels that pay by the character; "" where there is none."""
        return self.texts.get(f"{key}.short", "").format_map(values)

    def count(self, key: str, n: float, **values: object) -> str:
        """`key.one` for exactly 1, else `key.other`, with {n}."""
        form = "one" if n == 1 else "other"
        return self.say(f"{key}.{form}", n=f"{n:g}", **values)
