"""The flow for after a crash: the rider first, every heading of the published list, and three honest ends.

Published figures are typed in here from the sources named beside them. What has no source is marked so.
"""

from __future__ import annotations

from functools import cache

import pytest

from bot.authoring import lint, load, shelf
from bot.core import plan
from bot.core.desk import BikeCard, Card, Desk
from bot.core.flow import Figure, Flow, Look, Several
from bot.core.told import pick
from bot.core.units import convert
from tests.core.chat import Chat
from tests.core.worlds import odd_sums
from tests.flows.flagship import Talk, Told

ID = "after-a-crash"
BIKE = {"cooling": "liquid"}

WHOLE: Told = {
    "rider-hurt": ("fine",), "rider-body": ("sore",), "fuel-leak": ("dry",), "brake-feel": ("hold",),
    "throttle-return": ("snaps",), "how-it-lay": ("short",), "engine-now": ("normal",), "fluids": (),
    "front": (), "fork": (), "controls": (), "wheels": (), "rear": ("good",), "frame": ("good",),
    "feet": ("good",), "first-start": (), "plug-out": ("good",), "air-box": ("good",), "tip-switch": (),
}  # fmt: skip
"""A rider who is all right, and a bike with scratches."""


@cache
def flow() -> Flow:
    return load.shipped(ID).flow


@cache
def cards() -> tuple[Card, ...]:
    return tuple(Card(c.flow, c.flow, c.title, c.riders_say, c.told_as) for c in load.cards())


class Crash(Talk):
    """A talk that knows this flow alone."""

    def desk(self) -> Desk:
        return Chat.desk(self)


def to_its_end(told: Told, words: str = "i fell off") -> Crash:
    """Answer as told until there is nothing more to say but a repair, an end or a wait."""
    talk = Crash(flow(), bikes=(BikeCard("b1", "Goat", BIKE, 43),))
    talk.say(words)
    for _ in range(40):
        if talk.asked[0] in ("pause", "remedy", "second_look", "hand_over", "park", "none"):
            return talk
        talk.reply({**WHOLE, **told})
    raise AssertionError(f"still asking {talk.asked}")


def asked(talk: Crash) -> set[str]:
    """The questions and checks that were put."""
    return {e.event.id for e in talk.state.entries if e.event.kind == "asked"}


# --- the flow as a whole ------------------------------------------------------------------------------


@pytest.mark.parametrize("cooling", ["", "liquid", "air"])
def test_the_answers_of_every_question_add_up_to_one_for_two_hundred_sets_of_causes(cooling: str) -> None:
    assert odd_sums(flow(), {"cooling": cooling} if cooling else {}) == []


def test_the_flow_has_no_mistake() -> None:
    assert lint.judge(shelf.find().flow(ID)) == ()


# --- coverage: a rider-training scheme's pre-ride inspection checklist, its six headings -----------------

HEADINGS = {
    "tyres and wheels": {"wheels", "rear", "brake-feel"},
    "controls": {"controls", "feet", "throttle-return", "first-start"},
    "lights and electrics": {"first-start", "tip-switch"},
    "oil and other fluids": {"fluids", "fuel-leak"},
    "chassis": {"front", "fork", "frame", "rear"},
    "stands": {"feet"},
}
RIDER = {"rider-hurt", "rider-body"}
OF_THE_FALL = {
    "how-it-lay",
    "engine-now",
    "plug-out",
    "air-box",
}  # not on that list: common practice, no source


@pytest.mark.parametrize("heading", HEADINGS)
def test_each_heading_of_the_published_list_is_asked_of_a_bike_that_seems_whole(heading: str) -> None:
    always = HEADINGS[heading] - {"tip-switch"}  # only of a bike that will not start
    assert always <= asked(to_its_end({}))


