"""`flow outcomes` and `flow accept`: what they print, ask, refuse and write."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.test_cli import Shell
from tests.test_outcomes import FLOW, OWN, Club

AFTER_FIVE = """\
Ticking from the top of the engine, version 2, for everyone: 5 closed cases.
What the author wrote counts as 20 cases.

of 100 such cases                    file   here  95 of 100 times  cases
Valve gap too wide                   50.0   40.0     22.1 to 59.4      0
Exhaust flange leaking               30.0   44.0     25.6 to 63.4      5
Not in this list                     20.0   16.0      4.7 to 32.4      0

Were the chances right that were stated just before? Brier score, summed over
all causes and what is not in the list: 0 is best, 2 is worst.
  version 2 (in use): 0.89, from 5 cases

version 2, stated   times  on average  came true  95 of 100 times
      0 to  10 %        0
     10 to  20 %        5      14.0 %      0.0 %    0.0 to 52.2 %
     20 to  30 %        0
     30 to  40 %        5      30.0 %    100.0 %  47.8 to 100.0 %
     40 to  50 %        0
     50 to  60 %        0
     60 to  70 %        5      62.0 %      0.0 %    0.0 to 52.2 %
     70 to  80 %        0
     80 to  90 %        0
     90 to 100 %        0
"""


@pytest.fixture
def shell(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Shell:
    return Shell(capsys, monkeypatch, tmp_path)


@pytest.fixture
def club(shell: Shell) -> Club:
    made = Club(shell.record)
    made.publish(OWN.read_text("utf-8"))
    return made


@pytest.fixture
def taught(club: Club) -> Club:
    return club.taught()


# --- shown ------------------------------------------------------------------------------------------


def test_the_table_of_five_cases(taught: Club, shell: Shell) -> None:
    """Means by hand: 10, 11 and 4 of 25. Limits of Beta(10, 15), (11, 14), (4, 21) and of 0 and 5 of 5
    computed for this test by scipy 1.17.1. Score: .62^2 + .70^2 + .14^2 = .894."""
    status, out, _ = shell.run("flow", "outcomes", FLOW)
    assert (status, out) == (0, AFTER_FIVE)


def test_no_line_is_wider_than_eighty(taught: Club, shell: Shell) -> None:
    taught.case("Fay", "? " + "a very long story of a stud that cracked " * 5)
    _, out, _ = shell.run("flow", "outcomes", FLOW)
    assert max(map(len, out.splitlines())) <= 80


def test_what_is_not_in_the_table_is_said(taught: Club, shell: Shell) -> None:
    taught.case("Fay", "none")
    taught.say("Ida", "shares", "admin")
    taught.say("Ida", "yes", "admin")
    taught.case("Gil", "gap-wide")
    _, out, _ = shell.run("flow", "outcomes", FLOW)
    assert "version 3, for everyone: 6 closed cases." in out
    assert "5 of them had another version with the same causes. In 1 more no cause was" in out
    assert "  version 2: 0.89, from 5 cases\n\nversion 2, stated" in out  # one case of version 3 says nothing


def test_cases_of_a_version_with_other_causes_are_left_out_and_named(taught: Club, shell: Shell) -> None:
    text = OWN.read_text("utf-8").replace("flange-leak:\n    name", "manifold-leak:\n    name")
    taught.publish(
        text.replace("cause: flange-leak", "cause: manifold-leak").replace("version: 2", "version: 3")
    )
    for rider in ("Fay", "Gil", "Hob", "Ira", "Jan"):
        taught.case(rider, "manifold-leak")
    _, out, _ = shell.run("flow", "outcomes", FLOW)
    assert "version 3, for everyone: 5 closed cases." in out
    assert "5 more had a version with other causes and are left out." in out


def test_causes_that_the_flow_lacks_are_told_to_its_author(taught: Club, shell: Shell) -> None:
    taught.case("Fay", "? cracked stud, Fay showed it to Max")
    taught.case("Gil", "? worn cam")
    _, out, _ = shell.run("flow", "outcomes", FLOW)
    assert out.endswith(
        "Not in this list, in the words of the mechanics, newest first:\n"
        "2026-05-04  worn cam\n"
        "2026-05-04  cracked stud, someone showed it to someone\n"
    )


def test_fewer_than_five_show_nothing(club: Club, shell: Shell) -> None:
    for rider in ("Ann", "Ben", "Cem", "Dee"):
        club.settle(rider, "group", "telegram:-7")
        club.case(rider, "? a secret")
    status, out, _ = shell.run("flow", "outcomes", FLOW, "--scope", "group:telegram:-7")
    assert (status, out) == (0, "Not yet: fewer than 5 cases came out there, and so few say nothing.\n")
    assert "Not yet" in shell.refused("flow", "accept", FLOW, "--scope", "group:telegram:-7", "--yes")


# --- accepted ---------------------------------------------------------------------------------------


def test_a_new_version_is_put_in_use_after_a_typed_yes(taught: Club, shell: Shell) -> None:
    status, out, _ = shell.run("flow", "accept", FLOW, said="yes\n")
    assert status == 0
    assert out == (
        "Ticking from the top of the engine, version 2, for everyone: 5 closed cases.\n\n"
        "of 100 such cases                     now    new  cases\n"
        "Exhaust flange leaking                 30     44      5\n"
        "Valve gap too wide                     50     40      0\n"
        "Not in this list                       20     16      0\n"
        "Type yes to put version 3 in use for everyone:\n"
        "Version 3 of Ticking from the top of the engine is in use for everyone, from the\nnext case on. "
        "Open cases keep theirs.\n"
    )
    assert taught.in_use() == (3, "everyone")


@pytest.mark.parametrize("said", ["", "no\n", "y\n"])
def test_without_a_yes_nothing_changes(taught: Club, shell: Shell, said: str) -> None:
    assert "nothing was changed" in shell.refused("flow", "accept", FLOW, said=said)
    assert taught.in_use() == (2, "everyone")


def test_a_script_need_not_type(taught: Club, shell: Shell) -> None:
    assert shell.run("flow", "accept", FLOW, "--yes")[0] == 0
    status, out, _ = shell.run("flow", "accept", FLOW, "--yes")
    assert (status, out) == (
        0,
        "The version in use says what the cases say; there is nothing to take over.\n",
    )
    assert taught.in_use() == (3, "everyone")


def test_who_accepted_is_on_record(taught: Club, shell: Shell) -> None:
    taught.say("Ida", "hello", "admin")
    assert "is no admin here" in shell.refused("flow", "accept", FLOW, "--yes", "--as", "Ann")
    assert "Nobody called 'Zoe'" in shell.refused("flow", "accept", FLOW, "--yes", "--as", "Zoe")
    shell.run("flow", "accept", FLOW, "--yes", "--as", "ida")
    with taught.store() as store:
        assert taught.rows("published")[-1]["person"] == store.named("Ida").id


def test_a_groups_own_version_is_of_that_group(taught: Club, shell: Shell) -> None:
    for rider in ("Fay", "Gil", "Hob", "Ira", "Jan"):
        taught.settle(rider, "group", "telegram:-7")
        taught.case(rider, "gap-wide")
    status, out, _ = shell.run("flow", "accept", FLOW, "--scope", "group:telegram:-7", "--yes")
    assert status == 0
    assert "is in use in group:telegram:-7" in out.replace("\n", " ")
    assert (taught.in_use(), taught.in_use("group:telegram:-7")[0]) == ((2, "everyone"), 3)


def test_a_version_that_came_meanwhile_is_not_overwritten(
    taught: Club, shell: Shell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another admin is quicker while the question waits."""

    def slow(what: str) -> bool:
        taught.publish(OWN.read_text("utf-8").replace("version: 2", "version: 7"))
        return True

    monkeypatch.setattr("bot.cli_outcomes._confirmed", slow)
    assert "Another version came into use meanwhile" in shell.refused("flow", "accept", FLOW)
    assert taught.in_use() == (7, "everyone")


