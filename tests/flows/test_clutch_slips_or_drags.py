"""The flow about clutches against what is published, and against what a mechanic would say first.

Figures that are published are typed in here from the source named beside them; limits of plates, basket and
springs are common practice, no source, and the flow must call them so. What a finding points at is common
practice, no source, too, written down before the flow was asked.
"""

from __future__ import annotations

import pytest

from bot.authoring import lint, shelf
from bot.core.flow import Figure
from bot.core.phrases import figure_line
from tests.core.chat import wording
from tests.core.worlds import odd_sums
from tests.flows.clutches import ID, first, flow, raised, talk
from tests.flows.flagship import Told

WELL: Told = {
    "danger-signs": (), "push-test": ("rolls",), "complaint": (), "when-bad": ("always",),
    "came": ("slowly",), "lately": (),
}  # fmt: skip
"""A bike whose clutch lets go, with nothing told against it."""

# --- the flow as a whole ------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["", "cable", "hydraulic", "auto"])
def test_the_answers_of_every_question_add_up_to_one_for_two_hundred_sets_of_causes(kind: str) -> None:
    assert odd_sums(flow(), {"clutch-kind": kind} if kind else {}) == []


def test_the_flow_has_no_mistake() -> None:
    assert lint.judge(shelf.find().flow(ID)) == ()


# --- figures --------------------------------------------------------------------------------------------

# "Clutch Inspection", an off-road builder's text of 26 April 2015: 1/8 to 1/4 inch at the lever root.
PLAY_INCHES = (1 / 8, 1 / 4)
# US standard FMVSS 116, 49 CFR 571.116 S5.1.1 and S5.1.2, DOT 4, new and with water, at least, in °F as the
# standard rounds them; read in reprints, clause numbers from memory. It speaks of brakes, so it is borrowed.
DOT_4 = (446, 311)
# An agricultural maker's table for bolts into cast aluminium, M6 of class 8.8.
M6_IN_ALLOY = 9
# An off-road single's workshop manual, title withheld: pushrod bend.
ROD_BEND = 0.2


def figures(holder: str) -> tuple[Figure, ...]:
    """The figures of a look, an access or a repair."""
    parts = (flow().asks, flow().access, flow().remedies)
    return next(part[holder].figures for part in parts if holder in part)  # type: ignore[index]


@pytest.mark.parametrize("holder", ["free-play", "set-free-play", "renew-cable", "renew-plates"])
def test_lever_play_is_what_the_builder_says(holder: str) -> None:
    play = next(f for f in figures(holder) if "lever root" in f.what)
    assert play.upto is not None
    assert (play.value, play.upto) == pytest.approx([inch * 25.4 for inch in PLAY_INCHES], abs=0.4)
    assert (play.basis, play.source) == ("sourced", "clutch-inspection")


def test_boiling_points_are_those_of_the_standard_and_called_borrowed() -> None:
    new, wet = figures("bleed-clutch")
    assert [new.value, wet.value] == pytest.approx([(f - 32) / 1.8 for f in DOT_4], abs=0.5)
    assert {new.basis, wet.basis} == {"borrowed"}
    assert "49 CFR 571.116" in figure_line(wording(), flow(), new, "metric")


@pytest.mark.parametrize("cover", ["outer-clutch-cover", "main-right-cover"])
def test_cover_bolts_are_no_tighter_than_light_alloy_bears(cover: str) -> None:
    (bolts,) = figures(cover)
    assert bolts.value == M6_IN_ALLOY
    assert (bolts.upto or M6_IN_ALLOY) <= M6_IN_ALLOY + 1
    assert (bolts.basis, bolts.thread, bolts.thread_state) == ("borrowed", "right-hand", "dry")


@pytest.mark.parametrize("holder", ["clutch-hub", "renew-release-parts"])
def test_the_bend_of_a_pushrod_is_one_manuals_and_called_borrowed(holder: str) -> None:
    rod = next(f for f in figures(holder) if "pushrod" in f.what)
    assert (rod.value, rod.unit, rod.basis) == (ROD_BEND, "mm", "borrowed")


@pytest.mark.parametrize("remedy", ["renew-basket", "refit-hub-nut", "reassemble-clutch"])
def test_locker_has_a_day_to_cure_as_its_maker_says(remedy: str) -> None:
    """An adhesive maker's questions and answers: full cure 24 h."""
    cure = next(f for f in figures(remedy) if "cure" in f.what)
    assert (cure.value, cure.unit, cure.basis, cure.source) == (24, "h", "sourced", "adhesive-faq")
    assert 24 in {step.wait_hours for step in flow().remedies[remedy].steps}


