"""What a flow costs as text messages: each text by itself and as it is sent, and its sample conversations.

A text by itself is its short form (or the text where there is none) behind a tag, with its numbered answers.
As it is sent, the dangers and warnings that may never be left out stand before it; a stop that stands, and
what was found, come on top and are only in the figures of the conversations.
"""

from __future__ import annotations

import statistics
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from bot.authoring import lint, rehearse, shelf, stage
from bot.authoring.play import Played, play, who
from bot.core import conversation, phrases
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.flow import Flow, Remedy, Trait
from bot.core.messages import Message, in_short
from bot.core.segments import plain, segments, septets
from bot.core.state import State
from bot.core.words import Words

TAG = "Q99 "  # the widest tag that a question carries
WIDTH = 80
KINDS = ("trait", "question", "look", "stop", "caution", "access", "remedy step", "proof")


@dataclass(frozen=True)
class Item:
    """One text of a flow: by itself, and as it is sent when no stop stands; both in 7-bit letters."""

    kind: str
    id: str
    alone: str
    sent: str


@dataclass(frozen=True)
class Longest:
    """The message of a conversation that takes most text messages, and where it was said."""

    file: str
    kind: str
    text: str


@dataclass(frozen=True)
class Bill:
    """Text messages of each conversation, by whether it starts with the first words of a case."""

    whole: tuple[int, ...]
    begun: tuple[int, ...]
    longest: Longest | None


# --- each text ------------------------------------------------------------------------------------


def items(flow: Flow, words: Words) -> Iterator[Item]:
    """Every text of a flow that is sent to say what to answer, do or leave alone, kind by kind."""
    for id, trait in flow.traits.items():
        yield _item("trait", id, _of_trait(trait))
    for id, ask in flow.asks.items():
        said = phrases.brief(
            (), ask.short or ask.ask, phrases.choices(words, phrases.options(words, ask), ())
        )
        kind = "look" if id in flow.checks else "question"
        yield _item(kind, id, said, phrases.asking(words, flow, State(), id))
    for id, rule in flow.stop_rules.items():
        yield _item("stop", id, phrases.stop_text(words, id, rule, short=True), tag="")
    for id, caution in flow.cautions.items():
        say = caution.short or caution.say
        yield _item("caution", id, words.say(f"signal.{caution.signal}", say=say), tag="")
    yield from _work(flow, words)


def _item(kind: str, id: str, alone: str, sent: Message | None = None, tag: str = TAG) -> Item:
    by_itself = plain(tag + alone)
    return Item(kind, id, by_itself, plain(tag + in_short(sent)) if sent else by_itself)


def _of_trait(trait: Trait) -> str:
    answers = (f"{n} {a.short or a.label}" for n, a in enumerate(trait.answers.values(), 1))
    return " ".join((trait.short or trait.ask, *answers))


def _work(flow: Flow, words: Words) -> Iterator[Item]:
    for id, access in flow.access.items():
        yield _step(flow, words, ("access", f"{id}, open"), access.do, access.short, access.cautions)
        shut = words.say("access.shut", do=access.shut)
        yield _step(
            flow, words, ("access", f"{id}, shut"), shut, None, access.shut_cautions or access.cautions
        )
    for id, remedy in flow.remedies.items():
        yield from _steps(flow, words, id, remedy)
    for id, remedy in flow.remedies.items():
        if remedy.proof:
            do = words.say("proof.ask", do=remedy.proof.do)
            yield _step(flow, words, ("proof", id), do, remedy.proof.short, remedy.proof.cautions)


def _steps(flow: Flow, words: Words, id: str, remedy: Remedy) -> Iterator[Item]:
    for n, step in enumerate(remedy.steps, 1):
        do = words.say("step.line", n=f"{n}/{len(remedy.steps)}", do=step.do)
        warned = (*(remedy.cautions if n == 1 else ()), *step.cautions)
        yield _step(flow, words, ("remedy step", f"{id} {n}"), do, step.short, warned)


def _step(
    flow: Flow, words: Words, what: tuple[str, str], do: str, short: str | None, warned: Sequence[str]
) -> Item:
    """A piece of work with its one answer, as the talk puts it."""
    done = (phrases.Option("done", words.say("step.done")),)
    alone = phrases.brief((), short or do, phrases.choices(words, done, ()))
    sent = phrases.working(words, flow, State(), do, done, caution_ids=warned, short=short or "")
    return _item(*what, alone, sent)


