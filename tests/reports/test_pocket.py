"""The short sheet for a phone: two cases by hand, what is cut and what never is."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.core import events
from bot.reports import pocket, text
from bot.reports.ahead import Ahead, LeftOut
from bot.reports.lines import CHANCE_WORDS, chance_word, topic
from bot.reports.orders import Order, OrderLine
from bot.reports.sheet import (
    ConfirmedLine,
    Facts,
    FindingLine,
    LookAgainLine,
    LookLine,
    Lost,
    NoteLine,
    OutcomeLine,
    RepairLine,
    StopLine,
    SuspectLine,
    Voice,
)
from bot.reports.wording import ENGLISH
from tests.rattle import FLOW, Diary, opened
from tests.reports.test_facts import settled, started

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
PHONE = 40  # columns
RIDER = Voice("rider", "rider", "2026-05-04T09:04:00Z", (43, 43))
ANN = Voice("Ann", "mechanic", "2026-05-05T10:00:00Z", (45, 45))
LOOK = LookLine("Clutch pack out, all of it", "All of it good", "good", ANN, 8.2)


def suspect(name: str, standing: str, chance: float, look: LookLine | None = None) -> SuspectLine:
    return SuspectLine(name, standing, chance, look is not None, look, "", "", "")  # type: ignore[arg-type]


def finding(question: str, answer: str, rank: int, voice: Voice = RIDER, quiet: bool = False) -> FindingLine:
    return FindingLine(question, answer, rank, voice, 0, 0, (), quiet)


BARE = Facts(
    title="Metal in the oil", version=1, written_at="2026-05-05T12:00:00Z", complaint="glitter in the oil",
    bike="Goat", hours=None, traits=(), findings=(), not_sure=(), suspects=(), unlisted=0.02,
    unlisted_standing="unlikely", fixed=0.0, misfit=False, stops=(), repairs=(), ahead=Ahead(), ended="",
    order=Order(), minutes_spent=5, money_spent=0, currency="EUR", as_of="2026-05", looks_again=(), notes=(),
)  # fmt: skip


def test_a_case_under_way_by_hand() -> None:
    sheet = replace(
        BARE,
        findings=(
            finding("How many pieces? (no paste)", "21 to 60", 2),
            finding("Metal found where?", "In the filter", 1),
            finding("Deep knock with load, lever in or out?", "No knock", 2, quiet=True),
        ),
        not_sure=("Engine locked, tight or grinding?",),
        suspects=(
            suspect("Basket notched", "suspected", 0.77),
            suspect("Ordinary fines", "suspected", 0.12),
            suspect("Shift fork", "unlikely", 0.014),
            suspect("Main bearing", "unlikely", 0.011),
        ),
        ahead=Ahead("Magnet under washed pieces?", "question", "cheapest", 4, 21, 564),
    )
    assert pocket.write(sheet) == (
        "No stop stands.\n"
        "SUMMARY Goat: Metal in the oil\n"
        '"glitter in the oil"\n'
        "2026-05-05, hours not told.\n"
        "\n"
        "TOLD by rider: How many pieces: 21 to 60; Metal found where: In the filter (unasked)\n"
        "NOTHING SEEN by rider: Deep knock with load\n"
        "\n"
        "SUSPECTS\n"
        "- suspected, no look made: Basket notched 77 of 100, likely; Ordinary fines 12 of 100, possible\n"
        "- 2 others, each below 2 of 100; NO LOOK MADE\n"
        "- something not in this list: 2 of 100\n"
        "\n"
        "NEXT: Magnet under washed pieces? Why: it takes about 4 min and saves about 21 min on average.\n"
        "Spent: 5 min. To come, hand-over included: about 564 min.\n"
        "COULD NOT JUDGE: Engine locked\n"
        "Send 'whole sheet' for all of it.\n"
        "Local rules, manual, mechanic go first."
    )


def test_a_case_handed_over_under_a_stop_by_hand() -> None:
    long = "Do not start it. Splinters. The filter and both covers are looked at first."
    brief = "Splinters. Do not start."
    nut = suspect("Hub nut loose", "ruled-out", 0.004, replace(LOOK, finds_of_10=9.1))
    kick = replace(suspect("Kick gear", "ruled-out", 0.0), excluded_by="How started?")
    bad = replace(LOOK, answer="Steps in the fingers", said="bad")
    parts = (
        OrderLine("filter", 1, 8, True, False, "x"),
        OrderLine("basket", 1, None, False, True, "x"),
        OrderLine("bolt", 6, 0.5, False, True, "x"),
    )
    sheet = replace(
        BARE,
        hours=(45, 45),
        ended="handed_over",
        stops=(
            StopLine("rule", "Look at the pads.", "", ("riding",), RIDER.at, (), True, "", ()),
            StopLine("rule", long, brief, ("running",), RIDER.at, (), True, "", (20, None)),
            StopLine("rule", "gone", "gone", ("running",), RIDER.at, (), False, "mechanic", ()),
        ),
        findings=(
            finding("Kind of pieces?", "flakes", 2),
            replace(finding("Kind of pieces?", "splinters", 2), round=1),
            replace(finding("Amount?", "6 to 20", 2), lost=(Lost("none", RIDER, False),)),
            finding("Clutch pack out, all of it", "Steps in the fingers", 4, ANN),
        ),
        suspects=(
            suspect("Basket notched", "found", 0.97, bad),
            replace(suspect("Plates worn", "repaired", 0.03), remedy="New plates"),
            nut,
            suspect("Release bearing", "ruled-out", 0.002, LOOK),
            kick,
            suspect("Primary nut", "still-possible", 0.06, LOOK),
        ),
        repairs=(RepairLine("New plates", RIDER, True, ("plates in order",)),),
        ahead=Ahead(kind="hand_over", minutes=631, giving_up=600, left_out=tuple(
            LeftOut(what, why) for what, why in (
                ("Cases split", "tools"), ("Leakdown test", "tools"), ("Crank end", "tools"),
                ("Staged run and look", "running"), ("Basket out.", "tools"),
            )
        )),
        order=Order(parts, 11, 8, 1),
        looks_again=(LookAgainLine("Drain a little.", 30, None, "light", "practice", 45),),
        notes=(NoteLine("blue at the rod", "", RIDER), NoteLine("", "photo", RIDER)),
    )  # fmt: skip
    assert pocket.write(sheet) == (
        "STOP. Splinters. Do not start. It was run for 20 min after this stop. "
        "It was run after this stop, not told how long.\n"
        "LOOK FIRST, DO NOT RIDE: Look at the pads. No run told since.\n"
        "SUMMARY Goat: Metal in the oil\n"
        '"glitter in the oil"\n'
        "2026-05-05, 45 h, handed over.\n"
        "\n"
        "TOLD by mechanic Ann: Clutch pack out: Steps in the fingers (looked)\n"
        "TOLD by rider: Kind of pieces: splinters; Amount: 6 to 20 (first said: none)\n"
        "\n"
        "SUSPECTS\n"
        "- FOUND: Basket notched, 97 of 100, by Clutch pack out "
        "(mechanic Ann, 2026-05-05, 45 h; finds 8 of 10)\n"
        "- Plates worn: repaired, being watched, 3 of 100\n"
        "- done: New plates, on suspicion (rider, 2026-05-04). Not confirmed: plates in order.\n"
        "- ruled out (mechanic Ann, 2026-05-05, 45 h): "
        "Clutch pack out (finds 8 to 9 of 10): Hub nut loose; Release bearing\n"
        "- ruled out, no such part here: 1\n"
        "- still possible, clean at Clutch pack out: Primary nut 6 of 100, small chance\n"
        "- something not in this list: 2 of 100\n"
        "\n"
        "NEXT: To the workshop with this sheet. It must not run.\n"
        "Spent: 5 min. To come, hand-over included: about 631 min and 11 EUR.\n"
        "ORDER LIST: 1 x filter, new: 8; 1 x basket: price not known (on suspicion); "
        "6 x bolt: 0.5 (on suspicion). Total 11 EUR, without suspicion 8 EUR, as of 2026-05. "
        "1 part has no price and is not counted. Handing over counts as 600 min.\n"
        "LOOK AGAIN\n"
        "- After 30 min of light running: Drain a little.\n"
        "FOR THE GARAGE: Cases split; Leakdown test; and 2 more (tools are missing); "
        "Staged run and look (it must not run)\n"
        'NOTES: 2 kept, last: "blue at the rod"\n'
        "Send 'whole sheet' for all of it.\n"
        "Local rules, manual, mechanic go first."
    )


# --- what is cut ---------------------------------------------------------------------------------


def test_five_suspects_are_named_and_the_rest_counted() -> None:
    names = [f"cause {n}" for n in "abcdefghi"]
    chances = (0.3, 0.2, 0.12, 0.08, 0.07, 0.06, 0.049, 0.02, 0.001)
    sheet = replace(
        BARE, suspects=tuple(suspect(n, "suspected", p) for n, p in zip(names, chances, strict=True))
    )
    shown = pocket.write(sheet)
    assert [n for n in names if n in shown] == names[:5]
    assert "- 4 others, each below 7 of 100; NO LOOK MADE\n" in shown


def test_what_one_person_cleared_that_day_is_one_line_look_by_look() -> None:
    split = LookLine("Cases split", "Good", "good", ANN, 9.8)
    later = replace(split, voice=replace(ANN, hours=(50, 50)))
    lesser, best = replace(split, finds_of_10=9.2), replace(later, finds_of_10=9.6)
    looks = {"a": LOOK, "b": split, "c": lesser, "d": later, "e": best}
    cleared = tuple(suspect(name, "ruled-out", 0.01, look) for name, look in looks.items())
    shown = pocket.write(replace(BARE, suspects=cleared))
    assert (
        "- ruled out (mechanic Ann, 2026-05-05, 45 h): Clutch pack out (finds 8 of 10): a. "
        "Cases split (finds 9 of 10): b; c\n"
        "- ruled out (mechanic Ann, 2026-05-05, 50 h): Cases split (finds over 9 of 10): d; e\n"
    ) in shown


def test_of_the_others_those_that_nobody_looked_at_are_counted() -> None:
    three = (suspect("a", "unlikely", 0.01), suspect("b", "still-possible", 0.02, LOOK))
    assert "- 2 others, each below 3 of 100; NO LOOK MADE of 1\n" in pocket.write(
        replace(BARE, suspects=three)
    )
    [looked] = three[1:]
    assert "- 1 other below 3 of 100\n" in pocket.write(replace(BARE, suspects=(looked,)))


def test_a_clean_look_that_is_too_old_says_so() -> None:
    old = replace(suspect("Nut", "suspected", 0.3, LOOK), stale="hours")
    assert (
        "- suspected, clean at 45 h, but more than ten running hours have gone since: Nut 30 of 100, possible"
        in pocket.write(replace(BARE, suspects=(old,)))
    )


def test_what_was_first_said_otherwise_is_named_although_nothing_was_seen() -> None:
    quiet = tuple(finding(f"Question {n}?", "no", 2, quiet=True) for n in range(7))
    changed = replace(quiet[6], lost=(Lost("yes", RIDER, True),))
    shown = pocket.write(replace(BARE, findings=(*quiet[:6], changed)))
    named = "Question 6 (taken back: yes); Question 0; Question 1; Question 2; and 3 more"
    assert f"NOTHING SEEN by rider: {named}\n" in shown


def test_a_long_note_is_cut_and_kept_on_the_whole_sheet() -> None:
    sheet = replace(BARE, notes=(NoteLine("x" * 200, "", RIDER),))
    assert f'NOTES: 1 kept, last: "{"x" * 60}..."\n' in pocket.write(sheet)
    assert "x" * 200 in text.write(sheet)


def test_thanks_are_not_the_note_that_is_shown() -> None:
    said = tuple(NoteLine(words, "", RIDER) for words in ("the rod is blue", "thanks!", "ok bye"))
    assert 'NOTES: 3 kept, one of them: "the rod is blue"\n' in pocket.write(replace(BARE, notes=said))
    assert 'NOTES: 2 kept, last: "ok bye"\n' in pocket.write(replace(BARE, notes=said[1:]))


def test_points_that_nobody_confirmed_end_as_sentences_do() -> None:
    done = RepairLine("New plates", RIDER, False, ("Washer new.", "Cone outwards."), held="held")
    assert (
        "- done: New plates (rider, 2026-05-04). Held so far. Not confirmed: Washer new; Cone outwards.\n"
    ) in pocket.write(replace(BARE, repairs=(done,)))


def test_a_cause_that_it_was_is_not_said_to_be_sure_as_well() -> None:
    was = OutcomeLine("cause", "Nut loose", "", "seen", ANN)
    sure = ConfirmedLine("Nut loose", "", "seen", ANN, 0)
    other = ConfirmedLine("", "bent washer", "seen", ANN, 0)
    sheet = replace(BARE, outcome=was, confirmed=(sure, other))
    shown = pocket.write(sheet)
    assert "IT WAS: Nut loose" in shown
    assert "SURE, mechanic Ann, 2026-05-05: bent washer" in shown
    assert shown.count("Nut loose") == 1
    assert "SURE: Nut loose" in text.write(sheet)


def test_of_a_closed_case_nothing_is_to_come_but_its_looks() -> None:
    left = Ahead(kind="second_look", minutes=65, left_out=(LeftOut("Cases split", "tools"),))
    closed = replace(BARE, ended="closed", ahead=left)
    shown = pocket.write(closed)
    assert "NEXT: Nothing more in this case.\nSpent: 5 min.\n" in shown
    assert "GARAGE" not in shown
    looks = (LookAgainLine("Drain a little.", 30, None, "light", "practice", 45),)
    shown = pocket.write(replace(closed, looks_again=looks))
    assert "NEXT: Nothing more but to look again.\nSpent: 5 min.\nLOOK AGAIN\n" in shown
    assert "FOR THE GARAGE\n- tools are missing: Cases split\n" in text.write(closed)


@pytest.mark.parametrize(
    ("question", "wanted"),
    [
        ("How many pieces? (no paste)", "How many pieces"),
        ("Clutch pack out, all of it", "Clutch pack out"),
        ("More, bigger or a new kind?", "More, bigger or a new kind"),
        ("Try the nut by hand.", "Try the nut by hand"),
        ("See which? Paste does not count", "See which"),
        ("Hold a magnet there. What happens?", "Hold a magnet there"),
    ],
)
def test_what_a_question_is_about(question: str, wanted: str) -> None:
    assert topic(question) == wanted


# Kent 1964, Words of Estimative Probability: almost certain 93 give or take 6, probable 75 give or take 12,
# chances about even 50 give or take 10. Below that the words are our own.
@pytest.mark.parametrize(
    ("p", "word"),
    [
        (0.99, "nearly certain"), (0.87, "nearly certain"), (0.75, "likely"), (0.6, "likely"),
        (0.5, "about even"), (0.4, "about even"), (0.39, "possible"), (0.1, "possible"),
        (0.0951, "possible"), (0.094, "small chance"), (0.0, "small chance"),
    ],
)  # fmt: skip
def test_a_chance_in_words(p: float, word: str) -> None:
    assert chance_word(p, ENGLISH) == word


def test_the_words_of_chance_are_in_order() -> None:
    assert [least for least, _ in CHANCE_WORDS] == sorted((least for least, _ in CHANCE_WORDS), reverse=True)


# --- any case --------------------------------------------------------------------------------------

STEPS = st.lists(
    st.sampled_from(
        [
            ("magnet", "all"), ("magnet", "none"), ("knock", "no"), ("knock", "yes"), ("amount", "some"),
            ("amount", "heaps"), ("nut", "good"), ("nut", "bad"), ("nut", "other"), ("inside",),
            ("inside", "notches"), ("inside", "notches", "grooves"), ("mend",), ("cover",), ("mechanic",),
            ("ran",),
        ]
    ),
    max_size=8,
)  # fmt: skip


def played(steps: list[tuple[str, ...]]) -> Facts:
    case = started() if len(steps) % 2 else opened()
    for what, *value in steps:
        _do(case, what, value)
    return text.facts_of(FLOW, case.state, NOON)


def _do(case: Diary, what: str, value: list[str]) -> None:
    if what == "mend":
        case.mend("refit-nut", "nut-loose")
    elif what == "cover":
        case.add(events.AccessOpened(access="cover"))
    elif what == "mechanic":
        case.by("mechanic")
    elif what == "ran":
        case.add(events.Ran(hours=11))
    else:
        case.answer(what, *value)


@settings(max_examples=40, deadline=None)
@given(STEPS)
def test_no_suspect_is_named_twice_and_the_whole_sheet_names_every_one(steps: list[tuple[str, ...]]) -> None:
    sheet = played(steps)
    short, long = pocket.write(sheet), text.write(sheet)
    for s in sheet.suspects:
        assert short.count(s.name) <= 1
        assert long.count(s.name) == 1


@settings(max_examples=40, deadline=None)
@given(STEPS)
def test_the_whole_sheet_holds_every_finding_and_both_fit_a_phone(steps: list[tuple[str, ...]]) -> None:
    sheet = played(steps)
    long = text.write(sheet)
    for f in sheet.findings:
        answers = [ENGLISH["other"] if part == "other" else part for part in f.answer.split(", ")]
        assert f"{f.question.rstrip('.')}" in long
        assert ", ".join(answers) in long
    for shown in (pocket.write(sheet, width=PHONE), text.write(sheet, width=PHONE)):
        assert max(map(len, shown.split("\n"))) <= PHONE


@cache
def usual() -> Facts:
    """A rider's case after four answers and a look."""
    case = settled(started().answer("amount", "some").answer("inside"))
    return text.facts_of(FLOW, case.state, NOON)


def test_a_usual_case_takes_at_most_35_lines_of_a_phone() -> None:
    assert len(pocket.write(usual(), width=PHONE).split("\n")) <= 35


def test_the_chat_gets_the_short_sheet_and_a_file_of_the_case_the_whole_one() -> None:
    state = settled(started()).state
    assert text.summary(FLOW, state, NOON) == pocket.write(text.facts_of(FLOW, state, NOON))
    assert text.whole(FLOW, state, NOON) == text.write(text.facts_of(FLOW, state, NOON))