PRACTICE = {  # common practice, no source
    "clutch-pack": {(0.5, None, "mm"), (0.1, 0.2, "mm")},
    "clutch-hub": {(0.3, None, "mm")},
    "lever-hold": {(30, None, "s")},
    "plates-soaked": {(30, None, "min")},
    "creep-test": {(3, None, "m")},
    "free-play": {(10, 20, "mm")},
}


@pytest.mark.parametrize("check", PRACTICE)
def test_a_limit_of_practice_is_called_practice(check: str) -> None:
    shown = {(f.value, f.upto, f.unit) for f in figures(check) if f.basis == "practice"}
    assert shown == PRACTICE[check]


def test_no_torque_is_given_for_hub_nut_or_spring_bolts() -> None:
    """They differ by bike, and a wrong one lets go: only cover bolts have a figure."""
    holders = [*flow().asks.values(), *flow().access.values(), *flow().remedies.values()]
    torques = [f.what for h in holders for f in h.figures if "N·m" in f.unit or "lbf" in f.unit]
    assert len(torques) == 2
    assert all("cover bolts" in what for what in torques)


# --- what a finding points at ---------------------------------------------------------------------------

TELLING: list[tuple[str, str, Told, str]] = [
    ("slips, no play", "cable", {"complaint": ("slips",), "free-play": ("no-play",)}, "no-free-play"),
    ("neutral hides, much play", "cable", {"complaint": ("neutral", "slack"), "free-play": ("much",)},
     "too-slack"),
    ("stiff, changes with the bars", "cable", {"complaint": ("stiff",), "when-bad": ("bars",)}, "cable-bad"),
    ("stiff since a fall", "cable", {"complaint": ("stiff",), "lately": ("fell",), "cable-look": ()},
     "lever-damaged"),
    ("slips hot, lever stays in", "hydraulic",
     {"complaint": ("slips",), "when-bad": ("hot",), "lever-hold": ("stays-in",)}, "no-return"),
    ("empty lever, pumps up, just bled", "hydraulic",
     {"complaint": ("slack",), "lately": ("control",), "lever-hold": ("pumps",)}, "clutch-air"),
    ("empty lever, sinks, fluid low", "hydraulic",
     {"complaint": ("slack",), "lever-hold": ("sinks",), "fluid-look": ("low",)}, "clutch-leak"),
    ("stiff after new fluid, bottle not as the cap", "hydraulic",
     {"complaint": ("stiff",), "lately": ("control",), "fluid-look": ("wrong",)}, "wrong-fluid"),
    ("slips since the oil change", "cable",
     {"complaint": ("slips",), "came": ("sudden",), "lately": ("oil",)}, "wrong-oil"),
    ("drags only cold, gone warm", "cable",
     {"complaint": ("cold",), "push-test": ("stiff",), "creep-test": ("gone",)}, "oil-thick-or-over"),
    ("slips hot after a bog, play is right, oil burnt", "cable",
     {"complaint": ("slips",), "when-bad": ("hot",), "lately": ("hard",), "free-play": (),
      "oil-look": ("burnt",)}, "plates-worn"),
    ("creeps hot after hard use", "cable",
     {"complaint": ("creeps", "neutral"), "when-bad": ("hot",), "lately": ("hard",), "free-play": ()},
     "plates-warped"),
    ("grabs with new plates put in dry", "cable",
     {"complaint": ("grabs", "creeps"), "lately": ("clutch",), "plates-soaked": ("bad",)}, "plates-dry"),
    ("held in gear after the winter", "cable",
     {"push-test": ("held",), "came": ("sudden",), "lately": ("stood",)}, "plates-stuck"),
    ("slips hot, springs short", "cable",
     {"complaint": ("slips",), "when-bad": ("hot",), "clutch-pack": ("springs",)}, "springs-weak"),
    ("neutral hides when it runs, and grabs", "cable",
     {"complaint": ("neutral", "grabs"), "free-play": (), "neutral-off": ("good",)}, "basket-notched"),
    ("neutral hides, engine on or off", "cable", {"complaint": ("neutral",), "neutral-off": ("bad",)},
     "shift-side"),
    ("scrape and a wandering bite after clutch work", "cable",
     {"danger-signs": ("scrape",), "complaint": ("slack", "neutral"), "lately": ("clutch",)},
     "hub-nut-loose"),
    ("suddenly no release, play is right", "cable",
     {"push-test": ("held",), "complaint": ("slack",), "came": ("sudden",), "free-play": (),
      "cable-look": (), "lever-look": ()}, "release-parts"),
    ("slips and drags since clutch work, order wrong", "cable",
     {"complaint": ("slips", "neutral"), "lately": ("clutch",), "clutch-hub": ("sequence",)}, "misassembled"),
    ("suddenly grabs, a post is broken", "cable",
     {"complaint": ("grabs",), "came": ("sudden",), "clutch-hub": ("broken",)}, "plate-or-spring-broken"),
    ("automatic, slips, shoes thin", "auto", {"complaint": ("slips",), "auto-look": ("bad",)}, "auto-clutch"),
    ("automatic, creeps, idles too fast", "auto", {"complaint": ("creeps",), "idle-speed": ("bad",)},
     "auto-idle"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "told", "cause"), [row[1:] for row in TELLING], ids=[row[0] for row in TELLING]
)
def test_what_was_found_points_at_what_a_mechanic_would_name_first(kind: str, told: Told, cause: str) -> None:
    base = {ask: v for ask, v in WELL.items() if kind != "auto" or ask != "push-test"}
    assert first({**base, **told}, kind) == cause


