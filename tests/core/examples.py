"""Small troubleshooting problems with answers that can be worked out by hand.

C/P order: Kalagnanam and Henrion, "A comparison of decision analysis and expert rules for
sequential diagnosis" (UAI 4). Access in a tree: Ottosen and Jensen, "The cost of troubleshooting
cost clusters with inside information". Several independent faults: Srinivas (UAI 1995). Imperfect
checks: Blackwell's rule as stated by Chew (Ann. Math. Statist. 38(2), 1967). Batches: Stern, Kalech
and Shinitzky (AAAI 2016). All chances and minutes are invented.
"""

from __future__ import annotations

import numpy as np

from tests.core.exact import SmallAct, SmallCase, SmallFix

FITTING = 1000.0  # minutes of each mend where only the search before it matters


def one_fault(chances: list[float], fixes: list[SmallFix], **more: object) -> SmallCase:
    """Exactly one of the causes is there."""
    sets = tuple((cause,) for cause in range(len(chances)))
    return SmallCase(sets, np.array(chances), (), tuple(fixes), **more)  # type: ignore[arg-type]


def sure_look(cause: int, causes: int, minutes: float, need: int = 0) -> SmallAct:
    """A look that never errs."""
    there = np.arange(causes) == cause
    told = np.array([there, ~there], dtype=float)
    return SmallAct(minutes, told, need, looks=((cause, 1.0, 0.0),))


def searched(
    chances: list[float],
    minutes: list[float],
    needs: list[int] | None = None,
    opening: tuple[float, ...] = (),
) -> SmallCase:
    """Look until it is known which cause it is, then mend that one; nothing has to be closed."""
    count = len(chances)
    behind = needs or [0] * count
    looks = tuple(sure_look(c, count, minutes[c], behind[c]) for c in range(count))
    sets = tuple((cause,) for cause in range(count))
    closing = (0.0,) * len(opening)
    fixes = (SmallFix(FITTING),) * count
    return SmallCase(sets, np.array(chances), looks, fixes, opening, closing, session=1)


FLAT = one_fault([0.5, 0.3, 0.2], [SmallFix(10), SmallFix(3), SmallFix(5)], test_open=True)
FLAT_SEARCH = searched([0.5, 0.3, 0.2], [10, 3, 5])

TREE_CHANCES, TREE_MINUTES, TREE_NEEDS = [0.3, 0.4, 0.2, 0.1], [4.0, 1.0, 2.0, 1.0], [0, 1, 1, 0]
SMALL_TREE = one_fault(
    TREE_CHANCES,
    [SmallFix(minutes, need=need) for minutes, need in zip(TREE_MINUTES, TREE_NEEDS, strict=True)],
    opening=(6.0,),
    closing=(0.0,),
    test_open=True,
)
TREE_SEARCH = searched(TREE_CHANCES, TREE_MINUTES, TREE_NEEDS, (6.0,))

OIL, COVER, ENGINE, CASES = 1, 2, 4, 8
SEVEN = ("magnet", "filter", "plates", "basket", "pump", "gears", "bigend")
SEVEN_CHANCES = [0.04, 0.08, 0.25, 0.10, 0.06, 0.20, 0.27]
SEVEN_MINUTES = [5.0, 12.0, 15.0, 10.0, 20.0, 30.0, 5.0]
SEVEN_OPENING = (10.0, 30.0, 180.0, 240.0)


def seven_needs(cover: int, cases: int) -> list[int]:
    return [OIL, OIL, cover, cover, cover, cases, cases]


def seven_checks(cover: int, cases: int) -> SmallCase:
    """Seven suspects, found by mending; `cover` and `cases` say what comes off for them."""
    needs = seven_needs(cover, cases)
    fixes = [SmallFix(m, need=need) for m, need in zip(SEVEN_MINUTES, needs, strict=True)]
    return one_fault(
        SEVEN_CHANCES, fixes, opening=SEVEN_OPENING, closing=(0.0,) * 4, session=1, test_open=True
    )


def seven_search(cover: int, cases: int) -> SmallCase:
    """The same with looks, so that the last suspect need not be looked at."""
    return searched(SEVEN_CHANCES, SEVEN_MINUTES, seven_needs(cover, cases), SEVEN_OPENING)


IN_FRAME = (OIL | COVER, OIL | ENGINE | CASES)
ENGINE_OUT = (OIL | ENGINE | COVER, OIL | ENGINE | COVER | CASES)

TWO_FAULTS = SmallCase(
    ((0,), (1,), (0, 1)),
    np.array([0.6 * 0.7, 0.4 * 0.3, 0.6 * 0.3]),
    (),
    (SmallFix(10), SmallFix(4.5)),
    session=1,
)

# Looks that find .5, .9, .8 of what is there; with so many tries the tail is under 1e-6.
MISSING = one_fault(
    [0.6, 0.3, 0.1],
    [SmallFix(10, 0.5, tries=30), SmallFix(20, 0.9, tries=9), SmallFix(5, 0.8, tries=12)],
    session=1,
    hand_over=1000.0,
)


def batch(session: int = 0) -> SmallCase:
    """Three suspects behind one cover that must be closed to test."""
    fixes = [SmallFix(10, need=1)] * 3
    chances = [0.5, 0.3, 0.2]
    return one_fault(chances, fixes, opening=(25.0,), closing=(15.0,), proof=30.0, session=session)


# Name, case, and the minutes of mending to take off both prices.
EXAMPLES = (
    ("three suspects", FLAT, 0.0),
    ("three suspects, last inferred", FLAT_SEARCH, FITTING),
    ("small tree", SMALL_TREE, 0.0),
    ("small tree, last inferred", TREE_SEARCH, FITTING),
    ("seven, cover in frame", seven_checks(*IN_FRAME), 0.0),
    ("seven looks, cover in frame", seven_search(*IN_FRAME), FITTING),
    ("seven, engine out", seven_checks(*ENGINE_OUT), 0.0),
    ("seven looks, engine out", seven_search(*ENGINE_OUT), FITTING),
    ("two independent faults", TWO_FAULTS, 0.0),
    ("looks that miss", MISSING, 0.0),
    ("three behind one cover", batch(), 0.0),
)
