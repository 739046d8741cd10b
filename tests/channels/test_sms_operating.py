"""What operators are told of text messages is true: page, example configuration, units, commands to copy."""

from __future__ import annotations

import contextlib
import re
import shutil
import sqlite3
import subprocess
import sys
from configparser import ConfigParser
from decimal import Decimal
from pathlib import Path

import pytest

from bot.channels.sms import check
from bot.channels.sms.daemon import Own, Pace, keeper, pace_of
from bot.channels.sms.gateway import open_gateway
from bot.channels.sms.settings import HELP_MOST, NAMES, Price, Settings, read, read_file
from bot.channels.sms.smsdrc import read as read_rc
from tests.channels.sms_rig import require_daemon
from tests.channels.sms_running import is_there, running, until
from tests.channels.sms_schema import packaged

ROOT = Path(__file__).parents[2]
OPERATE = ROOT / "docs" / "operate"
PAGE = (OPERATE / "text-messages.md").read_text("utf-8")
CONF = OPERATE / "sumpline-smsd.conf"
OURS, ALONE = OPERATE / "sumpline-sms.service", OPERATE / "sumpline-smsd.service"
HOME = "/var/lib/sumpline"


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)\n^```$", PAGE, re.S | re.M)


def command(part: str) -> str:
    """The Python of a command to copy."""
    [found] = re.findall(rf'python3 -c "(.*{part}.*)"$', PAGE, re.M)
    return str(found)


def unit(path: Path) -> ConfigParser:
    parser = ConfigParser(interpolation=None, delimiters=("=",), strict=False)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(path.read_text("utf-8"))
    return parser


# --- the settings on the page ---------------------------------------------------------------------


def test_the_page_names_every_setting_and_no_other() -> None:
    rows = re.findall(r"^\| `(SUMPLINE_\w+)` \|", PAGE, re.M)
    assert sorted(rows) == sorted(NAMES)
    everywhere = PAGE + "".join(path.read_text("utf-8") for path in (CONF, OURS, ALONE))
    assert set(re.findall(r"SUMPLINE_[A-Z0-9_]+", everywhere)) <= set(NAMES)


def test_the_numbers_on_the_page_are_those_of_the_program() -> None:
    usual = Settings(Path(), "", "").caps
    for name, number in (("SESSION", usual.session), ("DAY", usual.day), ("SIM", usual.sim)):
        assert re.search(rf"^\| `SUMPLINE_SMS_{name}` .*\({number}\) \|$", PAGE, re.M)
    assert f"at most {HELP_MOST} characters" in PAGE
    price = read(_example()).price
    assert price == Price(Decimal("0.08"), "EUR")
    for segments in (10, usual.session, usual.sim):  # the second figure of a range carries the currency
        assert price.of(segments).removesuffix(" EUR") in PAGE


def _example() -> dict[str, str]:
    [text] = blocks("ini")
    return dict(line.split("=", 1) for line in text.splitlines())


def test_the_example_of_settings_can_be_used(tmp_path: Path) -> None:
    path = tmp_path / "settings-sms"
    path.write_text(blocks("ini")[0] + "\n")
    path.chmod(0o600)
    settings = read(read_file(path))
    assert str(settings.config) == f"{HOME}/{CONF.name}"
    assert read_rc(CONF).database == Path(settings.gateway) == Path(f"{HOME}/smsd.db")
    assert settings.daemon == unit(ALONE)["Service"]["ExecStart"].split()[0]


def test_what_the_log_is_said_to_say_is_what_it_says() -> None:
    said = (ROOT / "bot/channels/sms/daemon.py").read_text("utf-8")
    rows = re.findall(r"^\| `(.+?)`.*\|$", PAGE.partition("| in the log |")[2].partition("\n\n")[0], re.M)
    assert len(rows) >= 5
    for row in rows:
        words = re.sub(r"\b(?:N|10|5)\b|: \.\.\.", "\0", row).split("\0")
        assert all(part.strip("()") in said for part in words), row
    assert f"{Pace().patience:.0f} s of being asked" in PAGE
    assert f"ended at once {Pace().times} times" in PAGE


# --- commands to copy ---------------------------------------------------------------------------------


def _run(text: str, folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", text.replace(HOME, str(folder))], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_the_command_that_makes_the_data_base(tmp_path: Path) -> None:
    require_daemon()
    _run(command("executescript"), tmp_path)
    with contextlib.closing(sqlite3.connect(tmp_path / "smsd.db")) as made:
        assert made.execute("select Version from gammu").fetchall() == [(17,)]


def test_the_command_that_forgets_leaves_what_is_new_or_not_read(tmp_path: Path) -> None:
    """Expected by hand: of texts older than a week those that were read, and what was sent."""
    require_daemon()
    with contextlib.closing(sqlite3.connect(tmp_path / "smsd.db")) as made:
        made.executescript(packaged("sqlite") or "")
        made.execute("drop trigger update_inbox_time")  # it would make all of them new
        for text, days, processed in (("old", 8, "true"), ("old unread", 8, "false"), ("new", 6, "true")):
            made.execute(
                "insert into inbox (Text, UDH, RecipientID, TextDecoded, Processed, UpdatedInDB)"
                " values ('', '', '', ?, ?, datetime('now', ?))", (text, processed, f"-{days} days"),
            )  # fmt: skip
        for number, days in ((1, 8), (2, 6)):
            made.execute(
                "insert into sentitems (Text, UDH, SenderID, CreatorID, ID, UpdatedInDB)"
                " values ('', '', '', '', ?, datetime('now', ?))", (number, f"-{days} days"),
            )  # fmt: skip
        made.commit()
    _run(command("DELETE FROM inbox"), tmp_path)
    with contextlib.closing(sqlite3.connect(tmp_path / "smsd.db")) as left:
        assert left.execute("select TextDecoded from inbox order by ID").fetchall() == [
            ("old unread",),
            ("new",),
        ]
        assert left.execute("select ID from sentitems").fetchall() == [(2,)]
    assert b"old unread" in (tmp_path / "smsd.db").read_bytes()


# --- units ------------------------------------------------------------------------------------------


def test_the_units_say_what_matters() -> None:
    ours, alone = unit(OURS)["Service"], unit(ALONE)["Service"]
    assert alone["Environment"] == "TZ=UTC"
    assert f"--config {HOME}/{CONF.name}" in alone["ExecStart"]
    assert "serve sms --settings" in ours["ExecStart"]
    assert ours["User"] == alone["User"]  # both write one data base
    assert ours["KillMode"] == "mixed"  # SIGTERM is for us, and we end the daemon
    # It may need its patience twice: asked, and killed.
    assert int(ours["TimeoutStopSec"]) > 2 * Pace().patience
    for service in (ours, alone):
        assert service["SupplementaryGroups"] == "dialout"
        assert service["ReadWritePaths"] == HOME
    for path in (OURS, ALONE):
        assert unit(path)["Unit"]["Conflicts"] == "gammu-smsd.service"
        assert path.name in PAGE


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="no systemd-analyze here")
@pytest.mark.parametrize("path", [OURS, ALONE], ids=lambda path: path.stem)
def test_systemd_understands_the_units(tmp_path: Path, path: Path) -> None:
    """Checked by systemd itself, with a program in the place of those that may not be installed here."""
    text = re.sub(r"(?m)^ExecStart=\S+", "ExecStart=/bin/true", path.read_text("utf-8"))
    (tmp_path / path.name).write_text(text)
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(tmp_path / path.name)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    ours = [line for line in done.stderr.splitlines() if path.name in line]
    assert (done.returncode, ours) == (0, []), done.stderr


# --- the example configuration -----------------------------------------------------------------------


def test_a_hung_daemon_is_noticed_within_a_minute() -> None:
    assert pace_of(read_rc(CONF)).silence == 60.0  # by hand: 4 x 15 s, and 30 + 2 x 15 s


async def test_the_real_daemon_runs_with_the_example(tmp_path: Path) -> None:
    """Only the modem is another: the driver that Gammu has for tests, with a folder for a phone."""
    require_daemon()
    (tmp_path / "phone").mkdir()
    _run(command("executescript"), tmp_path)
    text = CONF.read_text("utf-8").replace(HOME, str(tmp_path))
    text = re.sub(
        r"(?m)^device = .*", f"model = dummy\ndevice = {tmp_path}/phone\ngammuloc = /dev/null", text
    )
    path = tmp_path / "smsd.conf"
    path.write_text(text.replace("connection = at", "connection = none"))
    given = {**_example(), "SUMPLINE_DB": str(tmp_path / "club.db"), "SUMPLINE_SMS_CONFIG": str(path)}
    settings = read({**given, "SUMPLINE_SMS_GATEWAY": str(tmp_path / "smsd.db")})
    gateway = open_gateway(settings.gateway)
    daemon = keeper(settings, read_rc(path), gateway.heartbeat)
    assert isinstance(daemon, Own)
    async with running(daemon):
        await until(lambda: daemon.pulse.heard)
        pid = daemon.pid
        points = check.look(settings, gateway.check)
        assert [x.text[:14] for x in points if x.mark != "ok"] == ["model is dummy"]
    gateway.close()
    assert pid is not None
    assert not is_there(pid)
    log = (tmp_path / "smsd.log").read_text()
    assert "Starting phone communication" in log
    assert "rror at init" not in log