def test_every_cause_is_first_for_something() -> None:
    assert {cause for *_, cause in TELLING} == set(flow().causes)


def test_a_steel_basket_hardly_ever_notches() -> None:
    """Common practice, no source: a billet steel basket rarely takes a step."""
    notched = flow().causes["basket-notched"]
    assert notched.share_if["basket"]["steel"] < notched.share / 4


# --- what must not run or be ridden ---------------------------------------------------------------------

BOTH, RIDE = {"running", "riding"}, {"riding"}
STOPS: list[tuple[str, str, Told, str, set[str]]] = [
    ("held in gear", "cable", {"push-test": ("held",)}, "does-not-let-go", BOTH),
    ("jumped with the lever pulled", "cable", {"danger-signs": ("jumped",)}, "does-not-let-go", BOTH),
    ("creeps warm", "cable", {"complaint": ("creeps",)}, "creeps-in-gear", RIDE),
    ("creeps at the test", "cable", {"creep-test": ("creeps",)}, "creeps-in-gear", RIDE),
    ("burnt smell", "cable", {"danger-signs": ("smell",)}, "burnt-clutch", RIDE),
    ("scrape in the cover", "cable", {"danger-signs": ("scrape",)}, "scrapes-inside", BOTH),
    ("metal told", "cable", {"danger-signs": ("pieces",)}, "metal-pieces", BOTH),
    ("metal on paper", "cable", {"oil-look": ("pieces",)}, "metal-pieces", BOTH),
    ("metal in the cover", "cable", {"clutch-hub": ("pieces",)}, "metal-pieces", BOTH),
    ("hub nut loose", "cable", {"clutch-hub": ("hub-nut",)}, "hub-nut-found-loose", BOTH),
    ("pressure plate broken", "cable", {"clutch-hub": ("broken",)}, "broken-inside", BOTH),
    ("lever told broken", "cable", {"danger-signs": ("lever",)}, "lever-is-broken", RIDE),
    ("perch found cracked", "hydraulic", {"lever-look": ("broken",)}, "lever-is-broken", RIDE),
    ("cable told snapped", "cable", {"danger-signs": ("cable",)}, "cable-is-breaking", RIDE),
    ("cable found frayed", "cable", {"cable-look": ("strands",)}, "cable-is-breaking", RIDE),
    ("fluid told out", "hydraulic", {"danger-signs": ("fluid",)}, "fluid-runs-out", RIDE),
    ("fluid found wet", "hydraulic", {"fluid-look": ("wet",)}, "fluid-runs-out", RIDE),
    ("wrong fluid", "hydraulic", {"fluid-look": ("wrong",)}, "wrong-fluid", RIDE),
    ("oil runs out", "cable", {"danger-signs": ("oil",)}, "oil-runs-out", BOTH),
    ("locked in neutral too", "cable", {"push-test": ("locked",)}, "locked-or-tight", BOTH),
]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "told", "rule", "bars"), [row[1:] for row in STOPS], ids=[row[0] for row in STOPS]
)
def test_what_can_hurt_raises_its_stop_and_no_other(kind: str, told: Told, rule: str, bars: set[str]) -> None:
    assert raised({**WELL, **told}, kind) == {rule}
    assert set(flow().stop_rules[rule].bars) == bars


def test_a_fall_with_a_hurt_head_is_a_stop_and_a_fall_alone_is_none() -> None:
    fell = WELL | {"lately": ("fell",)}
    assert raised(fell | {"rider-hurt": ("hurt",)}) == {"rider-hurt", "hurt-in-the-fall"}
    assert raised(fell | {"rider-hurt": ("fine",)}) == set()


