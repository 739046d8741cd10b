"""Free words: the flow that they speak of, what they tell, and the one confirmation before it acts.

A claim is one told answer as text: 'ask=value', 'ask=mark,mark', 'ask=#low:high' for a number,
'trait:id=answer'. It is kept in what was asked, so that a confirmation can be resumed.
"""

from __future__ import annotations

from dataclasses import replace

from bot.core import stops
from bot.core.agenda import Next
from bot.core.answers import led
from bot.core.events import Noted, Opened, WasAsked
from bot.core.flow import Flow, Several
from bot.core.hearing import offer
from bot.core.offers import Chosen, Reading, Ticked, Unclear
from bot.core.plan import known
from bot.core.putting import PUT
from bot.core.reasons import claimed
from bot.core.spoken import tokens
from bot.core.state import Asked, State
from bot.core.state import Told as Acting
from bot.core.stop_words import raise_stop
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
    for told in listen(text, index(flow, talk.words.spoken), talk.words.spoken):
        claim = claim_of(told)
        if NONE_OF_THESE in told.value_ids:
            continue
        trait = told.ask.removeprefix("trait:")
        if told.ask.startswith("trait:") and known(talk.state).get(trait) in told.value_ids:
            continue
        answered = talk.state.told(told.ask)
        same = answered and answered.event.value == told.value_ids and answered.slice == talk.state.slice
        if same and not _hurt_anew(flow, talk, claim):
            continue
        out.append(claim)
    return tuple(dict.fromkeys(out))


def _hurt_anew(flow: Flow, talk: Talk, claim: str) -> bool:
    """Somebody is hurt once more, after the bike was taken up or a doctor had looked."""
    return hurts(flow, claim) and not stops.ending_questions(flow, talk.state)


def hear_first(talk: Talk) -> None:
    """The first words: kept as the complaint, and the flow is picked when one clearly leads."""
    text = talk.heard.text.strip()
    talk.emit(Opened(complaint=text[:1000]))
    if not talk.state.hash:
        picked = pick(text, talk.desk.cards, talk.words.spoken)
        hashes = [c.hash for c in talk.desk.cards if c.flow == picked.flow]
        if not hashes:
            return
        talk.take_flow(hashes[0])
    hear_complaint(talk)


def hear_complaint(talk: Talk) -> None:
    """What the complaint tells is read back for a yes; a stop that it makes true is said at once."""
    found = claims(talk.sure(), talk, talk.state.complaint)
    if found:
        talk.unsaid = _stop_at_once(talk, found)


def warn_at_once(talk: Talk) -> tuple[str, ...]:
    """Stops that words for something else than the case make true are said all the same; the rest."""
    return _stop_at_once(talk, claims(talk.flow, talk, talk.heard.text)) if talk.flow is not None else ()


def hear_beside(talk: Talk, asked: Asked) -> None:
    """What such words tell of the case joins what waits for its yes, where nothing was said of it yet."""
    told = {claim.partition("=")[0] for claim in asked.extra}
    more = [claim for claim in warn_at_once(talk) if claim.partition("=")[0] not in told]
    if asked.what == "confirm" and more:
        talk.emit(WasAsked(seat=talk.seat, what="confirm", id=asked.id, extra=(*asked.extra, *more)))


def _stop_at_once(talk: Talk, found: tuple[str, ...]) -> tuple[str, ...]:
    """Stops that the claims alone make true are raised before the claims act; those are left to confirm.

    That somebody is hurt is taken at once, as nothing is put to a yes while the questions rest.
    """
    flow = talk.sure()
    hurt = tuple(claim for claim in found if hurts(flow, claim))
    for claim in hurt:
        ask, _, value = claim.partition("=")
        talk.emit(claimed(flow, ask, value, talk.heard.text))
    left = tuple(claim for claim in found if claim not in hurt)
    raised = dict(stops.newly_true(flow, _imagined(talk, left)))
    for rule in stops.gravest_first(flow, raised):
        raise_stop(talk, rule, raised[rule])
    return left


def hurts(flow: Flow, claim: str) -> bool:
    """Whether a claim shows by itself what a rule about a person wants."""
    ask, _, value = claim.partition("=")
    if ask.startswith("trait:"):
        return False
    said = stops.told(flow, claimed(flow, ask, value, ""))
    shown = {sign: stops.Seen((stops.NOT_YET,)) for sign, so in said if so}
    persons = (rule for rule in flow.stop_rules.values() if rule.ends_questions)
    return any(stops.reasons(flow, rule, shown) is not None for rule in persons)


def _imagined(talk: Talk, found: tuple[str, ...]) -> State:
    """The case as it would be if these claims were true."""
    flow, state = talk.sure(), talk.state
    acting = list(state.answers)
    for claim in found:
        ask, _, value = claim.partition("=")
        if not ask.startswith("trait:"):
            event = claimed(flow, ask, value, "")
            acting.append(
                Acting(state.next_seq, "", talk.seat, talk.heard.role, state.slice, event, state.round)
            )
    return replace(state, answers=tuple(acting))


def told_of_the_open(talk: Talk, asked: Asked) -> Reading:
    """Words that tell of the open question and of nothing else are its answer: no need to confirm.

    At a point of the closing list 'no' counts whatever follows it; 'yes, but ...' does not.
    """
    if asked.what == "point" and tokens(talk.heard.text)[:1] in map(tokens, talk.words.lists["no"]):
        return Chosen("no")
    flow = talk.sure() if asked.what in ("question", "check", "trait") else None
    if flow is None or tried(talk.heard.text, flow, talk.words.spoken):
        return _with_remark(talk, asked)
    told = listen(talk.heard.text, index(flow, talk.words.spoken), talk.words.spoken)
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
    answer = led(talk.heard.text, offer(talk, asked, shown), talk.words.spoken)
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
    cures = tried(text, flow, talk.words.spoken) or wondered(text, flow, talk.words.spoken)
    for cure in cures:
        talk.say("false_cure", say=flow.false_cures[cure].say)
    found = claims(flow, talk, text)
    if found or cures:
        talk.emit(Noted(words=text[:1000]))
    if not found:
        return bool(cures)
    talk.unsaid = _stop_at_once(talk, found)
    return True


def unsaid(talk: Talk) -> Next | None:
    """The confirmation that waits, if words told something in this turn."""
    return Next("confirm", "told", talk.unsaid) if talk.unsaid else None
