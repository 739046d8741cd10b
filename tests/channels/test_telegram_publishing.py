"""Flows that are sent and published from the chat: who may, what is told, and that each act is done once."""

from __future__ import annotations

import asyncio
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml

from bot import trials, turn
from bot.authoring import shelf, skeleton
from bot.channels.telegram import sending
from tests.channels.telegram_html import typed
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_running import Running, press, say
from tests.channels.telegram_server import TelegramServer
from tests.channels.telegram_world import Chat
from tests.channels.test_telegram_survives import Program

pytest_plugins = ["tests.channels.telegram_fixtures"]

LONG = 60.0  # seconds; only a hang takes longer
ROOT = Path(__file__).parents[2]
FLOW = "ticking-top"


def ticking(version: int, **changes: Any) -> str:
    """The small flow of the linter's tests, with what its own common file holds; `changes` of its head."""
    own, common = (
        yaml.safe_load((ROOT / f"tests/authoring/{name}.yaml").read_text("utf-8"))
        for name in ("base", "common")
    )
    parts = {key: {**common[key], **own.get(key, {})} for key in common if isinstance(common[key], dict)}
    del own["uses"]
    return yaml.safe_dump({**own, **parts, "version": version, **changes}, sort_keys=False)


@pytest.fixture
def bot(telegram: TelegramServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Running]:
    """The bot, which tries flows on two bikes; nobody is an admin of it."""
    monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)
    monkeypatch.setattr(sending, "GROUP_PACE", 0.01)
    running = Running(telegram, tmp_path / "record.db", admins=frozenset(), trial_bikes=2)
    running.start()
    yield running
    running.stop()


@pytest.fixture
def sam(telegram: TelegramServer) -> Person:
    return telegram.person("Sam")


@pytest.fixture
def club(telegram: TelegramServer, robin: Person, sam: Person) -> Chat:
    """A group that Robin founded; Sam is in it."""
    return telegram.group("North Trail Club", robin, sam)


def as_admin(bot: Running, person: Person) -> None:
    """Whoever runs it names a person in the settings and starts it again."""
    bot.stop()
    bot.settings = replace(bot.settings, admins=frozenset({str(person.id)}))
    bot.start()


def flows(person: Person, order: str, chat: Chat, words: str) -> Seen:
    """He sends /flows with an order; the new answer with these words."""
    before = len([seen for seen in person.bot_says(chat) if words in seen.text])
    person.say(f"/flows {order}".strip(), chat=chat)
    person.server.wait_for(
        lambda: len([seen for seen in person.bot_says(chat) if words in seen.text]) > before,
        LONG,
        f"{words!r} after /flows {order}",
    )
    return [seen for seen in person.bot_says(chat) if words in seen.text][-1]


def sends(
    person: Person, text: str | bytes, chat: Chat | None = None, name: str = "ticking-top.yaml"
) -> None:
    data = text.encode() if isinstance(text, str) else text
    person.send_document(data, name, caption="/flow" if chat else "", chat=chat)


def told(person: Person, words: str, chat: Chat | None = None) -> Seen:
    """The newest message of the bot with these words, once it is there."""

    def found() -> list[Seen]:
        return [seen for seen in person.bot_says(chat) if words in seen.text]

    person.server.wait_for(lambda: bool(found()), LONG, f"{words!r} for {person.name}")
    return found()[-1]


def offered_draft(person: Person, text: str, chat: Chat | None = None, draft: int = 1) -> Seen:
    """He sends a flow, and it is tried out: the message that asks what to do."""
    sends(person, text, chat)
    return told(person, f"It is draft {draft}.", chat)


def in_use(bot: Running, scope: str) -> list[int]:
    """Versions in use of the ticking flow in one scope."""
    with bot.record() as store:
        used = store.published(scope).get(FLOW)
        return [store.kept_flow(used).version] if used else []


def acts(bot: Running) -> list[tuple[str, str, str, int]]:
    with bot.record() as store:
        return [(act.who, act.what, act.scope, act.version) for act in reversed(store.acts(FLOW))]


