"""The flow about brakes against what is published, and against what a mechanic would say first.

Boiling points are typed in here from the standard named beside them; limits of pads, discs and levers are
common practice, no source, and the flow must call them so. What a finding points at is common practice, no
source, too, written down before the flow was asked.
"""

from __future__ import annotations

import pytest

from bot.authoring import lint, shelf
from bot.core.flow import Figure
from bot.core.phrases import figure_line
from tests.core.chat import wording
from tests.core.worlds import odd_sums
from tests.flows.brakes import ID, Talk, first, flow, raised, talk
from tests.flows.flagship import Told

WELL: Told = {
    "brake-feel": ("hold",), "wheel-free": ("free",), "which-brake": ("front",), "complaint": (),
    "pumping": ("firm",), "when-bad": ("always",), "lately": (), "fluid-age": ("young",),
}  # fmt: skip
"""A bike whose brakes hold, with nothing told against them."""
ON_DRUMS = {ask: value for ask, value in WELL.items() if ask not in ("pumping", "fluid-age")}

# --- the flow as a whole ------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["", "discs", "mixed", "drums"])
def test_the_answers_of_every_question_add_up_to_one_for_two_hundred_sets_of_causes(kind: str) -> None:
    assert odd_sums(flow(), {"brake-kind": kind} if kind else {}) == []


def test_the_flow_has_no_mistake() -> None:
    assert lint.judge(shelf.find().flow(ID)) == ()


# --- brake fluid --------------------------------------------------------------------------------------

# US standard FMVSS 116, 49 CFR 571.116 S5.1.1 and S5.1.2, equilibrium reflux boiling point of new fluid and
# of fluid with water in it, at least, in degrees Fahrenheit as the standard rounds them; read in reprints of
# it, clause numbers from memory.
BOILS_AT_LEAST = {"DOT 3": (401, 284), "DOT 4": (446, 311), "DOT 5.1": (500, 356)}
MISPRINTED = {270, 191}  # degrees Celsius that an old encyclopedia gave for DOT 5.1


def fluids() -> dict[str, tuple[Figure, Figure]]:
    """What the flow says that each fluid boils at: new, and with water in it."""
    found: dict[str, list[Figure]] = {}
    for figure in flow().remedies["flush"].figures:
        found.setdefault(figure.what.partition(",")[0], []).append(figure)
    return {name: (new, wet) for name, (new, wet) in found.items()}


@pytest.mark.parametrize("name", BOILS_AT_LEAST)
def test_a_fluid_boils_where_the_standard_says(name: str) -> None:
    new, wet = fluids()[name]
    assert "new" in new.what
    assert "water" in wet.what
    for figure, fahrenheit in zip((new, wet), BOILS_AT_LEAST[name], strict=True):
        assert figure.unit == "°C"
        assert figure.value == pytest.approx((fahrenheit - 32) / 1.8, abs=0.5)  # by the definition of °F


def test_no_other_fluid_is_given_and_the_misprint_is_not_copied() -> None:
    assert set(fluids()) == set(BOILS_AT_LEAST)
    assert {f.value for pair in fluids().values() for f in pair} & MISPRINTED == set()


def test_boiling_points_name_the_standard_as_their_source() -> None:
    figures = [f for pair in fluids().values() for f in pair]
    assert {(f.basis, f.source) for f in figures} == {("sourced", "fmvss-116")}
    assert "49 CFR 571.116" in figure_line(wording(), flow(), figures[0], "metric")
    assert "401" in figure_line(wording(), flow(), figures[0], "imperial")


def test_a_better_class_boils_later_and_water_always_costs_degrees() -> None:
    new, wet = ([pair[n].value for pair in fluids().values()] for n in (0, 1))
    assert new == sorted(new)
    assert wet == sorted(wet)
    assert all(w < n for n, w in zip(new, wet, strict=True))


# --- pads, discs, levers: common practice, no source --------------------------------------------------

LIMITS = {
    "pads-look": {(1, None, "mm")},  # least lining, or the wear groove
    "disc-runout": {(0.3, None, "mm")},
    "free-play": {(1, 3, "mm"), (5, 15, "mm")},  # lever; pedal
    "spin-test": {(1, 2, "turns")},  # free turns by hand after a hard pull
    "lever-hold": {(30, None, "s")},
    "fluid-look": {(2, None, "years")},
}


