"""A flow's texts by id, and the flow with some of them in another language."""

from __future__ import annotations

import copy
import hashlib
import typing
from typing import Any

import pytest

from bot.core import flow as language
from bot.core.flow import Flow, read
from bot.core.translation import APART, PHRASES, TEXTS, Line, digest, paths_of, texts_of, translate
from tests.rattle import RATTLE


def rattle(**changes: Any) -> Flow:
    data = copy.deepcopy(RATTLE)
    for path, value in changes.items():
        node: Any = data
        *way, last = path.split("__")
        for part in way:
            node = node[int(part) if part.isdecimal() else part]
        node[last] = value
    return read(data)


def said_of(texts: dict[str, str]) -> dict[str, Line]:
    """Lines by id, each made from the text that the rattling flow has there."""
    return {path: Line(digest(texts_of(rattle())[path]), said) for path, said in texts.items()}


def test_texts_stand_under_the_path_of_ids_that_leads_to_them() -> None:
    texts = texts_of(rattle())
    assert texts["title"] == "Something rattles"
    assert texts["riders_say"] == ("something rattles", "it rattles")
    assert texts["traits.starter.answers.kick.label"] == "By foot"
    assert texts["checks.nut.good.looks_like"] == "flat washer"
    assert texts["remedies.refit-nut.proof.bad"] == "rattles"
    assert texts["remedies.refit-nut.closing.tab.why"] == "it backs off"
    assert texts["checks.nut.steps.plug.do"] == "Plug cap off."


def test_a_step_without_an_id_is_called_by_its_own_text_so_that_one_before_it_moves_nothing() -> None:
    called = hashlib.sha256(b"Pull at it.").hexdigest()[:8]
    texts = texts_of(rattle())
    assert texts[f"checks.nut.steps.{called}.do"] == "Pull at it."
    steps = [{"do": "Let it cool."}, *RATTLE["checks"]["nut"]["steps"]]
    assert texts.items() <= texts_of(rattle(checks__nut__steps=steps)).items()


def test_what_no_rider_reads_is_no_text() -> None:
    texts = texts_of(rattle())
    assert not any(path.startswith(("signs.", "sources.", "money")) for path in texts)
    assert not any(path.endswith((".kind", ".unit", ".id")) for path in texts)


def test_every_field_of_the_language_that_holds_a_text_is_known_here() -> None:
    """Found by the types of the models, which is another way than the list of names."""
    found: dict[str, set[str]] = {}
    for model in vars(language).values():
        if isinstance(model, type) and issubclass(model, language.Strict):
            for field, kind in typing.get_type_hints(model, include_extras=True).items():
                if any(limit in str(kind) for limit in ("max_length=900", "max_length=300")):
                    found.setdefault(field, set()).add(model.__name__)
    unread = {field for field, models in found.items() if models <= {"Sign", "Source"}}
    assert unread == {"means", "part"}
    assert found.keys() - unread == TEXTS
    assert {"signs", "sources"} == APART
    lists = {
        field
        for model in (language.Answer, language.Mark, language.Grade, language.FalseCure, Flow)
        for field, kind in model.model_fields.items()
        if str(kind.annotation) == "tuple[str, ...]" and field not in ("uses", "safety", "opening")
    }
    assert {field for field in lists if field in PHRASES} == PHRASES


def test_a_translated_text_is_read_in_its_place_and_nothing_else_changes() -> None:
    flow = rattle()
    other = translate(
        flow,
        said_of(
            {"title": "Algo traquetea", "checks.nut.bad.label": "Se mueve", "causes.fines.name": "Finos"}
        ),
    )
    assert other.title == "Algo traquetea"
    assert other.checks["nut"].bad.label == "Se mueve"  # type: ignore[union-attr]
    assert other.checks["nut"].good.label == "It does not move"  # type: ignore[union-attr]
    assert other.causes["fines"].name == "Finos"
    assert other.causes["fines"].share == flow.causes["fines"].share
    assert other.remedies is flow.remedies
    assert flow.title == "Something rattles"


def test_phrases_are_translated_as_a_list() -> None:
    line = Line(digest(("something rattles", "it rattles")), ("algo traquetea",))
    assert translate(rattle(), {"riders_say": line}).riders_say == ("algo traquetea",)


@pytest.mark.parametrize(
    "line",
    [
        Line(digest("Something rattled"), "Algo traquetea"),  # the text was another one then
        Line(digest("Something rattles"), ("Algo", "traquetea")),  # phrases where a text belongs
    ],
)
def test_a_line_that_does_not_fit_its_text_is_not_used(line: Line) -> None:
    flow = rattle()
    assert translate(flow, {"title": line}) is flow


def test_without_lines_it_is_the_very_same_flow() -> None:
    flow = rattle()
    assert translate(flow, {}) is flow
    assert translate(flow, {"checks.gone.ask": Line("00000000", "x")}) is flow


def test_the_path_of_a_text_leads_to_it_in_the_data_of_the_flow() -> None:
    flow = rattle()
    paths = paths_of(flow)
    assert paths["traits.starter.answers.kick.label"] == ("traits", "starter", "answers", "kick", "label")
    assert paths["checks.nut.steps.plug.do"] == ("checks", "nut", "steps", 0, "do")
    for called, text in texts_of(flow).items():
        node: Any = RATTLE
        for part in paths[called]:
            node = node[part]
        assert node == (text if isinstance(text, str) else list(text))
