"""The numbers of the flagship that the benchmark was run on, by digest, and where its results are kept.

Numbers and benchmark may not change in one commit: a flow tuned to its benchmark, or a benchmark bent
to its flow, would both look like progress.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from bot.core.flow import Flow

HERE = Path(__file__).parent
STORED = HERE / "flagship.json"
PROGRAMS = ("worlds_of_flow.py", "played_flow.py", "played_bikes.py", "bench_flagship.py")
COMMAND = "OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_flagship --store"

PARTS = (
    "causes", "signs", "questions", "checks", "access", "remedies", "traits", "hand_over", "paired",
    "unlisted", "safety", "opening",
)  # fmt: skip
NUMBERS = frozenset({
    "share", "share_if", "only_when", "alone", "shows", "denies", "remedy", "second_look",
    "background", "changes", "silent_while", "kind", "minutes", "money", "behind", "needs", "not_sure",
    "slip", "answers", "marks", "sign", "classes", "ranges", "upto", "step", "finds", "cause", "catches",
    "false_alarm", "other_damage", "gathers", "open", "close", "open_money", "close_money", "after",
    "after_when", "given_by", "holds", "may_leave", "comes_back", "parts", "price", "quantity", "proof",
    "steps",
})  # fmt: skip


def _bare(value: Any) -> Any:
    """Without the texts that people read."""
    if isinstance(value, BaseModel):
        return {name: _bare(getattr(value, name)) for name in type(value).model_fields if name in NUMBERS}
    if isinstance(value, Mapping):
        return [[name, _bare(part)] for name, part in value.items()]
    return [_bare(part) for part in value] if isinstance(value, (tuple, list)) else value


def digest_of_numbers(flow: Flow) -> str:
    """What shares, strengths, minutes, prices and their order come to; texts may change freely."""
    bare = json.dumps([[part, _bare(getattr(flow, part))] for part in PARTS], sort_keys=True)
    return hashlib.sha256(bare.encode()).hexdigest()


def digest_of_programs() -> str:
    """What the programs of this benchmark come to."""
    texts = b"\0".join((HERE / name).read_bytes() for name in PROGRAMS)
    return hashlib.sha256(texts).hexdigest()


def stored() -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(STORED.read_text(encoding="utf-8"))
    return kept


def store(results: Mapping[str, Any], numbers: str, programs: str) -> None:
    """Keep results, with the digests taken before the run.

    ValueError if both the flow's numbers and the programs differ from what is kept.
    """
    if STORED.exists():
        kept = stored()
        if kept["numbers"] != numbers and kept["programs"] != programs:
            raise ValueError(
                "the flow's numbers and the benchmark have both changed since the last run: commit one, "
                f"run `{COMMAND}`, then the other"
            )
    heads = {"numbers": numbers, "programs": programs}
    STORED.write_text(json.dumps(heads | dict(results), indent=1) + "\n", encoding="utf-8")
