"""The planner on the flagship flow against the orders a mechanic would follow, bike by bike.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_flagship [--bikes N] [--frame A|B] [--quick] [--store]

All policies get the same invented bikes (see `worlds_of_flow.py`). Frame A: the clutch stands behind a
small outer cover. Frame B: the engine must come out for it. The fixed order mends the likeliest cause
once it is `threshold` likely and refuses looks of more than `limit` minutes; both are picked on one set
of bikes and the result is reported on another. `--store` keeps the results of a full run.

The numbers measure the planner against its own model, not against real bikes.
"""

from __future__ import annotations

import argparse
import os
import random
import time
from collections.abc import Mapping, Sequence
from multiprocessing import Pool
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes share two cores

import numpy as np

from bot.authoring import load
from bot.core.flow import Flow
from tests.bench import report_flagship as report
from tests.bench.frozen_flow import digest_of_numbers, digest_of_programs, store
from tests.bench.played_bikes import (
    Bill,
    Play,
    Policy,
    clairvoyant,
    fixed_order,
    hand_over_at_once,
    opening_first,
    opening_only,
    order_and_gate,
    planner_moves,
)
from tests.bench.played_flow import Garage, Planner
from tests.bench.worlds_of_flow import (
    FRAMES,
    Bike,
    Truth,
    bike_of,
    hidden_bike,
    links_off,
    minutes_off,
    priors_off,
)

FLOW = "metal-in-oil"
TUNING, REPORT, ROBUST, HIDDEN = "set 1", "set 2", "set 3", "set 4"  # seed sets share no bike
BIKES, TUNED_ON, FEWER, DRAWS, SAMPLE = 2000, 300, 300, 5, 40
THRESHOLDS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
# Minutes, message in: from the half-minute questions only to no limit. Less would ask nothing.
LIMITS = (2.5, 3.0, 4.0, 5.0, 10.0, 20.0, 40.0, 100.0, 200.0, 1e6)
FIRST, KEPT = 50, 12  # bikes that all of the grid meets, and orders that meet the rest
UNTUNED = "fixed order at 70 %"
FEWER_UNTUNED = 5  # one bike in five: each takes some eighty moves, and the difference is plain
DEARER = 1200.0  # minutes of a hand-over that costs "a few days"

Bills = list[Bill]
Order = tuple[float, float]  # threshold and limit of a fixed order


class Frame:
    """One flow, one frame, and the planner that knows both."""

    def __init__(self, flow: Flow, name: str, hand_over: float | None = None) -> None:
        self.name = name
        self.truth = Truth(flow, FRAMES[name])
        self.garage = Garage(flow, FRAMES[name], hand_over)
        self.planner = Planner(self.garage)

    def bikes(self, seeds: str, count: int) -> list[Bike]:
        return [bike_of(self.truth, seeds, n) for n in range(count)]

    def hidden(self, count: int) -> list[Bike]:
        return [hidden_bike(self.garage.flow, HIDDEN, n) for n in range(count)]

    def play(self, policy: Policy, bikes: list[Bike], planner: Planner | None = None) -> Bills:
        return [Play(self.garage, planner or self.planner, bike).run(policy) for bike in bikes]

    def believing(self, flow: Flow, hand_over: float | None = None) -> Planner:
        """A planner that thinks this flow is true."""
        return Planner(Garage(flow, FRAMES[self.name], hand_over))


def say(began: float, text: str) -> None:
    """Progress, while it runs."""
    print(f"[{time.perf_counter() - began:5.0f} s] {text}", flush=True)


# --- the parts of the benchmark, each for one frame in its own process ------------------------------


def tune(frame: Frame, count: int) -> dict[str, Any]:
    """The best fixed order of the grid, on the bikes that are for tuning only.

    All of the grid meets the first bikes; those that did best meet the rest.
    """
    grid = [(threshold, limit) for limit in LIMITS for threshold in THRESHOLDS]
    spent = _spend(frame, grid, range(min(count, FIRST)))
    rows = [[*key, round(minutes / min(count, FIRST), 1)] for key, minutes in spent.items()]
    best = sorted(grid, key=lambda key: (spent[key], key))[:KEPT]
    more = _spend(frame, best, range(min(count, FIRST), count))
    threshold, limit = min(best, key=lambda key: (spent[key] + more[key], key))
    mean = round((spent[threshold, limit] + more[threshold, limit]) / count, 1)
    return {"threshold": threshold, "limit": limit, "mean": mean, "bikes": count, "grid": rows}


