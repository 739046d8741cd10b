"""What each answer to each kind of step does to a case. One function per kind of step.

A move gets the talk, what was asked and the reading; it emits events and returns whether the
reading was an answer. It never puts the next question: `conversation.settle` does that.
"""

from __future__ import annotations

from collections.abc import Callable, Collection

from bot.core import plan, reasons, stops
from bot.core.book_bikes import picked
from bot.core.bookkeeping import answer_book, name_its_bike, no_name
from bot.core.claims import hear_complaint
from bot.core.closing import answer_cause, answer_outcome
from bot.core.curing import CURED
from bot.core.events import (
    AfterWork,
    Answered,
    BikeTaken,
    Ended,
    HoursRead,
    LookRound,
    Noted,
    ProofRun,
    Reopened,
    SaidOfRepair,
    SettingTold,
    StopLifted,
    StopRaised,
    TraitTold,
    WatchSet,
    Withdrawn,
)
from bot.core.flow import Asked_, Look, Number, SecondLook, Several
from bot.core.hearing import answer
from bot.core.offers import Chosen, Reading
from bot.core.phrases import plain
from bot.core.queries import answer_query
from bot.core.shares import answer_shares
from bot.core.state import Asked, Told
from bot.core.stop_words import stop_message
from bot.core.stops import DAMAGE_SEEN
from bot.core.taking_up import answer_pause, answer_take_up
from bot.core.talk import Talk
from bot.core.told import pick
from bot.core.units import convert, measure
from bot.core.work import begin_remedy, do_step, open_access, shut_access, tell_point
from bot.core.workshop import answer_lift, answer_repair

Move = Callable[[Talk, Asked, Reading], bool]

AWAY_FROM_HOME = 2400.0  # minutes: what going on without a workshop counts as


