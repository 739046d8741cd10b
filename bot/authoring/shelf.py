"""Where flows and sample conversations lie: beside a checkout, inside the package, in an author's folder."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

COMMON = "common"
FLOWS, SAMPLES = "flows", "sample_conversations"
_PACKAGE = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Shelf:
    """Folders of shipped files. `parsed` holds validated JSON; it may not exist."""

    flows: Path
    samples: Path

    @property
    def parsed(self) -> Path:
        return self.flows / "_parsed"

    @property
    def common(self) -> Path:
        return self.flows / f"{COMMON}.yaml"

    def flow(self, flow_id: str) -> Path:
        """The file of a flow. KeyError when there is none (ids with a slash never are one)."""
        if flow_id not in self.ids():
            raise KeyError(flow_id)
        return self.flows / f"{flow_id}.yaml"

    def ids(self) -> tuple[str, ...]:
        """Ids of the shipped flows, sorted."""
        return tuple(sorted(f.stem for f in self.flows.glob("*.yaml") if f.stem != COMMON))


def find(package: Path = _PACKAGE) -> Shelf:
    """The shelf of this installation.

    The package's own folder comes first: beside an installed package lie other people's folders.
    FileNotFoundError when neither place has flows.
    """
    if (package / "_flows").is_dir():
        return Shelf(package / "_flows", package / "_sample_conversations")
    beside = package.parent
    if (beside / FLOWS).is_dir():
        return Shelf(beside / FLOWS, beside / SAMPLES)
    raise FileNotFoundError(f"no flows in {package / '_flows'} nor in {beside / FLOWS}")


# --- in an author's own folder ------------------------------------------------------------------


def common_for(flow: Path) -> Path | None:
    """The common file that a flow file uses: the one beside it, else the shipped one."""
    beside = flow.with_name(f"{COMMON}.yaml")
    if beside.is_file():
        return beside
    try:
        shipped = find().common
    except FileNotFoundError:
        return None
    return shipped if shipped.is_file() else None


def sample_folder(flow: Path) -> Path:
    """Where sample conversations of a flow file belong: below its folder, or beside a folder 'flows'."""
    folder = flow.parent
    home = folder.parent if folder.resolve().name == FLOWS else folder
    return home / SAMPLES / flow.stem


def samples_near(flow: Path) -> tuple[Path, ...]:
    """The sample conversations of a flow file: in its folder of them, and those beside it that name it."""
    names = re.search(r"(?m)^flow:[ \t]*([\w-]+)", _text(flow))
    id = names[1] if names else flow.stem
    folders = dict.fromkeys((sample_folder(flow), sample_folder(flow).with_name(id)))
    found = [sample for folder in folders for sample in sorted(folder.rglob("*.txt"))]
    return (*found, *(s for s in sorted(flow.parent.glob("*.txt")) if _is_of(s, id)))


def flow_near(sample: Path, id: str) -> Path | None:
    """The flow file of this id near a sample conversation, by its file's name or by what it says inside."""
    folders = [folder for folder in _homes(sample) if folder.is_dir()]
    named = (folder / f"{id}.yaml" for folder in folders)
    telling = (file for folder in folders for file in sorted(folder.glob("*.yaml")) if _is_of(file, id))
    found = next((file for file in (*named, *telling) if file.is_file()), None)
    return _shown(found) if found else None


def _homes(sample: Path) -> Iterator[Path]:
    """Folders in which its flow may lie, the nearest first."""
    folder = sample.resolve().parent
    yield from (folder, folder / FLOWS)
    for above in (folder, *folder.parents):
        if above.name == SAMPLES:
            yield from (above.parent, above.parent / FLOWS)
            return


def _is_of(file: Path, id: str) -> bool:
    return re.search(rf"(?m)^flow:[ \t]*{re.escape(id)}[ \t]*(?:#.*)?$", _text(file)) is not None


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig", errors="replace")
    except OSError:
        return ""


def _shown(file: Path) -> Path:
    """As short as it can be said from here."""
    here = Path.cwd()
    return file.relative_to(here) if file.is_relative_to(here) else file
