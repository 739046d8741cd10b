"""The flow about heat and coolant against what is published, and against what a mechanic would say first.

Published figures are typed in here from the sources named beside them. Steam pressure comes from Antoine's
equation, which shares nothing with the flow. What has no source says so.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.authoring import lint, load, shelf
from bot.authoring.rules.safety import steps_spoken
from bot.core import plan, stops
from bot.core.flow import Figure, Graded, Look, Number, Several
from bot.core.told import index, listen, pick
from bot.core.units import convert
from tests.core.worlds import odd_sums
from tests.flows.coolant import BIKE, ID, QUIET, TWO_STROKE, Told, answered, case, flow, raised, ranking, talk
from tests.flows.flagship import FORMS

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
FAN = BIKE | {"fan": "fitted"}
AIR = {"oil-layout": "shared", "starter": "both", "cooling": "air"}


def test_the_flow_has_no_mistake() -> None:
    assert lint.judge(shelf.find().flow(ID)) == ()


@pytest.mark.parametrize("traits", [{}, BIKE, FAN, TWO_STROKE, AIR])
def test_the_answers_of_every_question_add_up_to_one(traits: dict[str, str]) -> None:
    assert odd_sums(flow(), traits) == []


# --- published figures --------------------------------------------------------------------------------


def figures(id: str) -> list[Figure]:
    return list((flow().remedies.get(id) or flow().asking(id)).figures)


def figure(id: str, start: str) -> Figure:
    """The one figure there that begins with these words."""
    [found] = [f for f in figures(id) if f.what.startswith(start)]
    return found


@pytest.mark.parametrize(
    ("reading", "right"),
    [("0 %", False), ("30 %", False), ("39 %", False), ("40 %", True), ("50%", True), ("60 percent", True),
     ("61 %", False), ("70 %", False), ("100 %", False)],
)  # fmt: skip
def test_a_reading_is_judged_by_the_working_range_of_the_standard(reading: str, right: bool) -> None:
    """ASTM D3306, scope 1.1: 40 to 60 % by volume; up to 70 % only by agreement with the maker."""
    chat = talk()
    before = "0" if right else "1"  # the other way round than it will be
    chat.state = case(QUIET | {"coolant-strength": (before,)})
    chat.say("change percent of glycol")
    while chat.asked[0] == "access":
        chat.press("done")
    assert chat.asked == ("check", "coolant-strength")
    chat.say(reading)
    seen = stops.survey(flow(), chat.state)["mix-off"]
    assert (bool(seen.denied), bool(seen.shown)) == (right, not right)


@pytest.mark.parametrize("place", ["coolant-strength", "renew-coolant"])
def test_the_working_range_is_shown_where_it_is_asked_and_where_it_is_mixed(place: str) -> None:
    """ASTM D3306, scope 1.1."""
    wanted = figure(place, "glycol by volume")
    assert (wanted.value, wanted.upto, wanted.unit) == (40, 60, "%")
    assert (wanted.basis, wanted.source) == ("sourced", "coolant-standard")


def test_the_limit_by_agreement_is_that_of_the_standard() -> None:
    """ASTM D3306, scope 1.1."""
    assert figure("coolant-strength", "by agreement").value == 70


def test_freezing_of_propylene_glycol_is_the_published_table() -> None:
    """Lange's Handbook of Chemistry, 15th edition, table 5.13: 30, 40 and 50 % by volume."""
    published = {30: (-12.8, 9.0), 40: (-20.6, -5.1), 50: (-33.3, -28.0)}  # °C, and the same in °F
    for percent, (celsius, fahrenheit) in published.items():
        shown = figure("coolant-strength", f"propylene glycol {percent} %")
        assert (shown.value, shown.unit, shown.source) == (celsius, "°C", "langes-handbook")
        assert convert(shown.value, "°C", "°F") == pytest.approx(fahrenheit, abs=0.1)


