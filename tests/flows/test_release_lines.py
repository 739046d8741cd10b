"""Published lines of debris, each written in the bike's book and then told in a case: stop, look, or ride on.

The lines are of aircraft, helicopters and one construction machine, typed in from the sources named beside
them; "practice" rows have no source. Every talk is saved and restored between its turns.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.authoring.play import written
from bot.core import book_limits
from bot.core.book import Book, fold, recent_intervals
from bot.core.book_entries import CHUNK_MM
from bot.core.desk import BikeCard, Desk
from bot.core.trend import judge
from tests.flows.flagship import BIKE, Talk, Told, flow
from tests.flows.test_metal_in_oil import FINE

PISTON_ENGINE = "US Army TM 1-1500-204-23-1, Significance of Metal Particles, paragraph f"
NOSE_GEARBOX = "US Army TM 1-1520-238-23, task 6.25, nose gearbox chip detector"
MAIN_GEARBOX = "US Army TM 1-1520-238-23, task 6.45, main transmission chip detector"
MIXER = "US Army TM 5-3895-369-14, inspection item 4, drain plug"
INSTRUCTION = "an aircraft piston engine maker's service instruction, as quoted in an owner's log"
MANUAL = "an aircraft piston engine maker's manual, oil screens after the run"
PRACTICE = "practice"

STOP, LOOK, GO_ON = "stop", "look", "go on"


class BookTalk(Talk):
    """A talk beside the book that is written in it."""

    @property
    def book(self) -> Book:
        return fold(written((), [entry.event for entry in self.state.entries], self.now))

    def desk(self) -> Desk:
        kept = self.book
        return replace(super().desk(), books=lambda bike: kept if bike == "b1" else Book())

    def write(self, line: str) -> str:
        """A line with its yes; what is said to it."""
        self.say(line)
        assert self.asked[0] == "book", self.said
        self.say("yes")
        assert self.said.startswith("Written"), self.said
        return self.said


def book_talk(*lines: str) -> BookTalk:
    chat = BookTalk(flow(), bikes=(BikeCard("b1", "Goat", BIKE, 43),))
    for line in lines:
        chat.write(line)
    return chat


BEFORE = "oil change at 45 with filter, clean"
MUCH_BEFORE = ("oil change at 40 with filter", "oil change at 45 with filter, 900 flakes")


def said_of(find: str, *before: str) -> str:
    """What the book says to this find at the next oil change."""
    return book_talk(*(before or (BEFORE,))).write(f"oil change at 50 with filter, {find}")


def urgency(said: str) -> str:
    """Whether the engine must not run, the bike not be ridden, or neither."""
    if "Do not run the engine" in said:
        return STOP
    return LOOK if "LOOK FIRST" in said else GO_ON


@dataclass(frozen=True)
class Line:
    """One published line. `find`: as typed in the book. `told`: the same in answers of the case.

    `case`: rules that stand in the end, or the second look that rides on, or the check before any ride.
    """

    source: str
    find: str
    book: str
    told: Told = field(default_factory=dict)
    case: str = ""

    def __str__(self) -> str:
        return f"{self.find} ({self.source})"


RIDE_ON, STAGED_RUN = "next-change", "staged-run"

LINES = (
    # --- how many small pieces
    Line(INSTRUCTION, "5 flakes, biggest 1.6 mm", GO_ON, {"amount": ("few",)}, RIDE_ON),
    Line(INSTRUCTION, "10 shiny flakes, biggest 1.6 mm, not magnetic", GO_ON, {"amount": ("some",)}, RIDE_ON),
    Line(INSTRUCTION, "20 shiny flakes, biggest 1.6 mm, not magnetic", GO_ON, {"amount": ("some",)}, RIDE_ON),
    Line(INSTRUCTION, "45 flakes, biggest 1.6 mm, not magnetic", LOOK, {"amount": ("many",)}, "many-pieces"),
    Line(INSTRUCTION, "60 flakes, biggest 1.6 mm, not magnetic", LOOK, {"amount": ("many",)}, "many-pieces"),
    Line(PRACTICE, "61 flakes, biggest 1 mm, not magnetic", LOOK, {"amount": ("very-many",)},
         "very-many-pieces"),
    Line(MANUAL, "9 pieces", GO_ON),
    Line(MIXER, "some grey paste", GO_ON, {"kinds": ()}, RIDE_ON),
    # --- hairs
    Line(INSTRUCTION, "10 short hairs, magnetic", GO_ON,
         {"kinds": ("slivers",), "amount": ("some",), "magnet": ("all",), "steel-size": ("small",)}, RIDE_ON),
    Line(INSTRUCTION, "11 short hairs, magnetic", LOOK,
         {"kinds": ("slivers",), "amount": ("some",), "magnet": ("all",), "steel-size": ("hairs",)},
         "many-hairs"),
    # --- form outranks number
    Line(f"{PISTON_ENGINE}(1)", "1 splinter, magnetic", STOP,
         {"kinds": ("slivers",), "magnet": ("all",), "steel-size": ("splinters",)}, "steel-splinters"),
    Line(f"{PISTON_ENGINE}(1)", "4 grains, magnetic", STOP,
         {"kinds": ("grains",), "magnet": ("all",), "spoon-test": ("metal",)}, "metal-grains"),
    Line(f"{NOSE_GEARBOX}, step 2", "30 grains like sand, magnetic", STOP,
         {"kinds": ("grains",), "magnet": ("all",), "spoon-test": ("metal",)}, "metal-grains"),
    Line(f"{MANUAL}: lead, any", "2 white smears", LOOK,
         {"kinds": ("smear",), "spoon-test": ("solder",)}, "white-metal"),
    Line(PRACTICE, "1 chunk", STOP, {"kinds": ("chunk",)}, "hard-piece"),
    Line(PRACTICE, "1 piece of hard plastic", STOP,
         {"kinds": ("plastic",), "plastic-kind": ("hard",)}, "hard-plastic"),
    # --- thin flakes of steel, and with aluminium
    Line(f"{PISTON_ENGINE}(1)(a)", "20 thin flakes, steel, magnetic, biggest 1.5 mm", GO_ON,
         {"amount": ("some",), "magnet": ("all",), "steel-size": ("small",)}, STAGED_RUN),
    Line(f"{PISTON_ENGINE}(1)(a)", "21 thin flakes, steel, magnetic, biggest 1.5 mm", LOOK,
         {"amount": ("many",), "magnet": ("all",), "steel-size": ("small",)}, "many-pieces"),
    Line(f"{PISTON_ENGINE}(1)(b)", "15 flakes, partly magnetic", GO_ON,
         {"amount": ("some",), "magnet": ("some",), "top-end": ("smoke",)}, "smoke-with-flakes"),
    Line(f"{PISTON_ENGINE}(4)", "10 silver flakes, not magnetic", GO_ON, {"amount": ("some",)}, RIDE_ON),
    # --- size of steel
    Line(f"{NOSE_GEARBOX}, step 3", "1 flake, magnetic, biggest 3/16 in", GO_ON,
         {"magnet": ("all",), "steel-size": ("small",)}, RIDE_ON),
    Line(f"{NOSE_GEARBOX}, step 3", "1 flake, magnetic, biggest 5 mm", STOP,
         {"magnet": ("all",), "steel-size": ("big",)}, "big-steel-pieces"),
    Line(f"{NOSE_GEARBOX}, step 4", "10 flakes, magnetic, biggest 1/16 in", GO_ON,
         {"amount": ("some",), "magnet": ("all",), "steel-size": ("small",)}, STAGED_RUN),
    Line(f"{NOSE_GEARBOX}, step 4", "11 flakes, magnetic, biggest 1/16 in", LOOK,
         {"amount": ("some",), "magnet": ("all",), "steel-size": ("big",)}, "big-steel-pieces"),
    Line(f"{NOSE_GEARBOX}, step 5", "11 flakes, magnetic, biggest 1.5 mm", GO_ON,
         {"amount": ("some",), "magnet": ("all",), "steel-size": ("small",)}, STAGED_RUN),
    Line(MAIN_GEARBOX, "6 flakes, magnetic, biggest 5 mm", STOP,
         {"amount": ("some",), "magnet": ("all",), "steel-size": ("big",)}, "big-steel-pieces"),
    Line(MAIN_GEARBOX, "11 flakes, magnetic, biggest 2 mm", LOOK,
         {"amount": ("some",), "magnet": ("all",), "steel-size": ("big",)}, "big-steel-pieces"),
)  # fmt: skip


@pytest.mark.parametrize("line", LINES, ids=str)
def test_a_find_in_the_book_is_called_what_is_published_for_it(line: Line) -> None:
    said = said_of(line.find)
    assert urgency(said) == line.book
    if line.book != GO_ON:
        assert "metal in the oil" in said


ABOVE = [line for line in LINES if line.book != GO_ON]


@pytest.mark.parametrize("line", ABOVE, ids=str)
def test_a_find_above_its_line_is_no_good_news_after_many_more(line: Line) -> None:
    """900 pieces before it, so that whatever comes now is far fewer."""
    chat = book_talk(*MUCH_BEFORE)
    said = chat.write(f"oil change at 50 with filter, {line.find}")
    assert judge(recent_intervals(chat.book)).direction == "falling"
    assert urgency(said) == line.book


def case_of(line: Line, *before: str) -> BookTalk:
    """The find written in the book and told in a case, up to where the line ends or the case does."""
    chat = book_talk(*before, f"oil change at 50 with filter, {line.find}")
    chat.say("metal in the oil")
    for _ in range(60):
        if line.case in (*chat.stops, chat.asked[1]) or chat.asked[0] in ("second_look", "hand_over"):
            return chat
        assert line.case in flow().stop_rules or chat.stops == set()
        chat.reply(FINE | line.told)
    raise AssertionError(f"still asking {chat.asked}")


@pytest.mark.parametrize("line", [line for line in LINES if line.told], ids=str)
def test_a_find_told_in_a_case_ends_where_it_is_published_to_end(line: Line) -> None:
    chat = case_of(line, BEFORE)
    assert line.case in (*chat.stops, chat.asked[1])
    assert ("Ride on" in chat.said) == (line.case == RIDE_ON)
    if line.case in flow().stop_rules:
        assert "riding" in chat.state.bars
        assert line.book != STOP or "running" in chat.state.bars


@pytest.mark.parametrize("line", [line for line in ABOVE if line.told], ids=str)
def test_a_falling_count_in_the_book_takes_no_stop_from_the_case(line: Line) -> None:
    assert line.case in case_of(line, *MUCH_BEFORE).stops


def test_much_that_settles_since_the_work_is_let_be_and_the_first_look_after_it_is_not() -> None:
    """Some metal is to be expected of new parts and falls fast: an aircraft engine maker's manual, 2021."""
    chat = book_talk("oil change at 40 with filter, clean", "rebuilt the top end at 40")
    assert urgency(chat.write("oil change at 41 with filter, 60 flakes")) == LOOK
    said = chat.write("oil change at 44 with filter, 40 flakes")
    assert "Settling since the work" in said
    assert urgency(said) == GO_ON
    assert urgency(chat.write("oil change at 50 with filter, 30 flakes, magnetic, biggest 2 mm")) == LOOK


