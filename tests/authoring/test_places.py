"""Random flows with one random mistake each: it is reported on the line where it was made.

The flows are written out by a small writer of this file, which notes the line of every key; the
reader under test has no part in that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.authoring import load
from bot.authoring.problems import FlowError


@dataclass(eq=False)
class Pair:
    """One `key: value` of the file. `sort` is text, number, choice, kind, block or id."""

    key: str
    value: str | list[Pair]
    sort: str = "text"
    needed: bool = False
    line: int = 0
    above: Pair | None = None


def written(pairs: list[Pair], depth: int = 0, start: int = 1, above: Pair | None = None) -> list[str]:
    """The lines of a block; notes in each pair where it went."""
    lines: list[str] = []
    for pair in pairs:
        pair.line, pair.above = start + len(lines), above
        head = "  " * depth + pair.key + ":"
        if isinstance(pair.value, str):
            lines.append(f"{head} {pair.value}")
        else:
            lines.append(head)
            lines += written(pair.value, depth + 1, start + len(lines), pair)
    return lines


def every(pairs: list[Pair]) -> list[Pair]:
    return [p for pair in pairs for p in (pair, *every(pair.value if isinstance(pair.value, list) else []))]


# --- random flows -------------------------------------------------------------------------------------

words = st.lists(
    st.sampled_from(["wash", "nut", "look", "turn", "drain", "cold", "oil", "loose"]), min_size=1, max_size=5
)
text = words.map(lambda w: '"' + " ".join(w) + '"')
chance = st.sampled_from(["often", "seldom", "0.3", "usually"])


def maybe(draw: st.DrawFn, pair: Pair) -> list[Pair]:
    return [pair] if draw(st.booleans()) else []


def a_sign(draw: st.DrawFn, id: str) -> Pair:
    inside = [Pair("means", draw(text), needed=True), Pair("background", draw(chance), "chance", True)]
    inside += maybe(draw, Pair("changes", "each_look", "choice"))
    return Pair(id, inside, "id")


def an_answer(draw: st.DrawFn, id: str, shows: str) -> Pair:
    inside = [Pair("label", draw(text), needed=True), Pair("shows", f"[{shows}]", "list")]
    return Pair(id, draw(st.permutations(inside + maybe(draw, Pair("short", draw(text))))), "id")


def a_question(draw: st.DrawFn, id: str) -> Pair:
    answers = [an_answer(draw, f"a{n}", "s0") for n in range(draw(st.integers(2, 3)))]
    inside = [
        Pair("kind", "one", "kind"),
        Pair("ask", draw(text), needed=True),
        Pair("answers", answers, "block", True),
    ]
    inside += maybe(draw, Pair("minutes", "2", "number")) + maybe(draw, Pair("skill", "home", "choice"))
    return Pair(id, draw(st.permutations(inside)), "id")


def a_look(draw: st.DrawFn, id: str) -> Pair:
    side = [Pair("label", draw(text), needed=True), Pair("looks_like", draw(text), needed=True)]
    inside = [
        Pair("kind", "look", "kind"),
        Pair("ask", draw(text), needed=True),
        Pair("good", side, "block", True),
        Pair("bad", [Pair(p.key, p.value, p.sort, p.needed) for p in side], "block", True),
        Pair("finds", "[{cause: c0, catches: often}]", "list", True),
    ]
    return Pair(id, draw(st.permutations(inside)), "id")


def a_cause(draw: st.DrawFn, id: str) -> Pair:
    inside = [Pair("name", draw(text), needed=True), Pair("share", "10", "number", True)]
    inside += maybe(draw, Pair("hazard", [Pair("running", "wear", "choice")], "block"))
    return Pair(id, draw(st.permutations(inside)), "id")


@st.composite
def flows(draw: st.DrawFn) -> list[Pair]:
    def some(make: Callable[[st.DrawFn, str], Pair], letter: str, most: int) -> list[Pair]:
        return [make(draw, f"{letter}{n}") for n in range(draw(st.integers(1, most)))]

    hand_over = [Pair("minutes", "600", "number", True)]
    parts = [
        Pair("language", "1", "one", True),
        Pair("flow", "drawn", "name", True),
        Pair("version", "1", "number", True),
        Pair("title", draw(text), needed=True),
        Pair("riders_say", "[it ticks]", "list", True),
        Pair("hand_over", hand_over, "block", True),
        Pair("signs", some(a_sign, "s", 3), "block", True),
        Pair("questions", some(a_question, "q", 3), "block"),
        Pair("checks", some(a_look, "l", 2), "block"),
        Pair("causes", some(a_cause, "c", 3), "block", True),
        Pair("unlisted", [Pair("share", "20", "number", True)], "block", True),
    ]
    return draw(st.permutations(parts))


# --- mistakes --------------------------------------------------------------------------------------------

Reported = set[tuple[str, int]]


def reported(pairs: list[Pair], twice: Pair | None = None) -> Reported:
    lines = written(pairs)
    if twice:
        lines.insert(twice.line, "  " * depth_of(twice) + f"{twice.key}: again")
    try:
        load.load_text("\n".join(lines).encode())
    except FlowError as error:
        return {(p.code, p.line) for p in error.problems}
    return set()


def depth_of(pair: Pair) -> int:
    return 0 if pair.above is None else 1 + depth_of(pair.above)


def one_of(draw: st.DrawFn, pairs: list[Pair], *sorts: str) -> Pair:
    return draw(st.sampled_from([p for p in every(pairs) if p.sort in sorts]))


def owner(pairs: list[Pair], pair: Pair) -> list[Pair]:
    written(pairs)
    return pair.above.value if pair.above and isinstance(pair.above.value, list) else pairs


def misspell_key(draw: st.DrawFn, pairs: list[Pair]) -> tuple[Reported, str, int]:
    pair = one_of(draw, pairs, "text", "number", "choice", "block", "list", "chance")
    pair.key = draw(st.sampled_from([pair.key + "q", "z" + pair.key, pair.key[:-1] + "_"]))
    return reported(pairs), "F102", pair.line


def leave_out_key(draw: st.DrawFn, pairs: list[Pair]) -> tuple[Reported, str, int]:
    pair = draw(st.sampled_from([p for p in every(pairs) if p.needed]))
    above = owner(pairs, pair)
    above.remove(pair)
    if not above:  # an empty block is another mistake
        above.append(Pair("remark", "none"))
    found = reported(pairs)
    return found, "F101", pair.above.line if pair.above else 1


def change_type(draw: st.DrawFn, pairs: list[Pair]) -> tuple[Reported, str, int]:
    pair = one_of(draw, pairs, "text", "number", "block", "list")
    wrong, code = {
        "text": ("12", "F106"),
        "number": ("many", "F121" if pair.key == "version" else "F107"),
        "block": ("none", "F109"),
        "list": ("none", "F110"),
    }[pair.sort]
    pair.value = wrong
    return reported(pairs), code, pair.line


def change_kind(draw: st.DrawFn, pairs: list[Pair]) -> tuple[Reported, str, int]:
    pair = one_of(draw, pairs, "kind")
    pair.value = draw(st.sampled_from(["onee", "lok", "question"]))
    return reported(pairs), "F104", pair.line


def change_choice(draw: st.DrawFn, pairs: list[Pair]) -> tuple[Reported, str, int]:
    caution = Pair("springs", [Pair("signal", "danger", "choice"), Pair("say", "wait")], "id")
    pairs.append(Pair("cautions", [caution], "block"))
    pair = one_of(draw, pairs, "choice")
    pair.value = "sometimes-so"
    return reported(pairs), "F103", pair.line


def set_twice(draw: st.DrawFn, pairs: list[Pair]) -> tuple[Reported, str, int]:
    pair = draw(st.sampled_from([p for p in every(pairs) if isinstance(p.value, str)]))
    written(pairs)
    return reported(pairs, pair), "Y008", pair.line + 1


MISTAKES = (misspell_key, leave_out_key, change_type, change_kind, change_choice, set_twice)


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda m: m.__name__)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_one_mistake_is_reported_on_its_own_line(
    mistake: Callable[[st.DrawFn, list[Pair]], tuple[Reported, str, int]], data: st.DataObject
) -> None:
    pairs = data.draw(flows())
    found, code, line = mistake(data.draw, pairs)  # type: ignore[arg-type]
    assert (code, line) in found


@settings(max_examples=30, deadline=None)
@given(pairs=flows())
def test_a_flow_without_mistake_is_loaded(pairs: list[Pair]) -> None:
    assert reported(pairs) == set()
