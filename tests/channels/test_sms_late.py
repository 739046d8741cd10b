"""What gammu-smsd says of a text whose answer came too late: an error, though the network took it twice."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from tests.channels.sms_rig import Rig, require_daemon


def test_a_late_answer_makes_copies_and_is_called_an_error(tmp_path: Path) -> None:
    """With `sendtimeout` 1 it waits some four seconds. Its error has no code of the network's then: -1."""
    require_daemon()
    rig = Rig(tmp_path, sendtimeout=1)
    rig.faults.delay = 8
    try:
        rig.start()
        with closing(sqlite3.connect(rig.db, timeout=10)) as db, db:
            db.execute(
                "insert into outbox (DestinationNumber, TextDecoded, CreatorID)"
                " values ('+15550001', 'slow', 'm')"
            )
        rig.wait_for(lambda: rig.ask("select * from sentitems"), seconds=60)
        (row,) = rig.ask("select * from sentitems")
        assert (row["Status"], row["StatusCode"]) == ("SendingError", -1)
        assert [said.text for said in rig.network.submits] == ["slow", "slow"]
    finally:
        rig.stop()
