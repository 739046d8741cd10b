"""What must hold of the flow about metal in the oil whatever a rider answers.

Urgency means the stop rules that stand and what they bar, from signs only; it is no probability, and
what the odds refuse on top is left out of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.core import plan, stops
from bot.core.events import Entry, StopLifted, StopRaised
from bot.core.findings import Answered, Finding, History, Looked, Marked, Stepped, Value
from bot.core.flow import Figure, Graded, Look, Number, One, Several
from bot.core.odds import posterior
from bot.core.phrases import figure_lines
from bot.core.reasons import suspects
from bot.core.state import State, apply
from tests.core.chat import wording
from tests.flows.flagship import BIKE, FORMS, Talk, Told, answer, bars, case, flow, talk
from tests.flows.test_metal_in_oil import FINE, to_rest

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
TELLING = tuple(id for id, ask in flow().asks.items() if ask.kind in FORMS)
NO_WORK = tuple(id for id in TELLING if id in flow().questions)


def values(id: str) -> st.SearchStrategy[tuple[str, ...]]:
    """Any answer to a question or check; of a number the range that it falls into."""
    ask = flow().asking(id)
    match ask:
        case Several():
            return st.lists(st.sampled_from(list(ask.marks)), max_size=3, unique=True).map(tuple)
        case Look():
            return st.sampled_from([("good",), ("bad",)])
        case Number():
            return st.sampled_from([(str(n),) for n in range(len(ask.ranges))])
        case One():
            return st.sampled_from([(x,) for x in ask.answers])
        case Graded():
            return st.sampled_from([(x,) for x in ask.classes])
    raise AssertionError(id)


def answers(among: Iterable[str] = TELLING, most: int = 8) -> st.SearchStrategy[Told]:
    """Answers to a few of these."""
    ids = st.lists(st.sampled_from(list(among)), max_size=most, unique=True)
    return ids.flatmap(lambda found: st.fixed_dictionaries({id: values(id) for id in found}))


def conditions() -> Iterator[str]:
    """What the stop rules speak of: signs, and checks by their results."""
    for rule in flow().stop_rules.values():
        for found in (*rule.when.all, *rule.when.any, *rule.when.unless):
            yield (found if isinstance(found, str) else next(iter(found))).partition(".")[0]


RULING = tuple(id for id in TELLING if {id, *plan.signs_told(flow(), id)} & set(conditions()))


def ruling(among: Iterable[str] = RULING) -> st.SearchStrategy[Told]:
    """Answers to the questions and checks that stop rules rest on: two at most, or any number.

    Among many answers there is nearly always one that bars all, and hides what the others bar.
    """
    ids = [id for id in among if id in RULING]
    return answers(ids, most=2) | st.fixed_dictionaries({}, optional={id: values(id) for id in ids})


# --- stops outrank all else ---------------------------------------------------------------------------


def grown(state: State, event: object) -> State:
    entry = Entry(state.next_seq, "2026-05-04T10:00:00Z", "rider", "rider", event)
    return apply(state, entry)


def answered(state: State, id: str, value: tuple[str, ...]) -> State:
    """An answer, with the stops that it raises and lifts."""
    state = grown(state, answer(id, value))
    for rule, by in stops.cleared(flow(), state):
        state = grown(state, StopLifted(rule=rule, by=by))
    for rule, because in stops.newly_true(flow(), state):
        state = grown(state, StopRaised(rule=rule, bars=flow().stop_rules[rule].bars, because=because))
    return state


def good(id: str, value: tuple[str, ...]) -> bool:
    """Whether it is a look at the bike that found nothing wrong."""
    return id in flow().checks and value in ((), ("good",))


@given(st.lists(st.sampled_from(TELLING).flatmap(lambda id: st.tuples(st.just(id), values(id))), max_size=12))
def test_no_answer_lifts_a_stop_unless_a_look_that_it_names_was_good(
    told: list[tuple[str, tuple[str, ...]]],
) -> None:
    state = case({})
    for id, value in told:
        before = {stop.rule for stop in state.standing}
        state = answered(state, id, value)
        gone = before - {stop.rule for stop in state.standing}
        assert not gone or good(id, value)
        for rule in gone:
            named = flow().stop_rules[rule].cleared_by
            assert f"{id}.good" in (*named.any, *named.all)


@settings(max_examples=25)
@given(answers(NO_WORK))
def test_nothing_that_a_stop_bars_is_advised_however_the_odds_stand(told: Told) -> None:
    state = case(FINE)
    for id, value in told.items():
        state = answered(state, id, value)
    advice = plan.advise(talk().desk(), flow(), state, NOW)
    if state.bars:
        assert advice.kind not in ("watch", "proof")
    if "running" in state.bars and advice.kind == "ask":
        assert flow().asking(advice.id).needs == "nothing"
    here = plan.limits(flow(), state, NOW)
    assert state.bars <= here.bars
    if "running" in state.bars:
        running = [id for id, ask in flow().asks.items() if ask.needs != "nothing"]
        assert running
        assert all(plan.obstacle(flow(), state, here, id) == "running" for id in running)


@settings(max_examples=20)
@given(st.sampled_from(sorted(flow().stop_rules)), st.data())
def test_a_stop_stands_over_every_question_and_every_step(rule: str, data: st.DataObject) -> None:
    chat = Talk(flow())
    chat.say("metal in the oil")
    event = StopRaised(rule=rule, bars=flow().stop_rules[rule].bars, because=())
    chat.state = grown(chat.state, event)
    for _ in range(data.draw(st.integers(1, 6))):
        chat.press("control:not_sure") if chat.asked[0] != "bike" else chat.say("Goat")
        assert "Still standing: " in chat.messages[-1].text
        assert rule in chat.stops


# --- more, bigger, worse ------------------------------------------------------------------------------

AMOUNTS = tuple(flow().asking("amount").classes)


@settings(max_examples=300)
@given(ruling())
def test_more_metal_is_never_less_urgent(told: Told) -> None:
    by_amount = [bars(told | {"amount": (grade,)}) for grade in AMOUNTS]
    assert all(less <= more for less, more in pairwise(by_amount))


@settings(max_examples=300)
@given(ruling())
def test_a_rise_is_never_less_urgent(told: Told) -> None:
    calm = bars(told | {"trend": ("less",)})
    assert calm <= bars(told | {"trend": ("same",)}) <= bars(told | {"trend": ("rising",)})
    worse = bars(told | {"second-look": ("worse",)})
    assert bars(told | {"second-look": ("not-worse",)}) <= worse == {"running", "riding"}


@settings(max_examples=300)
@given(ruling())
def test_bigger_steel_is_never_less_urgent_than_the_same_steel_in_small_bits(told: Told) -> None:
    steel = told | {"magnet": ("all",)}
    assert bars(steel | {"steel-size": ("small",)}) <= bars(steel | {"steel-size": ("big",)})


@settings(max_examples=300)
@given(ruling(), st.data())
def test_a_form_more_among_the_pieces_is_never_less_urgent(told: Told, data: st.DataObject) -> None:
    marks = list(flow().asking("kinds").marks)
    fewer = data.draw(st.lists(st.sampled_from(marks), unique=True))
    more = [*fewer, *(m for m in data.draw(st.lists(st.sampled_from(marks), unique=True)) if m not in fewer)]
    assert bars(told | {"kinds": tuple(fewer)}) <= bars(told | {"kinds": tuple(more)})


# Forms from harmless to worst, each as the answers that tell it. All from hard plastic on are a stop.
MILD: tuple[Told, ...] = (
    {"kinds": ()},
    {"kinds": ("curl",), "plug-and-hole": ("curl-matches",)},
    {"kinds": ("flakes",)},
    {"kinds": ("slivers",), "steel-size": ("small",)},
    {"kinds": ("plastic",), "plastic-kind": ("rubber",)},
)
WORST: tuple[Told, ...] = (
    {"kinds": ("plastic",), "plastic-kind": ("hard",)},
    {"kinds": ("chunk",)},
    {"kinds": ("slivers",), "steel-size": ("splinters",)},
    {"kinds": ("smear",), "spoon-test": ("solder",)},
    {"kinds": ("grains",), "spoon-test": ("metal",)},
)
# Flakes with smoke, hairs with a gearbox that jumps, and anything cut after clutch work are worse together
# than a worse form without them: there forms are compared by what is added, above, not by what is swapped.
BESIDE = (
    "amount",
    "magnet",
    "trend",
    "where-found",
    "cover-open",
    "clutch-feel",
    "noises",
    "history",
    "colour",
)


@settings(max_examples=300)
@given(ruling(BESIDE))
def test_a_worse_form_is_never_less_urgent(told: Told) -> None:
    by_form = [bars(told | form) for form in MILD]
    assert all(milder <= worse for milder, worse in pairwise(by_form))


@settings(max_examples=300)
@given(ruling(), st.sampled_from(WORST), values("kinds"))
def test_the_worst_forms_are_a_stop_whatever_else_is_told(
    told: Told, form: Told, also: tuple[str, ...]
) -> None:
    """But for the two excuses that the flow knows: a starter in trouble, and a curl that fits the plug."""
    starter = {"starting": tuple(m for m in told.get("starting", ()) if m != "clank")}
    told = {k: v for k, v in told.items() if k != "plug-and-hole"} | starter
    kinds = tuple(dict.fromkeys((*form["kinds"], *also)))
    assert bars(told | form | {"kinds": kinds}) == {"running", "riding"}


# --- what the magnet says -----------------------------------------------------------------------------


def finding(ask: str, value: tuple[str, ...], seq: int) -> Finding:
    kind = flow().asking(ask).kind
    told: Value
    if kind == "several":
        told = Marked(frozenset(value))
    elif kind == "graded":
        told = Stepped(frozenset(value))
    else:
        told = Looked(value[0]) if kind == "look" else Answered(value[0])  # type: ignore[arg-type]
    return Finding(ask, told, seq=seq)


def chance(told: Told, cause: str, traits: dict[str, str]) -> float:
    """P(cause) after these answers."""
    steps = tuple(finding(ask, value, n) for n, (ask, value) in enumerate(told.items(), 1))
    return posterior(flow(), traits, History(steps)).of(cause)


MAGNETS = tuple(flow().asking("magnet").answers)
ALUMINIUM = "basket-or-hub-notched"


@pytest.mark.parametrize("basket", ["", "aluminium"])
def test_steel_is_the_rarest_thing_that_an_aluminium_basket_sheds(basket: str) -> None:
    links = {c: cause.shows.get("magnetic-pieces") for c, cause in flow().causes.items()}
    assert None not in links.values()
    assert all(links[ALUMINIUM] < link for c, link in links.items() if c != ALUMINIUM)
    traits = BIKE | ({"basket": basket} if basket else {})
    before = chance({}, ALUMINIUM, traits)
    assert chance({"magnet": ("all",)}, ALUMINIUM, traits) < before
    assert chance({"magnet": ("none",)}, ALUMINIUM, traits) > before


@settings(max_examples=30)
@given(answers(BESIDE, most=4).map(lambda t: {k: v for k, v in t.items() if k not in ("magnet", "colour")}))
def test_pieces_that_all_cling_never_raise_an_aluminium_basket(told: Told) -> None:
    traits = BIKE | {"basket": "aluminium"}
    assert chance(told | {"magnet": ("all",)}, ALUMINIUM, traits) <= chance(told, ALUMINIUM, traits)


def test_a_steel_basket_hardly_ever_notches() -> None:
    aluminium, steel = (chance({}, ALUMINIUM, BIKE | {"basket": b}) for b in ("aluminium", "steel"))
    assert steel == pytest.approx(aluminium / 5, rel=0.1)


@pytest.mark.parametrize("cause", ["piston-ring-or-bore", "starter-drive"])
@settings(max_examples=20)
@given(told=answers(NO_WORK, most=4))
def test_pieces_that_do_not_cling_never_remove_bore_scale_or_the_starter_drive(
    cause: str, told: Told
) -> None:
    told = {k: v for k, v in told.items() if k != "magnet"}
    before, after = (chance(told | more, cause, BIKE) for more in ({}, {"magnet": ("none",)}))
    assert after > before / 10
    state = case(told | {"magnet": ("none",)})
    assert suspects(flow(), state)[cause].standing != "ruled-out"


# --- figures ------------------------------------------------------------------------------------------


def figures() -> Iterator[Figure]:
    for holder in (*flow().asks.values(), *flow().access.values(), *flow().remedies.values()):
        yield from holder.figures


MARKS = ("source: ", "borrowed from another machine: ", "common practice, no source")


@pytest.mark.parametrize("figure", list(figures()), ids=lambda f: f.what)
def test_every_figure_carries_its_mark_when_it_is_shown(figure: Figure) -> None:
    for units in ("metric", "imperial", "both"):
        line, manual = figure_lines(wording(), flow(), (figure,), units)  # type: ignore[arg-type]
        assert sum(mark in line for mark in MARKS) == 1
        assert manual == "Your manual outranks every figure here."
        if figure.basis != "practice":
            assert figure.source is not None
            assert flow().sources[figure.source].title in line


def test_what_is_borrowed_is_said_to_be_borrowed() -> None:
    for rule in flow().stop_rules.values():
        if rule.basis == "borrowed":
            said = f"{rule.say} {rule.why}".casefold()
            assert "borrowed" in said or "in aircraft practice" in said, rule.say
    for plan_of_looks in flow().second_looks.values():
        if plan_of_looks.basis == "borrowed":
            assert "borrowed from aircraft practice" in plan_of_looks.say.casefold(), plan_of_looks.say


def texts(node: object) -> Iterator[str]:
    if isinstance(node, str):
        yield node
    elif isinstance(node, dict):
        for part in node.values():
            yield from texts(part)
    elif isinstance(node, list):
        for part in node:
            yield from texts(part)


TORQUE = re.compile(r"\d\s*(N[·.]?m|lbf?[·. ]?(ft|in)|ft[·. ]?lbs?)\b", re.IGNORECASE)


def test_no_torque_hides_in_a_sentence_where_it_would_have_no_mark() -> None:
    spoken = flow().model_dump(mode="json", exclude={"sources"})
    assert [text for text in texts(spoken) if TORQUE.search(text)] == []


@pytest.mark.parametrize("figure", [f for f in figures() if f.unit == "N·m"], ids=lambda f: f.what)
def test_a_torque_says_its_thread_its_state_and_that_the_manual_outranks_it(figure: Figure) -> None:
    line, manual = figure_lines(wording(), flow(), (figure,), "metric")
    assert re.search("left-hand thread|right-hand thread|thread direction", line, re.IGNORECASE)
    assert re.search("dry|oiled|thread locker", line)
    assert "N·m (" in line
    assert "lbf·ft)" in line
    assert "manual outranks" in manual


# --- what the odds may not refuse (D8) ----------------------------------------------------------------


def test_a_bike_that_is_running_in_reaches_its_second_look() -> None:
    told = FINE | {"recent-work": ("oil", "new"), "magnet": ("some",), "colour": ("silver",)}
    chat = to_rest(talk(), told, "second_look")
    assert chat.asked == ("second_look", "next-change")


def test_a_curl_of_the_drain_plugs_thread_reaches_its_second_look() -> None:
    told = FINE | {"recent-work": ("oil",), "kinds": ("curl",), "plug-and-hole": ("curl-matches",)}
    chat = to_rest(talk(), told, "second_look")
    assert chat.asked[0] == "second_look"
    assert chat.stops == set()


def test_a_loose_nut_that_was_put_right_reaches_its_second_look() -> None:
    told = FINE | {
        "kinds": ("flakes",), "magnet": ("some",), "noises": ("clack",), "amount": ("some",),
        "main-cover": ("primary-nut",), "clutch-pack": (),
    }  # fmt: skip
    chat = to_rest(
        talk(**{"clutch-cover-access": "main"}),
        told,
        "second_look",
        words="metal in oil, primary nut is loose",
    )
    assert [mended.remedy for _, mended in chat.state.mended] == ["refit-primary-nut"]
    assert chat.asked == ("second_look", "after-nut")
    assert chat.stops == set()
