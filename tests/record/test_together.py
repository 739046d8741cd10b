"""Two programs, one case: no number is lost, none is given twice, and every answer is there."""

from __future__ import annotations

from collections import Counter
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path

from bot import turn
from bot.record.store import Store
from tests.record import talker
from tests.record.small_talk import NINE, Rider, heard_texts, receive, seat_mechanic

EACH = 25


def test_two_programs_answer_at_once(tmp_path: Path) -> None:
    store = Store(tmp_path / "record.db")
    rider = Rider(store, "opener")
    rider.say("metal")
    for name in ("ann", "ben"):
        seat_mechanic(store, 1, name, name)
    go = tmp_path / "go"
    with ExitStack() as both:
        programs = [both.enter_context(talker.start(store.path, n, n, EACH, go)) for n in ("ann", "ben")]
        go.touch()
        assert [program.wait(120) for program in programs] == [0, 0]
    entries = store.entries(1)
    assert [e.seq for e in entries] == list(range(1, len(entries) + 1))
    wanted = [f"trait {name} {i + 1}" for name in ("ann", "ben") for i in range(EACH)]
    assert Counter(heard_texts(store, 1)) == Counter(["metal", *wanted])
    for name in ("ann", "ben"):  # each in the order in which it was said
        own = [text for text in heard_texts(store, 1) if text.startswith(f"trait {name}")]
        assert own == [f"trait {name} {i + 1}" for i in range(EACH)]
    assert store.state(1).traits == {"ann": str(EACH), "ben": str(EACH)}
    assert store.value("select count(*) from outbox") == 2 * EACH + 1
    switches = _switches([e.who for e in entries if e.event.kind == "heard"])
    assert switches > 1, "the two did not talk at the same time, so nothing was tried"


def _switches(names: list[str]) -> int:
    return sum(a != b for a, b in pairwise(names))


def test_two_programs_take_the_same_message_and_one_turn_is_done(tmp_path: Path) -> None:
    first, second = Store(tmp_path / "record.db"), Store(tmp_path / "record.db")
    inbox = turn.accept(first, "terminal", "pit", "ann", "m1", turn.Heard(text="metal"), NINE)
    assert inbox is not None
    one = turn.take(first, inbox, NINE, receive)
    two = turn.take(second, inbox, NINE, receive)
    assert one == two
    assert len(one) == 1
    assert heard_texts(first, 1) == ["metal"]
