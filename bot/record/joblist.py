"""Slow work that was asked for: a row until it is done, so that a killed program takes it up again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bot.record.opening import Opened


@dataclass(frozen=True)
class Job:
    """One piece of slow work for one person."""

    id: int
    kind: str
    data: Mapping[str, Any]
    person: int
    tries: int


class JobList(Opened):
    """The verbs about jobs."""

    def ask_job(self, kind: str, data: Mapping[str, Any], person: int, at: str) -> int:
        """Note work to be done; its number."""
        return self.add("jobs", kind=kind, data=json.dumps(data), person=person, at=at)

    def jobs_waiting(self, kind: str) -> list[Job]:
        """Jobs of one kind that are not done, oldest first."""
        rows = self.rows("select * from jobs where state = 'new' and kind = ? order by id", kind)
        return [Job(r["id"], r["kind"], json.loads(r["data"]), r["person"], r["tries"]) for r in rows]

    def is_waiting(self, id: int) -> bool:
        """False for one that is done or given up, or whose person was erased."""
        return self.value("select 1 from jobs where id = ? and state = 'new'", id) is not None

    def job_done(self, id: int) -> None:
        """It is done; what it was to be made from is kept no longer."""
        self.run("update jobs set state = 'done', data = '{}' where id = ?", id)
        self.shed = True

    def job_failed(self, id: int, fault: str, limit: int) -> bool:
        """Count a failure; True once it is given up. `fault` names no person."""
        over = self.count_fault("jobs", id, fault, limit, column="result", given_up="failed")
        if over:
            self.run("update jobs set data = '{}' where id = ?", id)
            self.shed = True
        return over
