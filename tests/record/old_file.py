"""Makes the record file of today's version that later versions must still be able to read.

Run once for each new step of the migrations: `python -m tests.record.old_file tests/record/files`.
Its content is a short talk; what must be read back from it is written by hand in test_migrations.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import date, timedelta
from pathlib import Path

from bot import turn
from bot.core import events
from bot.core.book_entries import Hours
from bot.core.intervals import Interval
from bot.core.reminders import OilWatch
from bot.core.state import State, fold
from bot.record.cases import KeptFlow
from bot.record.migrations import NAMES
from bot.record.post import Address
from bot.record.store import Store
from tests.record.small_talk import NINE, Rider

AT = "2026-05-01T09:00:00Z"
CHANGED = OilWatch(date(2026, 4, 1), (30, 30), (43, 43), 8, 60)  # long due at 43 h


def closed(cause: str) -> State:
    """A case that a mechanic closed, with what was held likely just before."""
    told = events.OutcomeTold(result="cause", cause=cause, how="seen", expected={cause: 0.75, "": 0.25})
    found = (events.FlowChosen(flow="metal", hash="h1", title="Metal"), told, events.Ended(how="closed"))
    return fold(events.Entry(n, AT, "Max", "mechanic", event) for n, event in enumerate(found, 1))


def make(target: Path) -> None:
    """A file with a row in every table that has verbs of its own."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "record.db")
        store.keep_flow(KeptFlow("h1", "metal", 1, 1, "Metal", "the text", "the common text", "{}"))
        store.publish("shipped", "metal", "h1", AT)
        ann, ben = Rider(store, "Ann", now=NINE), Rider(store, "Ben", chat="garage", now=NINE)
        for text in (
            "metal in the oil",
            "bike Blue",
            "hours 43",
            "trait starter kick",
            "set units both",
            "all",
        ):
            ann.say(text)
        ben.hand_in("no brakes")
        store.keep_file(ann.number, b"a picture", "photo", AT)
        store.write_book("1", Hours(hours=(43, 43)), AT, case=1)
        store.keep_update("telegram", 7, '{"update_id": 7}', AT)
        store.want_file("tg-1-x", "telegram", "locator", ann.number, "5", "photo", "", AT)
        store.make_link("token", 1, ann.number, "2026-05-03T09:00:00Z", AT)
        store.mark_reachable("telegram", "5", False, AT)
        store.ask_job("my_data", {"chat": "5"}, ann.number, AT)
        store.keep_interval("1", Interval(hours=8, days=60), AT)
        turn.remind(store, NINE + timedelta(days=1), lambda bike: CHANGED)
        store.count_case(2, ben.number, closed("nut-loose"))
        told = max(turn.due(store, NINE + timedelta(days=2)), key=lambda out: out.id)
        turn.sent(store, told.id, NINE + timedelta(days=1))
        share(store, ann.number, ben.number)
        publish(store, ann.number)
        link(store, ann.number)
        store.backup(target)
        store.close()


def share(store: Store, ann: int, ben: int) -> None:
    """Ann gave Ben a code for her case, and made another one; Ben tried a wrong one before."""
    with store.writing():
        store.keep_code(1, ann, "digest of the first", AT)
        store.keep_code(1, ann, "digest of the second", AT)
        store.count_guess(ben, AT)
        found = store.case_of_code("digest of the first", AT)
        assert found is not None
        store.use_code(found[0], ben, AT)


def publish(store: Store, ann: int) -> None:
    """Ann put a second version in use and withdrew it again; a third one she kept as draft."""
    with store.writing():
        for digest, version in (("h2", 2), ("h3", 3)):
            store.keep_flow(KeptFlow(digest, "metal", version, 1, "Metal", f"text {version}", "", "{}"))
        store.publish("everyone", "metal", "h2", AT, ann)
        store.note_act("published", "everyone", "metal", "h2", AT, ann)
        store.withdraw("everyone", "metal", "h2", AT)
        store.note_act("moved", "everyone", "metal", "h1", AT, None, 1)
        store.settle_draft(store.keep_draft(ann, "everyone", "metal", "h3", AT), "kept")


def link(store: Store, ann: int) -> None:
    """Ann's number is joined to her; another number has a code, and a third is asked whose it is."""
    with store.writing():
        numbers = [store.meet("sms", f"+15550{n}", "rider", "rider", AT).id for n in (100, 200, 300)]
        store.keep_link_code("+15550100", numbers[0], "digest of a link", AT)
        store.join(numbers[0], ann, AT)
        store.run("insert into called values (2, ?, 'Annie')", ann)
        store.keep_link_code("+15550200", numbers[1], "digest of another link", AT)
        heard = events.Heard(text="hello again")
        inbox = store.put_in(Address("sms", "+15550300"), "s1", numbers[2], heard, AT)
        assert inbox is not None
        store.mark_taken(inbox, None, AT)
        store.hold_back("+15550300", numbers[2], inbox, AT)
        store.count_return("+15550300")
        store.note_place(ann, Address("sms", "+15550100"))


if __name__ == "__main__":
    make(Path(sys.argv[1]) / f"version-{max(NAMES)}.db")
