"""Makes the 200 small random flows of the exact benchmark, solves them, and stores both.

    python -m tests.bench.generate            writes tests/bench/small_flows.json (minutes)

Ranges (minutes unless said): 5 or 6 causes, 4 to 17 of 100 bikes with two faults; 3 or 4 access
steps in a random tree; 6 to 8 acts, of which about four in ten are questions about several causes
and the rest looks at one cause behind some access; hand-over 250 to 1200, log-uniform. All numbers
are drawn with Python's own generator, whose stream is fixed, and rounded, so that the file can be
made again bit for bit. Nothing here is data from bikes.

The set is refused if it is too easy: see `refuse_easy`.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import math
import random
from pathlib import Path
from typing import Any

import numpy as np

from tests.core.exact import SmallAct, SmallCase, SmallFix, solve

HERE = Path(__file__).parent
STORED = HERE / "small_flows.json"
SOLVER = HERE.parent / "core" / "exact.py"
SEEDS = range(1, 201)
STRENGTHS = (0.98, 0.91, 0.77, 0.70, 0.50, 0.26)

Flow = dict[str, Any]


def sign_of(path: Path) -> str:
    """What the stored file says about the programs that made it."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _between(rng: random.Random, low: float, high: float, digits: int = 3) -> float:
    """Log-uniform, so that short and long jobs are equally at home, to a few digits."""
    value = math.exp(math.log(low) + rng.random() * math.log(high / low))
    return float(f"{value:.{digits}g}")


def _pick(rng: random.Random, count: int) -> int:
    return int(rng.random() * count)


def _odds(rng: random.Random, causes: int) -> list[float]:
    """Prior odds with the wanted share of two faults; a set weighs the product of its odds."""
    shape = [_between(rng, 0.1, 10.0) for _ in range(causes)]
    paired = 0.04 + 0.13 * rng.random()
    pairs = sum(one * other for one, other in itertools.combinations(shape, 2))
    scale = paired * sum(shape) / ((1 - paired) * pairs)
    return [float(f"{scale * odds:.4g}") for odds in shape]


def _access(rng: random.Random) -> list[dict[str, Any]]:
    steps: list[dict[str, Any]] = []
    for number in range(3 + _pick(rng, 2)):
        under = _pick(rng, number) if number and rng.random() < 0.5 else -1
        steps.append({"open": _between(rng, 5, 120), "close": _between(rng, 5, 120), "under": under})
    return steps


def _question(rng: random.Random, causes: int, unsure: bool) -> dict[str, Any]:
    links = {str(c): STRENGTHS[_pick(rng, 6)] for c in range(causes) if rng.random() < 0.5}
    links.setdefault(str(_pick(rng, causes)), STRENGTHS[_pick(rng, 6)])
    closed = rng.random() < 0.15
    minutes = _between(rng, 5, 20) if closed else _between(rng, 1, 5)
    asked: dict[str, Any] = {"links": links, "background": _between(rng, 0.02, 0.2), "minutes": minutes}
    return asked | {"closed_only": closed, "dont_know": 0.1 if unsure else 0.0}


def _look(rng: random.Random, cause: int, steps: int) -> dict[str, Any]:
    behind = _pick(rng, steps) if rng.random() < 0.8 else -1
    catches = round(0.8 + 0.18 * rng.random(), 3)
    alarm = _between(rng, 0.002, 0.03)
    minutes = _between(rng, 3, 30)
    return {"cause": cause, "catches": catches, "alarm": alarm, "minutes": minutes, "behind": behind}


def _fix(rng: random.Random, look_behind: int, steps: int) -> dict[str, Any]:
    """A remedy is mostly done where the cause is seen."""
    behind = look_behind if rng.random() < 0.7 else _pick(rng, steps + 1) - 1
    holds = round(0.77 + 0.21 * rng.random(), 3)
    return {"minutes": _between(rng, 15, 250), "holds": holds, "behind": behind}


def draw(seed: int) -> Flow:
    """One random flow as plain numbers."""
    rng = random.Random(seed)
    causes = 5 + _pick(rng, 2)
    acts = 6 + _pick(rng, 3)
    steps = _access(rng)
    questions = max(2, sum(rng.random() < 0.4 for _ in range(acts)))
    seen = sorted(range(causes), key=lambda _: rng.random())[: acts - questions]
    asks = [_question(rng, causes, unsure=number < 3 and rng.random() < 0.5) for number in range(questions)]
    looks = [_look(rng, cause, len(steps)) for cause in seen]
    behind = {look["cause"]: look["behind"] for look in looks}
    fixes = [_fix(rng, behind.get(cause, -1), len(steps)) for cause in range(causes)]
    flow: Flow = {"seed": seed, "odds": _odds(rng, causes), "access": steps}
    flow |= {"questions": asks, "looks": looks, "fixes": fixes}
    return flow | {"proof": _between(rng, 15, 40), "hand_over": _between(rng, 250, 1200)}


