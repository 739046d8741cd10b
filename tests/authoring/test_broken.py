"""Mistakes of people who do not program: each shown on its own line, with words that say what to do."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring import lint, load, shelf, skeleton
from bot.authoring.catalogue import CATALOGUE
from bot.authoring.problems import FlowError, Problem
from tests.authoring.broken import BROKEN, NAME, Broken
from tests.test_cli import Shell, shell

__all__ = ["shell"]

COMMON = shelf.find().common.read_bytes()
WHOLE = skeleton.text(NAME)

# Words of programs, which a mechanic need not know.
FOREIGN = re.compile(
    r"\b(?:mapping|scalar|token|sequence|string|integer|float|boolean|bool|dict|tuple|null|none ?type|object|"
    r"pydantic|validat\w+|pars(?:e|es|ed|er|ing)|(?<!\.)yaml|byte|escape|directive|tag|anchor|alias|node|schema|regex\w*|pattern|"
    r"exception|traceback|unicode\w*|codec|ascii|attribute|parameter|argument|instance|array|literal|document)s?\b",
    re.IGNORECASE,
)


def judged(raw: bytes) -> tuple[Problem, ...]:
    try:
        return lint.lint(load.load_text(raw, COMMON, "chain-comes-off.yaml", "common.yaml"))
    except FlowError as error:
        return error.problems


def told(found: Iterable[Problem]) -> str:
    return "\n".join(map(str, found))


def test_there_are_more_than_fifty_and_the_whole_one_is_clean() -> None:
    assert len({broken.name for broken in BROKEN}) == len(BROKEN) > 50
    assert judged(WHOLE.encode()) == ()


@pytest.mark.parametrize("broken", BROKEN, ids=lambda b: b.name)
def test_it_is_shown_first_and_on_its_own_line_and_says_what_to_do(broken: Broken) -> None:
    found = judged(broken.text.encode())
    assert found, "nothing is shown"
    assert found[0].line == broken.line, told(found)
    here = [problem.text for problem in found if problem.line == broken.line]
    assert any(all(word in text for word in broken.says) for text in here), told(found)


@pytest.mark.parametrize("broken", BROKEN, ids=lambda b: b.name)
def test_it_is_said_in_words_of_the_trade(broken: Broken) -> None:
    for problem in judged(broken.text.encode()):
        assert not FOREIGN.search(problem.text), problem.text


def test_no_sentence_of_the_catalogue_has_words_of_programs() -> None:
    found = {code: hit[0] for code, kind in CATALOGUE.items() if (hit := FOREIGN.search(kind.sentence))}
    assert found == {}


# --- how the file is saved --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "saved",
    [
        WHOLE.replace("\n", "\r\n").encode(),
        WHOLE.encode("utf-8-sig"),
        WHOLE.replace("\n", "\r\n").encode("utf-8-sig"),
        WHOLE.rstrip("\n").encode(),
        (WHOLE + "\n\n   \n").encode(),
        WHOLE.replace("title: Chain comes off", "title: Käse fällt ab").encode(),
        WHOLE.replace('["no", free', "[no, free").replace('["yes", wedged', "[yes, wedged").encode(),
        WHOLE.replace("      free:\n", "      yes:\n").replace("      jammed:\n", "      no:\n").encode(),
        WHOLE.replace("title: Chain comes off", "title: “Chain” comes off").encode(),
        re.sub(r"(?m)^( +)", r"\1\1", WHOLE).replace(" " * 16 + "parts:", " " * 14 + "parts:").encode(),
    ],
    ids=[
        "Windows line ends",
        "a mark at the start",
        "both",
        "no last line end",
        "empty lines at the end",
        "letters of other languages",
        "yes and no without quotes among words",
        "yes and no without quotes as ids",
        "curly quotes inside a text",
        "four spaces throughout",
    ],
)
def test_what_does_no_harm_is_simply_taken(saved: bytes) -> None:
    assert judged(saved) == ()


UMLAUT = WHOLE.replace("    name: Chain too slack", "    name: Chaîne détendue")


@pytest.mark.parametrize(
    ("saved", "line", "says"),
    [
        (UMLAUT.encode("latin-1"), 140, ("after 'Cha'", "UTF-8", "Save as")),
        (UMLAUT.encode("cp1252"), 140, ("UTF-8",)),
        (WHOLE.encode("utf-16"), 1, ("saved as UTF-16", "UTF-8")),
        (WHOLE.encode("utf-16-be"), 1, ("saved as UTF-16", "UTF-8")),
        (WHOLE.encode("utf-16-le"), 1, ("saved as UTF-16", "UTF-8")),
        (b"", 1, ("empty", "language: 1")),
        (b"\xef\xbb\xbf\r\n\r\n", 1, ("empty",)),
        (b"# only a note\n", 1, ("empty",)),
        (b"My chain comes off all the time.\n", 1, ("language: 1",)),
        (b"- chain\n- sprocket\n", 1, ("language: 1",)),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(256)) * 2000, 1, ("a picture", "plain text")),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 300, 1, ("a picture",)),
        (b"%PDF-1.7\n%\xe2\xe3\n", 1, ("a PDF page",)),
        (b"PK\x03\x04\x14\x00\x06\x00" + b"\0" * 90, 1, ("office program",)),
        (b"{\\rtf1\\ansi Chain}", 1, ("word processor",)),
        (b"\n<!DOCTYPE html>\n<html><body>flow</body></html>", 1, ("a web page",)),
        (WHOLE.replace("\n", "\r").encode(), 1, ("delete",)),
        (
            WHOLE.replace("    share: 45", "    share:\u00a045").encode(),
            141,
            ("another kind", "type a space"),
        ),
        (WHOLE.replace("    share: 45", "\u00a0   share: 45").encode(), 141, ("another kind",)),
        (WHOLE.replace("    share: 45", "    sha\u200bre: 45").encode(), 141, ("cannot be seen", "delete")),
        (b"x: " + b"y" * 300_000, 1, ("split",)),
    ],
    ids=lambda v: repr(v)[:24] if isinstance(v, bytes) else None,
)
def test_a_file_that_cannot_be_read_says_so_in_one_line(
    saved: bytes, line: int, says: tuple[str, ...]
) -> None:
    found = judged(saved)
    assert found[0].line == line, told(found)
    assert all(word in found[0].text for word in says), told(found)
    assert not any(FOREIGN.search(problem.text) for problem in found), told(found)


# --- it never ends badly -----------------------------------------------------------------------------

LINES = WHOLE.split("\n")
CODE_LINES = [n for n, line in enumerate(LINES) if line.strip() and not line.strip().startswith("#")]
PUT = st.sampled_from(
    ["", " ", "  ", "\t", ":", ": ", "- ", "[", "]", "{", "}", '"', "'", "“", "#", "%", "!", "&x", "*",
     "<<: ", "0", "100", "yes", "null", "~", "?", ",", "...",
     "---", "\u00a0", "\r", "é", "🔧", "a: b", "[a, {b: c}]"]
)  # fmt: skip


@st.composite
def _spoilt(draw: st.DrawFn) -> str:
    """The flow with a few lines cut, moved, repeated, indented or written into at random."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 3))):
        n = draw(st.sampled_from(CODE_LINES)) % len(lines)
        kind = draw(st.sampled_from(["cut", "twice", "swap", "indent", "outdent", "write", "value"]))
        if kind == "cut":
            del lines[n]
        elif kind == "twice":
            lines.insert(n, lines[n])
        elif kind == "swap":
            other = draw(st.sampled_from(CODE_LINES)) % len(lines)
            lines[n], lines[other] = lines[other], lines[n]
        elif kind == "indent":
            lines[n] = " " * draw(st.integers(1, 5)) + lines[n]
        elif kind == "outdent":
            lines[n] = lines[n][draw(st.integers(1, 4)) :]
        elif kind == "write":
            at = draw(st.integers(0, len(lines[n])))
            lines[n] = lines[n][:at] + draw(PUT) + lines[n][at:]
        else:
            lines[n] = lines[n].partition(":")[0] + ": " + draw(PUT)
    return "\n".join(lines)


