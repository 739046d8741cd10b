"""What was worked out last, by the very objects that it was worked out from."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Found = TypeVar("Found")


class Kept(Generic[Found]):
    """The newest `size` results. The same objects and equal plain values give the same result.

    Only for objects that never change (states, their parts, flows): they are told apart by identity, which
    costs nothing, and are kept alive here so that no identity passes to another. A turn asks the same of the
    same few states many times; of a state that was read anew it asks anew, and gets an equal answer.
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._found: dict[tuple[Hashable, ...], tuple[tuple[object, ...], Found]] = {}

    def of(self, same: tuple[object, ...], make: Callable[[], Found], *equal: Hashable) -> Found:
        """The result kept for these, or what `make` gives."""
        key = (*map(id, same), None, *equal)
        kept = self._found.get(key)
        if kept is None:
            while len(self._found) >= self._size:
                self._found.pop(next(iter(self._found)), None)
            kept = self._found[key] = (same, make())
        return kept[1]