def test_freezing_of_half_ethylene_glycol_is_called_a_figure_from_memory() -> None:
    """-30 to -34 °F, from memory; D3306 is commonly quoted with -36.4 °C. No text was seen."""
    shown = figure("coolant-strength", "half ethylene glycol")
    assert (shown.value, shown.upto) == (-37, -34)
    assert shown.value < -36.4 < shown.upto
    assert convert(-30, "°F", "°C") == pytest.approx(shown.upto, abs=0.5)
    assert convert(-34, "°F", "°C") == pytest.approx(shown.value, abs=0.5)
    assert shown.basis == "practice"
    assert "memory" in (shown.remark or "")


def test_boiling_of_half_glycol_is_that_of_the_trade_article() -> None:
    """'What Pressure Cap Rating Should I Use': 223 °F open, 3 °F for each psi, so 268 °F at 15 psi."""
    open_, capped = figure("cap-test", "boiling of half"), figure("cap-test", "the same under")
    assert convert(223, "°F", "°C") == pytest.approx((open_.value + (open_.upto or 0)) / 2, abs=0.6)
    assert convert(223 + 3 * 15, "°F", "°C") == pytest.approx(capped.value, abs=0.5)
    assert convert(15, "psi", "kPa") == pytest.approx(103.42, abs=0.01)
    assert "103 kPa" in capped.what
    assert {open_.basis, capped.basis} == {"borrowed"}  # a text for cars


def boils_at(kilopascal: float) -> float:
    """Boiling point of water in °C by Antoine's equation, constants for 99 to 374 °C (from memory)."""
    return 1810.94 / (8.14019 - math.log10(kilopascal * 760 / 101.325)) - 244.485


def test_boiling_of_water_under_the_cap_is_by_steam_and_not_by_the_straight_rule() -> None:
    shown = figure("cap-test", "plain water")
    assert boils_at(101.325) == pytest.approx(100, abs=0.5)
    assert boils_at(101.325 + 103.42) == pytest.approx(shown.value, abs=0.5)
    straight = convert(212 + 3 * 15, "°F", "°C")  # 257 °F
    assert straight > shown.value + 3
    assert f"{straight:.0f}" in (shown.remark or "")


def test_caps_are_made_for_eight_to_sixteen_psi() -> None:
    """A teaching text on car radiator caps: 8 to 16 psi, 55 to 110 kPa."""
    shown = figure("cap-look", "pressure that caps")
    assert (shown.value, shown.upto, shown.unit, shown.basis) == (55, 110, "kPa", "borrowed")
    assert convert(8, "psi", "kPa") == pytest.approx(shown.value, abs=0.5)
    assert convert(16, "psi", "kPa") == pytest.approx(shown.upto or 0, abs=0.5)
    assert figure("pressure-test", "never above the cap").value == shown.upto


def test_the_gas_test_wants_the_level_two_inches_down() -> None:
    """Combustion Leak Test, a teaching text based on a US Navy course."""
    assert convert(2, "in", "mm") == pytest.approx(figure("block-test", "level under").value, abs=0.5)
    test = flow().asking("block-test")
    assert isinstance(test, Look)
    assert re.search("yellow or green", test.bad.label)
    assert "does not clear every gasket fault" in (test.why or "")


def test_the_two_stroke_test_stays_under_its_limit() -> None:
    """Leak-Down Testing, April 2012: 5 psi, 10 minutes, at most 0.5 psi lost. 0.6 bar is practice."""
    loss, limit = figure("case-pressure", "may lose"), figure("case-pressure", "never more")
    pressed = figure("case-pressure", "test pressure")
    assert (loss.value, loss.unit, loss.basis) == (0.5, "psi", "sourced")
    assert pressed.value == 5
    assert convert(pressed.upto or 0, "psi", "bar") < limit.value == 0.6
    assert "Never over 0.6 bar" in flow().cautions["pressure-limit"].say


def test_every_figure_says_where_it_is_from_and_none_is_a_torque() -> None:
    holders = [*flow().asks.values(), *flow().access.values(), *flow().remedies.values()]
    shown = [f for holder in holders for f in holder.figures]
    assert len(shown) >= 20
    assert [f.what for f in shown if f.basis != "practice" and f.source not in flow().sources] == []
    assert [f.what for f in shown if re.search("N·m|lbf", f.unit)] == []


