"""A pretend gammu-smsd: writes a heartbeat, and ends, or not, as it is told. Run as a program.

    python sms_child.py FOLDER HOW

Each life adds its process, zone and secret to FOLDER/lives; FOLDER/beat is its heartbeat. HOW: `obeys` ends
on SIGTERM; `ignores` does not; `hangs` stops its heartbeat after three; `deaf` does both; `dies` ends at
once with a word on why; `forks` leaves a program behind that keeps our output open; `pin` tries a wrong PIN
again and again.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

EVERY = 0.05  # seconds between two beats


def live(folder: Path, how: str) -> None:
    """One life."""
    with (folder / "lives").open("a") as file:
        file.write(f"{os.getpid()} {os.environ.get('TZ')} {os.environ.get('SUMPLINE_SMS_GATEWAY', '-')}\n")
    if how == "dies":
        print("Sun 2026/11/29 16:14:49 gammu-smsd[7017]: DBI failed to init sqlite3 # x driver!")
        print("Failed to run SMSD: Failed to initialize DB driver.", file=sys.stderr)
        sys.exit(2)
    if how == "pin":
        # As gammu-smsd 1.42.0 was seen to do it, only sooner: it does not end by itself, and tries again.
        for number in range(1, 4):
            (folder / "tries").write_text(str(number))
            print(
                "gammu-smsd[1]: ERROR: incorrect PIN: Security error. Maybe no PIN? (SECURITYERROR[23])",
                flush=True,
            )
            time.sleep(2)
    if how in ("ignores", "deaf"):
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
    if how == "forks":
        left = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"], close_fds=False)
        (folder / "left").write_text(str(left.pid))
    beats = 0
    while True:
        if not (how in ("hangs", "deaf") and beats >= 3):
            beats += 1
            beat = folder / "beat.new"
            beat.write_text(f"{os.getpid()} {beats}")
            beat.rename(folder / "beat")
        time.sleep(EVERY)


if __name__ == "__main__":
    live(Path(sys.argv[1]), sys.argv[2])
