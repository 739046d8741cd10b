"""Versions of a flow: put in use, withdrawn, taken back into use, and open cases moved; all by command line.

The record is opened anew by each command and each message, so everything is saved and restored in between.
"""

from __future__ import annotations

import copy
import io
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from bot import cli, publishing, turn
from bot.authoring import encoding, load
from bot.core.events import FlowMoved, Heard
from bot.record.store import Store
from tests.rattle import RATTLE
from tests.record.small_talk import NINE

Run = Callable[..., tuple[int, str, str]]
HUGE = {"share": 10}


def rattle(version: int, **changes: Any) -> str:
    """A version of the rattling flow that the linter lets pass, with other values by path."""
    data = copy.deepcopy(RATTLE) | {"version": version}
    for path, value in changes.items():
        *way, last = path.split("__")
        node: Any = data
        for part in way:
            node = node[part.replace("_", "-") if part.replace("_", "-") in node else part]
        node[last.replace("_", "-") if last.replace("_", "-") in node else last] = value
    return yaml.safe_dump(data, sort_keys=False)


def kept(text: str) -> Any:
    return publishing.kept_of(load.load_text(text.encode()), text, "")


@pytest.fixture(name="store")
def _store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


def offered(store: Store, group: str = "") -> list[tuple[int, str]]:
    return [(line.version, line.scope) for line in store.offered(group) if line.flow == "rattle"]


def hash_of(text: str) -> str:
    return load.load_text(text.encode()).hash


AT = "2026-05-01T09:00:00Z"


# --- putting in use ------------------------------------------------------------------------------


def test_a_group_has_its_own_version_and_everyone_else_theirs(store: Store) -> None:
    publishing.publish(store, kept(rattle(1)), "everyone", AT)
    publishing.publish(store, kept(rattle(2)), "group:telegram:-7", AT)
    assert offered(store) == [(1, "everyone")]
    assert offered(store, "telegram:-7") == [(2, "group:telegram:-7")]


@pytest.mark.parametrize(("version", "title"), [(1, "It rattles"), (0, "It rattles")])
def test_another_text_needs_a_higher_number(store: Store, version: int, title: str) -> None:
    publishing.publish(store, kept(rattle(1)), "everyone", AT)
    other = kept(rattle(max(version, 1), title=title))
    with pytest.raises(publishing.NotDoneError, match="write 'version: 2'"):
        publishing.publish(store, other, "everyone", AT)
    assert offered(store) == [(1, "everyone")]
    assert [act.what for act in store.acts()] == ["published"]


def test_the_same_text_again_is_nothing_new(store: Store) -> None:
    publishing.publish(store, kept(rattle(1)), "everyone", AT)
    with pytest.raises(publishing.NotDoneError, match="in use there"):
        publishing.publish(store, kept(rattle(1)), "everyone", AT)


def test_withdrawn_the_version_before_it_is_offered_and_then_none(store: Store) -> None:
    one, two = rattle(1), rattle(2)
    publishing.publish(store, kept(one), "everyone", AT)
    publishing.publish(store, kept(two), "everyone", AT)
    assert publishing.withdraw(store, "everyone", "rattle", hash_of(two), AT) == hash_of(one)
    assert offered(store) == [(1, "everyone")]
    assert publishing.withdraw(store, "everyone", "rattle", hash_of(one), AT) == ""
    assert offered(store) == []
    with pytest.raises(publishing.NotDoneError, match="nothing to withdraw"):
        publishing.withdraw(store, "everyone", "rattle", hash_of(one), AT)


def test_a_group_that_withdraws_its_own_falls_back_to_everyones(store: Store) -> None:
    publishing.publish(store, kept(rattle(1)), "everyone", AT)
    publishing.publish(store, kept(rattle(2)), "group:telegram:-7", AT)
    left = publishing.withdraw(store, "group:telegram:-7", "rattle", hash_of(rattle(2)), AT)
    assert left == hash_of(rattle(1))
    assert offered(store, "telegram:-7") == [(1, "everyone")]


