"""A case as the odds read it: what acts, in which order, and what was told of each repair."""

from __future__ import annotations

import pytest

from bot.core import events
from bot.core.findings import Answered, Finding, Looked, Marked, Mended, Ran, Said, Stepped
from bot.core.history import Clock, Reckoning, clock, closing_of, history, value_of
from tests.rattle import FLOW, Diary, opened


def steps(diary: Diary) -> tuple[object, ...]:
    return history(FLOW, diary.state)


def test_each_kind_of_answer_keeps_its_rank_and_its_entry() -> None:
    case = opened().answer("magnet", "all").answer("amount", "some", "many").answer("nut", "bad")
    case.by("mechanic").answer("inside", "notches", "grooves").answer("nut", "other")
    assert steps(case) == (
        Finding("magnet", Answered("all"), 2, 0, 4),
        Finding("amount", Stepped(frozenset({"some", "many"})), 2, 0, 5),
        Finding("nut", Looked("bad"), 3, 0, 6),
        Finding("inside", Marked(frozenset({"notches", "grooves"})), 4, 0, 7),
        Finding("nut", Looked("other"), 4, 0, 8),
    )


def test_none_of_these_denies_every_mark_and_is_not_silence() -> None:
    assert steps(opened().answer("inside")) == (Finding("inside", Marked(frozenset()), 3, 0, 4),)


def test_marks_told_unprompted_say_nothing_of_the_others() -> None:
    case = opened().add(events.Answered(ask="inside", value=("notches",), form="some_marks", rank=1))
    assert steps(case) == (Finding("inside", Marked(frozenset({"notches"}), partly=True), 1, 0, 4),)


def test_a_note_and_an_answer_to_what_the_flow_does_not_have_say_nothing() -> None:
    case = opened()
    case.add(events.Answered(ask="photo", value=(), form="note", rank=2))
    case.add(events.Answered(ask="old-question", value=("yes",), form="one", rank=2))
    assert steps(case) == ()


def test_an_empty_answer_is_refused() -> None:
    with pytest.raises(ValueError, match="magnet"):
        value_of(events.Answered(ask="magnet", value=(), form="one", rank=2))


def test_what_was_taken_back_no_longer_acts() -> None:
    case = opened().answer("magnet", "all").answer("nut", "good")
    case.add(events.Withdrawn(entries=(4,)))
    assert steps(case) == (Finding("nut", Looked("good"), 3, 0, 5),)


def test_a_trait_stands_where_it_was_first_told_with_the_value_it_has_now() -> None:
    case = opened().add(events.TraitTold(trait="starter", answer="kick")).answer("magnet", "all")
    case.add(events.TraitTold(trait="starter", answer="button"))
    first, second = steps(case)
    assert first == Finding("trait:starter", Answered("button"), 2, 0, 4)
    assert second == Finding("magnet", Answered("all"), 2, 0, 5)


def test_a_trait_that_nobody_knows_says_nothing() -> None:
    assert steps(opened().add(events.TraitTold(trait="starter", answer=""))) == ()


def test_a_trait_from_the_bikes_book_is_told_by_the_entry_that_took_the_bike() -> None:
    case = Diary().add(events.BikeTaken(bike="b1", nickname="Goat", traits={"starter": "kick"}))
    assert steps(case) == (Finding("trait:starter", Answered("kick"), 2, 0, 1),)


def test_repair_running_and_the_riders_own_word_stand_in_order() -> None:
    case = opened().answer("nut", "bad").mend("refit-nut", "nut-loose")
    case.add(events.ProofRun(remedy="refit-nut", minutes=15)).add(events.SaidOfRepair(word="gone"))
    case.add(events.LookRound(plan="debris", index=0, ran_hours=2)).answer("magnet", "none")
    case.add(events.Ran(hours=0)).add(events.WentOn(minutes=30)).answer("magnet", "all")
    assert steps(case) == (
        Finding("nut", Looked("bad"), 3, 0, 4),
        Mended("refit-nut", False, frozenset(), 6),
        Ran(0.25, 7),
        Said("gone", 8),
        Ran(2.0, 9),
        Finding("magnet", Answered("none"), 2, 1, 10),
        Ran(0.5, 12),
        Finding("magnet", Answered("all"), 2, 2, 13),
    )


def mended(case: Diary) -> Mended:
    return next(step for step in reversed(steps(case)) if isinstance(step, Mended))


def tell(case: Diary, of: str, point: str, answer: str) -> Diary:
    return case.add(events.PointTold(of=of, point=point, answer=answer))  # type: ignore[arg-type]


