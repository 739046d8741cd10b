"""How much may be found before somebody looks for its source; beyond that a line of the book asks for a case.

Borrowed from aircraft and helicopters, for want of any for these engines: the same limits as in the flow
about metal in the oil, which asks what a line of the book does not tell. What broke off and what is
granular outranks all of them, at any number (`book_entries.Find.chunk`, `bookkeeping.HARD`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

from bot.core.book_entries import Find

# A piston engine maker's service instruction: up to 20 small pieces or 10 short steel hairs, look again
# soon. US Army TM 1-1500-204-23-1: up to 20 thin flakes of steel stay in.
PIECES = 20
HAIRS = 10
# US Army TM 1-1520-238-23, task 6.25: more than ten steel flakes of 1/16 by 1/16 in take a gearbox out.
LARGE = 10
LARGE_MM = 25.4 / 16

Past = Literal["pieces", "hairs", "large", "white"]


def past_limit(found: Sequence[Find]) -> Past | None:
    """Which limit a find is past for certain, the gravest of them; None when it is past none.

    Of an open count ("over 20", "a pinch") the least that it can be counts. `biggest` is told of one
    piece only, so that "large" says no more than that there may be more than ten of them.
    """
    if any(find.form == "smear" and find.metal == "white" and _least([find]) for find in found):
        return "white"
    if any(_is_steel(find) and (find.biggest or 0) >= LARGE_MM and _least([find]) > LARGE for find in found):
        return "large"
    if _least(find for find in found if find.form == "hair") > HAIRS:
        return "hairs"
    return "pieces" if _least(found) > PIECES else None


def _is_steel(find: Find) -> bool:
    return find.magnet in ("magnetic", "mixed") or find.metal == "steel"


def _least(found: Iterable[Find]) -> int:
    return sum(find.count[0] + (find.count[1] is None) for find in found)
