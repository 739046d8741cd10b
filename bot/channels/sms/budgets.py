"""What texts may cost: segments for a session, for a number and day, and for the whole SIM and day.

Pure. A stop goes out whatever was spent: it is always a reply, and who is not answered may ride on.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

SESSION = timedelta(hours=72)  # of silence end a session
PAUSE = timedelta(hours=6)  # of silence; then a text says first what it is about
# Texts to a number; more of them wait, so that robots cost little. Ten were planned, but who answers at once
# is himself answered in three seconds, and is to wait no minutes in the pits.
QUICK, WITHIN = 40, timedelta(minutes=10)
ALIKE = 5  # texts in a row with the same words, and no answer among them: a machine


@dataclass(frozen=True)
class Caps:
    """Segments at most. A usual case to its end takes 10 to 60, measured on the sample conversations."""

    session: int = 60
    day: int = 60
    sim: int = 1000


@dataclass(frozen=True)
class Spent:
    """Segments so far."""

    session: int
    day: int
    sim: int


def allows(caps: Caps, spent: Spent, more: int) -> bool:
    """Whether so many segments more may go to a number."""
    return (
        spent.session + more <= caps.session and spent.day + more <= caps.day and spent.sim + more <= caps.sim
    )


def day_of(now: datetime) -> str:
    """When the day began on which costs are counted, in UTC."""
    return now.astimezone(UTC).strftime("%Y-%m-%dT00:00:00Z")
