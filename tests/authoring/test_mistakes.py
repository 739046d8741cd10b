"""Every code has one bad example, and it is reported at the place that its first line names.

An example holds only the parts of a flow that matter; the parts that it leaves out are taken from
base.yaml and come after it, so that its line numbers are its own. Heads of an example, one a line:
`# expect CODE line:column`, `# alone` (nothing is added), `# without PART`, `# times N` (its last
line is repeated).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from bot.authoring import lint, load
from bot.authoring.catalogue import CATALOGUE
from bot.authoring.problems import FlowError, Problem

HERE = Path(__file__).resolve().parent
EXAMPLES = sorted((HERE.parent / "mistakes").glob("*.yaml"))
# Foreign words are the last resort and no file is known to need them: test_form.py, test_source.py.
WITHOUT_EXAMPLE = {"F199", "Y029"}
NO_TEXT = {"Y019"}  # its examples are pictures and the like, which have no first line: test_broken.py
HEAD = re.compile(r"^# (expect|alone|without|times)(?: (.*))?$")


@dataclass(frozen=True)
class Example:
    code: str
    place: tuple[int, int]
    text: bytes


def parts(text: str) -> dict[str, str]:
    """Top-level parts of a flow text by their key, each with its own lines."""
    pieces = re.split(r"(?m)^(?=[a-z_]+:)", text)
    return {p.partition(":")[0]: p for p in pieces if re.match(r"[a-z_]+:", p)}


def read_example(file: Path) -> Example:
    raw = file.read_bytes()
    heads: list[tuple[str, str]] = []
    for line in raw.decode("utf-8", "replace").split("\n"):
        found = HEAD.match(line)
        if not found:
            break
        heads.append((found[1], found[2] or ""))
    (_, expected), *others = heads
    code, place = expected.split()
    line, column = place.split(":")
    return Example(code, (int(line), int(column)), completed(raw, others))


def completed(raw: bytes, heads: list[tuple[str, str]]) -> bytes:
    said = dict(heads)
    if "times" in said:
        last = raw.rstrip(b"\n").rpartition(b"\n")[2] + b"\n"
        raw += last * (int(said["times"]) - 1)
    if "alone" in said:
        return raw
    own = parts(raw.decode())
    left_out = {value for key, value in heads if key == "without"}
    base = parts((HERE / "base.yaml").read_text(encoding="utf-8"))
    rest = [text for key, text in base.items() if key not in own and key not in left_out]
    return raw + "".join(rest).encode()


@cache
def judged(file: Path) -> tuple[Problem, ...]:
    text, common = read_example(file).text, (HERE / "common.yaml").read_bytes()
    try:
        return lint.lint(load.load_text(text, common, "mistake.yaml"))
    except FlowError as error:
        return error.problems


def test_the_base_flow_has_nothing_to_mend() -> None:
    assert lint.judge(HERE / "base.yaml") == ()


@pytest.mark.parametrize("file", EXAMPLES, ids=lambda f: f.stem)
def test_mistake_is_reported_where_it_was_made(file: Path) -> None:
    example = read_example(file)
    found = judged(file)
    assert (example.code, *example.place) in {
        (p.code, p.line, p.column) for p in found if p.file == "mistake.yaml"
    }, "\n".join(map(str, found))


def test_every_code_has_its_example_and_every_example_its_code() -> None:
    named = {file.name.split("-", 1)[0] for file in EXAMPLES}
    of_flows = {code for code in CATALOGUE if not code.startswith("T")}  # translations: test_translations.py
    assert named == of_flows - WITHOUT_EXAMPLE - NO_TEXT
    assert {file.stem for file in EXAMPLES} == {f"{c}-{CATALOGUE[c].rule}" for c in named}
    assert all(read_example(file).code == file.name[:4] for file in EXAMPLES)


def test_no_example_falls_back_to_foreign_words() -> None:
    codes = {p.code for file in EXAMPLES for p in judged(file)}
    assert not codes & WITHOUT_EXAMPLE


def test_rules_are_named_once() -> None:
    rules = [kind.rule for kind in CATALOGUE.values()]
    assert len(rules) == len(set(rules))


def test_sentences_say_what_to_do() -> None:
    """Each sentence has a part after the complaint: a cure, a reason or a choice."""
    for code, kind in CATALOGUE.items():
        assert re.search(r"[;:,]|\bmust\b", kind.sentence), code