@pytest.mark.parametrize("check", LIMITS)
def test_a_limit_of_practice_is_shown_with_its_look_and_called_practice(check: str) -> None:
    figures = flow().checks[check].figures
    assert {(f.value, f.upto, f.unit) for f in figures} == LIMITS[check]
    assert {f.basis for f in figures} == {"practice"}


def test_no_other_look_has_a_figure_and_no_torque_is_given_at_all() -> None:
    assert {id for id, ask in flow().asks.items() if ask.figures} == set(LIMITS)
    holders = [*flow().asks.values(), *flow().access.values(), *flow().remedies.values()]
    assert [f.what for h in holders for f in h.figures if "N·m" in f.unit or "lbf" in f.unit] == []


# --- what a finding points at ---------------------------------------------------------------------------

TELLING: list[tuple[str, Told, str]] = [
    ("springy, pumps up, just bled", {"complaint": ("spongy",), "pumping": ("pumps",), "lately": ("fluid",)},
     "air-in-line"),
    ("long only when hot, old fluid",
     {"complaint": ("spongy",), "when-bad": ("hot",), "fluid-age": ("old",)}, "fluid-old-or-boiled"),
    ("firm and weak only when hot, fresh fluid", {"complaint": ("weak",), "when-bad": ("hot",)}, "hot-fade"),
    ("sinks while held, all dry", {"pumping": ("sinks",), "lever-hold": ("sinks-dry",)}, "master-seals"),
    ("wet at the hose", {"leak-look": ("line",)}, "leak-line"),
    ("wet at the pistons", {"leak-look": ("caliper",)}, "leak-caliper"),
    ("weak, grinds, no lining", {"complaint": ("weak", "grinds"), "pads-look": ("thin", "metal")},
     "pads-worn"),
    ("weak since fork oil came near", {"complaint": ("weak",), "lately": ("oil",), "pads-look": ("oily",)},
     "pads-oiled"),
    ("weak, squeals, lining like a mirror", {"complaint": ("weak", "squeal"), "pads-look": ("shiny",)},
     "pads-glazed"),
    ("squeals and weak only wet", {"complaint": ("squeal", "weak"), "when-bad": ("wet",)}, "wet-or-mud"),
    ("new pads, firm, weak, pads in right",
     {"complaint": ("weak",), "lately": ("pads",), "pads-look": ()}, "pads-not-bedded"),
    ("new pads, grinds at once", {"complaint": ("grinds", "weak"), "lately": ("pads", "wheel")},
     "pads-wrong-way"),
    ("drags, free travel is there", {"wheel-free": ("drags",), "free-play": ("good",)}, "caliper-sticky"),
    ("locks on when hot, no free travel",
     {"wheel-free": ("hot",), "when-bad": ("hot",), "free-play": ("bad",)}, "no-free-play"),
    ("pulses since a fall", {"complaint": ("pulses",), "lately": ("fell",)}, "disc-bent"),
    ("pulses, cracked", {"complaint": ("pulses",), "disc-look": ("cracked",)}, "disc-worn"),
    ("clunks, a disc bolt turns", {"complaint": ("clunks",), "disc-look": ("bolts",)}, "disc-bolts-loose"),
    ("clunks, wheel was out, a caliper bolt turns",
     {"complaint": ("clunks",), "lately": ("wheel",), "wheel-and-caliper": ("bolts",)},
     "caliper-bolts-loose"),
    ("drags since the wheel was out, disc off centre",
     {"wheel-free": ("drags",), "lately": ("wheel",), "wheel-and-caliper": ("spacer",)}, "wheel-misfit"),
    ("long first pull, wheel clicks", {"complaint": ("long", "clunks"), "wheel-and-caliper": ("play",)},
     "wheel-bearing"),
    ("stiff since a fall", {"complaint": ("stiff",), "lately": ("fell",)}, "lever-or-hose-bent"),
    ("stiff and drags after new fluid, bottle is not as the cap",
     {"wheel-free": ("drags",), "complaint": ("stiff",), "lately": ("fluid",), "fluid-look": ("wrong",)},
     "wrong-fluid"),
]  # fmt: skip


