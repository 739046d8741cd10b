"""Whether gammu-smsd is alive: its heartbeat, felt by our own clock.

Its heartbeat is a time that it writes by the clock of the machine. That clock may be set while we look, so
what counts is only that the time becomes another one, and how long by a clock that nobody sets it has not.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

LOG = logging.getLogger("sumpline.sms")


class Pulse:
    """The heartbeat of one daemon.

    `beat` gives anything that is another thing after each sign of life, such as a time; None before any.
    `silence`: seconds without one after which it is silent, 0 for never. `grace`: the same, before the first
    sign of life since `begin`; a modem takes its time to wake up.
    """

    def __init__(
        self,
        beat: Callable[[], object],
        silence: float,
        grace: float,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._beat, self._clock = beat, clock
        self._silence, self._grace = silence, max(grace, silence)
        self._last: object = None
        self._unknown = False
        self.heard = False  # since `begin`
        self.begin()

    def begin(self) -> None:
        """Another daemon runs from now on, and what an earlier one wrote says nothing about it."""
        self.heard = False
        self._since = self._clock()
        self._last = self._read()

    def feel(self) -> bool:
        """Look once; whether it gave a sign of life since the last look."""
        found = self._read()
        if found == self._last:
            return False
        self._last, self._since, self.heard = found, self._clock(), True
        return True

    def quiet(self) -> float:
        """Seconds since its last sign of life, as far as we know."""
        return self._clock() - self._since

    def is_silent(self) -> bool:
        """Whether it has been quiet for too long."""
        return self._silence > 0 and self.quiet() > (self._silence if self.heard else self._grace)

    def _read(self) -> object:
        """What it wrote last. Where that cannot be read we know nothing, and then it is not called silent."""
        try:
            found = self._beat()
        except Exception as fault:  # whatever a data base raises; it is looked at again in a moment
            if not self._unknown:
                LOG.warning("the heartbeat of gammu-smsd cannot be read: %s", type(fault).__name__)
            self._unknown, self._since = True, self._clock()
            return self._last
        self._unknown = False
        return found
