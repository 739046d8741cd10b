"""The daemon on its pretend modem as a fixture.

A test module takes it with `pytest_plugins = ["tests.channels.sms_rig_fixtures"]`.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.channels.sms_rig import Rig, require_daemon


@pytest.fixture(scope="module")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """One daemon for all tests of a module."""
    require_daemon()
    with_daemon = Rig(tmp_path_factory.mktemp("smsd"))
    try:
        with_daemon.start()
        yield with_daemon
    finally:
        with_daemon.stop()
