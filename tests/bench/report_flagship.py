"""Tables and verdicts of the flagship benchmark; numbers in, lines out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from bot.core.problem import Array
from tests.bench.played_bikes import Bill
from tests.bench.worlds_of_flow import UNLISTED, Wrong

PLANNER, GATED, FIXED = "planner", "author's order + gate", "best-tuned fixed order"
BELOW_FIXED = {"A": 20.0, "B": 10.0}  # per cent below the fixed order that the planner aims at
ABOVE_GATED = 1.0  # per cent above the gated order that the interval may reach
REOPENED = 8.0  # per cent of bikes on which something came off twice
BENT = 5.0  # per cent above the right numbers, with priors and links wrong
SURE = 1.96  # standard errors on each side of a 95 per cent interval


def spread(minutes: Array) -> dict[str, float]:
    """Mean with its standard error, and the 95th of 100 bikes."""
    error = float(minutes.std(ddof=1) / np.sqrt(len(minutes)))
    late = float(np.percentile(minutes, 95))
    return {"mean": round(float(minutes.mean()), 2), "error": round(error, 2), "p95": round(late, 1)}


def summary(bills: Sequence[Bill]) -> dict[str, float]:
    """One row of a table; shares are per cent of bikes."""

    def per_cent(name: str) -> float:
        return round(100 * float(np.mean([getattr(bill, name) for bill in bills])), 2)

    def mean(name: str) -> float:
        return round(float(np.mean([getattr(bill, name) for bill in bills])), 2)

    return spread(np.array([bill.minutes for bill in bills])) | {
        "fixed": per_cent("fixed"),
        "reopened": per_cent("reopened"),
        "for_running": per_cent("for_running"),
        "messages": mean("messages"),
        "repairs": mean("repairs"),
        "in_vain": mean("in_vain"),
    }


def paired(planner: Sequence[Bill], other: Sequence[Bill]) -> dict[str, float]:
    """The planner minus another policy on the same bikes: minutes and per cent, with a 95 % interval."""
    base = float(np.mean([bill.minutes for bill in other]))
    less = np.array([p.minutes - o.minutes for p, o in zip(planner, other, strict=True)])
    mean, half = float(less.mean()), SURE * float(less.std(ddof=1) / np.sqrt(len(less)))
    return {
        "mean": round(mean, 2),
        "half": round(half, 2),
        "per_cent": round(100 * mean / base, 3),
        "low": round(100 * (mean - half) / base, 3),
        "high": round(100 * (mean + half) / base, 3),
        "better": round(100 * float((less < -0.005).mean()), 1),
        "worse": round(100 * float((less > 0.005).mean()), 1),
    }


def by_cause(
    wrong: Sequence[Wrong], bills: Mapping[str, Sequence[Bill]], known: Array
) -> dict[str, dict[str, float]]:
    """Mean minutes by what was really wrong; two faults in one line."""
    groups: dict[str, list[int]] = {}
    for n, causes in enumerate(wrong):
        name = "(not listed)" if causes == UNLISTED else "(two faults)" if len(causes) > 1 else min(causes)
        groups.setdefault(name, []).append(n)
    found = {}
    for name, rows in sorted(groups.items(), key=lambda group: -len(group[1])):
        means = {
            who: round(float(np.mean([bills[who][n].minutes for n in rows])), 1)
            for who in (PLANNER, GATED, FIXED)
        }
        mended = round(100 * float(np.mean([bills[PLANNER][n].fixed for n in rows])))
        clear = round(float(known[rows].mean()), 1)
        found[name] = {"bikes": len(rows)} | means | {"clairvoyant": clear, "fixed": mended}
    return found


# --- printing ---------------------------------------------------------------------------------------


def show_rows(rows: Mapping[str, Mapping[str, float]]) -> None:
    heads = ("mean", "se", "p95", "fixed", "twice", "messages", "repairs", "in vain")
    print(f"{'policy':24s}" + "".join(f"{head:>9s}" for head in heads))
    for name, row in rows.items():
        first = f"{name:24s}{row['mean']:9.1f}{row['error']:9.1f}{row['p95']:9.0f}"
        if "fixed" not in row:
            print(first)
            continue
        shares = f"{row['fixed']:7.1f} %{row['reopened']:7.1f} %"
        print(f"{first}{shares}{row['messages']:9.1f}{row['repairs']:9.2f}{row['in_vain']:9.2f}")


def show_paired(rows: Mapping[str, Mapping[str, float]]) -> None:
    heads = f"{'minutes':>18s}{'per cent, 95 % interval':>34s}{'better':>9s}{'worse':>8s}"
    print(f"\n{'planner minus':24s}{heads}")
    for name, row in rows.items():
        minutes = f"{row['mean']:+.2f} +- {row['half']:.2f}"
        share = f"{row['per_cent']:+.2f} ({row['low']:+.2f} to {row['high']:+.2f})"
        print(f"{name:24s}{minutes:>18s}{share:>34s}{row['better']:7.1f} %{row['worse']:6.1f} %")


def show_causes(rows: Mapping[str, Mapping[str, float]]) -> None:
    heads = "".join(f"{head:>8s}" for head in ("planner", "gate", "fixed", "knows", "mended"))
    print(f"\n{'really wrong':28s}{'bikes':>6s}{heads}")
    for name, row in rows.items():
        means = "".join(f"{row[who]:8.0f}" for who in (GATED, FIXED, "clairvoyant"))
        print(f"{name:28s}{row['bikes']:6.0f}{row[PLANNER]:8.0f}{means}{row['fixed']:6.0f} %")


def show_robust(robust: Mapping[str, Any]) -> None:
    right = robust["right"]
    print(f"\nplanner with wrong numbers, {robust['bikes']} bikes; right numbers {right:.1f}")
    for name, means in robust["wrong"].items():
        off = [100 * (mean / right - 1) for mean in means]
        print(f"{name:24s}{np.mean(off):+7.2f} %  worst {max(off):+7.2f} % of {len(off)}")
    print(f"best-tuned fixed order with the right numbers {robust['fixed']:.1f}")


def show_frame(name: str, results: Mapping[str, Any]) -> None:
    tuned = results["tuned"]
    print(f"\n=== frame {name}; fixed order tuned to {tuned['threshold']:.0%}, limit {tuned['limit']:g} min")
    show_rows(results["policies"] | {"clairvoyant bound": results["clairvoyant"]})
    show_paired(results["paired"])
    show_causes(results["causes"])
    show_robust(results["robust"])
    print("\na cause that the flow does not have")
    show_rows(results["unknown"])
    print("\na rider for whom handing over costs 1200 minutes")
    show_rows(results["dearer"]["policies"] | {"clairvoyant bound": results["dearer"]["clairvoyant"]})


def verdicts(frames: Mapping[str, Any]) -> list[tuple[str, bool]]:
    """Each aim, what was found, and whether it was met."""
    found = []
    for name, results in frames.items():
        fixed, gated = results["paired"][FIXED], results["paired"][GATED]
        aim = BELOW_FIXED[name]
        text = f"frame {name}: {aim:.0f} % below the best-tuned fixed order: found {fixed['per_cent']:+.1f} %"
        found.append((text, fixed["per_cent"] <= -aim))
        high = gated["high"]
        text = f"frame {name}: order + gate, upper end below +{ABOVE_GATED:.0f} %: found {high:+.2f} %"
        found.append((text, high < ABOVE_GATED))
        if name == "A":
            found.append((f"frame A: order + gate, upper end below 0: found {high:+.2f} %", high < 0))
        twice = results["policies"][PLANNER]["reopened"]
        text = f"frame {name}: something taken off twice on at most {REOPENED:.0f} %: found {twice:.1f} %"
        found.append((text, twice <= REOPENED))
        off = 100 * (np.mean(results["robust"]["wrong"]["priors and links"]) / results["robust"]["right"] - 1)
        text = f"frame {name}: priors and links wrong, at most +{BENT:.0f} %: found {off:+.2f} %"
        found.append((text, bool(off <= BENT)))
    return found


def show_verdicts(frames: Mapping[str, Any]) -> None:
    print("\nmeasured against its own model, not against real bikes")
    for text, met in verdicts(frames):
        print(f"{'met    ' if met else 'NOT MET'} {text}")