def test_all_that_speaks_of_waiting_for_the_cap_says_the_same_time() -> None:
    """60 to 90 minutes: common practice, no source."""
    said = [
        flow().access["cap-off"].do, flow().access["coolant-out"].do, flow().cautions["hot-coolant"].say,
        flow().stop_rules["boils-now"].say, flow().stop_rules["heat-warning"].say,
        flow().second_looks["level-watch"].looks[0].do,
    ]  # fmt: skip
    assert [text for text in said if "60 to 90 minutes" not in text] == []


# --- a hot cap ----------------------------------------------------------------------------------------

NEAR_THE_CAP = re.compile(
    r"\bcap off\b|\bcap eased\b|tester on the neck|tester pressed|\bin the neck\b|\blevel[^.]*\bcold\b"
    r"|\bcold[^.]*\blevel\b|\bfilled and bled\b",
    re.I,
)
ABOUT_IT = {"never-hot-cap", "hot-coolant", "tester-limit"}


def test_whoever_is_sent_to_the_cap_is_warned_of_it() -> None:
    sent = [(path, ids) for path, text, ids, _ in steps_spoken(flow()) if NEAR_THE_CAP.search(text)]
    assert len(sent) >= 15
    assert [path for path, ids in sent if not ABOUT_IT & set(ids)] == []


def test_nothing_that_lies_under_the_cap_is_looked_at_without_opening_it_as_told() -> None:
    """So the wait, the rag and the first stop are said before any of them."""
    for id in ("level-cold", "cap-look", "cap-test", "coolant-look", "coolant-strength", "pressure-test"):
        assert flow().asking(id).behind == ("cap-off",)
    for id in ("cap-off", "coolant-out"):
        assert flow().access[id].cautions[:2] == ("never-hot-cap", "hot-coolant")
    assert flow().cautions["never-hot-cap"].signal == "danger"


@pytest.mark.parametrize("first", ["it overheats, steam everywhere", "hissing from the cap, it boils over"])
def test_a_bike_that_boils_is_told_to_keep_the_cap_shut_before_anything_is_asked(first: str) -> None:
    chat = talk().talk(first)
    assert chat.messages[0].text.startswith("STOP.")
    assert "Do not open the cap" in chat.messages[0].text
    assert chat.state.bars == {"running", "riding"}


@pytest.mark.parametrize("wish", ["can I open the cap to let the pressure out?", "can I crack the cap?"])
def test_may_i_open_it_is_never_answered_with_yes(wish: str) -> None:
    chat = talk().talk("it overheats, steam everywhere", "yes")
    chat.say(wish)
    assert "Never open a hot cap" in chat.said
    assert chat.stops == {"boils-now"}


# --- stop rules ---------------------------------------------------------------------------------------

