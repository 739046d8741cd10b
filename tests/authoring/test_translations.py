"""Translations as files: what is missing, outdated or wrong in them and where, and writing them anew."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from bot.authoring import source, translations, wording
from bot.authoring.problems import Problem
from bot.authoring.translations import Original
from bot.core.translation import digest, texts_of, translate
from tests.rattle import RATTLE

FLOW = """\
language: 1
flow: squeak
version: 1
title: Something squeaks
riders_say: [it squeaks, a squeak]
hand_over: {minutes: 100}
signs: {high: {means: it is high, background: seldom}}
questions:
  pitch:
    kind: one
    ask: Is it high? Wait 10 s.
    short: High?
    answers:
      "yes": {label: It is high, shows: [high]}
      "no": {label: "No", denies: [high]}
causes:
  belt: {name: Dry belt, share: 90, shows: {high: often}, remedy: oil-it}
remedies:
  oil-it: {name: Oil it, minutes: 5, holds: usually, steps: [{do: Put 2.5 ml on it.}, {id: wipe, do: Wipe.}]}
unlisted: {share: 10}
"""
OILED = digest("Put 2.5 ml on it.")
SPANISH = f"""\
# what a translator wrote above
texts:
  title {digest("Something squeaks")}: Algo chirría
  questions.pitch.ask {digest("Is it high?")}: "¿Es agudo? Espere 10 s."
  questions.pitch.short: ¿Agudo?
  questions.pich.why 12345678: Porque sí.
  causes.belt.name {digest("Dry belt")}: "Correa {{seca}}"
  remedies.oil-it.steps.{OILED}.do {OILED}: Ponga 25 ml.
  remedies.oil-it.name {digest("Oil it")}: [Aceitar]
