"""At whose seat a step is put: the mechanic works and looks, the rider runs it and looks again.

Rider and mechanic have one case and an open question each. What needs riding is the rider's, whoever did
the work before it. Once he has handed the bike over, nothing else is asked of him but what a mechanic wants
to know.
"""

from __future__ import annotations

from bot.core import following, pause
from bot.core.agenda import Next
from bot.core.events import Ended, Reopened, WasAsked, WatchSet
from bot.core.history import acting
from bot.core.phrases import plain
from bot.core.putting import PUT
from bot.core.settling import upcoming
from bot.core.state import FOLLOWING, OWN_WORDS, WAITING, State
from bot.core.talk import Talk

AT_REST = ("none", "query", *OWN_WORDS)
# Open questions of the rider that a run or a second look takes the place of; any other he answers first.
GIVES_WAY = ("none", "hand_over", "park", *pause.KINDS, *FOLLOWING)


def put(talk: Talk, step: Next) -> None:
    """Put a step to whoever speaks."""
    talk.emit(WasAsked(seat=talk.seat, what=step.what, id=step.id, extra=step.extra))  # type: ignore[arg-type]
    talk.tell(PUT[step.what](talk, step))


def follows(talk: Talk) -> bool:
    """Whether a closed case still has something for the rider to do."""
    ended = talk.state.ended
    closed = ended is not None and ended.how == "closed"
    return closed and not talk.holds and upcoming(talk).what in FOLLOWING


# --- the rider beside a mechanic -------------------------------------------------------------


def rests(talk: Talk, step: Next) -> bool:
    """Whether nothing of the search is asked of the rider now: a mechanic has the bike."""
    if talk.holds or not talk.state.holders or step.what in FOLLOWING:
        return False
    asked = talk.state.asked.get(talk.seat)
    idle = asked is not None and asked.what in AT_REST
    return (idle and _given_away(talk.state)) or _in_work(talk.state)


def _given_away(state: State) -> bool:
    """Handed over or put off, and not come back since."""
    last = [e.event for e in acting(state) if isinstance(e.event, (Ended, Reopened))]
    return bool(last) and isinstance(last[-1], Ended) and last[-1].how in WAITING


def _in_work(state: State) -> bool:
    """Whether a mechanic is at work on it."""
    begun = next((e for e in state.entries if state.work is not None and e.seq == state.work.seq), None)
    return begun is not None and begun.who in state.holders


def rest(talk: Talk) -> None:
    """Nothing is asked at this seat until something comes of it."""
    told = talk.asked is not None and talk.asked.what == "query"
    talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
    if not told:
        talk.say("with_mechanic")


# --- what is the rider's -----------------------------------------------------------------------


def leave_to_rider(talk: Talk, step: Next) -> None:
    """The next step is a run or a second look: the rider is asked, and the mechanic is told so."""
    talk.emit(WasAsked(seat=talk.seat, what="none", id=""))
    key = "riders_turn" if ask(talk, step) else "riders_turn.later"
    talk.say(key, what=following.briefly(talk, step))


def go_on(talk: Talk) -> None:
    """After a mechanic has closed the case: what the rider still has to do is asked of him."""
    ended = talk.state.ended
    if not talk.holds or talk.state.rider == talk.seat or ended is None or ended.how != "closed":
        return
    step = following.of_rider(talk)
    if step is not None:
        ask(talk, step)


def ask(talk: Talk, step: Next) -> bool:
    """Ask the rider from the mechanic's seat; False while his own open question comes first."""
    rider = talk.state.rider
    open_ = talk.state.asked.get(rider)
    if open_ is not None and open_.what not in GIVES_WAY:
        if any(event.kind not in ("heard", "asked", "noted") for event in talk.events):
            talk.say_at(rider, "riders_turn.next", what=following.briefly(talk, step))
        return False
    if open_ is not None and (open_.what, open_.id, open_.extra) == (step.what, step.id, step.extra):
        return True
    if step.what == "second_look" and any(isinstance(e, WatchSet) for e in talk.events):
        say = talk.sure().second_looks[step.id].say
        talk.tell_at(rider, plain(talk.words, talk.words.say("watch.start", say=say), kind="info"))
    talk.emit(WasAsked(seat=rider, what=step.what, id=step.id, extra=step.extra))  # type: ignore[arg-type]
    talk.tell_at(rider, PUT[step.what](talk, step))
    return True
