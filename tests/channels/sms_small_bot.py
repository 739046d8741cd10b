"""A bot of forty lines around the gateway, and a way to end it dead at any step. A program for tests.

It answers each message that it has not seen with the same words in capitals. Everything it knows is in an
SQLite file of its own; between that and the daemon's tables there is no common transaction.
Run as a program it reads lines: place of the daemon's tables, own file, and the step at which a fork of it
ends dead (0: none); it answers each with how that one ended. Forked, since starting Python takes longest.
"""

from __future__ import annotations

import os
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bot.channels.sms import engines
from bot.channels.sms.gateway import Gateway, open_gateway
from bot.core.segments import split

DEAD = 77
_OWN = """
create table if not exists seen (key text primary key, number text, text text, whole int);
create table if not exists outgoing (id integer primary key, number text, text text, given int default 0);
"""


class SmallBot:
    """`step` is called between any two things that it does."""

    def __init__(self, gateway: Gateway, own: str | Path, step: Callable[[], None] = lambda: None) -> None:
        self.gateway, self.step = gateway, step
        self.own = sqlite3.connect(own, isolation_level=None)
        self.own.execute("pragma synchronous = off")
        self.own.executescript(_OWN)

    def turn(self) -> None:
        """All that came in is taken and answered, and the answers are handed over."""
        for text in self.gateway.read():
            self.step()
            self._take(text.key, text.number, text.text, text.whole)
            self.step()
            self.gateway.done(text.rows)
            self.step()
        for id, number, said in self.own.execute(
            "select id, number, text from outgoing where not given"
        ).fetchall():
            self.gateway.hand_over(f"m-{id}", number, split(said))
            self.step()
            self.own.execute("update outgoing set given = 1 where id = ?", (id,))
            self.step()

    def _take(self, *message: Any) -> None:
        self.own.execute("begin immediate")
        new = self.own.execute("insert or ignore into seen values (?, ?, ?, ?)", message).rowcount
        self.step()
        if new:
            _, number, text, whole = message
            said = text.upper() if whole else "PART OF IT IS MISSING, SEND IT AGAIN"
            self.own.execute("insert into outgoing (number, text) values (?, ?)", (number, said))
        self.step()
        self.own.execute("commit")

    def close(self) -> None:
        self.own.close()
        self.gateway.close()


def _dying(at: int) -> Callable[[], None]:
    """Ends the program dead at the given step, and counts those inside the gateway's transactions too."""
    here = 0

    def step() -> None:
        nonlocal here
        here += 1
        if here == at:
            os._exit(DEAD)

    for engine in (engines.Lite, engines.Postgres):
        _interrupt(engine, step)
    return step


def _interrupt(engine: Any, step: Callable[[], None]) -> None:
    real = engine._try

    def tried(self: Any, work: Any, mode: Any) -> Any:
        def stepwise(ask: Any) -> Any:
            def asked(*said: Any, **given: Any) -> Any:
                found = ask(*said, **given)
                step()
                return found

            return work(asked)

        return real(self, stepwise, mode)

    engine._try = tried


def _run(place: str, own: str, dead_at: int) -> int:
    open_gateway(place).close()  # what it imports is imported once, before the fork
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    try:
        SmallBot(open_gateway(place, hold=0), own, _dying(dead_at)).turn()
    except BaseException as error:
        print(error, file=sys.stderr, flush=True)
        os._exit(1)
    os._exit(0)


if __name__ == "__main__":
    for line in sys.stdin:
        place, own, dead_at = line.rstrip("\n").split("\t")
        print(_run(place, own, int(dead_at)), flush=True)
