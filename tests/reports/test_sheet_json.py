"""The sheet as JSON: its published schema, cases by hand, and the end of every sample conversation.

Run as a program (`python -m tests.reports.test_sheet_json`) it writes the schema anew.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.authoring import shelf
from bot.core import events
from bot.reports import sheet_form, sheet_json, text
from tests.rattle import FLOW, Diary, opened
from tests.reports.sheets_drawn import CASES, PHOTOS, under_watch
from tests.reports.test_facts import settled, started, stopped
from tests.reports.test_pocket import STEPS
from tests.reports.test_pocket import played as stepped
from tests.samples_heard import end_of
from tests.test_samples import FILES, SAMPLES

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
SCHEMA = Path(__file__).parents[2] / "docs" / "handover-sheet.schema.json"


def schema_text() -> str:
    return json.dumps(sheet_form.schema(), indent=1, ensure_ascii=False) + "\n"


# What was added to version 1 since it was written first, by kind; an older sheet does not have it.
LATER = {
    "Sheet": {"in_hand"}, "Vin": {"read_again"}, "Repair": {"parts_told"},
    "Stop": {"lifted", "looked_at", "about_a_person", "taken_up"},
}  # fmt: skip


def published() -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(SCHEMA.read_text("utf-8"))
    return plain


def kinds(schema: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The forms of a schema by their names."""
    return {"Sheet": schema, **schema["$defs"]}


@cache
def judge() -> jsonschema.Draft202012Validator:
    """The schema as it is published, with the formats that it names."""
    jsonschema.Draft202012Validator.check_schema(published())
    return jsonschema.Draft202012Validator(published())


@cache
def our_judge() -> jsonschema.Draft202012Validator:
    """The schema for what we write: with every name of it there, and no other."""
    schema = published()
    for form in kinds(schema).values():
        form |= {"additionalProperties": False, "required": list(form["properties"])}
    return jsonschema.Draft202012Validator(schema)


def read(written: str) -> Any:
    """What another program reads; it fits the schema, and no name is missing or unknown."""
    plain = json.loads(written)
    assert [error.message for error in our_judge().iter_errors(plain)] == []
    return plain


def of(case: Diary) -> Any:
    return read(sheet_json.write(text.facts_of(FLOW, case.state, NOON)))


# --- the schema ------------------------------------------------------------------------------


def test_the_published_schema_is_that_of_the_form() -> None:
    assert SCHEMA.read_text("utf-8") == schema_text(), "run: python -m tests.reports.test_sheet_json"


def test_every_key_is_required_but_those_that_were_added() -> None:
    for name, form in kinds(published()).items():
        assert set(form["properties"]) - set(form["required"]) == LATER.get(name, set())


def test_older_and_newer_sheets_of_this_version_are_read_too() -> None:
    plain = of(stopped().add(events.VinTold(vin="1G4AH59H45G118341", digit="right")))
    older = {
        **plain,
        "bike": {**plain["bike"], "vin": {"text": "1G4AH59H45G118341", "check_digit": "right"}},
        "stops": [{k: v for k, v in stop.items() if k not in LATER["Stop"]} for stop in plain["stops"]],
    }
    del older["in_hand"]
    newer = {**plain, "more": 1, "next": {**plain["next"], "more": 1}}
    for sheet in (older, newer):
        assert list(judge().iter_errors(sheet)) == []
        assert list(our_judge().iter_errors(sheet))


def test_the_schema_refuses_what_is_no_sheet() -> None:
    plain = of(opened())
    wrong: list[dict[str, Any]] = [
        {**plain, "sheet": 2},
        {**plain, "written": "2026-05-04 12:00"},
        {key: value for key, value in plain.items() if key != "stops"},
        {**plain, "bike": {**plain["bike"], "hours": [1, 2, 3]}},
    ]
    assert all(list(judge().iter_errors(one)) for one in wrong)


# --- by hand ---------------------------------------------------------------------------------


def test_a_case_by_hand() -> None:
    case = stopped().add(events.WentOn(minutes=20)).add(events.WentOn())
    case.by("mechanic").who = "Ann"
    case.answer("nut", "bad").add(events.VinTold(vin="1G4AH59H45G118341", digit="right"))
    case.add(events.Skipped(ask="magnet", why="not_sure")).add(events.Skipped(ask="inside", why="cant"))
    plain = of(case)
    assert (plain["sheet"], plain["written"], plain["complaint"]) == (
        1,
        "2026-05-04T12:00:00Z",
        "it rattles below",
    )
    run = 43 + 20 / 60
    assert plain["bike"] == {
        "nickname": "Goat", "hours": [run, run], "features": [],
        "vin": {"text": "1G4AH59H45G118341", "check_digit": "right", "read_again": False},
    }  # fmt: skip
    [stop] = plain["stops"]
    assert (stop["stands"], stop["because"], stop["ran_after_minutes"]) == (True, ["It knocks"], [20, None])
    [_, look] = plain["findings"]
    assert (look["asked"], look["answer"], look["certainty"]) == (
        "Try the nut by hand.",
        "It moves",
        "mechanic_looked",
    )
    assert look["by"] == {
        "role": "mechanic",
        "name": "Ann",
        "at": "2026-05-04T09:08:00Z",
        "hours": [run, run],
    }
    nut = plain["suspects"][0]
    assert (nut["name"], nut["standing"], nut["look_made"]) == ("Drive nut working loose", "found", True)
    unseen = [s["name"] for s in plain["suspects"] if not s["look_made"]]
    assert sorted(unseen) == ["Clutch basket notched", "Kick gear worn", "Ordinary fines"]
    assert plain["not_judged"] == [
        {"asked": "Hold a magnet under the bits. What happens?", "why": "not_sure"},
        {"asked": "Which of these do you see?", "why": "cannot_here"},
    ]
    assert (plain["ended"], plain["chance_fixed"], plain["mechanic"]["outcome"]) == (None, None, None)