def test_what_is_shipped_cannot_be_withdrawn(store: Store) -> None:
    turn.lay_out(store, rattle(1), "", "shipped", NINE)
    with pytest.raises(publishing.NotDoneError):
        publishing.withdraw(store, "shipped", "rattle", hash_of(rattle(1)), AT)
    assert offered(store) == [(1, "shipped")]


def test_any_version_can_be_taken_back_into_use_also_a_withdrawn_one(store: Store) -> None:
    one, two = rattle(1), rattle(2)
    publishing.publish(store, kept(one), "everyone", AT)
    publishing.publish(store, kept(two), "everyone", AT)
    publishing.use_again(store, "everyone", "rattle", hash_of(one), AT)
    assert offered(store) == [(1, "everyone")]
    publishing.withdraw(store, "everyone", "rattle", hash_of(one), AT)
    publishing.use_again(store, "everyone", "rattle", hash_of(one), AT)
    assert offered(store) == [(1, "everyone")]
    for wrong in (hash_of(one), "0" * 64):
        with pytest.raises(publishing.NotDoneError):
            publishing.use_again(store, "everyone", "rattle", wrong, AT)


def test_every_act_is_listed_with_who_and_can_not_be_changed(store: Store) -> None:
    admin = store.meet("terminal", "Max", "Max", "admin", AT)
    publishing.publish(store, kept(rattle(1)), "everyone", AT, admin.id)
    publishing.publish(store, kept(rattle(2)), "everyone", AT)
    publishing.use_again(store, "everyone", "rattle", hash_of(rattle(1)), AT, admin.id)
    publishing.withdraw(store, "everyone", "rattle", hash_of(rattle(1)), AT, admin.id)
    told = [(act.what, act.version, act.who) for act in reversed(store.acts("rattle"))]
    assert told == [
        ("published", 1, "Max"), ("published", 2, ""), ("used_again", 1, "Max"), ("withdrawn", 1, "Max"),
    ]  # fmt: skip
    for sql in (
        "delete from acts",
        "update acts set what = 'kept'",
        "update acts set at = '2026-05-02T09:00:00Z'",
    ):
        with pytest.raises(Exception, match="never"):
            store.run(sql)


def test_an_admin_who_is_erased_leaves_what_he_did_and_no_name(store: Store) -> None:
    admin = store.meet("terminal", "Max", "Max", "admin", AT)
    publishing.publish(store, kept(rattle(1)), "everyone", AT, admin.id)
    store.keep_draft(admin.id, "everyone", "rattle", hash_of(rattle(1)), AT)
    store.erase(admin.id)
    assert [(act.what, act.who) for act in store.acts()] == [("published", "")]
    assert offered(store) == [(1, "everyone")]


# --- drafts --------------------------------------------------------------------------------------


def test_a_draft_is_decided_on_once(store: Store) -> None:
    admin = store.meet("terminal", "Max", "Max", "admin", AT)
    store.keep_flow(kept(rattle(1)))
    number = store.keep_draft(admin.id, "everyone", "rattle", hash_of(rattle(1)), AT)
    assert store.drafts(admin.id) == []
    assert store.settle_draft(number, "kept")
    assert [draft.id for draft in store.drafts(admin.id)] == [number]
    assert store.settle_draft(number, "published")
    assert not store.settle_draft(number, "dropped")
    assert not store.settle_draft(99, "dropped")


# --- an open case --------------------------------------------------------------------------------


