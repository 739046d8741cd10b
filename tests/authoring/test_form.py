"""The models' complaints in our words, and the words a place knows."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from pydantic import BaseModel, ValidationError, field_validator

from bot.authoring import form
from bot.core import flow as language


def models() -> list[type[BaseModel]]:
    return [m for m in vars(language).values() if isinstance(m, type) and issubclass(m, language.Strict)]


def test_no_kind_is_called_like_a_field() -> None:
    """Else the path of a complaint could step into the wrong child of the file."""
    kinds = {
        k for m in models() if "kind" in m.model_fields for k in get_args(m.model_fields["kind"].annotation)
    }
    assert kinds == {"one", "several", "graded", "number", "look", "note"}
    assert not kinds & {name for m in models() for name in m.model_fields}


@pytest.mark.parametrize(
    ("path", "word"),
    [
        ((), "riders_say"),
        (("questions", "q", "one"), "answers"),
        (("questions", "q", "one", "answers", "a"), "told_as"),
        (("checks", "c", "look", "finds", 0), "false_alarm"),
        (("causes", "c", "hazard"), "running"),
        (("remedies", "r", "proof"), "bad"),
        (("remedies", "r", "figures", 2), "thread_state"),
        (("stop_rules", "s", "cleared_by"), "by"),
        (("money",), "as_of"),
    ],
)
def test_words_of_a_place(path: form.Path, word: str) -> None:
    assert word in form.words_at(path)


def test_places_without_words() -> None:
    assert form.words_at(("title",)) == ()
    assert form.words_at(("causes",)) == ()
    assert form.words_at(("nowhere", "at", "all")) == ()


def test_a_kind_in_the_path_is_not_in_the_file() -> None:
    data: dict[str, Any] = {"questions": {"q": {"kind": "one", "answers": {"one": {"label": 1}}}}}
    path = ("questions", "q", "one", "answers", "one", "label")
    assert form.in_file(path, data) == ("questions", "q", "answers", "one", "label")
    assert form.in_file(("questions", "q", "one", "ask"), data) == ("questions", "q")
    assert form.in_file(("questions", "Q q", "[key]"), {"questions": {"Q q": 1}}) == ("questions", "Q q")


def test_a_complaint_without_words_of_ours_still_has_a_place() -> None:
    class Odd(BaseModel):
        name: str

        @field_validator("name")
        @classmethod
        def never(cls, value: str) -> str:
            raise ValueError("too {odd} for words")

    with pytest.raises(ValidationError) as caught:
        Odd.model_validate({"name": "x"})
    [found] = form.judge(caught.value, {"name": "x"}, lambda path, key: ("f.yaml", 3, len(path) + key))
    assert (found.code, found.line, found.column) == ("F199", 3, 1)
    assert "too {odd} for words" in found.text


def complaint(model: type[BaseModel], data: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        model.model_validate_json(data)
    return form.judge(caught.value, {}, lambda path, key: ("f", 1, 1))[0].text


def test_one_of_two_numbers_missing_is_told_as_too_few() -> None:
    head = '{"kind": "number", "ask": "x", "unit": "h", "ranges": [{}], "allowed": '
    assert "at least 2, found 1" in complaint(language.Number, head + "[1]}")
    assert "at most 2, found 3" in complaint(language.Number, head + "[1, 2, 3]}")


def test_a_word_from_further_out_is_told_as_such() -> None:
    data = '{"name": "x", "share": 5, "hazard": {"running": "wear", "remedy": "r"}}'

    class Top(language.Strict):
        causes: dict[str, language.Cause]

    with pytest.raises(ValidationError) as caught:
        Top.model_validate_json(f'{{"causes": {{"c": {data}}}}}')
    [found] = form.judge(caught.value, {}, lambda path, key: ("f", 1, 1))
    assert "look at the indent" in found.text
