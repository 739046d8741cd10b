"""The sheet on Telegram as a document: asked for, made, sent; in private, to who sits at the case."""

from __future__ import annotations

import io

import pypdf
import pytest

from bot import sheets, turn
from bot.channels.telegram.serve import _file_name
from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running, say, to_the_paper
from tests.channels.telegram_server import TelegramServer
from tests.record.test_photos import jpeg

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]


def document(telegram: TelegramServer) -> tuple[str, pypdf.PdfReader]:
    """The one document that was sent, by name and as it is read."""
    [call] = telegram.wait_for(lambda: telegram.calls_of("sendDocument"), 30, "the sheet")
    [upload] = call.files.values()
    return upload.name, pypdf.PdfReader(io.BytesIO(upload.data))


def test_the_sheet_comes_as_a_pdf_with_its_photos(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin, bike="Old Goat")
    robin.send_photo(jpeg((1600, 1200)))
    folder = bot.path.with_name(bot.path.name + ".files")
    telegram.wait_for(lambda: folder.is_dir() and list(folder.iterdir()), 15, "the photo")
    telegram.idle(1.0)
    assert "comes as a PDF" in say(robin, "/pdf")[-1].text
    name, pdf = document(telegram)
    assert name == "sheet-old-goat.pdf"
    assert "Old Goat: Something rattles" in pdf.pages[0].extract_text()
    assert pdf.pages[0].mediabox.width == pytest.approx(595, abs=1)
    assert sum(len(page.images) for page in pdf.pages) == 1
    telegram.idle(0.5)
    with bot.record() as store:
        assert store.jobs_waiting("sheet") == []


def test_who_reads_in_inches_gets_letter(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    to_the_paper(robin)
    with bot.record() as store, store.writing():
        person = store.named("Robin")
        assert person is not None
        store.settle(person.id, "units", "imperial")
    say(robin, "/pdf")
    assert document(telegram)[1].pages[0].mediabox.width == pytest.approx(612, abs=1)


def test_without_a_case_there_is_no_sheet(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    assert "no sheet yet" in say(robin, "/pdf")[-1].text
    telegram.idle(1.5)
    assert telegram.calls_of("sendDocument") == []


def test_a_group_gets_no_document(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    group = telegram.group("North Trail Club", robin, telegram.person("Ann"))
    to_the_paper(robin)
    assert "private" in say(robin, "/pdf", chat=group)[-1].text
    telegram.idle(1.5)
    assert telegram.calls_of("sendDocument") == []


def test_who_does_not_sit_at_the_case_any_more_gets_nothing(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    with bot.record() as store, store.writing():
        ann = store.meet("telegram", "99", "Ann", "rider", turn.stamp(bot.now()))
        store.ask_job("sheet", {"chat": str(robin.id), "case": 1}, ann.id, turn.stamp(bot.now()))
    telegram.wait_for(lambda: not waiting(bot), 15, "the job to be done")
    assert telegram.calls_of("sendDocument") == []


def waiting(bot: Running) -> int:
    with bot.record() as store:
        return len(store.jobs_waiting("sheet"))


def test_where_no_pdf_can_be_made_it_is_said(
    bot: Running, robin: Person, telegram: TelegramServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(*_: object) -> bytes:
        raise ImportError

    monkeypatch.setattr(turn, "print_sheet", missing)
    to_the_paper(robin)
    say(robin, "/pdf")
    telegram.wait_for(lambda: "cannot make a PDF" in shown(robin), 15, "the refusal")


def test_what_fails_again_and_again_is_given_up_and_said(
    bot: Running, robin: Person, telegram: TelegramServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> bytes:
        raise ValueError("zyx")

    monkeypatch.setattr(turn, "print_sheet", broken)
    to_the_paper(robin)
    say(robin, "/pdf")
    telegram.wait_for(lambda: "could not make or send" in shown(robin), 20, "the words")
    assert waiting(bot) == 0


def shown(person: Person) -> str:
    return "\n".join(seen.text for seen in person.bot_says())


@pytest.mark.parametrize(
    ("bike", "name"),
    [
        ("Goat", "sheet-goat"), ("", "sheet"), ("../../etc/passwd", "sheet-etc-passwd"),
        ("Ölfuß 2", "sheet-lfuss-2"), ("a\x00b\n", "sheet-a-b"),
        ("x" * 200, "sheet-" + "x" * 54), ("油", "sheet"),
    ],
)  # fmt: skip
def test_a_document_has_a_plain_name_whatever_the_bike_is_called(bike: str, name: str) -> None:
    assert _file_name(bike) == name


def test_the_photos_of_a_sheet_fit_what_the_platform_takes() -> None:
    assert sheets.MOST_BYTES < 50_000_000  # Telegram Bot API, sendDocument: "up to 50 MB in size"