def test_in_a_case_it_is_the_case_that_says_it() -> None:
    chat = book_talk(BEFORE)
    chat.say("metal in the oil")
    assert chat.asked == ("question", "oil-supply")
    said = chat.write("book oil change at 50 with filter, 50 flakes")
    assert urgency(said) == GO_ON
    assert chat.asked == ("question", "oil-supply")
    assert urgency(chat.write("book oil change at 55 with filter, 1 chunk")) == STOP


def test_a_rise_beyond_a_line_is_sent_to_the_case_once() -> None:
    chat = book_talk("oil change at 40 with filter", "oil change at 45 with filter, 2 flakes")
    said = chat.write("oil change at 50 with filter, 50 flakes")
    assert "Rising" in said
    assert said.count("metal in the oil") == 1
    assert urgency(said) == LOOK


# --- after the run ------------------------------------------------------------------------------------

RUN_UP = 0.4  # hours on the ground, 20 to 30 minutes


@pytest.mark.parametrize(
    ("find", "wanted"), [("5 thin flakes", GO_ON), ("6 thin flakes", GO_ON), ("3 grains", STOP)]
)
@pytest.mark.parametrize("pieces", [6, 20])
@pytest.mark.parametrize("hours", [1, 5, 10])
def test_a_look_after_the_run_that_is_past_its_line_is_never_called_less(
    hours: float, pieces: int, find: str, wanted: str
) -> None:
    """US Army TM 1-1500-204-23-1, f(1)(a): up to 20 thin flakes, run up, and more than 5 new ones: out.

    With 2 new grains it may be released there; here any grain is a warning, until the case has seen it
    under a spoon.
    """
    chat = book_talk(
        "oil change at 40 with filter", f"oil change at {40 + hours} with filter, {pieces} flakes"
    )
    said = chat.write(f"oil change at {40 + hours + RUN_UP} with filter, {find}")
    assert urgency(said) == wanted
    if find != "5 thin flakes":
        assert judge(recent_intervals(chat.book)).urgency > 0
        assert "Falling" not in said


