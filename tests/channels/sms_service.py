"""`serve sms` as a program on the pretend modem: it is texted, it answers, and either side is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.channels.sms_rig import ENDS_IN, Rig

OWN = "+15550999"
RIDER = "+15550001"


class Served:
    """A rig without a daemon of its own: the program begins, watches and ends it."""

    def __init__(self, folder: Path, **settings: object) -> None:
        self.rig = Rig(folder, **settings)
        self.rig.lay_out()
        self.record = folder / "record.db"
        self.settings = folder / "settings"
        self.settings.write_text(
            f"SUMPLINE_DB={self.record}\nSUMPLINE_SMS_GATEWAY={self.rig.db}\nSUMPLINE_SMS_NUMBER={OWN}\n"
            f"SUMPLINE_SMS_CONFIG={self.rig.config}\nSUMPLINE_SMS_DAEMON=/usr/bin/gammu-smsd\n"
            "SUMPLINE_SMS_SESSION=500\nSUMPLINE_SMS_DAY=500\n",
            "utf-8",
        )
        self.settings.chmod(0o600)
        self.log = folder / "served.log"
        self._program: subprocess.Popen[bytes] | None = None

    # --- the program -----------------------------------------------------------------------

    def start(self) -> None:
        with self.log.open("ab") as out:
            self._program = subprocess.Popen(
                [sys.executable, "-m", "bot.cli", "serve", "sms", "--settings", str(self.settings)],
                stdin=subprocess.DEVNULL, stdout=out, stderr=out, env={**os.environ},
            )  # fmt: skip

    def kill(self) -> None:
        """SIGKILL; the daemon it began goes on alone until the next one finds it."""
        assert self._program is not None
        self._program.kill()
        self._program.wait()
        self._program = None

    def end(self) -> int:
        """Ask it to end; its status. The daemon has ended then."""
        assert self._program is not None
        self._program.send_signal(signal.SIGTERM)
        status = self._program.wait(3 * ENDS_IN)
        self._program = None
        return status

    def stop(self) -> None:
        if self._program is not None:
            try:
                self.end()
            except subprocess.TimeoutExpired:
                self.kill()
        self.kill_daemon()
        self.rig.stop()

    def daemon(self) -> int:
        """The process that holds the modem's daemon's place, 0 for none."""
        try:
            number = int((self.record.with_name("record.db.smsd.lock")).read_text("ascii").split()[0])
            command = Path(f"/proc/{number}/cmdline").read_bytes()
        except (OSError, ValueError, IndexError):
            return 0
        return number if b"gammu-smsd" in command and str(self.rig.config).encode() in command else 0

    def kill_daemon(self) -> bool:
        """SIGKILL to the daemon of this rig, and to nothing else."""
        number = self.daemon()
        if number:
            os.kill(number, signal.SIGKILL)
        return bool(number)

    # --- riders --------------------------------------------------------------------------------

    def text(self, text: str, number: str = RIDER) -> None:
        self.rig.receive(number, text)

    def got(self, number: str = RIDER) -> list[str]:
        """What a phone shows by now."""
        return [whole.text for whole in self.rig.sent if whole.number == number]

    def wait_for(self, seen: Callable[[], object], seconds: float = 60.0) -> None:
        ends = time.monotonic() + seconds
        while not seen():
            assert time.monotonic() < ends, f"{self.picture()}"
            time.sleep(0.05)

    def picture(self) -> str:
        told = self.log.read_text("utf-8", "replace").splitlines()[-30:] if self.log.exists() else []
        return "\n".join([*told, "--- daemon", self.rig.picture(25), f"got: {self.got()}"])
