"""A rider is spoken to in his own language, and everything that he had told stays."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pypdf
import pytest
import yaml

from bot import desks, sheets, turn
from bot.authoring import wording
from bot.core.events import Heard
from bot.core.translation import digest
from tests.rattle import RATTLE
from tests.record.small_talk import NINE

Say = Callable[..., str]

# Invented translations, by the English that each was made from.
FLOW = {
    "title": ("Something rattles", "Algo traquetea"),
    "traits.starter.ask": ("How is it started?", "¿Cómo se arranca?"),
    "traits.starter.answers.kick.label": ("By foot", "Con el pie"),
    "traits.starter.answers.button.label": ("By a button", "Con un botón"),
    "questions.knock.ask": ("Does it knock from below?", "¿Golpea por abajo?"),
    "questions.knock.answers.yes.label": ("It knocks", "Golpea"),
    "questions.knock.answers.no.label": ("A text of last year", "No golpea"),
}
OWN = {
    "language.name": "Español",
    "language.set": "Desde ahora le hablo en español.",
    "control.not_sure": "No lo sé",
}


@pytest.fixture(autouse=True)
def _spanish(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    words = tmp_path / "words"
    words.mkdir()
    english = wording.file_of("en").read_text(encoding="utf-8")
    (words / "en.yaml").write_text(english, encoding="utf-8")
    own = {
        "language": "es",
        "texts": OWN,
        "controls": {"not_sure": ["no lo sé", "ni idea"]},
        "lists": {"yes": ["sí"]},
        "sheets": {"head": "RESUMEN {bike}: {title}", "paper.lang": "es", "outranked": "Manda el manual."},
        "spoken": {"no": ["no"], "yes": ["sí, golpea"]},
    }
    (words / "es.yaml").write_text(yaml.safe_dump(own, allow_unicode=True), encoding="utf-8")
    texts = {f"{id} {digest(made_of)}": said for id, (made_of, said) in FLOW.items()}
    rattle = tmp_path / "rattle.es.yaml"
    rattle.write_text(yaml.safe_dump({"texts": texts}, allow_unicode=True), encoding="utf-8")
    monkeypatch.setattr(wording, "_WORDS", words)
    monkeypatch.setattr(
        wording,
        "file_of_flow",
        lambda flow, to: rattle if (flow, to) == ("rattle", "es") else tmp_path / "none",
    )
    _forget()
    yield
    _forget()


def _forget() -> None:
    wording.read_words.cache_clear()
    wording.read_lines.cache_clear()
    desks._FLOWS.clear()
    desks._TRANSLATED.clear()


@pytest.fixture(name="say")
def _say(tmp_path: Path) -> Say:
    """Say something as a person; what he is shown for it. The record is closed and opened in between."""
    record, now, said = tmp_path / "record.db", NINE, 0
    with closing(turn.Store(record)) as store:
        turn.lay_out(store, yaml.safe_dump(RATTLE), "", "everyone", NINE)

    def say(text: str, who: str = "Ann") -> str:
        nonlocal now, said
        now, said = now + timedelta(minutes=1), said + 1
        with closing(turn.Store(record)) as store:
            inbox = turn.accept(store, "terminal", who, who, str(said), Heard(text=text), now)
            assert inbox is not None
            out = turn.take(store, inbox, now)
            for one in out:
                turn.sent(store, one.id, now)
        return "\n".join(f"{o.message.text}\n{[c.label for c in o.message.choices]}" for o in out)

    return say


def begun(say: Say, who: str = "Ann") -> str:
    """A case up to its first question."""
    return say("it rattles", who)


def test_the_open_question_is_put_again_in_the_other_language(say: Say) -> None:
    assert "Does it knock from below?" in begun(say)
    told = say("español")
    assert "Desde ahora le hablo en español." in told
    assert "¿Golpea por abajo?" in told
    assert "'Golpea'" in told
    assert "Does it knock" not in told


def test_what_is_not_translated_or_made_from_another_text_is_read_in_english(say: Say) -> None:
    begun(say)
    told = say("idioma español")
    assert "'No knock'" in told
    assert "No golpea" not in told
    assert "'No lo sé'" in told


def test_answers_are_understood_in_the_language_and_by_number(say: Say) -> None:
    begun(say)
    say("en español")
    assert "STOP" in say("Golpea")  # the rule of this answer, in English: it is not translated


def test_control_words_of_the_language_and_english_ones_work(say: Say) -> None:
    begun(say)
    say("español")
    assert "¿Golpea por abajo?" not in say("ni idea")
    assert "¿Golpea por abajo?" in say("back")


def test_each_person_has_his_own_and_it_is_kept(say: Say) -> None:
    begun(say)
    say("español")
    assert "Does it knock from below?" in begun(say, "Ben")
    assert "¿Golpea por abajo?" in say("again")
    assert "Algo traquetea" in say("where are we") or "¿Golpea" in say("again")


def test_back_to_english(say: Say) -> None:
    begun(say)
    say("español")
    told = say("english")
    assert "I speak English with you from now on." in told
    assert "Does it knock from below?" in told


@pytest.mark.parametrize("said", ["language", "language klingon"])
def test_a_language_that_we_lack_is_answered_with_those_that_there_are(say: Say, said: str) -> None:
    begun(say)
    told = say(said)
    assert "I speak: English, Español." in told
    assert "Does it knock from below?" in told


def test_before_there_is_a_case_too(say: Say) -> None:
    assert "Desde ahora le hablo en español." in say("español")
    assert "¿Golpea por abajo?" in say("it rattles")
    say("no lo sé")
    say("Goat")
    assert "Hold a magnet" in say("con un botón")


def test_the_sheet_is_in_the_riders_language_too(say: Say, tmp_path: Path) -> None:
    for words in ("it rattles", "No knock", "Goat", "español"):
        say(words)
    assert "RESUMEN Goat: Algo traquetea" in say("summary")
    with closing(turn.Store(tmp_path / "record.db")) as store:
        ann = store.named("Ann")
        assert ann is not None
        desk = turn.lay_desk(store, ann, ann, "terminal", case=1)
        handover = turn.gather_sheet(store, 1, desk, NINE)
        assert handover is not None
        assert sheets.write_sheet(handover).endswith("Manda el manual.")
        paper = pypdf.PdfReader(io.BytesIO(turn.print_sheet(handover)))
    assert paper.root_object["/Lang"] == "es"
    assert "Algo traquetea" in paper.pages[0].extract_text()
