"""What every channel that runs as a program needs: one program a record, and a log without people in it."""

from __future__ import annotations

import contextlib
import fcntl
import logging
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

# Tokens; and numbers of phones, which a line of ours never holds in full.
_SECRETS = (
    (re.compile(r"\d{3,}:[\w-]{30,}"), "(token)"),
    (re.compile(r"\+[1-9][0-9]{6,14}(?![0-9])"), "(number)"),
)


class Fatal(Exception):
    """The bot cannot go on; the text is one sentence for whoever runs it."""


class Redacting(logging.Filter):
    """Takes tokens and numbers out of whatever is logged, and people's words out of what libraries log."""

    def filter(self, record: logging.LogRecord) -> bool:
        if record.levelno < logging.WARNING and not record.name.startswith("sumpline"):
            record.msg, record.args = f"{record.name}: {record.funcName}", ()  # whole requests, otherwise
        text = record.getMessage()
        if (told := redacted(text)) != text:
            record.msg, record.args = told, ()
        if record.exc_info:
            record.exc_text = redacted(logging.Formatter().formatException(record.exc_info))
            record.exc_info = None
        return True


def redacted(text: str) -> str:
    """A text without tokens and numbers of phones."""
    for secret, instead in _SECRETS:
        text = secret.sub(instead, text)
    return text


def log_to(out: TextIO, level: int = logging.INFO) -> None:
    """Log lines for whoever runs the bot: no tokens, names or texts of people at any level."""
    handler = logging.StreamHandler(out)
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    handler.addFilter(Redacting())
    logging.basicConfig(level=level, handlers=[handler], force=True)
    for loud in ("httpx", "httpcore", "telegram", "asyncio"):  # they log addresses, and those hold the token
        logging.getLogger(loud).setLevel(logging.WARNING)


@contextlib.contextmanager
def locked(database: Path, network: str) -> Iterator[None]:
    """One program a record serves a network. Raises Fatal when there is one already."""
    path = database.with_name(f"{database.name}.{network.casefold().replace(' ', '-')}.lock")
    with open(path, "w", encoding="ascii") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as err:
            raise Fatal(f"Another program serves {network} from {database} already; end it first.") from err
        yield