def test_a_version_with_a_mistake_is_refused_with_its_place(taught: Club, shell: Shell) -> None:
    old = "remedy: seal-flange\n"
    taught.publish(OWN.read_text("utf-8").replace(old, f"{old}    second_look: x\n", 1))
    status, _, err = shell.run("flow", "accept", FLOW, "--yes")
    assert status == 2
    assert "L109" in err
    assert taught.in_use() == (2, "everyone")


# --- mistakes ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["outcomes", "accept"])
def test_what_is_not_there_is_named(taught: Club, shell: Shell, command: str) -> None:
    assert "There is no flow 'ticking' in use" in shell.refused("flow", command, "ticking")
    said = shell.refused("flow", command, FLOW, "--scope", "club")
    assert "'club' is no scope; write everyone or group:ID. Cases came out in: everyone." in said
    assert "is no scope" in shell.refused("flow", command, FLOW, "--scope", "group:")
    assert "There is no record at" in shell.refused("flow", command, FLOW, "--db", "nowhere.db")


def test_an_admin_at_the_terminal(taught: Club, shell: Shell) -> None:
    _, out, _ = shell.run("chat", "--as", "Ida", "--role", "admin", said="shares\nyes\n")
    assert "Use these in a new version?" in out
    assert taught.in_use() == (3, "everyone")
    _, out, _ = shell.run("chat", "--as", "Ann", said="shares\n")
    assert "for the admin of this bot" in out