@pytest.mark.parametrize(("told", "cause"), [row[1:] for row in TELLING], ids=[row[0] for row in TELLING])
def test_what_was_found_points_at_what_a_mechanic_would_name_first(told: Told, cause: str) -> None:
    assert first({**WELL, **told}) == cause


def test_a_drum_that_bites_late_points_at_its_linings() -> None:
    told = ON_DRUMS | {"which-brake": ("rear",), "complaint": ("weak", "long")}
    assert first(told, "drums") == "drum-linings"


def test_every_cause_of_discs_is_first_for_something() -> None:
    assert {cause for _, _, cause in TELLING} == set(flow().causes) - {"drum-linings"}


def test_hot_fade_is_not_called_air() -> None:
    """Firm all along and good again cold: bleeding it again does nothing."""
    told = WELL | {"complaint": ("weak",), "when-bad": ("hot",), "lately": ("fluid",)}
    assert first(told) == "hot-fade"


# --- what must not be ridden ----------------------------------------------------------------------------

STOPS: list[tuple[str, Told, set[str]]] = [
    ("no pressure, or lever to the bar", {"brake-feel": ("gone",)}, {"brake-gone"}),
    ("lever to the bar, told as the complaint", {"complaint": ("to-end",)}, {"brake-gone"}),
    ("stays soft", {"pumping": ("soft",)}, {"brake-gone"}),
    ("sinks while held", {"pumping": ("sinks",)}, {"brake-gone"}),
    ("sinks in 30 s", {"lever-hold": ("sinks-dry",)}, {"sinks-under-hold"}),
    ("sinks and gets wet", {"lever-hold": ("sinks-wet",)}, {"fluid-or-oil-found"}),
    ("fluid or oil on it", {"brake-feel": ("wet",)}, {"brake-gone"}),
    ("leak at the hose", {"leak-look": ("line",)}, {"fluid-or-oil-found"}),
    ("leak at the caliper", {"leak-look": ("caliper",)}, {"fluid-or-oil-found"}),
    ("leak at the boot", {"leak-look": ("master",)}, {"fluid-or-oil-found"}),
    ("oil on the pads", {"pads-look": ("oily",)}, {"fluid-or-oil-found"}),
    ("drags hot or locked", {"wheel-free": ("hot",)}, {"drags-hot"}),
    ("no free travel", {"free-play": ("bad",)}, {"no-free-travel"}),
    ("pads to metal, heard", {"complaint": ("grinds",)}, {"friction-gone"}),
    ("pads to metal, seen", {"pads-look": ("metal",)}, {"friction-gone"}),
    ("disc bolt loose", {"disc-look": ("bolts",)}, {"disc-not-safe"}),
    ("disc cracked or too thin", {"disc-look": ("cracked",)}, {"disc-not-safe"}),
    ("caliper bolt loose", {"wheel-and-caliper": ("bolts",)}, {"wheel-or-caliper-loose"}),
    ("wheel clicks", {"wheel-and-caliper": ("play",)}, {"wheel-or-caliper-loose"}),
    ("spacer left out", {"wheel-and-caliper": ("spacer",)}, {"wheel-or-caliper-loose"}),
    ("fluid not as the cap, or not known", {"fluid-look": ("wrong",)}, {"wrong-fluid"}),
    ("bent lever or hurt hose", {"lever-and-hose": ("bad",)}, {"lever-or-hose-damaged"}),
]  # fmt: skip


@pytest.mark.parametrize(("told", "rules"), [row[1:] for row in STOPS], ids=[row[0] for row in STOPS])
def test_what_makes_a_brake_unsafe_bars_riding(told: Told, rules: set[str]) -> None:
    assert raised({**WELL, **told}) == rules
    assert all("riding" in flow().stop_rules[rule].bars for rule in rules)


def test_a_worn_out_drum_bars_riding() -> None:
    assert raised(ON_DRUMS | {"drum-marker": ("bad",)}, "drums") == {"friction-gone"}


