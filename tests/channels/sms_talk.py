"""Riders with phones: what they text goes through the gateway's tables into the talk, and back.

The daemon is the pretend one; the gateway, the talk and the record are the real ones.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from bot import turn
from bot.channels.sms.budgets import Caps
from bot.channels.sms.exchange import Exchange
from bot.channels.sms.gateway import open_gateway
from tests.channels.sms_pretend import PretendDaemon

GENEROUS = Caps(100_000, 100_000, 1_000_000)
RIDER = "+15550001"  # of a range that no network gives out in the world; invented
OWN = "+15550999"


@dataclass
class Air:
    """A record, a gateway with its daemon, and a clock that the test turns."""

    store: turn.Store
    folder: Path
    now: datetime
    caps: Caps = GENEROUS
    options: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.daemon = PretendDaemon(self.folder / "smsd.db")
        self.gateway = open_gateway(str(self.folder / "smsd.db"))
        self.exchange = self.program()
        self.got: dict[str, list[str]] = {}  # what each phone was sent, whole texts in order
        self.segments: dict[str, list[int]] = {}
        self.count = 0

    def program(self) -> Exchange:
        """The program, started anew on the same record and gateway."""
        made = Exchange(self.store, self.gateway, lambda: self.now, caps=self.caps, own=OWN, **self.options)
        made.begin()
        return made

    def text(self, number: str, text: str, *, ago: float = 0.0) -> list[str]:
        """A phone sends a text (its stamp `ago` seconds back); what it is sent for it."""
        self.arrive(number, text, ago=ago)
        return self.rest(number)

    def arrive(self, number: str, text: str, *, ago: float = 0.0, stamp: str = "") -> None:
        """The gateway has a text; nobody has looked yet. Two texts never have one stamp."""
        self.count += 1
        self.now += timedelta(seconds=5)
        self.daemon.receive(number, text, stamp or turn.stamp(self.now - timedelta(seconds=ago)))

    def rest(self, number: str = RIDER) -> list[str]:
        """Until nothing is left to do; what this phone was sent meanwhile."""
        before = len(self.got.get(number, ()))
        while self.exchange.step():
            self.carry()
        self.carry()
        return self.got.get(number, [])[before:]

    def carry(self) -> None:
        """The daemon sends what it has."""
        for sent in self.daemon.send_all():
            self.got.setdefault(sent.number, []).append(sent.text)
            self.segments.setdefault(sent.number, []).append(sent.parts)

    def wait(self, **time: float) -> None:
        self.now += timedelta(**time)

    def close(self) -> None:
        self.gateway.close()


def without_tag(texts: Sequence[str]) -> list[str]:
    """Texts without the tags of their questions, which count entries."""
    return [re.sub(r"^Q\d+ ", "", text) for text in texts]
