"""The bike is taken up again after somebody was hurt: by a clear word, and who it is is asked once.

Somebody else goes on with it, who may run the engine; or the one who was hurt, for whom all stays barred; or
a doctor has looked, which lifts the stop. All three are kept.
"""

from __future__ import annotations

from bot.core import stops
from bot.core.agenda import Next
from bot.core.claims import claims, hurts
from bot.core.events import StopLifted, TakenUp, WasAsked
from bot.core.offers import Chosen, Reading
from bot.core.pause import put_take_up, waits
from bot.core.phrases import stop_text
from bot.core.spoken import tokens
from bot.core.state import Asked
from bot.core.talk import Talk

DENIED = frozenset({"not", "no", "never", "cant", "cannot", "isnt", "hasnt", "wont", "dont", "nobody"})
SENTENCE = 3  # words from which on a phrase counts inside a longer sentence, too
SAID = 300  # characters that are kept of the clear word


def answer_pause(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A clear word to go on with the bike; anything else is no answer."""
    return hear(talk)


def hear(talk: Talk) -> bool:
    """Whether a clear word to go on with the bike was said while it waits; then it is asked who goes on."""
    if not (waits(talk) and _takes_up(talk)):
        return False
    rule = stops.ending_questions(talk.sure(), talk.state)[0].rule
    step = Next("take_up", rule, (talk.heard.text.strip()[:SAID],))
    talk.emit(WasAsked(seat=talk.seat, what="take_up", id=step.id, extra=step.extra))
    talk.tell(put_take_up(talk, step))
    return True


def _takes_up(talk: Talk) -> bool:
    """A phrase by itself, or a longer one within a sentence that denies nothing."""
    said = tokens(talk.heard.text)
    if DENIED & set(said):
        return False
    for phrase in map(tokens, talk.words.lists["take_up"]):
        places = range(len(said) - len(phrase) + 1) if len(phrase) >= SENTENCE else range(0)
        if said == phrase or any(said[i : i + len(phrase)] == phrase for i in places):
            return True
    return False


def answer_take_up(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Who goes on with the bike; or nobody yet."""
    if not isinstance(reading, Chosen):
        return False
    rules = tuple(stop.rule for stop in stops.ending_questions(talk.sure(), talk.state))
    said = asked.extra[0] if asked.extra else ""
    if reading.id == "wait" or not rules:
        return True
    told = _told_meanwhile(talk)
    if reading.id == "doctor":
        _lift(talk, rules, said)
    else:
        talk.emit(TakenUp(rules=rules, by=reading.id, words=said))  # type: ignore[arg-type]
        talk.say(f"take_up.by.{reading.id}")
        talk.tell_others(talk.messages[-1])
    talk.unsaid = told
    return True


def _lift(talk: Talk, rules: tuple[str, ...], said: str) -> None:
    for rule in rules:
        talk.emit(StopLifted(rule=rule, by="doctor", words=said))
        text = stop_text(talk.words, rule, talk.sure().stop_rules.get(rule), short=True)
        talk.say("stop.lifted", by=talk.words.say("take_up.by.doctor"), say=text)
        talk.tell_others(talk.messages[-1])


def _told_meanwhile(talk: Talk) -> tuple[str, ...]:
    """What the first words and the notes since tell of the bike and nobody was asked to confirm yet."""
    flow, state = talk.sure(), talk.state
    since = min((s.seq for s in stops.ending_questions(flow, state)), default=0)
    asked = any(isinstance(e.event, WasAsked) and e.event.what == "confirm" for e in state.entries)
    texts = [] if asked else [state.complaint]
    texts += [note.words for seq, _, _, note in state.notes if seq >= since - 1]
    found = [claim for text in texts for claim in claims(flow, talk, text)]
    return tuple(dict.fromkeys(claim for claim in found if not hurts(flow, claim)))