def test_five_flakes_release_and_six_do_not_in_the_question_after_the_run() -> None:
    run = flow().asking("staged-run")
    limits = {(figure.what.split(" after")[0], figure.value, figure.source) for figure in run.figures}
    assert limits == {
        ("new flakes", 5, "army-piston-metal"), ("new grains", 2, "army-piston-metal"),
    }  # fmt: skip
    assert "more than five new flakes, more than two grains" in run.ask


# --- one set of limits --------------------------------------------------------------------------------


def test_the_book_and_the_flow_have_the_same_limits() -> None:
    """3/16 in are 4.76 mm and 1/16 in 1.59 mm; the sources give inches."""
    amount, size = flow().asking("amount"), flow().asking("steel-size")
    assert amount.classes["some"].upto == book_limits.PIECES == 20
    assert {figure.value for figure in size.figures} == {CHUNK_MM, book_limits.LARGE}
    assert round(book_limits.LARGE_MM, 1) == 1.6
    assert round(25.4 * 3 / 16, 1) == CHUNK_MM
    assert book_limits.HAIRS == 10
    assert "up to ten hairs" in size.answers["small"].label


# --- more, bigger, worse ------------------------------------------------------------------------------

DEGREES = (GO_ON, LOOK, STOP)
FORMS = ("flakes", "hairs", "pieces", "curls", "white smears", "splinters", "grains", "chunks")
NUMBER = st.integers(1, 70)
MILLIMETRES = st.integers(1, 80).map(lambda tenths: tenths / 10)
STEEL = st.sampled_from(["", ", magnetic", ", not magnetic"])


