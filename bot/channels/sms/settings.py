"""How the bot is run on text messages: from the environment, or from a file that only its owner may read."""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from urllib.parse import urlsplit

from bot import turn
from bot.channels import settings
from bot.channels.settings import SettingsError as SettingsError
from bot.channels.settings import hide, speaks
from bot.channels.sms.budgets import Caps
from bot.channels.sms.numbers import is_number

POSTGRES = "postgresql://"
_PRICE = re.compile(r"([0-9]{1,4}(?:[.,][0-9]{1,4})?)(?: +([A-Z]{3}))?")
_USUAL = Caps()
HELP_MOST = 60  # characters, so that what is said at a cap stays one text message

# Every name that may be set, and what it is, as `--dry-run` says it.
NAMES = {
    "SUMPLINE_DB": settings.RECORD,
    "SUMPLINE_SMS_GATEWAY": "the data base of gammu-smsd: the path of its smsd.db, or postgresql://...",
    "SUMPLINE_SMS_NUMBER": "the number of your own SIM with the code of the country, like +12025550100",
    "SUMPLINE_SMS_CONFIG": "the configuration file of gammu-smsd",
    "SUMPLINE_SMS_DAEMON": "path of gammu-smsd, for us to run; empty when something else runs it",
    "SUMPLINE_SMS_RESTART": "the command that restarts gammu-smsd when something else runs it",
    "SUMPLINE_SMS_SESSION": "text messages that one session may cost",
    "SUMPLINE_SMS_DAY": "text messages that one number may cost in a day",
    "SUMPLINE_SMS_SIM": "text messages that the whole SIM may send in a day",
    "SUMPLINE_SMS_PRICE": "what one text message costs you, like 0.08 EUR",
    "SUMPLINE_SMS_UCS2": "languages that may go out in letters of their own, 70 to a message, by commas",
    "SUMPLINE_SMS_HELP": "whom to call or where to write when no more may be sent",
    "SUMPLINE_LANGUAGE": settings.LANGUAGE,
}


@dataclass(frozen=True)
class Price:
    """What one segment of a text message costs; `currency` is three letters of ISO 4217, or nothing."""

    amount: Decimal
    currency: str = ""

    def of(self, segments: int) -> str:
        """What a number of segments costs, in words for people, such as '1.04 EUR'."""
        return f"{self.amount * segments:.2f} {self.currency}".rstrip()


@dataclass(frozen=True)
class Settings:
    """Everything that `serve sms` needs to know."""

    database: Path
    gateway: str
    number: str
    config: Path | None = None
    daemon: str = ""
    restart: tuple[str, ...] = ()
    caps: Caps = _USUAL
    price: Price | None = None
    ucs2: frozenset[str] = frozenset()
    help: str = ""
    language: str = "en"

    def __repr__(self) -> str:
        """Without the password of a data base and without numbers, whatever prints it."""
        return f"Settings(database={str(self.database)!r}, gateway={hide(self.gateway)!r})"

    @property
    def is_postgres(self) -> bool:
        """Whether the daemon keeps its messages in PostgreSQL and not in a file."""
        return self.gateway.startswith(POSTGRES)


def gather(given: Mapping[str, str], path: Path | None, database: str = "") -> Settings:
    """Settings out of the environment and a file, whose lines come first.

    Raises SettingsError with all that is wrong or missing in both at once.
    """
    return settings.gather(given, path, NAMES, lambda told: read(told, database))


def read_file(path: Path) -> dict[str, str]:
    """NAME=value lines of a file. Raises SettingsError when others could read it, or it is no such file."""
    return settings.read_file(path, NAMES)


def read(given: Mapping[str, str], database: str = "") -> Settings:
    """Settings out of names and values. Raises SettingsError with all that is wrong or missing at once."""
    wrong: list[str] = []
    record = settings.read_database(database or given.get("SUMPLINE_DB", ""), wrong)
    number = _number(given, wrong)
    chosen = Settings(
        database=record,
        gateway=_gateway(given, record, wrong),
        number=number,
        config=_config(given, wrong),
        daemon=given.get("SUMPLINE_SMS_DAEMON", ""),
        restart=_restart(given, wrong),
        caps=_caps(given, wrong),
        price=_price(given, wrong),
        ucs2=_ucs2(given, wrong),
        help=_help(given, number, wrong),
        language=settings.read_language(given, wrong),
    )
    if wrong:
        raise SettingsError(tuple(wrong))
    return chosen


def _missing(name: str) -> str:
    return f"{name} is not set: {NAMES[name]}."


