"""Small invented flows for the tests of the odds: one miniature by hand, and any number at random."""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

import numpy as np

from bot.core.chances import likelihood
from bot.core.family import Family
from bot.core.findings import (
    LOOKED,
    Answered,
    Finding,
    Looked,
    Marked,
    Stepped,
    Value,
    reading,
)
from bot.core.flow import Flow, Graded, Look, Note, Number, One, Several, Traits, fits, read
from bot.core.odds import Beliefs
from tests.core.oracle import UNLISTED


def flow_of(**parts: Any) -> Flow:
    """A flow with the parts given and the least of everything else."""
    head: dict[str, Any] = {
        "language": 1, "flow": "invented", "version": 1, "title": "An invented flow",
        "riders_say": ["it does something odd"], "hand_over": {"minutes": 600}, "unlisted": {"share": 10},
    }  # fmt: skip
    return read(head | parts)


def look(cause: str, catches: Any, **more: Any) -> dict[str, Any]:
    """A check with a good and a bad side for one cause."""
    good, bad = ({"label": side, "looks_like": side} for side in ("smooth", "rough"))
    finds = [{"cause": cause, "catches": catches, "false_alarm": more.pop("false_alarm", 0.005)}]
    return {"kind": "look", "ask": "Look at it.", "good": good, "bad": bad, "finds": finds} | more


def one(**answers: Mapping[str, Any]) -> dict[str, Any]:
    """A question with one true answer."""
    return {
        "kind": "one",
        "ask": "Which?",
        "answers": {k: {"label": k} | dict(a) for k, a in answers.items()},
    }


def yes_no(sign: str, **more: Any) -> dict[str, Any]:
    """A question that tells one sign."""
    return one(yes={"shows": [sign]}, no={"denies": [sign]}) | more


def several(marks: Mapping[str, Mapping[str, Any]], **more: Any) -> dict[str, Any]:
    """A question of any number of marks."""
    ticked = {name: {"label": name} | dict(mark) for name, mark in marks.items()}
    return {
        "kind": "several",
        "ask": "Which of these?",
        "marks": ticked,
        "none_of_these": {"label": "None"},
    } | more


def remedy(holds: Any, **more: Any) -> dict[str, Any]:
    """Work of one step."""
    return {"name": "Put it right", "steps": [{"do": "Put it right."}], "minutes": 30, "holds": holds} | more


def miniature(**changes: Any) -> Flow:
    """A clutch that drags, with a basket job that may go wrong. All numbers invented."""
    signs = {
        "drags": {"means": "creeps with the lever in", "background": "rarely", "changes": "each_look"},
        "grabs": {"means": "bites all at once", "background": "almost_never", "changes": "each_look"},
        "slips": {"means": "revs rise without pull", "background": "rarely", "changes": "each_look"},
        "silver-dust": {"means": "bright dust in the oil", "background": "seldom", "changes": "each_look"},
    }
    causes = {
        "basket-notched": {
            "name": "Basket fingers notched", "share": 40, "remedy": "dress-basket",
            "shows": {"drags": "usually", "silver-dust": "often"},
        },
        "cable-tight": {
            "name": "Cable has no play", "share": 25, "remedy": "set-cable", "shows": {"slips": "often"},
        },
        "plates-warped": {
            "name": "Plates warped", "share": 20, "remedy": "new-plates",
            "shows": {"drags": "usually", "slips": "seldom"},
        },
        "clutch-misassembled": {
            "name": "Clutch put together wrongly", "share": 5, "remedy": "reassemble-clutch",
            "shows": {"grabs": "usually", "drags": "half"},
        },
    }  # fmt: skip
    parts = {
        "signs": signs,
        "causes": causes,
        "questions": {
            "creep": yes_no("drags"),
            "bite": yes_no("grabs"),
            "slip": yes_no("slips"),
            "dust": yes_no("silver-dust"),
        },
        "checks": {"basket": look("basket-notched", "almost_always")},
        "remedies": {
            "dress-basket": remedy("usually", may_leave={"clutch-misassembled": "seldom"}),
            "set-cable": remedy("almost_always"),
            "new-plates": remedy("almost_always"),
            "reassemble-clutch": remedy("almost_always"),
        },
    }
    return flow_of(**(parts | changes))


