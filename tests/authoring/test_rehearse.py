"""Playing samples: differences by line, rules, rewriting, saving, and what no sample would notice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import yaml

from bot.authoring import load, rehearse, script, stage
from bot.authoring.changes import Change, changes, traced
from bot.authoring.coverage import Coverage, Survivor, cover, cover_shared
from bot.authoring.musts import broken
from bot.authoring.play import NotRestored, Played, heard, line_of, play, restored
from bot.authoring.problems import FlowError
from bot.core import events
from bot.core.desk import Desk
from bot.core.events import Entry, Heard
from bot.core.state import State
from tests.authoring import echo
from tests.rattle import RATTLE, opened

TALK = """\
flow: rattle
now: 2026-05-04T10:00:00Z

you: it rattles
bot: WARNING: Hot oil burns: let it cool.
   : Does it knock from below?
   : 1 It knocks
   : 2 No knock
+2 h
you: 1
bot: STOP. Do not start the engine.
bot: WARNING: Hot oil burns: let it cool.
   : Hold a magnet under the bits. What happens?
   : 1 All of them cling
   : 2 None clings
you: bye
bot: sheet of Something rattles
"""
RULES = """
must: ends in put_off
must: stop big-knock stands
must: says caution hot-oil
must: asks magnet
must: offers nut
must: says "Do not start"
never: says caution moving-parts
never: asks amount
never: stop big-knock lifted
never: first suspect basket-worn
"""


@pytest.fixture(name="set_")
def _set(tmp_path: Path) -> stage.Stage:
    file = tmp_path / "rattle.yaml"
    file.write_text(yaml.safe_dump(RATTLE, sort_keys=False), encoding="utf-8")
    return stage.set_up(file, echo.summary, echo.receive)


def played(set_: stage.Stage, text: str) -> Played:
    return play(script.read(text, "s.txt"), set_)


def differences(set_: stage.Stage, text: str) -> list[str]:
    return rehearse.differences(played(set_, text), set_.flow)


def test_a_talk_that_goes_as_written_has_no_difference(set_: stage.Stage) -> None:
    assert differences(set_, TALK + RULES) == []


def test_the_clock_moves_only_where_the_script_says(set_: stage.Stage) -> None:
    times = [x.now.isoformat() for x in played(set_, TALK).exchanges]
    assert [t[11:16] for t in times] == ["10:00", "12:00", "12:00"]


@pytest.mark.parametrize(
    ("was", "now", "wanted"),
    [
        ("   : 2 No knock\n", "   : 2 Silence\n", "s.txt:8: wanted '2 Silence' got '2 No knock'"),
        ("   : 2 No knock\n", "", "s.txt:7: wanted 'nothing more' got '2 No knock'"),
        (
            "   : 2 None clings\n",
            "   : 2 None clings\n   : 3 x\n",
            "s.txt:16: wanted '3 x' got 'nothing more'",
        ),
        ("bot: sheet of Something rattles\n", "", "s.txt:16: wanted 'nothing more' got 'sheet of"),
        ("bot: STOP. Do not start the engine.\n", "", "s.txt:11: wanted 'WARNING: Hot oil burns"),
        ("you: bye\n", "you: bye\nbot: so long\n", "s.txt:17: wanted 'so long' got 'sheet of"),
    ],
)
def test_a_difference_names_its_line_and_both_sides(
    set_: stage.Stage, was: str, now: str, wanted: str
) -> None:
    [found] = differences(set_, TALK.replace(was, now))
    assert found.startswith(wanted)


def test_what_the_bot_never_said_before_anyone_spoke_is_a_difference(set_: stage.Stage) -> None:
    text = TALK.replace("you: it", "bot: hello\nyou: it")
    assert differences(set_, text) == ["s.txt:4: wanted 'hello' got 'nothing'"]


@pytest.mark.parametrize(
    ("rule", "seen"),
    [
        ("must: ends in proved", "ends in put_off"),
        ("must: stop big-knock lifted", "stop big-knock stands"),
        ("must: says caution moving-parts", "it is never said"),
        ("must: asks amount", "it is never asked"),
        ("never: asks knock", "it is asked after line 4"),
        ("never: offers nut", "it is asked after line 4"),
        ('never: says "STOP"', "it is said after line 10"),
        ("must: outcome nut-loose", "outcome none"),
        ("must: standing nut-loose = found", "standing nut-loose = suspected"),
        ("must: first suspect fines", "first suspect nut-loose"),
        ("must: standing unlisted = unlikely", "standing unlisted = "),
    ],
)
def test_a_broken_rule_says_what_is_so_instead(set_: stage.Stage, rule: str, seen: str) -> None:
    [found] = differences(set_, f"{TALK}{rule}\n")
    assert found.startswith(f"s.txt:18: wanted {rule!r} got ")
    assert seen in found


def test_a_grave_caution_behind_more_was_not_said(set_: stage.Stage) -> None:
    text = TALK + "must: says caution moving-parts\n"
    mild = set_.flow.cautions["moving-parts"].model_copy(update={"say": "Fingers clear.", "signal": "notice"})
    for signal, wanted in (("notice", []), ("danger", ["it is never said"])):
        caution = mild.model_copy(update={"signal": signal})
        flow = set_.flow.model_copy(update={"cautions": {**set_.flow.cautions, "moving-parts": caution}})
        found = broken(played(set_.with_flow(flow), text), flow)
        assert [w in f for w, f in zip(wanted, found, strict=True)] == [True] * len(wanted)


# --- given -----------------------------------------------------------------------------------


def given(set_: stage.Stage, *lines: str, head: str = "") -> State:
    text = f"flow: rattle\n{head}given:\n" + "".join(f"  {x}\n" for x in lines) + "you: x\n"
    return played(set_, text).start


def test_what_is_given_stands_in_the_record_before_the_talk(set_: stage.Stage) -> None:
    state = given(
        set_, "trait starter = kick", "knock = yes", "inside = none", "amount = 3 to 12", "meter = 4",
        "nut = good (mechanic)", "open: oil-out, cover", "stop: big-knock", "mended: refit-nut",
        "hours: 43", "ran: 2 h", "setting place = pit", "setting must_ride = no", "cant: inside",
        "said: gone", "watch: debris", head="bike: Goat\n",
    )  # fmt: skip
    told = {t.event.ask: (t.event.form, t.event.value, t.event.rank) for t in state.answers}
    assert told == {
        "knock": ("one", ("yes",), 2),
        "inside": ("marks", (), 3),
        "amount": ("steps", ("a-few", "some"), 2),
        "meter": ("one", ("0",), 2),
        "nut": ("look", ("good",), 4),
    }
    assert (state.nickname, state.traits, state.open) == ("Goat", {"starter": "kick"}, ("oil-out", "cover"))
    assert [s.rule for s in state.standing] == ["big-knock"]
    assert [(m.remedy, m.causes, m.confirmed) for _, m in state.mended] == [
        ("refit-nut", ("nut-loose",), True)
    ]
    assert (state.hours, state.ran_since) == ((43, 43), 2)
    assert state.settings == {"place": "pit", "must_ride": False}
    assert state.skipped["inside"].why == "cant"
    assert state.watch is not None
    assert state.watch.plan == "debris"


def test_a_trait_and_a_setting_alone_belong_to_bike_and_rider_and_open_no_case(set_: stage.Stage) -> None:
    text = "bike: Goat\ngiven:\n  trait starter = kick\n  setting giving_up = 300\n  hours: 43\nyou: x\n"
    found = script.read(text, "s.txt")
    assert stage.begin(found, set_) == State()
    desk = set_.desk(found)
    assert [(b.nickname, b.traits, b.hours) for b in desk.bikes] == [("Goat", {"starter": "kick"}, 43)]
    assert desk.settings == {"giving_up": 300}


def came_out(set_: stage.Stage, *lines: str) -> list[tuple[str, dict[str, int]]]:
    """What an admin would be shown: scope and cases by cause."""
    text = "given:\n" + "".join(f"  came out: {line}\n" for line in lines) + "admin: shares\n"
    tallies = set_.desk(script.read(text, "s.txt")).outcomes()
    return [(tally.scope, dict(tally.cases)) for tally in tallies]


def test_how_cases_came_out_stands_in_the_record_and_opens_no_case(set_: stage.Stage) -> None:
    """What no line names came out as the file has it: 40, 30, 10 and 10 of the 9 that are left, by hand
    4, 3, 1 and 1."""
    assert came_out(set_, "unlisted 3 of 12") == [
        ("everyone", {"": 3, "nut-loose": 4, "basket-worn": 3, "kick-gear": 1, "fines": 1})
    ]
    assert came_out(set_, "nut-loose 5 of 5") == [("everyone", {"nut-loose": 5})]
    assert came_out(set_, "nut-loose 4 of 4") == []  # too few to be shown
    assert set_.desk(script.read("admin: shares\n", "s.txt")).outcomes() == ()
    assert played(set_, "given:\n  came out: fines 5 of 9\nadmin: it rattles\n").start == State()


def test_what_is_no_part_of_a_case_leaves_no_entry_in_one(set_: stage.Stage) -> None:
    """A line of the book among what was given of a case stood there as a question that could not be done."""
    lines = ("magnet = all", "book: oil change at 43 on 2026-04-20", "came out: fines 5 of 9")
    assert given(set_, *lines).skipped == {}
    assert [e.event.kind for e in given(set_, *lines).entries] == [
        "opened", "flow_chosen", "bike_taken", "answered",
    ]  # fmt: skip


def test_an_admin_speaks_as_one(set_: stage.Stage) -> None:
    [exchange] = played(set_, "admin: it rattles\n").exchanges
    [heard_] = [e.event.heard for e in exchange.after.entries if isinstance(e.event, events.WasHeard)]
    assert (heard_.who, heard_.role) == ("admin", "admin")
    assert exchange.shown
    assert script.write(rehearse.updated(played(set_, "admin: it rattles\n"))).startswith(
        "admin: it rattles\nbot:"
    )


def test_a_message_costs_more_on_the_channel_that_pays_by_the_character(set_: stage.Stage) -> None:
    minutes = [
        set_.desk(script.read(f"channel: {c}\nyou: x\n", "s")).message_minutes for c in ("sms", "terminal")
    ]
    assert minutes == [4, 2]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("given:\n  magnt = all\nyou: x\n", "s.txt:2:3: S011 the flow has no question 'magnt' (did you mean"),
        ("given:\n  magnet = some\nyou: x\n", "s.txt:2:3: S013 'some' is not an answer to 'magnet'"),
        ("given:\n  inside = notch\nyou: x\n", "s.txt:2:3: S013 'notch' is not an answer to 'inside'"),
        ("given:\n  meter = 6000\nyou: x\n", "s.txt:2:3: S013"),
        ("given:\n  amount = 60 to 10\nyou: x\n", "s.txt:2:3: S013"),
        ("given:\n  nut = fine\nyou: x\n", "s.txt:2:3: S013"),
        ("given:\n  trait starter = jump\nyou: x\n", "s.txt:2:3: S013"),
        ("given:\n  trait oil = a\nyou: x\n", "s.txt:2:3: S011"),
        ("given:\n  setting mood = good\nyou: x\n", "s.txt:2:3: S011"),
        ("given:\n  hours: many\nyou: x\n", "s.txt:2:3: S013"),
        ("given:\n  open: cover, hood\nyou: x\n", "s.txt:2:3: S011 the flow has no open 'hood'"),
        ("given:\n  said: better\nyou: x\n", "s.txt:2:3: S011"),
        (
            "given:\n  came out: nut-lose 9 of 41\nyou: x\n",
            "s.txt:2:3: S011 the flow has no cause 'nut-lose' (did",
        ),
        (
            "given:\n  came out: fines 9 of 8\nyou: x\n",
            "s.txt:2:3: S015 9 of 8 cannot be: these lines come to 9",
        ),
        (
            "given:\n  came out: fines 5 of 9\n  came out: unlisted 5 of 9\nyou: x\n",
            "s.txt:3:3: S015 5 of 9 cannot be: these lines come to 10 cases; write a larger number",
        ),
        (
            "given:\n  came out: fines 5 of 9\n  came out: unlisted 1 of 8\nyou: x\n",
            "s.txt:3:3: S015 1 of 8 cannot be: the line above it speaks of 9 cases; write the same number",
        ),
        (
            "given:\n  came out: fines 5 of 9\n  came out: fines 1 of 9\nyou: x\n",
            "s.txt:3:3: S015 1 of 9 cannot be: fines is told above; keep one of the two lines",
        ),
        ("given:\n  held: rider\nyou: x\n", "s.txt:2:3: S011 the flow has no seat 'rider'"),
        ("you: x\nmust: outcome nut\n", "s.txt:2:7: S011 the flow has no cause 'nut'"),
        ("you: x\nmust: standing nut-loose = fine\n", "s.txt:2:7: S011"),
        ("you: x\nmust: standing nut-lose = found\n", "s.txt:2:7: S011"),
        ("you: x\nnever: offers glue\n", "s.txt:2:8: S011"),
        (
            "you: x\nmust: says caution cold-oil\n",
            "s.txt:2:7: S011 the flow has no caution 'cold-oil' (did you",
        ),
        ("you: x\nmust: stop knock stands\n", "s.txt:2:7: S011"),
    ],
)
def test_what_the_flow_does_not_have_is_refused_where_it_stands(
    set_: stage.Stage, text: str, wanted: str
) -> None:
    with pytest.raises(FlowError) as caught:
        played(set_, text)
    assert str(caught.value.problems[0]).startswith(wanted)


def test_a_flow_that_is_not_on_the_shelf_is_named(tmp_path: Path) -> None:
    found = script.read("flow: no-such-flow\nyou: x\n", "s.txt")
    with pytest.raises(FlowError, match=r"s\.txt:1:7: S014"):
        stage.find_flow(found)
    assert stage.flow_of(script.read("you: x\n", str(tmp_path / "rattle" / "x.txt"))) == "rattle"


# --- what is said ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "said",
    [
        Heard(text="hello"),
        Heard(text=""),
        Heard(text="two\nlines "),
        Heard(press="12:all"),
        Heard(file="5f1c", file_kind="photo", text="that one"),
        Heard(file="5f1c", file_kind="voice"),
        Heard(text="[photo 1] not a photo"),
        Heard(text="[press 1:x]"),
        Heard(text="it is loose", who="mechanic", role="mechanic"),
        Heard(text="shares", who="admin", role="admin"),
    ],
)
def test_what_was_heard_is_written_so_that_it_is_heard_the_same(said: Heard) -> None:
    text = script.write(script.Script("s.txt", (script.turn("you", "x"), line_of(said))))
    assert heard(script.read(text, "s.txt").talk[1], "terminal") == said


# --- to whom it is said --------------------------------------------------------------------------

BOTH = TALK.replace("you: bye\n", "mechanic: what is it\nbot: WARNING: Hot oil burns: let it cool.\n"
                    "   : Hold a magnet under the bits. What happens?\n   : 1 All of them cling\n"
                    "   : 2 None clings\nyou: bye\n") + "bot to mechanic: to you\n"  # fmt: skip


def test_what_is_said_to_a_mechanic_is_shown_where_he_speaks_and_only_there(set_: stage.Stage) -> None:
    assert differences(set_, BOTH) == []
    [missing] = differences(set_, BOTH.replace("bot to mechanic: to you\n", ""))
    assert missing.endswith("wanted 'nothing more' got 'to mechanic: to you'")
    assert differences(set_, TALK) == []  # there nobody sits beside the rider


def test_the_same_words_to_another_person_are_a_difference(set_: stage.Stage) -> None:
    [found] = differences(set_, BOTH.replace("bot to mechanic: to you", "bot: to you"))
    assert found.endswith("wanted 'to you' got 'to mechanic: to you'")


def test_what_is_said_to_the_other_one_counts_as_said(set_: stage.Stage) -> None:
    assert differences(set_, BOTH + 'must: says "to you"\n') == []
    [found] = differences(set_, TALK + 'must: says "to you"\n')
    assert "it is never said" in found


def test_a_case_that_is_held_is_so_from_its_first_word_and_is_not_opened_by_that(set_: stage.Stage) -> None:
    text = "flow: rattle\ngiven:\n  held: mechanic\nyou: it rattles\n"
    found = script.read(text, "s.txt")
    assert not stage.opens_case(found)
    began = stage.begin(found, set_)
    assert (began.holders, began.complaint) == (("mechanic",), "")
    end = played(set_, text).end
    assert (end.holders, end.complaint, end.rider) == (("mechanic",), "it rattles", "rider")


def test_a_talk_with_a_mechanic_is_saved_with_his_hold(set_: stage.Stage) -> None:
    held = "given:\n  held: mechanic\n\n"
    text = BOTH.replace("\n\nyou: it", f"\n\n{held}you: it", 1)
    saved = rehearse.save(played(set_, text).end.entries, set_)
    assert held in saved
    assert differences(set_, saved) == []


# --- saving and restoring ------------------------------------------------------------------------


def test_a_state_that_does_not_come_back_from_its_entries_is_a_fault() -> None:
    state = opened().answer("magnet", "all").state
    assert restored(state) == state
    with pytest.raises(NotRestored, match="complaint"):
        restored(replace(state, complaint="something else"))


def test_a_play_finds_a_talk_that_cannot_be_stored(set_: stage.Stage) -> None:
    """An event that holds more than its stored form does."""

    class Odd(events.Noted):
        def model_dump_json(self, **options: Any) -> str:
            return events.Noted(words="other").model_dump_json()

    def receive(desk: Desk, state: State, said: Heard, now: datetime) -> echo.Said:
        return echo.Said((events.WasHeard(heard=said), Odd(words="mine")), ())

    with pytest.raises(NotRestored, match="notes"):
        played(replace(set_, receive=receive), TALK)


def test_a_talk_just_had_is_saved_as_a_sample_that_plays(set_: stage.Stage) -> None:
    was = played(set_, TALK)
    text = rehearse.save(was.end.entries, set_)
    assert text == TALK.replace("+2 h", "+120 min")
    assert differences(set_, text) == []


def test_a_known_bike_is_saved_with_what_was_known_of_it(set_: stage.Stage) -> None:
    taken = events.BikeTaken(bike="b", nickname="Goat", traits={"starter": "kick"}, hours=43)
    first = Entry(
        1, "2026-05-04T10:00:00Z", "rider", "rider", events.WasHeard(heard=Heard(text="it rattles"))
    )
    text = rehearse.save((first, replace(first, seq=2, event=taken)), set_)
    assert "bike: Goat\n" in text
    assert "given:\n  trait starter = kick\n  hours: 43\n" in text


# --- rewriting -----------------------------------------------------------------------------------


def test_rewriting_changes_the_bots_lines_and_nothing_else(
    set_: stage.Stage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CI", raising=False)
    old = TALK.replace("2 No knock", "2 Silence").replace("you: bye\n", "# and so\nyou:  bye\nbot: gone\n\n")
    file = tmp_path / "s.txt"
    file.write_text(old.replace("you:  bye", "you: bye") + RULES, encoding="utf-8")
    assert rehearse.rewrite(file, set_)
    new = file.read_text(encoding="utf-8")
    assert new == TALK.replace("you: bye\n", "# and so\nyou: bye\n") + "\n" + RULES
    assert not rehearse.rewrite(file, set_)


def test_rewriting_is_refused_in_ci(
    set_: stage.Stage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CI", "true")
    (tmp_path / "s.txt").write_text("you: x\n", encoding="utf-8")
    with pytest.raises(rehearse.UpdateRefused):
        rehearse.rewrite(tmp_path / "s.txt", set_)
    assert (tmp_path / "s.txt").read_text(encoding="utf-8") == "you: x\n"


# --- coverage ------------------------------------------------------------------------------------


@pytest.fixture(name="covered")
def _covered(set_: stage.Stage) -> Coverage:
    return cover([played(set_, TALK + RULES)], set_)


def survivors(covered: Coverage, group: str) -> set[str]:
    return {s.what for s in covered.survivors if s.group == group}


def test_a_caution_that_is_said_is_noticed_and_one_that_is_not_survives(covered: Coverage) -> None:
    assert survivors(covered, "caution") == {"moving-parts were not said"}


def test_a_stop_rule_that_is_raised_is_noticed_and_what_clears_it_is_not(covered: Coverage) -> None:
    assert survivors(covered, "stop rule") == {
        "nut.good did not clear big-knock",
        "refit-nut did not clear big-knock",
    }


def test_a_look_that_nobody_made_survives(covered: Coverage) -> None:
    assert survivors(covered, "good and bad") == {"good and bad of nut were swapped"}


def test_an_answer_that_raised_the_stop_is_noticed(covered: Coverage) -> None:
    silent = survivors(covered, "answer")
    assert "knock > yes said nothing about any sign" not in silent
    assert "magnet > none said nothing about any sign" in silent
    assert "starter > kick said nothing about any sign" in silent


def test_to_deny_what_only_raises_a_stop_is_not_tried_as_it_changes_nothing(set_: stage.Stage) -> None:
    """A stop is not true while its sign is unknown, and no cause shows a knock; clinging bits are weighed."""
    tried = {change.what for change in changes(set_.loaded.merged, set_.flow) if change.group == "answer"}
    assert "knock > yes said nothing about any sign" in tried
    assert "knock > no said nothing about any sign" not in tried
    assert "magnet > none said nothing about any sign" in tried


def test_a_text_that_was_read_is_noticed_and_one_that_was_not_survives(covered: Coverage) -> None:
    silent = survivors(covered, "text")
    assert "questions > knock > ask said something else" not in silent
    assert "title said something else" not in silent
    assert "access > cover > do said something else" in silent


def test_a_survivor_names_the_place_in_the_flow(covered: Coverage, set_: stage.Stage) -> None:
    [found] = [s for s in covered.survivors if s.group == "caution"]
    line = set_.loaded.own.text.split("\n")[found.line - 1]
    assert line[found.column - 1 :].startswith("moving-parts:")
    assert str(found).startswith(set_.loaded.own.file)
    assert ": no sample conversation would notice if moving-parts were not said" in str(found)


def test_an_excuse_that_nobody_would_miss_survives(set_: stage.Stage, tmp_path: Path) -> None:
    """The rule is excused by the lever in one talk; without the excuse it would have been raised."""
    rule = {**RATTLE["stop_rules"]["big-knock"], "when": {"all": ["knocking"], "unless": ["has-lever"]}}
    file = tmp_path / "excused.yaml"
    file.write_text(yaml.safe_dump({**RATTLE, "stop_rules": {"big-knock": rule}}), encoding="utf-8")
    excused = stage.set_up(file, echo.summary, echo.receive)
    what = "big-knock did not ask for has-lever under 'unless'"
    [change] = [c for c in changes(excused.loaded.merged, excused.flow) if c.what == what]
    knocks = "flow: rattle\ngiven:\n  trait starter = {}\n  knock = yes\nyou: 2\n"
    assert _uses(change, excused, knocks.format("kick")) == [True]
    quiet = knocks.replace("knock = yes", "knock = no").format("kick")
    assert _uses(change, excused, quiet) == [False]


def _uses(change: Change, on: stage.Stage, talk: str) -> list[bool]:
    return [change.used(traced(x, on.flow)) for x in played(on, talk).exchanges]


SHARED_CAUTIONS = {
    **RATTLE["cautions"],
    "fumes": {"signal": "warning", "say": "Open the door: fumes kill.", "short": "Open the door."},
}


def beside_common(folder: Path) -> stage.Stage:
    """The rattling flow with its cautions in the common file, which has one more and a stop rule."""
    rule = {**RATTLE["stop_rules"]["big-knock"], "say": "Leave it off.", "when": {"all": ["knocking"]}}
    shared = {"language": 1, "common": "common", "version": 1, "title": "What all flows share"}
    shared |= {"cautions": SHARED_CAUTIONS, "stop_rules": {"knocks": rule}}
    own = {key: said for key, said in RATTLE.items() if key != "cautions"}
    (folder / "common.yaml").write_text(yaml.safe_dump(shared, sort_keys=False), encoding="utf-8")
    file = folder / "rattle.yaml"
    file.write_text(yaml.safe_dump({**own, "uses": ["common"]}, sort_keys=False), encoding="utf-8")
    return stage.set_up(file, echo.summary, echo.receive)


def test_a_flow_answers_for_its_own_and_for_the_shared_cautions_that_it_uses(tmp_path: Path) -> None:
    both = beside_common(tmp_path)
    found = cover([played(both, TALK)], both)
    assert survivors(found, "caution") == {"moving-parts were not said"}
    assert found.tried["caution"] == len(RATTLE["cautions"])
    assert not any("knocks" in what for what in survivors(found, "stop rule"))


def test_what_all_flows_share_is_noticed_by_the_conversations_of_any(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    quiet, loud = beside_common(tmp_path), beside_common(tmp_path / "other")
    calm = ([played(quiet, TALK.replace("you: 1", "you: 2"))], quiet)
    knocks = ([played(loud, TALK)], loud)
    gone = "the stop rule knocks were gone"
    assert gone in survivors(cover_shared([calm]), "stop rule")
    for order in ([calm, knocks], [knocks, calm]):
        found = cover_shared(order)
        assert gone not in survivors(found, "stop rule")
        assert survivors(found, "caution") == {"moving-parts were not said", "fumes were not said"}
        assert found.tried["caution"] == len(SHARED_CAUTIONS)


@dataclass(frozen=True)
class Row:
    tried: dict[str, int]
    survived: dict[str, int]
    passes: bool


@pytest.mark.parametrize(
    "row",
    [
        Row({"caution": 3, "answer": 10}, {"answer": 1}, True),
        Row({"caution": 3, "answer": 10}, {"answer": 2}, False),
        Row({"caution": 3, "text": 9}, {"text": 9}, True),
        Row({"caution": 3}, {"caution": 1}, False),
        Row({"stop rule": 3}, {"stop rule": 1}, False),
        Row({"good and bad": 3}, {"good and bad": 1}, False),
        Row({}, {}, True),
    ],
)
def test_the_gate(row: Row) -> None:
    left: Iterator[Survivor] = (
        Survivor("f", 1, 1, group, "x")  # type: ignore[arg-type]
        for group, n in row.survived.items()
        for _ in range(n)
    )
    found = Coverage(row.tried, tuple(left))  # type: ignore[arg-type]
    assert found.passes is row.passes
    assert f"caution: {row.tried.get('caution', 0) - row.survived.get('caution', 0)} of" in found.figures[0]


def test_answers_that_all_flows_share_are_counted_with_those_of_the_flows() -> None:
    """7 of 15 and 1 of 85 are 8 of 100; 10 of 99 are over a tenth. A caution counts by itself."""

    def found(answers: int, survived: int, cautions: int = 0) -> Coverage:
        left = [Survivor("f", 1, n, "answer", "x") for n in range(survived)]
        left += [Survivor("f", 2, n, "caution", "x") for n in range(cautions)]
        return Coverage({"answer": answers, "caution": 3}, tuple(left))

    assert not found(15, 7).passes
    assert found(15, 7).passes_with([found(85, 1)])
    assert not found(15, 7).passes_with([found(84, 3)])
    assert not found(15, 0, cautions=1).passes_with([found(85, 0)])


# --- the command ---------------------------------------------------------------------------------


def test_the_command_says_what_differs_and_fails(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, set_: stage.Stage
) -> None:
    flow = Path(set_.loaded.own.file)
    monkeypatch.setattr(stage, "find_flow", lambda found: flow)
    monkeypatch.setattr(
        stage, "set_up", lambda file, summary: replace(set_, loaded=load.load(file), summary=summary)
    )
    (tmp_path / "good.txt").write_text(TALK, encoding="utf-8")
    assert rehearse.run([str(tmp_path)], echo.summary) == 0
    assert "1 sample conversations played, 0 differences" in capsys.readouterr().out
    (tmp_path / "wrong.txt").write_text(TALK.replace("No knock", "Silence"), encoding="utf-8")
    (tmp_path / "odd.txt").write_text("you: x\nmust: shine\n", encoding="utf-8")
    assert rehearse.run([str(tmp_path)], echo.summary) == 1
    out = capsys.readouterr().out
    assert "wrong.txt:8: wanted '2 Silence' got '2 No knock'" in out
    assert "odd.txt:2:7: S008" in out
    assert rehearse.run([str(tmp_path / "good.txt")], echo.summary, coverage=True) == 1
    assert "does not pass" in capsys.readouterr().out
    monkeypatch.delenv("CI", raising=False)
    assert rehearse.run([str(tmp_path)], echo.summary, update=True) == 1
    out = capsys.readouterr().out
    assert "wrong.txt: rewritten" in out
    assert "good.txt: as it was" in out
    assert "odd.txt: not rewritten" in out
    assert "odd.txt:2:7: S008" in out
    assert "wrong.txt:8" not in out


def test_a_folder_without_samples_is_said(tmp_path: Path) -> None:
    with pytest.raises(rehearse.NoSamples, match="no sample conversation"):
        rehearse.named([str(tmp_path)])
