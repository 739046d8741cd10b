"""What the models say about a flow's form, in our words and at the place in the file.

The models name a wrong value by its path; that path is followed through the places of the file,
leaving out the parts that are not in the file (the kind of a question, '[key]').
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from bot.authoring.problems import Problem, hint, problem
from bot.core import flow as language

Path = tuple[str | int, ...]
Locate = Callable[[Path, bool], tuple[str, int, int]]  # path, at its key? -> file, line, column

MOST = 500  # complaints told of one file
_FEW = 8  # words of a block that are listed
_AT_KEY = ("missing", "extra_forbidden", "union_tag_not_found")
_CODES = {
    "missing": "F101",
    "extra_forbidden": "F102",
    "literal_error": "F103",
    "union_tag_invalid": "F104",
    "union_tag_not_found": "F105",
    "string_type": "F106",
    "int_type": "F121",
    "float_type": "F107",
    "int_from_float": "F121",
    "string_too_long": "F108",
    "dict_type": "F109",
    "model_type": "F109",
    "model_attributes_type": "F109",
    "tuple_type": "F110",
    "list_type": "F110",
    "bool_type": "F111",
    "string_too_short": "F112",
    "string_pattern_mismatch": "F113",
    "too_short": "F114",
    "too_long": "F115",
    "greater_than": "F116",
    "greater_than_equal": "F116",
    "less_than": "F116",
    "less_than_equal": "F116",
    "chance_word": "F117",
    "chance_number": "F118",
    "graded_sum": "F119",
    "condition_form": "F120",
}
_LIMITS = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
_ID = r"^[a-z0-9]+(-[a-z0-9]+)*$"
_CURES = {
    r"^[A-Z]{3}$": "use three capitals, like EUR",
    r"^\d{4}-\d{2}$": "use year and month, like 2026-05",
}


def judge(error: ValidationError, data: Mapping[str, Any], locate: Locate) -> list[Problem]:
    """Every complaint of the models about plain `data`, each at its place.

    A word that is missing because it stands there misspelt is told once, as misspelt.
    """
    found = error.errors(include_url=False)[:MOST]
    meant = {
        (*details["loc"][:-1], _meant(details)) for details in found if details["type"] == "extra_forbidden"
    }
    return [
        _worded(details, data, locate)
        for details in found
        if details["type"] != "missing" or details["loc"] not in meant
    ]


def _meant(error: ErrorDetails) -> str:
    """The word of this place that a word unknown here is nearest to; empty when none is near."""
    near = difflib.get_close_matches(str(error["loc"][-1]), words_at(error["loc"][:-1]), n=1)
    return near[0] if near else ""


def _worded(error: ErrorDetails, data: Mapping[str, Any], locate: Locate) -> Problem:
    kind, loc = error["type"], error["loc"]
    if kind == "missing" and isinstance(loc[-1], int):  # one of two numbers
        short = {**error, "type": "too_short", "loc": loc[:-1]}
        short["ctx"] = {"min_length": loc[-1] + 1, "actual_length": loc[-1]}
        return _worded(short, data, locate)  # type: ignore[arg-type]
    if kind == "string_type" and error["input"] is None:
        kind = "string_too_short"
    path = in_file(loc, data)
    if kind == "union_tag_invalid":
        path = (*path, "kind")
    place = locate(path, kind in _AT_KEY or loc[-1:] == ("[key]",))
    code = _CODES.get(kind, "F199")
    lost = _lost(path, data) if kind == "extra_forbidden" else ""
    return problem(place[0], place[1:], code, **_fields(error, path, lost))


def in_file(loc: Path, data: Any) -> Path:
    """The part of a model's path that is in the file."""
    path: Path = ()
    for part in loc:
        if isinstance(data, dict) and part in data:
            data, path = data[str(part)], (*path, part)
        elif isinstance(data, list) and isinstance(part, int) and part < len(data):
            data, path = data[part], (*path, part)
    return path


def _fields(error: ErrorDetails, path: Path, lost: str = "") -> dict[str, object]:
    """What the sentences of the catalogue may ask for; each uses only some."""
    kind, loc, ctx = error["type"], error["loc"], error.get("ctx", {})
    value = ctx.get("tag", error["input"])
    missing = kind == "missing"
    expected = str(ctx.get("expected", ctx.get("expected_tags", "")))
    return {
        "name": loc[-1] if missing else _name(path),
        "where": _place_of(kind, path, value) or _where(path if missing or not path else path[:-1], kind),
        "found": _said(value),
        "expected": expected.replace(" or ", ", ") if kind == "literal_error" else expected,
        "hint": _near(kind, str(value), loc, expected) or lost,
        "limit": _limit(ctx),
        "length": ctx.get("actual_length", len(str(value))),
        "cure": _cure(kind, value, _name(path), str(ctx.get("pattern"))),
        "words": _words(loc, _name(path)) if _CODES.get(kind) == "F109" else "",
        "said": error["msg"],
    }


def _name(path: Path) -> str:
    """The last word of a path; an item of a list is named after its list."""
    named = [str(p) for p in path if isinstance(p, str)]
    return named[-1] if named else "the flow"


def _where(path: Path, kind: str) -> str:
    shown = " > ".join(str(p + 1) if isinstance(p, int) else p for p in path)
    if kind == "extra_forbidden":
        return f"in {shown}" if shown else "at the top of a file"
    return shown or "the top of the file"


