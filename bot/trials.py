"""A flow that an admin sent, tried out by programs of its own beside the running bot."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import shutil
import signal
import sys
import tempfile
from asyncio.subprocess import DEVNULL, PIPE
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bot import publishing

if TYPE_CHECKING:  # reading flows is slow to import and not needed for a talk
    from bot.record.cases import KeptFlow

BURIED_WITHIN = 5.0  # seconds; a killed program is gone in a few milliseconds
SECONDS = 300  # that all of a trial may take
GRACE = 2  # seconds after which a program ends itself, where nobody is left to end it
CHANGES = 6  # changes that are named
PART = "opening"  # the picture that is shown: what a rider is asked first

# Yields to the talk, ends itself when whoever began it was killed, and then becomes the command.
_ASIDE = (
    "import os, signal, sys; os.nice(10); signal.alarm(int(sys.argv[1])); "
    "os.execv(sys.executable, [sys.executable, '-P', '-m', 'bot.cli', *sys.argv[2:]])"
)


@dataclass(frozen=True)
class Tried:
    """What came of a trial; whatever could not be had in time is empty, and `late` says so.

    `picture`: PNG. `figures`: of the imagined bikes, as `flow simulate --json` has them. `samples`: sample
    conversations that were played and differences in them. `changes`: against the version in use, in lines.
    """

    picture: bytes = b""
    figures: Mapping[str, Any] = field(default_factory=dict)
    samples: tuple[int, int] = (0, 0)
    changes: tuple[str, ...] = ()
    late: bool = False


# --- trying out -----------------------------------------------------------------------------


async def try_out(
    kept: KeptFlow, before: tuple[str, str] | None, bikes: int, within: float = SECONDS
) -> Tried:
    """Draw a flow, play its sample conversations, set it beside the texts in use, and talk imagined bikes
    through it; all of it in `within` seconds. Whoever cancels it ends its programs too.
    """
    with tempfile.TemporaryDirectory(prefix="sumpline-trial-") as folder:
        trial = _Trial(Path(folder), asyncio.get_running_loop().time() + within)
        file = trial.lay(kept.flow, kept.text, kept.common, "new")
        picture = await trial.picture(file)
        changes = await trial.changes(trial.lay(kept.flow, *before, "old"), file) if before else ()
        samples = await trial.samples(file, kept.flow)
        figures = await trial.figures(file, bikes) if bikes else {}
        return Tried(picture, figures, samples, changes, trial.late)


class _Trial:
    """One trial in a folder that is thrown away."""

    def __init__(self, folder: Path, until: float) -> None:
        self.folder, self.until, self.late = folder, until, False

    def lay(self, flow: str, text: str, common: str, place: str) -> Path:
        """A version as a file, with the common text beside it."""
        from bot.authoring import shelf

        home = self.folder / place
        home.mkdir()
        (home / f"{shelf.COMMON}.yaml").write_text(common or shelf.find().common.read_text("utf-8"), "utf-8")
        file = home / f"{flow}.yaml"
        file.write_text(text, "utf-8")
        return file

    async def picture(self, file: Path) -> bytes:
        target = self.folder / "picture.png"
        await self._run("draw", str(file), "--part", PART, "--png", str(target))
        pages = sorted(self.folder.glob("picture*.png"))
        return pages[0].read_bytes() if pages else b""

    async def samples(self, file: Path, flow: str) -> tuple[int, int]:
        """How many sample conversations of the shipped flow of that id were played, and their differences."""
        from bot.authoring import shelf

        shipped = shelf.find().samples / flow
        texts = sorted(shipped.rglob("*.txt")) if shipped.is_dir() else []
        if not texts:
            return 0, 0
        shutil.copytree(shipped, shelf.sample_folder(file))
        told = await self._run("rehearse", str(file))
        counts = re.search(r"(\d+) sample conversations played, (\d+) differences", told)
        return (int(counts[1]), int(counts[2])) if counts else (0, 0)

    async def changes(self, old: Path, new: Path) -> tuple[str, ...]:
        """How much is otherwise, then the first of it; without the places, which are of a folder here."""
        # Its talks, which come after the first empty line, are those of the other two commands.
        told = await self._run("compare", str(old), str(new), "--bikes", "1", upto="\n\n")
        head, *rest = told.partition("\n\n")[0].split("\n")
        lines: list[str] = []
        for line in rest:
            if line.startswith("    ") and lines:
                lines[-1] += f" {line.strip()}"
            elif line.strip():
                lines.append(line.strip())
        named = [re.sub(r"\s*\[[^\[\]]*:\d+\]$", "", line) for line in lines]
        counted = head.partition(": ")[2].strip()
        return (counted, *named[:CHANGES]) if counted else ()

    async def figures(self, file: Path, bikes: int) -> Mapping[str, Any]:
        told = await self._run("simulate", str(file), "--bikes", str(bikes), "--json")
        with contextlib.suppress(ValueError):
            figures: Mapping[str, Any] = json.loads(told)["figures"]
            return figures
        return {}

    async def _run(self, *told: str, upto: str = "") -> str:
        """What one `sumpline flow` command prints, `upto` a sign if there is one; "" when time ran out."""
        left = self.until - asyncio.get_running_loop().time()
        if left <= 0:
            self.late = True
            return ""
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-c", _ASIDE, str(int(left) + GRACE), "flow", *told,
            cwd=self.folder, env=_environment(), start_new_session=True,
            stdin=DEVNULL, stdout=PIPE, stderr=DEVNULL,
        )  # fmt: skip
        try:
            out = await asyncio.wait_for(_read(process, upto.encode()), left)
        except TimeoutError:
            self.late = True
            return ""
        finally:
            _kill(process)
            await _bury(process)
        return out.decode("utf-8", "replace")


async def _read(process: asyncio.subprocess.Process, upto: bytes) -> bytes:
    """All that a program prints; once it has printed what is wanted of it, it is ended."""
    assert process.stdout is not None
    got = b""
    while piece := await process.stdout.read(65_536):
        got += piece
        if upto and upto in got:
            _kill(process)
    await process.wait()
    return got


def _kill(process: asyncio.subprocess.Process) -> None:
    """End a program, with whatever it began itself."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)


async def _bury(process: asyncio.subprocess.Process) -> None:
    """Wait for the end of one that was killed, so that nothing that leads to it stays open.

    Also while we are told to end, and told so again: whoever ends us waits for it.
    """
    gone = asyncio.ensure_future(process.communicate())
    until = asyncio.get_running_loop().time() + BURIED_WITHIN
    while not gone.done() and (left := until - asyncio.get_running_loop().time()) > 0:
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.wait({gone}, timeout=left)


def _environment() -> dict[str, str]:
    """Ours, without what the settings hold: a trial needs no token."""
    given = {name: value for name, value in os.environ.items() if not name.startswith("SUMPLINE_")}
    home = str(Path(publishing.__file__).resolve().parents[1])
    paths = [home, *filter(None, [given.get("PYTHONPATH")])]
    return given | {"PYTHONPATH": os.pathsep.join(paths), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
