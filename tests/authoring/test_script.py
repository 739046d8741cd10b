"""The text format of sample conversations: what is read, what comes back, where mistakes are shown."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring.problems import FlowError, show
from bot.authoring.script import (
    ENDS,
    SENTENCES,
    Line,
    Script,
    read,
    read_clock,
    read_given,
    read_rule,
    turn,
    write,
)

WHOLE = """\
# a rider at the trail head
flow: rattle
bike: Goat
now: 2026-05-04T10:00:00Z
channel: terminal

given:
  # told last week
  trait starter = kick
  magnet = all
  inside = notches, grooves
  amount = 10 to 60
  nut = good (mechanic)
  open: oil-out, cover
  stop: big-knock
  mended: refit-nut
  hours: 43

you: it rattles
   : below
bot: Which of these comes nearest?
   :
   : 1 Something rattles
+2 h
mechanic: [photo 5f1c] that is the nut
bot:

must: ends in handed_over
must: says caution hot-oil
must: stop big-knock stands
must: standing nut-loose = found
must: outcome nut-loose
must: first suspect nut-loose
must: asks knock
must: says "leave it"
never: offers refit-nut
"""


def problems(text: str | bytes) -> list[str]:
    with pytest.raises(FlowError) as caught:
        read(text, "s.txt")
    return [str(p) for p in caught.value.problems]


def test_every_part_is_read_with_its_place() -> None:
    script = read(WHOLE, "s.txt")
    assert (script.head("flow"), script.head("bike"), script.head("channel")) == (
        "rattle",
        "Goat",
        "terminal",
    )
    assert script.now == datetime(2026, 5, 4, 10, tzinfo=UTC)
    assert [x.kind for x in script.talk] == ["you", "bot", "clock", "mechanic", "bot"]
    assert script.talk[0].lines == ("it rattles", "below")
    assert script.talk[1].lines == ("Which of these comes nearest?", "", "1 Something rattles")
    assert [(x.n, x.kind) for x in script.talk][:2] == [(19, "you"), (21, "bot")]


def test_what_is_given_is_read_by_kind() -> None:
    told = [(g.kind, g.name, g.values, g.mechanic) for g in read(WHOLE, "s.txt").given]
    assert told == [
        ("trait", "starter", ("kick",), False),
        ("answer", "magnet", ("all",), False),
        ("answer", "inside", ("notches", "grooves"), False),
        ("answer", "amount", ("10 to 60",), False),
        ("answer", "nut", ("good",), True),
        ("open", "", ("oil-out", "cover"), False),
        ("stop", "", ("big-knock",), False),
        ("mended", "", ("refit-nut",), False),
        ("hours", "", ("43",), False),
    ]


def test_what_must_hold_is_read_and_says_itself() -> None:
    rules = read(WHOLE, "s.txt").rules
    assert [(r.must, r.kind, r.name, r.value) for r in rules] == [
        (True, "ends", "handed_over", ""),
        (True, "caution", "hot-oil", ""),
        (True, "stop", "big-knock", "stands"),
        (True, "standing", "nut-loose", "found"),
        (True, "outcome", "nut-loose", ""),
        (True, "first", "nut-loose", ""),
        (True, "asks", "knock", ""),
        (True, "says", "leave it", ""),
        (False, "offers", "refit-nut", ""),
    ]
    assert [str(r) for r in rules] == WHOLE.strip().split("\n")[-9:]
    assert rules[0].place == (28, 7)


def test_a_script_comes_back_as_it_was_written() -> None:
    assert write(read(WHOLE, "s.txt")) == WHOLE


@pytest.mark.parametrize(
    "text", ["you:   hi there  \n", "you:\n", "+ 2 h\nyou: x\n", "\n\n# only\nyou: x\n\n"]
)
def test_odd_spacing_is_kept(text: str) -> None:
    assert write(read(text, "s.txt")) == text


def test_line_ends_of_another_system_are_understood() -> None:
    script = read(WHOLE.replace("\n", "\r\n"), "s.txt")
    assert script.lines == read(WHOLE, "s.txt").lines


PRINTED = st.text(st.characters(codec="utf-8", exclude_characters="\r\n"), max_size=20)
TURNS = st.builds(
    lambda who, lines: Line(who[0], tuple(lines), who[1]),
    st.sampled_from(
        [("you", ""), ("bot", ""), ("mechanic", ""), ("admin", ""), ("bot", "rider"), ("bot", "mechanic")]
    ),
    st.lists(PRINTED, min_size=1, max_size=4),
)


@given(st.lists(TURNS, min_size=1, max_size=6))
def test_whatever_is_said_reads_back_the_same(turns: list[Line]) -> None:
    script = Script("s.txt", (turn("you", "hello"), *turns))
    assert read(write(script), "s.txt").lines == script.lines


TWO = """\
given:
  held: mechanic

you: it rattles
mechanic: that is the nut
bot: Noted.
bot to rider: The mechanic noted something.
            : That is all.
