"""Photos and files with the running bot: kept with the step, fetched later, cleaned, or refused in words."""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image

from bot import turn
from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running, press, say, to_the_paper
from tests.channels.telegram_server import TelegramServer
from tests.record.test_photos import GPS, jpeg

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]


def answers(bot: Running) -> list[tuple[str, tuple[str, ...]]]:
    with bot.record() as store:
        return [(told.event.ask, told.event.value) for told in store.state(1).answers]


def kept(bot: Running) -> list[Path]:
    folder = bot.path.with_name(bot.path.name + ".files")
    return sorted(p for p in folder.iterdir() if not p.name.endswith(".part")) if folder.is_dir() else []


def wait_kept(bot: Running, count: int = 1, within: float = 15.0) -> list[Path]:
    bot.server.wait_for(lambda: len(kept(bot)) >= count, within, f"{count} files that are kept")
    return kept(bot)


def waiting(bot: Running) -> int:
    with bot.record() as store:
        return store.depths()["files"]


def tries(store: turn.Store) -> int:
    return int(store.value("select max(tries) from fetches") or 0)


def shown(person: Person) -> str:
    return "\n".join(seen.text for seen in person.bot_says())


# --- kept -----------------------------------------------------------------------------------


def test_a_photo_is_kept_under_its_digest_without_the_place(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    sent = jpeg((3000, 1500))
    assert Image.open(io.BytesIO(sent)).getexif().get_ifd(GPS)
    robin.send_photo(sent)
    [path] = wait_kept(bot)
    data = path.read_bytes()
    picture = Image.open(io.BytesIO(data))
    assert picture.size == (1600, 800)
    assert dict(picture.getexif()) == {}
    assert b"zyx" not in data.lower()
    assert path.name == hashlib.sha256(data).hexdigest()
    with bot.record() as store:
        [(_, _, _, note)] = store.state(1).notes
        bot.server.wait_for(lambda: store.fetched(note.file) == path.name)


def test_a_photo_sent_as_a_file_is_cleaned_too(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    robin.send_document(jpeg(), "IMG_0001.JPG", "image/jpeg")
    [path] = wait_kept(bot)
    assert b"Zyxcam" not in path.read_bytes()


def test_a_photo_neither_answers_the_open_question_nor_breaks_it(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    press(robin, "2 A piece")
    before = answers(bot)
    robin.send_photo(jpeg())
    told = robin.answer()
    assert "Kept" in "\n".join(seen.text for seen in told)
    assert "What lies on the paper?" in told[-1].text
    assert answers(bot) == before
    say(robin, "1")
    assert answers(bot) == [*before, ("paper", ("bits",))]


def test_words_under_a_photo_count_as_words(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    robin.send_photo(jpeg(), caption="1")
    robin.answer()
    assert answers(bot)[-1] == ("paper", ("bits",))


def test_an_album_has_one_answer(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    done = len(robin.bot_says())
    for n in range(3):
        robin.send_photo(jpeg((40 + n, 40)), caption="found these" if n == 0 else "", album="bits")
    robin.answer()
    assert shown(robin).count("Kept with this step") == 1
    assert len(robin.bot_says()) == done + 1
    wait_kept(bot, 3)
    with bot.record() as store:
        assert [len(note.file.split()) for _, _, _, note in store.state(1).notes if note.file] == [3]


def test_an_edit_of_an_album_is_no_new_photo(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    post = robin.send_photo(jpeg(), caption="found these", album="bits")
    robin.answer()
    wait_kept(bot)
    robin.edit(post, "found those")
    assert "change" in robin.answer()[-1].text
    with bot.record() as store:
        assert len([note for _, _, _, note in store.state(1).notes if note.file]) == 1


def test_the_summary_names_photos_by_what_was_asked(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    robin.send_photo(jpeg((40, 40)))
    robin.answer()
    robin.send_photo(jpeg((50, 40)))
    robin.answer()
    say(robin, "1")
    robin.send_photo(jpeg((60, 40)))
    robin.answer()
    say(robin, "/sheet")
    sheet = next(seen.text for seen in robin.bot_says() if "SUMMARY" in seen.text)
    named = "photo 1 of What lies on the paper; photo 2 of What lies on the paper"
    assert f"SENT: {named}; photo 1 of Hold a magnet under the bits" in " ".join(sheet.split())


def test_a_photo_that_was_refused_is_not_counted_in_the_summary(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    robin.send_document(b"no picture at all", "plug.jpg", "image/jpeg")
    robin.server.wait_for(lambda: "could not read" in shown(robin), told="the refusal")
    robin.send_photo(jpeg((50, 40)))
    robin.answer()
    say(robin, "/sheet")
    sheet = next(seen.text for seen in robin.bot_says() if "SUMMARY" in seen.text)
    assert "SENT: photo 1 of What lies on the paper" in " ".join(sheet.split())
    assert "photo 2" not in sheet


def test_the_same_photo_lies_in_the_folder_once(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    for _ in range(2):
        robin.send_photo(jpeg())
        robin.answer()
    robin.server.wait_for(lambda: waiting(bot) == 0)
    assert len(wait_kept(bot)) == 1


# --- refused -------------------------------------------------------------------------------------


def test_one_that_is_too_large_is_refused_before_it_is_fetched(
    telegram: TelegramServer, tmp_path: Path, robin: Person
) -> None:
    running = Running(telegram, tmp_path / "record.db", file_bytes=1_000)
    running.start()
    robin.start()
    robin.answer()
    robin.send_document(b"x" * 1_001, "log.txt", "text/plain")
    assert "larger than" in robin.answer()[-1].text
    assert telegram.calls_of("getFile") == []
    running.stop()


@pytest.mark.parametrize(
    ("name", "mime", "data", "told"),
    [
        ("tune.exe", "application/x-msdownload", b"MZ", "do not keep files of that kind"),
        ("plug.jpg", "image/jpeg", b"no picture at all", "could not read that picture"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_words(
    bot: Running, robin: Person, name: str, mime: str, data: bytes, told: str
) -> None:
    to_the_paper(robin)
    robin.send_document(data, name, mime)
    robin.server.wait_for(lambda: told in shown(robin), told="the refusal")
    assert kept(bot) == []
    assert waiting(bot) == 0
    say(robin, "1")
    assert answers(bot)[-1] == ("paper", ("bits",))


def test_a_file_that_the_platform_lost_is_asked_for_again(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    """404 for a file is not a token that was revoked: the bot goes on."""
    to_the_paper(robin)
    telegram.fail("file", 404, "Not Found")
    robin.send_photo(jpeg())
    telegram.wait_for(lambda: "send it once more" in shown(robin), told="the refusal")
    telegram.take_faults()
    robin.send_photo(jpeg((50, 50)))
    wait_kept(bot)


# --- fetched in the background ---------------------------------------------------------------------


def test_an_answer_does_not_wait_for_the_photo(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    to_the_paper(robin)
    telegram.hang("file", 3)
    robin.send_photo(jpeg())
    telegram.wait_for(lambda: telegram.calls_of("getFile"), told="the fetch")
    robin.say("1")
    telegram.wait_for(lambda: answers(bot)[-1] == ("paper", ("bits",)), 2.5, "the answer")
    assert kept(bot) == []
    wait_kept(bot)


@pytest.mark.parametrize("code", [429, 500, 502])
def test_a_fetch_is_tried_again(bot: Running, robin: Person, telegram: TelegramServer, code: int) -> None:
    to_the_paper(robin)
    telegram.fail("getFile", code)
    robin.send_photo(jpeg())
    wait_kept(bot)


def test_an_outage_of_hours_loses_no_photo(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    to_the_paper(robin)
    telegram.fail("getFile", 502, times=None)
    robin.send_photo(jpeg())
    for done in range(1, 12):
        with bot.record() as store:
            telegram.wait_for(lambda done=done, s=store: tries(s) >= done)  # type: ignore[misc]
        bot.ahead += timedelta(minutes=10)
    telegram.mend()
    bot.ahead += timedelta(minutes=10)
    wait_kept(bot)


def test_a_photo_is_fetched_after_the_bot_was_ended(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    telegram.fail("getFile", 502, times=None)
    robin.send_photo(jpeg())
    telegram.wait_for(lambda: telegram.calls_of("getFile"))
    bot.stop()
    assert waiting(bot) == 1
    telegram.mend()
    bot.start()
    wait_kept(bot)


def test_a_photo_is_fetched_after_the_program_was_killed(
    telegram: TelegramServer, robin: Person, tmp_path: Path
) -> None:
    """kill -9 in the middle of the download: the row is still there, and no half file counts."""
    names = ("TOKEN", "API")
    told = dict(zip(names, (telegram.token, telegram.base_url.removesuffix("/bot")), strict=True))
    env = {**os.environ, **{f"SUMPLINE_TELEGRAM_{name}": value for name, value in told.items()}}
    command = [sys.executable, "-m", "bot.cli", "serve", "telegram", "--db", str(tmp_path / "record.db")]
    folder = tmp_path / "record.db.files"
    telegram.hang("file", 30)
    first = subprocess.Popen(command, env=env, stderr=subprocess.DEVNULL)
    try:
        say(robin, "there is metal in my oil")
        robin.send_photo(jpeg())
        telegram.wait_for(lambda: telegram.calls_of("getFile"), told="the fetch")
    finally:
        first.kill()
        first.wait()
    assert not folder.is_dir() or not list(folder.iterdir())
    telegram.mend()
    second = subprocess.Popen(command, env=env, stderr=subprocess.DEVNULL)
    try:
        telegram.wait_for(lambda: folder.is_dir() and list(folder.iterdir()), 20, "the photo")
    finally:
        second.terminate()
        assert second.wait(20) == 0


def test_a_photo_of_someone_who_was_erased_meanwhile_is_not_kept(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    telegram.hang("file", 2)
    robin.send_photo(jpeg())
    telegram.wait_for(lambda: telegram.calls_of("getFile"))
    say(robin, "/eraseme")
    press(robin, "Yes, erase everything")
    telegram.idle(2.2)
    assert kept(bot) == []
    say(robin, "something rattles")  # the bot is still there


def test_a_photo_before_anything_else_is_kept_and_asks_what_is_wrong(bot: Running, robin: Person) -> None:
    robin.send_photo(jpeg())
    told = "\n".join(seen.text for seen in robin.answer())
    assert "Kept" in told
    wait_kept(bot)
    assert "Does it knock" in say(robin, "something rattles")[-1].text
