"""Leaf plans: what the rest of the job costs when no further question is asked.

A leaf plan is a plan that could be carried out as it stands, so its price is (but for the
approximations named below) an upper bound of the true remaining price:

* hand over: close what is open and pay the hand-over;
* repair: remedies in a fixed order. The first one, two or three share one session (open, mend,
  close, prove); later ones follow one by one from closed; what is left at the end is handed over.
  A session of none is the proof run alone, open only after a repair;
* sweep: look at one place after the other, mend what is found, hand over the rest. It is what
  makes a cover worth opening for several looks when no single one would pay;
* repair, then sweep: the first session of the best repair plan, and a sweep if that was not it.
  Without it a likely and cheap repair looks dearer than it is beside a look that can as well be
  taken after it failed.

Prices are *unnormalised*: mass times minutes. So the price after an act is the plain sum of the
prices of its outcomes, and nothing is ever divided by a vanishing chance.

All outcomes of all acts are priced at once. `Rows` stacks their weights into one (B, H) matrix;
from it come the marginals (B, C) and what each remedy solves by itself (B, remedies), each by one
matrix product. What two remedies solve only together is picked from the pair rows, and only for
the fifteen pairs among the best six; the (B, C, C) pair tensor is never built.

Approximations. A set of three causes (there are some after a repair) counts in the mass and in
the marginals, but no leaf plan solves it: it pays hand-over. The sweep follows marginals, not
pairs: the share in which a cause stands alone is taken at its start and kept; after a false alarm
or one fault of two it pays for opening everything again. The row of the unlisted cause pays
hand-over in every plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bot.core.problem import Array
from bot.core.tables import Rows, Tables, Whole

LONGEST = 6  # remedies a repair plan looks at
SESSION = 3  # remedies that may share one session
STOPS = 6  # looks a sweep makes at most
SAME = 9  # decimals to which two ranks are the same, so that rounding noise cannot reorder them
TIE = 6  # decimals to which prices are the same, for the same reason
MARGIN = (
    0.02  # minutes by which a sweep must be dearer than another plan to be given up: two cents are no tie
)
STILL = 0.8  # of the rows of a sweep: with fewer that still go the others are left behind
NEVER = 1e12  # minutes; not infinite, so that times a mass of nothing it is nothing


@dataclass(frozen=True, eq=False)
class Repairs:
    """Best repair plan of each row.

    `order`: remedies; `session` of them come first and take `minutes`, leaving the mass `left`;
    `length` of them are done in all.
    """

    price: Array
    order: Whole
    session: Whole
    length: Whole
    minutes: Array
    left: Array


@dataclass(frozen=True, eq=False)
class Sweeps:
    """Best sweep of each row: price, looks in order (B, steps), how many of them are made."""

    price: Array
    visits: Whole
    length: Whole


@dataclass(frozen=True, eq=False)
class Leaf:
    """All leaf plans of some rows."""

    hand_over: Array
    repairs: Repairs
    sweeps: Sweeps
    repair_sweep: Array

    @property
    def best(self) -> Array:
        prices = (self.hand_over, self.repairs.price, self.sweeps.price, self.repair_sweep)
        best: Array = np.min(prices, axis=0)
        return best


def price(tables: Tables, rows: Rows) -> Leaf:
    """Every leaf plan of every row; a sweep to its end only where it may still be the cheapest."""
    handed, repairs = hand_over(tables, rows), repair(tables, rows)
    slack = MARGIN * rows.total
    best = np.minimum(handed, repairs.price)
    sweeps = sweep(tables, _start(tables, rows), best + slack)
    best = np.minimum(best, sweeps.price)
    after, first = _start_mended(tables, rows, repairs), repairs.minutes * rows.total
    given = tables.problem.hand_over * after.left
    follow = np.minimum(sweep(tables, after, np.minimum(given, best - first) + slack).price, given)
    return Leaf(hand_over=handed, repairs=repairs, sweeps=sweeps, repair_sweep=first + follow)


def hand_over(tables: Tables, rows: Rows) -> Array:
    """(B,): close up and hand over."""
    closing = rows.open @ tables.covers.closing
    handed: Array = (tables.problem.hand_over + closing) * rows.total
    return handed


# --- repairs -------------------------------------------------------------------------------


def repair(tables: Tables, rows: Rows) -> Repairs:
    """Best repair plan of each row, over two orders, all session sizes and all lengths."""
    shut = tables.covers.shut(rows.open)
    longest = min(LONGEST, len(tables.fixes))
    ranks = np.round(_ranks(tables, shut, rows), SAME)
    order = np.argsort(-ranks, axis=2, kind="stable")[:, :, :longest]
    left = (rows.total - rows.gone)[None, :, None] - _solved_along(tables, order, rows)
    later = np.zeros_like(left)
    from_closed = _along(rows.work + tables.around, order)
    later[:, :, 1:] = np.cumsum(from_closed * left[:, :, :-1], axis=2)
    ends = later + tables.problem.hand_over * left
    best_end = np.minimum.accumulate(ends[:, :, ::-1], axis=2)[:, :, ::-1]
    minutes = _sessions(tables, order, shut, rows)
    sizes = minutes.shape[2]
    prices = minutes * rows.total[None, :, None] + best_end[:, :, :sizes] - later[:, :, :sizes]
    return _pick_repair(prices, order, ends, minutes, left)


def _ranks(tables: Tables, shut: Array, rows: Rows) -> Array:
    """(2, B, remedies): what a minute of each remedy mends from what is open, and solves from closed.

    With several independent faults the second is the right order: by odds, not by chance
    (Srinivas, UAI 1995), and the mass of a lone cause goes with its odds.
    """
    now = rows.work + tables.proof + shut @ (tables.fix_needs * tables.covers.both).T
    mended = rows.able * (rows.chance @ tables.mends) / np.maximum(now, 1e-6)
    return np.stack([mended, rows.solves / np.maximum(rows.work + tables.around, 1e-6)])


def _along(values: Array, order: Whole) -> Array:
    """Values of each remedy (B, remedies) in each of two orders (2, B, n)."""
    along: Array = np.take_along_axis(np.broadcast_to(values, (2, *values.shape)), order, axis=2)
    return along


def _solved_along(tables: Tables, order: Whole, rows: Rows) -> Array:
    """(2, B, n + 1): mass solved by the first 0, 1, ... n remedies of each order."""
    count = order.shape[2]
    first, second = np.triu_indices(count, 1)
    adds = np.zeros((len(first), count))
    adds[np.arange(len(first)), second] = 1.0
    able = _along(rows.able, order)
    both = tables.joint(rows, order[:, :, first], order[:, :, second])
    steps = (both * able[:, :, first] * able[:, :, second]) @ adds
    steps += _along(rows.solves, order)
    along = np.zeros((*order.shape[:2], count + 1))
    np.cumsum(steps, axis=2, out=along[:, :, 1:])
    return along


def _sessions(tables: Tables, order: Whole, shut: Array, rows: Rows) -> Array:
    """(2, B, sizes): minutes of a first session of 0, 1, 2, 3 remedies, closing and proof in."""
    count = min(SESSION, order.shape[2])
    closing = rows.open @ tables.covers.closing
    minutes = np.empty((*order.shape[:2], count + 1))
    minutes[:, :, 0] = closing + (tables.problem.proof if tables.may_prove else NEVER)
    needs = np.zeros((*order.shape[:2], len(tables.covers.both)))
    works = np.cumsum(_along(rows.work, order[:, :, :count]), axis=2)
    for size in range(1, count + 1):
        needs = np.maximum(needs, tables.fix_needs[order[:, :, size - 1]])
        proof = tables.proof[order[:, :, :size]].max(axis=2)
        minutes[:, :, size] = works[:, :, size - 1] + proof + closing + (needs * shut) @ tables.covers.both
    return minutes


def _pick_repair(prices: Array, order: Whole, ends: Array, minutes: Array, left: Array) -> Repairs:
    """The cheapest of both orders and all session sizes; ties go to the first."""
    rows, sizes = prices.shape[1], prices.shape[2]
    flat = np.moveaxis(prices, 1, 0).reshape(rows, -1)
    best = np.argmin(np.round(flat, TIE), axis=1)
    which, session = best // sizes, best % sizes
    number = np.arange(rows)
    reach = np.where(np.arange(ends.shape[2]) < session[:, None], NEVER, ends[which, number])
    return Repairs(
        price=flat[number, best],
        order=order[which, number],
        session=session,
        length=np.argmin(np.round(reach, TIE), axis=1),
        minutes=minutes[which, number, session],
        left=left[which, number, session],
    )


# --- sweeps --------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Start:
    """Where a sweep sets out: masses (B,), what mending each cause solves (B, C), what is open.

    `hold` (B, C) is the chance that a mend takes, 0 for a cause that is no longer to be mended.
    """

    left: Array
    gone: Array
    chance: Array
    solves: Array
    hold: Array
    open: Array
    asked: Whole


def _start(tables: Tables, rows: Rows) -> _Start:
    hold = np.broadcast_to(tables.hold, rows.chance.shape)
    solves = rows.alone * tables.hold
    return _Start(rows.total, rows.gone, rows.chance, solves, hold, rows.open, rows.asked)


def _start_mended(tables: Tables, rows: Rows, repairs: Repairs) -> _Start:
    """Where a sweep sets out after the first session of the best repair plan did not help.

    A pair of which one cause was mended is a lone cause now, as far as the mend took.
    """
    number = np.arange(len(rows.weights))
    done = np.zeros((len(number), len(tables.fixes)))
    freed = np.zeros_like(done)
    every = np.arange(len(tables.fixes))[None]
    for place in range(min(SESSION, repairs.order.shape[1])):
        inside = number[repairs.session > place]
        fix = repairs.order[inside, place]
        done[inside, fix] = 1.0
        freed[inside] += tables.joint(rows, fix[:, None], every, inside)
    still = 1.0 - done @ tables.belongs
    chance = rows.chance * still
    among = np.maximum(chance @ tables.belongs.T, 1e-300) @ tables.belongs
    solves = (
        rows.alone * tables.hold + (freed @ tables.belongs) * chance / np.maximum(among, 1e-300)
    ) * still
    none = np.zeros_like(rows.total)
    return _Start(repairs.left, none, chance, solves, tables.hold * still, rows.open * 0.0, rows.asked)


def sweep(tables: Tables, start: _Start, limit: Array) -> Sweeps:
    """Best sweep of each row: looks taken greedily, stopped where the price is least.

    What was paid never gets less, so a row in which it has passed `limit` (B,) goes no further: no longer
    sweep would be cheaper than what the limit was taken from. Its price is that of the looks till then.
    """
    steps = min(STOPS, len(tables.looks))
    prices = np.full((len(start.left), steps + 1), NEVER)
    visits = np.zeros((len(start.left), steps), dtype=np.intp)
    if not steps:
        return Sweeps(prices[:, 0], visits, visits.sum(axis=1))
    walk, number = _Walk(tables, start), np.arange(len(prices))
    for step in range(steps):
        walk.going &= walk.paid <= limit
        if np.count_nonzero(walk.going) < STILL * len(number):
            number, limit = number[walk.going], limit[walk.going]
            walk.leave_behind()
        if not len(number):
            break
        visits[number, step] = walk.visit()
        prices[number, step + 1] = np.where(walk.going, walk.price(), NEVER)
    length = np.argmin(np.round(prices, TIE), axis=1)
    return Sweeps(prices[np.arange(len(prices)), length], visits, length)


class _Walk:
    """One sweep of every row at once; each `visit` takes the next look of each row."""

    def __init__(self, tables: Tables, start: _Start) -> None:
        self.tables = tables
        self.left, self.gone, self.chance, self.hold = start.left, start.gone, start.chance, start.hold
        some = start.chance > 0
        solves = np.divide(start.solves, start.chance, out=np.zeros_like(start.chance), where=some)
        self.fails = 1 - start.hold
        self.leaves = solves + self.fails
        self.open = start.open
        self.fresh = np.ones((len(start.left), len(tables.looks)))
        for asked in start.asked.T:
            self.fresh[asked >= 0, asked[asked >= 0]] = 0.0
        self.paid = np.zeros(len(start.left))
        self.going = np.ones(len(start.left), dtype=bool)
        covers = tables.covers
        self.shut = covers.shut(self.open)

    def visit(self) -> Whole:
        """Each row's next look, by what a minute of it finds to mend."""
        tables, covers = self.tables, self.tables.covers
        finds = (self.chance * self.hold) @ tables.catches.T
        minutes = np.maximum(tables.look_minutes + self.shut @ tables.look_work, 1e-6)
        ranks = np.rint(finds / minutes * 10.0**SAME) * self.fresh
        pick: Whole = np.argmax(ranks, axis=1)
        number = np.arange(len(pick))
        self.going &= ranks[number, pick] > 0
        self.fresh[number, pick] = 0.0
        opened = tables.look_needs[pick] * self.shut
        self.open = np.maximum(self.open, opened)
        self.shut = covers.shut(self.open)
        self.paid += self.left * (tables.look_minutes[pick] + opened @ covers.opening)
        self._settle(tables.catches[pick], tables.alarms[pick])
        return pick

    def _settle(self, catches: Array, alarms: Array) -> None:
        """Pay for what the look says bad: mend, close, prove, and open again if that was not all."""
        tables, covers = self.tables, self.tables.covers
        found = self.chance * catches
        false = np.maximum(self.left[:, None] - self.chance, 0.0) * alarms
        closing = (self.open @ covers.closing)[:, None]
        mend = tables.fix_own + self.shut @ tables.fix_work + closing
        again = self.open @ covers.opening
        leaves = _over_causes(found, self.leaves)
        self.chance = self.chance - found
        found_false = found + false
        self.paid += false @ tables.fix_wasted
        self.paid += _over_causes(found_false, mend) + (found_false.sum(axis=1) - leaves) * again
        self.paid += _over_causes(found, self.fails) * tables.problem.hand_over
        self.left = self.left - leaves

    def leave_behind(self) -> None:
        """Go on with the rows that still go; the others have no further look to make."""
        going = self.going
        self.left, self.gone, self.paid = self.left[going], self.gone[going], self.paid[going]
        self.chance, self.hold, self.fails = self.chance[going], self.hold[going], self.fails[going]
        self.leaves, self.fresh = self.leaves[going], self.fresh[going]
        self.open, self.shut = self.open[going], self.shut[going]
        self.going = going[going]

    def price(self) -> Array:
        """What the sweep costs if it stops here; what is left may have gone already, after a repair."""
        tables = self.tables
        closing = self.open @ tables.covers.closing
        give = (tables.problem.hand_over + closing) * self.left
        if tables.may_prove:
            prove = (closing + tables.problem.proof) * self.left
            prove += tables.problem.hand_over * (self.left - self.gone)
            give = np.minimum(give, prove)
        full: Array = self.paid + give
        return full


def _over_causes(one: Array, other: Array) -> Array:
    """(B,): sum over causes of the product."""
    both: Array = np.einsum("bc,bc->b", one, other)
    return both
