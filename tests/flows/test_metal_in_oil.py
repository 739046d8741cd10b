"""The flow about metal in the oil against what is published: amounts and forms, figures, words for how often.

The published lines are for aircraft and helicopters. They are typed in here from the sources named beside
them; the flow must carry them as borrowed.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from bot.authoring import lint, shelf
from bot.core import plan
from bot.core.flow import FREQUENCY, Figure
from bot.core.phrases import figure_line
from bot.core.units import convert
from tests.core.chat import wording
from tests.core.worlds import odd_sums
from tests.flows.flagship import ID, Talk, Told, bars, case, flow, raised, talk

FINE: Told = {
    "oil-supply": ("fine",), "deep-knock": ("none",), "turns-over": ("free",), "cover-open": ("oil",),
    "recent-work": (), "where-found": ("plug",), "kinds": ("flakes",), "amount": ("few",),
    "magnet": ("none",), "noises": (), "clutch-feel": (), "starting": (), "gears": (), "top-end": (),
    "fluids": (), "history": (),
    "trend": ("first",), "steel-size": ("small",),
}  # fmt: skip
"""A bike that runs well and has a few thin flakes in its oil."""


def to_rest(chat: Talk, told: Told, *ends: str, words: str = "metal in the oil") -> Talk:
    """Answer as told until one of these kinds of step is open."""
    if not chat.state.complaint:
        chat.say(words)
    for _ in range(60):
        if chat.asked[0] in (*ends, "none", "hand_over", "park"):
            return chat
        chat.reply(told)
    raise AssertionError(f"still asking {chat.asked}")


# --- the flow as a whole ------------------------------------------------------------------------------


@pytest.mark.parametrize("layout", ["", "shared", "split", "two-stroke"])
def test_the_answers_of_every_question_add_up_to_one_for_two_hundred_sets_of_causes(layout: str) -> None:
    assert odd_sums(flow(), {"oil-layout": layout} if layout else {}) == []


def test_the_flow_has_no_mistake() -> None:
    assert lint.judge(shelf.find().flow(ID)) == ()


# --- amount, size and form ----------------------------------------------------------------------------

PISTON_ENGINE = "US Army TM 1-1500-204-23-1, Significance of Metal Particles, paragraph f"
NOSE_GEARBOX = "US Army TM 1-1520-238-23, nose gearbox chip detector"
INSTRUCTION = "an aircraft piston engine maker's service instruction, as quoted"
STOP, LOOK_FIRST, RUN_ON = {"running", "riding"}, {"riding"}, set[str]()

PUBLISHED: list[tuple[str, Told, set[str]]] = [
    (f"{PISTON_ENGINE}: granular metal, failure near",
     {"kinds": ("grains",), "spoon-test": ("metal",)}, STOP),
    (f"{PISTON_ENGINE}: steel in splinters, engine out",
     {"kinds": ("slivers",), "steel-size": ("splinters",)}, STOP),
    (f"{PISTON_ENGINE}: steel with aluminium flakes, look at piston and bore",
     {"kinds": ("flakes",), "magnet": ("some",), "top-end": ("smoke",)}, STOP),
    (f"{NOSE_GEARBOX}: one over 1.6 x 4.8 mm, or more than ten of 1.6 mm, replaced",
     {"magnet": ("all",), "kinds": ("flakes",), "steel-size": ("big",)}, STOP),
    (f"{NOSE_GEARBOX}: smaller and fewer, clean and look again",
     {"magnet": ("all",), "kinds": ("flakes",), "steel-size": ("small",)}, RUN_ON),
    (f"{INSTRUCTION}: 5 or fewer small pieces, back to service",
     {"kinds": ("flakes",), "amount": ("few",)}, RUN_ON),
    (f"{INSTRUCTION}: 10 to 20 small pieces, shortened interval",
     {"kinds": ("flakes",), "amount": ("some",)}, RUN_ON),
    (f"{INSTRUCTION}: 10 or fewer short steel hairs, shortened interval",
     {"kinds": ("slivers",), "steel-size": ("small",)}, RUN_ON),
    (f"{INSTRUCTION}: more hairs than that, staged run",
     {"kinds": ("slivers",), "steel-size": ("hairs",)}, LOOK_FIRST),
    (f"{INSTRUCTION}: 45 to 60 small pieces, staged run",
     {"kinds": ("flakes",), "amount": ("many",)}, LOOK_FIRST),
    (f"{PISTON_ENGINE}: after the run more than 5 new flakes or 2 new grains, engine out",
     {"staged-run": ("bad",)}, STOP),
]  # fmt: skip


@pytest.mark.parametrize(
    ("source", "told", "barred"), PUBLISHED, ids=lambda x: x if isinstance(x, str) else ""
)
def test_what_is_published_for_an_amount_or_a_form_is_what_the_flow_bars(
    source: str, told: Told, barred: set[str]
) -> None:
    assert bars(told) == barred
    assert all(flow().stop_rules[rule].say for rule in raised(told))


@pytest.mark.parametrize(
    ("pieces", "grade"),
    [(0, "few"), (5, "few"), (10, "some"), (20, "some"), (45, "many"), (60, "many"), (61, "very-many")],
)
def test_the_published_numbers_of_pieces_fall_into_the_class_that_acts_on_them(
    pieces: int, grade: str
) -> None:
    chat = talk().talk("metal in the oil")
    while chat.asked != ("question", "amount"):
        chat.reply(FINE)
    chat.say(f"{pieces} pieces")
    told = chat.state.told("amount")
    assert told is not None
    assert told.event.value == (grade,)


def test_the_borrowed_limits_are_shown_with_the_question_that_asks_for_them() -> None:
    shown = {
        (f.value, f.upto, f.unit): f
        for f in (*flow().asking("amount").figures, *flow().asking("steel-size").figures)
    }
    assert set(shown) == {
        (5, None, "pieces"), (10, 20, "pieces"), (45, 60, "pieces"),  # the service instruction
        (4.8, None, "mm"), (10, None, "pieces"),  # the nose gearbox: 3/16 inch, and more than ten
    }  # fmt: skip
    assert {f.basis for f in shown.values()} == {"borrowed"}
    assert {f.source for f in shown.values()} == {"engine-service-instruction", "army-gearbox-chips"}


def test_a_few_thin_flakes_mean_ride_on_and_look_again() -> None:
    chat = to_rest(talk(), FINE | {"magnet": ("all",)}, "second_look")
    assert chat.asked == ("second_look", "next-change")
    assert chat.stops == set()
    assert "Ride on" in chat.said
    assert "borrowed from an aircraft piston engine maker" in chat.said


def test_ten_to_twenty_small_flakes_mean_another_look_at_half_the_interval() -> None:
    told = FINE | {"amount": ("some",)}
    chat = talk()
    advice = plan.advise(chat.desk(), flow(), case(told), datetime(2026, 5, 4, 10, tzinfo=UTC))
    assert (advice.kind, advice.id) == ("watch", "ordinary-fines")
    looks = flow().second_looks["next-change"].looks
    assert [look.after_hours for look in looks] == [5]
    assert "half the normal interval" in looks[0].do


def test_ten_to_twenty_flakes_are_not_given_up_for_want_of_half_a_minute_about_the_gears() -> None:
    """A gear bush at 6 of 100 bars riding on; one question about the gears clears it."""
    chat, put = talk(), []
    chat.say("metal in the oil")
    while chat.asked[0] not in ("second_look", "hand_over", "park"):
        put.append(chat.asked[1])
        chat.reply(FINE | {"amount": ("some",)})
    assert chat.asked == ("second_look", "next-change")
    assert "gears" in put
    assert "gears" not in flow().opening


def test_forty_five_to_sixty_pieces_mean_new_oil_and_a_staged_run_before_any_ride() -> None:
    chat = to_rest(talk(), FINE | {"amount": ("many",)}, "check")
    assert chat.stops == {"many-pieces"}
    assert chat.asked == ("check", "staged-run")
    assert "LOOK FIRST" in chat.said
    chat.press("good")
    assert chat.stops == set()


def test_a_staged_run_that_makes_more_than_five_flakes_is_a_stop() -> None:
    chat = to_rest(talk(), FINE | {"amount": ("many",)}, "check")
    chat.press("bad")
    assert chat.stops == {"many-pieces", "worse-at-second-look"}
    assert chat.messages[0].text.startswith("Stop here.")
    assert chat.state.bars == {"running", "riding"}


def second_look(told: Told) -> Talk:
    """A few thin flakes, five hours ridden, and the same questions again."""
    chat = to_rest(talk(), FINE, "second_look")
    chat.press("done")
    while chat.state.watch is not None:
        chat.reply(FINE | {"second-look": ("not-worse",)} | told)
    return chat


@pytest.mark.parametrize(
    ("told", "how"),
    [
        ({"amount": ("some",)}, "more"),
        ({"kinds": ("flakes", "grains"), "spoon-test": ("metal",)}, "new_kind"),
    ],
)
def test_more_than_five_new_flakes_or_new_grains_at_the_second_look_reopen_the_case(
    told: Told, how: str
) -> None:
    chat = second_look(told)
    assert [reopened.why for _, reopened in chat.state.reopened] == [how]
    assert "open again" in chat.said


def test_as_few_as_before_at_the_second_look_ends_the_case() -> None:
    chat = second_look({})
    assert chat.state.ended is not None
    assert chat.state.ended.how == "released"


# --- figures ------------------------------------------------------------------------------------------


def torques() -> list[Figure]:
    holders = [*flow().asks.values(), *flow().access.values(), *flow().remedies.values()]
    return [f for holder in holders for f in holder.figures if re.search("N·m|lbf", f.unit)]


def test_every_torque_has_the_direction_of_its_thread_and_its_state() -> None:
    assert len(torques()) == 6
    assert [f.what for f in torques() if f.thread is None or f.thread_state is None] == []


def test_the_figures_are_those_of_their_sources() -> None:
    found = {(f.what, f.value, f.upto, f.basis) for f in torques()}
    assert found == {
        # an agricultural maker's table for 8.8 bolts into cast aluminium: M6, 9 N·m
        ("small cover bolts M6 into light alloy", 9, None, "borrowed"),
        ("cover bolts M6 into light alloy", 9, 10, "borrowed"),
        # trade figures without a source
        ("primary nut, trade figure on left-hand nuts", 150, None, "practice"),
        ("star bolt, often about", 10, None, "practice"),
    }


def test_a_torque_is_shown_in_both_units() -> None:
    nut = next(f for f in torques() if f.value == 150)
    line = figure_line(wording(), flow(), nut, "both")
    # 150 N·m x 0.737562 = 110.63 lbf·ft; three figures are shown
    assert "150 N·m (111 lbf·ft)" in line
    assert convert(150, "N·m", "lbf·ft") == pytest.approx(110.63, abs=0.005)
    assert "left-hand" in line
    assert "common practice, no source" in line


# --- words for how often ------------------------------------------------------------------------------

# Mosteller and Youtz 1990, Statistical Science 5(1) 2-34, science writers, as transcribed in public code:
# word -> mean, lower and upper quartile, of 100. For 'half' the width of the middle half only (.5).
SAID_TO_MEAN = {
    "almost_always": (91, 89.7, 95.2),
    "usually": (79, 65.6, 82.2),
    "often": (69, 65.0, 75.4),
    "half": (50, 49.75, 50.25),
    "sometimes": (26, 17.5, 35.0),
    "seldom": (12, 7.4, 17.5),
    "rarely": (7, 3.6, 10.0),
    "almost_never": (3, 1.2, 4.6),
}


@pytest.mark.parametrize("word", SAID_TO_MEAN)
def test_a_word_for_how_often_is_what_people_mean_by_it(word: str) -> None:
    mean, low, high = SAID_TO_MEAN[word]
    assert low <= 100 * FREQUENCY[word] <= high
    assert abs(100 * FREQUENCY[word] - mean) <= 2


def test_always_is_a_little_less_than_people_say_so_that_one_answer_never_rules_a_cause_out() -> None:
    assert set(FREQUENCY) == {*SAID_TO_MEAN, "always"}
    assert 0.95 < FREQUENCY["always"] < 0.99  # people mean 99 of 100
    assert list(FREQUENCY.values()) == sorted(FREQUENCY.values(), reverse=True)


@pytest.mark.parametrize(("said", "result"), [("no", "good"), ("yes", "bad")])
def test_no_part_is_left_over_is_good(said: str, result: str) -> None:
    """The question asks for the fault, so a bare no is the good news; it was the other way round."""
    look = flow().checks["parts-left-over"]
    assert look.ask.startswith("Is a part left over")
    assert said in getattr(look, result).words
