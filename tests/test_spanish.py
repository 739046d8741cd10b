"""The second language that ships: nothing of the bot's own wording and of the flagship is missing in it."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bot import turn
from bot.authoring import load, shelf, translations, wording
from bot.channels.seat import Seat
from bot.core.translation import translate
from bot.reports import wording as sheets

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def wrong(file: Path, part: str, originals: translations.Originals) -> list[str]:
    return [str(problem) for problem in translations.read(file, part).wrong(originals)]


@pytest.mark.parametrize("flow", ["common", "metal-in-oil"])
def test_every_text_is_translated_and_has_the_figures_of_its_original(flow: str) -> None:
    here = shelf.find()
    shared = flow == shelf.COMMON
    originals = translations.of_common(here.common) if shared else translations.of_flow(here.flow(flow))
    assert wrong(wording.file_of_flow(flow, "es"), "texts", originals) == []


def test_so_is_the_bots_own_wording_and_that_of_its_sheets() -> None:
    file, english = wording.file_of("es"), wording.read_words()
    assert wrong(file, "texts", translations.of_wording(english.texts, wording.file_of("en"))) == []
    originals = translations.of_wording(sheets.ENGLISH, Path(sheets.__file__))
    assert wrong(file, "sheets", originals) == []


def test_every_control_word_has_spanish_ones_before_the_english() -> None:
    english, spanish = wording.read_words(), wording.read_words("es")
    same = {name for name in english.controls if spanish.controls[name][0] == english.controls[name][0]}
    # The first two are said with what is to be sent behind them, and lines for the book are English still.
    assert same == {"book", "trend", "vin"}
    assert {name for name in english.lists if spanish.lists[name] == english.lists[name]} <= {
        name for name in english.lists if name.startswith("money.")
    }


def test_the_translated_flow_is_a_flow_by_the_same_limits() -> None:
    """A text is nowhere longer than a flow's own may be."""
    flow = load.load(shelf.find().flow("metal-in-oil")).flow
    spanish = translate(flow, wording.read_lines("metal-in-oil", "es"))
    assert type(flow).model_validate_json(spanish.model_dump_json()) == spanish


def test_a_case_in_spanish_with_its_stop(tmp_path: Path) -> None:
    """Chips that cling, told in Spanish; then the engine is stuck, and the stop is said in Spanish too."""
    said: list[str] = []
    for line in (
        "español",
        "hay virutas de metal en mi aceite, se pegan al iman",
        "sí",
        "ninguna",
        "no",
        "2",
    ):
        with closing(turn.open_record(tmp_path / "record.db")) as store:
            out = Seat(store, "Lola", flow="metal-in-oil", clock=lambda: NOON).say(line)
            said += [one.message.text for one in out]
    told = "\n".join(said)
    assert "Desde ahora te hablo en español." in told
    assert "1. Todas se pegan" in told
    assert "ALTO. No lo arranques y nunca lo fuerces." in told
    assert not [word for word in ("engine", "Still standing", "Not sure") if word in told]
