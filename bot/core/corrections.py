"""Which answer a rider wants to change, in his own words, and what to: "change magnet to none"."""

from __future__ import annotations

import re

from bot.core import reasons
from bot.core.agenda import Next
from bot.core.answers import read
from bot.core.forms import likeness
from bot.core.hearing import offer
from bot.core.offers import Reading, Unclear
from bot.core.putting import PUT
from bot.core.spoken import ENGLISH, Spoken, fold, tokens
from bot.core.state import Asked, Told
from bot.core.talk import Talk
from bot.core.told import tried

NAME, ANSWER, QUESTION = 4, 2, 1  # worth of a word in a question's name, in what was answered, in its text


def wish(talk: Talk, spoken: Spoken = ENGLISH) -> str:
    """What is said after "I want to change what I said about", or "" when nothing answered is meant.

    "Change the oil to a thicker one" changes no answer: without "what I said", the new answer must
    be one of the question that is named.
    """
    rest, recalled = _after_the_wish(talk.heard.text, spoken)
    if not rest or talk.flow is None or tried(talk.heard.text, talk.flow, spoken):
        return ""
    told = named(talk, rest, spoken)
    if told is None or not (recalled or not isinstance(new_answer(talk, told, rest, spoken), Unclear)):
        return ""
    return rest


def _after_the_wish(text: str, spoken: Spoken) -> tuple[str, bool]:
    """The words after the wish, and whether an answer was spoken of as such."""
    left = " ".join(re.findall(r"[^\W_]+(?:'[^\W_]+)*|[,;:.]", fold(text))).replace("'", "")
    left = _without(left, spoken.wishing, many=True)
    corrected = _without(left, spoken.correcting)
    if corrected == left:
        return "", False
    recalled = _without(corrected, spoken.recalling)
    return _without(recalled, ("about", "on", "for", "to", "with")), recalled != corrected


def _without(text: str, leads: tuple[str, ...], many: bool = False) -> str:
    """A text without one of these at its beginning, or without any run of them."""
    for lead in sorted(leads, key=len, reverse=True):
        if re.match(rf"{lead}(?!\w)", text):
            left = text[len(lead) :].lstrip(" ,;:.")
            return _without(left, leads, many) if many else left
    return text


def named(talk: Talk, rest: str, spoken: Spoken = ENGLISH) -> Told | None:
    """The answer whose question is named most clearly; of two that are named alike, the newest.

    Words that stand in a question just so ("before anything runs") name it before any others.
    """
    acting = [told for told in talk.state.answers if told.event.form != "note"]
    quoted = [told for told in acting if _quotes(talk, told, rest)]
    if quoted:
        return quoted[-1]
    said = [word for word in tokens(_parted(rest, spoken)[0]) if word not in spoken.small]
    scores = [(_score(talk, told, said, spoken), told.seq, told) for told in acting]
    best = max((each for each in scores if each[0] > 0), key=lambda each: each[:2], default=None)
    return best[2] if best else None


def _quotes(talk: Talk, told: Told, rest: str) -> bool:
    """Whether two words or more stand in the question, or in what was answered, as they were said."""
    said, flow = tokens(rest), talk.sure()
    texts = (flow.asking(told.event.ask).ask, reasons.said(flow, talk.state, told.seq))
    there = [tokens(text) for text in texts]
    n = len(said)
    return n > 1 and any(each[i : i + n] == said for each in there for i in range(len(each)))


def _score(talk: Talk, told: Told, said: list[str], spoken: Spoken) -> int:
    """Each word counts once, by the best place it stands in."""
    flow, id = talk.sure(), told.event.ask
    ask = flow.asking(id)
    names = {*tokens(id.replace("-", " ")), *tokens(ask.short or "")}
    places = (
        (NAME, names), (ANSWER, {*tokens(reasons.said(flow, talk.state, told.seq))}),
        (QUESTION, {*tokens(ask.ask)}),
    )  # fmt: skip
    return sum(
        next((worth for worth, words in places if any(_like(word, each, spoken) for each in words)), 0)
        for word in said
    )


def _like(said: str, meant: str, spoken: Spoken) -> bool:
    return meant not in spoken.small and likeness(said, meant, spoken) is not None


def _parted(rest: str, spoken: Spoken) -> tuple[str, str]:
    """What is changed, and what to: parted at a stop or at "to"."""
    joints = "|".join(re.escape(each) for each in spoken.instead)
    topic, *new = re.split(rf"\s*[,;:.]\s*|\s+(?:{joints})\s+", fold(rest), maxsplit=1)
    return topic, new[0] if new else ""


def new_answer(talk: Talk, told: Told, rest: str, spoken: Spoken = ENGLISH) -> Reading:
    """What the question is to be answered with now, if the words say it."""
    said = _parted(rest, spoken)[1]
    if not said or _quotes(talk, told, rest):
        return Unclear()
    id = told.event.ask
    what = "check" if id in talk.sure().checks else "question"
    asked = Asked(talk.state.next_seq, what, id, "", ())
    return read(said, offer(talk, asked, PUT[what](talk, Next(what, id)).choices), {}, spoken)
