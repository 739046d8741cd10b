"""How the bot is run: from the environment, or from a file that only its owner may read.

The token is never an argument of a command: those can be read by every user of a machine.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import SplitResult, urlsplit

from bot.channels import settings
from bot.channels.settings import TOKEN, is_number
from bot.channels.settings import SettingsError as SettingsError

API = "https://api.telegram.org"
_HERE = ("127.0.0.1", "localhost")  # where no one else listens, a test may do without TLS
_SECRET = re.compile(r"[A-Za-z0-9_-]{16,256}")

# Every name that may be set, and what it is, as `--dry-run` says it.
NAMES = {
    "SUMPLINE_TELEGRAM_TOKEN": "the token that the platform gave you for your bot",
    "SUMPLINE_DB": settings.RECORD,
    "SUMPLINE_ADMINS": "numbers of the people who may ask for /status and publish flows, separated by commas",
    "SUMPLINE_MECHANICS": "numbers of the people who may answer as mechanics in groups, separated by commas",
    "SUMPLINE_CODE_DAYS": "how many days a code is good by which a rider lets a mechanic in",
    "SUMPLINE_LANGUAGE": settings.LANGUAGE,
    "SUMPLINE_TELEGRAM_API": "address of a Bot API server of your own",
    "SUMPLINE_TELEGRAM_FILES": "address of its files, when that is another one",
    "SUMPLINE_FILE_MB": "the largest file that is fetched, in MB",
    "SUMPLINE_TRIAL_BIKES": "how many imagined bikes a flow is tried on that an admin sends, 0 for none",
    "SUMPLINE_WEBHOOK_URL": "the https address at which the platform reaches you; without it, we ask",
    "SUMPLINE_WEBHOOK_LISTEN": "where we listen for it, behind your TLS proxy",
    "SUMPLINE_WEBHOOK_SECRET": "what the platform must send along, 16 to 256 letters, digits, _ or -",
}


@dataclass(frozen=True)
class Webhook:
    """Where the platform reaches us, where we listen for it, and what it must send along."""

    url: str
    host: str
    port: int
    secret: str


@dataclass(frozen=True)
class Settings:
    """Everything that `serve telegram` needs to know."""

    token: str
    database: Path
    admins: frozenset[str] = frozenset()
    mechanics: frozenset[str] = frozenset()
    code_days: int = 7
    language: str = "en"
    api: str = API
    files: str = API
    file_bytes: int = 20_000_000
    trial_bikes: int = 300
    webhook: Webhook | None = None

    def __repr__(self) -> str:
        """Without the token, whatever prints it."""
        return f"Settings(database={str(self.database)!r}, api={self.api!r})"


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
    api = _address(given, "SUMPLINE_TELEGRAM_API", API, wrong)
    megabytes = settings.read_number(given, "SUMPLINE_FILE_MB", 20, (1, 2000), "number of MB", wrong)
    chosen = Settings(
        token=_token(given, wrong),
        database=settings.read_database(database or given.get("SUMPLINE_DB", ""), wrong),
        admins=_people(given, "SUMPLINE_ADMINS", wrong),
        mechanics=_people(given, "SUMPLINE_MECHANICS", wrong),
        code_days=settings.read_number(given, "SUMPLINE_CODE_DAYS", 7, (1, 90), "number of days", wrong),
        language=settings.read_language(given, wrong),
        api=api,
        files=_address(given, "SUMPLINE_TELEGRAM_FILES", api, wrong),
        file_bytes=megabytes * 1_000_000,
        trial_bikes=settings.read_number(given, "SUMPLINE_TRIAL_BIKES", 300, (0, 10_000), "number", wrong),
        webhook=_webhook(given, wrong),
    )
    if wrong:
        raise SettingsError(tuple(wrong))
    return chosen


def _token(given: Mapping[str, str], wrong: list[str]) -> str:
    token = given.get("SUMPLINE_TELEGRAM_TOKEN", "")
    if not token:
        wrong.append("SUMPLINE_TELEGRAM_TOKEN is not set: " + NAMES["SUMPLINE_TELEGRAM_TOKEN"] + ".")
    elif not TOKEN.fullmatch(token):
        told = "digits, a colon, 30 or more letters"
        wrong.append(f"SUMPLINE_TELEGRAM_TOKEN does not look like a token: {told}.")
    return token


def _people(given: Mapping[str, str], name: str, wrong: list[str]) -> frozenset[str]:
    told = settings.read_list(given, name)
    for part in told:
        if not is_number(part):
            wrong.append(f"{name}: '{part}' is not a number; the bot answers /start with yours.")
    return frozenset(told)


def _address(given: Mapping[str, str], name: str, usual: str, wrong: list[str]) -> str:
    told = given.get(name, "")
    parts = _split(told or usual)
    if told and (parts is None or parts.scheme not in ("http", "https") or not parts.hostname):
        wrong.append(f"{name}: '{told}' is not an address; it begins with https://")
    return (told or usual).rstrip("/")


def _split(address: str) -> SplitResult | None:
    try:
        return urlsplit(address)
    except ValueError:
        return None


def _webhook(given: Mapping[str, str], wrong: list[str]) -> Webhook | None:
    url = given.get("SUMPLINE_WEBHOOK_URL", "")
    if not url:
        return None
    secret = given.get("SUMPLINE_WEBHOOK_SECRET", "")
    if not _SECRET.fullmatch(secret):
        is_what = NAMES["SUMPLINE_WEBHOOK_SECRET"]
        wrong.append(f"SUMPLINE_WEBHOOK_SECRET is missing or cannot be used: it is {is_what}.")
    host, _, port = (given.get("SUMPLINE_WEBHOOK_LISTEN", "") or "127.0.0.1:8443").rpartition(":")
    parts = _split(url)
    if parts is None or not parts.hostname or (parts.scheme != "https" and parts.hostname not in _HERE):
        wrong.append("SUMPLINE_WEBHOOK_URL must be an address that begins with https://")
    if not host or not is_number(port) or not 0 < int(port) <= 65535:
        wrong.append("SUMPLINE_WEBHOOK_LISTEN must be HOST:PORT, like 127.0.0.1:8443.")
        return None
    return Webhook(url, host, int(port), secret)
