"""A case is closed: how it came out, what stands on, and what everyone at it is told.

A mechanic's outcome is a confirmed one; a rider's is kept as his word. Closing lifts no stop.
"""

from __future__ import annotations

from collections.abc import Iterator

from bot.core import confirming, following, naming
from bot.core.agenda import Next
from bot.core.confirming import CLOSE, How
from bot.core.events import Ended, OutcomeTold, WasAsked
from bot.core.flow import Flow
from bot.core.history import repairs, sureties
from bot.core.messages import Message
from bot.core.offers import Chosen, Reading
from bot.core.phrases import Option, plain
from bot.core.reasons import named_cause
from bot.core.state import ASIDE, FOLLOWING, Asked, Confirmed, State
from bot.core.stop_words import stop_message
from bot.core.talk import Talk
from bot.core.workshop import WORK

After = str
RESULTS = ("cause", "not_found", "unlisted")


def close(talk: Talk, rest: str) -> After:
    """Say how it came out, or ask for it where that is not clear."""
    if talk.flow is None:
        talk.say("summary.none")
        return "again"
    if not (talk.holds or talk.seat == talk.state.rider):
        talk.say("close.only")
        return "again"
    if talk.state.outcome is not None and talk.state.ended is not None and talk.state.ended.how == "closed":
        talk.say("close.already")
        return ""
    _say_stops(talk)
    sure = confirmed(talk.state) if talk.holds else ()
    if len(sure) == 1:
        _close_with(talk, sure[0])
        return "next"
    step = Next("outcome", "", tuple(str(told.seq) for told in sure))
    talk.emit(WasAsked(seat=talk.seat, what="outcome", id="", extra=step.extra))
    talk.tell(put_outcome(talk, step))
    return ""


def confirmed(state: State) -> tuple[Confirmed, ...]:
    """What mechanics are sure of, the newest word on each cause, since the fault last came back."""
    since = state.reopened[-1][0] if state.reopened else 0
    told = {s.told.event.cause or s.told.event.words: s.told for s in sureties(state) if s.told.seq > since}
    return tuple(told.values())


def _say_stops(talk: Talk) -> None:
    """What stands is said in full, to everyone, before anything is closed."""
    for stop in talk.state.standing:
        message = stop_message(talk, stop.rule)
        talk.tell(message)
        talk.tell_others(message)


# --- how it came out -------------------------------------------------------------------------------


def put_outcome(talk: Talk, step: Next) -> Message:
    """Which of several confirmed causes it was in the main; else whether it was found at all."""
    words, flow, state = talk.words, talk.sure(), talk.state
    if step.extra:
        told = [c for c in state.confirmed if str(c.seq) in step.extra]
        offered = [Option(str(c.seq), named_cause(flow, c.event.cause, c.event.words)) for c in told]
        return plain(words, words.say("close.which"), offered, ("back",))
    offered = [Option(result, words.say(f"close.ask.{result}")) for result in RESULTS]
    offered.append(Option("keep", words.say("close.keep")))
    return plain(words, words.say("close.ask"), offered, ("back",))