def test_an_administrator_of_a_group_publishes_for_his_group(bot: Running, robin: Person, club: Chat) -> None:
    asked = offered_draft(robin, ticking(3), club)
    assert "version 3, for North Trail Club." in asked.text
    assert "No version of it is offered there now." in asked.text
    assert "Tried on 2 imagined bikes:" in asked.text
    assert asked.labels == ["1 Publish", "2 Keep as draft", "3 Drop"]
    pictures = [seen for seen in robin.bot_says(club) if "photo" in seen.attached]
    assert [picture.text.partition(": ")[2] for picture in pictures] == ["what is asked first"]
    robin.press(asked, "Publish")
    told(robin, "is in use for North Trail Club, from the next case on.", club)
    scope = f"group:telegram:{club.id}"
    assert acts(bot) == [("Robin", "published", scope, 3)]
    assert (in_use(bot, scope), in_use(bot, "everyone")) == ([3], [])


def test_who_is_no_admin_is_told_who_may_and_nothing_is_kept(
    bot: Running, telegram: TelegramServer, robin: Person
) -> None:
    sends(robin, ticking(3))
    told(robin, "I kept nothing of the file.")
    with bot.record() as store:
        assert not [h for h in store.flow_hashes() if store.kept_flow(h).flow == FLOW]
        assert store.value("select count(*) from drafts") == 0
        assert store.value("select count(*) from files") == 0
    assert not telegram.calls_of("getFile")


def test_a_named_admin_publishes_for_everyone_in_private(
    bot: Running, telegram: TelegramServer, robin: Person
) -> None:
    as_admin(bot, robin)
    asked = offered_draft(robin, ticking(3))
    assert "version 3, for everyone." in asked.text
    press(robin, "Publish")
    told(robin, "is in use for everyone")
    assert acts(bot) == [("Robin", "published", "everyone", 3)]
    assert not telegram.calls_of("getChatMember")


def test_what_changes_against_the_version_in_use_is_told(bot: Running, robin: Person, club: Chat) -> None:
    robin.press(offered_draft(robin, ticking(3), club), "Publish")
    told(robin, "is in use", club)
    asked = offered_draft(robin, ticking(4, title="Ticking, tapping, knocking"), club, draft=2)
    assert "Offered there now: version 3 (" in asked.text
    assert "Against version 3: 2 changed." in asked.text
    assert "-> Ticking, tapping, knocking" in asked.text


def test_what_is_kept_as_draft_is_published_later_by_its_number(
    bot: Running, robin: Person, club: Chat
) -> None:
    robin.press(offered_draft(robin, ticking(3), club), "Keep as draft")
    told(robin, "/flows publish 1 puts it in use.", club)
    assert "Your draft 1: ticking-top 3 (" in flows(robin, "", club, "Your draft").text
    flows(robin, "publish 1", club, "is in use")
    done = [("Robin", what, f"group:telegram:{club.id}", 3) for what in ("kept", "published")]
    assert acts(bot) == done
    assert "You did that already: Published." in flows(robin, "drop 1", club, "already").text
    assert acts(bot) == done


def test_what_is_dropped_by_its_typed_number_is_not_published_later(
    bot: Running, robin: Person, club: Chat
) -> None:
    asked = offered_draft(robin, ticking(3), club)
    robin.say("3", chat=club, reply_to=asked)
    told(robin, "Draft 1 is dropped", club)
    told(robin, "> Dropped", club)
    flows(robin, "publish 1", club, "already")
    assert [what for _, what, _, _ in acts(bot)] == ["dropped"]


def test_the_versions_of_a_group_are_listed_taken_back_and_withdrawn(
    bot: Running, robin: Person, club: Chat
) -> None:
    scope = f"group:telegram:{club.id}"
    for n, version in enumerate((3, 4), 1):
        robin.press(offered_draft(robin, ticking(version), club, n), "Publish")
        told(robin, f"Version {version} of Ticking", club)
    listed = flows(robin, "", club, "newest first").text
    assert "4 (" in listed
    assert ") in use, " in listed.partition("\n4 (")[2].partition("\n")[0]
    assert ") earlier, " in listed.partition("\n3 (")[2].partition("\n")[0]
    flows(robin, f"use {FLOW} 3", club, "for North Trail Club again")
    assert in_use(bot, scope) == [3]
    flows(robin, f"withdraw {FLOW} 3", club, "is withdrawn for North Trail Club")
    assert [what for _, what, _, _ in acts(bot)] == ["published", "published", "used_again", "withdrawn"]
    flows(robin, f"use {FLOW} 9", club, "There is no version '9'")
    flows(robin, "sell everything", club, "send its file (.yaml)")


