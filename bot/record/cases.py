"""People, their seats at cases, the entries of cases, and the flows that cases are pinned to."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, cast

from bot.core.desk import fold_name
from bot.core.events import Entry, Role, revive
from bot.core.state import State, fold
from bot.record.garage import Garage
from bot.record.grants import ADMITTED, Grants
from bot.record.opening import RecordError
from bot.record.post import BY_NUMBER, Address

Setting = str | float | bool
NUMBERED = "rider"  # with a count behind it: what somebody is called who has no name


class NoSuchCaseError(RecordError):
    """There is no case of that number."""


@dataclass(frozen=True)
class Person:
    """A rider, mechanic or admin. `name` is his for good and no one else's."""

    id: int
    name: str
    role: Role
    settings: Mapping[str, Setting]


@dataclass(frozen=True)
class CaseLine:
    """A case as one line of a list. `flow` is the hash it is pinned to, "" before one is chosen."""

    id: int
    person: int
    rider: str
    bike: str | None
    nickname: str
    flow: str
    title: str
    complaint: str
    opened: str
    last: str
    ended: str


@dataclass(frozen=True)
class KeptFlow:
    """A flow as it is kept: its own text, the common text ("" if there was none), the form as JSON."""

    hash: str
    flow: str
    version: int
    language: int
    title: str
    text: str
    common: str
    form: str


@dataclass(frozen=True)
class FlowLine:
    """A flow on offer: which text is in use, and for whom. `author`: hash of the author's text of it."""

    flow: str
    hash: str
    title: str
    version: int
    scope: str
    author: str


_CASE = """select c.id, c.person, p.name as rider, c.bike, coalesce(b.nickname, '') as nickname,
    coalesce(c.flow, '') as flow, coalesce(f.title, '') as title, c.complaint, c.opened, c.last, c.ended
    from cases c join people p on p.id = c.person
    left join bikes b on b.id = c.bike left join flows f on f.hash = c.flow """


def scope_of(group: str) -> str:
    """What is said of a group's own cases and flows; "" is everyone."""
    return f"group:{group}" if group else "everyone"


def group_in(scope: str) -> str:
    """The group whose scope this is; "" for everyone's and the package's."""
    return scope.removeprefix("group:") if scope.startswith("group:") else ""


def _person(row: Mapping[str, Any]) -> Person:
    return Person(row["id"], row["name"], row["role"], json.loads(row["settings"]))


def _line(row: dict[str, Any]) -> CaseLine:
    return CaseLine(**{**row, "bike": None if row["bike"] is None else str(row["bike"])})