def _spend(frame: Frame, grid: Sequence[Order], bikes: range) -> dict[Order, float]:
    """Minutes in all; bike by bike, so that orders that begin alike share what was worked out."""
    orders = {key: fixed_order(frame.planner, *key) for key in grid}
    spent = dict.fromkeys(grid, 0.0)
    for nth in bikes:
        for key, order in orders.items():
            bike = bike_of(frame.truth, TUNING, nth)
            spent[key] += Play(frame.garage, frame.planner, bike).run(order).minutes
    return spent


def policies(planner: Planner, threshold: float, limit: float) -> dict[str, Policy]:
    """Who plays, in the order of the table."""
    return {
        report.PLANNER: planner_moves(planner),
        report.GATED: order_and_gate(planner),
        report.FIXED: fixed_order(planner, threshold, limit),
        UNTUNED: fixed_order(planner, 0.7, LIMITS[-1]),
        "opening, then planner": opening_first(planner),
        "opening, no more asking": opening_only(planner),
        "hand over at once": hand_over_at_once(planner),
    }


def compare(frame: Frame, tuned: Mapping[str, Any], count: int, began: float) -> dict[str, Any]:
    """Every policy on the bikes that are reported."""
    bills: dict[str, Bills] = {}
    for name, policy in policies(frame.planner, tuned["threshold"], tuned["limit"]).items():
        bikes = frame.bikes(REPORT, count // FEWER_UNTUNED if name == UNTUNED else count)
        bills[name] = frame.play(policy, bikes)
        say(began, f"frame {frame.name}: {name}")
    bikes = frame.bikes(REPORT, count)
    known = np.array([clairvoyant(frame.garage, bike) for bike in bikes])
    return {
        "policies": {name: report.summary(rows) for name, rows in bills.items()},
        "clairvoyant": report.spread(known),
        "paired": {
            name: report.paired(bills[report.PLANNER][: len(rows)], rows)
            for name, rows in bills.items()
            if name != report.PLANNER
        },
        "causes": report.by_cause([bike.wrong for bike in bikes], bills, known),
        "sample": {
            name: [round(bill.minutes, 2) for bill in bills[name][:SAMPLE]]
            for name in (report.PLANNER, report.GATED, report.FIXED)
        },
    }


def wrong_models(flow: Flow, draw: int) -> dict[str, Flow]:
    """What the planner may believe instead of the truth."""
    priors = priors_off(flow, random.Random(f"priors {draw}"))
    links = links_off(flow, random.Random(f"links {draw}"))
    both = links_off(priors, random.Random(f"links {draw}"))
    minutes = minutes_off(flow, random.Random(f"minutes {draw}"))
    return {"priors": priors, "links": links, "priors and links": both, "minutes": minutes}


def bend(frame: Frame, tuned: Mapping[str, Any], count: int, draws: int, began: float) -> dict[str, Any]:
    """The planner with wrong numbers, on bikes that follow the right ones."""
    flow = frame.garage.flow
    right = _mean(frame.play(planner_moves(frame.planner), frame.bikes(ROBUST, count)))
    fixed = fixed_order(frame.planner, tuned["threshold"], tuned["limit"])
    found: dict[str, list[float]] = {}
    for draw in range(draws):
        for name, believed in wrong_models(flow, draw).items():
            planner = frame.believing(believed)
            bills = frame.play(planner_moves(planner), frame.bikes(ROBUST, count), planner)
            found.setdefault(name, []).append(_mean(bills))
        say(began, f"frame {frame.name}: wrong numbers, draw {draw + 1} of {draws}")
    for name, factor in (("hand-over / 2", 0.5), ("hand-over x 2", 2.0)):
        planner = frame.believing(flow, factor * flow.hand_over.minutes)
        found[name] = [_mean(frame.play(planner_moves(planner), frame.bikes(ROBUST, count), planner))]
    against = _mean(frame.play(fixed, frame.bikes(ROBUST, count)))
    return {"right": right, "fixed": against, "bikes": count, "wrong": found}


def _mean(bills: Bills) -> float:
    return round(float(np.mean([bill.minutes for bill in bills])), 2)


def meet_unknown(frame: Frame, tuned: Mapping[str, Any], count: int) -> dict[str, Any]:
    """Bikes with a cause that the flow does not have, and no repair for it."""
    picked = policies(frame.planner, tuned["threshold"], tuned["limit"])
    del picked[UNTUNED]
    return {name: report.summary(frame.play(policy, frame.hidden(count))) for name, policy in picked.items()}


def meet_dearer(flow: Flow, name: str, tuned: Mapping[str, Any], count: int) -> dict[str, Any]:
    """A rider for whom handing over costs twice as much, and says so."""
    frame = Frame(flow, name, DEARER)
    picked = policies(frame.planner, tuned["threshold"], tuned["limit"])
    del picked[UNTUNED]
    bills = {who: frame.play(policy, frame.bikes(ROBUST, count)) for who, policy in picked.items()}
    known = np.array([clairvoyant(frame.garage, bike) for bike in frame.bikes(ROBUST, count)])
    rows = {who: report.summary(rows) for who, rows in bills.items()}
    return {"policies": rows, "clairvoyant": report.spread(known)}


def run(asked: tuple[Flow, str, int, int, int, int]) -> tuple[str, dict[str, Any]]:
    """Everything about one frame. The flow is handed in: its file may change while this runs."""
    flow, name, count, tuned_on, fewer, draws = asked
    began = time.perf_counter()
    frame = Frame(flow, name)
    tuned = tune(frame, tuned_on)
    say(began, f"frame {name}: best fixed order {tuned['threshold']:.0%}, limit {tuned['limit']:g} min")
    results = compare(frame, tuned, count, began) | {"tuned": tuned}
    results["robust"] = bend(frame, tuned, fewer, draws, began)
    results["unknown"] = meet_unknown(frame, tuned, fewer)
    say(began, f"frame {name}: causes that the flow does not have")
    dearer = Frame(flow, name, DEARER)
    results["dearer"] = meet_dearer(flow, name, tune(dearer, tuned_on // 3), fewer)
    say(began, f"frame {name}: done")
    return name, results


def main() -> int:
    asked = argparse.ArgumentParser(description="the planner on the flagship flow")
    asked.add_argument("--bikes", "--worlds", type=int, default=BIKES)
    asked.add_argument("--frame", choices=sorted(FRAMES))
    asked.add_argument("--quick", action="store_true", help="few bikes, for a first impression")
    asked.add_argument("--store", action="store_true", help="keep the results of a full run")
    chosen = asked.parse_args()
    count = min(chosen.bikes, 100) if chosen.quick else chosen.bikes
    size = (count, 50, 50, 1) if chosen.quick else (count, TUNED_ON, FEWER, DRAWS)
    frames = [chosen.frame] if chosen.frame else sorted(FRAMES)
    flow = load.shipped(FLOW).flow
    before = digest_of_numbers(flow), digest_of_programs()
    with Pool(2) as pool:
        found = dict(pool.imap_unordered(run, [(flow, name, *size) for name in frames]))
    results = {name: found[name] for name in frames}
    for name in frames:
        report.show_frame(name, results[name])
    report.show_verdicts(results)
    if chosen.store and frames == sorted(FRAMES) and size == (BIKES, TUNED_ON, FEWER, DRAWS):
        seeds = {"tuning": TUNING, "report": REPORT, "robust": ROBUST, "hidden": HIDDEN}
        store({"seeds": seeds, "bikes": BIKES, "frames": results}, *before)
    elif chosen.store:
        print("not stored: only a full run of both frames is")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
