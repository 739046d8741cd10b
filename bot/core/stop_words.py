"""What is said of a stop: what it bars and why, and what lifts it."""

from __future__ import annotations

from bot.core.events import StopRaised
from bot.core.flow import Flow
from bot.core.messages import Message, Signal
from bot.core.phrases import plain, stop_text
from bot.core.talk import Talk
from bot.core.words import Words

NAMED = 3  # looks that lift a stop, by name; the others are counted


def raise_stop(talk: Talk, rule: str, because: tuple[int, ...]) -> None:
    """Keep that a rule is true now, and say it to everybody at the case."""
    talk.emit(StopRaised(rule=rule, bars=talk.sure().stop_rules[rule].bars, because=because))
    message = stop_message(talk, rule)
    talk.tell(message)
    talk.tell_others(message)


def stop_message(talk: Talk, rule: str) -> Message:
    """What is said when a stop is raised, with what lifts it."""
    flow, words = talk.sure(), talk.words
    model = flow.stop_rules.get(rule)
    lines = [stop_text(words, rule, model)]
    if model is not None:
        if model.why:
            lines.append(model.why)
        lines.append(lifting_line(talk, rule))
    short = stop_text(words, rule, model, short=True)
    signal: Signal = "danger" if model is None or "running" in model.bars else "warning"
    return plain(words, "\n".join(x for x in lines if x), kind="stop", signal=signal, short=short)


def lifting_line(talk: Talk, rule: str) -> str:
    """What lifts a stop, in words."""
    flow, words = talk.sure(), talk.words
    cleared = flow.stop_rules[rule].cleared_by
    if cleared.by == "doctor":
        return words.say("stop.only_doctor")
    if cleared.by == "mechanic":
        return words.say("stop.only_mechanic")
    alls, anys = (_clearing_names(flow, wanted) for wanted in (cleared.all, cleared.any))
    if alls and anys:
        return words.say("stop.lifts.both", all="; ".join(alls), what=_named(words, anys))
    key = "stop.lifts" if anys or len(alls) == 1 else "stop.lifts.all"
    return words.say(key, what=_named(words, anys or alls)) if anys or alls else ""


def _clearing_names(flow: Flow, wanted: tuple[str, ...]) -> list[str]:
    """Looks, then remedies, as they are called."""
    looks = [flow.asking(n.partition(".")[0]).called for n in wanted if "." in n]
    return list(dict.fromkeys((*looks, *(flow.remedies[n].name for n in wanted if "." not in n))))


def _named(words: Words, names: list[str]) -> str:
    more = words.count("stop.lifts.more", len(names) - NAMED) if len(names) > NAMED else ""
    return "; ".join(names[:NAMED]) + more