def _gateway(given: Mapping[str, str], record: Path, wrong: list[str]) -> str:
    """Where the daemon keeps its messages. It is never our record: two programs would own one file."""
    told = given.get("SUMPLINE_SMS_GATEWAY", "")
    if not told:
        wrong.append(_missing("SUMPLINE_SMS_GATEWAY"))
    elif "://" in told and not _names_a_database(told):
        wrong.append(
            f"SUMPLINE_SMS_GATEWAY: '{told}' cannot be used; an address is {POSTGRES}USER@HOST/DATABASE."
        )
    elif "://" not in told and record != Path() and Path(told).resolve() == record.resolve():
        wrong.append("SUMPLINE_SMS_GATEWAY is the file of the record; gammu-smsd needs one of its own.")
    return told


def _names_a_database(address: str) -> bool:
    try:
        parts = urlsplit(address)
        return f"{parts.scheme}://" == POSTGRES and len(parts.path) > 1 and parts.port != 0
    except ValueError:
        return False


def _number(given: Mapping[str, str], wrong: list[str]) -> str:
    """Our own number: a text that comes from it is one of ours, and is not answered."""
    told = re.sub(r"[ ()./-]", "", given.get("SUMPLINE_SMS_NUMBER", ""))
    if not told:
        wrong.append(_missing("SUMPLINE_SMS_NUMBER"))
    elif not is_number(told):
        wrong.append(f"SUMPLINE_SMS_NUMBER: '{told}' must be a + and digits, the code of the country first.")
    return told


def _config(given: Mapping[str, str], wrong: list[str]) -> Path | None:
    told = given.get("SUMPLINE_SMS_CONFIG", "")
    if not told and given.get("SUMPLINE_SMS_DAEMON", ""):
        wrong.append(_missing("SUMPLINE_SMS_CONFIG"))
    return Path(told) if told else None


def _restart(given: Mapping[str, str], wrong: list[str]) -> tuple[str, ...]:
    """A command in words, run without a shell; only where gammu-smsd is not ours."""
    told = given.get("SUMPLINE_SMS_RESTART", "")
    if told and given.get("SUMPLINE_SMS_DAEMON", ""):
        wrong.append(
            "SUMPLINE_SMS_RESTART is for a gammu-smsd that is not ours: clear it or SUMPLINE_SMS_DAEMON."
        )
    try:
        return tuple(shlex.split(told))
    except ValueError:
        wrong.append(f"SUMPLINE_SMS_RESTART: in '{told}' a quote is opened and never closed.")
        return ()


def _caps(given: Mapping[str, str], wrong: list[str]) -> Caps:
    """What may be sent. A smaller cap above a larger one would never be reached, and is a slip."""
    so_far, usual = len(wrong), _USUAL
    what = "number of text messages"
    session = settings.read_number(given, "SUMPLINE_SMS_SESSION", usual.session, (5, 500), what, wrong)
    day = settings.read_number(given, "SUMPLINE_SMS_DAY", usual.day, (5, 1000), what, wrong)
    sim = settings.read_number(given, "SUMPLINE_SMS_SIM", usual.sim, (5, 100_000), what, wrong)
    if len(wrong) == so_far and not session <= day <= sim:
        wrong.append(
            f"SUMPLINE_SMS_SESSION ({session}), SUMPLINE_SMS_DAY ({day}) and SUMPLINE_SMS_SIM ({sim}) "
            "must not become smaller in this order; a session is part of a day, and a number is one of many."
        )
    return Caps(session, day, sim)


def _price(given: Mapping[str, str], wrong: list[str]) -> Price | None:
    told = given.get("SUMPLINE_SMS_PRICE", "")
    found = _PRICE.fullmatch(told)
    if told and not found:
        wrong.append(f"SUMPLINE_SMS_PRICE: '{told}' is no price; write it like 0.08 EUR.")
    return Price(Decimal(found[1].replace(",", ".")), found[2] or "") if found else None


def _ucs2(given: Mapping[str, str], wrong: list[str]) -> frozenset[str]:
    told = settings.read_list(given, "SUMPLINE_SMS_UCS2")
    for language in told:
        if not speaks(language):
            wrong.append(
                f"SUMPLINE_SMS_UCS2: I do not speak '{language}'; of these: {', '.join(turn.languages())}."
            )
    return frozenset(told)


def _help(given: Mapping[str, str], number: str, wrong: list[str]) -> str:
    """Whom to call instead; our own number would lead back to where no more may be sent."""
    told = given.get("SUMPLINE_SMS_HELP", "")
    if len(told) > HELP_MOST:
        wrong.append(f"SUMPLINE_SMS_HELP has {len(told)} characters; write at most {HELP_MOST}.")
    if number and number in re.sub(r"[ ()./-]", "", told):
        wrong.append("SUMPLINE_SMS_HELP is the number of your own SIM; write one that somebody answers.")
    return told
