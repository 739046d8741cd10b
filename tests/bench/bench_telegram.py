"""A whole turn over Telegram beside a bare echo of the same library, on the same server, in the same run.

    python -m tests.bench.bench_telegram [--riders N] [--messages N] [--long]

Each program is given the same messages, all waiting when it starts; then single ones, one after the
other. Both are programs of their own; the server checks nothing here, so that it is not what is
measured. Our record is written with `synchronous=FULL`. `--long`: memory after 1,000 and 10,000 turns.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from tests.channels.telegram_person import Person
from tests.channels.telegram_server import TelegramServer

RATE, LATENCY, FLOOR = 1 / 3, 5.0, 30.0  # of the echo's rate at least, of its median at most, turns a second
GROWTH = 1.2  # memory after 10,000 turns over memory after 1,000
SINGLE = 40
TEXTS = ("metal in the oil", "none of these", "no knock", "back", "where are we", "asdf", "not sure", "why")

OURS = ("-m", "bot.cli", "serve", "telegram")
ECHO = ("-m", "tests.bench.echo_bot")


@contextmanager
def running(server: TelegramServer, words: tuple[str, ...]) -> Iterator[int]:
    """A bot on this server; its process number."""
    with tempfile.TemporaryDirectory() as folder:
        api = server.base_url.removesuffix("/bot")
        given = {"SUMPLINE_TELEGRAM_TOKEN": server.token, "SUMPLINE_TELEGRAM_API": api}
        env = {**os.environ, **given, "SUMPLINE_DB": str(Path(folder, "record.db")), "SUMPLINE_ADMINS": "1"}
        bot = subprocess.Popen([sys.executable, *words], env=env, stderr=subprocess.DEVNULL)
        try:
            yield bot.pid
        finally:
            bot.terminate()
            bot.wait(30)


def kept_kilobytes(process: int) -> int:
    """Resident memory of a process."""
    status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))


def measure(words: tuple[str, ...], riders: int, messages: int) -> tuple[float, float]:
    """Turns a second with a backlog, and the median seconds of a single message."""
    with TelegramServer(checking=False) as server:
        people = [server.person(f"Rider {n}") for n in range(riders)]
        warm = server.person("Warm")
        with running(server, words):
            warm.say("metal in the oil")  # imports, the flows into the record, the first plan
            server.wait_for_calls("sendMessage", 1, within=60)
            server.idle(1.0)
            server.hang("getUpdates", 0.5)
            began = time.perf_counter()
            for n in range(messages):
                people[n % riders].say(TEXTS[n // riders % len(TEXTS)])
            answered = _all_answered(server)
            rate = messages / (answered - began)
            server.idle(1.0)
            single = [_single(server, people[n % riders]) for n in range(SINGLE)]
    return rate, median(single)


def _all_answered(server: TelegramServer) -> float:
    """When every message has its answer. A turn may be told in more or fewer messages than one."""
    server.wait_for(lambda: not server.pending, within=600, told="all updates are taken")
    server.idle(1.5, within=600)
    return server.calls_of("sendMessage")[-1].at


def _single(server: TelegramServer, person: Person) -> float:
    count = len(server.calls_of("sendMessage"))
    began = time.perf_counter()
    person.say("why")
    server.wait_for_calls("sendMessage", count + 1, within=30)
    return time.perf_counter() - began


def grow(turns: tuple[int, int]) -> list[int]:
    """Kilobytes after each number of turns."""
    kept = []
    with TelegramServer(checking=False) as server:
        people = [server.person(f"Rider {n}") for n in range(50)]
        with running(server, OURS) as process:
            said = 0
            for goal in turns:
                while said < goal:
                    for person in people:
                        person.say(TEXTS[said // 50 % len(TEXTS)])
                        said += 1
                    server.wait_for(lambda: not server.pending, within=120, told="all updates are taken")
                server.idle(3.0, within=600)
                kept.append(kept_kilobytes(process))
    return kept


def main() -> int:
    asked = argparse.ArgumentParser(description="a turn over Telegram beside a bare echo")
    asked.add_argument("--riders", type=int, default=80)
    asked.add_argument("--messages", type=int, default=320)
    asked.add_argument("--long", action="store_true", help="memory after 1,000 and 10,000 turns")
    chosen = asked.parse_args()
    echo_rate, echo_single = measure(ECHO, chosen.riders, chosen.messages)
    rate, single = measure(OURS, chosen.riders, chosen.messages)
    print(f"{'':12s} turns/s   one message, median ms")
    print(f"{'bare echo':12s} {echo_rate:7.1f} {1000 * echo_single:10.1f}")
    print(f"{'sumpline':12s} {rate:7.1f} {1000 * single:10.1f}")
    print(f"{'ratio':12s} {rate / echo_rate:7.2f} {single / echo_single:10.1f}")
    kept = rate >= max(RATE * echo_rate, FLOOR) and single <= LATENCY * echo_single
    wanted = f"rate >= {RATE:.2f} and >= {FLOOR:g}/s, median <= {LATENCY:g}"
    print(f"wanted: {wanted}: {'kept' if kept else 'MISSED'}")
    if chosen.long:
        first, last = grow((1_000, 10_000))
        held = last <= GROWTH * first
        print(f"memory after 1,000 turns {first} kB, after 10,000 {last} kB: {last / first:.2f}"
              f" (wanted <= {GROWTH}): {'kept' if held else 'MISSED'}")  # fmt: skip
        kept = kept and held
    return 0 if kept else 1


if __name__ == "__main__":
    raise SystemExit(main())