bot to mechanic:
"""


def test_what_is_said_to_the_other_one_names_him_and_comes_back_as_it_was_written() -> None:
    script = read(TWO, "s.txt")
    assert [(x.kind, x.key, x.lines) for x in script.talk[2:]] == [
        ("bot", "", ("Noted.",)),
        ("bot", "rider", ("The mechanic noted something.", "That is all.")),
        ("bot", "mechanic", ("",)),
    ]
    assert write(script) == TWO
    assert write(Script("s.txt", (turn("bot", "a\nb", "rider"),))) == "bot to rider: a\n            : b\n"


@pytest.mark.parametrize("line", ["bot to nobody: x", "bot to: x", "you to rider: x", "bot rider: x"])
def test_nobody_else_is_spoken_to(line: str) -> None:
    [found] = problems(f"you: x\n{line}\n")
    assert found.startswith("s.txt:2:1: S001")


def test_who_sits_at_the_case_is_told_by_who_speaks_or_holds_it() -> None:
    assert read("you: x\n", "s.txt").seats == ("rider",)
    assert read("you: x\nmechanic: y\n", "s.txt").seats == ("rider", "mechanic")
    assert read("given:\n  held: mechanic\nyou: x\n", "s.txt").seats == ("rider", "mechanic")


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_with_a_place(text: str) -> None:
    script, found = tried(text)
    if script is None:
        assert all(1 <= line <= max(1, text.count("\n") + 1) for line in found)
    else:
        assert write(script).rstrip("\n") == text.replace("\r\n", "\n").removesuffix("\r").rstrip("\n")


def tried(text: str) -> tuple[Script | None, list[int]]:
    """The script, or the lines of its mistakes."""
    try:
        return read(text, "s.txt"), []
    except FlowError as error:
        return None, [p.line for p in error.problems]


def test_a_photo_and_a_press_are_said_in_brackets() -> None:
    assert read("you: [press 12:all]\n", "s.txt").talk[0].text == "[press 12:all]"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("+2 h", timedelta(hours=2)), ("+ 30 min", timedelta(minutes=30)), ("+1.5 days", timedelta(hours=36))],
)
def test_the_clock_moves_by_hours_minutes_and_days(text: str, wanted: timedelta) -> None:
    assert read_clock(Line("clock", (text,))) == wanted


@pytest.mark.parametrize("text", ["+2", "+ two h", "+2 weeks", "2 h"])
def test_other_moves_of_the_clock_are_not_understood(text: str) -> None:
    assert read_clock(Line("clock", (text,))) is None


def test_how_cases_came_out_is_given_in_a_line() -> None:
    found = read_given(Line("known", ("came out: nut-loose 9 of 41",)))
    assert found is not None
    assert (found.kind, found.name, found.values) == ("came_out", "nut-loose", ("9", "41"))


@pytest.mark.parametrize(
    "text",
    [
        "magnet",
        "magnet =",
        "open:",
        "closed: cover",
        "trait starter kick",
        "came out: nut-loose 9",
        "came out: 9 of 41",
    ],
)
def test_what_cannot_be_given(text: str) -> None:
    assert read_given(Line("known", (text,))) is None


@pytest.mark.parametrize("text", ["ends in tears", "stop x wobbles", "says hello", "standing x found", ""])
def test_what_cannot_be_asked_of_a_conversation(text: str) -> None:
    assert read_rule(Line("must", (text,))) is None


def test_every_end_can_be_asked_for() -> None:
    assert all(read_rule(Line("must", (f"ends in {end}",))) for end in ENDS)


MISTAKES = {
    "S001": ("you: x\nbut: y\n", "s.txt:2:1: S001"),
    "S002": ("you: x\nflow: rattle\n", "s.txt:2:1: S002"),
    "S003": ("now: 2026-05-04T10:00:00\nyou: x\n", "s.txt:1:6: S003"),
    "S004": ("flow: a\nflow: b\nyou: x\n", "s.txt:2:7: S004"),
    "S005": ("   : more\nyou: x\n", "s.txt:1:4: S005"),
    "S006": ("given:\n  magnet is all\nyou: x\n", "s.txt:2:3: S006"),
    "S007": ("you: x\n+soon\n", "s.txt:2:1: S007"),
    "S008": ("you: x\nmust: end well\n", "s.txt:2:7: S008"),
    "S009": ("you: x\nmust: asks knock\nyou: y\n", "s.txt:3:1: S009"),
    "S010": ("flow: rattle\n", "s.txt:1:1: S010"),
    "S012": (b"you: \xff\n", "s.txt:1:1: S012"),
}


@pytest.mark.parametrize("code", sorted(MISTAKES))
def test_each_mistake_is_shown_where_it_is(code: str) -> None:
    text, wanted = MISTAKES[code]
    [found] = problems(text)
    assert found.startswith(wanted)


def test_all_mistakes_of_a_file_come_at_once() -> None:
    found = problems("flwo: x\nyou: a\n+soon\nmust: shine\n")
    assert [p.split(" ")[1] for p in found] == ["S001", "S007", "S008"]
    assert "did you mean 'flow'?" in found[0]


def test_a_mistake_is_shown_with_its_line_and_a_caret() -> None:
    text = "you: x\nmust: shine\n"
    with pytest.raises(FlowError) as caught:
        read(text, "s.txt")
    assert show(caught.value.problems[0], text).split("\n")[1:] == ["  must: shine", "        ^"]


def test_the_codes_tested_here_and_with_the_flow_are_all_there_are() -> None:
    assert set(SENTENCES) - set(MISTAKES) == {"S011", "S013", "S014", "S015"}