@pytest.mark.parametrize(
    "told",
    [
        {}, {"complaint": ("slips",)}, {"complaint": ("cold",)}, {"complaint": ("neutral", "grabs")},
        {"push-test": ("stiff",)}, {"creep-test": ("gone",)}, {"free-play": ("no-play",)},
        {"lever-look": ("bent",)}, {"cable-look": ("stiff",)}, {"oil-look": ("wrong", "over", "burnt")},
        {"clutch-pack": ("fingers", "worn", "warped")}, {"clutch-hub": ("sequence", "release")},
    ],
)  # fmt: skip
def test_what_can_wait_for_a_look_raises_no_stop(told: Told) -> None:
    assert raised({**WELL, **told}) == set()


OWN = [
    rule for rule in flow().stop_rules if any(rule == row[3] for row in STOPS) and rule != "locked-or-tight"
]


@pytest.mark.parametrize("rule", OWN)
def test_no_rider_lifts_a_stop_by_his_word(rule: str) -> None:
    cleared = flow().stop_rules[rule].cleared_by
    assert cleared.by == "mechanic" or cleared.any


@pytest.mark.parametrize("rule", ["metal-pieces", "wrong-fluid", "oil-runs-out"])
def test_metal_unknown_fluid_and_lost_oil_are_a_mechanics_to_lift(rule: str) -> None:
    cleared = flow().stop_rules[rule].cleared_by
    assert (cleared.by, cleared.any, cleared.all) == ("mechanic", (), ())


def test_metal_says_where_it_goes_on() -> None:
    assert "metal in the oil" in flow().stop_rules["metal-pieces"].say


@pytest.mark.parametrize("rule", OWN)
def test_a_look_that_lifts_a_stop_catches_nine_of_ten(rule: str) -> None:
    for name in flow().stop_rules[rule].cleared_by.any:
        look = flow().checks.get(name.removesuffix(".good"))
        if look is not None:
            marks = getattr(look, "marks", {"": look})
            caught = [f.catches for mark in marks.values() for f in mark.finds]
            assert max(caught) >= 0.9


# --- what is never asked under a stop, and what every proof begins with ---------------------------------


@pytest.mark.parametrize("row", [row for row in STOPS if row[4] == BOTH], ids=lambda row: row[0])
def test_under_a_stop_that_bars_running_nobody_is_sent_to_start_it(
    row: tuple[str, str, Told, str, set[str]],
) -> None:
    _, kind, told, rule, _ = row
    chat = talk(kind).talk("clutch drags")
    answers = {**WELL, "rider-hurt": ("fine",), **told}
    for _ in range(30):
        what, id = chat.asked
        if what in ("none", "hand_over", "park", "remedy", "access", "cure", "proof", "second_look"):
            break
        if rule in chat.stops and id in flow().asks:
            assert flow().asks[id].needs == "nothing"
        chat.press("control:not_sure") if id not in answers else chat.reply(answers)
    assert chat.asked[0] not in ("proof", "second_look")


def test_no_step_of_a_repair_that_lifts_a_running_stop_starts_the_engine() -> None:
    """A step is done before the stop is lifted, so what must run stands in the proof."""
    lifting = {
        name
        for rule in flow().stop_rules.values()
        if "running" in rule.bars
        for name in rule.cleared_by.any
        if name in flow().remedies
    }
    told = [step for name in lifting for step in flow().remedies[name].steps]
    assert len(lifting) >= 15
    assert not [s.do for s in told if {"exhaust-gas", "creep-clear", "live-test-run"} & set(s.cautions)]


@pytest.mark.parametrize("remedy", [r for r in flow().remedies if r not in ("renew-auto", "set-idle")])
def test_every_proof_pushes_before_it_starts_and_stands_before_it_rides(remedy: str) -> None:
    proof = flow().remedies[remedy].proof
    assert proof is not None
    push, start, stand, ride = (
        proof.do.index(words) for words in ("it must roll", "Start in neutral", "it must stand", "10 minutes")
    )
    assert push < start < stand < ride
    assert {"creep-clear", "exhaust-gas", "live-test-run"} <= set(proof.cautions)


@pytest.mark.parametrize("id", [id for id, ask in flow().asks.items() if ask.needs == "running"])
def test_what_runs_in_gear_says_that_it_may_jump(id: str) -> None:
    ask = flow().asks[id]
    said = {*ask.cautions, *(c for step in ask.steps for c in step.cautions)}
    assert {"creep-clear", "exhaust-gas"} <= said


def test_a_clutch_on_a_stand_is_never_put_in_gear_with_the_engine_running() -> None:
    assert "never in gear on a stand" in flow().cautions["creep-clear"].say
    assert "rear wheel up" in flow().cautions["creep-clear"].say


@pytest.mark.parametrize("kind", ["cable", "hydraulic", "auto"])
def test_a_bike_is_only_asked_what_it_has(kind: str) -> None:
    other = {"cable": "lever-hold", "hydraulic": "cable-look", "auto": "free-play"}[kind]
    assert kind not in flow().asking(other).only_when["clutch-kind"]