def test_the_file_of_the_next_version_needs_the_next_number(bot: Running, robin: Person, club: Chat) -> None:
    robin.press(offered_draft(robin, ticking(3), club), "Publish")
    told(robin, "is in use", club)
    robin.press(offered_draft(robin, ticking(3, title="Ticking again"), club, 2), "Publish")
    told(robin, "write 'version: 4' into the file", club)
    with bot.record() as store:
        draft = store.draft(2)
    assert draft is not None
    assert draft.state == "new"


# --- who may --------------------------------------------------------------------------------------


def test_who_lost_the_right_a_second_ago_is_refused(
    bot: Running, telegram: TelegramServer, robin: Person, club: Chat
) -> None:
    asked = offered_draft(robin, ticking(3), club)
    telegram.promote(club, robin, "member")
    robin.press(asked, "Publish")
    told(robin, "Robin, only the admins of this bot may do that", club)
    for order in ("", "publish 1", f"withdraw {FLOW} 1"):
        flows(robin, order, club, "nothing was changed")
    assert (acts(bot), in_use(bot, f"group:telegram:{club.id}")) == ([], [])
    telegram.promote(club, robin)
    robin.press(asked, "Publish")
    told(robin, "is in use", club)


def test_who_is_no_administrator_presses_in_vain(
    bot: Running, robin: Person, sam: Person, club: Chat
) -> None:
    asked = offered_draft(robin, ticking(3), club)
    sam.press(asked, "Publish")
    told(sam, "Sam, only the admins of this bot may do that", club)
    sends(sam, ticking(4), club)
    told(sam, "I kept nothing of the file.", club)
    assert acts(bot) == []


def test_of_two_at_once_one_does_it_and_the_other_is_told_who(
    bot: Running, telegram: TelegramServer, robin: Person, sam: Person, club: Chat
) -> None:
    telegram.promote(club, sam)
    asked = offered_draft(robin, ticking(3), club)
    robin.press(asked, "Publish")
    sam.press(asked, "Drop")
    told(sam, "Robin was quicker: Published.", club)
    sam.press(asked, "Publish")  # his phone still shows the buttons
    telegram.idle(0.5)
    assert acts(bot) == [("Robin", "published", f"group:telegram:{club.id}", 3)]


def test_an_administrator_acts_in_private_for_the_group_that_he_came_from(
    bot: Running, telegram: TelegramServer, robin: Person, club: Chat
) -> None:
    say(robin, "/new there is metal in my oil", chat=club)
    robin.follow([s for s in robin.bot_says(club) if s.labels][-1], "Go on in private")
    robin.answer()
    assert "version 3, for North Trail Club." in offered_draft(robin, ticking(3)).text
    telegram.promote(club, robin, "left")
    press(robin, "Publish")
    told(robin, "nothing was changed")
    assert acts(bot) == []


def test_a_draft_goes_with_its_group_when_that_gets_another_number(
    bot: Running, telegram: TelegramServer, robin: Person, club: Chat
) -> None:
    offered_draft(robin, ticking(3), club)
    now = telegram.migrate(club)
    flows(robin, "publish 1", now, "is in use for North Trail Club")
    assert in_use(bot, f"group:telegram:{now.id}") == [3]


def test_a_rider_is_listed_nothing_and_a_command_alone_says_how(bot: Running, robin: Person) -> None:
    flows(robin, "", robin.chat, "Robin, only the admins of this bot may do that")
    say(robin, "/flow")
    assert "send its file (.yaml)" in robin.bot_says()[-1].text
    flows(robin, "publish 7", robin.chat, "There is no draft 7.")


def test_while_the_platform_cannot_be_asked_nothing_is_done_and_then_it_is(
    bot: Running, telegram: TelegramServer, robin: Person, club: Chat
) -> None:
    asked = offered_draft(robin, ticking(3), club)
    telegram.fail("getChatMember", 502, "Bad Gateway", times=4)
    robin.press(asked, "Publish")
    told(robin, "is in use", club)
    assert len(acts(bot)) == 1


# --- whose flow it is -----------------------------------------------------------------------------