# What is told, and the rules that it must raise. Rules of the trade: common practice, no source.
STOPS: list[tuple[str, Told, set[str]]] = [
    ("steam or hiss", {"heat-now": ("boils",)}, {"boils-now"}),
    ("light or gauge in the red", {"heat-now": ("light",)}, {"heat-warning"}),
    ("smoke from below", {"heat-now": ("smoke",)}, {"smoke-below"}),
    ("a hose burst hot", {"heat-now": ("burst",)}, {"hose-burst"}),
    ("nothing left in it", {"level": ("gone",)}, {"coolant-gone"}),
    ("over 200 ml topped up twice", {"level": ("twice",)}, {"lost-twice"}),
    ("low once", {"level": ("low",)}, set()),
    ("falling, oil clear", {"level": ("falling",)}, set()),
    ("milky, level steady: look first", {"oil-look": ("milky",)}, {"milk-alone"}),
    ("milky and falling", {"oil-look": ("milky",), "level": ("falling",)}, {"coolant-in-oil"}),
    ("milky again after one change", {"milk-again": ("bad",)}, {"milk-twice"}),
    ("metal and falling", {"oil-look": ("metal",), "level": ("falling",)}, {"coolant-and-metal"}),
    ("no oil on the glass", {"oil-look": ("gone",)}, {"no-oil"}),
    ("hose hard from cold", {"gas-signs": ("hard",)}, {"combustion-gas"}),
    ("test fluid yellow", {"block-test": ("bad",)}, {"combustion-gas"}),
    ("bubbles that never stop", {"gas-signs": ("bubbles",)}, {"bubbles"}),
    ("bubbles just after a fill", {"gas-signs": ("bubbles",), "history": ("filled",)}, set()),
    ("white smoke alone", {"gas-signs": ("smoke",)}, set()),
    ("a deep knock", {"running": ("knock",)}, {"deep-knock"}),
    ("seized once", {"running": ("seized",)}, {"seized-hot"}),
    ("piston beads on the plug", {"plug-look": ("specks",)}, {"plug-specks"}),
    ("a white plug alone", {"plug-look": ("white",)}, set()),
    ("a two-stroke that leaks air", {"case-pressure": ("bad",)}, {"two-stroke-leaks-air"}),
    ("a four-stroke that leaks air", {"intake-mist": ("bad",)}, set()),
    ("revs that hang", {"running": ("hangs",)}, {"revs-hang"}),
    ("coolant on a tyre", {"where-wet": ("tyre",)}, {"coolant-on-tyre"}),
    ("coolant on a disc", {"where-wet": ("disc",)}, {"brake-gone"}),
    ("a brake that drags", {"free-wheels": ("brake",)}, {"wheel-drags"}),
    ("a bearing that rocks", {"free-wheels": ("bearing",)}, {"wheel-drags"}),
    ("a chain too tight", {"free-wheels": ("chain",)}, set()),
    ("tight to turn", {"turns-over": ("tight",)}, {"locked-or-tight"}),
    ("boiled once in a queue", {"level": ("spits",), "heat-when": ("slow-only",)}, set()),
]
LOOK_FIRST = {"milk-alone", "revs-hang", "coolant-on-tyre", "brake-gone", "wheel-drags"}


@pytest.mark.parametrize(("what", "told", "rules"), STOPS, ids=[s[0] for s in STOPS])
def test_what_is_told_raises_these_rules_and_no_other(what: str, told: Told, rules: set[str]) -> None:
    assert raised(QUIET | told) == rules
    for rule in rules:
        bars = {"riding"} if rule in LOOK_FIRST else {"running", "riding"}
        assert set(flow().stop_rules[rule].bars) == bars


def test_each_rule_of_this_flow_stands_in_the_table() -> None:
    own = load.shipped(ID).flow.stop_rules
    shared = {"rider-hurt", "fuel-leaking", "throttle-sticks", "steering-bad", "wheel-bad"}
    assert set(own) - shared == set().union(*(rules for _, _, rules in STOPS))


# A stop, and a look with a good end that says nothing about it: it must stand all the same.
NOT_ENOUGH: list[tuple[Told, tuple[str, str], str]] = [
    ({"heat-now": ("boils",)}, ("cap-test", "good"), "boils-now"),
    ({"heat-now": ("boils",)}, ("radiators-warm", "good"), "boils-now"),
    ({"heat-now": ("burst",)}, ("level-cold", "good"), "hose-burst"),
    ({"heat-now": ("smoke",)}, ("level-cold", "good"), "smoke-below"),
    ({"level": ("gone",)}, ("level-cold", "good"), "coolant-gone"),
    ({"level": ("twice",)}, ("pressure-test", ""), "lost-twice"),
    ({"oil-look": ("milky",), "level": ("falling",)}, ("milk-again", "good"), "coolant-in-oil"),
    ({"oil-look": ("milky",), "level": ("falling",)}, ("pressure-test", ""), "coolant-in-oil"),
    ({"gas-signs": ("hard",)}, ("block-test", "good"), "combustion-gas"),  # blue does not clear a gasket
    ({"gas-signs": ("hard",)}, ("head-look", "good"), "combustion-gas"),
    ({"gas-signs": ("bubbles",)}, ("block-test", "good"), "bubbles"),
    ({"oil-look": ("gone",)}, ("oil-level", "good"), "no-oil"),
    ({"running": ("seized",)}, ("plug-look", ""), "seized-hot"),
    ({"where-wet": ("disc",)}, ("pressure-test", ""), "brake-gone"),
    ({"free-wheels": ("brake",)}, ("clutch-play", "good"), "wheel-drags"),
]