"""


@pytest.fixture(name="originals")
def _originals(tmp_path: Path) -> translations.Originals:
    file = tmp_path / "squeak.yaml"
    file.write_text(FLOW, encoding="utf-8")
    return translations.of_flow(file)


def spanish(folder: Path, text: str = SPANISH) -> translations.Translation:
    file = folder / "es.yaml"
    file.write_text(text, encoding="utf-8")
    return translations.read(file)


def told(found: tuple[Problem, ...], code: str) -> list[tuple[str, int, str]]:
    return [(Path(p.file).name, p.line, p.text) for p in found if p.code == code]


def test_the_texts_of_a_flow_stand_with_their_lines(originals: translations.Originals) -> None:
    assert originals["title"].place == (4, 1)
    assert originals["questions.pitch.ask"].place == (11, 5)
    assert originals["riders_say"].said == ("it squeaks", "a squeak")
    assert len(originals) == 10  # title, what riders say, two of the question, two answers, four of the rest


def test_what_is_not_translated_is_told_at_the_line_of_the_original(
    tmp_path: Path, originals: translations.Originals
) -> None:
    found = told(spanish(tmp_path).wrong(originals), "T101")
    assert ("squeak.yaml", 5) in {(file, line) for file, line, _ in found}
    assert {text.split("'")[1] for _, _, text in found} == {
        "riders_say", "questions.pitch.answers.yes.label", "questions.pitch.answers.no.label",
        "remedies.oil-it.steps.wipe.do",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("code", "line", "words"),
    [
        ("T102", 4, "read line 11 of"),
        ("T103", 6, "no text 'questions.pich.why'"),
        ("T104", 7, "fills in {seca} and the original none"),
        ("T106", 5, "'questions.pitch.short' is new"),
        ("T107", 9, "write a text"),
        ("T108", 8, "which has: 2.5"),
    ],
)
def test_a_fault_of_a_translation_is_told_at_its_own_line(
    tmp_path: Path, originals: translations.Originals, code: str, line: int, words: str
) -> None:
    [(file, at, text)] = told(spanish(tmp_path).wrong(originals), code)
    assert (file, at) == ("es.yaml", line)
    assert words in text


def test_a_text_that_is_too_long_and_a_part_that_is_no_list_of_texts(
    tmp_path: Path, originals: translations.Originals
) -> None:
    long = f"texts:\n  title {digest('Something squeaks')}: {'a' * 901}\n"
    assert told(spanish(tmp_path, long).wrong(originals), "T105")[0][:2] == ("es.yaml", 2)
    assert told(spanish(tmp_path, "texts: [a, b]\n").wrong(originals), "T109")[0][:2] == ("es.yaml", 1)


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, originals: translations.Originals) -> None:
    found = spanish(tmp_path, "texts:\n  title: 'Algo\n").wrong(originals)
    assert ("es.yaml", 2) in {(Path(p.file).name, p.line) for p in found if p.code == "Y022"}


def test_a_file_that_is_not_there_yet_has_everything_missing(
    tmp_path: Path, originals: translations.Originals
) -> None:
    assert len(translations.read(tmp_path / "xx.yaml").wrong(originals)) == len(originals)


# --- writing it anew -----------------------------------------------------------------------------


def test_written_anew_it_has_each_text_below_its_original_and_loses_nothing(
    tmp_path: Path, originals: translations.Originals
) -> None:
    text = translations.written(spanish(tmp_path), originals, "")
    assert text.startswith("# what a translator wrote above\ntexts:\n  # Something squeaks\n")
    assert f'  # High?\n  questions.pitch.short {digest("High?")}: "¿Agudo?"\n' in text
    assert '  # No\n  questions.pitch.answers.no.label: ""\n' in text
    assert "  # it squeaks, a squeak\n  riders_say: []\n" in text
    assert '  questions.pich.why 12345678: "Porque sí."\n' in text
    again = spanish(tmp_path, text)
    assert translations.written(again, originals, "") == text
    was, now = spanish(tmp_path).entries, again.entries
    assert {id: e.said for id, e in now.items()} == {id: e.said for id, e in was.items()}
    assert not told(again.wrong(originals), "T106")
    assert told(again.wrong(originals), "T102")  # what is outdated is never stamped


def test_other_parts_of_the_file_are_left_alone(tmp_path: Path, originals: translations.Originals) -> None:
    before, after = "language: es\nlists:\n  yes: [sí]\n", "controls:\n  back: [atrás]\n"
    text = translations.written(spanish(tmp_path, f"{before}texts:\n  title: Algo\n{after}"), originals, "")
    assert text.startswith(before)
    assert text.endswith(after)


def test_a_new_file_begins_with_its_head(tmp_path: Path, originals: translations.Originals) -> None:
    nothing = translations.read(tmp_path / "xx.yaml")
    text = translations.written(nothing, originals, "# Spanish\n")
    assert text.startswith("# Spanish\ntexts:\n  # Something squeaks\n")
    assert [p.code for p in spanish(tmp_path, text).wrong(originals)] == ["T101"] * 10


@pytest.mark.parametrize(
    "said", ["a: b", "# c", '"quoted"', "two\nlines", "{name}", "no", "7", "- x", "ñ é ¿", "'", "\\", " x "]
)
def test_any_text_is_written_so_that_it_is_read_again(tmp_path: Path, said: str) -> None:
    originals = {"key": Original("some text", "en.yaml", (1, 1))}
    first = translations.Translation(
        "es.yaml", "texts", "", {"key": translations.Entry("key", "", said, (1, 1))}
    )
    text = translations.written(first, originals, "")
    assert spanish(tmp_path, text).entries["key"].said == said


# --- what the talk reads -------------------------------------------------------------------------


def test_the_talk_reads_stamped_lines_only() -> None:
    lines = wording.lines_in(yaml.safe_load(SPANISH.replace("[Aceitar]", "[a, b]"))["texts"])
    assert lines["title"].said == "Algo chirría"
    assert lines["remedies.oil-it.name"].said == ("a", "b")
    assert "questions.pitch.short" not in lines


def test_a_flow_written_out_and_read_back_is_translated(tmp_path: Path) -> None:
    file = tmp_path / "rattle.yaml"
    file.write_text(yaml.safe_dump(RATTLE, sort_keys=False), encoding="utf-8")
    originals = translations.of_flow(file)
    flow = translations.load.load(file).flow
    marked = {
        id: translations.Entry(id, "", f"{o.said} ·" if isinstance(o.said, str) else (*o.said, "·"), (1, 1))
        for id, o in originals.items()
    }
    text = translations.written(translations.Translation("x", "texts", "", marked), originals, "")
    data = source.read(text.encode(), "es.yaml", translations.MAX_BYTES).data
    other = translate(flow, wording.lines_in((data or {})["texts"]))
    assert all(said[-1] == "·" for said in texts_of(other).values())
    assert len(texts_of(other)) == len(texts_of(flow))
