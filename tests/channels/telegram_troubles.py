"""Troubles on demand: what the next requests of a method meet, and the record of every request."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.channels.telegram_methods import JSON_FIELDS, Refusal
from tests.channels.telegram_rules import Upload
from tests.channels.telegram_world import Json

WORDS = {
    400: "Bad Request",
    401: "Unauthorized",
    403: "bot was blocked by the user",
    409: "terminated by other getUpdates request; make sure that only one bot instance is running",
    500: "Internal Server Error",
    502: "Bad Gateway",
}
ALL = "*"  # every method but getUpdates


@dataclass
class Call:
    """One request as it came, and how it was answered (status 0: not at all)."""

    method: str
    params: Mapping[str, Any]
    files: Mapping[str, Upload]
    at: float  # time.monotonic()
    status: int = 0
    result: Any = None
    trouble: str = ""

    def get(self, name: str) -> Any:
        """A field, decoded when it is one that is sent as JSON."""
        value = self.params.get(name)
        return json.loads(value) if name in JSON_FIELDS and isinstance(value, str) else value

    @property
    def chat_id(self) -> int:
        return int(self.params.get("chat_id") or 0)

    def __str__(self) -> str:
        shown = {k: str(v)[:120] for k, v in self.params.items()}
        trouble = f" ({self.trouble})" if self.trouble else ""
        return f"{self.method} {shown} {list(self.files) or ''} -> {self.status or 'no answer'}{trouble}"


@dataclass
class Trouble:
    """What happens to a request: `refusal` is answered, or the connection drops, or the answer hangs."""

    method: str
    times: int | None  # None: until mended
    refusal: Refusal | None = None
    drops: bool = False
    seconds: float = 0.0
    acts: bool = False  # does what was asked all the same

    def __str__(self) -> str:
        if self.refusal:
            return f"told to answer {self.refusal.code}"
        what = "connection dropped" if self.drops else f"hung for {self.seconds:g} s"
        return f"{what}, {'acted' if self.acts else 'not acted'}"


@dataclass
class Troubles:
    """What was ordered and not yet met. A method may be "file": a download."""

    waiting: list[Trouble] = field(default_factory=list)
    latency: float = 0.0  # seconds, for every request

    def fail(
        self, method: str, code: int, text: str = "", times: int | None = 1, retry_after: int | None = None
    ) -> None:
        """Answer with an error. text: without the "Bad Request: " in front."""
        parameters: Json | None = None
        if code == 429:
            seconds = 1 if retry_after is None else retry_after
            text, parameters = f"retry after {seconds}", {"retry_after": seconds}
        refusal = Refusal(code, text or WORDS.get(code, "Error"), parameters)
        self._order(Trouble(method, times, refusal=refusal))

    def drop(self, method: str, times: int | None = 1, after: bool = False) -> None:
        """Cut the connection without an answer, before or after doing what was asked."""
        self._order(Trouble(method, times, drops=True, acts=after))

    def hang(self, method: str, seconds: float, times: int | None = 1, after: bool = False) -> None:
        """Wait before doing what was asked, or (after) before saying that it was done."""
        self._order(Trouble(method, times, seconds=seconds, acts=after))

    def mend(self, method: str | None = None) -> None:
        """No more trouble, for one method or for all."""
        self.waiting = [t for t in self.waiting if method is not None and t.method != method]

    def _order(self, trouble: Trouble) -> None:
        self.waiting = [*self.waiting, trouble]

    def meet(self, method: str) -> Trouble | None:
        """The trouble that this request meets; the first ordered comes first."""
        for trouble in self.waiting:
            if trouble.method == method or (trouble.method == ALL and method != "getUpdates"):
                if trouble.times is not None:
                    trouble.times -= 1
                    if trouble.times <= 0:
                        self.waiting = [t for t in self.waiting if t is not trouble]
                return trouble
        return None