@given(_spoilt())
def test_whatever_is_typed_the_answer_is_a_list_of_places_in_the_file(text: str) -> None:
    lines = text.split("\n")
    for problem in judged(text.encode()):
        assert problem.file in ("chain-comes-off.yaml", "common.yaml")
        if problem.file == "chain-comes-off.yaml":
            assert 1 <= problem.line <= len(lines) + 1
            assert problem.column >= 1
        assert "\n" not in str(problem)
        assert problem.code not in ("F199", "Y029"), problem


@given(st.binary(max_size=400))
def test_whatever_is_in_the_file_the_answer_is_a_list(raw: bytes) -> None:
    assert judged(raw)


# --- the command ------------------------------------------------------------------------------------


@pytest.fixture(name="wrong")
def _wrong(tmp_path: Path) -> Path:
    path = tmp_path / "chain-comes-off.yaml"
    path.write_text(WHOLE.replace("    share: 45", "    share: 45%").replace("mutes", ""), "utf-8")
    return path


def test_annotations_are_one_line_a_mistake(shell: Shell, wrong: Path) -> None:
    status, out, err = shell.run("flow", "lint", "--annotate", wrong)
    assert (status, err) == (1, "")
    assert out == (
        f"{wrong}:141:12: error: 'share' must be a number, found 45%; write it like 45, no unit [F107]\n"
    )


def test_annotations_name_warnings_and_do_not_fail_for_them(shell: Shell, wrong: Path) -> None:
    wrong.write_text(WHOLE.replace("label: The wheel turns", "label: Sprocket #13 turns"), "utf-8")
    status, out, _ = shell.run("flow", "lint", "--annotate", wrong)
    assert status == 0
    assert re.fullmatch(rf"{re.escape(str(wrong))}:49:25: warning: .* \[Y016\]\n", out)


def test_the_form_for_programs_says_the_same(shell: Shell, wrong: Path) -> None:
    _, out, _ = shell.run("flow", "lint", "--json", wrong)
    [found] = [json.loads(line) for line in out.splitlines()]
    assert (found["line"], found["column"], found["severity"], found["code"]) == (141, 12, "error", "F107")


@pytest.mark.parametrize("form", ["--annotate", "--json"])
def test_a_clean_flow_says_nothing_to_programs(shell: Shell, wrong: Path, form: str) -> None:
    wrong.write_text(WHOLE, "utf-8")
    assert shell.run("flow", "lint", form, wrong) == (0, "", "")


def test_a_picture_and_a_spoilt_common_file_end_in_sentences(shell: Shell, tmp_path: Path) -> None:
    photo = tmp_path / "photo.yaml"
    photo.write_bytes(b"\xff\xd8\xff\xe0" + bytes(range(256)))
    (tmp_path / "chain.yaml").write_text(WHOLE, "utf-8")
    (tmp_path / "common.yaml").write_bytes(COMMON.replace(b"signal: danger", b"signal: dnager", 1))
    status, out, err = shell.run("flow", "lint", photo, "chain.yaml", "common.yaml")
    assert (status, err) == (1, "")
    assert "this is a picture and no text" in out
    assert "(did you mean 'danger'?)" in out