@pytest.mark.parametrize(("told", "look", "rule"), NOT_ENOUGH, ids=[f"{n[2]}-{n[1][0]}" for n in NOT_ENOUGH])
def test_a_stop_is_not_lifted_by_what_does_not_speak_of_it(
    told: Told, look: tuple[str, str], rule: str
) -> None:
    state = case(QUIET)
    for id, value in told.items():
        state = answered(state, id, value)
    assert rule in {s.rule for s in state.standing}
    id, side = look
    state = answered(state, id, (side,) if side else ())
    assert rule in {s.rule for s in state.standing}


def values(id: str) -> st.SearchStrategy[tuple[str, ...]]:
    """Any answer to a question or check; of a number the range that it falls into."""
    ask = flow().asking(id)
    if isinstance(ask, Several):
        return st.lists(st.sampled_from(list(ask.marks)), max_size=3, unique=True).map(tuple)
    if isinstance(ask, Look):
        return st.sampled_from([("good",), ("bad",)])
    if isinstance(ask, Number):
        return st.sampled_from([(str(n),) for n in range(len(ask.ranges))])
    names = ask.classes if isinstance(ask, Graded) else ask.answers  # type: ignore[union-attr]
    return st.sampled_from([(name,) for name in names])


TELLING = tuple(id for id, ask in flow().asks.items() if ask.kind in FORMS)
TOLD = st.lists(st.sampled_from(TELLING).flatmap(lambda id: st.tuples(st.just(id), values(id))), max_size=8)


@given(TOLD)
def test_only_a_look_that_a_rule_names_lifts_it(told: list[tuple[str, tuple[str, ...]]]) -> None:
    state = case({})
    for id, value in told:
        before = {stop.rule for stop in state.standing}
        state = answered(state, id, value)
        for rule in before - {stop.rule for stop in state.standing}:
            named = flow().stop_rules[rule].cleared_by
            assert f"{id}.good" in (*named.any, *named.all)
            assert value in ((), ("good",))


@settings(max_examples=20, deadline=None)
@given(TOLD)
def test_nothing_that_a_stop_bars_is_advised(told: list[tuple[str, tuple[str, ...]]]) -> None:
    state = case(QUIET)
    for id, value in told:
        state = answered(state, id, value)
    advice = plan.advise(talk().desk(), flow(), state, NOW)
    if state.bars:
        assert advice.kind not in ("watch", "proof")
    if "running" in state.bars and advice.kind == "ask":
        assert flow().asking(advice.id).needs == "nothing"


# --- telling ------------------------------------------------------------------------------------------

