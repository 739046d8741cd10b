"""What stands on paper, by hand: rows that share a look, where nothing was seen, stops that were lifted."""

from __future__ import annotations

from dataclasses import replace

from bot.reports import paper
from bot.reports.sheet import FindingLine, LookLine, Lost, StopLine, Voice
from bot.reports.wording import ENGLISH
from tests.reports.test_pocket import ANN, BARE, LOOK, RIDER, finding, suspect

LATER = replace(RIDER, at="2026-05-04T09:21:00Z")
NEXT_DAY = replace(RIDER, at="2026-05-06T10:00:00Z", hours=(47, 47))


def rows(*suspects: object) -> list[tuple[str, list[str]]]:
    """Of rows across the table: what was looked at, and the suspects by standing."""
    made = paper.lay(replace(BARE, suspects=suspects), ENGLISH)["suspects"]["rows"]  # type: ignore[arg-type]
    return [(row["look"], row["parts"]) for row in made if row["wide"]]


def test_suspects_of_one_look_share_a_row_whatever_their_standing() -> None:
    found = rows(
        suspect("Hub nut", "still-possible", 0.031, LOOK),
        suspect("Plates", "ruled-out", 0.004, replace(LOOK, finds_of_10=9.1)),
        suspect("Bearing", "ruled-out", 0.002, LOOK),
        suspect("Piston", "not-looked-at", 0.02),
        suspect("Valve", "unlikely", 0.012),
    )
    assert found == [
        (
            "Clutch pack out, all of it: All of it good (mechanic Ann, 2026-05-05 10:00, 45 h). "
            "Finds 8 to 9 of 10.",
            ["still possible, below 4 of 100: Hub nut", "ruled out, below 1 of 100: Plates; Bearing"],
        ),
        ("NO LOOK MADE", ["not looked at, below 3 of 100: Piston", "unlikely, below 2 of 100: Valve"]),
    ]


def test_another_look_a_stale_one_and_a_part_that_is_not_there_have_rows_of_their_own() -> None:
    other = LookLine("Under the cover", "Clean", "good", ANN, 9.9)
    found = rows(
        suspect("Plates", "ruled-out", 0.004, LOOK),
        suspect("Cam", "ruled-out", 0.001, other),
        replace(suspect("Pump", "unlikely", 0.003, LOOK), stale="repair"),
        replace(suspect("Kick gear", "ruled-out", 0.0, LOOK), excluded_by="How started?"),
    )
    assert [look for look, _ in found] == [
        "Clutch pack out, all of it: All of it good (mechanic Ann, 2026-05-05 10:00, 45 h). Finds 8 of 10.",
        "Under the cover: Clean (mechanic Ann, 2026-05-05 10:00, 45 h). Finds over 9 of 10.",
        "Clutch pack out, all of it: as above. Finds 8 of 10. Old: a repair was made since.",
        "This bike has no such part. Clutch pack out, all of it: as above. Finds 8 of 10.",
    ]


def quiet(*found: FindingLine) -> list[tuple[str, str]]:
    made = paper.lay(replace(BARE, findings=found), ENGLISH)["findings"]["quiet"]
    return [(row["name"], row["text"]) for row in made]


def test_where_nothing_was_seen_the_time_stands_once_at_the_head() -> None:
    assert quiet(
        finding("Knock?", "No knock", 2, quiet=True),
        finding("Smoke?", "No smoke", 2, LATER, quiet=True),
        finding("Lever?", "As always", 2, quiet=True),
        finding("Oil light?", "Off", 2, NEXT_DAY, quiet=True),
    ) == [
        (
            "Nothing seen, asked, rider, 2026-05-04 09:04, 43 h",
            "Knock? No knock; Smoke? No smoke (09:21); Lever? As always; "
            "Oil light? Off (2026-05-06 10:00, 47 h)",
        )
    ]


def test_the_same_nothing_at_several_looks_tells_all_its_times() -> None:
    assert quiet(
        finding("Knock?", "No knock", 2, quiet=True),
        replace(finding("Knock?", "No knock", 2, LATER, quiet=True), round=1),
    ) == [("Nothing seen, asked, rider, 2026-05-04 09:04, 43 h", "Knock? No knock (09:04; 09:21)")]


def test_looks_asked_and_other_people_have_heads_of_their_own() -> None:
    assert quiet(
        finding("Knock?", "No knock", 2, quiet=True),
        finding("Plug", "Clean", 3, quiet=True),
        replace(
            finding("Basket", "Good", 4, ANN, quiet=True), slice=1, lost=(Lost("Notched", RIDER, False),)
        ),
    ) == [
        ("Nothing seen, asked, rider, 2026-05-04 09:04, 43 h", "Knock? No knock"),
        ("Nothing seen, looked, rider, 2026-05-04 09:04, 43 h", "Plug: Clean"),
        (
            "Nothing seen, looked, mechanic Ann, 2026-05-05 10:00, 45 h, after repair 1",
            "Basket: Good; rider said: Notched",
        ),
    ]


def lifted(say: str, by: str, voice: Voice, looked_at: str = "", since: str = RIDER.at) -> StopLine:
    return StopLine(
        "rule", say, say, ("running",), since, (), False, by, (), lifted=voice, looked_at=looked_at
    )


def test_stops_that_one_thing_lifted_at_one_time_stand_together() -> None:
    stops = (
        lifted("Keep the piece.", "Gears renewed", ANN),
        lifted("Do not start it.", "Gears renewed", ANN),
        lifted("Leave it.", "mechanic", ANN, "nut torqued"),
        replace(lifted("No towing.", "Gears renewed", ANN), because=("It knocks",), ran_after=(20,)),
    )
    blocks = paper.lay(replace(BARE, stops=stops), ENGLISH)
    [block] = [b for b in (*blocks["left"], *blocks["right"]) if b["title"] == ENGLISH["paper.lifted"]]
    assert [item["text"] for item in block["items"]] == [
        "Gears renewed (mechanic Ann, 2026-05-05 10:00, 45 h); stood since 2026-05-04 09:04: "
        "Keep the piece. · Do not start it.",
        "A mechanic's word (mechanic Ann, 2026-05-05 10:00, 45 h); stood since 2026-05-04 09:04: "
        'Leave it. Looked at: "nut torqued".',
        "Gears renewed (mechanic Ann, 2026-05-05 10:00, 45 h); stood since 2026-05-04 09:04: "
        "No towing. Because: It knocks. It was run for 20 min after this stop.",
    ]
