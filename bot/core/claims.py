"""Free words: the flow that they speak of, what they tell, and the one confirmation before it acts.

A claim is one told answer as text: 'ask=value', 'ask=mark,mark', 'ask=#low:high' for a number,
'trait:id=answer'. It is kept in what was asked, so that a confirmation can be resumed.
"""

from __future__ import annotations

from dataclasses import replace

from bot.core import stops
from bot.core.agenda import Next
from bot.core.answers import led
from bot.core.events import Noted, Opened, StopRaised
from bot.core.flow import Flow, Several
from bot.core.hearing import offer
from bot.core.offers import Chosen, Reading, Ticked, Unclear
from bot.core.plan import known
from bot.core.putting import PUT
from bot.core.reasons import claimed
from bot.core.spoken import tokens
from bot.core.state import Asked
from bot.core.state import Told as Acting
from bot.core.stop_words import stop_message
from bot.core.talk import Talk
from bot.core.told import NONE_OF_THESE, Told, index, listen, pick, tried, wondered

# What a yes or no with a remark may answer. A point of the closing list is stricter, see below.
REMARKED = ("question", "check", "trait", "setting", "access", "remedy")


def claim_of(told: Told) -> str:
    if told.quantity is not None:
        return f"{told.ask}=#{told.quantity.low:g}:{told.quantity.high:g}"
    return f"{told.ask}={','.join(told.value_ids)}"


def claims(flow: Flow, talk: Talk, text: str) -> tuple[str, ...]:
    """What words tell that is not known yet, in the order in which it was said."""
    out = []
    for told in listen(text, index(flow)):
        claim = claim_of(told)
        if NONE_OF_THESE in told.value_ids:
            continue
        trait = told.ask.removeprefix("trait:")
        if told.ask.startswith("trait:") and known(talk.state).get(trait) in told.value_ids:
            continue
        answered = talk.state.told(told.ask)
        if answered and answered.event.value == told.value_ids and answered.slice == talk.state.slice:
            continue
        out.append(claim)
    return tuple(dict.fromkeys(out))


def hear_first(talk: Talk) -> None:
    """The first words: kept as the complaint, and the flow is picked when one clearly leads."""
    text = talk.heard.text.strip()
    talk.emit(Opened(complaint=text[:1000]))
    if not talk.state.hash:
        picked = pick(text, talk.desk.cards)
        hashes = [c.hash for c in talk.desk.cards if c.flow == picked.flow]
        if not hashes:
            return
        talk.take_flow(hashes[0])
    hear_complaint(talk)


def hear_complaint(talk: Talk) -> None:
    """What the complaint tells is read back for a yes; a stop that it makes true is said at once."""
    found = claims(talk.sure(), talk, talk.state.complaint)
    if found:
        _stop_at_once(talk, found)
        talk.unsaid = found


def warn_at_once(talk: Talk) -> None:
    """Stops that words for something else than the case make true are said all the same."""
    if talk.flow is not None:
        _stop_at_once(talk, claims(talk.flow, talk, talk.heard.text))


def _stop_at_once(talk: Talk, found: tuple[str, ...]) -> None:
    """Stops that the claims alone make true are raised before the claims act on the odds."""
    flow, state = talk.sure(), talk.state
    acting = list(state.answers)
    for claim in found:
        ask, _, value = claim.partition("=")
        if not ask.startswith("trait:"):
            event = claimed(flow, ask, value, "")
            acting.append(
                Acting(state.next_seq, "", talk.seat, talk.heard.role, state.slice, event, state.round)
            )
    imagined = replace(state, answers=tuple(acting))
    for rule, because in stops.newly_true(flow, imagined):
        talk.emit(StopRaised(rule=rule, bars=flow.stop_rules[rule].bars, because=because))
        message = stop_message(talk, rule)
        talk.tell(message)
        talk.tell_others(message)


def told_of_the_open(talk: Talk, asked: Asked) -> Reading:
    """Words that tell of the open question and of nothing else are its answer: no need to confirm.

    At a point of the closing list 'no' counts whatever follows it; 'yes, but ...' does not.
    """
    if asked.what == "point" and tokens(talk.heard.text)[:1] in map(tokens, talk.words.lists["no"]):
        return Chosen("no")
    flow = talk.sure() if asked.what in ("question", "check", "trait") else None
    if flow is None or tried(talk.heard.text, flow):
        return _with_remark(talk, asked)
    told = listen(talk.heard.text, index(flow))
    if len(told) != 1 or told[0].ask.removeprefix("trait:") != asked.id or told[0].quantity:
        return _with_remark(talk, asked)
    ids = told[0].value_ids
    if asked.what != "trait" and isinstance(flow.asking(asked.id), Several):
        return Ticked(frozenset(ids) - {NONE_OF_THESE}, NONE_OF_THESE in ids)
    return Chosen(ids[0]) if len(ids) == 1 else Unclear()


def _with_remark(talk: Talk, asked: Asked) -> Reading:
    """'no, we have a van': the answer; the remark is kept, and what it tells is read back."""
    if asked.what not in REMARKED:
        return Unclear()
    shown = PUT[asked.what](talk, Next(asked.what, asked.id, asked.extra)).choices
    answer = led(talk.heard.text, offer(talk, asked, shown))
    if answer is None:
        return Unclear()
    if talk.flow is None or not listen_again(talk):
        talk.emit(Noted(words=talk.heard.text[:1000], about=f"{asked.what}:{asked.id}"))
    own = (f"{asked.id}=", f"trait:{asked.id}=")
    talk.unsaid = tuple(claim for claim in talk.unsaid if not claim.startswith(own))
    return answer


def listen_again(talk: Talk) -> bool:
    """Words later in the talk that are no answer: a false cure, or findings told unprompted."""
    if talk.flow is None:
        return False
    text = talk.heard.text
    flow = talk.sure()
    cures = tried(text, flow) or wondered(text, flow)
    for cure in cures:
        talk.say("false_cure", say=flow.false_cures[cure].say)
    found = claims(flow, talk, text)
    if found or cures:
        talk.emit(Noted(words=text[:1000]))
    if not found:
        return bool(cures)
    _stop_at_once(talk, found)
    talk.unsaid = found
    return True


def unsaid(talk: Talk) -> Next | None:
    """The confirmation that waits, if words told something in this turn."""
    return Next("confirm", "told", talk.unsaid) if talk.unsaid else None
