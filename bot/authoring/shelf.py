"""Where the flows and sample conversations lie: beside a checkout, or inside the installed package."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

COMMON = "common"
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
    if (beside / "flows").is_dir():
        return Shelf(beside / "flows", beside / "sample_conversations")
    raise FileNotFoundError(f"no flows in {package / '_flows'} nor in {beside / 'flows'}")
