"""The flow about a starter that spins, clanks or runs on, against what is published and what the trade knows.

Published lines are typed in here from the sources named beside them. Where a mechanic would say which suspect
comes first, or what may not be pressed, that stands as "common practice, no source", written before the flow
was asked.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from bot.authoring import lint, shelf
from bot.core.flow import Figure, Step
from tests.core.worlds import odd_sums
from tests.flows.flagship import Told
from tests.flows.shipped import step_of
from tests.flows.starters import BIKE, ID, QUIET, Talk, bars, flow, raised, ranked, talk

# --- the flow as a whole ------------------------------------------------------------------------------

KINDS = [
    {},
    {"oil-layout": "two-stroke", "starter": "kick", "battery-kind": "none"},
    {"oil-layout": "two-stroke", "starter": "electric", "battery-kind": "lithium", "drive-kind": "sliding"},
    {"oil-layout": "split", "starter": "both", "battery-kind": "lead", "drive-kind": "one-way"},
]
KICK = {"starter": "kick", "battery-kind": "none"}


@pytest.mark.parametrize("traits", KINDS, ids=lambda x: "-".join(x.values()) or "unknown")
def test_the_answers_of_every_question_add_up_to_one_for_two_hundred_sets_of_causes(
    traits: dict[str, str],
) -> None:
    assert odd_sums(flow(), traits) == []


def test_the_flow_has_no_mistake() -> None:
    assert lint.judge(shelf.find().flow(ID)) == ()


# --- battery and starting circuit ---------------------------------------------------------------------

# A battery maker's guide to the state of charge, tables 6 to 8: 12 V lead-acid, rested, at 26.7 °C.
CHARGE = [(12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0)]
NAMES = {100: "full", 75: "three quarters", 50: "half", 25: "one quarter", 0: "flat"}
STEP = {100: "full", 75: "three-quarters", 50: "half", 25: "quarter", 0: "flat"}


def figures(id: str) -> dict[str, Figure]:
    holder = flow().remedies[id] if id in flow().remedies else flow().asking(id)
    return {f.what: f for f in holder.figures}


@pytest.mark.parametrize(("volts", "charge"), CHARGE)
def test_rested_volts_are_those_of_the_charge_table(volts: float, charge: int) -> None:
    figure = figures("lead-volts")[f"lead, rested, {NAMES[charge]}"]
    assert (figure.value, figure.unit, figure.basis) == (volts, "V", "sourced")
    assert step_of(flow(), "lead-volts", volts) == STEP[charge]


def test_rest_and_deep_discharge_are_those_of_a_battery_makers_manual() -> None:
    # a motorcycle battery maker's technical manual, page 13: 30 minutes after the charger, below 11.5 V
    rest, deep = (
        figures("lead-volts")[k] for k in ("rest before reading, at least", "deep discharged below")
    )
    assert (rest.value, rest.unit, rest.source) == (30, "min", "rest-and-deep")
    assert (deep.value, deep.unit, deep.source) == (11.5, "V", "rest-and-deep")
    assert step_of(flow(), "lead-volts", 11.5) == "flat"


def test_cranking_volts_are_borrowed_for_lead_and_practice_for_lithium() -> None:
    lines = figures("crank-volts")
    lead, lithium = lines["lead, while cranking, at least"], lines["lithium, while cranking, at least"]
    # a car text: 9.6 V and more, commonly 9.6 to 10.5 V
    assert (lead.value, lead.upto, lead.basis) == (9.6, 10.5, "borrowed")
    assert (lithium.value, lithium.basis) == (10, "practice")


def test_what_the_circuit_may_lose_is_half_a_volt_and_three_tenths_together_eight_tenths() -> None:
    lines = figures("volts-on-the-way")
    live, ground, both = (
        lines[k]
        for k in (
            "lost on the live side, at most", "lost on the ground side, at most",
            "lost on both sides together, at most",
        )
    )  # fmt: skip
    # US Army TM 5-3805-254-14P-2, section VV: 0.5 V; a battery tester's manual, p 15: 0.5 V and 0.3 V
    assert (live.value, ground.value) == (0.5, 0.3)
    assert both.value == pytest.approx(live.value + ground.value)
    assert {f.basis for f in (live, ground, both)} == {"borrowed"}


def test_lithium_is_never_charged_over_fourteen_point_six_nor_below_freezing() -> None:
    # a charger maker's lithium battery facts: charge 14.4 V, at most 14.6 V
    # below 0 °C: a review of the trade
    charge = figures("charge-battery")["lithium charge, usually"]
    assert (charge.value, charge.upto, charge.basis) == (14.4, 14.6, "sourced")
    most = figures("lithium-volts")["lithium, on charge never over"]
    assert (most.value, most.source) == (14.6, "lithium-limits")
    assert "never below 0 °C nor over 14.6 V" in flow().cautions["battery-gas"].say


def test_hydrogen_and_acid_are_those_of_the_safety_pages() -> None:
    # CCOHS, "Batteries": hydrogen explosive from 4.1 % in air; a university's battery page: eyes, 15 minutes
    gas = figures("charge-battery")["hydrogen of a charging lead battery burns, in air, from"]
    eye = figures("renew-battery")["acid in an eye, rinse with water at least"]
    assert (gas.value, gas.unit, gas.basis) == (4.1, "%", "sourced")
    assert (eye.value, eye.unit, eye.basis) == (15, "min", "sourced")


# Common practice, no source.
TRADE = [
    ("lead-volts", "good enough to crank, from", 12.4, "V"),
    ("lithium-volts", "lithium, rested, good enough from", 13.0, "V"),
    ("volts-on-the-way", "motor stud against battery, within", 0.5, "V"),
    ("left-side", "starter bush and idler rock under", 0.1, "mm"),
    ("behind-flywheel", "bush rock on its race under", 0.1, "mm"),
]


@pytest.mark.parametrize(("ask", "what", "value", "unit"), TRADE)
def test_figures_of_the_trade_say_that_they_have_no_source(
    ask: str, what: str, value: float, unit: str
) -> None:
    figure = figures(ask)[what]
    assert (figure.value, figure.unit, figure.basis) == (value, unit, "practice")


def test_no_torque_is_given_since_the_manual_outranks_any() -> None:
    holders = [*flow().asks.values(), *flow().access.values(), *flow().remedies.values()]
    assert {f.unit for holder in holders for f in holder.figures} & {"Nm", "lbf·ft"} == set()


# --- what a mechanic would say first; common practice, no source ---------------------------------------

SUSPECTS: list[tuple[str, Told, dict[str, str], str]] = [
    ("clank and dim lamps", {"what-it-does": ("clanks",), "lights": ("dim",), "lead-volts": ("flat",)}, {},
     "battery-flat"),
    ("the same, volts full", {"what-it-does": ("clanks", "slow"), "lights": ("dim",),
     "lead-volts": ("full",)}, {}, "battery-worn"),
    ("whirrs", {"what-it-does": ("whirrs",)}, {}, "one-way-worn"),
    ("whirrs, catches after a few", {"what-it-does": ("whirrs",), "pattern": ("catches",)}, {},
     "one-way-worn"),
    ("whirrs, stood, catches, cold", {"what-it-does": ("whirrs",), "pattern": ("catches", "cold"),
     "lately": ("stood", "wet")}, {}, "one-way-dirty"),
    ("whirrs, oil smells of petrol", {"what-it-does": ("whirrs",), "pattern": ("catches",),
     "lately": ("oil",), "oil-level-look": ("petrol",)}, {}, "oil-thin"),
    ("whirrs after new brushes", {"what-it-does": ("whirrs",), "lately": ("electrics",)}, {},
     "motor-backwards"),
    ("clank and grinding after a kick-back", {"what-it-does": ("clanks", "grinds"), "lately": ("kickback",),
     "pieces-seen": ("pieces",)}, {}, "gear-broken"),
    ("rattles running since the flywheel was off", {"what-it-does": ("clanks",), "pattern": ("rattle",),
     "lately": ("engine",)}, {}, "bolts-loose"),
    ("clicks, catches, lamps bright", {"what-it-does": ("clicks",), "pattern": ("catches",)}, {},
     "relay-burnt"),
    ("runs on", {"danger-now": ("runs-on",)}, {}, "relay-stuck"),
    ("runs on, button muddy after a wash", {"danger-now": ("runs-on",), "button-opens": ("bad",)}, {},
     "button-or-wire"),
    ("kicks back and backfires", {"what-it-does": ("kicks", "clanks"), "kicked-or-pushed": ("badly",),
     "lately": ("kickback",)}, {}, "key-sheared"),
    ("stops at compression, kicks back", {"what-it-does": ("kicks", "slow")}, {}, "decompressor"),
    ("kick lever slips", {"what-it-does": ("kick-lever",)}, KICK, "kick-gear"),
    ("sliding pinion whirrs", {"what-it-does": ("whirrs",)}, {"drive-kind": "sliding"}, "sliding-drive"),
    ("stopped dead after a swim", {"stops-dead": ("stuck",), "lately": ("wet",)}, {}, "liquid-inside"),
    ("limiter blue", {"what-it-does": ("whirrs",), "lately": ("kickback",), "left-side": ("limiter",)}, {},
     "limiter-slips"),
    ("teeth of the motor", {"what-it-does": ("whirrs",), "motor-gear": ("teeth",)}, {}, "motor-gear"),
    ("pick-up off its mark", {"what-it-does": ("kicks",), "left-side": ("pick-up",)}, {}, "timing-early"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("what", "told", "traits", "cause"), SUSPECTS, ids=lambda x: x if isinstance(x, str) else ""
)
def test_the_first_suspect_is_a_mechanics(what: str, told: Told, traits: dict[str, str], cause: str) -> None:
    assert ranked(QUIET | told, **traits)[0] == cause


def test_on_a_modern_bike_a_weak_battery_is_commoner_than_a_worn_one_way_clutch() -> None:
    # common practice, no source
    share = {id: cause.share for id, cause in flow().causes.items()}
    assert share["battery-flat"] + share["battery-worn"] > share["one-way-worn"]


# --- stops ----------------------------------------------------------------------------------------------

BOTH = {"running", "riding"}
STOPS: list[tuple[str, Told, set[str]]] = [
    ("runs on", {"danger-now": ("runs-on",)}, {"starter-runs-on"}),
    ("relay closed", {"relay-opens": ("bad",)}, {"starter-runs-on"}),
    ("button closed", {"button-opens": ("bad",)}, {"starter-runs-on"}),
    ("battery hot", {"danger-now": ("battery",)}, {"battery-danger"}),
    ("cable hot", {"danger-now": ("cable",)}, {"cable-burnt"}),
    ("petrol about", {"danger-now": ("petrol",)}, {"fuel-leaking"}),
    ("stops dead", {"stops-dead": ("stuck",)}, {"stopped-dead"}),
    ("liquid", {"hand-turns": ("liquid",)}, {"liquid-found"}),
    ("tight", {"hand-turns": ("tight",)}, {"stuck-plug-out"}),
    ("bits in the oil", {"pieces-seen": ("pieces",)}, {"pieces-in-engine"}),
    ("hairs in the strainer", {"drained-oil": ("hairs",)}, {"pieces-in-engine"}),
    ("a part in the strainer", {"drained-oil": ("part",)}, {"pieces-in-engine"}),
    ("a roller missing", {"behind-flywheel": ("missing",)}, {"pieces-in-engine"}),
    ("rollers worn", {"behind-flywheel": ("rollers",)}, {"drive-broken"}),
    ("a tooth gone", {"left-side": ("teeth",)}, {"drive-broken"}),
    ("motor teeth gone", {"motor-gear": ("teeth",)}, {"drive-broken"}),
    ("next gear chipped", {"motor-gear": ("gear",)}, {"drive-broken"}),
    ("bolts loose", {"behind-flywheel": ("bolts",)}, {"bolts-found-loose"}),
    ("key sheared", {"behind-flywheel": ("key",)}, {"key-sheared"}),
    ("whirrs", {"what-it-does": ("whirrs",)}, {"spins-or-grinds"}),
    ("grinds", {"what-it-does": ("grinds",)}, {"spins-or-grinds"}),
    ("one clank", {"what-it-does": ("clanks",)}, {"one-clank"}),
    ("kicks back", {"what-it-does": ("kicks",)}, {"kick-back"}),
    ("howls on", {"what-it-does": ("howls",)}, {"howls-on"}),
]


@pytest.mark.parametrize(("what", "told", "rules"), STOPS, ids=lambda x: x if isinstance(x, str) else "")
def test_what_can_hurt_or_ruin_stops_all_running(what: str, told: Told, rules: set[str]) -> None:
    assert raised(told) == rules
    assert bars(told) == BOTH


FREE: list[Told] = [
    {"what-it-does": ("clicks", "slow"), "lights": ("dim",)},
    {"what-it-does": ("kick-lever",), "kick-rest": ("bad",)},
    {"pieces-seen": ("not-looked",)},
    {"pieces-seen": ("clean",), "drained-oil": ()},
    {"pattern": ("catches", "cold", "hot", "rattle"), "lately": ("kickback", "wet", "stood", "engine")},
    {"terminals-look": ("bad",), "lamp-load": ("bad",), "motor-leads": ("bad",)},
    {"oil-level-look": ("petrol", "milky", "wrong-kind"), "motor-gear": ("slips", "slide")},
    {"behind-flywheel": ("dirt",), "left-side": ("slips", "limiter", "pick-up")},
]


@pytest.mark.parametrize("told", FREE, ids=str)
def test_near_misses_stop_nothing(told: Told) -> None:
    assert raised(told) == set()


BATTERY_WORK = {"charge-battery", "renew-battery", "clean-terminals"}


@pytest.mark.parametrize("rule", ["pieces-in-engine", "drive-broken", "bolts-found-loose", "spins-or-grinds"])
def test_no_battery_and_no_look_at_it_lifts_a_stop_over_the_drive(rule: str) -> None:
    cleared = flow().stop_rules[rule].cleared_by
    assert set(cleared.any) & BATTERY_WORK == set()
    assert [name for name in (*cleared.any, *cleared.all) if "." in name] == []


def test_steel_in_the_engine_is_cleared_only_by_work_that_counts_the_pieces() -> None:
    for id in flow().stop_rules["pieces-in-engine"].cleared_by.any:
        points = " ".join(p.point for p in flow().remedies[id].closing)
        assert any(word in points for word in ("found", "missing", "on paper")), id


def test_a_burnt_cable_is_cleared_by_a_mechanic_alone() -> None:
    cleared = flow().stop_rules["cable-burnt"].cleared_by
    assert (cleared.by, cleared.any, cleared.all) == ("mechanic", (), ())


def test_a_starter_that_runs_on_is_told_petrol_first_and_then_minus() -> None:
    say = flow().stop_rules["starter-runs-on"].say
    assert say.index("No petrol about") < say.index("minus clip off")
    for word in ("neutral", "glow", "gloved", "fire brigade", "Minus stays off"):
        assert word in say


# --- nothing is pressed, kicked or turned under a stop ------------------------------------------------------

PRESSING = {"crank-volts", "volts-on-the-way"}
TURNING = PRESSING | {"kick-rest"}


def put(chat: Talk, told: Told, steps: int = 40) -> list[str]:
    """The questions and checks that are put until the talk rests, answered as told, else not sure."""
    out: list[str] = []
    for _ in range(steps):
        what, id = chat.asked
        if what in ("none", "hand_over", "park", "remedy", "problem", "proof"):
            return out
        if what in ("question", "check"):
            out.append(id)
        chat.reply(told)
    raise AssertionError(f"still asking {chat.asked}")


@pytest.mark.parametrize(
    "words",
    [
        "starter just spins, the engine does not turn", "clank when i press the button", "starter kicks back",
        "starter keeps running", "starter grinds", "starter howls when it runs",
        "starter clanks and a roller came out with the oil",
    ],
)  # fmt: skip
def test_under_a_stop_nothing_presses_kicks_or_turns_it_by_the_lever(words: str) -> None:
    chat = talk().talk(words)
    asked = put(chat, {})
    assert chat.state.bars == BOTH
    assert TURNING & set(asked) == set()


def steps_of_checks() -> Iterator[tuple[str, Step]]:
    for id, check in flow().checks.items():
        yield from ((id, step) for step in check.steps)


def test_whatever_presses_the_button_or_pushes_the_lever_counts_as_running() -> None:
    hands = {id for id, step in steps_of_checks() if {"press-short", "kick-throws"} & set(step.cautions)}
    assert hands == TURNING
    assert {id for id in flow().checks if flow().checks[id].needs == "running"} == TURNING


@pytest.mark.parametrize("id", ["hand-turns", "kick-rest", "decompressor-weight"])
def test_whatever_turns_the_engine_by_hand_asks_for_loose_steel_first(id: str) -> None:
    assert "steel-inside" in {c for step in flow().checks[id].steps for c in step.cautions}


def test_every_proof_is_one_press_outdoors_in_neutral() -> None:
    for id, remedy in flow().remedies.items():
        assert remedy.proof is not None, id
        assert {"exhaust-gas", "press-in-gear"} <= set(remedy.proof.cautions), id
        assert any(word in remedy.proof.do for word in ("ONE press", "one kick")), id


def test_after_the_drive_the_proof_forbids_a_second_press() -> None:
    drive = (
        "renew-one-way",
        "renew-gears",
        "refit-bolts",
        "renew-limiter",
        "renew-motor-gear",
        "clean-one-way",
    )
    for id in (*drive, "charge-battery", "renew-battery", "clean-terminals"):
        proof = flow().remedies[id].proof
        assert proof is not None
        assert "no second press" in proof.do, id


# --- cautions on the steps; common practice, no source -----------------------------------------------

SAID = [
    ("relay-opens", {"starter-battery", "runaway-starter"}),
    ("motor-bench", {"bench-motor", "starter-posts"}),
    ("left-side", {"starter-fingers", "ignition-off", "magnet-pulls"}),
    ("behind-flywheel", {"sprung-parts", "left-hand-wrench", "sharp-pieces"}),
    ("drained-oil", {"used-oil", "sharp-pieces", "keep-pieces"}),
    ("hand-turns", {"plug-hole-spray", "turn-by-wheel", "stand"}),
    ("oil-level-look", {"fuel-vapour"}),
]


@pytest.mark.parametrize(("id", "cautions"), SAID)
def test_the_hazard_of_a_step_is_said_on_it(id: str, cautions: set[str]) -> None:
    assert cautions <= {c for step in flow().checks[id].steps for c in step.cautions}


def test_the_flywheel_comes_off_by_its_puller_held_at_its_own_end() -> None:
    access = flow().access["flywheel-off"]
    assert {"magnet-pulls", "hold-same-end", "left-hand-wrench", "ignition-off"} <= set(access.cautions)
    assert "No hammer" in access.do
    assert access.after == ()  # else it was shut and opened again for ever


def test_minus_is_off_before_the_motor_is() -> None:
    assert flow().access["motor-out"].do.startswith("Battery minus off.")
    assert "starter-battery" in flow().access["motor-out"].cautions


# --- what a bike cannot have ------------------------------------------------------------------------------


def test_a_kick_bike_has_only_causes_that_need_no_starter() -> None:
    possible = {
        id for id, cause in flow().causes.items()
        if all({**BIKE, **KICK}[t] in allowed for t, allowed in cause.only_when.items())
    }  # fmt: skip
    assert possible == {
        "key-sheared", "decompressor", "timing-early", "kick-gear", "liquid-inside", "engine-tight",
    }  # fmt: skip


def test_a_kick_bike_is_asked_nothing_of_battery_button_or_motor() -> None:
    asked = {
        id for id, ask in flow().asks.items()
        if all({**BIKE, **KICK}[t] in allowed for t, allowed in ask.only_when.items())
    }  # fmt: skip
    assert asked & {
        "lights", "lead-volts", "lithium-volts", "lamp-load", "terminals-look", "relay-opens", "button-opens",
        "crank-volts", "volts-on-the-way", "motor-gear", "motor-bench", "motor-leads",
    } == set()  # fmt: skip


def test_a_two_stroke_has_no_decompressor_and_a_sliding_pinion_no_one_way_clutch() -> None:
    now = ranked(QUIET | {"what-it-does": ("whirrs",)}, **KINDS[2])
    gone = {"decompressor", "one-way-worn", "one-way-dirty", "bolts-loose", "oil-thin", "kick-gear"}
    assert set(now[-len(gone) :]) == gone


def test_a_full_battery_after_a_clank_is_offered_by_a_talk_from_its_first_words() -> None:
    chat = talk(starter="electric").talk("clank when i press the button, lights go dim")
    told = QUIET | {"what-it-does": ("clanks",), "lamp-load": ("bad",), "terminals-look": ("good",)}
    asked = put(chat, told)
    assert "lamp-load" in asked or "lead-volts" in asked
    assert chat.asked == ("remedy", "charge-battery")
    assert chat.stops == {"one-clank"}
