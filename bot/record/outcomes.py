"""How closed cases came out, as counts by scope and flow text: of no case and no person.

What a case adds is kept with the case itself (`cases.counted`), so that it can be taken off again when
the case is reopened or its outcome taken back, and goes with the rider when he is erased; the counts stay.

- Only a mechanic's word counts. A rider's own stands in his case, but who has only one bike to go by and
  wants to be done is too often sure of the last thing that he did.
- Cases of one rider count at most `OF_ONE` times for a flow in one scope, the first that were closed, so
  that one bike with one trouble does not make a club's shares.
- Where no cause was found there is nothing to count but that.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from bot.core.events import CaseHeld, Entry
from bot.core.state import State
from bot.record.cases import Cases

if TYPE_CHECKING:  # a talk begins without it
    from bot.core.calibration import Tenth

OF_ONE = 3  # cases of one rider that count, for a flow in one scope


@dataclass(frozen=True)
class Version:
    """What was counted of one text of a flow: cases by cause ("": one that it does not know), and scores.

    `scored` cases had stated chances; their scores add up to `brier`. `missed`: no cause was found.
    """

    hash: str
    version: int
    cases: Mapping[str, int]
    scored: int = 0
    brier: float = 0.0
    missed: int = 0


class Outcomes(Cases):
    """The verbs about how cases came out."""

    # --- counting --------------------------------------------------------------------------

    def count_case(self, case: int, person: int, state: State) -> None:
        """Bring the counts up to how this case of that rider stands now."""
        row = self.row("select scope, counted from cases where id = ?", case)
        assert row is not None
        old = json.loads(row["counted"]) if row["counted"] else {}
        new = _worth(state, row["scope"])
        if new and not old and self._counted_of(case, person, new) >= OF_ONE:
            new = {}
        if new == old:
            return
        if old:
            self._add(old, -1)
        if new:
            self._add(new, 1)
        self.run("update cases set counted = ? where id = ?", json.dumps(new) if new else "", case)

    def _counted_of(self, case: int, person: int, told: Mapping[str, Any]) -> int:
        """How many other cases of a rider count for this flow in this scope."""
        return int(
            self.value(
                """select count(*) from cases where person = ? and id <> ? and counted <> ''
                and json_extract(counted, '$.scope') = ? and json_extract(counted, '$.flow') = ?""",
                *(person, case, told["scope"], told["flow"]),
            )
        )

    def _add(self, told: Mapping[str, Any], sign: int) -> None:
        """Put one case to the counts, or (-1) take it off."""
        at = (told["scope"], told["flow"], told["hash"])
        if told["cause"] is not None:
            self._bump("outcomes", at, ("cause", told["cause"]), {"cases": sign})
        for tenth in told["tenths"]:
            added = {"held": tenth["held"], "chances": tenth["chances"], "hits": tenth["hits"]}
            self._bump("calibration", at, ("bin", tenth["bin"]), {k: sign * x for k, x in added.items()})
        scored, missed = bool(told["tenths"]), told["cause"] is None
        if scored or missed:
            self._bump(
                "scores", at, ("hash", told["hash"]),
                {"cases": sign * scored, "brier": sign * told["brier"], "missed": sign * missed},
            )  # fmt: skip

    def _bump(
        self, table: str, at: tuple[str, str, str], key: tuple[str, Any], by: Mapping[str, float]
    ) -> None:
        """Add to a row, which is made when it is the first and goes with the last.

        Sums of chances are kept to nine places, so that what is taken off leaves nothing behind.
        """
        scope, flow, text = at
        name, value = key
        one = f"from {table} where scope = ? and hash = ? and {name} = ?"
        known = self.row(f"select * {one}", scope, text, value) or {}
        new = {column: max(0, round(known.get(column, 0) + more, 9)) for column, more in by.items()}
        self.run(f"delete {one}", scope, text, value)
        if any(new.values()):
            self.add(table, **{"scope": scope, "flow": flow, "hash": text, name: value, **new})

    # --- read again --------------------------------------------------------------------------

    def outcomes_of(self, scope: str, flow: str) -> tuple[Version, ...]:
        """What was counted of a flow in a scope, by its texts, the newest version first."""
        causes: dict[str, dict[str, int]] = {}
        for row in self.rows("select * from outcomes where scope = ? and flow = ?", scope, flow):
            causes.setdefault(row["hash"], {})[row["cause"]] = row["cases"]
        rows = self.rows("select * from scores where scope = ? and flow = ?", scope, flow)
        scores = {row["hash"]: row for row in rows}
        found = [self._version(text, causes.get(text, {}), scores.get(text)) for text in {*causes, *scores}]
        return tuple(sorted(found, key=lambda version: (-version.version, version.hash)))

    def _version(self, text: str, causes: Mapping[str, int], row: Mapping[str, Any] | None) -> Version:
        number = int(self.value("select version from flows where hash = ?", text))
        if row is None:
            return Version(text, number, causes)
        return Version(text, number, causes, row["cases"], row["brier"], row["missed"])

    def calibration_of(self, scope: str, hash: str) -> tuple[Tenth, ...]:
        """What was held how likely, by tenths, and how much of it came true; of one text of a flow."""
        from bot.core.calibration import Tenth

        rows = self.rows(
            "select bin, held, chances, hits from calibration where scope = ? and hash = ? order by bin",
            *(scope, hash),
        )
        return tuple(Tenth(**row) for row in rows)

    def flows_counted(self, scope: str) -> tuple[str, ...]:
        """Flows of which something was counted in a scope."""
        rows = self.rows("select distinct flow from outcomes where scope = ? order by flow", scope)
        return tuple(row["flow"] for row in rows)

    def scopes_counted(self) -> tuple[str, ...]:
        """Scopes in which something was counted."""
        return tuple(r["scope"] for r in self.rows("select distinct scope from outcomes order by scope"))

    def unknown_causes(self, scope: str, flow: str) -> tuple[tuple[str, str], ...]:
        """What mechanics wrote of causes that the flow does not know: day and words, newest first.

        Names of people at the case and of its bike are taken out of the words.
        """
        cases = self.rows(
            """select c.id from cases c join flows f on f.hash = c.flow
            where c.scope = ? and f.flow = ? and c.ended = 'closed' order by c.last desc, c.id desc""",
            *(scope, flow),
        )
        told = ((row["id"], self.state(row["id"])) for row in cases)
        return tuple(self._unknown(case, state) for case, state in told if _is_unknown(state))

    def _unknown(self, case: int, state: State) -> tuple[str, str]:
        entry = _told(state)
        assert entry is not None
        people = {self.case(case).rider, *self.seats(case), *(e.who for e in state.entries)}
        names = {**dict.fromkeys(people, "someone"), state.nickname: "the bike"}
        return entry.at[:10], _without_names(entry.event.words, names)


def _is_unknown(state: State) -> bool:
    return state.outcome is not None and state.outcome.result == "unlisted" and _by_a_mechanic(state)


def _told(state: State) -> Entry | None:
    """The entry that says how the case came out."""
    return next((e for e in state.entries if e.event is state.outcome), None)


def _by_a_mechanic(state: State) -> bool:
    """Whether a mechanic said so, or one who was let in to the case as such."""
    told = _told(state)
    held = {e.who for e in state.entries if isinstance(e.event, CaseHeld)}
    return told is not None and (told.role == "mechanic" or told.who in held)


def _worth(state: State, scope: str) -> dict[str, Any]:
    """What a case adds to the counts as it stands; {} for nothing."""
    closed = state.ended is not None and state.ended.how == "closed"
    if not closed or not state.hash or state.outcome is None or not _by_a_mechanic(state):
        return {}
    found = state.outcome.result != "not_found"
    cause = (state.outcome.cause if state.outcome.result == "cause" else "") if found else None
    return {
        "scope": scope, "flow": state.flow, "hash": state.hash, "cause": cause,
        **_scored(state.outcome.expected, cause),
    }  # fmt: skip


def _scored(expected: Mapping[str, float], cause: str | None) -> dict[str, Any]:
    """How the stated chances did, where there are any and it is known what it was."""
    if cause is None or not expected:
        return {"brier": 0.0, "tenths": []}
    from bot.core.calibration import brier, tenths

    rounded = [{**asdict(tenth), "chances": round(tenth.chances, 9)} for tenth in tenths(expected, cause)]
    return {"brier": round(brier(expected, cause), 9), "tenths": rounded}


def _without_names(words: str, names: Mapping[str, str]) -> str:
    """The words with each name replaced, longer names first, whatever their case."""
    for name in sorted(filter(None, names), key=len, reverse=True):
        words = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", names[name], words, flags=re.IGNORECASE)
    return words