class Talk:
    """A case of the rattling flow in a record that is opened anew for every message."""

    def __init__(self, path: Path) -> None:
        self.path, self.now, self.said = path, NINE, 0

    def say(self, text: str) -> str:
        self.now, self.said = self.now + timedelta(minutes=1), self.said + 1
        with closing(Store(self.path)) as store:
            heard = Heard(text=text)
            inbox = turn.accept(store, "terminal", "Ann", "Ann", str(self.said), heard, self.now)
            assert inbox is not None
            return "\n".join(out.message.text for out in turn.take(store, inbox, self.now))

    def move(self, hash: str) -> tuple[Any, ...]:
        with closing(Store(self.path)) as store:
            return publishing.move(store, turn.KeptFlows(store), 1, hash, AT)


@pytest.fixture(name="talk")
def _talk(tmp_path: Path) -> Talk:
    path = tmp_path / "record.db"
    with closing(Store(path)) as store:
        publishing.publish(store, kept(rattle(1)), "everyone", AT)
    talk = Talk(path)
    for words in ("it rattles", "No knock", "Goat", "By a button"):
        talk.say(words)
    return talk


def test_an_open_case_goes_on_with_the_better_words_of_another_version(talk: Talk) -> None:
    better = rattle(2, questions__magnet__ask="Take a magnet. What clings?")
    with closing(Store(talk.path)) as store:
        publishing.publish(store, kept(better), "everyone", AT)
    assert "Hold a magnet" in talk.say("again")  # pinned to its version
    assert talk.move(hash_of(better)) == ()
    assert "Take a magnet. What clings?" in talk.say("again")
    with closing(Store(talk.path)) as store:
        moved = [e for e in store.entries(1) if isinstance(e.event, FlowMoved)]
        assert [(e.who, e.role) for e in moved] == [("", "admin")]
        assert store.case(1).flow == hash_of(better)
        assert next((act.what, act.case) for act in store.acts()) == ("moved", 1)
        assert turn.replay(store, 1) is None
    talk.say("All of them cling")
    with closing(Store(talk.path)) as store:
        assert turn.replay(store, 1) is None


def test_a_case_stays_where_an_answer_would_mean_something_else(talk: Talk) -> None:
    other = rattle(2, questions__knock__answers__no__denies=[])
    with closing(Store(talk.path)) as store:
        publishing.publish(store, kept(other), "everyone", AT)
    [kept_by] = talk.move(hash_of(other))
    assert (kept_by.what, kept_by.id, kept_by.gone) == ("question", "knock", False)
    with closing(Store(talk.path)) as store:
        assert store.case(1).flow == hash_of(rattle(1))
        assert not any(isinstance(e.event, FlowMoved) for e in store.entries(1))


def test_a_case_is_not_moved_to_where_it_is(talk: Talk) -> None:
    with pytest.raises(publishing.NotDoneError, match="goes by that version"):
        talk.move(hash_of(rattle(1)))


# --- by command line -----------------------------------------------------------------------------