def test_closing_points_are_the_remedys_own_and_those_of_the_cover_it_stood_behind() -> None:
    assert closing_of(FLOW, "refit-nut") == ("refit-nut/tab", "cover/dowels")
    assert closing_of(FLOW, "no-such-work") == ()


@pytest.mark.parametrize(
    ("points", "wanted"),
    [
        ([], False),
        ([("refit-nut", "tab", "yes")], False),
        ([("refit-nut", "tab", "yes"), ("cover", "dowels", "yes")], True),
        ([("refit-nut", "tab", "yes"), ("cover", "dowels", "unsure")], False),
        ([("refit-nut", "tab", "no"), ("refit-nut", "tab", "yes"), ("cover", "dowels", "yes")], True),
    ],
)
def test_only_a_yes_to_every_closing_point_confirms_the_work(
    points: list[tuple[str, str, str]], wanted: bool
) -> None:
    case = opened().mend("refit-nut", "nut-loose")
    for of, point, answer in points:
        tell(case, of, point, answer)
    assert mended(case).confirmed is wanted


def test_points_told_before_the_work_was_called_done_count_too() -> None:
    case = opened().add(events.RemedyBegun(remedy="refit-nut", suspicion=False))
    tell(tell(case, "refit-nut", "tab", "yes"), "cover", "dowels", "yes")
    case.add(events.Mended_(remedy="refit-nut", causes=("nut-loose",), confirmed=False))
    assert mended(case).confirmed


def test_a_doubt_told_later_undoes_what_was_confirmed() -> None:
    case = opened().mend("refit-nut", "nut-loose", confirmed=True)
    assert mended(case).confirmed
    assert not mended(tell(case, "refit-nut", "tab", "unsure")).confirmed


def test_a_cover_shut_a_second_time_says_nothing_of_the_work_before() -> None:
    case = opened().mend("refit-nut", "nut-loose", confirmed=True)
    tell(case, "cover", "dowels", "yes").add(events.AccessShut(access="cover"))
    case.add(events.AccessOpened(access="cover"))
    assert mended(tell(case, "cover", "dowels", "unsure")).confirmed


def test_one_closing_of_a_cover_speaks_for_both_repairs_behind_it() -> None:
    case = opened().mend("file-basket", "basket-worn").mend("refit-nut", "nut-loose")
    tell(tell(case, "cover", "dowels", "yes"), "refit-nut", "tab", "yes")
    both = [step for step in steps(case) if isinstance(step, Mended)]
    assert [(m.remedy, m.confirmed) for m in both] == [("file-basket", True), ("refit-nut", True)]


def test_work_done_badly_is_kept_with_the_newest_repair_of_that_kind() -> None:
    case = opened().mend("refit-nut", "nut-loose").mend("refit-nut", "nut-loose")
    case.add(events.AfterWork(remedy="refit-nut", sign="thread-oily", bad=True))
    first, second = (step for step in steps(case) if isinstance(step, Mended))
    assert (first.badly, second.badly) == (frozenset(), {"thread-oily"})
    case.add(events.AfterWork(remedy="refit-nut", sign="thread-oily", bad=False))
    assert mended(case).badly == frozenset()


# --- running hours ---------------------------------------------------------------------------


def test_the_meter_goes_on_with_what_was_run_and_a_reading_replaces_it() -> None:
    case = opened(hours=43).answer("nut", "good")
    case.add(events.Ran(hours=2)).answer("magnet", "all")
    case.add(events.HoursRead(low=50, high=50)).answer("magnet", "none")
    run = clock(case.state)
    assert [run.meter(seq) for seq in (4, 6, 8)] == [(43, 43), (45, 45), (50, 50)]
    assert run.since(4) == pytest.approx(7)  # 2 told, 5 more seen on the meter
    assert run.since(8) == 0


def test_without_a_reading_only_what_was_told_counts() -> None:
    case = opened(hours=None).answer("nut", "good").add(events.Ran(hours=3))
    assert clock(case.state).meter(4) is None
    assert clock(case.state).since(4) == pytest.approx(3)
    case.add(events.HoursRead(low=40, high=60))
    assert clock(case.state).since(4) == pytest.approx(3)
    assert clock(case.state).now == Reckoning(3, (40, 60))


def test_a_meter_that_falls_takes_no_running_back() -> None:
    case = opened(hours=43).answer("nut", "good").add(events.HoursRead(low=1, high=1))
    assert clock(case.state).since(4) == 0


def test_an_empty_case_has_run_nothing() -> None:
    assert Clock().since(1) == 0
    assert Clock().meter(1) is None
