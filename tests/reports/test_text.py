"""The whole sheet as text, line by line by hand and at both widths; and the text message of three parts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core import events
from bot.core.segments import is_plain, segments
from bot.reports import sms, text
from bot.reports.ahead import Ahead, LeftOut
from bot.reports.lines import chance, hours, wrap
from bot.reports.orders import Order
from bot.reports.sheet import Facts, StopLine
from bot.reports.text import PHONE, TERMINAL, write
from bot.reports.wording import ENGLISH
from tests.rattle import FLOW, Diary, opened
from tests.reports.test_facts import settled, started, stopped

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def sheet(case: Diary) -> Facts:
    return text.facts_of(FLOW, case.state, NOON)


def lines(case: Diary) -> list[str]:
    return text.whole(FLOW, case.state, NOON).split("\n")


def test_photos_are_named_by_what_was_asked_on_both_sheets() -> None:
    case = opened().add(events.Noted(file="a", file_kind="photo", about="question:magnet"))
    case.add(events.Noted(file="b c", file_kind="photo", about="question:magnet", words="both sides"))
    case.add(events.Noted(file="d", file_kind="photo", about="bike:"))
    notes = [line for line in lines(case) if "photo" in line]
    assert notes == [
        "- photo 1 of Hold a magnet under the bits (rider, 2026-05-04 09:04, 43 h)",
        '- "both sides", with photo 2 of Hold a magnet under the bits; '
        "photo 3 of Hold a magnet under the bits (rider, 2026-05-04 09:05, 43 h)",
        "- photo 1 (rider, 2026-05-04 09:06, 43 h)",
    ]
    [short] = [line for line in text.summary(FLOW, case.state, NOON).split("\n") if "photo" in line]
    assert short.startswith("SENT: photo 1 of Hold a magnet under the bits; photo 2 of Hold a magnet")


def test_a_whole_sheet_by_hand() -> None:
    case = stopped().add(events.WentOn(minutes=20)).answer("magnet", "none").answer("magnet", "all")
    case.by("mechanic").answer("nut", "bad", minutes=5)
    ahead_ = Ahead("Refit the drive nut", "remedy", "plan", minutes=90)
    expected = write(replace(sheet(case), ahead=ahead_, order=Order()))
    stop, head, findings, suspects, ahead, last = expected.split("\n\n")
    assert head == (
        "SUMMARY Goat: Something rattles\n"
        "Written 2026-05-04 12:00 UTC, flow version 2.\n"
        'In the rider\'s words: "it rattles below"\n'
        "Running hours: 43.3 h."
    )
    assert stop == (
        "STOPS\n"
        "- STOP, DO NOT RUN: Do not start the engine.\n"
        "  Since 2026-05-04 09:05. Because: It knocks. It was run for 20 min after this stop."
    )
    assert suspects.split("\n")[:3] == [
        "SUSPECTS",
        "- Drive nut working loose: found, over 99 of 100",
        "  Try the nut by hand: It moves (mechanic, 2026-05-04 09:09, 43.3 h). This look finds 9 of 10.",
    ]
    assert ahead == (
        "NEXT\n"
        "- Repair: Refit the drive nut\n"
        "  Why: finding out more would cost more than it saves.\n"
        "Spent: 5 min.\n"
        "To come, hand-over included: about 90 min."
    )
    assert findings.split("\n")[1:3] == [
        "- Does it knock from below? It knocks (asked, rider, 2026-05-04 09:04, 43 h)",
        "- Hold a magnet under the bits. What happens? All of them cling "
        "(asked, rider, 2026-05-04 09:08, 43.3 h; asked again, 1; first said: None clings)",
    ]
    assert last == "Local rules, the machine's manual and a qualified mechanic outrank this sheet."


def test_something_not_in_this_list_closes_the_suspects_and_what_nobody_looked_at_says_so() -> None:
    found = lines(started().answer("nut", "good"))
    at = next(n for n, line in enumerate(found) if line.startswith("- something not in this list: "))
    assert found[at + 1] == ""
    suspects = found[found.index("SUSPECTS") + 1 : at]
    unseen = [line.partition(":") for line in suspects if "look made" in line.casefold()]
    assert [name for name, _, _ in unseen[:2]] == ["- Kick gear worn", "- Clutch basket notched"]
    [(head, _, rest)] = unseen[2:]
    assert head.startswith("- NO LOOK MADE, not looked at, each below ")
    assert rest == " Ordinary fines"


def test_a_look_that_several_suspects_share_is_told_in_full_once() -> None:
    suspects = "\n".join(lines(started().answer("inside"))).partition("SUSPECTS")[2]
    assert suspects.count("None of these (rider, ") == 1


def test_what_the_rider_could_not_judge_has_its_own_list() -> None:
    found = lines(opened().add(events.Skipped(ask="knock", why="not_sure")))
    assert found[found.index("COULD NOT BE JUDGED") + 1] == "- Does it knock from below?"


def test_a_stale_look_says_at_what_hours_it_was_clean() -> None:
    found = lines(opened(hours=43).answer("nut", "good").mend("file-basket", "basket-worn"))
    assert "  It was clean at 43 h; a repair was made since." in found
    found = lines(opened(hours=43).answer("nut", "good").add(events.AccessOpened(access="cover")))
    assert "  It was clean at 43 h; the place was opened since." in found
    found = lines(opened(hours=None).answer("nut", "good").add(events.Ran(hours=11)))
    assert "  It was clean at 2026-05-04 09:04; more than ten running hours have gone since." in found


def test_a_trait_rules_out_in_words() -> None:
    found = lines(opened().add(events.TraitTold(trait="starter", answer="button")))
    assert "- ruled out, this bike has no such part (How is it started?): Kick gear worn" in found


def test_no_stop_is_said_too() -> None:
    assert "No stop stands." in lines(opened())
    found = lines(stopped().add(events.StopLifted(rule="big-knock", by="mechanic")))
    assert "- Lifted by a mechanic's word: Do not start the engine." in found
    assert "No stop stands." in found


def test_damage_without_a_name_is_worded() -> None:
    case = (
        opened()
        .answer("nut", "other")
        .add(events.StopRaised(rule="damage-seen", bars=("running",), because=(4,)))
    )
    found = lines(case)
    assert "- STOP, DO NOT RUN: damage was seen that this flow has no name for" in found
    assert "  Since 2026-05-04 09:05. Because: damage of another kind. No run told since." in found


def test_the_order_list_with_and_without_suspicion_and_handing_over_beside_it() -> None:
    case = started().answer("nut", "bad").add(events.RemedyBegun(remedy="refit-nut", suspicion=False))
    found = lines(case)
    at = found.index("ORDER LIST")
    assert found[at + 1 : at + 4] == [
        "- 1 x lock washer, new each time: 6 EUR",
        "- 1 x cover gasket, new each time: price not known",
        "Total 6 EUR, none on suspicion, as of 2026-05. 1 part has no price and is not counted. "
        "Handing over counts as 300 min and 80 EUR.",
    ]


def test_work_done_looks_to_come_and_the_garage_list() -> None:
    case = settled(opened().mend("refit-nut", "nut-loose"))
    case.add(events.WatchSet(plan="debris", index=0, for_remedy="refit-nut"))
    facts = replace(sheet(case), ahead=Ahead(left_out=(LeftOut("Take the cover off.", "tools"),)))
    found = write(facts).split("\n")
    assert "- Refit the drive nut (rider, 2026-05-04 09:05, 43 h)" in found
    assert "  Not confirmed: tab bent up" in found
    assert "- After 30 min of light running: Drain a little." in found
    assert "- After 2 running hours, normal: Drain a little." in found
    assert "This plan is common practice, no source." in found
    assert "- tools are missing: Take the cover off" in found


def test_a_named_mechanic_is_named() -> None:
    case = opened().by("mechanic")
    case.who = "Ann"
    assert any(
        "(looked, mechanic Ann, 2026-05-04 09:04, 43 h)" in line for line in lines(case.answer("nut", "bad"))
    )


def test_a_finished_case_names_no_next_step_and_expects_nothing() -> None:
    case = settled(opened().mend("refit-nut", "nut-loose").add(events.Ended(how="proved")))
    found = lines(case)
    assert "Fixed and proved, as far as these looks can tell." in found
    at = found.index("NEXT")
    assert found[at + 1 : at + 3] == ["- Nothing more, unless it comes back.", "Spent: 40 min and 6 EUR."]
    assert not any(line.startswith("To come") for line in found)


def test_after_a_hand_over_the_sheet_goes_along_and_under_a_stop_it_must_not_run() -> None:
    ahead = Ahead(kind="hand_over", giving_up=300)
    handed = replace(
        sheet(settled(opened()).add(events.Ended(how="handed_over"))), ahead=ahead, order=Order()
    )
    assert "- To the workshop with this sheet." in write(handed)
    assert "Handing over counts as 300 min." in write(handed)
    barred = replace(sheet(stopped().add(events.Ended(how="handed_over"))), ahead=ahead, order=Order())
    assert "- To the workshop with this sheet. It must not run." in write(barred)


@pytest.mark.parametrize("how", ["handed_over", "parked", "put_off", "proved", "released", "abandoned"])
def test_every_end_has_its_words(how: str) -> None:
    assert ENGLISH[f"ended.{how}"] in lines(settled(opened()).add(events.Ended(how=how)))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("p", "wanted"),
    [(0.0, "under 1 of 100"), (0.004, "under 1 of 100"), (0.3333, "33 of 100"), (0.999, "over 99 of 100")],
)
def test_nothing_is_impossible_and_nothing_is_certain(p: float, wanted: str) -> None:
    assert chance(p, ENGLISH) == wanted


def test_hours_in_words() -> None:
    assert [hours(h) for h in (None, (43, 43), (40, 50), (43.04, 43.04))] == [
        "",
        "43 h",
        "40 to 50 h",
        "43 h",
    ]


def shown_ids() -> list[str]:
    parts = (FLOW.causes, FLOW.asks, FLOW.remedies, FLOW.stop_rules, FLOW.signs, FLOW.access)
    return [id for part in parts for id in part if "-" in id]


def test_no_id_is_ever_shown() -> None:
    case = (
        started()
        .answer("nut", "bad")
        .answer("inside", "notches")
        .add(events.RemedyBegun(remedy="refit-nut", suspicion=True))
    )
    case.add(events.StopRaised(rule="big-knock", bars=("riding",)))
    assert [i for i in shown_ids() if i in text.summary(FLOW, case.state, NOON)] == []
    assert [i for i in shown_ids() if i in text.whole(FLOW, case.state, NOON)] == []
    assert [i for i in shown_ids() if i in sms.sms(sheet(case))] == []


@pytest.mark.parametrize("width", [PHONE, TERMINAL])
def test_wrapped_lines_fit_and_lose_no_word(width: int) -> None:
    case = stopped().answer("inside", "notches").mend("refit-nut", "nut-loose")
    wide = write(sheet(case))
    narrow = write(sheet(case), width=width)
    assert max(len(line) for line in narrow.split("\n")) <= width
    assert narrow.split() == wide.split()


def test_a_point_that_is_wrapped_stays_under_its_dash() -> None:
    cut = wrap("- one two three four five\n  six seven eight nine", 12).split("\n")
    assert cut == ["- one two", "  three four", "  five", "  six seven", "  eight nine"]


# --- three messages ----------------------------------------------------------------------------


def test_the_short_form_by_hand() -> None:
    case = stopped().by("mechanic").answer("nut", "bad", minutes=5)
    facts = replace(sheet(case), ahead=Ahead("Refit the drive nut", "remedy", "plan", minutes=90))
    said = sms.sms(facts)
    assert said.startswith(
        'STOP. DO NOT START. Goat 43 h: "it rattles below". found: Drive nut working loose 99 of 100. '
    )
    assert said.endswith("Next: Repair: Refit the drive nut Not in list: under 1 of 100. Spent 5 min.")
    assert segments(said) == 2
    assert 'Goat: "it rattles below".' in sms.sms(sheet(opened(hours=None)))
    assert sms.sms(replace(facts, bike="", hours=None, stops=())).startswith('"it rattles below". found: ')


def test_a_stop_begins_with_what_must_not_be_done() -> None:
    rule = StopLine("rule", "x" * 90, "Splinters.", ("riding",), "2026-05-04T09:00:00Z", (), True, "", ())
    facts = sheet(opened())
    assert sms.sms(replace(facts, stops=(rule,))).startswith("LOOK FIRST. Splinters. Goat")
    barred = replace(rule, bars=("running", "riding"))
    assert sms.sms(replace(facts, stops=(barred,))).startswith("STOP. Splinters. Goat")


def test_the_short_form_keeps_what_every_phone_has_and_spells_the_rest() -> None:
    """ö and ß are in the alphabet of 3GPP TS 23.038 at one septet each, so they are not spelled."""
    rule = StopLine(
        "rule",
        "x",
        "Größe 5 µm – “heiß” 90° …  naïve 😀",
        ("riding",),
        "2026-05-04T09:00:00Z",
        (),
        True,
        "",
        (),
    )
    said = sms.sms(replace(sheet(opened()), stops=(rule,)))
    assert said.startswith('LOOK FIRST. Größe 5 um - "heiß" 90 deg ... naive Goat')


@cache
def bare() -> Facts:
    return sheet(opened())


@given(st.text(max_size=200), st.text(max_size=900), st.lists(st.text(min_size=1, max_size=300), max_size=3))
def test_the_short_form_never_takes_more_than_three_messages(
    complaint: str, what: str, stops: list[str]
) -> None:
    raised = tuple(
        StopLine("rule", say, say, ("running",), "2026-05-04T09:00:00Z", (), True, "", ()) for say in stops
    )
    facts = replace(bare(), complaint=complaint, stops=raised, ahead=Ahead(what, "question"))
    said = sms.sms(facts)
    assert segments(said) <= 3
    assert is_plain(said)
    if stops:
        assert said.startswith("STOP, DO NOT RUN:")


def test_the_gravest_stop_comes_first_and_is_whole() -> None:
    ride = StopLine("rule", "r" * 400, "r" * 400, ("riding",), "2026-05-04T09:00:00Z", (), True, "", ())
    run = replace(ride, say="x" * 300, short="x" * 300, bars=("running", "riding"))
    said = sms.sms(replace(sheet(opened()), stops=(ride, run)))
    assert said.startswith("STOP, DO NOT RUN: " + "x" * 300 + " LOOK FIRST")
    assert said.endswith("...")