def degree(*finds: str) -> int:
    return DEGREES.index(urgency(said_of(" and ".join(finds))))


@settings(max_examples=40, deadline=None)
@given(NUMBER, NUMBER, st.sampled_from(FORMS), MILLIMETRES, STEEL)
def test_more_pieces_in_a_line_of_the_book_are_never_less_urgent(
    n: int, more: int, form: str, size: float, steel: str
) -> None:
    rest = f"{form}, biggest {size} mm{steel}"
    assert degree(f"{n + 1} {rest}") <= degree(f"{n + 1 + more} {rest}")


@settings(max_examples=40, deadline=None)
@given(NUMBER, st.sampled_from(FORMS), MILLIMETRES, MILLIMETRES, STEEL)
def test_bigger_pieces_in_a_line_of_the_book_are_never_less_urgent(
    n: int, form: str, one: float, other: float, steel: str
) -> None:
    small, big = (f"{n + 1} {form}, biggest {size} mm{steel}" for size in sorted((one, other)))
    assert degree(small) <= degree(big)


@settings(max_examples=40, deadline=None)
@given(NUMBER, NUMBER, st.sampled_from(FORMS), st.sampled_from(FORMS))
def test_one_kind_more_in_a_line_of_the_book_is_never_less_urgent(
    n: int, also: int, form: str, other: str
) -> None:
    assert degree(f"{n + 1} {form}") <= degree(f"{n + 1} {form}", f"{also + 1} {other}")


@settings(max_examples=40, deadline=None)
@given(NUMBER, MILLIMETRES, st.sampled_from([64, 128, 1000]))
def test_a_size_in_inches_is_as_urgent_as_the_same_in_millimetres(n: int, size: float, parts: int) -> None:
    """To the nearest part of an inch below it, and the millimetres of that."""
    inches = max(1, int(size / 25.4 * parts))
    said = f"{inches}/{parts} in" if parts != 1000 else f"{inches / parts} in"
    find = f"{n + 1} flakes, magnetic, biggest"
    assert degree(f"{find} {said}") == degree(f"{find} {inches / parts * 25.4:.4f} mm")
