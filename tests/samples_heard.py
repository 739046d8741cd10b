"""The sample conversations as they were played in this process: to hear one takes most of a second."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from bot.authoring import rehearse
from bot.authoring import stage as stages
from bot.authoring.play import Exchange, exchanges_of
from bot.authoring.stage import Stage
from bot.reports import text


@cache
def rehearsal() -> rehearse.Rehearsal:
    """The one rehearsal of this process; it keeps what it played."""
    return rehearse.Rehearsal(text.summary)


def end_of(path: Path) -> tuple[Stage, rehearse.Script, Exchange]:
    """The last exchange of a sample: of when it was rehearsed, else played now.

    Played now it is not saved and restored at each turn: that is what the rehearsal tests.
    """
    script = rehearse.read(path)
    stage = rehearsal().stage(script)
    heard = (p for plays in rehearsal().plays.values() for p in plays if p.script.file == script.file)
    if (before := next(heard, None)) is not None:
        return stage, script, before.exchanges[-1]
    return stage, script, list(exchanges_of(script, stage, stages.begin(script, stage)))[-1]