def test_what_a_mechanic_looked_at_named_and_read_again() -> None:
    case = stopped().by("mechanic")
    case.who = "Ann"
    case.add(events.VinTold(vin="1G4AH59H45G118342", digit="wrong", reread=True))
    case.add(events.StopLifted(rule="big-knock", by="mechanic", words="nut torqued"))
    case.add(events.RemedyBegun(remedy="refit-nut", suspicion=True, told=True, money=24))
    plain = of(case)
    ann = {"role": "mechanic", "name": "Ann", "hours": [43, 43]}
    [stop] = plain["stops"]
    assert (stop["lifted_by"], stop["looked_at"]) == ("mechanic", "nut torqued")
    assert stop["lifted"] == {**ann, "at": "2026-05-04T09:07:00Z"}
    assert plain["bike"]["vin"]["read_again"] is True
    assert plain["in_hand"] == {
        "name": "Refit the drive nut", "by": {**ann, "at": "2026-05-04T09:08:00Z"},
        "on_suspicion": True, "told_done": True, "parts_told": 24,
    }  # fmt: skip
    case.add(events.Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=True, money=24))
    plain = of(case)
    assert (plain["in_hand"], plain["repairs"][0]["parts_told"]) == (None, 24)


def test_the_rider_without_a_name_has_his_role_alone() -> None:
    [finding] = of(opened().answer("knock", "no"))["findings"]
    assert finding["by"] == {"role": "rider", "name": None, "at": "2026-05-04T09:04:00Z", "hours": [43, 43]}


def test_work_parts_and_photos_by_hand() -> None:
    plain = read(sheet_json.write(under_watch().facts()))
    [repair] = plain["repairs"]
    assert (repair["name"], repair["held"]) == ("Primary nut taken right off and refitted", "so_far")
    assert repair["clean_hours"] == pytest.approx(0.5 + 20 / 60, abs=0.01)
    assert 0.9 < repair["chance_fixed"] < 1
    assert {a["name"]: a["open_now"] for a in plain["access"]}["Take the skid plate off."] is False
    assert [(f["kind"], f["number"], f["digest"]) for f in plain["files"]] == [
        ("photo", n, digest) for n, digest in zip((1, 1, 2), PHOTOS, strict=True)
    ]
    book = [p for p in plain["parts_fitted"] if p["source"] == "book"]
    assert [(p["name"], p["price"], p["day"], p["hours"]) for p in book] == [
        ("clutch plates", 89, "2026-01-30", [38, 38])
    ]
    assert plain["trend"]["direction"] == "rising"
    [sure] = plain["mechanic"]["confirmed"]
    assert (sure["cause"], sure["how"], sure["by"]["name"]) == (
        "Primary drive nut loose on the crank",
        "seen",
        "Ann",
    )


def test_what_comes_next_is_in_words_with_its_reason() -> None:
    ahead = of(settled(started()))["next"]
    assert (ahead["do"], ahead["why"]) == ("How many bits?", "cheapest")
    assert ahead["saves_minutes"] > 0
    assert ahead["hand_over_minutes"] == 300


def test_a_photo_that_has_not_arrived_has_no_digest() -> None:
    plain = of(opened().add(events.Noted(file="telegram-17", file_kind="photo", about="question:magnet")))
    [file] = plain["files"]
    assert (file["digest"], file["about"]) == (None, "Hold a magnet under the bits. What happens?")


def test_damage_without_a_name_is_in_words() -> None:
    [finding] = of(opened().answer("nut", "other"))["findings"]
    assert finding["answer"] == "damage of another kind"


# --- any case --------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(STEPS, st.text(max_size=300), st.text(max_size=40))
def test_whatever_is_done_and_said_fits_the_schema(
    steps: list[tuple[str, ...]], words: str, name: str
) -> None:
    from dataclasses import replace

    plain = read(sheet_json.write(replace(stepped(steps), complaint=words, bike=name)))
    assert (plain["complaint"], plain["bike"]["nickname"]) == (words, name)
    assert {s["name"] for s in plain["suspects"]} == {c.name for c in FLOW.causes.values()}


@pytest.mark.parametrize("name", CASES)
def test_the_cases_that_are_drawn_fit_the_schema(name: str) -> None:
    read(sheet_json.write(CASES[name]().facts()))


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SAMPLES)))
def test_the_end_of_every_sample_fits_the_schema_and_shows_no_id(path: Path) -> None:
    stage, script, last = end_of(path)
    written = sheet_json.write(text.facts_of(stage.flow, last.after, last.now, stage.desk(script)))
    read(written)
    flow = stage.flow
    ids = {*flow.causes, *flow.remedies, *flow.stop_rules, *flow.access, *flow.asks, *flow.signs}
    words = set(re.findall(r'"((?:[a-z0-9]+-)+[a-z0-9]+)"', written))
    assert not words & ids


def test_there_are_samples() -> None:
    assert shelf.find().samples.is_dir()
    assert len(FILES) > 100


if __name__ == "__main__":
    SCHEMA.write_text(schema_text(), "utf-8")