def test_every_question_of_the_flow_stands_under_a_heading_or_is_the_riders_or_the_falls() -> None:
    placed = RIDER | OF_THE_FALL | set().union(*HEADINGS.values()) | {"after-a-while"}
    common = {"steering-feel", "wheel-look", "turns-over"}  # heard when told; the walk round looks itself
    assert set(flow().asks) - common == placed


def test_the_order_is_rider_fuel_controls_and_only_then_the_walk_round() -> None:
    assert flow().safety[:2] == ("rider-hurt", "rider-body")
    put = [
        e.event.id for e in to_its_end({}).state.entries if e.event.kind == "asked" and e.event.id in WHOLE
    ]
    firsts = list(dict.fromkeys(put))
    assert firsts == [*flow().safety, *flow().opening, "first-start"]


# --- published figures ----------------------------------------------------------------------------------

# (check, what the figure says, value, unit, source of the value typed in here)
PUBLISHED = [
    ("wheels", 5.0, "mm", "a rider-training scheme's pre-ride checklist: out of round or true = 5 mm"),
    ("wheels", 2.0, "mm", "a supplier's technical tip on dirt bike spokes: 2 mm"),
    ("wheels", 25.0, "mm", "UK police, tread depth: a cut over 25 mm or 10 % of the section width"),
]


def figures(of: str) -> tuple[Figure, ...]:
    return flow().asks[of].figures if of in flow().asks else flow().remedies[of].figures


@pytest.mark.parametrize(("of", "value", "unit", "source"), PUBLISHED, ids=lambda x: str(x)[:30])
def test_a_published_figure_is_carried_as_it_was_published(
    of: str, value: float, unit: str, source: str
) -> None:
    assert (value, unit, "sourced") in {(f.value, f.unit, f.basis) for f in figures(of)}, source


def test_a_bead_is_never_seated_over_forty_pounds_to_the_inch() -> None:
    """A tyre maker's page of 2 May 2012 says 40 psi; 1 psi = 6894.757 Pa (NIST SP 811, B.8)."""
    [limit] = figures("seat-tyre")
    assert limit.basis == "sourced"
    assert convert(limit.value, limit.unit, "psi") is not None
    assert 2.70 <= limit.value <= 40 * 6894.757 / 1e5
    assert "2.75 bar (40 psi)" in flow().cautions["tyre-bead"].say


# --- what must stand, by hand -------------------------------------------------------------------------------

BOTH, RIDING, NOTHING = {"running", "riding"}, {"riding"}, set[str]()
# finding, the first cause, the stop that stands, what is barred: common practice, no source, but for the rim
# (over 5 mm: the checklist) and the tyre (cut to the cords: the police table).
TELLING: list[tuple[str, Told, str, str, set[str]]] = [
    ("petrol drips", {"fluids": ("petrol",)}, "fuel-leaks", "petrol-drips", BOTH),
    ("coolant drips", {"fluids": ("coolant",)}, "radiator-bent", "coolant-drips", RIDING),
    ("oil drips", {"fluids": ("oil",)}, "case-cracked", "oil-or-crack", BOTH),
    ("bars askew", {"front": ("twisted",)}, "bars-twisted", "front-turned", RIDING),
    ("bars bent", {"front": ("bent",)}, "bars-bent", "steering-or-frame", RIDING),
    ("fork bent", {"fork": ("bent",)}, "fork-damaged", "steering-or-frame", RIDING),
    ("steering notch", {"fork": ("notch",)}, "steering-head", "steering-or-frame", RIDING),
    ("lever broken", {"controls": ("lever",)}, "lever-broken", "lever-or-perch", RIDING),
    ("brake hose torn", {"controls": ("hose",)}, "brake-damaged", "brake-part", RIDING),
    ("rim over 5 mm", {"wheels": ("rim",)}, "wheel-bent", "rim-or-spokes", RIDING),
    ("rim 2 to 5 mm", {"wheels": ("little",)}, "rim-a-little-out", "", NOTHING),
    ("tyre cut or off", {"wheels": ("tyre",)}, "tyre-off", "tyre", RIDING),
    ("chain off", {"rear": ("bad",)}, "rear-out", "rear-askew", RIDING),
    ("frame cracked", {"frame": ("bad",)}, "frame-cracked", "steering-or-frame", RIDING),
    ("peg bent", {"feet": ("bad",)}, "peg-bent", "peg-or-pedal", RIDING),
    ("noise", {"first-start": ("noise",)}, "engine-hit", "new-noise", BOTH),
    ("revs hang", {"first-start": ("revs",)}, "throttle-damaged", "revs-hang", BOTH),
    ("kill switch dead", {"first-start": ("kill",)}, "kill-or-wiring", "not-started-yet", RIDING),
    ("upside down, wet", {"how-it-lay": ("lay",), "plug-out": ("bad",)}, "flooded", "liquid-in-engine", BOTH),
    ("drowned, wet", {"how-it-lay": ("water",), "plug-out": ("bad",)}, "flooded", "liquid-in-engine", BOTH),
    ("smokes, box wet", {"engine-now": ("smokes",), "air-box": ("bad",)},
     "air-box-wet", "smokes", RIDING),
    ("dead, then starts", {"engine-now": ("dead",), "tip-switch": ("wakes",)},
     "tip-latched", "will-not-start", BOTH),
]  # fmt: skip
BY_NAME = {name: (told, cause, rule, bars) for name, told, cause, rule, bars in TELLING}


