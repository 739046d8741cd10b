"""The real gammu-smsd on a pretend modem, in a folder of its own.

Without the packages gammu-smsd and libdbd-sqlite3 tests that `require_daemon` are skipped; with
CI_NEEDS_SMSD=1 in the environment they fail instead.
"""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Collection
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import pytest

from tests.channels import sms_pdu
from tests.channels.sms_modem import Modem
from tests.channels.sms_network import CENTRE, Faults, Network, Whole
from tests.channels.sms_schema import PACKAGED, packaged

Found = TypeVar("Found")

DRIVER = "libdbd-sqlite3"
# The defaults are for reliability, up to minutes; these are for tests.
QUICK: dict[str, object] = {
    "commtimeout": 1, "receivefrequency": 1, "sendtimeout": 3, "maxretries": 1, "retrytimeout": 1,
    "multiparttimeout": 4, "loopsleep": 1, "statusfrequency": 2, "deliveryreport": "no", "checksecurity": 0,
}  # fmt: skip
ENDS_IN = 10.0  # seconds from the polite signal to the other one


def missing() -> str:
    """Why the daemon cannot run here; "" when it can."""
    if shutil.which("gammu-smsd") is None:
        return "gammu-smsd is not installed (Debian: apt install gammu-smsd libdbd-sqlite3)"
    if packaged("sqlite") is None:
        return f"the daemon's schema is not in {PACKAGED} (was documentation left out when it was installed?)"
    if not any(Path("/usr/lib").glob("*/dbd/libdbdsqlite3.so")):
        return "the daemon's SQLite driver is not installed (Debian: apt install libdbd-sqlite3)"
    return ""


class Rig:
    """A modem and its daemon. `settings` go into the daemon's section, over the quick ones."""

    def __init__(self, folder: Path, **settings: object) -> None:
        self.folder, self.settings = folder, {**QUICK, **settings}
        self.db, self.config, self.log = folder / "smsd.db", folder / "smsdrc", folder / "smsd.log"
        self.network = Network(folder / "sent.jsonl")
        self.modem = Modem(folder / "tty", self.network)
        self.modem.kill = self.kill
        self.killed = 0  # how often a fault, or a test, killed the daemon
        self._daemon: subprocess.Popen[bytes] | None = None
        self._reference = 0

    # --- the two programs

    def lay_out(self) -> None:
        """Modem, data base and configuration, but no daemon: for tests of what starts one itself."""
        self.folder.mkdir(parents=True, exist_ok=True)
        self._make_database()
        self.config.write_text(self._configuration(), "utf-8")
        self.modem.start()

    def _make_database(self) -> None:
        schema = packaged("sqlite")
        assert schema is not None, missing()
        with closing(sqlite3.connect(self.db)) as made:
            made.executescript(schema)

    def _configuration(self) -> str:
        daemon = {
            "service": "sql", "driver": "sqlite3", "dbdir": f"{self.folder}/", "database": self.db.name,
            "logfile": self.log, "debuglevel": 255, **self.settings,
        }  # fmt: skip
        lines = ["[gammu]", "connection = at", f"port = {self.modem.tty}", "gammuloc = /dev/null", "[smsd]"]
        return "\n".join([*lines, *(f"{key} = {value}" for key, value in daemon.items()), ""])

    def start(self) -> None:
        self.lay_out()
        self.start_daemon()

    def start_daemon(self) -> None:
        assert self._daemon is None, "the daemon runs already"
        with (self.folder / "smsd.out").open("ab") as out:
            self._daemon = subprocess.Popen(
                ["gammu-smsd", "-c", str(self.config)],
                env={**os.environ, "TZ": "UTC"},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
            )

    def stop_daemon(self) -> None:
        """End the daemon politely, and by force when it does not listen."""
        daemon = self._daemon
        if daemon is not None:
            daemon.send_signal(signal.SIGTERM)
            try:
                daemon.wait(ENDS_IN)
            except subprocess.TimeoutExpired:
                self.kill()
            self._daemon = None

    def kill(self) -> None:
        """SIGKILL, as a power cut would; the modem and what is on its SIM card stay."""
        daemon = self._daemon
        if daemon is not None:
            daemon.kill()
            daemon.wait()
            self._daemon = None
            self.killed += 1

    def restart(self) -> None:
        self.stop_daemon()
        self.start_daemon()

    def stop(self) -> None:
        self.stop_daemon()
        self.modem.stop()

    @property
    def runs(self) -> bool:
        return self._daemon is not None and self._daemon.poll() is None

    # --- what happens on the other side of the modem

    @property
    def faults(self) -> Faults:
        return self.network.faults

    @property
    def sent(self) -> list[Whole]:
        return self.network.sent

    def receive(
        self,
        number: str,
        text: str,
        *,
        at: datetime | None = None,
        backwards: bool = False,
        without: Collection[int] = (),
    ) -> list[bytes]:
        """A phone sends us `text`; parts may come backwards, those in `without` never. Returns PDUs."""
        self._reference = self._reference % 255 + 1
        at = sms_pdu.whole_second(at or datetime.now(UTC))
        made = sms_pdu.write_delivers(number, text, at, centre=CENTRE, reference=self._reference)
        kept = [pdu for n, pdu in enumerate(made, start=1) if n not in without]
        self.network.arrive(kept[::-1] if backwards else kept)
        return kept

    # --- what the daemon's data base says

    def ask(self, sql: str, *given: object) -> list[dict[str, Any]]:
        with closing(sqlite3.connect(self.db, timeout=10)) as db:
            db.row_factory = sqlite3.Row
            return [dict(row) for row in db.execute(sql, given)]

    def wait_for(self, seen: Callable[[], Found], seconds: float = 30.0) -> Found:
        """What `seen` gives as soon as it gives anything. AssertionError, with the log: it never did."""
        ends = time.monotonic() + seconds
        while not (found := seen()):
            assert time.monotonic() < ends, f"nothing came of it within {seconds} s\n{self.picture()}"
            time.sleep(0.05)
        return found

    def picture(self, lines: int = 60) -> str:
        """The end of the daemon's log, and what the modem was asked last."""
        logged = self.log.read_text("utf-8", "replace").splitlines() if self.log.exists() else ["no log yet"]
        return "\n".join(
            [*logged[-lines:], f"last commands: {self.modem.commands[-20:]}", f"runs: {self.runs}"]
        )


def require_daemon() -> None:
    """Skip the test that asks, or fail it where the daemon must be there."""
    if why := missing():
        if os.environ.get("CI_NEEDS_SMSD") == "1":
            pytest.fail(f"CI_NEEDS_SMSD=1, and {why}")
        pytest.skip(why)
