"""A very small talk about the rattling flow, to test plays without the real one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from bot.core import events
from bot.core.desk import Desk
from bot.core.events import Heard
from bot.core.flow import Flow
from bot.core.messages import Choice, Message
from bot.core.state import State

ASKS = ("knock", "magnet")


@dataclass(frozen=True)
class Said:
    events: tuple[Any, ...]
    messages: tuple[Message, ...]


def summary(flow: Flow, state: State, now: datetime) -> str:
    return f"sheet of {flow.title}"


def _put(flow: Flow, ask: str) -> Message:
    answers = flow.questions[ask].answers  # type: ignore[union-attr]
    offered = [Choice(n, a.label, i) for n, (i, a) in enumerate(answers.items(), 1)]
    choices = (*offered, Choice(9, "Not sure", "control:not_sure", control=True))
    text = flow.questions[ask].ask
    grave = flow.cautions["hot-oil"].say if "hot-oil" in flow.access["oil-out"].cautions else ""
    return Message(f"WARNING: {grave}\n{text}" if grave else text, choices=choices, more="Fingers clear.")


def receive(desk: Desk, state: State, heard: Heard, now: datetime) -> Said:
    """First words open the case; a number answers; a true rule stops it; 'bye' ends it; else again."""
    out: list[Any] = [events.WasHeard(heard=heard)]
    said: list[Message] = []
    [flow] = desk.flows.values()
    asked = state.asked.get(heard.who)
    if not state.complaint and not state.flow:
        out += [events.Opened(complaint=heard.text), events.FlowChosen(flow="rattle", hash="h", title="")]
        out.append(events.BikeTaken(bike="", nickname="Goat"))
    elif heard.text == "bye":
        out.append(events.Ended(how="put_off"))
        return Said(tuple(out), (Message(desk.summary(flow, state, now)), Message("to you", to="mechanic")))
    elif asked is not None and heard.text.isdecimal():
        value = list(flow.questions[asked.id].answers)[int(heard.text) - 1]  # type: ignore[union-attr]
        out.append(events.Answered(ask=asked.id, value=(value,), form="one", rank=2))
        shows = flow.questions[asked.id].answers[value].shows  # type: ignore[union-attr]
        for rule, model in flow.stop_rules.items():
            if model.when.all and set(model.when.all) <= set(shows):
                out.append(events.StopRaised(rule=rule, bars=model.bars, because=(state.next_seq + 1,)))
                said.append(Message(f"STOP. {model.say}"))
    done = sum(isinstance(e.event, events.Answered) for e in state.entries)
    done += sum(isinstance(e, events.Answered) for e in out)
    ask = ASKS[min(done, len(ASKS) - 1)]
    out.append(events.WasAsked(seat=heard.who, what="question", id=ask, extra=("nut",)))
    return Said(tuple(out), (*said, _put(flow, ask)))