@pytest.mark.parametrize("name", BY_NAME)
def test_a_finding_names_its_damage_first_and_raises_its_stop(name: str) -> None:
    told, cause, rule, bars = BY_NAME[name]
    talk = to_its_end(told)
    assert next(iter(chances(talk))) == cause
    waiting = {"not-started-yet"} if "first-start" in told else set()
    assert talk.stops == waiting | ({rule} if rule else set())
    assert talk.state.bars == bars


def chances(talk: Crash) -> dict[str, float]:
    """Causes by how likely they are, the likeliest first."""
    now = plan.beliefs(flow(), talk.state)
    return dict(sorted(((c, now.of(c)) for c in now.family.causes), key=lambda x: -x[1]))


@pytest.mark.parametrize("name", [n for n, (_, _, _, bars) in BY_NAME.items() if bars == BOTH])
def test_nothing_that_runs_the_engine_is_asked_under_a_stop_that_bars_running(name: str) -> None:
    talk = to_its_end(BY_NAME[name][0])
    raised = next(
        e.seq for e in talk.state.entries if e.event.kind == "stop_raised" and "running" in e.event.bars
    )
    after = {e.event.id for e in talk.state.entries if e.seq > raised and e.event.kind == "asked"}
    running = {id for id, ask in flow().asks.items() if ask.needs != "nothing"}
    assert not after & running


# --- the three ends ----------------------------------------------------------------------------------------


def test_ride_only_when_every_part_of_the_walk_round_and_the_first_start_was_good() -> None:
    talk = to_its_end({})
    assert talk.asked == ("second_look", "ride-on")
    assert "RIDE. " in talk.said


def test_two_to_five_millimetres_is_ride_slowly_and_not_alone() -> None:
    talk = to_its_end(BY_NAME["rim 2 to 5 mm"][0])
    assert talk.asked == ("second_look", "ride-with-care")
    assert "RIDE SLOWLY, NOT ALONE" in talk.said


BAD = [
    *((id, mark) for id, ask in flow().checks.items() if isinstance(ask, Several) for mark in ask.marks),
    *((id, "bad") for id, ask in flow().checks.items() if isinstance(ask, Look)),
]
HARMLESS = {("wheels", "little")}
FIRST: dict[str, Told] = {  # what brings a look up that a whole bike does not need
    "plug-out": {"how-it-lay": ("lay",)},
    "air-box": {"engine-now": ("smokes",)},
    "tip-switch": {"engine-now": ("dead",)},
}


