"""Imagined bikes: they answer as the flow's figures say, whoever plays them, and each can be played again."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import yaml

from bot.authoring import load, stage
from bot.authoring.imagined import NOTHING, UNLISTED, Bike, World, number
from bot.authoring.simulate import Outcome, Repair, Simulation
from bot.authoring.stage import Stage
from bot.authoring.tally import count, spread
from bot.cli import main
from bot.core import events
from bot.core.conversation import receive
from bot.core.desk import Desk
from bot.core.events import Answered, Entry, Heard, Opened
from bot.core.flow import Flow, read
from bot.core.state import State, fold
from tests.core.worlds import look, one, remedy, several, yes_no

SURE = 0.999999  # as good as always: chances lie between 0 and 1

# Two faults that are never together, each with a look that misses nothing, and a repair that always holds.
# By hand: shares 50, 30 and 20 stand to each other as 50/50 : 30/70 : 20/80 = 1 : 0.4286 : 0.25.
PLAIN: dict[str, Any] = {
    "language": 1,
    "flow": "plain",
    "version": 1,
    "title": "It ticks",
    "riders_say": ["it ticks"],
    "hand_over": {"minutes": 600},
    "unlisted": {"share": 20},
    "signs": {},
    "causes": {
        "nut": {"name": "Nut loose", "share": 50, "alone": True, "remedy": "turn-nut"},
        "cable": {"name": "Cable tight", "share": 30, "alone": True, "remedy": "set-cable"},
    },
    "checks": {
        "see-nut": look("nut", SURE, false_alarm=0.001, slip=0.0, not_sure=1e-6),
        "see-cable": look("cable", SURE, false_alarm=0.001, slip=0.0, not_sure=1e-6),
    },
    "remedies": {"turn-nut": remedy(SURE), "set-cable": remedy(SURE)},
}
NUT, CABLE, OTHER = 1 / 1.6786, 0.4286 / 1.6786, 0.25 / 1.6786


def close(times: int, of: int, chance: float) -> bool:
    """Within four standard deviations of a binomial; at a fixed seed this is no matter of luck."""
    return abs(times - of * chance) <= 4 * math.sqrt(of * chance * (1 - chance))


def staged(flow: dict[str, Any], folder: Path) -> Stage:
    file = folder / "plain.yaml"
    file.write_text(yaml.safe_dump(flow, sort_keys=False), encoding="utf-8")
    return stage.set_up(file, lambda *_: "")


@pytest.fixture
def plain(tmp_path: Path) -> Stage:
    return staged(PLAIN, tmp_path)


# --- a flow of which the ends are worked out by hand ------------------------------------------------------


def test_bikes_have_their_faults_as_often_as_the_shares_say(plain: Stage) -> None:
    world = World(plain.flow)
    had = Counter(world.bike(1, n).fault for n in range(4000))
    for fault, chance in ((frozenset({"nut"}), NUT), (frozenset({"cable"}), CABLE), (UNLISTED, OTHER)):
        assert close(had[fault], 4000, chance), (fault, had)


def test_the_ends_of_the_plain_flow_are_those_worked_out_by_hand(plain: Stage) -> None:
    """Whatever is in the list is found by its look and mended.

    94 of 100 riders then say that it is gone. The other six are sent on a run, after which again 94 of 100
    say so: 0.9964 of 0.8511 in all. Another fault shows in no look, and that bike is given away. (A false
    alarm, 1 of 1000, lies within the interval.)
    """
    figures = count(plain.flow, tuple(Simulation(plain, 1).outcomes(500)))
    assert close(figures.ends["found"], 500, (NUT + CABLE) * 0.9964), figures.ends
    assert close(figures.ends["handed_over"], 500, OTHER), figures.ends
    assert figures.ends["found"] + figures.ends["handed_over"] + figures.ends["still_wrong"] == 500
    assert figures.ends["still_wrong"] <= 2
    assert figures.in_vain <= 8
    assert figures.faults == ()


# --- answers ----------------------------------------------------------------------------------------------

# Noisy-or by hand: with "nut" the sign is shown with 1 - 0.9 x 0.3 = 0.73; said with 0.97 x 0.73 + 0.03 / 2.
# A look: catches 0.9 in all, slip 0.02: bad with 0.98 x 0.9 + 0.01; without the cause 0.98 x 0.01 + 0.01.
# Graded, noisy-max: "few" needs both below, 0.8 x 0.2 = 0.16; "some" 0.95 x 0.6 - 0.16 = 0.41; else "many".
ASKING: dict[str, Any] = {
    "signs": {
        "squeak": {"means": "it squeaks", "background": 0.1},
        "amount": {"means": "how much", "steps": ["few", "some", "many"], "background": [80, 15, 5]},
    },
    "causes": {
        "nut": {
            "name": "Nut loose", "share": 98, "alone": True, "remedy": "turn-nut",
            "shows": {"squeak": 0.7, "amount": [20, 40, 40]},
        },
    },
    "questions": {
        "squeaks": yes_no("squeak", not_sure=0.25),
        "marks": several({"squeaking": {"shows": "squeak"}}, slip=0.1),
        "how-much": {
            "kind": "graded", "ask": "How much?", "sign": "amount", "slip": 0.0,
            "classes": {"little": {"label": "little"}, "more": {"label": "more"}, "lots": {"label": "lots"}},
        },
    },
    "checks": {"see-nut": look("nut", 0.9, false_alarm=0.01, slip=0.02)},
    "remedies": {"turn-nut": remedy(0.7, may_leave={"nut": 0.5}, comes_back=0.3)},
    "unlisted": {"share": 1},
}  # fmt: skip


def asking(**changes: Any) -> Flow:
    return read(PLAIN | ASKING | changes)


def loose(flow: Flow, how_many: int) -> list[Bike]:
    """The first bikes of which the nut is loose."""
    world, found = World(flow), list[Bike]()
    for n in range(2 * how_many):
        bike = world.bike(7, n)
        if bike.fault == {"nut"} and len(found) < how_many:
            found.append(bike)
    assert len(found) == how_many
    return found


def entries(*told: Any) -> State:
    return fold(Entry(n, "2026-01-05T09:00:00Z", "rider", "rider", event) for n, event in enumerate(told, 1))


NEW = entries(Opened(complaint="it ticks"))


@pytest.mark.parametrize(
    ("ask", "said", "chance"),
    [
        ("squeaks", ("yes",), 0.97 * 0.73 + 0.015),
        ("marks", ("squeaking",), 0.9 * 0.73 + 0.05),
        ("how-much", ("little",), 0.16),
        ("how-much", ("more",), 0.41),
        ("how-much", ("lots",), 0.43),
        ("see-nut", ("bad",), 0.98 * 0.9 + 0.01),
    ],
)
def test_an_answer_is_given_as_often_as_worked_out_by_hand(
    ask: str, said: tuple[str, ...], chance: float
) -> None:
    bikes = loose(asking(), 3000)
    assert close(sum(bike.answer(ask, NEW) == said for bike in bikes), 3000, chance)


def test_a_rider_is_unsure_as_often_as_the_flow_says() -> None:
    bikes = loose(asking(), 3000)
    assert close(sum(not bike.is_sure("squeaks", "0.0", 0.25) for bike in bikes), 3000, 0.25)


def test_two_questions_about_one_sign_are_answered_alike() -> None:
    """What was told of a sign that does not change is told again, but for slips: 0.9 x 1 + 0.05 here."""
    told = Answered(ask="squeaks", value=("yes",), form="one", rank=2)
    bikes = loose(asking(), 2000)
    state = entries(Opened(complaint="it ticks"), told)
    assert all(bike.answer("marks", state) == ("squeaking",) for bike in bikes)


def test_after_the_repair_the_look_is_bad_only_by_false_alarm_and_slip() -> None:
    bikes = loose(asking(), 3000)
    for bike in bikes:
        bike.wrong = NOTHING
    assert close(sum(bike.answer("see-nut", NEW) == ("bad",) for bike in bikes), 3000, 0.98 * 0.01 + 0.01)


# --- what repairs and running do --------------------------------------------------------------------------


def test_a_repair_holds_as_often_as_the_flow_says() -> None:
    """0.7 hold. Work that is confirmed leaves the fault behind with odds of 1 to 4: 0.2 of those 0.7."""
    bikes = loose(asking(), 3000)
    assert all(bike.mend("turn-nut") == {"nut"} for bike in bikes)
    assert close(sum(bike.wrong == NOTHING for bike in bikes), 3000, 0.7 * 0.8)


def test_a_repair_that_was_not_needed_says_so() -> None:
    bike = loose(asking(), 1)[0]
    bike.wrong = NOTHING
    assert bike.mend("turn-nut") == NOTHING


def test_what_was_mended_comes_loose_while_it_runs() -> None:
    """0.3 in ten hours, so 1 - 0.7 ** 0.5 in five."""
    bikes = loose(asking(remedies={"turn-nut": remedy(SURE, comes_back=0.3)}), 3000)
    for bike in bikes:
        bike.mend("turn-nut")
        bike.run(5)
    assert close(sum(bike.wrong == {"nut"} for bike in bikes), 3000, 1 - 0.7**0.5)


def test_riders_say_that_it_is_gone_by_the_table_of_the_odds() -> None:
    """Fixed .94, mended and there again .03, another fault .03: the published table in `odds.SAYS`."""
    bikes = loose(asking(), 3000)
    assert close(sum(bike.says_gone(1) for bike in bikes), 3000, 0.03)
    for bike in bikes:
        bike.wrong = NOTHING
    assert close(sum(bike.says_gone(1) for bike in bikes), 3000, 0.94)


def test_a_harmless_cause_goes_by_the_next_look() -> None:
    flow = asking(
        causes={"fines": {"name": "Fines", "share": 98, "second_look": "again"}},
        checks={}, remedies={},
        second_looks={"again": {
            "basis": "practice", "say": "Look again.", "looks": [{"after_hours": 2, "do": "Look."}],
            "asks": ["how-much"],
            "meanings": {"less": "less", "same": "same", "more": "more", "new_kind": "new"},
        }},
    )  # fmt: skip
    bikes = [b for b in (World(flow).bike(1, n) for n in range(2000)) if b.fault == {"fines"}]
    for bike in bikes:
        bike.wait()
    assert close(sum(bike.wrong == NOTHING for bike in bikes), len(bikes), 0.95)
    assert all(bike.is_well for bike in bikes)  # what is harmless may stay


def test_a_bike_with_a_fault_that_needs_work_or_is_not_known_is_not_well() -> None:
    bike = loose(asking(), 1)[0]
    assert not bike.is_well
    bike.wrong = UNLISTED
    assert not bike.is_well
    bike.wrong = NOTHING
    assert bike.is_well


# --- the same bikes ---------------------------------------------------------------------------------------


def test_a_number_is_the_same_on_every_machine() -> None:
    """blake2b of the key "1/0/wrong", eight bytes, as fractions of 2**64."""
    import hashlib

    digest = hashlib.blake2b(b"1/0/wrong", digest_size=8).hexdigest()
    assert number(1, 0, "wrong") == int(digest, 16) / 2**64


def test_the_outcomes_are_the_same_in_one_process_and_in_two(plain: Stage) -> None:
    one_process = tuple(Simulation(plain, 3).outcomes(60, processes=1))
    assert one_process == tuple(Simulation(plain, 3).outcomes(60, processes=2))
    assert [outcome.n for outcome in one_process] == list(range(60))


def test_another_seed_is_other_bikes(plain: Stage) -> None:
    faults = [[o.fault for o in Simulation(plain, seed).outcomes(30, processes=1)] for seed in (1, 2)]
    assert faults[0] != faults[1]


def test_two_versions_that_differ_in_a_text_meet_the_same_bikes(plain: Stage, tmp_path: Path) -> None:
    other = staged(PLAIN | {"title": "It ticks now and then"}, tmp_path)
    assert tuple(Simulation(plain, 1).outcomes(60)) == tuple(Simulation(other, 1).outcomes(60))


def test_a_question_more_leaves_all_other_answers_as_they_were(plain: Stage) -> None:
    more = PLAIN | {"questions": {"odd": one(yes={}, no={})}}
    bikes = [(World(plain.flow).bike(1, n), World(read(more)).bike(1, n)) for n in range(50)]
    assert all(a.answer("see-nut", NEW) == b.answer("see-nut", NEW) for a, b in bikes)


def test_a_bike_that_is_played_again_equals_its_line(plain: Stage) -> None:
    found = tuple(Simulation(plain, 5).outcomes(30))
    again = Simulation(plain, 5)
    for n in (29, 3, 17):
        assert again.play(n) == found[n]
        lines = again.script(n).lines
        assert sum(line.kind == "bot" for line in lines) == found[n].messages
        assert sum(line.kind == "you" for line in lines) == found[n].turns


def test_the_same_on_machines_that_order_their_sets_otherwise(tmp_path: Path) -> None:
    staged(PLAIN, tmp_path)
    told = set()
    for order in ("1", "2"):
        command = [
            sys.executable,
            "-m",
            "bot.cli",
            "flow",
            "simulate",
            str(tmp_path / "plain.yaml"),
            "--json",
        ]
        ran = subprocess.run(
            [*command, "--bikes", "25"], env={**os.environ, "PYTHONHASHSEED": order},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        told.add(ran.stdout)
    assert len(told) == 1


# --- faults -----------------------------------------------------------------------------------------------


def test_a_talk_without_end_is_a_fault_with_the_number_of_its_bike(plain: Stage) -> None:
    def never(desk: Desk, state: State, heard: Heard, now: datetime) -> Any:
        """A rider who says that it is gone is asked the same again, for ever."""
        turn = receive(desk, state, heard, now)
        kept = tuple(e for e in turn.events if not isinstance(e, events.Ended | events.SaidOfRepair))
        if kept == turn.events:
            return turn
        asked = state.asked["rider"]
        return replace(turn, events=(*kept, events.WasAsked(seat="rider", what=asked.what, id=asked.id)))

    found = tuple(Simulation(replace(plain, receive=never), 1).outcomes(20))
    figures = count(plain.flow, found)
    assert figures.ends["endless"] > 0
    assert {n for n, what in figures.faults} == {o.n for o in found if o.turns >= 400}


def test_a_talk_that_breaks_the_program_is_a_fault_with_its_error(plain: Stage) -> None:
    def breaks(desk: Desk, state: State, heard: Heard, now: datetime) -> Any:
        if heard.press:
            raise ZeroDivisionError("a turn fell over")
        return receive(desk, state, heard, now)

    found = tuple(Simulation(replace(plain, receive=breaks), 1).outcomes(12))
    assert {o.end for o in found} == {"broke"}
    assert count(plain.flow, found).faults[0] == (0, "ZeroDivisionError: a turn fell over")


def test_a_trait_that_the_bike_has_not_is_not_known(tmp_path: Path) -> None:
    """Nobody knows how the engine is cooled, so the fan is asked for on air-cooled bikes too."""
    cooling = {"ask": "How is it cooled?", "not_sure": SURE}
    cooling |= {"answers": {"air": {"label": "Air"}, "liquid": {"label": "Liquid"}}}
    fan = {"ask": "Has it a fan?", "only_when": {"cooling": ["liquid"]}}
    fan |= {"answers": {"has": {"label": "It has one"}, "not": {"label": "It has none"}}}
    traits = {"needs_traits": ["cooling", "fan"], "traits": {"cooling": cooling, "fan": fan}}
    found = tuple(Simulation(staged(PLAIN | traits, tmp_path), 1).outcomes(20))
    assert {o.end for o in found} == {"found", "handed_over"}


# --- the figures ------------------------------------------------------------------------------------------


def outcome(n: int, fault: str, end: Any, minutes: float = 10, **more: Any) -> Outcome:
    return Outcome(n, (fault,), end, end, minutes, 0.0, 5, 6, more.pop("first", ""), **more)


def test_the_figures_of_four_bikes_are_those_counted_by_hand(plain: Stage) -> None:
    vain = Repair("set-cable", "cable", ())
    found = (
        outcome(0, "nut", "found", 10, repairs=(Repair("turn-nut", "nut", ("nut",)),)),
        outcome(1, "nut", "found", 30, repairs=(vain, Repair("turn-nut", "nut", ("nut",)))),
        outcome(2, "cable", "handed_over", 20, first="cable", gates=(("riding", "nut"),)),
        outcome(3, "cable", "handed_over", 100, first="nut", asked=(("check", "see-nut"),)),
    )
    figures = count(plain.flow, found)
    assert (figures.ends["found"], figures.ends["handed_over"], figures.well_handed) == (2, 2, 1)
    assert (figures.in_vain, figures.confused) == (1, (("nut", "cable", 1),))
    assert (figures.minutes.mean, figures.minutes.median, figures.minutes.of_100_90) == (40, 25, 100)
    assert [(c.cause, c.there, c.found) for c in figures.causes][:2] == [("nut", 2, 2), ("cable", 2, 0)]
    assert [c.cause for c in figures.never_found] == ["cable"]
    assert ("check", "see-nut", 1) not in figures.rare
    assert ("check", "see-cable", 0) in figures.rare
    assert [(gate.bar, gate.bikes, gate.cause) for gate in figures.gates] == [
        ("running", 0, ""),
        ("riding", 1, "nut"),
    ]


def test_the_ninetieth_of_a_hundred_is_what_nine_tenths_do_not_pass() -> None:
    assert spread(range(1, 101)).of_100_90 == 90
    assert spread([7]).of_100_90 == 7


# --- the command ------------------------------------------------------------------------------------------


def test_the_command_shows_its_figures(
    plain: Stage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["flow", "simulate", str(tmp_path / "plain.yaml"), "--bikes", "30"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("It ticks, version 1: 30 imagined bikes, seed 1\n")
    for part in ("found, mended and proved", "Nut loose", "riding refused by the odds", "Never found:"):
        assert part in said


def test_one_bike_is_shown_as_a_talk_with_its_line(
    plain: Stage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["flow", "simulate", str(tmp_path / "plain.yaml"), "--bike", "4"]) == 0
    said = capsys.readouterr().out
    assert "you: it ticks\nbot: " in said
    assert said.splitlines()[-1].startswith("bike 4 (")


def test_json_has_every_bike(plain: Stage, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "plain.yaml")
    main(["flow", "simulate", file, "--bikes", "12", "--seed", "9", "--json"])
    told = json.loads(capsys.readouterr().out)
    main(["flow", "simulate", file, "--seed", "9", "--json", "--bike", "7"])
    assert json.loads(capsys.readouterr().out) == told["cases"][7]
    assert len(told["cases"]) == sum(told["figures"]["ends"].values()) == 12


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.yaml"], "There is no file nowhere.yaml; name a flow file, or one of the shipped flows"),
        (["metal-in-oil", "--bikes", "0"], "--bikes is 0; write a whole number between 1 and"),
        (["metal-in-oil", "--bike", "-1"], "--bike is -1; write a whole number between 0 and"),
    ],
)
def test_what_cannot_be_played_is_said(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["flow", "simulate", *words]) == 2
    assert said in capsys.readouterr().err


def test_bikes_of_the_shipped_flow_are_talked_through_to_an_end() -> None:
    loaded = load.load(load.shelf.find().flow("metal-in-oil"))
    found = tuple(Simulation(stage.set_up(loaded, lambda *_: ""), 1).outcomes(10))
    assert not [o for o in found if o.end == "broke"]
    assert {o.end for o in found} & {"found", "handed_over"}