def answer_outcome(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        found = confirming.spoken_of(talk, talk.heard.text)
        if found and not asked.extra:
            confirming.ask(talk, found, CLOSE, "how", "")
        return bool(found) and not asked.extra
    if reading.id == "keep":
        talk.say("close.kept")
    elif reading.id == "cause":
        confirming.pick(talk, CLOSE)
    elif reading.id == "unlisted":
        confirming.ask(talk, "", CLOSE, "words")
    elif reading.id == "not_found":
        _finish(talk, OutcomeTold(result="not_found", expected=confirming.expected(talk, None)))
    else:
        _close_with(talk, next(c for c in talk.state.confirmed if str(c.seq) == reading.id))
    return True


def answer_cause(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """What is told of a cause, step by step; in the end it is confirmed, or the case is closed with it."""
    aim, stage, *rest = asked.extra
    if stage == "list":
        return confirming.answer_list(talk, asked, reading)
    if stage == "words":
        return confirming.answer_words(talk, asked, reading)
    how = confirming.known_how(asked, reading)
    if how is not None:
        words = rest[0] if rest else ""
        expected = confirming.expected(talk, asked.id)
        if talk.holds:
            confirming.confirm(talk, asked.id, words, how)
        if aim == CLOSE:
            _finish(talk, _outcome(asked.id, words, how, expected))
    elif isinstance(reading, Chosen) and reading.id == "keep":
        talk.say("close.kept")
    elif isinstance(reading, Chosen) and reading.id == "other":
        confirming.ask(talk, "0", aim, "list", *naming.causes(talk.sure(), talk.state))
    return how is not None or isinstance(reading, Chosen)


def _close_with(talk: Talk, sure: Confirmed) -> None:
    told = sure.event
    _finish(talk, _outcome(told.cause, told.words, told.how, confirming.expected(talk, told.cause)))


def _outcome(cause: str, words: str, how: How, expected: dict[str, float]) -> OutcomeTold:
    result = "cause" if cause else "unlisted"
    return OutcomeTold(result=result, cause=cause, words=words, how=how, expected=expected)  # type: ignore[arg-type]


# --- closed ----------------------------------------------------------------------------------------


def _finish(talk: Talk, outcome: OutcomeTold) -> None:
    """Keep it, ask nobody anything further about the search, and tell all who are at the case."""
    talk.emit(outcome)
    talk.emit(Ended(how="closed"))
    for seat, open_ in talk.state.asked.items():
        if seat != talk.seat and open_.what not in (*ASIDE, *FOLLOWING):
            talk.emit(WasAsked(seat=seat, what="none", id=""))
    role = talk.words.say(f"role.{'mechanic' if talk.holds else 'rider'}")
    by = talk.words.say("close.by", role=role, title=talk.state.title)
    own = [talk.words.say("close.done"), *story(talk, talk.seat)]
    talk.tell(plain(talk.words, "\n".join(own), kind="result"))
    for seat in talk.others:
        talk.tell_at(seat, plain(talk.words, "\n".join([by, *story(talk, seat)]), kind="result"))


def story(talk: Talk, seat: str) -> Iterator[str]:
    """How it came out, what was done, what is still open, what stays barred, which looks are to come."""
    words, flow, state = talk.words, talk.sure(), talk.state
    assert state.outcome is not None
    yield outcome_line(talk, state.outcome)
    if done := list(_work(flow, state)):
        yield words.say("close.work", list="; ".join(done))
    if state.open:
        still = ((flow.access[id].short or flow.access[id].do).rstrip(".") for id in state.open)
        yield words.say("close.open", list="; ".join(still))
    if state.standing:
        stops = [stop_message(talk, stop.rule).text.split("\n")[0] for stop in state.standing]
        yield words.say("close.barred", list=" ".join(stops))
    step = following.of_rider(talk)
    if step is not None:
        key = "close.to_do.you" if seat == state.rider else "close.to_do"
        yield words.say(key, what=following.briefly(talk, step))
    if looks := following.looks_to_come(talk):
        yield words.count("close.looks", looks)


def outcome_line(talk: Talk, outcome: OutcomeTold) -> str:
    """How it came out and how that is known, in one line."""
    words = talk.words
    if outcome.result == "not_found":
        return words.say("outcome.not_found")
    name = named_cause(talk.sure(), outcome.cause, outcome.words)
    return words.say(f"outcome.{outcome.result}", name=name, how=words.say(f"how.{outcome.how}"))


def _work(flow: Flow, state: State) -> Iterator[str]:
    """Remedies by their names, and work in a mechanic's own words."""
    done = dict.fromkeys(repair.remedy for repair in repairs(flow, state) if repair.remedy in flow.remedies)
    yield from (flow.remedies[remedy].name for remedy in done)
    yield from (note.words for _, _, _, note in state.notes if note.about == WORK)