# What a mechanic would suspect first, by hand. Common practice, no source, but for what is named.
TELLING_CASES: list[tuple[str, Told, dict[str, str], str]] = [
    ("a bike without a fan, hot only when crawling", {}, BIKE, "slow-and-hot"),
    ("a fan that stands still, hot only when crawling", {"fan-heard": ("silent",)}, FAN, "fan-dead"),
    ("mud, hot at speed", {"history": ("mud",), "heat-when": ("at-speed",)}, BIKE, "radiator-blocked"),
    ("just filled, low, hot when slow", {"history": ("filled",), "level": ("low",)}, BIKE, "low-or-air"),
    ("spits, never hot, never filled", {"level": ("spits",), "heat-when": ("not-hot",)}, BIKE, "cap-weak"),
    ("spits once after a fill, never hot",
     {"level": ("spits",), "history": ("filled",), "heat-when": ("not-hot",)}, BIKE, "over-filled"),
    ("plain water, reads 10 %", {"history": ("water",), "coolant-strength": ("0",)}, BIKE, "coolant-wrong"),
    ("wet hose, falling", {"where-wet": ("hose",), "level": ("falling",), "heat-when": ("not-hot",)},
     BIKE, "hose-leak"),
    ("fell, radiator wet, falling", {"where-wet": ("radiator",), "level": ("falling",),
     "history": ("fall",), "heat-when": ("not-hot",)}, BIKE, "radiator-leak"),
    ("weep hole wet, falling", {"where-wet": ("weep",), "level": ("falling",), "heat-when": ("not-hot",)},
     BIKE, "pump-weeps"),
    ("milky, steady: mostly water from short runs", {"oil-look": ("milky",), "heat-when": ("not-hot",)},
     BIKE, "condensation"),
    ("milky and falling", {"oil-look": ("milky",), "level": ("falling",), "heat-when": ("not-hot",)},
     BIKE, "pump-into-oil"),
    ("two-stroke, milky gearbox oil and falling",
     {"oil-look": ("milky",), "level": ("falling",), "heat-when": ("not-hot",)}, TWO_STROKE, "pump-into-oil"),
    ("bubbles, hose hard, white smoke, falling, dry outside",
     {"gas-signs": ("bubbles", "hard", "smoke"), "level": ("falling",), "heat-when": ("at-speed",)},
     BIKE, "head-gasket"),
    ("falls without a trace, and white smoke",
     {"gas-signs": ("smoke",), "level": ("falling",), "heat-when": ("at-speed",)}, BIKE, "head-gasket"),
    ("test fluid yellow", {"block-test": ("bad",), "heat-when": ("at-speed",)}, BIKE, "head-gasket"),
    ("boils within minutes, no flow in the neck",
     {"heat-when": ("within-minutes",), "flow-in-filler": ("bad",)}, BIKE, "impeller-slips"),
    ("boils within minutes, flow in the neck, one radiator cold",
     {"heat-when": ("within-minutes",), "flow-in-filler": ("good",), "radiators-warm": ("bad",)},
     BIKE, "thermostat-stuck"),
    ("pings at speed, white plug", {"running": ("pings",), "heat-when": ("at-speed",),
     "plug-look": ("white",)}, BIKE, "lean-mixture"),
    ("two-stroke, revs hang, hot at speed", {"running": ("hangs",), "heat-when": ("at-speed",)},
     TWO_STROKE, "air-leak"),
    ("clutch slips and smells, on the clutch all day",
     {"running": ("slips", "smell"), "history": ("clutch",)}, BIKE, "clutch-slip"),
    ("one disc hot after coasting, hot at speed", {"wheel-heat": ("hot",), "heat-when": ("at-speed",)},
     BIKE, "drag-on-wheels"),
    ("oil of the wrong kind, hot at speed", {"oil-level": ("bad",), "heat-when": ("at-speed",)},
     BIKE, "oil-low-or-wrong"),
    ("air-cooled, pings, hot at speed", {"running": ("pings",), "heat-when": ("at-speed",)},
     AIR, "lean-mixture"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("what", "told", "traits", "first"), TELLING_CASES, ids=[case[0] for case in TELLING_CASES]
)
def test_the_first_suspect_is_the_one_of_the_trade(
    what: str, told: Told, traits: dict[str, str], first: str
) -> None:
    asked = {id: v for id, v in QUIET.items() if traits is not AIR or id not in ("level", "gas-signs")}
    assert ranking(asked | told, traits)[0] == first


def test_every_cause_is_the_first_suspect_of_some_bike() -> None:
    assert {case[3] for case in TELLING_CASES} == set(flow().causes)


def test_an_air_cooled_bike_has_no_suspect_that_needs_coolant() -> None:
    wet = {id for id, cause in flow().causes.items() if cause.only_when.get("cooling") == ("liquid",)}
    assert len(wet) >= 10
    assert wet & set(ranking({}, AIR)) == set()
    asked = set(plan.candidates(flow(), case({}, AIR)))
    assert {"level", "gas-signs", "level-cold", "cap-look", "pressure-test", "block-test"} & asked == set()


def test_a_two_stroke_is_not_sprayed_and_a_four_stroke_is_not_pressed() -> None:
    """A two-stroke by pressure only; water mist at a running engine is for four-strokes."""
    assert "intake-mist" not in plan.candidates(flow(), case({}, TWO_STROKE))
    assert "case-pressure" not in plan.candidates(flow(), case({}, BIKE))
    spray = " ".join(step.do for step in flow().asking("intake-mist").steps)
    assert "Plain water only, nothing that burns" in spray


# --- first messages -----------------------------------------------------------------------------------

# Written by hand before anything was run. Everything else that is found is a false finding.
FIRST: list[tuple[str, set[str]]] = [
    ("it overheats in traffic", {"heat-when=slow-only"}),
    ("overheats in traffic, the fan does not come on", {"heat-when=slow-only", "fan-heard=silent"}),
    ("Boiled over in tight woods, has no fan", {"level=spits", "heat-when=slow-only", "trait:fan=none"}),
    ("losing coolant, no leaks anywhere, white smoke when warm",
     {"level=falling", "where-wet=none_of_these", "gas-signs=smoke"}),
    ("water pump leaks, coolant from the weep hole", {"where-wet=weep"}),
    ("gets too hot even at speed after a mud race", {"heat-when=at-speed", "history=mud"}),
    ("my bike keeps losing coolant and the oil is milky", {"level=falling", "oil-look=milky"}),
    ("bent the radiator when i hit a tree, now it drips coolant", {"history=fall"}),
    ("radiator is leaking after a crash", {"where-wet=radiator", "history=fall"}),
    ("bubbles in the coolant and the hose goes rock hard", {"gas-signs=bubbles,hard"}),
    ("temp light came on and it lost all the coolant", {"heat-now=light", "level=gone"}),
    ("spits coolant out of the overflow, new coolant last week", {"level=spits", "history=filled"}),
    ("two stroke runs hot, revs hang", {"trait:oil-layout=two-stroke", "running=hangs"}),
    ("burst hose, coolant on the tyre everywhere", {"heat-now=burst", "where-wet=tyre"}),
    ("runs hot since i put new coolant in", {"history=filled"}),
    ("only water in it, boils over on slow climbs", {"history=water", "level=spits", "heat-when=slow-only"}),
    ("fan runs all the time but it still overheats", {"fan-heard=ran"}),
    ("head gasket gone? loses water but the oil is clean", {"level=falling", "oil-look=none_of_these"}),
    ("steam coming out, is it the cap?", {"heat-now=boils"}),
    ("radiator full of mud, overheating", {"history=mud"}),
]  # fmt: skip
HEARD = index(flow())


def heard(text: str) -> set[str]:
    return {f"{told.ask}={','.join(told.value_ids)}" for told in listen(text, HEARD)}


@pytest.mark.parametrize(("text", "tells"), FIRST, ids=[text for text, _ in FIRST])
def test_nothing_is_heard_in_a_first_message_that_was_not_told(text: str, tells: set[str]) -> None:
    assert heard(text) - tells == set()


def test_four_of_five_things_told_in_first_messages_are_heard() -> None:
    told = [(text, each) for text, tells in FIRST for each in tells]
    missed = [(text, each) for text, each in told if each not in heard(text)]
    assert len(missed) <= len(told) / 5, missed


# What another flow may claim with as good a right; then both are offered.
SHARED = ("oil is milky", "crash", "hit a tree")


@pytest.mark.parametrize("text", [text for text, _ in FIRST])
def test_first_messages_about_heat_and_coolant_pick_this_flow(text: str) -> None:
    picked = pick(text, load.cards())
    if any(words in text for words in SHARED):
        assert ID in [id for id, _ in picked.ranked[:2]]
    else:
        assert picked.flow == ID


@pytest.mark.parametrize(
    "text",
    ["metal in the oil", "milky oil and metal bits", "it will not start", "the clutch slips",
     "front brake is spongy", "starter spins but the engine does not"],
)  # fmt: skip
def test_other_trouble_is_not_taken_for_heat(text: str) -> None:
    assert pick(text, load.cards()).flow != ID