@pytest.mark.parametrize(("check", "bad"), [x for x in BAD if x not in HARMLESS], ids="-".join)
def test_nobody_is_told_to_ride_after_one_thing_that_was_bad(check: str, bad: str) -> None:
    talk = to_its_end({**FIRST.get(check, {}), check: (bad,)})
    assert talk.asked[0] != "second_look"
    assert "riding" in talk.state.bars


@pytest.mark.parametrize("check", [c for c in flow().opening if c in flow().checks])
def test_nobody_is_told_to_ride_while_a_part_of_the_walk_round_could_not_be_judged(check: str) -> None:
    told = {id: value for id, value in WHOLE.items() if id != check}
    talk = Crash(flow(), bikes=(BikeCard("b1", "Goat", BIKE, 43),))
    talk.say("i fell off")
    for _ in range(40):
        if talk.asked[0] in ("remedy", "second_look", "hand_over", "park", "none"):
            break
        talk.reply(told)
    assert talk.asked[0] != "second_look"


@pytest.mark.parametrize("engine", ["dead", "smokes", "noise"])
def test_nobody_is_told_to_ride_a_bike_that_does_not_run_as_before(engine: str) -> None:
    talk = to_its_end({"engine-now": (engine,)})
    assert talk.asked[0] != "second_look"
    assert "riding" in talk.state.bars


@pytest.mark.parametrize(
    "rule", ["petrol-drips", "steering-or-frame", "brake-part", "rim-or-spokes", "revs-hang", "oil-or-crack"]
)
def test_brakes_steering_frame_wheels_and_fuel_end_with_a_mechanic(rule: str) -> None:
    model = flow().stop_rules[rule]
    assert model.cleared_by.by == "mechanic"
    assert "mechanic" in model.say
    for name in model.cleared_by.any:
        assert flow().remedies[name].qualified_look
        assert flow().remedies[name].skill == "workshop"


# --- the rider ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("told", [{"rider-hurt": ("hurt",)}, {"rider-body": ("hurt",)}], ids=["head", "body"])
def test_a_hurt_rider_is_asked_nothing_about_the_bike(told: Told) -> None:
    talk = to_its_end(told)
    assert talk.asked[0] == "pause"
    assert asked(talk) & set(flow().asks) <= RIDER


@pytest.mark.parametrize(
    ("words", "rule"),
    [
        ("crashed it, got knocked out", "rider-hurt"),
        ("went over the bars and my neck hurts", "rider-hurt"),
        ("dropped the bike and broke my wrist", "rider-injured"),
        ("i fell off, ribs hurt and can hardly breathe", "rider-injured"),
    ],
)
def test_a_hurt_told_in_the_first_words_stops_the_questions_at_once(words: str, rule: str) -> None:
    talk = Crash(flow()).talk(words)
    assert talk.stops == {rule}
    assert talk.asked == ("pause", rule)


@pytest.mark.parametrize(
    "words", ["crashed it, got knocked out", "dropped it and broke my wrist", "tipped over, hit my head"]
)
def test_a_hurt_told_with_a_fall_is_heard_among_all_flows(words: str) -> None:
    assert pick(words, cards()).flow == ID


# --- first messages -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "had a crash, can i ride home", "i fell off in a rut", "dropped my bike in the car park",
        "went down in the mud", "hit a tree", "crashed and the bars are bent", "bike fell over off the stand",
        "lowsided in a corner, is it safe to ride", "looped it on the hill",
    ],
)  # fmt: skip
def test_first_words_about_a_fall_pick_this_flow(text: str) -> None:
    assert pick(text, cards()).flow == ID


@pytest.mark.parametrize(
    "text",
    [
        "metal in the oil", "will not start this morning", "starter spins but nothing", "clutch slips",
        "it overheats on the hill", "front brake is spongy", "fork seal leaks", "flat tyre",
        "oil level went down", "revs hang when hot", "chain is rusty",
    ],
)  # fmt: skip
def test_first_words_about_something_else_do_not(text: str) -> None:
    assert pick(text, cards()).flow != ID
