"""What all tests share: every database is closed at the end, and how hard properties are tried."""

from __future__ import annotations

import os
from collections.abc import Iterator

import hypothesis
import pytest
import sqlite_utils

hypothesis.settings.register_profile("usual", deadline=None, max_examples=60, derandomize=True)
hypothesis.settings.register_profile("deep", deadline=None, max_examples=1000)
# For runs on purposely broken code: no time spent on making a failure small.
hypothesis.settings.register_profile(
    "quick_fail",
    deadline=None,
    max_examples=60,
    derandomize=True,
    database=None,
    phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))


@pytest.fixture(autouse=True)
def closed_databases(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Close what a test opened; an open file would warn in another test, long after."""
    opened: list[sqlite_utils.Database] = []
    make = sqlite_utils.Database.__init__

    def remember(self: sqlite_utils.Database, *args: object, **options: object) -> None:
        opened.append(self)
        make(self, *args, **options)

    monkeypatch.setattr(sqlite_utils.Database, "__init__", remember)
    yield
    for database in opened:
        if hasattr(database, "conn"):
            database.conn.close()


@pytest.fixture(autouse=True)
def own_record(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test may touch the record of whoever runs it."""
    if "SUMPLINE_DB" not in os.environ:
        monkeypatch.setenv("SUMPLINE_DB", str(tmp_path_factory.getbasetemp() / "nobody" / "record.db"))