# --- conversations --------------------------------------------------------------------------------


def bill(plays: Iterable[Played]) -> Bill:
    """What the bot says in each conversation to those who speak in it, in text messages."""
    whole: list[int] = []
    begun: list[int] = []
    longest: Longest | None = None
    for played in plays:
        said = list(_said(played))
        counts = [segments(one.text) for one in said]
        (begun if stage.opens_case(played.script) else whole).append(sum(counts))
        found = (longest, *said) if longest else said
        longest = max(found, key=lambda one: (segments(one.text), septets(one.text)), default=None)
    return Bill(tuple(whole), tuple(begun), longest)


def _said(played: Played) -> Iterator[Longest]:
    for exchange in played.exchanges:
        speaker = who(exchange.line)
        for message in exchange.messages:
            if message.to in ("", speaker, *exchange.seats):
                yield Longest(played.script.file, message.kind, plain(_tag(message) + in_short(message)))


def _tag(message: Message) -> str:
    """What is to be answered has a tag."""
    return TAG if message.kind == "question" or any(not c.control for c in message.choices) else ""


# --- as it is printed -----------------------------------------------------------------------------


def table(flow: Flow, words: Words) -> list[str]:
    """Septets and messages of every text, by itself and as it is sent; then each kind in one line."""
    found = list(items(flow, words))
    lines = [f"{flow.title} ({flow.flow})", "", "  by itself     as sent", "septets  no  septets  no"]
    for kind in KINDS:
        lines += [f"{_cost(i.alone)}  {_cost(i.sent)}  {kind} {i.id}" for i in found if i.kind == kind]
    return [*lines, "", *_by_kind(found)]


def _cost(text: str) -> str:
    return f"{septets(text):7}  {segments(text):2}"


def _by_kind(found: Sequence[Item]) -> Iterator[str]:
    for kind in KINDS:
        alone = [i.alone for i in found if i.kind == kind]
        sent = [i.sent for i in found if i.kind == kind]
        if alone:
            yield f"{_largest(alone)}  {_largest(sent)}  the longest of {len(alone)}: {kind}"


def _largest(texts: Sequence[str]) -> str:
    return _cost(max(texts, key=lambda text: (segments(text), septets(text))))


def cases(found: Bill) -> Iterator[str]:
    """Text messages per conversation, and the longest message of all in full."""
    kinds = ((found.whole, "from the first words on"), (found.begun, "begun within a case"))
    for counts, which in kinds:
        if counts:
            yield f"{len(counts)} sample conversation{'s' * (len(counts) > 1)} {which}: {_spread(counts)}"
    if found.longest:
        one = found.longest
        count = f"{segments(one.text)} messages, {septets(one.text)} septets"
        yield f"the longest: {count}, {one.kind}, in {Path(one.file).name}"
        for line in one.text.split("\n"):
            yield from textwrap.wrap(line, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _spread(counts: Sequence[int]) -> str:
    """Least, most and median; of one, that one."""
    if len(counts) == 1:
        return f"{counts[0]} messages"
    return f"{min(counts)} to {max(counts)} messages, median {statistics.median(counts):g}"


def run(names: Sequence[str], summary: stage.Summary, brief: stage.Summary) -> int:
    """The command: print it all, flow by flow; `brief` writes the sheet for text messages.

    KeyError for a flow that is not there; FlowError, NoSamples.
    """
    here = shelf.find()
    for n, name in enumerate(names or here.ids()):
        file = Path(name) if rehearse.is_flow_file(name) else here.flow(name)
        made = stage.set_up(file, summary, _paid(brief), conversation.begins_new)
        lint.sound(made.loaded)
        lines = table(made.flow, made.words)
        plays = (play(rehearse.read(path), made) for path in rehearse.named([name]))
        print("\n".join(["", *lines] if n else lines), flush=True)
        print("\n".join(["", *cases(bill(plays))]))
    return 0


def _paid(brief: stage.Summary) -> stage.Receive:
    """The talk as a channel has it that pays by the letter."""

    def receive(desk: Desk, state: State, heard: Heard, now: datetime) -> stage.Said:
        return conversation.receive(replace(desk, brief=brief), state, heard, now)

    return receive
