"""Somebody is hurt: the bike waits, nothing is asked about it, and what is said is kept."""

from __future__ import annotations

from bot.core import stops
from bot.core.agenda import Next
from bot.core.events import StopRaised
from bot.core.messages import Message
from bot.core.phrases import Option, plain, standing_head, standing_line, stop_text
from bot.core.talk import Talk

KINDS = ("pause", "take_up")
WHO = ("other", "rider", "doctor", "wait")


def waits(talk: Talk) -> bool:
    """Whether the bike waits because somebody is hurt."""
    return talk.flow is not None and bool(stops.ending_questions(talk.flow, talk.state))


def put_pause(talk: Talk, step: Next) -> Message:
    """The stop, unless it was said just now, and how the bike is taken up again."""
    words, flow = talk.words, talk.sure()
    said_now = any(isinstance(e, StopRaised) and e.rule == step.id for e in talk.events)
    lines = [] if said_now else [standing_line(words, flow, talk.state)]
    lines.append(words.say("pause.first" if said_now else "pause.again"))
    short = words.say("pause.short")
    if not said_now:
        short = f"{stop_text(words, step.id, flow.stop_rules.get(step.id), short=True)} {short}"
    return plain(words, "\n".join(lines), kind="plan", short=short)


def put_take_up(talk: Talk, step: Next) -> Message:
    words = talk.words
    head = standing_head(words, talk.sure(), talk.state)
    offered = tuple(Option(who, words.say(f"take_up.{who}")) for who in WHO)
    return plain(words, words.say("take_up.ask"), offered, head=head)
