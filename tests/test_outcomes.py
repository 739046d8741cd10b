"""Cases that come out teach a flow, through the record: counted, taken off, shown, accepted, and used.

The mechanic's own talk is not needed here: `outcome CAUSE`, `reopen` and `take back` stand for it, all else
goes to the real one. The record is opened anew for each message, so every turn saves and restores.

Run as a program it is one admin who says yes when he is told to: `python -m tests.test_outcomes RECORD
NAME GO`; with `die` behind it he is killed in the very last moment of that turn.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from bot import turn
from bot.core import conversation, events, odds, plan
from bot.core.desk import Desk
from bot.core.events import Heard, Role
from bot.core.messages import Message
from bot.core.state import State
from bot.record.store import Store
from tests.record.small_talk import admit

ROOT = Path(__file__).parent.parent
OWN, COMMON = (ROOT / "tests" / "authoring" / name for name in ("base.yaml", "common.yaml"))
NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
FLOW = "ticking-top"  # gap-wide 50, flange-leak 30, something else 20


# --- a club that talks ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Said:
    events: tuple[Any, ...]
    messages: tuple[Message, ...]


def receive(desk: Desk, state: State, heard: Heard, now: datetime) -> Any:
    word, _, rest = heard.text.partition(" ")
    if word == "outcome":
        found: tuple[Any, ...] = (_outcome(desk, state, rest), events.Ended(how="closed"))
    elif word == "reopen":
        found = (events.Reopened(why="came_back"),)
    elif heard.text == "take back":
        told = [e.seq for e in state.entries if e.event.kind in ("outcome_told", "ended")]
        found = (events.Withdrawn(entries=tuple(told[-2:])),)
    else:
        return conversation.receive(desk, state, heard, now)
    return Said((events.WasHeard(heard=heard), *found), (Message("Noted."),))


def _outcome(desk: Desk, state: State, rest: str) -> events.OutcomeTold:
    """`gap-wide`, `none`, or `? and what it was`."""
    if rest == "none":
        return events.OutcomeTold(result="not_found")
    now = plan.beliefs(desk.flows[state.hash], state)
    stated = {**{id: now.of(id) for id in now.family.causes}, "": now.unlisted}
    cause, _, words = rest.partition(" ")
    if cause == "?":
        return events.OutcomeTold(result="unlisted", words=words, how="seen", expected=stated)
    return events.OutcomeTold(result="cause", cause=cause, how="seen", expected=stated)


class Club:
    """People around one record. Each message opens it, does one turn, and closes it."""

    def __init__(self, path: Path) -> None:
        self.path, self.now, self.said = path, NOON, 0

    def store(self) -> Any:
        return closing(turn.open_record(self.path))

    def say(self, who: str, text: str, role: Role = "rider", chat: str = "") -> str:
        """One message of a person, and what he reads for it."""
        self.said += 1
        self.now += timedelta(minutes=1)
        heard = Heard(text=text, role=role)
        with self.store() as store:
            inbox = turn.accept(
                store, "terminal", chat or who, who, str(self.said), heard, self.now, flow=FLOW
            )
            assert inbox is not None
            out = turn.take(store, inbox, self.now, receive, conversation.begins_new)
            assert not store.dead_letters()
            return "\n".join(o.message.text for o in out if o.person == who)

    def case(self, rider: str, outcome: str) -> int:
        """A case of this rider from its first words to its end, closed by the mechanic; its number."""
        with self.store() as store, store.writing():
            person = store.meet("terminal", rider, rider, "rider", turn.stamp(self.now))
            store.let_go(turn.Address("terminal", rider), person.id)  # the same complaint is another case
        self.say(rider, "ticking noise")
        number = int(self.rows("cases")[-1]["id"])
        self.close(number, outcome)
        return number

    def close(self, case: int, outcome: str) -> None:
        self.mechanic(case, f"outcome {outcome}")

    def mechanic(self, case: int, text: str, role: Role = "mechanic") -> None:
        """Max, at this case."""
        with self.store() as store:
            with store.writing():
                max_ = store.meet("terminal", "Max", "Max", role, turn.stamp(self.now))
            if not store.may_see(case, max_.id):
                admit(store, case, max_.id, turn.Address("terminal", f"bench {case}"), self.now)
        self.say("Max", text, role, f"bench {case}")

    def taught(self) -> Club:
        """The club, with closed cases of five riders, all of them a leaking flange."""
        for rider in ("Ann", "Ben", "Cem", "Dee", "Eva"):
            self.case(rider, "flange-leak")
        return self

    def counts(self, scope: str = "everyone") -> dict[str, int]:
        """Cases by cause over all versions of the flow."""
        found = dict[str, int]()
        with self.store() as store:
            for version in store.outcomes_of(scope, FLOW):
                for cause, n in version.cases.items():
                    found[cause] = found.get(cause, 0) + n
        return found

    def settle(self, who: str, setting: str, value: str) -> None:
        with self.store() as store, store.writing():
            person = store.meet("terminal", who, who, "rider", turn.stamp(self.now))
            store.settle(person.id, setting, value)

    def in_use(self, scope: str = "everyone") -> tuple[int, str]:
        """Version and scope of what a new case there begins with."""
        with self.store() as store:
            line = store.in_use(scope, FLOW)
            assert line is not None
            return line.version, line.scope

    def starts_with(self, case: int) -> dict[str, float]:
        """How likely each cause is before any answer, by the version that this case is pinned to."""
        with self.store() as store:
            flow = turn.KeptFlows(store)[store.case(case).flow]
        before = odds.prior(flow, {})
        return {**{id: before.of(id) for id in flow.causes}, "": before.unlisted}

    def publish(self, own: str, scope: str = "everyone") -> None:
        with self.store() as store:
            turn.lay_out(store, own, COMMON.read_text("utf-8"), scope, self.now)

    def rows(self, table: str) -> list[dict[str, Any]]:
        with self.store() as store:
            return list(store.rows(f"select * from {table}"))


@pytest.fixture
def club(tmp_path: Path) -> Club:
    made = Club(tmp_path / "record.db")
    made.publish(OWN.read_text("utf-8"))
    return made


@pytest.fixture
def taught(club: Club) -> Club:
    return club.taught()


# --- counted ----------------------------------------------------------------------------------------


def test_a_case_that_a_mechanic_closes_counts(club: Club) -> None:
    club.case("Ann", "gap-wide")
    club.case("Ben", "? a cracked stud")
    assert club.counts() == {"gap-wide": 1, "": 1}
    assert [sorted(row) for row in club.rows("outcomes")] == [["cases", "cause", "flow", "hash", "scope"]] * 2


def test_a_riders_own_word_is_kept_and_does_not_count(club: Club) -> None:
    club.say("Ann", "ticking noise")
    club.say("Ann", "outcome gap-wide")
    assert club.counts() == {}
    with club.store() as store:
        assert store.state(1).outcome.cause == "gap-wide"
        assert store.case(1).ended == "closed"
    club.case("Ann", "flange-leak")
    assert club.counts() == {"flange-leak": 1}


def test_the_same_word_of_a_mechanic_counts_after_the_riders(club: Club) -> None:
    club.say("Ann", "ticking noise")
    club.say("Ann", "outcome gap-wide")
    club.mechanic(1, "outcome gap-wide")
    assert club.counts() == {"gap-wide": 1}


def test_who_was_let_in_is_a_mechanic_there_whatever_he_is_elsewhere(club: Club) -> None:
    club.say("Ann", "ticking noise")
    club.mechanic(1, "outcome gap-wide", "admin")
    assert club.counts() == {"gap-wide": 1}


def test_no_cause_found_counts_as_just_that(club: Club) -> None:
    club.case("Ann", "none")
    assert club.counts() == {}
    with club.store() as store:
        [version] = store.outcomes_of("everyone", FLOW)
    assert (version.missed, version.scored) == (1, 0)


def test_stated_chances_are_scored(club: Club) -> None:
    """Before any answer .62, .30 and .14 (see below); it was the gap: .38^2 + .30^2 + .14^2 = .254."""
    club.case("Ann", "gap-wide")
    with club.store() as store:
        [version] = store.outcomes_of("everyone", FLOW)
        tenths = store.calibration_of("everyone", version.hash)
    assert (version.scored, version.brier) == (1, pytest.approx(0.254, abs=1e-6))
    assert [(t.bin, t.held, round(t.chances, 6), t.hits) for t in tenths] == [
        (1, 1, 0.14, 0), (3, 1, 0.3, 0), (6, 1, 0.62, 1),
    ]  # fmt: skip


def test_cases_of_one_rider_count_three_times(club: Club) -> None:
    for _ in range(4):
        club.case("Ann", "gap-wide")
    assert club.counts() == {"gap-wide": 3}
    club.case("Ben", "gap-wide")
    assert club.counts() == {"gap-wide": 4}


def test_one_that_counts_no_more_makes_room(club: Club) -> None:
    numbers = [club.case("Ann", "gap-wide") for _ in range(3)]
    club.mechanic(numbers[0], "reopen")
    assert club.counts() == {"gap-wide": 2}
    club.case("Ann", "flange-leak")
    assert club.counts() == {"gap-wide": 2, "flange-leak": 1}
    club.close(numbers[0], "gap-wide")
    assert club.counts() == {"gap-wide": 2, "flange-leak": 1}


@pytest.mark.parametrize("undone", ["reopen", "take back"])
def test_what_is_taken_back_is_taken_off(club: Club, undone: str) -> None:
    number = club.case("Ann", "gap-wide")
    club.mechanic(number, undone)
    assert [club.rows(table) for table in ("outcomes", "calibration", "scores")] == [[], [], []]
    club.close(number, "flange-leak")
    assert club.counts() == {"flange-leak": 1}


def test_a_second_word_takes_the_place_of_the_first(club: Club) -> None:
    number = club.case("Ann", "gap-wide")
    club.close(number, "flange-leak")
    assert club.counts() == {"flange-leak": 1}
    assert sum(row["held"] for row in club.rows("calibration")) == 3


def test_an_erased_riders_cases_stay_counted_and_name_no_one(club: Club) -> None:
    club.case("Zyxlamoth", "gap-wide")
    before = [club.rows(table) for table in ("outcomes", "calibration", "scores")]
    with club.store() as store:
        store.erase(store.named("Zyxlamoth").id)
        assert store.all_cases() == ()
    assert [club.rows(table) for table in ("outcomes", "calibration", "scores")] == before
    assert not [row for table in before for row in table if "Zyxlamoth" in str(row)]


def test_a_group_counts_by_itself(club: Club) -> None:
    """The setting as it was when the case was opened: who leaves the group later takes nothing with him."""
    club.settle("Ann", "group", "telegram:-7")
    number = club.case("Ann", "gap-wide")
    club.settle("Ann", "group", "")
    club.case("Ann", "flange-leak")
    assert (club.counts("group:telegram:-7"), club.counts()) == ({"gap-wide": 1}, {"flange-leak": 1})
    club.mechanic(number, "reopen")
    assert club.counts("group:telegram:-7") == {}


def test_a_group_that_moves_takes_its_counts_along(club: Club) -> None:
    club.settle("Ann", "group", "telegram:-7")
    number = club.case("Ann", "gap-wide")
    with club.store() as store, store.writing():
        store.move_chat("telegram", "-7", "-1007")
    assert club.counts("group:telegram:-1007") == {"gap-wide": 1}
    club.mechanic(number, "reopen")
    assert club.rows("outcomes") == []


def test_a_turn_that_fails_counts_nothing(club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
    club.say("Ann", "ticking noise")
    monkeypatch.setattr(Store, "mark_taken", lambda *_: 1 / 0)
    club.mechanic(1, "outcome gap-wide")
    assert club.counts() == {}
    with club.store() as store:
        assert store.state(1).outcome is None


# --- shown ------------------------------------------------------------------------------------------


def test_fewer_than_five_are_not_shown(club: Club) -> None:
    for rider in ("Ann", "Ben", "Cem", "Dee"):
        club.case(rider, "flange-leak")
    assert club.say("Ida", "shares", "admin").startswith("Not yet: no flow has 5 closed cases")
    club.case("Eva", "flange-leak")
    assert "from 5 cases" in club.say("Ida", "shares", "admin")


def test_fewer_than_five_of_a_group_are_not_shown_beside_those_of_everyone(taught: Club) -> None:
    taught.settle("Fay", "group", "telegram:-7")
    taught.settle("Ida", "group", "telegram:-7")
    taught.case("Fay", "gap-wide")
    said = taught.say("Ida", "shares", "admin")
    assert "for everyone, from 5 cases" in said
    assert "telegram" not in said


def test_an_admin_sees_the_cases_beside_the_file(taught: Club) -> None:
    """10, 6 and 4 of 20, and 5 more flanges: 40, 44 and 16 of 100."""
    said = taught.say("Ida", "shares", "admin")
    assert "Exhaust flange leaking: the file says 30 of 100; here 44 of 100 (" in said
    assert "Valve gap too wide: the file says 50 of 100; here 40 of 100 (" in said


# --- accepted ---------------------------------------------------------------------------------------


def accept(club: Club, admin: str = "Ida") -> str:
    club.say(admin, "shares", "admin")
    return club.say(admin, "yes", "admin")


def test_a_new_case_starts_with_the_new_shares_and_an_open_one_keeps_its_own(taught: Club) -> None:
    """By hand, with r = share / (100 - share) and 6 of 100 cases paired:

    50, 30, 20: r 1, 3/7, 1/4; L = 6/94 * (1 + 3/7 + 1/4) / (3/7) = 1/4. Weights 1/4, 3/28, pair 3/112,
    unlisted 1/16, together 25/56. Gap .62, flange .30, unlisted .14.
    40, 44, 16: r 2/3, 11/14, 4/21; L = 6/94 * 1.642857 / 0.523810 = 0.200193. Weights 0.133462, 0.157295,
    pair 0.020993, unlisted 0.038132, together 0.349882. Gap .44145, flange .50957, unlisted .10899.
    """
    taught.say("Gil", "ticking noise")
    old = int(taught.rows("cases")[-1]["id"])
    assert "Version 3 of Ticking from the top of the engine has them, for everyone" in accept(taught)
    assert taught.in_use() == (3, "everyone")
    taught.say("Hob", "ticking noise")
    new = int(taught.rows("cases")[-1]["id"])
    assert taught.starts_with(old) == pytest.approx({"gap-wide": 0.62, "flange-leak": 0.30, "": 0.14})
    expected = {"gap-wide": 0.44145, "flange-leak": 0.50957, "": 0.10899}
    assert taught.starts_with(new) == pytest.approx(expected, abs=1e-5)
    taught.say("Gil", "not sure")
    assert taught.starts_with(old)["gap-wide"] == pytest.approx(0.62)


def test_the_text_of_the_new_version_says_where_it_comes_from(taught: Club) -> None:
    accept(taught)
    with taught.store() as store:
        line = store.in_use("everyone", FLOW)
        assert line is not None
        text, common = store.flow_texts(line.hash)
        row = store.row("select person, made_from from published order by id desc limit 1")
        ida = store.named("Ida")
    assert text.startswith("# Shares updated from 5 closed cases on 2026-05-04.\nlanguage: 1\n")
    assert "version: 3\n" in text
    assert "    share: 44\n" in text
    assert common == COMMON.read_text("utf-8")
    assert row == {"person": ida.id, "made_from": line.author}
    assert line.author != line.hash


def test_nothing_differs_once_the_shares_are_taken(taught: Club) -> None:
    accept(taught)
    assert "nothing to take over" in taught.say("Ida", "shares", "admin")


def test_later_cases_are_added_to_the_earlier_ones_and_not_twice(taught: Club) -> None:
    """10, 6 and 4 of the author, 5 flanges before and 5 gaps since: 15, 11 and 4 of 30."""
    accept(taught)
    for rider in ("Gil", "Hob", "Ira", "Jan", "Kim"):
        taught.case(rider, "gap-wide")
    said = taught.say("Ida", "shares", "admin")
    assert "from 10 cases" in said
    assert "5 of them are of older versions." in said
    assert "Valve gap too wide: the file says 40 of 100; here 50 of 100 (" in said


def test_shares_of_a_group_are_in_use_there_alone(club: Club) -> None:
    club.settle("Ida", "group", "telegram:-7")
    for rider in ("Ann", "Ben", "Cem", "Dee", "Eva"):
        club.settle(rider, "group", "telegram:-7")
        club.case(rider, "flange-leak")
    assert "in telegram:-7, from 5 cases" in club.say("Ida", "shares", "admin")
    club.say("Ida", "yes", "admin")
    assert club.in_use("group:telegram:-7") == (3, "group:telegram:-7")
    assert club.in_use() == (2, "everyone")
    club.say("Gil", "ticking noise")
    assert club.starts_with(int(club.rows("cases")[-1]["id"]))["gap-wide"] == pytest.approx(0.62)
    club.settle("Hob", "group", "telegram:-7")
    club.say("Hob", "ticking noise")
    assert club.starts_with(int(club.rows("cases")[-1]["id"]))["gap-wide"] == pytest.approx(0.44145, abs=1e-5)


def test_what_an_author_puts_right_is_not_kept_out_by_shares(taught: Club) -> None:
    """A new text of his takes the place of the version with the old one's shares; the counts stay."""
    accept(taught)
    taught.publish(OWN.read_text("utf-8").replace("version: 2", "version: 7"))
    assert taught.in_use() == (7, "everyone")
    said = taught.say("Ida", "shares", "admin")
    assert "5 of them are of older versions." in said
    taught.say("Ida", "yes", "admin")
    assert taught.in_use() == (8, "everyone")


