"""The JSON Schema for editors, judged by an independent validator."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

from bot.authoring import load, schema
from tests.authoring.changed import GONE, HERE, base, put

DRAFT = jsonschema.Draft202012Validator


def test_it_is_a_schema_of_its_draft() -> None:
    for common in (False, True):
        made = schema.schema(common)
        DRAFT.check_schema(made)
        assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
        assert "$id" not in made
        assert list(made)[:2] == ["$schema", "title"]
        assert json.loads(json.dumps(made)) == made


def test_the_base_flow_and_its_common_file_fit() -> None:
    DRAFT(schema.schema()).validate(base())
    common: Any = load.load(HERE / "base.yaml").shared
    DRAFT(schema.schema(common=True)).validate(common.data)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("title", GONE),
        ("titel", "x"),
        ("questions/rhythm/kind", "ones"),
        ("causes/gap-wide/share", "many"),
        ("causes/gap-wide/shows/keeps-time", "oftn"),
        ("causes/gap-wide/shows/keeps-time", 1.5),
        ("remedies/set-gap/skill", "expert"),
        ("questions/rhythm/answers", {}),
        ("signs/Keeps_Time", {"means": "x", "background": "often"}),
        ("stop_rules/very-loud/bars", []),
    ],
)
def test_an_editor_sees_the_same_mistakes(path: str, value: object) -> None:
    data = base()
    put(data, path, value)
    with pytest.raises(jsonschema.ValidationError):
        DRAFT(schema.schema()).validate(data)


def test_a_flow_may_leave_its_signs_to_the_common_file() -> None:
    data = base()
    del data["signs"]
    DRAFT(schema.schema()).validate(data)
