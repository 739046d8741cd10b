"""Data bases with the daemon's tables, new for each test; tests name this module in `pytest_plugins`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from bot.channels.sms.gateway import Gateway, open_gateway
from tests.channels import sms_postgres
from tests.channels.sms_bases import Base, fill
from tests.channels.sms_schema import make, packaged, schema


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a server of our own; a test that has none is skipped and says why."""
    if why := sms_postgres.lacking():
        pytest.skip(why)
    with sms_postgres.server() as address:
        yield address


@pytest.fixture(params=["sqlite-ours", "sqlite-packaged", "pgsql-ours", "pgsql-packaged"])
def base(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Base]:
    dialect, whose = request.param.split("-")
    said = schema(dialect) if whose == "ours" else packaged(dialect)
    if said is None:
        pytest.skip("gammu-smsd is not installed, so its schema is not there")
    if dialect == "sqlite":
        yield Base(str(make(tmp_path / "smsd.db", said)))
        return
    address: str = request.getfixturevalue("postgres_server")
    fill(address, said)
    with closing(Base(address)) as base:
        yield base


@pytest.fixture
def gateway(base: Base) -> Iterator[Gateway]:
    """It waits for nothing: a part whose others are not there is told at once."""
    with closing(open_gateway(base.place, hold=0)) as gateway:
        yield gateway


@pytest.fixture
def postgres(postgres_server: str) -> Iterator[Base]:
    """PostgreSQL alone, with our tables."""
    fill(postgres_server, schema("pgsql"))
    with closing(Base(postgres_server)) as base:
        yield base


@pytest.fixture
def lite(tmp_path: Path) -> Base:
    return Base(str(make(tmp_path / "smsd.db")))
