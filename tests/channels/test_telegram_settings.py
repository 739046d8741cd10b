"""Settings of the bot: from the environment or a private file, all that is wrong said at once."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from bot.channels.telegram.settings import API, NAMES, SettingsError, Webhook, gather, read, read_file
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

TOKEN = "7100000009:AAzyxlamoth_token_of_the_settings_0009"
GOOD = {"SUMPLINE_TELEGRAM_TOKEN": TOKEN, "SUMPLINE_DB": "club.db"}


def problems(given: dict[str, str]) -> tuple[str, ...]:
    with pytest.raises(SettingsError) as wrong:
        read(given)
    return wrong.value.problems


def write(path: Path, text: str, mode: int = 0o600) -> Path:
    path.write_text(text)
    path.chmod(mode)
    return path


# --- what is read ----------------------------------------------------------------------------


def test_a_token_and_a_file_are_enough() -> None:
    settings = read(GOOD)
    assert (settings.token, settings.database, settings.api, settings.files) == (
        TOKEN,
        Path("club.db"),
        API,
        API,
    )
    assert (settings.admins, settings.language, settings.file_bytes) == (frozenset(), "en", 20_000_000)
    assert settings.webhook is None


def test_everything_can_be_set() -> None:
    told = {
        "SUMPLINE_ADMINS": "12, 34,", "SUMPLINE_TELEGRAM_API": "http://127.0.0.1:8081/",
        "SUMPLINE_FILE_MB": "50", "SUMPLINE_WEBHOOK_URL": "https://bot.example/hook",
        "SUMPLINE_WEBHOOK_LISTEN": "127.0.0.1:9000", "SUMPLINE_WEBHOOK_SECRET": "s" * 16,
        "SUMPLINE_LANGUAGE": "en",
    }  # fmt: skip
    settings = read({**GOOD, **told})
    assert settings.admins == {"12", "34"}
    assert settings.api == settings.files == "http://127.0.0.1:8081"
    assert settings.file_bytes == 50_000_000
    assert settings.webhook == Webhook("https://bot.example/hook", "127.0.0.1", 9000, "s" * 16)


def test_a_file_of_ones_own_goes_before_the_environment(tmp_path: Path) -> None:
    path = write(tmp_path / "s", f"# ours\n\nSUMPLINE_DB = 'other.db'\nSUMPLINE_TELEGRAM_TOKEN={TOKEN}\n")
    assert read_file(path) == {"SUMPLINE_DB": "other.db", "SUMPLINE_TELEGRAM_TOKEN": TOKEN}
    assert gather({"SUMPLINE_DB": "club.db"}, path).database == Path("other.db")
    assert gather({"SUMPLINE_DB": "club.db"}, path, "named.db").database == Path("named.db")


# --- what is refused ---------------------------------------------------------------------------


def test_all_that_is_wrong_is_said_at_once() -> None:
    told = problems({
        "SUMPLINE_TELEGRAM_TOKEN": "letmein", "SUMPLINE_ADMINS": "12,robin", "SUMPLINE_FILE_MB": "lots",
        "SUMPLINE_TELEGRAM_API": "example.org", "SUMPLINE_LANGUAGE": "xx",
        "SUMPLINE_WEBHOOK_URL": "http://bot.example", "SUMPLINE_WEBHOOK_LISTEN": "here",
    })  # fmt: skip
    names = [sentence.split()[0].rstrip(":") for sentence in told]
    assert sorted(names) == [
        "SUMPLINE_ADMINS", "SUMPLINE_DB", "SUMPLINE_FILE_MB", "SUMPLINE_LANGUAGE", "SUMPLINE_TELEGRAM_API",
        "SUMPLINE_TELEGRAM_TOKEN", "SUMPLINE_WEBHOOK_LISTEN", "SUMPLINE_WEBHOOK_SECRET",
        "SUMPLINE_WEBHOOK_URL",
    ]  # fmt: skip
    assert all(sentence[0].isupper() and len(sentence.split()) >= 5 for sentence in told)
    assert "letmein" not in " ".join(told)


def test_nothing_at_all_is_two_sentences() -> None:
    assert len(problems({})) == 2


@pytest.mark.parametrize("mb", ["0", "2001", "²", "-1", "1.5", "٣"])
def test_a_limit_that_is_no_whole_number_of_mb_is_refused(mb: str) -> None:
    [told] = problems({**GOOD, "SUMPLINE_FILE_MB": mb})
    assert "between 1 and 2000" in told


@pytest.mark.parametrize("address", ["ftp://x", "https://", "https://[x", "api.example"])
def test_a_bad_address_is_named_once(address: str) -> None:
    [told] = problems({**GOOD, "SUMPLINE_TELEGRAM_API": address})
    assert told.startswith("SUMPLINE_TELEGRAM_API:")


@pytest.mark.parametrize("listen", ["127.0.0.1:0", "127.0.0.1:70000", "127.0.0.1:²", ":80", "host"])
def test_where_to_listen_must_be_a_place(listen: str) -> None:
    hook = {"SUMPLINE_WEBHOOK_URL": "https://bot.example", "SUMPLINE_WEBHOOK_SECRET": "s" * 20}
    [told] = problems({**GOOD, **hook, "SUMPLINE_WEBHOOK_LISTEN": listen})
    assert "HOST:PORT" in told


@pytest.mark.parametrize("secret", ["", "short", "with space in it here", "ä" * 20, "s" * 257])
def test_a_webhook_needs_a_secret_that_can_be_sent(secret: str) -> None:
    [told] = problems(
        {**GOOD, "SUMPLINE_WEBHOOK_URL": "https://b.example", "SUMPLINE_WEBHOOK_SECRET": secret}
    )
    assert told.startswith("SUMPLINE_WEBHOOK_SECRET")


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o660])
def test_a_file_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    path = write(tmp_path / "s", f"SUMPLINE_TELEGRAM_TOKEN={TOKEN}\n", mode)
    with pytest.raises(SettingsError, match="chmod 600"):
        read_file(path)
    with pytest.raises(SettingsError, match="chmod 600"):
        gather(GOOD, path)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        gather(GOOD, tmp_path / "none")


def test_what_is_wrong_in_the_file_and_beside_it_is_said_at_once(tmp_path: Path) -> None:
    path = write(tmp_path / "s", "SUMPLINE_TOKEN=x\nnonsense\nSUMPLINE_ADMINS=robin\n")
    with pytest.raises(SettingsError) as wrong:
        gather({}, path)
    told = " ".join(wrong.value.problems)
    for part in ("line 1", "line 2", "SUMPLINE_ADMINS", "SUMPLINE_TELEGRAM_TOKEN is not set", "SUMPLINE_DB"):
        assert part in told


def test_a_slip_in_a_name_is_answered_with_the_name(tmp_path: Path) -> None:
    path = write(tmp_path / "s", "SUMPLINE_TOKEN=x\n")
    with pytest.raises(SettingsError, match="is SUMPLINE_TELEGRAM_TOKEN meant"):
        read_file(path)


def test_every_setting_stands_on_the_front_page() -> None:
    page = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    assert [name for name in NAMES if f"`{name}`" not in page] == []


# --- the token ---------------------------------------------------------------------------------------


def test_no_sentence_holds_the_token_wherever_it_was_put(tmp_path: Path) -> None:
    names = ("SUMPLINE_ADMINS", "SUMPLINE_TELEGRAM_API", "SUMPLINE_FILE_MB", "SUMPLINE_LANGUAGE")
    told = " ".join(problems({**GOOD, **dict.fromkeys(names, TOKEN)}))
    assert "SUMPLINE_ADMINS" in told
    with pytest.raises(SettingsError) as wrong:
        read_file(write(tmp_path / "s", TOKEN + "\n"))
    for text in (told, str(wrong.value), *wrong.value.problems, repr(read(GOOD)), f"{read(GOOD)}"):
        assert TOKEN not in text
        assert "zyxlamoth" not in text


# --- the command --------------------------------------------------------------------------------------


def run(*words: str, cwd: Path, **given: str) -> subprocess.CompletedProcess[str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith("SUMPLINE")}
    env = {**kept, "PYTHONPATH": str(Path(__file__).parents[2]), **given}
    command = [sys.executable, "-m", "bot.cli", "serve", "telegram", *words]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=env, timeout=60)


def test_dry_run_says_what_is_missing_and_ends_with_two(tmp_path: Path) -> None:
    done = run("--dry-run", cwd=tmp_path, SUMPLINE_ADMINS="robin")
    assert done.returncode == 2
    assert done.stderr == "" or "Traceback" not in done.stderr
    for part in ("SUMPLINE_TELEGRAM_TOKEN is not set", "SUMPLINE_DB is not set", "'robin' is not a number"):
        assert part in done.stdout + done.stderr


def test_dry_run_asks_the_platform_whether_it_knows_the_token(
    tmp_path: Path, telegram: TelegramServer
) -> None:
    api = telegram.base_url.removesuffix("/bot")
    given = {"SUMPLINE_DB": "club.db", "SUMPLINE_TELEGRAM_API": api}
    done = run("--dry-run", cwd=tmp_path, SUMPLINE_TELEGRAM_TOKEN=telegram.token, **given)
    assert (done.returncode, "Everything is there" in done.stdout) == (0, True)
    done = run("--dry-run", cwd=tmp_path, SUMPLINE_TELEGRAM_TOKEN=TOKEN, **given)
    assert done.returncode == 2
    assert "does not know this token" in done.stdout + done.stderr
    assert TOKEN not in done.stdout + done.stderr
    telegram.take_faults()


def test_dry_run_says_when_the_platform_cannot_be_reached(tmp_path: Path) -> None:
    given = {"SUMPLINE_TELEGRAM_TOKEN": TOKEN, "SUMPLINE_TELEGRAM_API": "http://127.0.0.1:9"}
    done = run("--dry-run", "--db", "club.db", cwd=tmp_path, **given)
    assert done.returncode == 2
    assert "cannot be reached at http://127.0.0.1:9" in done.stdout + done.stderr
    assert TOKEN not in done.stdout + done.stderr
