"""Everything that the record holds of one person, as plain data for him to keep."""

from __future__ import annotations

import json
from typing import Any

from bot.record.post import SECRET
from bot.record.store import Store

VERSION = 1

# What was said to him of another's case as its mechanic is that one's; a code is told to nobody twice.
_ANSWERS = f"""select o.at, o.channel,
    case when {SECRET} then json_extract(o.payload, '$.stays') else o.text end as text, o.state
    from outbox o left join cases c on c.id = o.case_id
    where o.person = ?1 and coalesce(c.person, ?1) = ?1 order by o.id"""


def everything_of(store: Store, person: int) -> dict[str, Any]:
    """The person, his bikes, cases with entries, messages, reminders, files. KeyError when there is none."""
    who = store.person(person)
    return {
        "sumpline": VERSION,
        "name": who.name,
        "former_names": list(store.former_names(person)),
        "role": who.role,
        "settings": dict(who.settings),
        "known_as": store.rows("select channel, handle from handles where person = ?", person),
        "bikes": [_bike(store, row) for row in store.rows("select * from bikes where person = ?", person)],
        "cases": [_case(store, line.id) for line in reversed(store.cases_of(person))],
        "messages": [
            _heard(row) for row in store.rows("select * from inbox where person = ? order by id", person)
        ],
        "answers": store.rows(_ANSWERS, person),
        "files": store.rows(
            "select digest, kind, size, original, at from files where person = ? order by at", person
        ),
        "reminders": store.rows(
            """select b.nickname as bike, r.kind, r.occasion, r.at, r.laid, r.again
            from reminders r join bikes b on b.id = r.bike where r.person = ? order by r.id""",
            person,
        ),
        "codes": store.rows(
            """select g.case_id as "case", g.at, g.until, g.used, g.revoked, p.name as held_by
            from grants g join cases c on c.id = g.case_id left join people p on p.id = g.person
            where c.person = ? order by g.id""",
            person,
        ),
        "held": store.rows(
            """select number, used as since, revoked as until from grants
            where person = ? and used is not null order by id""",
            person,
        ),
    }


def _bike(store: Store, row: dict[str, Any]) -> dict[str, Any]:
    readings = store.rows(
        """select m.kind, r.low, r.high, r.at from readings r join meters m on m.id = r.meter
        where m.bike = ? order by r.at, r.id""",
        row["id"],
    )
    intervals = store.rows(
        "select kind, hours, km, days, off, at from intervals where bike = ? order by kind", row["id"]
    )
    book = store.rows("select at, kind, data from book where bike = ? order by id", row["id"])
    return {
        "nickname": row["nickname"],
        "since": row["at"],
        "traits": json.loads(row["traits"]),
        "readings": readings,
        "intervals": intervals,
        "book": [{**line, "data": json.loads(line["data"])} for line in book],
    }


def _case(store: Store, case: int) -> dict[str, Any]:
    line = store.case(case)
    return {
        "case": case,
        "bike": line.nickname,
        "flow": line.title,
        "complaint": line.complaint,
        "opened": line.opened,
        "ended": line.ended,
        "entries": [
            {"n": e.seq, "at": e.at, "who": e.who, "role": e.role, **e.event.model_dump(mode="json")}
            for e in store.entries(case)
        ],
    }


def _heard(row: dict[str, Any]) -> dict[str, Any]:
    return {"at": row["at"], "channel": row["channel"], **json.loads(row["heard"])}
