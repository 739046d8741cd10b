"""The program, the real gammu-smsd and a pretend modem: from a rider's text to the answer on his phone.

How often the kill test kills is told by SUMPLINE_KILLS, 12 unless told.
"""

from __future__ import annotations

import os
import random
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from bot import turn
from tests.channels.sms_rig import require_daemon
from tests.channels.sms_service import RIDER, Served

KILLS = int(os.environ.get("SUMPLINE_KILLS", "12"))
EACH = 5  # texts of one number; more than ten in ten minutes would be answered more slowly


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    require_daemon()
    made = Served(tmp_path)
    try:
        made.start()
        yield made
    finally:
        made.stop()


def answered(served: Served, text: str, number: str = RIDER) -> str:
    """Text it, and wait for what comes back."""
    before = len(served.got(number))
    served.text(text, number)
    served.wait_for(lambda: len(served.got(number)) > before)
    return served.got(number)[-1]


def test_a_rider_is_answered_refused_texts_hold_nobody_up_and_a_lost_answer_is_survived(
    served: Served,
) -> None:
    faults = served.rig.faults
    assert "Did I get this right?" in answered(served, "metal flakes in the oil")
    assert "Oil light on" in answered(served, "1")
    # A long text in parts that come backwards is one text.
    served.rig.receive("+15550002", "the chain " * 40 + "broke and locked the wheel", backwards=True)
    served.wait_for(lambda: served.got("+15550002"))
    # The network refuses a text to one number; the other is answered.
    faults.refused_numbers["+15550003"] = 38
    served.text("metal flakes in the oil", "+15550003")
    assert "Deep knock" in answered(served, "1")
    served.wait_for(lambda: states(served).get("failed") == 1)
    assert served.got("+15550003") == []
    # The network takes a text and its answer is lost: the daemon falls silent and is begun anew.
    faults.lose = 1
    assert "Engine locked" in answered(served, "1")
    served.wait_for(lambda: "is started again" in served.log.read_text("utf-8"))
    # It sends once more what it did not hear of; the tag tells the rider that it is the same question.
    served.text("1")
    served.wait_for(lambda: any("What do you call this bike?" in text for text in served.got()))
    # Texts of a rider are in no log.
    told = served.log.read_text("utf-8")
    assert RIDER not in told
    assert "flakes" not in told
    # Ended politely, nothing of ours is left.
    daemon = served.daemon()
    assert daemon
    assert served.end() == 0
    assert not Path(f"/proc/{daemon}").exists()


def states(served: Served) -> Counter[str]:
    with closing(turn.open_record(served.record)) as store:
        return Counter(row["state"] for row in store.rows("select state from texts"))


def test_nothing_is_lost_and_nothing_done_twice_whichever_side_is_killed(served: Served) -> None:
    rng = random.Random(2026)
    killed: Counter[str] = Counter()
    said: list[tuple[str, str]] = []
    while sum(killed.values()) < KILLS:
        number = f"+1555{1000 + len(said) // EACH}"
        said.append((number, f"the chain rattles, note {len(said)}"))
        served.text(said[-1][1], number)
        time.sleep(rng.uniform(0.0, 4.0))
        if rng.random() < 0.5:
            killed["daemon"] += served.kill_daemon()
        else:
            served.kill()
            killed["bot"] += 1
            served.start()
    served.wait_for(lambda: heard(served) == Counter(said), 120 + 3 * KILLS)
    served.wait_for(lambda: not states(served)["new"] and not waiting(served), 120 + 3 * KILLS)
    assert served.end() == 0
    with closing(turn.open_record(served.record)) as store:
        tokens = [row["token"] for row in store.rows("select token from texts")]
    handed = served.rig.ask("select CreatorID from sentitems where SequencePosition = 1")
    assert sorted(row["CreatorID"] for row in handed) == sorted(tokens)
    assert {number for number, _ in said} <= {whole.number for whole in served.rig.sent}
    assert killed["bot"] + killed["daemon"] == KILLS


def heard(served: Served) -> Counter[tuple[str, str]]:
    """Who said what, as the talk heard it."""
    with closing(turn.open_record(served.record)) as store:
        rows = store.rows("select id, chat from inbox where state = 'done'")
        return Counter((row["chat"], store.incoming(row["id"]).heard.text) for row in rows)


def waiting(served: Served) -> int:
    """Texts that the daemon still has to send."""
    return int(served.rig.ask("select count(*) as n from outbox")[0]["n"])
