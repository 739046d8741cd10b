"""Versions of flows as admins left them: in use, withdrawn, drafted; and the list of what they did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bot.record.cases import Cases, KeptFlow

What = Literal["published", "used_again", "withdrawn", "kept", "dropped", "shares_taken", "moved"]
DraftState = Literal["new", "kept", "published", "dropped"]


@dataclass(frozen=True)
class Published:
    """One time that a version came into use in a scope. `who`: "" for the package, or one who was erased.

    `withdrawn`: when it was taken out of use again, "" while it was not. `taught`: it took shares over.
    """

    scope: str
    flow: str
    hash: str
    version: int
    title: str
    at: str
    who: str
    withdrawn: str
    taught: bool


@dataclass(frozen=True)
class Act:
    """Something that an admin did to a flow. `case`: the one that he moved, else None."""

    id: int
    at: str
    who: str
    what: What
    scope: str
    flow: str
    hash: str
    version: int
    case: int | None


@dataclass(frozen=True)
class Draft:
    """A flow that an admin sent for a scope and has not decided on, or not to use yet."""

    id: int
    person: int
    scope: str
    flow: str
    hash: str
    at: str
    state: DraftState


class Publishing(Cases):
    """The verbs about versions, drafts and acts."""

    def versions(self, flow: str, scope: str = "") -> list[Published]:
        """Every time that a version of the flow came into use, newest first; of one scope or of all."""
        rows = self.rows(
            """select p.scope, p.flow, p.hash, f.version, f.title, p.at, coalesce(w.name, '') as who,
                coalesce(p.withdrawn, '') as withdrawn, p.made_from is not null as taught
            from published p join flows f on f.hash = p.hash left join people w on w.id = p.person
            where p.flow = ? and ? in ('', p.scope) order by p.id desc""",
            *(flow, scope),
        )
        return [Published(**{**row, "taught": bool(row["taught"])}) for row in rows]

    def flows_in(self, scope: str) -> tuple[str, ...]:
        """Ids of the flows that ever had a version in the scope, sorted."""
        rows = self.rows("select distinct flow from published where scope = ? order by flow", scope)
        return tuple(row["flow"] for row in rows)

    def kept_flow(self, hash: str) -> KeptFlow:
        """A flow as it is kept. KeyError when there is none of that text."""
        row = self.row(
            "select hash, flow, version, language, title, text, common, form from flows where hash = ?", hash
        )
        if row is None:
            raise KeyError(hash)
        return KeptFlow(**row)

    def withdraw(self, scope: str, flow: str, hash: str, at: str) -> bool:
        """Take a version out of use in a scope; False when it was not in use there. Its text stays."""
        named = (scope, flow, hash)
        there = "where scope = ? and flow = ? and hash = ? and withdrawn is null"
        if self.value(f"select 1 from published {there}", *named) is None:
            return False
        self.run(f"update published set withdrawn = ? {there}", at, *named)
        return True

    def author_of(self, scope: str, hash: str) -> str | None:
        """The author's text that a version with shares from cases was made from; None for his own."""
        found = self.value(
            "select made_from from published where scope = ? and hash = ? order by id desc limit 1",
            scope,
            hash,
        )
        return None if found is None else str(found)

    def pin(self, case: int, hash: str) -> None:
        """An open case goes by this version from now on."""
        self.run("update cases set flow = ? where id = ?", hash, case)

    def scope_of_case(self, case: int) -> str:
        """Where the outcome of a case counts: the group it came from, or everyone."""
        return str(self.value("select scope from cases where id = ?", case))

    def note_act(
        self, what: What, scope: str, flow: str, hash: str, at: str,
        person: int | None = None, case: int | None = None,
    ) -> None:  # fmt: skip
        """Write down what an admin did; `person` is None for whoever works at the machine itself."""
        self.add("acts", at=at, person=person, what=what, scope=scope, flow=flow, hash=hash, case_id=case)

    def acts(self, flow: str = "", most: int = 1000) -> list[Act]:
        """What was done, newest first."""
        rows = self.rows(
            """select a.id, a.at, coalesce(w.name, '') as who, a.what, a.scope, a.flow, a.hash, f.version,
                a.case_id as "case"
            from acts a join flows f on f.hash = a.hash left join people w on w.id = a.person
            where ? in ('', a.flow) order by a.id desc limit ?""",
            *(flow, most),
        )
        return [Act(**row) for row in rows]

    # --- drafts ------------------------------------------------------------------------------

    def keep_draft(self, person: int, scope: str, flow: str, hash: str, at: str) -> int:
        """A flow that was sent and judged; its number. Its text is kept with the flows."""
        return self.add("drafts", person=person, scope=scope, flow=flow, hash=hash, at=at)

    def draft(self, id: int) -> Draft | None:
        """A draft by its number."""
        row = self.row("select id, person, scope, flow, hash, at, state from drafts where id = ?", id)
        return None if row is None else Draft(**row)

    def settle_draft(self, id: int, state: DraftState) -> bool:
        """Decide on a draft that is not decided yet, or only kept; False when somebody was quicker."""
        if self.value("select 1 from drafts where id = ? and state in ('new', 'kept')", id) is None:
            return False
        self.run("update drafts set state = ? where id = ?", state, id)
        return True

    def drafts(self, person: int) -> list[Draft]:
        """What this admin kept as draft, newest first."""
        rows = self.rows(
            "select id, person, scope, flow, hash, at, state from drafts"
            " where person = ? and state = 'kept' order by id desc",
            person,
        )
        return [Draft(**row) for row in rows]
