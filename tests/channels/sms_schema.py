"""The tables of gammu-smsd, schema 17, as far as columns and what the daemon fills in by itself go.

Written for machines without the package; where it is there, a test compares the columns with it.
"""

from __future__ import annotations

import gzip
import sqlite3
from contextlib import closing
from pathlib import Path

PACKAGED = Path("/usr/share/doc/gammu-smsd/examples")
DIALECTS = ("sqlite", "pgsql")

_TEXT, _INT = "text not null default ''", "integer not null default -1"
# What a column is, in SQLite and in PostgreSQL.
_KINDS = {
    "id": ("integer primary key autoincrement", "serial primary key"),
    "owner": ("integer", "integer"),
    "time": (
        "numeric not null default (datetime('now'))",
        "timestamp(0) without time zone not null default localtimestamp(0)",
    ),
    "time?": ("numeric", "timestamp(0) without time zone"),
    "text": (_TEXT, _TEXT),
    "must": ("text not null", "text not null"),
    "text?": ("text", "text"),
    "int": (_INT, _INT),
    "zero": ("integer default 0", "integer default 0"),
    "one": ("integer not null default 1", "integer not null default 1"),
    "flag": ("text not null default 'false'", "boolean not null default false"),
    "asked": ("text default 'default'", "text default 'default'"),
    "early": ("time not null default '00:00:00'", "time not null default '00:00:00'"),
    "late": ("time not null default '23:59:59'", "time not null default '23:59:59'"),
}
COLUMNS = {
    "gammu": "Version:zero",
    "inbox": "UpdatedInDB:time ReceivingDateTime:time Text:must SenderNumber:text Coding:text UDH:must"
    " SMSCNumber:text Class:int TextDecoded:text ID:id RecipientID:must Processed:flag Status:int",
    "outbox": "UpdatedInDB:time InsertIntoDB:time SendingDateTime:time SendBefore:late SendAfter:early"
    " Text:text? DestinationNumber:text Coding:text UDH:text? Class:int TextDecoded:text ID:id"
    " MultiPart:flag RelativeValidity:int SenderID:text? SendingTimeOut:time DeliveryReport:asked"
    " CreatorID:must Retries:zero Priority:zero Status:text StatusCode:int",
    "outbox_multipart": "Text:text? Coding:text UDH:text? Class:int TextDecoded:text? ID:owner"
    " SequencePosition:one Status:text StatusCode:int",
    "phones": "ID:must UpdatedInDB:time InsertIntoDB:time TimeOut:time Send:flag Receive:flag IMEI:must"
    " IMSI:must NetCode:text? NetName:text? Client:must Battery:int Signal:int Sent:zero Received:zero",
    "sentitems": "UpdatedInDB:time InsertIntoDB:time SendingDateTime:time DeliveryDateTime:time? Text:must"
    " DestinationNumber:text Coding:text UDH:must SMSCNumber:text Class:int TextDecoded:text ID:owner"
    " SenderID:must SequencePosition:one Status:text StatusError:int TPMR:int RelativeValidity:int"
    " CreatorID:must StatusCode:int",
}


def schema(dialect: str) -> str:
    """Our own tables, with the version in them."""
    number, quote = DIALECTS.index(dialect), "" if dialect == "sqlite" else '"'
    said = []
    for table, columns in COLUMNS.items():
        pairs = [column.split(":") for column in columns.split()]
        inner = ", ".join(f"{quote}{name}{quote} {_KINDS[kind][number]}" for name, kind in pairs)
        said.append(f"create table {table} ({inner});")
    return "\n".join([*said, f"insert into gammu ({quote}Version{quote}) values (17);"])


def packaged(dialect: str) -> str | None:
    """The schema of the installed package, packed or not; None without it."""
    path = PACKAGED / f"{dialect}.sql"
    if path.exists():
        return path.read_text("utf-8")
    packed = path.with_suffix(".sql.gz")
    return gzip.decompress(packed.read_bytes()).decode("utf-8") if packed.exists() else None


def make(path: Path, said: str = "") -> Path:
    """A new SQLite file with the daemon's tables: ours unless others are given."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(said or schema("sqlite"))
    return path
