"""What a rule yields: a code, the path of the offending thing, and what its sentence needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from bot.core.flow import Flow

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Fault:
    """One thing wrong. `key`: the place is the key of the path and not its value."""

    code: str
    path: Path
    key: bool = False
    fields: Mapping[str, object] = field(default_factory=dict)


Rule = Callable[[Flow], Iterable[Fault]]


def fault(code: str, *path: str | int, key: bool = False, **fields: object) -> Fault:
    return Fault(code, path, key, fields)