@pytest.mark.parametrize(
    "told",
    [
        {}, {"complaint": ("squeal",)}, {"complaint": ("pulses",)}, {"wheel-free": ("drags",)},
        {"pads-look": ("shiny",)}, {"disc-look": ("film",)}, {"pumping": ("pumps",)}, {"fluid-age": ("old",)},
    ],
)  # fmt: skip
def test_what_can_wait_for_a_look_raises_no_stop(told: Told) -> None:
    assert raised({**WELL, **told}) == set()


def test_a_fall_asks_after_the_person_before_the_bike() -> None:
    chat = talk().talk("weak brake")
    while chat.asked != ("question", "lately"):
        chat.reply(WELL | {"complaint": ("weak",)})
    chat.reply({"lately": ("fell",)})
    assert chat.asked == ("question", "rider-hurt")
    chat.press("hurt")
    assert {"rider-hurt", "hurt-in-the-fall"} <= chat.stops


OWN = ("drags-hot", "friction-gone", "fluid-or-oil-found", "sinks-under-hold", "no-free-travel",
       "wrong-fluid", "disc-not-safe", "wheel-or-caliper-loose", "lever-or-hose-damaged")  # fmt: skip


@pytest.mark.parametrize("rule", [*OWN, "brake-gone"])
def test_only_a_mechanics_own_word_lifts_a_stop_about_brakes(rule: str) -> None:
    cleared = flow().stop_rules[rule].cleared_by
    assert (cleared.by, cleared.any, cleared.all) == ("mechanic", (), ())
    assert "qualified mechanic" in flow().stop_rules[rule].say


# --- the end: a qualified look before riding ----------------------------------------------------------


@pytest.mark.parametrize("remedy", flow().remedies)
def test_every_repair_is_proved_by_hand_and_by_a_qualified_mechanic_before_it_is_ridden(remedy: str) -> None:
    model = flow().remedies[remedy]
    assert model.qualified_look
    assert model.proof is not None
    assert model.proof.needs == "nothing"
    assert "before any riding, a qualified mechanic looks" in model.proof.do
    assert "qualified mechanic has looked" in model.proof.good
    assert model.second_look == "first-rides"


def test_nothing_of_the_search_needs_a_running_engine_or_a_ride() -> None:
    assert {ask.needs for ask in flow().asks.values()} == {"nothing"}


# Each stop that a look raises, with what else was told, so that its repair follows.
TO_THE_END: dict[str, Told] = {
    "drags-hot": {"wheel-free": ("hot",), "when-bad": ("hot",), "free-play": ("bad",)},
    "friction-gone": {"complaint": ("weak", "grinds"), "pads-look": ("thin",)},
    "sinks-under-hold": {"complaint": ("long",), "lever-hold": ("sinks-dry",)},
    "disc-not-safe": {"complaint": ("pulses", "clunks"), "disc-look": ("bolts",)},
    "wheel-or-caliper-loose": {
        "complaint": ("clunks",), "lately": ("wheel",), "disc-look": (), "wheel-and-caliper": ("bolts",),
    },
    "lever-or-hose-damaged": {"complaint": ("stiff",), "lately": ("fell",), "lever-and-hose": ("bad",)},
    "brake-gone": {"brake-feel": ("gone",), "pumping": ("soft",), "leak-look": ("line",)},
}  # fmt: skip
RIGHT: Told = {"rider-hurt": ("fine",), "after-work": ("right",), "pads-look": (), "disc-look": (),
               "caliper-moves": ("good",),
               "leak-look": (), "lever-hold": (), "fluid-look": (), "bleed-screw": (),
               "first-drops": (), "cold-again": (),
               "free-play": ("good",), "lever-and-hose": ("good",), "spin-test": (),
               "disc-runout": ("good",), "wheel-and-caliper": ()}  # fmt: skip
ENDS = ("none", "hand_over", "park", "after_work")


def mended(told: Told) -> tuple[Talk, list[str]]:
    """Answered and repaired as told, up to the first look after the repair; and all that was said."""
    chat, said = talk(), list[str]()
    chat.say("brakes feel wrong")
    for _ in range(60):
        said.append(chat.said)
        if chat.asked[0] in (*ENDS, "second_look"):
            return chat, said
        if chat.asked[0] == "cure":
            chat.press("cured")
        else:
            chat.reply(WELL | RIGHT | told)
    raise AssertionError(f"still asking {chat.asked}")


