"""One whole turn with its durable commit, in multiples of one bare durable commit of SQLite.

`python -m tests.bench.bench_turn`. Both are measured in the same run, one after the other, on the
same disk, with synchronous=FULL and a write-ahead log; only the ratio means anything on another
machine. A turn is three commits: the message accepted, the turn itself, the answer marked as sent.
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from bot import turn
from bot.core import conversation
from bot.core.events import Heard
from tests.record import small_talk
from tests.record.small_talk import NINE

ROUNDS = 200
TURNS = 40  # of one case, after which the next one begins


def bare_commit(folder: Path) -> Callable[[int], None]:
    """One row and one commit."""
    connection = sqlite3.connect(folder / "bare.db", isolation_level=None)
    for pragma in ("journal_mode = wal", "synchronous = full"):
        connection.execute(f"pragma {pragma}").fetchall()
    connection.execute("create table rows_ (n integer, text text)")

    def commit(n: int) -> None:
        connection.execute("begin immediate")
        connection.execute("insert into rows_ values (?, ?)", (n, "x" * 200))
        connection.execute("commit")

    return commit


class Talker:
    """Accepts, takes and marks as sent; answers by number, and opens a case anew now and then."""

    def __init__(self, path: Path, receive: turn.Receive, begins_new: turn.BeginsNew) -> None:
        self.store = turn.open_record(path)
        self.talk = (receive, begins_new)
        self.offered = 0

    def __call__(self, n: int) -> None:
        now = NINE + timedelta(minutes=n)
        place = f"case {n // TURNS}"
        text = "metal in the oil" if n % TURNS == 0 else self._answer(n)
        inbox = turn.accept(self.store, "terminal", place, "rider", str(n), Heard(text=text), now)
        assert inbox is not None
        for out in turn.take(self.store, inbox, now, *self.talk):
            self.offered = sum(not choice.control for choice in out.message.choices)
            turn.sent(self.store, out.id, now)

    def _answer(self, n: int) -> str:
        """The last answer offered, which mostly means 'none of these'; every fourth time another one."""
        if not self.offered:
            return "Blue"
        return str(1 + n % self.offered if n % 4 == 0 else self.offered)

    def check(self) -> None:
        """A turn that failed is quick and proves nothing."""
        assert self.store.value("select count(*) from inbox where state <> 'done' or tries > 0") == 0


def timed(job: Callable[[int], None], n: int) -> float:
    """Milliseconds."""
    begin = time.perf_counter()
    job(n)
    return 1000 * (time.perf_counter() - begin)


def main() -> None:
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:  # the disk of the checkout, not one in memory
        folder = Path(name)
        small = Talker(folder / "small.db", small_talk.receive, small_talk.begins_new)
        real = Talker(folder / "real.db", conversation.receive, conversation.begins_new)
        bare = bare_commit(folder)
        jobs: dict[str, Callable[[int], None]]
        jobs = {"bare commit": bare, "turn without thinking": small, "whole turn": real}
        for job in jobs.values():  # flows are read and caches filled before the clock runs
            job(0)
        took: dict[str, list[float]] = {name: [] for name in jobs}
        for n in range(1, ROUNDS + 1):
            for name, job in jobs.items():
                took[name].append(timed(job, n))
        small.check()
        real.check()
    show(took)


def show(took: dict[str, list[float]]) -> None:
    bare = statistics.median(took["bare commit"])
    print(f"{'':24}{'median ms':>11}{'p95 ms':>9}{'times a bare commit':>22}")
    for name, times in took.items():
        middle, late = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        print(f"{name:24}{middle:>11.2f}{late:>9.2f}{middle / bare:>22.1f}")


if __name__ == "__main__":
    main()
