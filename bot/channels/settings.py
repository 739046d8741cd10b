"""What the settings of all channels share: names with values, from the environment or a private file.

A secret is never an argument of a command: those can be read by every user of a machine. For the same
reason a file of settings is refused when others than its owner could read it.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Callable, Collection, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import TypeVar

from bot import turn

Chosen = TypeVar("Chosen")

RECORD = "the file of the record"  # what SUMPLINE_DB is, as `--dry-run` says it
LANGUAGE = "the language of people who have not chosen one"
TOKEN = re.compile(r"[0-9]{3,}:[A-Za-z0-9_-]{30,}")
# In an address of a data base: behind the user, or as a word of its own after the question mark.
_PASSWORD = re.compile(r"(?<=://)([^:/@\s]*:)[^@\s]+(?=@)|((?:^|[?&\s])password=)[^&\s]+", re.IGNORECASE)


class SettingsError(Exception):
    """The settings cannot be used; `problems` has one sentence for each that is wrong or missing.

    A secret that stands where it does not belong, on a line of its own say, is not said back.
    """

    def __init__(self, problems: tuple[str, ...], told: dict[str, str] | None = None) -> None:
        self.told = told or {}  # what could be read all the same
        self.problems = tuple(hide(problem) for problem in problems)
        super().__init__(" ".join(self.problems))


def hide(text: str) -> str:
    """A text without the tokens and passwords in it, for whoever reads what we print."""
    return TOKEN.sub("(token)", _PASSWORD.sub(lambda found: f"{found[1] or found[2]}(password)", text))


def gather(
    given: Mapping[str, str],
    path: Path | None,
    names: Collection[str],
    read: Callable[[Mapping[str, str]], Chosen],
) -> Chosen:
    """Settings as `read` makes them, out of the environment and a file, whose lines come first.

    Raises SettingsError with all that is wrong or missing in both at once.
    """
    told: dict[str, str] = {}
    wrong: tuple[str, ...] = ()
    if path is not None:
        try:
            told = read_file(path, names)
        except SettingsError as err:
            if not err.told:
                raise
            told, wrong = err.told, err.problems
    try:
        settings = read({**given, **told})
    except SettingsError as err:
        raise SettingsError((*wrong, *err.problems)) from err
    if wrong:
        raise SettingsError(wrong)
    return settings


def read_file(path: Path, names: Collection[str]) -> dict[str, str]:
    """NAME=value lines of a file. Raises SettingsError when others could read it, or it is no such file."""
    found: dict[str, str] = {}
    wrong = []
    for number, line in enumerate(_private(path).splitlines(), 1):
        name, equals, value = (part.strip() for part in line.partition("="))
        if not name or name.startswith("#"):
            continue
        if not equals or name not in names:
            near = get_close_matches(name, names, 1)
            hint = f"is {near[0]} meant?" if near and equals else "write NAME=value."
            wrong.append(f"{path}, line {number}: no setting is called '{name}'; {hint}")
        else:
            found[name] = value.strip("'\"")
    if wrong:
        raise SettingsError(tuple(wrong), found)
    return found


def _private(path: Path) -> str:
    """The text of a file that only its owner may read."""
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as err:
        raise SettingsError((f"The settings file {path} cannot be read; check its name.",)) from err
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise SettingsError((f"Others can read {path}, and it holds what is secret: run chmod 600 {path}",))
    return text


def read_database(name: str, wrong: list[str]) -> Path:
    """Where the record lies, by the option of the command or by its setting."""
    if not name:
        wrong.append(f"SUMPLINE_DB is not set: {RECORD}. Or say --db FILE.")
    return Path(name)


def read_language(given: Mapping[str, str], wrong: list[str]) -> str:
    """The language of people who have not chosen one."""
    told = given.get("SUMPLINE_LANGUAGE", "") or "en"
    if not speaks(told):
        wrong.append(
            f"SUMPLINE_LANGUAGE: I do not speak '{told}'; write one of: {', '.join(turn.languages())}."
        )
    return told


def speaks(language: str) -> bool:
    """Whether the bot has words in a language."""
    return turn.read_words(language).language == language


def read_number(
    given: Mapping[str, str], name: str, usual: int, between: tuple[int, int], what: str, wrong: list[str]
) -> int:
    """A whole number between two, both included; `what` says of which sort, such as 'number of MB'."""
    told = given.get(name, "") or str(usual)
    least, most = between
    if not is_number(told) or not least <= int(told) <= most:
        wrong.append(f"{name}: '{told}' is not a whole {what} between {least} and {most}.")
        return usual
    return int(told)


def read_list(given: Mapping[str, str], name: str) -> list[str]:
    """The parts of a value that has commas between them."""
    return [part.strip() for part in given.get(name, "").split(",") if part.strip()]


def is_number(text: str) -> bool:
    """Whether a text is digits and nothing else; digits of other scripts are none that we write."""
    return text.isascii() and text.isdigit()