def test_a_groups_flow_is_offered_in_that_group_alone(
    bot: Running, telegram: TelegramServer, robin: Person, sam: Person, club: Chat
) -> None:
    other = telegram.group("South Trail Club", robin)
    robin.press(offered_draft(robin, ticking(3), club), "Publish")
    told(robin, "is in use", club)
    for person, chat in ((sam, club), (robin, other), (robin, None)):
        say(person, "/new ticking noise", chat=chat)
    with bot.record() as store:
        titles = [case.title for case in reversed(store.all_cases())]
    assert titles == ["Ticking from the top of the engine", "", ""]


def test_a_case_keeps_the_version_that_was_withdrawn(
    bot: Running, robin: Person, sam: Person, club: Chat
) -> None:
    robin.press(offered_draft(robin, ticking(3), club), "Publish")
    told(robin, "is in use", club)
    say(sam, "/new ticking noise", chat=club)
    flows(robin, f"withdraw {FLOW} 3", club, "is withdrawn")
    asked = [seen for seen in sam.bot_says(club) if seen.labels and "draft" not in seen.text][-1]
    sam.press(asked, asked.labels[0])
    assert "went wrong" not in "".join(seen.text for seen in sam.answer(chat=club))
    with bot.record() as store:
        assert store.offered(f"telegram:{club.id}") == store.offered()
        case = store.all_cases()[0]
        assert store.kept_flow(case.flow).version == 3
        assert len(store.entries(case.id)) > 2


# --- files that are no flow -------------------------------------------------------------------------

BOMB = "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n"
TAG = "flow: !!python/object/apply:os.system ['touch /nowhere/x']\n"


@pytest.mark.parametrize(
    "data",
    [
        BOMB.encode(), TAG.encode(), bytes(range(256)) * 20, b"", b"\0" * 1000, b"[" * 50_000,
        b"title: caf\xe9\n", "title: wide\n".encode("utf-16"), b"? " * 60_000, b"{" + b"a: {" * 5000,
        "\u202etitle: x\n".encode(), b"- 1\n" * 60_000, b"flow: 5\n", b"%TAG ! tag:x,2000:\n---\n!a b\n",
    ],
    ids=lambda data: repr(data[:12]),
)  # fmt: skip
def test_no_bytes_get_past_the_judge_or_break_it(data: bytes) -> None:
    judged = turn.judge(data, "sent.yaml")
    assert judged.kept is None
    assert judged.lines
    assert all(line.startswith("sent.yaml:") for line in judged.lines)


@pytest.mark.parametrize("data", [BOMB.encode(), TAG.encode(), bytes(range(256)), "a: b".encode("utf-16")])
def test_a_hostile_file_is_answered_with_what_is_wrong_and_where(
    bot: Running, robin: Person, club: Chat, data: bytes
) -> None:
    sends(robin, data, club, name="../../evil\u202e.yaml")
    seen = told(robin, "so I kept nothing", club)
    assert re.search(r"\nevil\.yaml:[12]:\d+: Y0", seen.text)
    assert ".." not in seen.text
    with bot.record() as store:
        assert store.value("select count(*) from drafts") == 0


def test_more_mistakes_than_a_message_holds_come_as_a_file(bot: Running, robin: Person, club: Chat) -> None:
    wrong = ticking(3) + "\n".join(f"no-such-part-{n}: {{}}" for n in range(100)) + "\n"
    sends(robin, wrong, club)
    seen = told(robin, "100 mistakes in ticking-top.yaml", club)
    assert seen.attached == ("document",)
    listed = bot.server.world.files[seen.content["document"]["file_id"]].data.decode()
    assert "no-such-part-99" in listed
    assert listed.count("ticking-top.yaml:") == 100


def test_what_is_too_large_is_not_even_fetched(
    bot: Running, telegram: TelegramServer, robin: Person, club: Chat
) -> None:
    sends(robin, b"#" * 256_001, club)
    told(robin, "larger than 256 kB", club)
    assert not telegram.calls_of("getFile")


def test_what_grew_on_the_way_is_not_kept(
    bot: Running, telegram: TelegramServer, robin: Person, club: Chat
) -> None:
    """The message says 100 bytes; what is fetched is more."""
    stored = telegram.world.store(b"#" * 256_001, "documents", "big.yaml", "text/yaml")
    document = {**stored.json, "file_size": 100, "file_name": "big.yaml"}
    robin.post({"document": document, "caption": "/flow", "caption_entities": typed("/flow")}, club)
    told(robin, "larger than 256 kB", club)
    assert not telegram.calls_of("file")


# --- killed -----------------------------------------------------------------------------------------


