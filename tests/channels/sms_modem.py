"""A pretend GSM modem on a pseudo-terminal: as much of the AT dialect as gammu speaks in PDU mode.

TS 27.007 and TS 27.005 of 3GPP name the commands; which ones gammu uses was read in its own log. Whatever it
asks beyond them is answered ERROR and kept in `unknown`, so that a newer gammu shows what it misses.
"""

from __future__ import annotations

import contextlib
import os
import pty
import re
import select
import termios
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path

from tests.channels.sms_network import CENTRE, SLOTS, Network, When

MAKER, MODEL, REVISION = (
    "Pretend Works",
    "PW-1",
    "1.0",
)  # no name by which gammu would pick a driver of its own
SERIAL, SUBSCRIBER = "490000000000014", "001010000000001"
PROMPT, END, GIVE_UP = b"\r\n> ", b"\x1a", b"\x1b"
ERROR = "ERROR"
INVALID_INDEX, INVALID_PDU = 321, 304  # CMS codes of TS 27.005, 3.2.5, from memory

MEMORY = f'"SM",{{0}},{SLOTS}'
# What is always answered alike.
SAID = {
    "": "", "E0": "", "E1": "", "Z": "", "+CMEE=1": "", "+CMEE=2": "", "+CFUN=1": "",
    "+CMGF=0": "", "+CSMS=0": "",
    "+CGMI": MAKER, "+CGMM": MODEL, "+CGMR": REVISION, "+CGSN": SERIAL, "+CIMI": SUBSCRIBER,
    "+CPIN?": "+CPIN: READY",
    "+CSCS=?": '+CSCS: ("GSM")', "+CSCS?": '+CSCS: "GSM"',
    "+CMGF=?": "+CMGF: (0)", "+CMGF?": "+CMGF: 0",
    "+CSMS?": "+CSMS: 0,1,1,1", "+CSMS=?": "+CSMS: (0)",
    "+CNMI=?": "+CNMI: (0-2),(0-1),(0),(0-1),(0)", "+CNMI?": "+CNMI: 0,0,0,0,0",
    "+CPMS=?": '+CPMS: ("SM"),("SM"),("SM")',
    "+CSCA?": f'+CSCA: "{CENTRE}",145',
    "+CSQ": "+CSQ: 21,99", "+CBC": "+CBC: 0,80",
    "+CREG?": '+CREG: 2,1,"0001","00000001"', "+CGREG?": '+CGREG: 2,1,"0001","00000001"',
    "+CGATT?": "+CGATT: 1",
    "+COPS?": '+COPS: 0,2,"00101"',
}  # fmt: skip
# What may be set to anything without a difference.
TAKEN = ("+CSCS=", "+CNMI=", "+CREG=", "+CGREG=", "+COPS=", "+CSCA=", "+CMMS=", "+CLIP=", "+CUSD=")


