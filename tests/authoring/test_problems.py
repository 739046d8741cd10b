"""How a problem is printed, sorted and handed to programs."""

from __future__ import annotations

import json

import pytest

from bot.authoring import problems
from bot.authoring.catalogue import CATALOGUE
from bot.authoring.problems import FlowError, Problem, problem, show, show_all

TEXT = "language: 1\nflow:  Ticking\n\ttabbed: x\n"


def test_line_and_caret_stand_below_the_sentence() -> None:
    found = Problem("f.yaml", 2, 8, "F101", "something")
    assert show(found, TEXT) == "f.yaml:2:8: F101 something\n  flow:  Ticking\n         ^"


def test_the_caret_keeps_tabs() -> None:
    assert show(Problem("f.yaml", 3, 2, "Y024", "x"), TEXT).splitlines()[-1] == "  \t^"


def test_a_long_line_is_cut_around_the_place() -> None:
    text = "a" * 500 + "b" + "c" * 500
    _, line, caret = show(Problem("f.yaml", 1, 501, "Y020", "x"), text).split("\n")
    assert len(line) == 102
    assert line[caret.index("^")] == "b"


def test_a_place_that_is_not_in_the_text_shows_no_line() -> None:
    assert show(Problem("f.yaml", 9, 1, "Y012", "x"), TEXT).count("\n") == 0
    assert show(Problem("f.yaml", 1, 1, "Y012", "x"), None).count("\n") == 0


def test_other_line_ends_do_not_cut_the_text() -> None:
    """A form feed ends a line for Python and not for editors."""
    assert show(Problem("f.yaml", 2, 1, "Y020", "x"), "a\x0cb\nc\r\n").split("\n")[1] == "  c"


def test_warnings_say_so_and_do_not_stop() -> None:
    mild = problem("f.yaml", (1, 1), "L302", found=15)
    grave = problem("f.yaml", (1, 1), "L301", total=90)
    assert (mild.stops, grave.stops) == (False, True)
    assert str(mild).startswith("f.yaml:1:1: L302 warning: ")
    assert str(grave).startswith("f.yaml:1:1: L301 shares")


def test_problems_are_sorted_by_place_and_said_once() -> None:
    later, first = Problem("f.yaml", 10, 1, "F101", "b"), Problem("f.yaml", 9, 5, "F102", "a")
    assert FlowError([later, first, later]).problems == (first, later)
    assert show_all([later, first, later], {}) == f"{first}\n{later}"


def test_json_form_has_all_parts() -> None:
    line = problems.as_json(Problem("f.yaml", 2, 8, "L302", "über"))
    assert json.loads(line) == {
        "file": "f.yaml",
        "line": 2,
        "column": 8,
        "code": "L302",
        "severity": "warning",
        "text": "über",
    }
    assert "\n" not in line


@pytest.mark.parametrize(
    ("said", "known", "expected"),
    [("usualy", ["usually", "often"], " (did you mean 'usually'?)"), ("xyz", ["often"], ""), ("a", [], "")],
)
def test_hints(said: str, known: list[str], expected: str) -> None:
    assert problems.hint(said, known) == expected


@pytest.mark.parametrize(
    ("words", "expected"),
    [([], "nothing"), (["a"], "'a'"), (["a", "b"], "'a' or 'b'"), ("abc", "'a', 'b' or 'c'")],
)
def test_lists_of_words(words: list[str], expected: str) -> None:
    assert problems.listed(words) == expected


def test_every_code_begins_with_its_stage_and_counts_three_figures() -> None:
    assert all(code[0] in "YFLT" and code[1:].isdecimal() and len(code) == 4 for code in CATALOGUE)


def test_braces_in_a_value_are_only_text() -> None:
    assert "{oops}" in problem("f.yaml", (1, 1), "L101", id="{oops}", hint="").text