@pytest.mark.parametrize("rule", TO_THE_END)
def test_under_a_stop_a_repair_ends_with_a_qualified_look_and_is_not_proved_without_it(rule: str) -> None:
    chat, said = mended(TO_THE_END[rule])
    assert rule in chat.stops
    assert chat.asked == ("second_look", "first-rides")
    proofs = [text for text in said if "Now prove it" in text]
    assert len(proofs) == 1
    assert "before any riding, a qualified mechanic looks" in proofs[0]
    assert "no riding while a stop stands here" in chat.said
    assert chat.messages[-1].text.startswith("Still standing: LOOK FIRST.")
    assert "Only with no stop standing here." in chat.messages[-1].text
    for _ in flow().second_looks["first-rides"].looks:
        chat.press("done")
        chat.reply(RIGHT)
    assert chat.state.ended is None
    assert rule in chat.stops
    assert "proves nothing yet" in chat.said


# What a rider tells who finds everything as it should be.
ALL_WELL: Told = {
    "wheel-free": ("free",), "lever-and-hose": ("good",), "free-play": ("good",), "after-work": ("right",),
    "leak-look": (), "first-drops": (), "pumping": ("firm",), "brake-feel": ("hold",),
}  # fmt: skip


@pytest.mark.parametrize("rule", [rule for rule in TO_THE_END if rule != "drags-hot"])
def test_no_look_of_the_riders_and_no_run_ends_it_as_fixed_while_the_stop_stands(rule: str) -> None:
    chat, _ = mended(TO_THE_END[rule])
    for _ in flow().second_looks["first-rides"].looks:
        chat.press("done")
        chat.reply(RIGHT)
    for _ in range(40):
        what, id = chat.asked
        assert (what, id) != ("proof", ""), "a run in general proves nothing of what may not be ridden"
        if what in ("hand_over", "none"):
            break
        chat.press("gone") if what == "held" else chat.reply(ALL_WELL)
    assert rule in chat.stops
    assert chat.state.ended is None or chat.state.ended.how not in ("proved", "released")


@pytest.mark.parametrize("rule", TO_THE_END)
def test_once_a_mechanic_has_lifted_what_stands_the_same_looks_prove_it(rule: str) -> None:
    chat, _ = mended(TO_THE_END[rule])
    chat.hold()
    for _ in range(len(chat.stops)):
        chat.wrench("lift the stop: looked at it, firm, dry, tight and free")
        if chat.asked_of_wrench[0] == "lift":
            chat.wrench("1")
    assert chat.stops == set()
    for _ in flow().second_looks["first-rides"].looks:
        chat.press("done")
        chat.reply(RIGHT)
    assert chat.state.ended is not None
    assert chat.state.ended.how == "proved"


@pytest.mark.parametrize(
    ("told", "rule"),
    [
        ({"complaint": ("stiff",), "lately": ("fluid",), "fluid-look": ("wrong",)}, "wrong-fluid"),
        ({"brake-feel": ("wet",), "complaint": ("weak",), "leak-look": ("caliper",)}, "brake-gone"),
    ],
)
def test_what_is_a_workshops_job_is_handed_over_with_its_stop(told: Told, rule: str) -> None:
    """Common practice, no source: all seals, and those of a caliper, are not renewed at the trailer."""
    chat, _ = mended(told)
    assert chat.asked == ("hand_over", "")
    chat.press("yes")
    assert chat.state.ended is not None
    assert chat.state.ended.how == "handed_over"
    assert rule in chat.stops


def test_on_drums_nothing_about_fluid_or_discs_is_ever_asked() -> None:
    chat = talk("drums")
    chat.say("rear brake is weak")
    put = set[str]()
    told = ON_DRUMS | {"which-brake": ("rear",), "complaint": ("weak", "long"), "drum-marker": ("good",)}
    for _ in range(40):
        if chat.asked[0] in (*ENDS, "second_look", "remedy"):
            break
        put.add(chat.asked[1])
        chat.reply(told)
    kinds = {id: ask.only_when.get("brake-kind", ("drums",)) for id, ask in flow().asks.items()}
    assert "drum-marker" in put
    assert put & {id for id, of in kinds.items() if "drums" not in of} == set()