class Modem:
    """The modem of one network. `start()` opens it at `tty`; a fault that ends the daemon calls `kill`."""

    def __init__(self, tty_path: Path, network: Network) -> None:
        self.tty, self.network = tty_path, network
        self.kill: Callable[[], None] = lambda: None
        self.commands: list[str] = []
        self.unknown: list[str] = []
        self._echo, self._pending, self._long = True, b"", 0
        self._in_text = False
        self._over = threading.Event()
        self._thread: threading.Thread | None = None

    # --- the line

    def start(self) -> None:
        # The other end stays open here too: there is no hang-up when a daemon dies.
        self._ours, self._theirs = pty.openpty()
        os.set_blocking(self._ours, False)  # a daemon may flush what was there to be read
        self._over.clear()
        tty.setraw(self._theirs)
        self.tty.unlink(missing_ok=True)
        self.tty.symlink_to(os.ttyname(self._theirs))
        self._thread = threading.Thread(target=self._run, name="pretend modem", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
            os.close(self._ours)
            os.close(self._theirs)
            self.tty.unlink(missing_ok=True)

    def _run(self) -> None:
        while not self._over.is_set():
            if select.select([self._ours], [], [], 0.05)[0]:
                with contextlib.suppress(BlockingIOError):
                    self._hear(os.read(self._ours, 4096))

    def _hear(self, octets: bytes) -> None:
        if self._echo:
            self._write(octets)
        self._pending += octets
        while (line := self._next_line()) is not None:
            if self._in_text:
                self._take_text(line)
            else:
                self._obey(line)

    def _next_line(self) -> bytes | None:
        """A command up to its carriage return, or a PDU up to its end mark with the mark."""
        ends = rb"[\x1a\x1b]" if self._in_text else rb"[\r\n\x1a\x1b]"
        found = re.search(ends, self._pending)
        if found is None:
            return None
        line, self._pending = self._pending[: found.end()], self._pending[found.end() :]
        return line

    def _write(self, octets: bytes) -> None:
        while octets and not self._over.is_set():
            if select.select([], [self._ours], [], 0.05)[1]:
                with contextlib.suppress(BlockingIOError):
                    octets = octets[os.write(self._ours, octets) :]

    def _answer(self, *lines: str, last: str = "OK") -> None:
        self._write(b"".join(f"\r\n{line}\r\n".encode("ascii") for line in (*lines, last)))

    def _refuse(self, code: int) -> None:
        self._answer(last=f"+CMS ERROR: {code}")

    def _die(self, command: str, when: When) -> bool:
        """Kill the daemon here, if that is meant; then the line is empty, and nothing is answered."""
        faults = self.network.faults
        if faults.die is None or not faults.die.falls(command, when):
            return False
        self.kill()
        self._in_text, self._pending = False, b""
        termios.tcflush(self._theirs, termios.TCIOFLUSH)
        faults.die = None  # last: whoever waits for it may start the next daemon
        return True

    # --- commands

    def _obey(self, line: bytes) -> None:
        command = line.decode("ascii", "replace").strip("\r\n\x1a\x1b \0").upper()
        if not command:
            return
        self.commands.append(command)
        if not command.startswith("AT"):
            self._answer(last=ERROR)
        elif act := re.fullmatch(r"AT\+(CMG[SRLD]|CPMS)=([^?].*)", command):
            self._work(act[1], act[2])
        else:
            self._say(command[2:])

    def _say(self, asked: str) -> None:
        self._echo = {"E0": False, "E1": True}.get(asked, self._echo)
        if asked == "+CPMS?":
            self._answer("+CPMS: " + ",".join([self._memory()] * 3))
        elif asked in SAID:
            self._answer(*filter(None, [SAID[asked]]))
        elif asked.startswith(TAKEN) and not asked.endswith("?"):
            self._answer()
        else:
            self.unknown.append(asked)
            self._answer(last=ERROR)

    def _memory(self) -> str:
        return MEMORY.format(len(self.network.slots))

    def _work(self, name: str, given: str) -> None:
        if self._die(name, "before"):
            return
        {
            "CMGS": self._ask_text,
            "CMGR": self._read,
            "CMGL": self._list,
            "CMGD": self._delete,
            "CPMS": self._choose,
        }[name](given)

    def _choose(self, given: str) -> None:
        if '"ME"' in given or '"MT"' in given:
            self._refuse(302)  # not allowed: there is the SIM card only
        else:
            counts = f"{len(self.network.slots)},{SLOTS}"
            self._answer("+CPMS: " + ",".join([counts] * 3))

    def _list(self, given: str) -> None:
        found = [
            f"+CMGL: {place},{state},,{len(pdu) - 1 - pdu[0]}\r\n{pdu.hex().upper()}"
            for place, (state, pdu) in self.network.listed()
            if given == "4" or given == str(state)
        ]
        self._answer(*found)

    def _read(self, given: str) -> None:
        found = self.network.read(int(given)) if given.isdigit() and 1 <= int(given) <= SLOTS else None
        if found is None:
            self._refuse(INVALID_INDEX)
        else:
            state, pdu = found
            self._answer(f"+CMGR: {state},,{len(pdu) - 1 - pdu[0]}\r\n{pdu.hex().upper()}")

    def _delete(self, given: str) -> None:
        place = given.split(",")[0]
        if not place.isdigit() or not 1 <= int(place) <= SLOTS:
            self._refuse(INVALID_INDEX)
            return
        self.network.delete(int(place))
        if not self._die("CMGD", "after"):
            self._answer()

    # --- sending

    def _ask_text(self, given: str) -> None:
        self._long = int(given) if given.isdigit() else -1
        self._in_text = True
        self._write(PROMPT)

    def _take_text(self, line: bytes) -> None:
        self._in_text = False
        if line.endswith(GIVE_UP):
            self._answer()
            return
        pdu = self._pdu(line[:-1])
        if pdu is None:
            self._refuse(INVALID_PDU)
        else:
            self._send(pdu)

    def _pdu(self, line: bytes) -> bytes | None:
        """The octets that were typed, when they are as many as was said without the centre's number."""
        with contextlib.suppress(ValueError, IndexError):
            pdu = bytes.fromhex(line.decode("ascii"))
            if len(pdu) - 1 - pdu[0] == self._long:
                return pdu
        return None

    def _send(self, pdu: bytes) -> None:
        faults = self.network.faults
        try:
            reference, code = self.network.submit(pdu)
        except (ValueError, IndexError):  # no SMS-SUBMIT, or it ends too soon
            self._refuse(INVALID_PDU)
            return
        time.sleep(faults.delay)
        if self._die("CMGS", "after"):
            return
        if code:
            self._refuse(code)
        elif faults.lose:
            faults.lose -= 1
        else:
            self._answer(f"+CMGS: {reference}")