def test_cases_of_a_version_with_other_causes_are_not_mixed_in(taught: Club) -> None:
    text = OWN.read_text("utf-8")
    taught.publish(text.replace("flange-leak:\n    name", "manifold-leak:\n    name").replace(
        "cause: flange-leak", "cause: manifold-leak"))  # fmt: skip
    assert taught.say("Ida", "shares", "admin").startswith("Not yet")


def test_a_version_that_would_have_a_mistake_is_not_put_in_use(taught: Club) -> None:
    """An author's text from before a rule of the linter was made: nothing is changed, and why is said."""
    text = OWN.read_text("utf-8").replace(
        "remedy: seal-flange\n", "remedy: seal-flange\n    second_look: x\n", 1
    )
    assert text != OWN.read_text("utf-8")
    taught.publish(text)
    said = accept(taught)
    assert "But the new version could not be made, so the old one stays" in said
    assert "second look 'x'" in said or "L109" in said
    assert taught.in_use() == (2, "everyone")


def test_the_talk_of_an_admin_runs_again_as_it_went(taught: Club) -> None:
    """What he was shown is on record, so that more cases since do not make it another talk."""
    accept(taught)
    number = int(taught.rows("cases")[-1]["id"])
    taught.case("Gil", "gap-wide")
    with taught.store() as store:
        assert [e.event.kind for e in store.entries(number)].count("shares_accepted") == 1
        assert turn.replay(store, number) is None


