"""A PostgreSQL server of our own on loopback for a test run, where its programs are installed."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

_PLACES = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
USER = "smsd"


def lacking() -> str:
    """Why there can be no server here; '' if there can."""
    if find_spec("psycopg") is None:
        return "needs the extra sms-postgres"
    if not _PLACES or not (_PLACES[0] / "initdb").exists():
        return "needs the programs of a PostgreSQL server"
    if os.geteuid() == 0 and _servant() is None:
        return "PostgreSQL does not run as root, and there is no user postgres"
    return ""


def _servant() -> pwd.struct_passwd | None:
    return next((user for user in pwd.getpwall() if user.pw_name == "postgres"), None)


def _run(*command: str, folder: Path) -> None:
    servant = _servant() if os.geteuid() == 0 else None
    who: dict[str, Any] = {"user": servant.pw_uid, "group": servant.pw_gid} if servant else {}
    done = subprocess.run(
        [str(_PLACES[0] / command[0]), *command[1:]],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        **who,
    )
    assert done.returncode == 0, done.stderr


@contextmanager
def server() -> Iterator[str]:
    """The address of its data base `postgres`; the server is ended and its files are removed at the end."""
    folder = Path(tempfile.mkdtemp(prefix="sumpline-pg-"))
    servant = _servant()
    if os.geteuid() == 0 and servant:
        os.chown(folder, servant.pw_uid, servant.pw_gid)
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    data, log = str(folder / "data"), str(folder / "log")
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c fsync=off"
    try:
        _run("initdb", "-D", data, "-U", USER, "-A", "trust", "-E", "UTF8", "--no-sync", folder=folder)
        _run("pg_ctl", "-D", data, "-l", log, "-o", options, "-w", "start", folder=folder)
        try:
            yield f"postgresql://{USER}@127.0.0.1:{port}/postgres"
        finally:
            _run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop", folder=folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