def _need(behind: int, access: list[dict[str, Any]]) -> int:
    """Access bits of a step with all that comes off before it."""
    need = 0
    while behind >= 0:
        need |= 1 << behind
        behind = access[behind]["under"]
    return need


def _told(shown: np.ndarray, dont_know: float) -> np.ndarray:
    rows = [(1 - dont_know) * shown, (1 - dont_know) * (1 - shown)]
    if dont_know:
        rows.append(np.full_like(shown, dont_know))
    return np.array(rows)


def _asked(question: dict[str, Any], sets: list[tuple[int, ...]]) -> SmallAct:
    silent = [1 - question["background"]] * len(sets)
    for row, causes in enumerate(sets):
        for cause in causes:
            silent[row] *= 1 - question["links"].get(str(cause), 0.0)
    told = _told(1 - np.array(silent), question["dont_know"])
    return SmallAct(question["minutes"], told, 0, question["closed_only"], question["dont_know"])


def _looked(look: dict[str, Any], sets: list[tuple[int, ...]], access: list[dict[str, Any]]) -> SmallAct:
    bad = np.array([look["catches"] if look["cause"] in causes else look["alarm"] for causes in sets])
    sees = ((look["cause"], look["catches"], look["alarm"]),)
    return SmallAct(look["minutes"], _told(bad, 0.0), _need(look["behind"], access), looks=sees)


def build(flow: Flow) -> SmallCase:
    """The flow as a case of the exact solver."""
    causes, access = len(flow["odds"]), flow["access"]
    sets = [s for size in (1, 2) for s in itertools.combinations(range(causes), size)]
    weights = np.array([math.prod(flow["odds"][cause] for cause in s) for s in sets])
    acts = [_asked(question, sets) for question in flow["questions"]]
    acts += [_looked(look, sets, access) for look in flow["looks"]]
    fixes = [SmallFix(f["minutes"], f["holds"], _need(f["behind"], access)) for f in flow["fixes"]]
    return SmallCase(
        sets=tuple(sets),
        weights=weights / weights.sum(),
        acts=tuple(acts),
        fixes=tuple(fixes),
        opening=tuple(step["open"] for step in access),
        closing=tuple(step["close"] for step in access),
        hand_over=flow["hand_over"],
        proof=flow["proof"],
    )


def refuse_easy(flows: list[Flow], fixed_ratio: float | None = None) -> None:
    """ValueError if the set would flatter any planner.

    Wanted: on average the optimum is between .5 and .75 of the hand-over; at most a quarter of the
    flows are best handed over at once; and, where `fixed_ratio` is given, the mean ratio of the
    fixed order that repairs at 70 per cent is at least 1.10.
    """
    shares = np.array([flow["optimum"] / flow["hand_over"] for flow in flows])
    at_once = float((shares > 1 - 1e-9).mean())
    if not 0.5 <= shares.mean() <= 0.75 or at_once > 0.25:
        raise ValueError(f"too easy: optimum/hand-over {shares.mean():.3f}, at once {at_once:.2f}")
    if fixed_ratio is not None and fixed_ratio < 1.10:
        raise ValueError(f"too easy: the fixed order at 70 per cent is only {fixed_ratio:.3f}")


def stored() -> list[Flow]:
    """The stored flows with their optima. Raises ValueError if the programs have changed since."""
    kept = json.loads(STORED.read_text(encoding="utf-8"))
    for name, path in (("generator", Path(__file__)), ("solver", SOLVER)):
        if kept[name] != sign_of(path):
            raise ValueError(f"{path.name} has changed: run python -m tests.bench.generate")
    flows: list[Flow] = kept["flows"]
    return flows


def main() -> None:
    """Draw, solve, check and store."""
    flows = []
    for seed in SEEDS:
        flow = draw(seed)
        case = build(flow)
        optimum = round(solve(case), 6)
        flows.append(flow | {"states": case.states, "optimum": optimum})
        print(f"{seed:4d} {case.states:10d} states {optimum:9.2f} of {case.hand_over:7.1f}", flush=True)
    refuse_easy(flows)
    lines = ",\n".join(json.dumps(flow) for flow in flows)
    heads = f'"generator": "{sign_of(Path(__file__))}",\n"solver": "{sign_of(SOLVER)}",\n'
    STORED.write_text("{" + heads + f'"flows": [\n{lines}\n]}}\n', encoding="utf-8")


if __name__ == "__main__":
    main()