def by_set(beliefs: Beliefs) -> dict[frozenset[str], float]:
    """P(set) by the names in it."""
    family = beliefs.family
    out = {}
    for k, row in enumerate(family.member):
        here = frozenset(c for c, there in zip(family.causes, row, strict=True) if there)
        out[UNLISTED if k == family.unlisted else here] = float(beliefs.weights[k]) / beliefs.total
    return out


def asked(ask: str, answer: str, seq: int = 1) -> Finding:
    return Finding(ask, Answered(answer), seq=seq)


# A clutch that creeps, bright dust in the oil, and the basket was looked at and found notched.
OPENING = (asked("creep", "yes", 1), asked("dust", "yes", 2), Finding("basket", Looked("bad"), LOOKED, 0, 3))


# --- at random ------------------------------------------------------------------------------


def _strength(rnd: random.Random, steps: int) -> Any:
    if not steps:
        return round(rnd.uniform(0.02, 0.98), 3)
    cut = sorted(rnd.randint(0, 100) for _ in range(steps - 1))
    return [b - a for a, b in zip([0, *cut], [*cut, 100], strict=True)]


def _signs(rnd: random.Random) -> dict[str, Any]:
    signs: dict[str, Any] = {}
    for name in [f"sign{k}" for k in range(6)]:
        signs[name] = {"means": name, "background": round(rnd.uniform(0.01, 0.4), 3), "changes": "each_look"}
    for name in ["much", "far"]:
        steps = ["a", "b", "c", "d"][: rnd.randint(2, 4)]
        signs[name] = {"means": name, "steps": steps, "changes": "each_look"}
        signs[name]["background"] = _strength(rnd, len(steps))
    return signs


def _cause(rnd: random.Random, name: str, share: float, signs: Mapping[str, Any]) -> dict[str, Any]:
    picked = rnd.sample(list(signs), rnd.randint(1, 5))
    shows = {s: _strength(rnd, len(signs[s].get("steps", ()))) for s in picked}
    return {"name": name, "share": share, "shows": shows, "alone": rnd.random() < 0.15}


