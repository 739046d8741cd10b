"""How the bot is run: from the environment, or from a file that only its owner may read.

The token is never an argument of a command: those can be read by every user of a machine.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from urllib.parse import SplitResult, urlsplit

from bot import turn

API = "https://api.telegram.org"
_TOKEN = re.compile(r"[0-9]{3,}:[A-Za-z0-9_-]{30,}")
_HERE = ("127.0.0.1", "localhost")  # where no one else listens, a test may do without TLS
_SECRET = re.compile(r"[A-Za-z0-9_-]{16,256}")

# Every name that may be set, and what it is, as `--dry-run` says it.
NAMES = {
    "SUMPLINE_TELEGRAM_TOKEN": "the token that the platform gave you for your bot",
    "SUMPLINE_DB": "the file of the record",
    "SUMPLINE_ADMINS": "numbers of the people who may ask for /status and publish flows, separated by commas",
    "SUMPLINE_MECHANICS": "numbers of the people who may answer as mechanics in groups, separated by commas",
    "SUMPLINE_CODE_DAYS": "how many days a code is good by which a rider lets a mechanic in",
    "SUMPLINE_LANGUAGE": "the language of people who have not chosen one",
    "SUMPLINE_TELEGRAM_API": "address of a Bot API server of your own",
    "SUMPLINE_TELEGRAM_FILES": "address of its files, when that is another one",
    "SUMPLINE_FILE_MB": "the largest file that is fetched, in MB",
    "SUMPLINE_TRIAL_BIKES": "how many imagined bikes a flow is tried on that an admin sends, 0 for none",
    "SUMPLINE_WEBHOOK_URL": "the https address at which the platform reaches you; without it, we ask",
    "SUMPLINE_WEBHOOK_LISTEN": "where we listen for it, behind your TLS proxy",
    "SUMPLINE_WEBHOOK_SECRET": "what the platform must send along, 16 to 256 letters, digits, _ or -",
}


class SettingsError(Exception):
    """The settings cannot be used; `problems` has one sentence for each that is wrong or missing.

    A token that stands where it does not belong, on a line of its own say, is not said back.
    """

    def __init__(self, problems: tuple[str, ...], told: dict[str, str] | None = None) -> None:
        self.told = told or {}  # what could be read all the same
        self.problems = tuple(_TOKEN.sub("(token)", problem) for problem in problems)
        super().__init__(" ".join(self.problems))


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
    told: dict[str, str] = {}
    wrong: tuple[str, ...] = ()
    if path is not None:
        try:
            told = read_file(path)
        except SettingsError as err:
            if not err.told:
                raise
            told, wrong = err.told, err.problems
    try:
        settings = read({**given, **told}, database)
    except SettingsError as err:
        raise SettingsError((*wrong, *err.problems)) from err
    if wrong:
        raise SettingsError(wrong)
    return settings


def read_file(path: Path) -> dict[str, str]:
    """NAME=value lines of a file. Raises SettingsError when others could read it, or it is no such file."""
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as err:
        raise SettingsError((f"The settings file {path} cannot be read; check its name.",)) from err
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise SettingsError((f"Others can read {path}, and it holds the token: run chmod 600 {path}",))
    found, wrong = {}, []
    for number, line in enumerate(text.splitlines(), 1):
        name, equals, value = (part.strip() for part in line.partition("="))
        if not name or name.startswith("#"):
            continue
        if not equals or name not in NAMES:
            near = get_close_matches(name, NAMES, 1)
            hint = f"is {near[0]} meant?" if near and equals else "write NAME=value."
            wrong.append(f"{path}, line {number}: no setting is called '{name}'; {hint}")
        else:
            found[name] = value.strip("'\"")
    if wrong:
        raise SettingsError(tuple(wrong), found)
    return found


def read(given: Mapping[str, str], database: str = "") -> Settings:
    """Settings out of names and values. Raises SettingsError with all that is wrong or missing at once."""
    wrong: list[str] = []
    api = _address(given, "SUMPLINE_TELEGRAM_API", API, wrong)
    settings = Settings(
        token=_token(given, wrong),
        database=_database(database or given.get("SUMPLINE_DB", ""), wrong),
        admins=_people(given, "SUMPLINE_ADMINS", wrong),
        mechanics=_people(given, "SUMPLINE_MECHANICS", wrong),
        code_days=_code_days(given, wrong),
        language=_language(given, wrong),
        api=api,
        files=_address(given, "SUMPLINE_TELEGRAM_FILES", api, wrong),
        file_bytes=_file_bytes(given, wrong),
        trial_bikes=_trial_bikes(given, wrong),
        webhook=_webhook(given, wrong),
    )
    if wrong:
        raise SettingsError(tuple(wrong))
    return settings


def _token(given: Mapping[str, str], wrong: list[str]) -> str:
    token = given.get("SUMPLINE_TELEGRAM_TOKEN", "")
    if not token:
        wrong.append("SUMPLINE_TELEGRAM_TOKEN is not set: " + NAMES["SUMPLINE_TELEGRAM_TOKEN"] + ".")
    elif not _TOKEN.fullmatch(token):
        told = "digits, a colon, 30 or more letters"
        wrong.append(f"SUMPLINE_TELEGRAM_TOKEN does not look like a token: {told}.")
    return token


def _database(name: str, wrong: list[str]) -> Path:
    if not name:
        wrong.append("SUMPLINE_DB is not set: " + NAMES["SUMPLINE_DB"] + ". Or say --db FILE.")
    return Path(name)


def _people(given: Mapping[str, str], name: str, wrong: list[str]) -> frozenset[str]:
    told = [part.strip() for part in given.get(name, "").split(",") if part.strip()]
    for part in told:
        if not _is_number(part):
            wrong.append(f"{name}: '{part}' is not a number; the bot answers /start with yours.")
    return frozenset(told)


def _code_days(given: Mapping[str, str], wrong: list[str]) -> int:
    told = given.get("SUMPLINE_CODE_DAYS", "") or "7"
    if not _is_number(told) or not 1 <= int(told) <= 90:
        wrong.append(f"SUMPLINE_CODE_DAYS: '{told}' is not a whole number of days between 1 and 90.")
        return 7
    return int(told)


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


def _language(given: Mapping[str, str], wrong: list[str]) -> str:
    told = given.get("SUMPLINE_LANGUAGE", "") or "en"
    if turn.read_words(told).language != told:
        wrong.append(
            f"SUMPLINE_LANGUAGE: I do not speak '{told}'; write one of: {', '.join(turn.languages())}."
        )
    return told


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _file_bytes(given: Mapping[str, str], wrong: list[str]) -> int:
    told = given.get("SUMPLINE_FILE_MB", "") or "20"
    if not _is_number(told) or not 1 <= int(told) <= 2000:
        wrong.append(f"SUMPLINE_FILE_MB: '{told}' is not a whole number of MB between 1 and 2000.")
        return 0
    return int(told) * 1_000_000


def _trial_bikes(given: Mapping[str, str], wrong: list[str]) -> int:
    told = given.get("SUMPLINE_TRIAL_BIKES", "") or "300"
    if not _is_number(told) or not 0 <= int(told) <= 10_000:
        wrong.append(f"SUMPLINE_TRIAL_BIKES: '{told}' is not a whole number between 0 and 10000.")
        return 0
    return int(told)


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
    if not host or not _is_number(port) or not 0 < int(port) <= 65535:
        wrong.append("SUMPLINE_WEBHOOK_LISTEN must be HOST:PORT, like 127.0.0.1:8443.")
        return None
    return Webhook(url, host, int(port), secret)