@pytest.fixture
def start(telegram: TelegramServer, tmp_path: Path) -> Iterator[Callable[[], Program]]:
    begun: list[Program] = []

    def begin() -> Program:
        asked = len(telegram.calls_of("getUpdates"))
        begun.append(Program(telegram, tmp_path / "record.db", SUMPLINE_TRIAL_BIKES="1"))
        telegram.wait_for_calls("getUpdates", asked + 1, within=LONG)
        return begun[-1]

    yield begin
    for program in begun:
        if program.process.poll() is None:
            program.kill()


def counted(database: Path, table: str) -> int:
    with closing(turn.open_record(database)) as store:
        return int(store.value(f"select count(*) from {table}"))


@pytest.mark.parametrize(("method", "before"), [("getChatMember", 0), ("sendMessage", 1)])
def test_killed_in_the_middle_of_an_act_it_is_done_once(
    telegram: TelegramServer, robin: Person, club: Chat, start: Callable[[], Program], tmp_path: Path,
    method: str, before: int,
) -> None:  # fmt: skip
    """While the platform is asked nothing is done yet; while it is told all is done, and told again."""
    database, program = tmp_path / "record.db", start()
    asked = offered_draft(robin, ticking(3), club)
    telegram.hang(method, 60)
    calls = len(telegram.calls_of(method))
    robin.press(asked, "Publish")
    telegram.wait_for_calls(method, calls + 1, within=LONG)
    program.kill()
    assert counted(database, "acts") == before
    telegram.mend()
    start()
    told(robin, "is in use for North Trail Club", club)
    assert counted(database, "acts") == 1
    assert counted(database, "published where flow = 'ticking-top'") == 1


def test_killed_in_the_middle_of_a_trial_it_is_begun_anew(
    telegram: TelegramServer, robin: Person, club: Chat, start: Callable[[], Program], tmp_path: Path
) -> None:
    database, program = tmp_path / "record.db", start()
    sends(robin, ticking(3), club)
    told(robin, "I try it out now", club)
    program.kill()
    assert counted(database, "drafts") == 0
    start()
    told(robin, "It is draft 1.", club)
    assert (counted(database, "drafts"), counted(database, "acts")) == (1, 0)


def test_a_trial_that_takes_too_long_is_ended_and_says_so(tmp_path: Path) -> None:
    """No time at all: nothing is begun that could outlast it."""
    kept = turn.judge(ticking(3).encode(), "f.yaml").kept
    assert kept is not None
    tried = asyncio.run(turn.try_out(kept, None, 2, within=0.3))
    assert tried.late
    assert not tried.figures


# --- the trial itself --------------------------------------------------------------------------------


def test_sample_conversations_of_that_flow_are_played_on_the_new_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sample that 'flow new' writes fits its flow, and no longer once a question is worded anew."""
    begun = skeleton.begin("chain-comes-off", tmp_path)
    shipped = shelf.Shelf(shelf.find().flows, tmp_path / shelf.SAMPLES)
    assert begun.sample.parent == shipped.samples / "chain-comes-off"
    text = begun.flow.read_text("utf-8")
    opening = next(line for line in text.split("\n") if line.strip().startswith("ask: "))
    other = text.replace(opening, f"{opening.rstrip('?')}, would you say?", 1)
    kept = [turn.judge(each.encode(), "f.yaml").kept for each in (text, other)]
    monkeypatch.setattr(shelf, "find", lambda: shipped)
    tried = [asyncio.run(turn.try_out(each, None, 0)) for each in kept if each]
    assert tried[0].samples == (1, 0)
    assert tried[1].samples[0] == 1
    assert tried[1].samples[1] > 0


def test_a_trial_is_told_no_setting_and_ends_itself_where_nobody_is_left_to_end_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SUMPLINE_TELEGRAM_TOKEN", "7100000001:secret")
    given = trials._environment()
    assert not [name for name in given if name.startswith("SUMPLINE")]
    file = tmp_path / "f.yaml"
    file.write_text(ticking(3), "utf-8")
    told = [
        sys.executable,
        "-P",
        "-c",
        trials._ASIDE,
        "1",
        "flow",
        "simulate",
        str(file),
        "--bikes",
        "900000",
    ]
    ended = subprocess.run(told, env=given, cwd=tmp_path, capture_output=True, check=False)
    assert ended.returncode == -signal.SIGALRM
