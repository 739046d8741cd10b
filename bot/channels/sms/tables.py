"""The daemon's tables (schema 17): every statement that we put to them, in SQLite and in PostgreSQL.

Names of columns are quoted in PostgreSQL, since the daemon made them with capital letters. There `Processed`
and `MultiPart` are booleans, in SQLite the words 'true' and 'false'; a list is an array there, JSON here.
`UpdatedInDB` is UTC in SQLite and the server's own time in PostgreSQL, so ages are counted by the data base.
"""

from __future__ import annotations

from typing import NamedTuple

VERSION = 17
# What we read or write of each table.
COLUMNS = {
    "gammu": ("Version",),
    "inbox": (
        "ID", "SenderNumber", "ReceivingDateTime", "SMSCNumber", "UDH", "Text", "TextDecoded", "UpdatedInDB",
        "Processed",
    ),
    "outbox": (
        "ID", "DestinationNumber", "TextDecoded", "Coding", "Class", "DeliveryReport", "CreatorID",
        "MultiPart", "UDH", "UpdatedInDB",
    ),
    "outbox_multipart": ("ID", "SequencePosition", "TextDecoded", "UDH", "Coding", "Class"),
    "sentitems": (
        "ID", "CreatorID", "SequencePosition", "Status", "StatusCode", "SendingDateTime", "DeliveryDateTime",
        "UpdatedInDB",
    ),
    "phones": ("UpdatedInDB", "TimeOut"),
}  # fmt: skip


class Statement(NamedTuple):
    """One statement in both dialects; parameters go by the same names."""

    lite: str
    postgres: str


# id, number, stamp, centre, udh, own, text, written, age, taken: as in `joining.Row`.
UNREAD = Statement(
    """select ID, SenderNumber, ReceivingDateTime, SMSCNumber, UDH, Text, TextDecoded, UpdatedInDB,
        strftime('%s', 'now') - strftime('%s', UpdatedInDB), 0
    from inbox where Processed = 'false' order by ID""",
    """select "ID", "SenderNumber", to_char("ReceivingDateTime", 'YYYY-MM-DD HH24:MI:SS'), "SMSCNumber",
        "UDH", "Text", "TextDecoded",
        to_char((now() at time zone 'UTC') - (localtimestamp - "UpdatedInDB"), 'YYYY-MM-DD HH24:MI:SS'),
        extract(epoch from localtimestamp(0) - "UpdatedInDB")::float8, false
    from inbox where not "Processed" order by "ID" """,
)
BEFORE = Statement(
    """select ID, SenderNumber, ReceivingDateTime, SMSCNumber, UDH, Text, TextDecoded, UpdatedInDB, 0, 1
    from inbox where Processed <> 'false' and UDH <> '' and SenderNumber in
        (select SenderNumber from inbox where Processed = 'false' and UDH <> '') order by ID""",
    """select "ID", "SenderNumber", to_char("ReceivingDateTime", 'YYYY-MM-DD HH24:MI:SS'), "SMSCNumber",
        "UDH", "Text", "TextDecoded", '', 0, true
    from inbox where "Processed" and "UDH" <> '' and "SenderNumber" in
        (select "SenderNumber" from inbox where not "Processed" and "UDH" <> '') order by "ID" """,
)
DONE = Statement(
    """update inbox set Processed = 'true'
    where Processed = 'false' and ID in (select value from json_each(:rows))""",
    """update inbox set "Processed" = true where not "Processed" and "ID" = any(%(rows)s)""",
)