def choose_problem(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """The one that was picked, or that his next words speak of."""
    picked = reading.id if isinstance(reading, Chosen) else _spoken_of(talk)
    if not picked:
        return False
    talk.take_flow(picked)
    hear_complaint(talk)
    return True


def _spoken_of(talk: Talk) -> str:
    flow = pick(talk.heard.text, talk.desk.cards, talk.words.spoken).flow
    return next((card.hash for card in talk.desk.cards if card.flow == flow), "")


def name_bike(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A number or name of a known bike, or a new name as it was typed."""
    said = " ".join(talk.heard.text.split())
    known = picked(talk.desk.bikes, said, reading)
    if known:
        talk.emit(known.taken())
    elif wrong := no_name(talk, said):
        talk.say(wrong, said=said)
        return True
    else:
        talk.emit(BikeTaken(bike="", nickname=said))
    talk.say("bike.taken", name=talk.state.nickname)
    past = known.past if known else None
    if past is not None:
        how = talk.words.say(f"ended.{past.ended}") if past.ended else talk.words.say("ended.open")
        talk.say("bike.past", title=past.title, complaint=past.complaint, how=how, date=past.at[:10])
    return True


def tell_trait(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    talk.emit(TraitTold(trait=asked.id, answer=reading.id))
    return True


def tell_setting(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """One of the answers offered, or a time in the rider's own words."""
    in_minutes = asked.id in ("minutes_left", "giving_up")
    value: str | float | bool | None = reading.id if isinstance(reading, Chosen) else None
    if in_minutes:
        value = float(value) if value else minutes_of(talk, talk.heard.text)
    elif asked.id == "must_ride" and value is not None:
        value = value == "yes"
    if value is None:
        return False
    talk.emit(SettingTold(setting=asked.id, value=value))
    if asked.id == "giving_up":
        talk.say("giving_up.set", minutes=f"{value:.0f}")
    return True


def minutes_of(talk: Talk, text: str) -> float | None:
    """A time with its unit, in minutes; None where there is none."""
    said = measure(text, spoken=talk.words.spoken)
    if said is None or not said.unit:
        return None
    return convert(said.high, said.unit, "min")


def answer_ask(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A finding; a number from a meter is kept as a reading too."""
    found = answer(talk, asked.id, reading, asked.seq)
    if found is None:
        return False
    flow = talk.sure()
    before = talk.state.told(asked.id)
    talk.emit(found)
    _tell_of_each_other(talk, asked, before)
    ask = flow.asking(asked.id)
    if isinstance(ask, Number) and ask.meter and found.number:
        talk.emit(HoursRead(low=found.number[0], high=found.number[1]))
    if is_other_damage(ask, found.value):
        because = (talk.state.next_seq - 1,)
        talk.emit(StopRaised(rule=DAMAGE_SEEN, bars=("running", "riding"), because=because))
        message = stop_message(talk, DAMAGE_SEEN)
        talk.tell(message)
        talk.tell_others(message)
    return True


def is_other_damage(ask: Asked_, value: Collection[str]) -> bool:
    """Whether an answer is 'bad, but something else'; where that is not offered, a mark may be called so."""
    return "other" in value and isinstance(ask, (Look, Several)) and ask.other_damage


def _tell_of_each_other(talk: Talk, asked: Asked, before: Told | None) -> None:
    """Who is asked the same is told what was found, and so is who answered it meanwhile (D12)."""
    found = reasons.said(talk.sure(), talk.state, talk.state.answers[-1].seq)
    role = talk.words.say(f"role.{talk.heard.role}")
    for seat in talk.others:
        open_ = talk.state.asked.get(seat)
        if open_ is not None and open_.what in ("question", "check") and open_.id == asked.id:
            talk.say_at(seat, "meanwhile.open", role=role, found=found)
        elif before is not None and before.who == seat and before.seq > asked.seq:
            talk.say_at(seat, "meanwhile", role=role, found=found)


def run_proof(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    remedy = talk.sure().remedies.get(asked.id)
    minutes = remedy.proof.minutes if remedy and remedy.proof else plan.PROOF_MINUTES
    talk.emit(ProofRun(remedy=asked.id, minutes=minutes))
    return True


def take_as_cured(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """His word that it has cured, or that what he used needs less time, is kept and counts."""
    if not isinstance(reading, Chosen):
        return False
    said = talk.heard.text.strip()[:300] or talk.words.say("cure.cured")
    talk.emit(Noted(words=said, about=f"{CURED}{asked.id}"))
    return True


def say_held(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Gone: the second looks begin, or the case is closed. Same: the search goes on."""
    if not isinstance(reading, Chosen):
        return False
    talk.emit(SaidOfRepair(word=reading.id))  # type: ignore[arg-type]
    _tell_holders(talk, f"held.told.{reading.id}")
    if reading.id == "gone":
        remedy = talk.sure().remedies.get(asked.id)
        watch_or_end(talk, remedy.second_look if remedy else None, asked.id)
    return True


def _tell_holders(talk: Talk, key: str) -> None:
    """What became of it is told to the mechanic who holds the case."""
    for seat in talk.state.holders:
        if seat != talk.seat:
            talk.say_at(seat, key)


def watch_or_end(talk: Talk, plan_id: str | None, remedy: str) -> None:
    """The second looks begin, or the case is at rest; not while a stop stands that they would not lift."""
    plan_id = plan_id or after_a_stop(talk)
    if plan_id is None and talk.state.of_the_bike:
        talk.say("proved.stopped")
        return
    if plan_id is None:
        talk.emit(Ended(how="proved"))
        talk.say("proved", name=talk.state.nickname or talk.state.title)
        return
    begin_looks(talk, plan_id, remedy)


def begin_looks(talk: Talk, plan_id: str, remedy: str = "") -> None:
    """A plan of second looks begins: what it is for, and on what its line stands."""
    talk.emit(WatchSet(plan=plan_id, index=0, for_remedy=remedy, from_hours=_hours(talk)))
    second = talk.sure().second_looks[plan_id]
    talk.say("watch.start", say=second.say)
    talk.tell(plain(talk.words, basis_line(talk, second), kind="info"))


def basis_line(talk: Talk, second: SecondLook) -> str:
    """Whether the line of a plan is sourced, borrowed or practice."""
    source = talk.sure().sources[second.source].title if second.source else ""
    return talk.words.say(f"watch.basis.{second.basis}", source=source)


def after_a_stop(talk: Talk) -> str | None:
    """The looks that a stop wants after it was cleared, if one named them and none was made yet."""
    rules = talk.sure().stop_rules
    made = {judged.plan for _, judged in talk.state.judged}
    lifted = [rules[s.rule].second_look for s in talk.state.stops if s.lifted_by and s.rule in rules]
    return next((p for p in reversed(lifted) if p is not None and p not in made), None)


def _hours(talk: Talk) -> float | None:
    return talk.state.hours[1] if talk.state.hours else None


def tell_after_work(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    remedy, _, sign = asked.id.partition("/")
    talk.emit(AfterWork(remedy=remedy, sign=sign, bad=reading.id == "bad"))
    return True


def begin_look(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """The bike was run and looked at: its questions are put anew. A number is the running hours."""
    if isinstance(reading, Chosen) and reading.id == "back":
        come_back(talk)
        return True
    minutes = minutes_of(talk, talk.heard.text)
    if not isinstance(reading, Chosen) and minutes is None:
        return False
    look = talk.sure().second_looks[asked.id].looks[int(asked.extra[0])]
    planned = look.after_hours if look.after_hours is not None else (look.after_minutes or 0) / 60
    hours = planned if minutes is None else minutes / 60
    talk.emit(LookRound(plan=asked.id, index=int(asked.extra[0]), ran_hours=hours))
    return True


def come_back(talk: Talk) -> None:
    """The rider's own word that it is back."""
    last = talk.state.mended[-1][1].remedy if talk.state.mended else ""
    if last:
        talk.emit(SaidOfRepair(word="came_back"))
    talk.emit(Reopened(why="came_back", remedy=last))
    talk.say("watch.reopened")
    _tell_holders(talk, "held.told.came_back")


def answer_park(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    if reading.id == "garage":
        talk.emit(SettingTold(setting="place", value="garage"))
        talk.emit(SettingTold(setting="kit", value=""))
    else:
        talk.emit(Ended(how="parked"))
        talk.say("parked")
    return True


def answer_hand_over(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    if reading.id == "yes":
        hand_over(talk)
    else:
        talk.emit(SettingTold(setting="giving_up", value=AWAY_FROM_HOME))
        talk.say("giving_up.set", minutes=f"{AWAY_FROM_HOME:.0f}")
    return True


def hand_over(talk: Talk) -> None:
    """To the mechanic, with a sheet; at a mechanic's seat on to another workshop."""
    talk.emit(Ended(how="handed_over"))
    talk.say("hand_over.referred" if talk.holds else "hand_over.done")
    reasons.summarise(talk)
    for seat in talk.others if talk.state.holders else ():
        talk.say_at(seat, "hand_over.told", role=talk.words.say(f"role.{talk.heard.role}"))


def answer_which(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    if asked.id == "change":
        take_back(talk, (int(reading.id),))
    elif asked.id == "conflict":
        _decide(talk, *map(int, asked.extra if reading.id == "second" else asked.extra[::-1]))
    else:
        _name_damage(talk, reading.id)
    return True


def _decide(talk: Talk, loser: int, winner: int) -> None:
    """What is not right is taken back; of someone else only what ranks no higher (D4)."""
    told = {t.seq: t for t in talk.state.answers}
    lost, right = told.get(loser), told.get(winner)
    if lost is None or right is None:  # one of them was taken back meanwhile
        return
    names = {"lost": reasons.said(talk.sure(), talk.state, loser)}
    names["right"] = reasons.said(talk.sure(), talk.state, winner)
    role = talk.words.say(f"role.{talk.heard.role}")
    if lost.who == talk.seat:
        talk.emit(Withdrawn(entries=(loser,)))
    elif lost.event.rank > right.event.rank:
        talk.say("which.both", role=talk.words.say(f"role.{lost.role}"), **names)
        talk.say_at(lost.who, "which.doubts", role=role, **names)
    else:
        talk.emit(Withdrawn(entries=(loser,)))
        talk.say_at(lost.who, "which.told", role=role, **names)


def _name_damage(talk: Talk, cause: str) -> None:
    causes = talk.sure().causes
    if cause in causes:
        talk.emit(Noted(words=talk.words.say("damage.seen", words=causes[cause].name), about=DAMAGE_SEEN))
    else:
        talk.emit(Noted(words="", about=DAMAGE_SEEN))
        talk.say("which.damage.words")


def take_back(talk: Talk, entries: tuple[int, ...]) -> None:
    first = next((t for t in talk.state.answers if t.seq in entries), None)
    what = reasons.said(talk.sure(), talk.state, first.seq) if first else ""
    talk.emit(Withdrawn(entries=entries))
    if what:
        talk.say("took_back", what=what)


def answer_slip(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A slip lifts the stop that it raised; the record keeps both."""
    if not isinstance(reading, Chosen):
        return False
    if reading.id != "yes":
        talk.say("stop.stays")
        return True
    entry = int(asked.extra[0])
    lifted = [s.rule for s in talk.state.standing if entry in s.because]
    take_back(talk, (entry,))
    for rule in lifted:
        talk.emit(StopLifted(rule=rule, by="slip"))
    talk.say("stop.slipped")
    return True


def answer_confirm(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Yes: what was understood becomes findings told unprompted."""
    if not isinstance(reading, Chosen):
        return False
    if reading.id == "yes":
        for claim in asked.extra:
            reasons.record_claim(talk, claim)
    else:
        talk.say("confirm.none")
    return True


MOVES: dict[str, Move] = {
    "problem": choose_problem,
    "bike": name_bike,
    "trait": tell_trait,
    "setting": tell_setting,
    "question": answer_ask,
    "check": answer_ask,
    "access": open_access,
    "remedy": begin_remedy,
    "step": do_step,
    "point": tell_point,
    "shut": shut_access,
    "cure": take_as_cured,
    "proof": run_proof,
    "held": say_held,
    "after_work": tell_after_work,
    "second_look": begin_look,
    "park": answer_park,
    "hand_over": answer_hand_over,
    "which": answer_which,
    "slip": answer_slip,
    "confirm": answer_confirm,
    "book": answer_book,
    "book_bike": name_its_bike,
    "shares": answer_shares,
    "query": answer_query,
    "cause": answer_cause,
    "repair": answer_repair,
    "lift": answer_lift,
    "outcome": answer_outcome,
    "pause": answer_pause,
    "take_up": answer_take_up,
}


def conflict(talk: Talk, new: Answered, seq: int) -> tuple[int, int] | None:
    """An earlier answer that says the opposite of the newest one, or None.

    Of one person only another rank counts: what he says anew to the same question is a correction. Of the
    rider and a mechanic any answers may contradict each other.
    """
    flow, state = talk.sure(), talk.state
    said = dict(stops.told(flow, new))
    newest = {(told.who, told.event.ask): told for told in state.answers if told.seq != seq}
    for told in newest.values():
        others = (told.role == "mechanic") != (talk.heard.role == "mechanic")
        if not others and (told.event.rank == new.rank or told.event.ask == new.ask):
            continue
        if (told.slice, told.round) != (state.slice, state.round):
            continue
        if any(said.get(sign) is (not value) for sign, value in stops.told(flow, told.event)):
            return told.seq, seq
    return None
