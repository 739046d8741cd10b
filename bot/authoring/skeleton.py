"""A first flow with its first sample conversation, for an author to change into his own."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from bot.authoring import shelf

_TEXTS = Path(__file__).with_name("skeletons")
_ID = "chain-comes-off"  # the id in both texts
_LONGEST = 60  # letters of an id, as the language has it
FIRST = "first.txt"


class CannotBegin(Exception):
    """No flow can be begun so; the text says why and what to do."""


@dataclass(frozen=True)
class Begun:
    """The two files that were written."""

    flow: Path
    sample: Path


def text(name: str) -> str:
    """The flow that works and is to be changed, under the author's own name."""
    return _renamed("flow.yaml", name)


def sample(name: str) -> str:
    """A talk with it, with what must and must never happen."""
    return _renamed("sample.txt", name)


def _renamed(file: str, name: str) -> str:
    said = (_TEXTS / file).read_text(encoding="utf-8")
    return re.sub(rf"(?m)^flow: {_ID}\b", f"flow: {name}", said)


def begin(name: str, folder: Path) -> Begun:
    """Write both into `folder`, which is made if it is not there. CannotBegin, OSError; never over a file."""
    _judge(name)
    flow = folder / f"{name}.yaml"
    begun = Begun(flow, shelf.sample_folder(flow) / FIRST)
    for file in (begun.flow, begun.sample):
        if file.exists():
            raise CannotBegin(f"{file} is there already; choose another name, or another folder with --in.")
    for file, said in ((begun.flow, text(name)), (begun.sample, sample(name))):
        file.parent.mkdir(parents=True, exist_ok=True)
        with open(file, "x", encoding="utf-8", newline="\n") as new:
            new.write(said)
    return begun


def _judge(name: str) -> None:
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) or len(name) > _LONGEST:
        raise CannotBegin(
            f"'{name}' cannot be the name of a flow; use small letters and digits with single hyphens "
            f"between words, at most {_LONGEST}, like '{_like(name)}'."
        )
    if name == shelf.COMMON or name in shelf.find().ids():
        raise CannotBegin(f"'{name}' is the name of a shipped file; choose another one, like 'my-{name}'.")


def _like(name: str) -> str:
    """The nearest name that would do."""
    bare = name.removesuffix(".yaml").removesuffix(".yml").lower()
    near = "-".join(re.findall(r"[a-z0-9]+", bare))[:_LONGEST].strip("-")
    return near or _ID