@pytest.fixture(name="run")
def _run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    turn.open_record(tmp_path / "record.db").close()

    def run(*args: str, typed: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        status = cli.main([*args, "--db", str(tmp_path / "record.db")])
        told = capsys.readouterr()
        return status, told.out, told.err

    return run


@pytest.fixture(name="file")
def _file(tmp_path: Path) -> Path:
    """A flow file that has no mistake: the linter's own example, which brings its common file."""
    here = Path(__file__).parent / "authoring"
    for name in ("base.yaml", "common.yaml"):
        (tmp_path / name).write_text((here / name).read_text(encoding="utf-8"), encoding="utf-8")
    return tmp_path / "base.yaml"


def raise_version(file: Path, old: str = "version: 2", new: str = "version: 3") -> None:
    file.write_text(file.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")


def test_a_file_is_published_after_a_yes_and_listed(run: Run, file: Path) -> None:
    status, told, _ = run("flow", "publish", str(file), typed="yes\n")
    assert status == 0
    assert "No version of ticking-top is offered there now." in told
    assert "Version 2 of Ticking from the top of the engine is in use for everyone" in told
    raise_version(file)
    assert run("flow", "publish", str(file), "--yes")[0] == 0
    _, told, _ = run("flow", "versions", "ticking-top")
    assert [line.split()[0] for line in told.splitlines()] == ["3", "2"]
    assert [line.split()[3] for line in told.splitlines()] == ["in", "earlier"]
    assert run("flow", "withdraw", "ticking-top", "3", "--yes")[0] == 0
    assert "withdrawn" in run("flow", "versions", "ticking-top")[1].splitlines()[0]
    assert "is in use for everyone again" in run("flow", "use", "ticking-top", "3", "--yes")[1].replace(
        "\n", " "
    )
    acts = run("flow", "acts")[1].splitlines()
    assert [line.split(", ")[0].split(maxsplit=4)[-1] for line in acts] == [
        "taken back into use", "withdrawn", "published", "published",
    ]  # fmt: skip


def test_without_a_yes_nothing_is_changed(run: Run, file: Path) -> None:
    status, _, error = run("flow", "publish", str(file), typed="no\n")
    assert status == 2
    assert "nothing was changed" in error
    assert run("flow", "versions", "ticking-top")[0] == 2


def test_a_file_with_a_mistake_is_shown_with_its_line_and_not_published(run: Run, file: Path) -> None:
    raise_version(file, "remedy: set-gap", "remedy: set-gab")
    status, told, error = run("flow", "publish", str(file), "--yes")
    assert status == 2
    line = file.read_text(encoding="utf-8").split("\n").index("    remedy: set-gab") + 1
    assert f"base.yaml:{line}:" in told
    assert "mend 1 mistake" in error


@pytest.mark.parametrize(
    ("args", "wanted"),
    [
        (("flow", "publish", "gone.yaml"), "There is no file gone.yaml"),
        (("flow", "use", "ticking-top", "9"), "There is no version '9'"),
        (("flow", "withdraw", "ticking-top", "9", "--scope", "club"), "'club' is no scope"),
        (("flow", "withdraw", "ticking-top", "9", "--as", "Nobody"), "'Nobody' is no admin"),
        (("flow", "versions", "squeak"), "No version of 'squeak'"),
        (("case", "move", "7"), "7"),
    ],
)
def test_what_cannot_be_meant_is_said(run: Run, args: tuple[str, ...], wanted: str) -> None:
    status, _, error = run(*args)
    assert status == 2
    assert wanted in error


def test_a_case_is_moved_or_what_keeps_it_is_said(run: Run, talk: Talk, tmp_path: Path) -> None:
    with closing(Store(talk.path)) as store:
        publishing.publish(store, kept(rattle(2, title="It rattles")), "everyone", AT)
    assert run("case", "move", "1") == (
        0,
        "Case 1 goes by version 2 of It rattles from its next message on.\n",
        "",
    )
    with closing(Store(talk.path)) as store:
        other = rattle(3, questions__knock__answers__no__denies=[])
        publishing.publish(store, kept(other), "everyone", AT)
    status, told, _ = run("case", "move", "1")
    assert status == 1
    assert "- 'knock' was answered or is open and means something else there." in told


def test_a_group_that_gets_another_number_keeps_its_versions_drafts_and_acts(store: Store) -> None:
    admin = store.meet("telegram", "5", "Max", "admin", AT)
    publishing.publish(store, kept(rattle(1)), "group:telegram:-7", AT, admin.id)
    store.keep_draft(admin.id, "group:telegram:-7", "rattle", hash_of(rattle(1)), AT)
    with store.writing():
        store.move_chat("telegram", "-7", "-1007")
    assert offered(store, "telegram:-1007") == [(1, "group:telegram:-1007")]
    assert [act.scope for act in store.acts()] == ["group:telegram:-1007"]
    assert store.value("select scope from drafts") == "group:telegram:-1007"


def test_a_flow_that_may_be_sent_may_be_read() -> None:
    """The channel looks at the size before the reader of flows is loaded."""
    assert publishing.LARGEST == encoding.MAX_BYTES
