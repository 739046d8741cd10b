"""How long `sumpline chat` takes to its first line, as a ratio to importing the libraries alone.

Both are measured in turns, in processes of their own, so that a busy machine slows both alike. All
modules are compiled before, as they are once the package is installed.
Aim: at most 1.5 with a record that is there already. Run: python -m tests.bench.bench_start
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time

RUNS = 7
AIM = 1.5
# pydantic brings in its own modules only when a name of it is used, so the names that we use stand here.
LIBRARIES = """
import numpy, yaml, sqlite_utils
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter
print('ready')
"""


def first_line(command: list[str], environment: dict[str, str]) -> float:
    """Seconds from starting a program to its first line of output; the program is then let end."""
    began = time.perf_counter()
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    ) as program:
        assert program.stdout is not None
        line = program.stdout.readline()
        took = time.perf_counter() - began
        program.communicate("")
    if not line.strip() or program.returncode:
        raise SystemExit(f"{command} said nothing, or ended with status {program.returncode}")
    return took


def _environment(folder: str, record: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "SUMPLINE_DB": f"{folder}/{record}.db", "PYTHONPYCACHEPREFIX": f"{folder}/compiled"}


def measure(runs: int = RUNS) -> dict[str, list[float]]:
    """Seconds of each run of the libraries, of a first start, and of a later one."""
    took: dict[str, list[float]] = {"libraries alone": [], "chat, new record": [], "chat, record there": []}
    bare = [sys.executable, "-c", LIBRARIES]
    talk = [sys.executable, "-m", "bot.cli", "chat"]
    with tempfile.TemporaryDirectory() as folder:
        there = _environment(folder, "there")
        first_line(bare, there)
        first_line(talk, there)
        for run in range(runs):
            took["libraries alone"].append(first_line(bare, there))
            took["chat, new record"].append(first_line(talk, _environment(folder, str(run))))
            took["chat, record there"].append(first_line(talk, there))
    return took


def main() -> None:
    took = measure()
    base = statistics.median(took["libraries alone"])
    print(f"{'to the first line':<22}{'median ms':>10}{'fastest':>9}{'slowest':>9}{'ratio':>7}")
    for name, times in took.items():
        middle = statistics.median(times)
        shown = "".join(f"{1000 * t:>{w}.0f}" for t, w in ((middle, 10), (min(times), 9), (max(times), 9)))
        print(f"{name:<22}{shown}{middle / base:>7.2f}")
    print(f"aim: chat, record there, at most {AIM}; {RUNS} runs of each, in turns")


if __name__ == "__main__":
    main()