def _some(rnd: random.Random, signs: list[str], answers: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for k in range(answers):
        told = {s: rnd.choice(["shows", "denies", ""]) for s in signs}
        out[f"a{k}"] = {
            "shows": [s for s, how in told.items() if how == "shows"],
            "denies": [s for s, how in told.items() if how == "denies"],
        }
    return out


def _asks(rnd: random.Random, signs: Mapping[str, Any], causes: list[str], overlap: bool) -> dict[str, Any]:
    """Five kinds of question. Without `overlap` each sign is told by one question only."""
    plain = [f"sign{k}" for k in range(6)]
    rnd.shuffle(plain)

    def part(a: int, b: int) -> list[str]:
        return rnd.sample(plain, b - a) if overlap else plain[a:b]

    steps = signs["far"]["steps"]
    ranges: list[dict[str, Any]] = [{"upto": 10.0 * (k + 1), "step": s} for k, s in enumerate(steps)]
    del ranges[-1]["upto"]
    low, high = part(4, 5), part(5, 6)
    return {
        "one": one(**_some(rnd, part(0, 2), rnd.randint(2, 4))) | {"slip": rnd.choice([0, 0.03, 0.2])},
        "several": several(
            {f"m{k}": {"shows": s} for k, s in enumerate(part(2, 4))}
            | {"look": {"finds": [{"cause": c, "catches": 0.8} for c in rnd.sample(causes, 1)]}},
            other_damage=overlap,
        ),
        "graded": {
            "kind": "graded", "ask": "How much?", "sign": "much",
            "classes": {f"g{s}": {"label": s} for s in signs["much"]["steps"]},
        },
        "span": {
            "kind": "number", "ask": "How far?", "sign": "far", "unit": "mm", "allowed": [0, 99],
            "ranges": ranges,
        },
        "range": {
            "kind": "number", "ask": "How hot?", "unit": "C", "allowed": [0, 99],
            "ranges": [{"upto": 20, "shows": low, "denies": high}, {"shows": high}],
        },
        "words": {"kind": "note", "ask": "Anything else?"},
    }  # fmt: skip


def random_flow(seed: int, overlap: bool = False, causes: int = 5) -> Flow:
    """A flow of up to five causes with every kind of question, some causes bound to a trait."""
    rnd = random.Random(seed)
    names = [f"cause{k}" for k in range(rnd.randint(2, causes))]
    signs, shares = _signs(rnd), [rnd.randint(5, 40) for _ in names]
    made = {
        n: _cause(rnd, n, round(90 * s / sum(shares), 2), signs) for n, s in zip(names, shares, strict=True)
    }
    for k, name in enumerate(names[1:], 1):
        if rnd.random() < 0.3:
            made[name]["only_when"] = {"starter": ["kick"]}
        if rnd.random() < 0.3:
            made[name]["share_if"] = {"starter": {"electric": rnd.randint(1, 30)}}
        made[name]["remedy"] = f"remedy{k % 2}"
    checks = {
        f"look{k}": look(n, round(rnd.uniform(0.3, 0.98), 2), other_damage=overlap or k == 0)
        for k, n in enumerate(names[:2])
    }
    left = {n: round(rnd.uniform(0.02, 0.4), 2) for n in rnd.sample(names, rnd.randint(0, 2))}
    starter = {"ask": "Starter?", "answers": {"kick": {"label": "Kick"}, "electric": {"label": "Button"}}}
    return flow_of(
        signs=signs,
        causes=made,
        questions=_asks(rnd, signs, names, overlap),
        checks=checks,
        traits={"starter": starter},
        remedies={
            "remedy0": remedy(0.8, may_leave=left, comes_back=0.2),
            "remedy1": remedy(0.6, comes_back=0.05),
        },
        paired=rnd.choice([2, 6, 20]),
    )


def random_value(flow: Flow, ask: str, rnd: random.Random) -> Value | None:
    """Any answer that may be given; None for a note."""
    match flow.asking(ask):
        case One() as q:
            return Answered(rnd.choice(list(q.answers)))
        case Several() as q:
            marks = [*q.marks, *(["other"] if q.other_damage else [])]
            return Marked(frozenset(m for m in marks if rnd.random() < 0.4))
        case Graded() as q:
            return Stepped(frozenset(rnd.sample(list(q.classes), rnd.randint(1, len(q.classes)))))
        case Number(sign=None) as q:
            return Answered(str(rnd.randrange(len(q.ranges))))
        case Number() as q:
            return Stepped(frozenset({str(rnd.choice(q.ranges).step)}))
        case Look() as q:
            return Looked(rnd.choice(["good", "bad", "other"] if q.other_damage else ["good", "bad"]))
        case Note():
            return None


def random_findings(flow: Flow, rnd: random.Random, start: int = 1, most: int = 8) -> tuple[Finding, ...]:
    """Each question at most once, with entries numbered from `start`."""
    asked = rnd.sample(list(flow.asks), min(len(flow.asks), rnd.randint(1, most)))
    told = ((ask, random_value(flow, ask, rnd)) for ask in asked)
    return tuple(Finding(a, v, 2, 0, start + k) for k, (a, v) in enumerate(told) if v is not None)


# --- true probabilities ---------------------------------------------------------------------


def random_sets(flow: Flow, traits: Traits, seed: int, sets: int = 200) -> Family:
    """Cause sets of any size from none up, and the row of what is not listed."""
    rnd = random.Random(seed)
    causes = [name for name, cause in flow.causes.items() if fits(cause.only_when, traits)]
    member = np.zeros((sets + 1, len(causes)), dtype=bool)
    for row in member[1:sets]:
        row[rnd.sample(range(len(causes)), rnd.randint(1, min(4, len(causes))))] = True
    return Family(tuple(causes), member, unlisted=sets)


def odd_sums(flow: Flow, traits: Traits | None = None, seed: int = 0) -> list[str]:
    """Every question, check and trait whose answers do not add up to 1 for some set of causes.

    For any flow: `assert odd_sums(flow) == []`. Answers are tried without anything known, and with
    one sign of the question known either way.
    """
    family = random_sets(flow, traits or {}, seed)
    weights = np.random.default_rng(seed).random(family.rows)
    wrong = []
    for ask in [*flow.asks, *(f"trait:{t}" for t in flow.traits)]:
        asked = reading(flow, ask)
        signs = asked.observables if asked else ()
        plain = [s for s in signs if s not in flow.signs or flow.signs[s].steps is None]
        for known in [{}, *({s: value} for s in plain for value in (True, False))]:
            table = likelihood(flow, family, ask, known, weights)
            exact = np.allclose(table.outcomes.sum(axis=0), 1.0, rtol=0, atol=1e-9)
            if not exact or (table.outcomes < 0).any() or len(table.labels) != len(table.outcomes):
                wrong.append(f"{ask} with {known}")
    return wrong
