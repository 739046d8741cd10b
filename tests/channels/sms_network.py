"""What a pretend modem has behind it: a SIM card with few slots, a network, and what may go wrong there."""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from tests.channels import sms_pdu
from tests.channels.sms_pdu import Coding, Submit

CENTRE = "+15550100"
SLOTS = 20
UNREAD, READ = 0, 1
# TP-Status of TS 23.040, 9.2.3.15: got it; tried for nothing and not tried again; still trying.
STATES = {"delivered": 0x00, "failed": 0x41, "pending": 0x20}
# CMS codes of TS 27.005, 3.2.5; those under 128 are causes of TS 24.011, annex E-2. From memory.
NETWORK_OUT_OF_ORDER = 38
BARRED = 10
NO_SUCH_NUMBER = 1

When = Literal["before", "after"]


@dataclass
class Die:
    """Kill the daemon at the `nth` command of a name from now on: before its work, or unanswered after it."""

    command: str
    when: When
    nth: int = 1
    seen: int = 0

    def falls(self, command: str, when: When) -> bool:
        """Whether this is the place. It is asked twice for each command, and counts it the first time."""
        if command != self.command:
            return False
        self.seen += when == "before"
        return when == self.when and self.seen == self.nth


@dataclass
class Faults:
    """What goes wrong from now on. Counts go down as it happens."""

    refuse: int = 0  # so many sends are refused
    code: int = NETWORK_OUT_OF_ORDER
    refused_numbers: dict[str, int] = field(default_factory=dict)  # beginning of a number: its code
    lose: int = 0  # so many sends are taken and their answer is lost
    delay: float = 0.0  # seconds before a send is answered
    report: str = "delivered"  # what a report says when one was asked for; "" for none at all
    die: Die | None = None

    def refusal(self, number: str) -> int:
        """The code by which this send is refused, 0 when it is taken."""
        for beginning, code in self.refused_numbers.items():
            if number.startswith(beginning):
                return code
        if self.refuse:
            self.refuse -= 1
            return self.code
        return 0


@dataclass(frozen=True)
class Whole:
    """A message that left, as the phone it went to shows it: `parts` of `total` were taken."""

    number: str
    text: str
    coding: Coding
    parts: int
    total: int

    @property
    def complete(self) -> bool:
        return self.parts == self.total


class Network:
    """Takes what the modem sends, and keeps what came for us: in slots while there are some free."""

    def __init__(self, written: Path | None = None) -> None:
        self.faults = Faults()
        self.submits: list[Submit] = []  # every part that was taken, in order, repeated ones too
        self.refused: list[tuple[Submit, int]] = []
        self.slots: dict[int, tuple[int, bytes]] = {}  # place: whether read, PDU
        self._held: deque[bytes] = deque()
        self._written = written
        self._reference = 0
        self.lock = threading.RLock()

    def submit(self, pdu: bytes) -> tuple[int, int]:
        """Take a send. Returns the network's reference and 0, or a code of refusal in the second place."""
        said = sms_pdu.read_submit(pdu)
        with self.lock:
            code = self.faults.refusal(said.number)
            if code:
                self.refused.append((said, code))
                return -1, code
            self._reference = self._reference % 255 + 1
            self._take(said)
            return self._reference, 0

    def _take(self, said: Submit) -> None:
        self.submits.append(said)
        if self._written is not None:
            with self._written.open("a", encoding="utf-8") as log:
                print(json.dumps(asdict(said) | {"header": said.header.hex()}, ensure_ascii=False), file=log)
        if said.report and self.faults.report:
            self.report(self._reference, said.number, self.faults.report)

    def report(self, reference: int, number: str, state: str) -> None:
        """Tell what became of a message that was sent; `state` is a word of STATES."""
        now = sms_pdu.whole_second(datetime.now(UTC))
        self.arrive([sms_pdu.write_report(reference, number, now, now, centre=CENTRE, state=STATES[state])])

    def arrive(self, pdus: Sequence[bytes]) -> None:
        with self.lock:
            self._held.extend(pdus)
            self._fill()

    def _fill(self) -> None:
        free = [place for place in range(1, SLOTS + 1) if place not in self.slots]
        for place in free[: len(self._held)]:
            self.slots[place] = (UNREAD, self._held.popleft())

    def read(self, place: int) -> tuple[int, bytes] | None:
        """A slot as it was before it was read."""
        with self.lock:
            found = self.slots.get(place)
            if found:
                self.slots[place] = (READ, found[1])
            return found

    def listed(self) -> list[tuple[int, tuple[int, bytes]]]:
        with self.lock:
            return sorted(self.slots.items())

    def delete(self, place: int) -> None:
        with self.lock:
            self.slots.pop(place, None)
            self._fill()

    @property
    def waiting(self) -> int:
        """PDUs that nobody has fetched and deleted yet."""
        with self.lock:
            return len(self.slots) + len(self._held)

    @property
    def sent(self) -> list[Whole]:
        """What left, joined by number and reference; a part that was repeated meanwhile counts once."""
        with self.lock:
            return join(self.submits)


def join(submits: Sequence[Submit]) -> list[Whole]:
    open_: dict[tuple[str, int, int], dict[int, Submit]] = {}
    groups: list[dict[int, Submit]] = []
    for submit in submits:
        reference, total, at = submit.part
        key = (submit.number, reference, total)
        if total == 1 or key not in open_ or len(open_[key]) == total:
            open_[key] = {}
            groups.append(open_[key])
        open_[key][at] = submit
    return [shown(group) for group in groups]


def shown(group: dict[int, Submit]) -> Whole:
    some = next(iter(group.values()))
    text = "".join(group[at].text for at in sorted(group))
    return Whole(some.number, text, some.coding, len(group), some.part[1])