# --- several at once, and killed --------------------------------------------------------------------


def start(club: Club, name: str, go: Path, *more: str) -> subprocess.Popen[bytes]:
    """An admin in a program of his own, ready to say yes."""
    command = [sys.executable, "-m", "tests.test_outcomes", str(club.path), name, str(go), *more]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT)
    assert program.stdout is not None
    assert program.stdout.readline() == b"ready\n"
    return program


def test_two_admins_at_once_make_one_version(taught: Club, tmp_path: Path) -> None:
    for admin in ("Ida", "Jon"):
        assert "Use these" in taught.say(admin, "shares", "admin")
    both = [start(taught, admin, tmp_path / "go") for admin in ("Ida", "Jon")]
    (tmp_path / "go").touch()
    said = sorted(program.communicate(timeout=60)[0].decode() for program in both)
    assert said[0].startswith("Another version is in use by now")
    assert said[1].startswith("Version 3 of Ticking")
    rows = [row for row in taught.rows("published") if row["scope"] == "everyone"]
    assert len(rows) == 2
    assert taught.in_use() == (3, "everyone")


def test_an_admin_killed_in_his_turn_leaves_nothing_half(taught: Club, tmp_path: Path) -> None:
    taught.say("Ida", "shares", "admin")
    before = (taught.rows("published"), len(taught.rows("flows")), len(taught.rows("entries")))
    program = start(taught, "Ida", tmp_path / "go", "die")
    (tmp_path / "go").touch()
    program.communicate(timeout=60)
    assert program.returncode == -signal.SIGKILL
    assert (taught.rows("published"), len(taught.rows("flows")), len(taught.rows("entries"))) == before
    with taught.store() as store:  # the message was accepted, so it is taken at the next start
        [out] = turn.finish(store, NOON + timedelta(days=1))
    assert out.message.text.startswith("Version 3 of Ticking")
    assert taught.in_use() == (3, "everyone")


def _say_yes(record: str, name: str, go: str, die: bool) -> Iterator[str]:
    store = turn.open_record(record)
    if die:
        Store.mark_taken = lambda *_: os.kill(os.getpid(), signal.SIGKILL)  # type: ignore[method-assign]
    yield "ready"
    while not Path(go).exists():
        time.sleep(0.001)
    now = NOON + timedelta(hours=8)
    inbox = turn.accept(store, "terminal", name, name, "yes", Heard(text="yes", role="admin"), now)
    assert inbox is not None
    for out in turn.take(store, inbox, now):
        yield out.message.text
    store.close()


if __name__ == "__main__":
    for line in _say_yes(*sys.argv[1:4], die=sys.argv[4:] == ["die"]):
        print(line, flush=True)
