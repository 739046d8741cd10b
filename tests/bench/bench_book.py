"""A turn beside a book of 2,000 entries, in multiples of one beside a book of 20.

`python -m tests.bench.bench_book`. Both in the same run, by turns, on the same disk: the open question of
a case with that bike, 'trend', 'book', and a line that is written. The first turn of a program reads the
whole book; it is measured apart. The aim is 1.5.
"""

from __future__ import annotations

import random
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bot import turn
from bot.channels.seat import Seat
from bot.core.book_entries import Find, Hours, OilChange, Work

AIM, ROUNDS = 1.5, 12
START = datetime(2026, 5, 4, 9, tzinfo=UTC)
CASE = ("metal in my oil", "none of these", "no knock", "turns by hand", "Pepper")


def fill(path: Path, entries: int) -> None:
    """A bike's book: readings, an oil change every eighth line, the engine opened every hundredth."""
    dice, hours = random.Random(7), 1.0
    with closing(turn.open_record(path)) as store, store.writing():
        person = store.meet("terminal", "Robin", "Robin", "rider", turn.stamp(START))
        bike = store.make_bike(person.id, "Pepper", turn.stamp(START))
        for n in range(entries):
            hours = round(hours + 0.6, 1)
            found = (Find(form="flake", count=(dice.randint(0, 4),) * 2),)
            line = Hours(hours=(hours, hours))
            if n % 8 == 7 or n == entries - 1:
                line = OilChange(hours=(hours, hours), filter="changed", found=found)
            if n % 100 == 99:
                line = Work(hours=(hours, hours), what="clutch cover", opened=True)
            store.write_book(bike, line, turn.stamp(START + timedelta(minutes=n)))
        store.read_meter(bike, hours, hours, turn.stamp(START))


class Rider:
    """Talks about Pepper; each say is timed."""

    def __init__(self, path: Path) -> None:
        self.store = turn.open_record(path)
        self.now = START + timedelta(days=200)
        self.seat = Seat(self.store, "Robin", clock=lambda: self.now)
        self.hours = self.store.bikes_of(1)[0].hours or 0.0

    def say(self, text: str, wanted: str = "") -> float:
        self.now += timedelta(minutes=1)
        began = time.perf_counter()
        said = self.seat.say(text)
        taken = time.perf_counter() - began
        assert any(wanted in out.message.text for out in said), (text, [out.message.text for out in said])
        return taken

    def round(self) -> Iterator[tuple[str, float]]:
        """Seconds of each kind of turn."""
        yield "open question", self.say("asdf", "Which oils")
        yield "trend", self.say("trend", "pieces in")
        yield "book", self.say("book", "Book of Pepper")
        self.hours = round(self.hours + 0.2, 1)
        self.say(f"book hours {self.hours}")
        yield "line written", self.say("yes", "Written in the book of Pepper")


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        riders, first = {}, {}
        for entries in (20, 2000):
            path = Path(folder, f"{entries}.db")
            fill(path, entries)
            warm = Rider(path)
            warm.say("hello")
            warm.store.close()
            riders[entries] = Rider(path)
            first[entries] = riders[entries].say("book")
            for text in CASE:
                riders[entries].say(text)
        times: dict[tuple[int, str], list[float]] = {}
        for _ in range(ROUNDS):
            for entries, rider in riders.items():
                for kind, seconds in rider.round():
                    times.setdefault((entries, kind), []).append(seconds)
        for rider in riders.values():
            rider.store.close()
    kinds = [kind for entries, kind in times if entries == 20]
    middle = {key: 1000 * statistics.median(each) for key, each in times.items()}
    print(f"{'':14s} {'20':>8s} {'2,000':>8s}   ms, median of {ROUNDS}")
    for kind in kinds:
        small, large = middle[20, kind], middle[2000, kind]
        print(f"{kind:14s} {small:8.1f} {large:8.1f}   {large / small:.2f} times")
    print(f"{'first of all':14s} {1000 * first[20]:8.1f} {1000 * first[2000]:8.1f}   (reads the book)")
    worst = max(middle[2000, kind] / middle[20, kind] for kind in kinds)
    print(f"wanted: at most {AIM} times: {'kept' if worst <= AIM else 'MISSED'} ({worst:.2f})")
    return int(worst > AIM)


if __name__ == "__main__":
    raise SystemExit(main())
