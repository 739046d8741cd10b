"""A channel that dies: takes messages from a network of files, and kills itself at a named moment.

`python -m tests.record.crashing FOLDER MOMENT NUMBER` handles what waits in FOLDER/network (one
message a line, confirmed ones counted in FOLDER/confirmed), notes each sending in FOLDER/sendings,
and sends itself SIGKILL when MOMENT comes for the NUMBERth message; MOMENT `never` lets it end.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from bot import turn
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.state import State
from bot.record.store import Store
from tests.record.small_talk import NINE, Said, begins_new, receive

MOMENTS = (
    "after the inbox commit",
    "before the core is asked",
    "inside the turn",
    "before the turn's commit",
    "after the turn's commit",
    "after send before mark",
    "after mark",
)

Strike = Callable[[str], None]


class Doomed(Store):
    """A record that is about to die when a turn is about to be committed."""

    strike: Strike

    def mark_taken(self, inbox: int, case: int, now: str) -> None:
        super().mark_taken(inbox, case, now)
        self.strike("before the turn's commit")


def striker(moment: str, number: int) -> Strike:
    """Kills this process when the moment has come for the `number`th time."""
    passed = 0

    def strike(now: str) -> None:
        nonlocal passed
        passed += now == moment
        if now == moment and passed == number:
            os.kill(os.getpid(), signal.SIGKILL)

    return strike


def work(folder: Path, strike: Strike) -> None:
    """One life of the channel: first what an earlier life left, then what the network brings."""
    store = Doomed(folder / "record.db")
    store.strike = strike

    def doomed_receive(desk: Desk, state: State, heard: Heard, now: datetime) -> Any:
        strike("before the core is asked")
        said: Said = receive(desk, state, heard, now)
        strike("inside the turn")
        return said

    turn.finish(store, NINE, doomed_receive, begins_new)
    _send_all(store, folder, strike)
    for number, text in _unconfirmed(folder):
        inbox = turn.accept(store, "terminal", "pit", "ann", f"m{number}", Heard(text=text), NINE)
        strike("after the inbox commit")
        (folder / "confirmed").write_text(str(number))
        if inbox is not None:
            turn.take(store, inbox, NINE, doomed_receive, begins_new)
            strike("after the turn's commit")
        _send_all(store, folder, strike)
    store.close()


def _unconfirmed(folder: Path) -> list[tuple[int, str]]:
    """The network gives again whatever was not confirmed."""
    confirmed = folder / "confirmed"
    known = int(confirmed.read_text()) if confirmed.exists() else 0
    lines = (folder / "network").read_text().splitlines()
    return [(i, text) for i, text in enumerate(lines, 1) if i > known]


def _send_all(store: Store, folder: Path, strike: Strike) -> None:
    for out in turn.due(store, NINE):
        with open(folder / "sendings", "a") as sendings:
            sendings.write(f"{out.id} {out.message.text}\n")
        strike("after send before mark")
        turn.sent(store, out.id, NINE)
        strike("after mark")


if __name__ == "__main__":
    work(Path(sys.argv[1]), striker(sys.argv[2], int(sys.argv[3])))
