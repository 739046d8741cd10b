"""The flow language as JSON Schema (draft 2020-12), for editors that help while one types."""

from __future__ import annotations

from typing import Any

from bot.authoring.meanings import BLOCKS, meaning
from bot.core.flow import Common, Flow

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema(common: bool = False) -> dict[str, Any]:
    """The schema of a flow file, or of the common file.

    A flow that uses the common file may leave `signs` to it, so that word is not demanded here;
    what only shows across the flow is not in it at all.
    """
    model, title = (Common, "Common file of Sumpline flows") if common else (Flow, "Sumpline flow")
    made = _closed(model.model_json_schema(mode="validation"))
    if not common:
        made["required"] = [name for name in made["required"] if name != "signs"]
    for block, part in (*made.get("$defs", {}).items(), (model.__name__, made)):
        _explained(block, part)
    rest = {key: said for key, said in made.items() if key != "title"}
    return {"$schema": DRAFT, "title": title, **rest}


def _explained(block: str, part: dict[str, Any]) -> None:
    """What each block and key means, for editors that show it while one types."""
    if block in BLOCKS:
        part["description"] = BLOCKS[block]
        for key, said in part.get("properties", {}).items():
            said["description"] = meaning(block, key)


def _closed(part: Any) -> Any:
    """Blocks of ids refuse keys that are not ids, as the models do."""
    if isinstance(part, list):
        return [_closed(item) for item in part]
    if not isinstance(part, dict):
        return part
    closed = {key: _closed(value) for key, value in part.items()}
    if "patternProperties" in closed:
        closed.setdefault("additionalProperties", False)
    return closed