def _place_of(kind: str, path: Path, value: Any) -> str:
    """What a text of the wrong form was meant for: a name of its own, or the value of a word."""
    if _CODES.get(kind) != "F113":
        return ""
    return "a name" if _name(path) == value else f"'{_name(path)}'"


def _said(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (dict, list)):
        return "a block" if isinstance(value, dict) else "a list"
    return str(value) if len(str(value)) <= 60 else f"{str(value)[:57]}..."


def _limit(ctx: Mapping[str, Any]) -> object:
    for key, words in _LIMITS.items():
        if key in ctx:
            return f"{words} {ctx[key]:g}"
    return ctx.get("max_length", ctx.get("min_length"))


def _near(kind: str, value: str, loc: Path, expected: str) -> str:
    if kind == "extra_forbidden":
        return hint(str(loc[-1]), words_at(loc[:-1])) or _elsewhere(str(loc[-1]), loc)
    return hint(value, re.findall(r"[a-z_A-Z0-9-]+", expected))


def _lost(path: Path, data: Mapping[str, Any]) -> str:
    """Where a block that nobody knows there most likely belongs: it stands too far left or right."""
    if path and " " in str(path[-1]) and not _is_said(data, path):
        return " (a text with a comma in it belongs in quotes)"
    if len(path) == 3 and not _is_said(data, path):
        return f" (if it is one more beside '{path[1]}', let it begin in the same column)"
    if len(path) != 1 or not isinstance(data.get(str(path[0])), dict):
        return ""
    parts = list(data)
    above = parts[: parts.index(str(path[0]))][-1:]
    if not above or not isinstance(data[above[0]], dict):
        return ""
    return f" (if it belongs to '{above[0]}' above it, put two spaces in front of it and of its lines)"


def _is_said(data: Mapping[str, Any], path: Path) -> bool:
    """Whether a value stands at the path, and no block or nothing."""
    at: Any = data
    for part in path:
        at = at.get(str(part)) if isinstance(at, dict) else None
    return at is not None and not isinstance(at, dict)


def _words(loc: Path, name: str) -> str:
    """What may stand in a block, or that this one has slipped out of the block above it."""
    known = words_at(loc)
    if name in known:
        return " (if it belongs to the lines above it, let it begin in their column)"
    return f" ({', '.join(known)})" if 0 < len(known) <= _FEW else ""


def _elsewhere(word: str, loc: Path) -> str:
    """A word known some levels up was most likely indented too far."""
    for end in range(len(loc) - 2, -1, -1):
        if word in words_at(loc[:end]):
            return " (it belongs further out: look at the indent)"
    return ""


# --- what to write instead -----------------------------------------------------------------------


def _cure(kind: str, value: Any, name: str, pattern: str) -> str:
    """What to write instead, in the words of what is there."""
    code = _CODES.get(kind)
    if code == "F113" and pattern == _ID:
        return f"use small letters, digits and single hyphens, like '{_as_id(str(value))}'"
    if code in ("F107", "F121", "F117", "F118"):
        return _as_number(code, str(value), name)
    if code == "F106":
        return "write one text" if isinstance(value, (list, dict)) else "put it in quotes"
    if code == "F110":
        return f"[{value}]" if isinstance(value, str) and len(value) <= 60 else "[a, b]"
    return _CURES.get(pattern, "compare it with a line that works")


def _as_id(said: str) -> str:
    return "-".join(re.findall(r"[a-z0-9]+", said.lower()))[:60].strip("-") or "drive-nut"


def _as_number(code: str, said: str, name: str) -> str:
    """The number that was meant: a point for the comma, no unit, hours in minutes, 80% as 0.8."""
    found = re.fullmatch(r"\s*(-?\d{1,9}(?:[.,]\d{1,6})?)\s*([^\d\s].*)?", said)
    examples = {"F107": "12 or 0.5", "F121": "2", "F117": "0.3", "F118": "0.95"}
    if not found:
        return examples[code]
    number = float(found[1].replace(",", "."))
    if code in ("F117", "F118"):
        chance = number / 100 if number >= 1 else number
        return f"{chance:g}" if 0 < chance < 1 else examples[code]
    if name == "minutes" and re.match(r"h(?:ours?)?\b", found[2] or ""):
        number *= 60
    return f"{number:g}" if code == "F107" else f"{number:.0f}"


# --- which words a place knows -----------------------------------------------------------------


def words_at(loc: Path, model: type[BaseModel] = language.Flow) -> tuple[str, ...]:
    """Field names of the model at a model's path; nothing where there is none."""
    at: Any = model
    for part in loc:
        at = _inside(at, part)
    at = _bare(at)
    return tuple(at.model_fields) if _is_model(at) else ()


def _is_model(at: Any) -> bool:
    return isinstance(at, type) and issubclass(at, BaseModel)


def _bare(at: Any) -> Any:
    """Without Annotated and without 'or None'."""
    if get_origin(at) is Annotated:
        return _bare(get_args(at)[0])
    if get_origin(at) in (Union, UnionType):
        left = [a for a in get_args(at) if a is not type(None)]
        return _bare(left[0]) if len(left) == 1 else at
    return at


def _inside(at: Any, part: str | int) -> Any:
    at = _bare(at)
    if _is_model(at):
        field = at.model_fields.get(part)
        return field.annotation if field else None
    if get_origin(at) is dict:
        return get_args(at)[1]
    if get_origin(at) is tuple:
        return get_args(at)[0]
    kinds = [a for a in get_args(at) if _is_model(a) and "kind" in a.model_fields]
    return next((a for a in kinds if part in get_args(a.model_fields["kind"].annotation)), None)
