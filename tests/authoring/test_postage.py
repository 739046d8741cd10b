"""What flows cost as text messages: lengths by hand, every shipped question in one message, kept figures.

Lengths were counted by hand in the alphabet of 3GPP TS 23.038; messages are counted a second time by
`counted`, which shares no code with the program.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest

from bot.authoring import load, postage
from bot.authoring import script as scripts
from bot.authoring.play import Exchange, Played
from bot.authoring.postage import Item, Longest, items
from bot.authoring.wording import read_words
from bot.core.flow import Flow
from bot.core.messages import Choice, Message, in_short
from bot.core.segments import is_plain
from bot.core.state import State
from tests.core.test_segments import counted
from tests.test_cli import Shell, shell

__all__ = ["shell"]

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "docs" / "looked-at" / "segments.txt"
SKELETON = ROOT / "bot" / "authoring" / "skeletons" / "flow.yaml"
NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


@cache
def shipped(id: str) -> tuple[Flow, tuple[Item, ...]]:
    flow = load.shipped(id).flow
    return flow, tuple(items(flow, read_words()))


def of(id: str, *kinds: str) -> list[Item]:
    return [item for item in shipped(id)[1] if item.kind in kinds]


# --- every shipped flow ------------------------------------------------------------------------------------


@pytest.mark.parametrize("id", load.shipped_ids())
def test_a_question_with_its_tag_and_answers_is_one_message(id: str) -> None:
    flow, asked = shipped(id)[0], of(id, "trait", "question", "look")
    assert [i.id for i in asked] == [*flow.traits, *flow.asks]
    assert [i.id for i in asked if counted(i.alone) != 1] == []
    assert all(i.alone.startswith("Q99 ") for i in asked)


@pytest.mark.parametrize("id", load.shipped_ids())
def test_a_stop_is_two_messages_at_most(id: str) -> None:
    told = of(id, "stop")
    assert [i.id for i in told] == list(shipped(id)[0].stop_rules)
    assert [i.id for i in told if counted(i.alone) > 2] == []
    assert [i.id for i in told if not i.alone.startswith(("STOP", "LOOK FIRST"))] == []


@pytest.mark.parametrize("id", load.shipped_ids())
def test_every_text_is_there_and_written_in_seven_bits(id: str) -> None:
    flow, found = shipped(id)
    assert {i.kind for i in found} <= set(postage.KINDS)
    assert len(of(id, "caution")) == len(flow.cautions)
    assert len(of(id, "remedy step")) == sum(len(r.steps) for r in flow.remedies.values())
    assert len(of(id, "access")) == 2 * len(flow.access)
    assert [i.id for i in found if not is_plain(i.alone + i.sent)] == []


@pytest.mark.parametrize("id", load.shipped_ids())
def test_what_is_sent_has_the_text_itself_in_it(id: str) -> None:
    """Dangers come on top; nothing of the question or step is lost for them."""
    bare = [(i.id, i.alone.removeprefix(postage.TAG), i.sent) for i in shipped(id)[1] if i.kind != "trait"]
    assert [what for what, alone, sent in bare if not sent.endswith(alone)] == []


@pytest.mark.parametrize("id", load.shipped_ids())
def test_the_kept_figures_are_those_of_today(id: str) -> None:
    """Of the texts, not of the conversations: these change with every sample."""
    table = "\n".join(postage.table(shipped(id)[0], read_words()))
    assert table in KEPT.read_text("utf-8"), "run: sumpline flow segments > docs/looked-at/segments.txt"


def test_the_kept_figures_name_no_flow_that_is_gone() -> None:
    named = re.findall(r"^\S.* \(([a-z-]+)\)$", KEPT.read_text("utf-8"), re.M)
    assert tuple(sorted(named)) == load.shipped_ids()


# --- by hand -----------------------------------------------------------------------------------------------


def test_a_question_by_hand() -> None:
    """4 for the tag, 26 for the question, 8 and 9 for its answers; the danger before it has 46."""
    found = {i.id: i for i in items(load.load(SKELETON).flow, read_words())}
    asked = found["chain-free"]
    assert asked.alone == "Q99 Chain wedged, wheel stuck? 1 turns 2 wedged"
    assert asked.sent == (
        "Q99 DANGER: Hands clear of chain, sprocket, gears. Chain wedged, wheel stuck? 1 turns 2 wedged"
    )
    table = postage.table(load.load(SKELETON).flow, read_words())
    assert "     47   1       94   1  question chain-free" in table
    assert "     40   1       40   1  question when-off" in table
    assert "     40   1       40   1  question brake-feel" not in table


YES = Choice(1, "Yes, all of it", "yes", "yes")
BACK = Choice(2, "back", "control:back", "back", control=True)


def test_a_message_without_a_short_form_is_its_text_with_its_answers() -> None:
    assert in_short(Message("Sure?", choices=(YES, BACK))) == "Sure?\n1 yes"
    assert in_short(Message("Are you sure?", "Sure? 1 yes", (YES, BACK))) == "Sure? 1 yes"


def played(text: str, *messages: Message, file: str = "talk.txt") -> Played:
    """A talk of one exchange; somebody else is told something too, which is not his bill."""
    script = scripts.read(text, file)
    line = next(x for x in script.lines if x.kind == "you")
    other = Message("x" * 900, to="somebody")
    said = Exchange(line, NOON, State(), (*messages, other), State())
    return Played(script, State(), (said, replace(said, messages=())))


def test_a_bill_by_hand() -> None:
    whole = "flow: f\n\nyou: it rattles\n"
    begun = "flow: f\n\ngiven:\n  rhythm = follows\n\nyou: yes\n"
    plays = [
        played(whole, Message("a" * 160), Message("a" * 161)),  # 1 + 2
        # 156 and the tag of 4 are one message, 157 are two
        played(whole, Message("a" * 156, "a" * 156, (YES,)), Message("b" * 157, kind="question")),
        # what only steers the talk needs no tag; ' deg' has 4 septets
        played(begun, Message("a" * 160, choices=(BACK,)), Message("°" * 40), file="other.txt"),
    ]
    found = postage.bill(plays)
    assert (found.whole, found.begun) == ((3, 3), (2,))
    assert found.longest == Longest("talk.txt", "info", "a" * 161)


def test_figures_of_conversations_by_hand() -> None:
    bill = postage.Bill((4, 1, 9), (7,), Longest("a/b.txt", "step", "c" * 161))
    assert list(postage.cases(bill)) == [
        "3 sample conversations from the first words on: 1 to 9 messages, median 4",
        "1 sample conversation begun within a case: 7 messages",
        "the longest: 2 messages, 161 septets, step, in b.txt",
        "  " + "c" * 78,
        "  " + "c" * 78,
        "  " + "c" * 5,
    ]
    assert list(postage.cases(postage.Bill((), (), None))) == []


# --- the command -------------------------------------------------------------------------------------------


def test_the_command_prints_the_table_and_the_conversations(shell: Shell) -> None:
    shell.run("flow", "new", "chain")
    status, out, _ = shell.run("flow", "segments", "chain.yaml")
    assert status == 0
    assert out.startswith("Chain comes off (chain)\n\n  by itself     as sent\nseptets  no  septets  no\n")
    assert "\n     47   1       94   1  question chain-free\n" in out
    assert re.search(r"\n1 sample conversation from the first words on: \d+ messages\n", out)


def test_what_is_not_there_is_refused_in_one_sentence(shell: Shell) -> None:
    assert "no flow 'engine'; name a flow file, or one of:" in shell.refused("flow", "segments", "engine")
    shell.run("flow", "new", "chain")
    for sample in Path("sample_conversations").rglob("*.txt"):
        sample.unlink()
    assert "no sample conversation of chain.yaml" in shell.refused("flow", "segments", "chain.yaml")