class Cases(Garage, Grants):
    """The verbs about people, cases and flows."""

    # --- people ----------------------------------------------------------------------------

    def person(self, id: int) -> Person:
        """One person by number. KeyError when there is none."""
        row = self.row("select * from people where id = ?", id)
        if row is None:
            raise KeyError(id)
        return _person(row)

    def named(self, name: str) -> Person | None:
        """The person of that name, or who had it before two identities became one; None for nobody."""
        row = self.row(
            """select * from people where fold = ?1
            or id = (select person from former_names where fold = ?1)""",
            fold_name(name),
        )
        return None if row is None else _person(row)

    def known_in(self, case: int, person: int) -> Person:
        """A person under the name by which the entries of a case know him. KeyError when there is none."""
        called = self.value("select name from called where case_id = ? and person = ?", case, person)
        known = self.person(person)
        return known if called is None else replace(known, name=str(called))

    def known_as(self, channel: str, handle: str) -> Person | None:
        """Who goes by that handle on that channel, or None."""
        row = self.row(
            "select p.* from handles h join people p on p.id = h.person where h.channel = ? and h.handle = ?",
            *(channel, fold_name(handle)),
        )
        return None if row is None else _person(row)

    def meet(self, channel: str, handle: str, name: str, role: Role, at: str) -> Person:
        """Who goes by that handle; a newcomer is entered, under a name that no one has yet.

        A phone number is nobody's name, and tells nothing of his role.
        """
        by_number = channel == BY_NUMBER
        known = self.known_as(channel, handle)
        if known is None:
            new = self.enter_person(NUMBERED if by_number else name, "rider" if by_number else role, at)
            self.add("handles", channel=channel, handle=fold_name(handle), person=new)
            return self.person(new)
        if known.role != role and not by_number:
            self.run("update people set role = ? where id = ?", role, known.id)
        return self.person(known.id)

    def enter_person(self, name: str, role: Role, at: str) -> int:
        """A new person whom no handle leads to yet; his number."""
        free = self._free_name(name)
        return self.add("people", name=free, fold=fold_name(free), role=role, at=at)

    def _free_name(self, name: str) -> str:
        shown = " ".join(name.split()) or NUMBERED
        tried, number = shown, 1
        while self.named(tried) is not None:
            number += 1
            tried = f"{shown} {number}"
        return tried

    def settle(self, person: int, setting: str, value: Setting) -> None:
        """Keep a rider's standing setting."""
        settings = {**self.person(person).settings, setting: value}
        self.run("update people set settings = ? where id = ?", json.dumps(settings), person)

    # --- cases -----------------------------------------------------------------------------

    def open_case(self, person: int, at: str, group: str = "") -> int:
        """A new case of this rider, with no entry yet; its number. `group`: that it comes from, or ""."""
        return self.add("cases", person=person, opened=at, last=at, scope=scope_of(group))

    def case(self, id: int) -> CaseLine:
        """One case as a line. Raises NoSuchCaseError."""
        row = self.row(_CASE + "where c.id = ?", id)
        if row is None:
            raise NoSuchCaseError(f"There is no case {id}.")
        return _line(row)

    def cases_of(self, person: int) -> tuple[CaseLine, ...]:
        """A rider's cases, newest first."""
        return tuple(_line(r) for r in self.rows(_CASE + "where c.person = ? order by c.id desc", person))

    def cases_of_bike(self, bike: str) -> tuple[CaseLine, ...]:
        """The cases of one bike, newest first."""
        return tuple(_line(r) for r in self.rows(_CASE + "where c.bike = ? order by c.id desc", bike))

    def all_cases(self) -> tuple[CaseLine, ...]:
        """Every case, newest first."""
        return tuple(_line(r) for r in self.rows(_CASE + "order by c.id desc"))

    def entries(self, case: int) -> tuple[Entry, ...]:
        """All entries of a case in order."""
        rows = self.db.execute(
            "select seq, at, who, role, event from entries where case_id = ? order by seq", [case]
        )
        return tuple(revive(*row) for row in rows)

    def state(self, case: int) -> State:
        """The case as its entries leave it."""
        return fold(self.entries(case))

    def append(self, case: int, entries: Iterable[Entry]) -> None:
        """Write entries behind those there are. sqlite3.IntegrityError when a number is taken or left out."""
        for e in entries:
            self.add("entries", case_id=case, seq=e.seq, at=e.at, who=e.who, role=e.role, event=e.dump())

    def keep_line(self, case: int, state: State, at: str) -> None:
        """Bring the case's line in the list up to its state."""
        self.run(
            "update cases set bike = ?, flow = ?, complaint = ?, ended = ?, last = ? where id = ?",
            state.bike or None,
            state.hash or None,
            state.complaint,
            state.ended.how if state.ended else "",
            *(at, case),
        )

    def keep_turn(self, case: int, seq: int, inbox: int, desk: Mapping[str, Any]) -> None:
        """What the turn that began with this entry was handed; left empty while it stays the same."""
        text = json.dumps(desk, sort_keys=True)
        same = text == self._desk_text(case, seq)
        self.add("turns", case_id=case, seq=seq, inbox=inbox, desk="" if same else text)

    def turn_desk(self, case: int, seq: int) -> dict[str, Any]:
        """What the turn that began with this entry was handed; {} when it is not known."""
        return cast("dict[str, Any]", json.loads(self._desk_text(case, seq) or "{}"))

    def _desk_text(self, case: int, seq: int) -> str:
        found = self.value(
            "select desk from turns where case_id = ? and seq <= ? and desk <> '' order by seq desc limit 1",
            *(case, seq),
        )
        return str(found or "")

    def heard_from(self, case: int) -> list[tuple[int, int | None]]:
        """Messages that moved a case, newest first: number, and who spoke (None: he was erased)."""
        rows = self.db.execute(
            """select t.inbox, i.person from turns t left join inbox i on i.id = t.inbox
            where t.case_id = ? order by t.seq desc""",
            [case],
        )
        return [(inbox, person) for inbox, person in rows]

    def turn_of(self, at: Address, message_id: str, again: str) -> tuple[int, int] | None:
        """Case and first entry of the newest turn that a message led to, by itself or `again` (a GLOB)."""
        row = self.db.execute(
            """select t.case_id, t.seq from turns t join inbox i on i.id = t.inbox
            where i.channel = ? and i.chat = ? and (i.message_id = ? or i.message_id glob ?)
            order by t.rowid desc limit 1""",
            [at.channel, at.chat, message_id, again],
        ).fetchone()
        return None if row is None else (int(row[0]), int(row[1]))

    # --- seats -----------------------------------------------------------------------------

    def sit_down(self, case: int, person: int, at: Address, now: str) -> None:
        """This person is at this case and is met at that address; what he says there goes to it."""
        met = (at.channel, at.chat, at.thread)
        self.run("insert or replace into seats values (?, ?, ?, ?, ?, ?)", case, person, *met, now)
        self.run("insert or replace into current values (?, ?, ?, ?, ?)", *met, person, case)
        self.note_place(person, at)

    def current(self, at: Address, person: int) -> int | None:
        """The case that a message of this person at this address goes to, or None.

        None too for one that he may see no more, or not there.
        """
        found = self.value(
            f"""select s.case_id from current s join cases c on c.id = s.case_id
            where s.channel = ? and s.chat = ? and s.thread = ? and s.person = ? and {ADMITTED}""",
            *(at.channel, at.chat, at.thread, person),
        )
        return None if found is None else int(found)

    def seat_of(self, case: int, person: int) -> Address | None:
        """Where a person is met about a case, or None when he does not sit at it."""
        sql = "select channel, chat, thread from seats where case_id = ? and person = ?"
        row = self.row(sql, case, person)
        return None if row is None else Address(**row)

    def seats(self, case: int) -> dict[str, tuple[int, Address]]:
        """Who sits at a case and may see it there, by the name it knows, with number and address."""
        rows = self.rows(
            f"""select coalesce(k.name, p.name) as name, s.person, s.channel, s.chat, s.thread from seats s
            join people p on p.id = s.person join cases c on c.id = s.case_id
            left join called k on k.case_id = s.case_id and k.person = s.person
            where s.case_id = ? and {ADMITTED} order by s.at, s.person""",
            case,
        )
        return {r["name"]: (r["person"], Address(r["channel"], r["chat"], r["thread"])) for r in rows}

    # --- flows -----------------------------------------------------------------------------

    def keep_flow(self, kept: KeptFlow) -> None:
        """Keep a flow's text and validated form, once per hash."""
        if self.value("select 1 from flows where hash = ?", kept.hash) is None:
            self.add("flows", **asdict(kept))

    def publish(
        self,
        scope: str,
        flow: str,
        hash: str,
        at: str,
        person: int | None = None,
        made_from: str | None = None,
    ) -> None:
        """Put this text of the flow in use for the scope: shipped, everyone, or group:<id>.

        `made_from`: the author's text, for one that only took shares over from cases.
        """
        if self.published(scope).get(flow) != hash:
            row = {"scope": scope, "flow": flow, "hash": hash, "at": at, "person": person}
            self.add("published", **row, made_from=made_from)

    def published(self, scope: str) -> dict[str, str]:
        """Flow -> hash in use in one scope."""
        sql = "select flow, hash from published where scope = ? and withdrawn is null order by id"
        rows = self.rows(sql, scope)
        return {row["flow"]: row["hash"] for row in rows}

    def offered(self, group: str = "") -> tuple[FlowLine, ...]:
        """The flows on offer: a group's own before those for everyone before the shipped ones.

        A version that took shares over holds as long as the author's text that it was made from: with a
        newer text of his it gives way, so that no cases anywhere keep out what he put right.
        """
        by_author: dict[str, str] = {}
        found: dict[str, tuple[str, str]] = {}
        sql = "select flow, hash, made_from from published where scope = ? and withdrawn is null order by id"
        for scope in dict.fromkeys(("shipped", "everyone", scope_of(group))):
            for row in self.rows(sql, scope):
                if row["made_from"] is None:
                    by_author[row["flow"]] = row["hash"]
                if row["made_from"] in (None, by_author.get(row["flow"])):
                    found[row["flow"]] = (row["hash"], scope)
        return tuple(self._flow_line(*found[flow], by_author[flow]) for flow in sorted(found))

    def in_use(self, scope: str, flow: str) -> FlowLine | None:
        """The version of a flow that a new case in this scope begins with, or None."""
        return next((line for line in self.offered(group_in(scope)) if line.flow == flow), None)

    def _flow_line(self, hash: str, scope: str, author: str) -> FlowLine:
        row = self.row("select flow, hash, title, version from flows where hash = ?", hash)
        assert row is not None
        return FlowLine(scope=scope, author=author, **row)

    def flow_form(self, hash: str) -> str:
        """The validated form of a flow as JSON text. KeyError when it is not kept here."""
        found = self.value("select form from flows where hash = ?", hash)
        if found is None:
            raise KeyError(hash)
        return str(found)

    def flow_texts(self, hash: str) -> tuple[str, str]:
        """The flow's own text and the common text. KeyError when it is not kept here."""
        row = self.row("select text, common from flows where hash = ?", hash)
        if row is None:
            raise KeyError(hash)
        return row["text"], row["common"]

    def flow_hashes(self) -> tuple[str, ...]:
        """Hashes of all flows kept here."""
        return tuple(row["hash"] for row in self.rows("select hash from flows order by hash"))