# Two programs of ours at once are one too many, but must not send twice. SQLite lets one write at a time.
ALONE = Statement("select 1", "select 1 from pg_advisory_xact_lock(hashtext(%(id)s))")
KNOWN = Statement(
    """select exists (select 1 from outbox where CreatorID = :id)
        or exists (select 1 from sentitems where CreatorID = :id)""",
    """select exists (select 1 from outbox where "CreatorID" = %(id)s)
        or exists (select 1 from sentitems where "CreatorID" = %(id)s)""",
)
PUT = Statement(
    """insert into outbox
        (DestinationNumber, TextDecoded, Coding, Class, DeliveryReport, CreatorID, MultiPart)
    values (:number, :text, :coding, -1, :report, :id, :several) returning ID""",
    """insert into outbox
        ("DestinationNumber", "TextDecoded", "Coding", "Class", "DeliveryReport", "CreatorID", "MultiPart")
    values (%(number)s, %(text)s, %(coding)s, -1, %(report)s, %(id)s, %(several)s) returning "ID" """,
)
HEAD = Statement(
    "update outbox set UDH = :udh where ID = :row",
    """update outbox set "UDH" = %(udh)s where "ID" = %(row)s""",
)
MORE = Statement(
    """insert into outbox_multipart (ID, SequencePosition, TextDecoded, UDH, Coding, Class)
    values (:row, :part, :text, :udh, :coding, -1)""",
    """insert into outbox_multipart ("ID", "SequencePosition", "TextDecoded", "UDH", "Coding", "Class")
    values (%(row)s, %(part)s, %(text)s, %(udh)s, %(coding)s, -1)""",
)

# The daemon writes `sentitems` before it empties `outbox`: asked in this order, a message is in one of them.
WAITING = Statement(
    """select CreatorID, UpdatedInDB from outbox where CreatorID in (select value from json_each(:ids))""",
    """select "CreatorID", to_char("UpdatedInDB", 'YYYY-MM-DD HH24:MI:SS') from outbox
    where "CreatorID" = any(%(ids)s)""",
)
SENT = Statement(
    """select CreatorID, Status, StatusCode, SendingDateTime, DeliveryDateTime, UpdatedInDB from sentitems
    where CreatorID in (select value from json_each(:ids)) order by ID, SequencePosition""",
    """select "CreatorID", "Status", "StatusCode", to_char("SendingDateTime", 'YYYY-MM-DD HH24:MI:SS'),
        to_char("DeliveryDateTime", 'YYYY-MM-DD HH24:MI:SS'), to_char("UpdatedInDB", 'YYYY-MM-DD HH24:MI:SS')
    from sentitems where "CreatorID" = any(%(ids)s) order by "ID", "SequencePosition" """,
)
# The daemon keeps every text for ever. What is dealt with is in the record, so it is taken off after a while.
FORGET = (
    Statement(
        """delete from inbox where Processed = 'true'
        and strftime('%s', 'now') - strftime('%s', UpdatedInDB) > :days * 86400""",
        """delete from inbox where "Processed"
        and localtimestamp - "UpdatedInDB" > %(days)s * interval '1 day' """,
    ),
    Statement(
        "delete from sentitems where strftime('%s', 'now') - strftime('%s', UpdatedInDB) > :days * 86400",
        """delete from sentitems where localtimestamp - "UpdatedInDB" > %(days)s * interval '1 day' """,
    ),
)
BEAT = Statement(
    "select UpdatedInDB, TimeOut from phones order by UpdatedInDB desc limit 1",
    """select to_char((now() at time zone 'UTC') - (localtimestamp - "UpdatedInDB"), 'YYYY-MM-DD HH24:MI:SS'),
        to_char("TimeOut", 'YYYY-MM-DD HH24:MI:SS')
    from phones order by "UpdatedInDB" desc limit 1""",
)

SCHEMA = Statement("select max(Version) from gammu", """select max("Version") from gammu""")
NAMES = Statement(
    "select name from pragma_table_info(:table)",
    # Not from information_schema, which hides a table that we may not use as if it were not there.
    """select attname from pg_attribute
    where attrelid = to_regclass(%(table)s::text) and attnum > 0 and not attisdropped""",
)
# Refused where nothing may be changed. What it changes is taken back; SQLite makes its journal only for a
# real change, and so tells only then that it may not write in the folder.
TOUCH = (
    Statement(
        "update gammu set Version = Version + 1",
        """update inbox set "Processed" = "Processed" where false""",
    ),
    Statement(
        "select 1",
        """insert into outbox ("CreatorID") select '' where false""",
    ),
    Statement(
        "select 1",
        """insert into outbox_multipart ("ID") select 0 where false""",
    ),
)
