"""Which clock a person goes by: his own zone where he told it, else that of this machine."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo, available_timezones

from bot.core.wall import fixed, fixed_zone


class MachineZone(tzinfo):
    """The clock of this machine with its changes, whatever its zone is called."""

    def utcoffset(self, when: datetime | None) -> timedelta | None:
        """Distance from UTC at a wall time, or None for no time."""
        return None if when is None else when.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, when: datetime | None) -> timedelta | None:
        """Not known, and not needed for any conversion here."""
        return None

    def tzname(self, when: datetime | None) -> str | None:
        """The distance, as it would be kept."""
        away = self.utcoffset(when)
        return None if away is None else fixed(away.total_seconds() / 3600)

    def fromutc(self, when: datetime) -> datetime:
        """The wall time of a moment; the second showing of a time is told from the first."""
        moment = when.replace(tzinfo=UTC)
        shown = moment.astimezone().replace(tzinfo=None)
        second = shown.replace(fold=0).astimezone(UTC) != moment
        return shown.replace(tzinfo=self, fold=int(second))


MACHINE = MachineZone()


@lru_cache(maxsize=1)
def known_zones() -> frozenset[str]:
    """The names of the tz database of this machine; none where it has none."""
    return frozenset(available_timezones())


@lru_cache(maxsize=500)
def zone_of(kept: str) -> tzinfo:
    """The zone of a setting; that of the machine for "" and for a name that is not known here any more."""
    if (found := fixed_zone(kept)) is not None:
        return found
    try:
        return ZoneInfo(kept) if kept else MACHINE
    except (KeyError, ValueError, OSError):
        return MACHINE


def called(zone: tzinfo, now: datetime) -> str:
    """What to call a zone before a rider: the name of a place, or UTC+2."""
    if isinstance(zone, ZoneInfo):
        return zone.key
    away = now.astimezone(zone).utcoffset() or timedelta(0)
    return fixed(away.total_seconds() / 3600).replace(":00", "").replace("+0", "+").replace("-0", "-")
