"""A cause is confirmed: which one, by words of its name or from a list, and how it is known.

What is open is kept in what was asked: the aim (only to confirm it, or to close the case with it), how far it
has come (`list`, `words`, `how`), and what was picked or said so far.
"""

from __future__ import annotations

from typing import Literal

from bot.core import naming, plan
from bot.core.agenda import Next
from bot.core.events import CauseConfirmed, Noted, WasAsked
from bot.core.messages import Message
from bot.core.offers import Chosen, Reading
from bot.core.phrases import Option, plain
from bot.core.reasons import named_cause
from bot.core.spoken import tokens
from bot.core.state import Asked, fold
from bot.core.talk import Talk

After = str
How = Literal["seen", "measured", "gone_after_repair", "judged"]
HOW: tuple[How, ...] = ("seen", "measured", "gone_after_repair", "judged")
HOW_OF_RIDER: tuple[How, ...] = ("seen", "judged")
CONFIRM, CLOSE = "confirm", "close"
LONGEST = 1000  # characters of a cause in words


def cause(talk: Talk, rest: str) -> After:
    """'cause is the drive nut'."""
    if not talk.holds:
        talk.emit(Noted(words=talk.heard.text.strip()[:LONGEST]))
        talk.say("cause.rider")
        return "again"
    if talk.flow is None:
        talk.say("summary.none")
        return "again"
    pick(talk, CONFIRM, rest)
    return ""


# --- which ---------------------------------------------------------------------------------------


def pick(talk: Talk, aim: str, said: str = "") -> None:
    """Ask how the cause is known that the words name; which one it is where they name none or several."""
    names = naming.causes(talk.sure(), talk.state)
    found = naming.meant(said, names, talk.words.spoken)
    if len(found) == 1:
        ask(talk, found[0], aim, "how", "")
    else:
        ask(talk, "0", aim, "list", *(found or names))


def spoken_of(talk: Talk, said: str) -> str:
    """The cause that words name and speak of nothing else; "" when they may mean something else."""
    names = naming.causes(talk.sure(), talk.state)
    found = naming.meant(said, names, talk.words.spoken)
    one = len(found) == 1 and naming.covers(
        said, (*names[found[0]], found[0].replace("-", " ")), talk.words.spoken
    )
    return found[0] if one else ""


def told(talk: Talk) -> bool:
    """'it was the drive nut', where it answers nothing: a mechanic confirms, a rider may close with it."""
    rest = _after_it_was(talk)
    if not rest or talk.flow is None:
        return False
    if talk.holds and naming.meant(rest, naming.causes(talk.sure(), talk.state), talk.words.spoken):
        pick(talk, CONFIRM, rest)
        return True
    found = "" if talk.holds or talk.seat != talk.state.rider else spoken_of(talk, rest)
    if found:
        ask(talk, found, CLOSE, "how", "")
    return bool(found)


def _after_it_was(talk: Talk) -> str:
    """The words behind "it was" and the like; "" where none of that begins the message."""
    said = tokens(talk.heard.text)
    leads = map(tokens, talk.words.lists["it was"])
    n = max((len(lead) for lead in leads if said[: len(lead)] == lead), default=0)
    return " ".join(said[n:]) if n else ""


def ask(talk: Talk, id: str, *extra: str) -> None:
    step = Next("cause", id, tuple(extra))
    talk.emit(WasAsked(seat=talk.seat, what="cause", id=id, extra=step.extra))
    talk.tell(put_cause(talk, step))


def put_cause(talk: Talk, step: Next) -> Message:
    words, flow = talk.words, talk.sure()
    aim, stage, *rest = step.extra
    if stage == "list":
        names = naming.causes(flow, talk.state)
        offered = naming.page(words, [id for id in rest if id in names], names, int(step.id))
        return plain(words, words.say("cause.which"), offered, ("back",))
    if stage == "words":
        return plain(words, words.say("cause.words"), (), ("back",))
    ways = HOW if talk.holds else HOW_OF_RIDER
    options = [Option(how, words.say(f"how.ask.{how}")) for how in ways]
    options.append(Option("other", words.say("cause.other")))
    if aim == CLOSE:
        options.append(Option("keep", words.say("close.keep")))
    name = named_cause(flow, step.id, rest[0])
    key = "cause.how.close" if aim == CLOSE else "cause.how"
    return plain(words, words.say(key, name=name), options, ("back",))


# --- answered ------------------------------------------------------------------------------------


def answer_list(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A cause of the list, another page, none of these, or words of another name."""
    aim = asked.extra[0]
    if not isinstance(reading, Chosen):
        found = naming.meant(talk.heard.text, naming.causes(talk.sure(), talk.state))
        if not found:
            return False
        pick(talk, aim, talk.heard.text)
    elif reading.id in ("next", "first"):
        ask(talk, str(naming.turned(int(asked.id), reading.id)), *asked.extra)
    elif reading.id == "none":
        ask(talk, "", aim, "words")
    else:
        ask(talk, reading.id, aim, "how", "")
    return True


def answer_words(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """What it was, in a sentence."""
    said = talk.heard.text.strip()
    if not tokens(said):
        return False
    ask(talk, "", asked.extra[0], "how", said[:LONGEST])
    return True


def known_how(asked: Asked, reading: Reading) -> How | None:
    """How the picked cause is known, once that is said."""
    told = reading.id if isinstance(reading, Chosen) else ""
    return told if told in HOW else None


def confirm(talk: Talk, cause: str, words: str, how: How) -> None:
    """Kept as the mechanic's word, and told to the rider."""
    talk.emit(CauseConfirmed(cause=cause, words=words, how=how))
    name, known = named_cause(talk.sure(), cause, words), talk.words.say(f"how.{how}")
    talk.say("cause.kept", name=name, how=known)
    for seat in talk.others:
        talk.say_at(seat, "cause.told", name=name, how=known)


# --- what was thought before -----------------------------------------------------------------------


def expected(talk: Talk, cause: str | None) -> dict[str, float]:
    """How likely each cause was held just before this one was confirmed, or mended where that came first.

    Under "" what is not in the list. None, or never confirmed and never mended: how likely they are now.
    """
    state, flow = talk.state, talk.sure()
    since = state.reopened[-1][0] if state.reopened else 0
    seqs = [told.seq for told in state.confirmed if told.event.cause == cause]
    seqs += [seq for seq, done in state.mended if cause in done.causes]
    at = min((seq for seq in seqs if seq > since), default=state.next_seq)
    now = plan.beliefs(flow, fold(entry for entry in state.entries if entry.seq < at))
    return {id: round(now.of(id), 6) for id in flow.causes} | {"": round(now.unlisted, 6)}
