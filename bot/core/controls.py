"""Words that always work. Each takes the talk and what was said after it, and returns what is put
then: "next" (the next step), "again" (the same question), or "" (nothing more)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Literal

from bot.core import (
    bookkeeping,
    closing,
    confirming,
    corrections,
    frame_number,
    holding,
    moves,
    plan,
    queries,
    reasons,
    shares,
    stops,
    work,
    workshop,
)
from bot.core.agenda import Next
from bot.core.curing import CURED
from bot.core.events import (
    Answered,
    Ended,
    Noted,
    SettingTold,
    Skipped,
    StopLifted,
    TraitTold,
    WasAsked,
    WasHeard,
    WentOn,
    Withdrawn,
)
from bot.core.messages import Message
from bot.core.offers import Chosen, Unclear
from bot.core.phrases import plain
from bot.core.putting import PUT
from bot.core.settling import upcoming
from bot.core.spoken import tokens
from bot.core.state import OWN_WORDS, Asked, Told
from bot.core.stop_words import stop_message
from bot.core.talk import Talk
from bot.core.units import measure

After = str
MOVING = frozenset({
    "answered", "skipped", "trait_told", "setting_told", "access_opened", "access_shut", "remedy_begun",
    "work_left", "step_done", "point_told", "mended", "after_work", "proof_run", "said_of_repair",
    "watch_set", "look_round", "look_judged", "hours_read", "bike_taken", "reopened", "stop_lifted", "ended",
    "cause_confirmed", "vin_told", "outcome_told", "taken_up",
})  # fmt: skip


def pending(talk: Talk) -> Next | None:
    """What a slip had answered is put again; a contradiction, or damage without a name, is asked once."""
    if talk.flow is None or not talk.events:
        return None
    if (slipped := _slipped(talk)) is not None:
        return slipped
    newest = next((e for e in reversed(talk.state.entries) if isinstance(e.event, Answered)), None)
    if newest is None or newest.event not in talk.events or newest.seq in talk.state.withdrawn:
        return None
    look = talk.sure().checks.get(newest.event.ask)
    if look is not None and moves.is_other_damage(look, newest.event.value):
        return Next("which", "damage", _sharing(talk, newest.event.ask))
    pair = moves.conflict(talk, newest.event, newest.seq)
    if pair is None or _asks_of(talk, pair) in _conflicts_asked(talk):
        return None
    return Next("which", "conflict", (str(pair[0]), str(pair[1])))


def _asks_of(talk: Talk, seqs: Iterable[int]) -> frozenset[str]:
    """The questions that these entries answered."""
    wanted = set(seqs)
    told = [e.event for e in talk.state.entries if e.seq in wanted and isinstance(e.event, Answered)]
    return frozenset(event.ask for event in told)


def _conflicts_asked(talk: Talk) -> frozenset[frozenset[str]]:
    """Pairs of questions whose contradiction was put before; it is put once."""
    asked = [e.event for e in talk.state.entries if isinstance(e.event, WasAsked)]
    pairs = [a.extra for a in asked if a.what == "which" and a.id == "conflict"]
    return frozenset(_asks_of(talk, map(int, extra)) for extra in pairs)


def _slipped(talk: Talk) -> Next | None:
    """The question whose answer was a slip that had raised a stop: it is open again."""
    if not any(isinstance(e, StopLifted) and e.by == "slip" for e in talk.events):
        return None
    taken = {seq for e in talk.events if isinstance(e, Withdrawn) for seq in e.entries}
    asks = [e.event.ask for e in talk.state.entries if e.seq in taken and isinstance(e.event, Answered)]
    return Next("check" if asks[0] in talk.sure().checks else "question", asks[0]) if asks else None


def _sharing(talk: Talk, check: str) -> tuple[str, ...]:
    """Causes that are looked at behind the same cover, without the ones of this very check."""
    flow = talk.sure()
    own = plan.causes_found(flow.checks[check])
    behind = set(flow.checks[check].behind)
    shared = [plan.causes_found(a) for a in flow.checks.values() if behind & set(a.behind)]
    near = (c for found in shared for c in plan.in_order(flow, found))
    return tuple(dict.fromkeys(c for c in near if c not in own))[:6]


def misses(talk: Talk) -> int:
    """How often the open question got words that are no answer to it."""
    since = talk.asked.seq if talk.asked else 0
    later = (e for e in talk.state.entries if e.seq > since and e.who == talk.seat)
    return sum(1 for entry in later if isinstance(entry.event, Noted))


def not_sure(talk: Talk, rest: str) -> After:
    asked = talk.asked
    if asked is None:
        return "again"
    if asked.what in ("question", "check"):
        minutes = talk.sure().asking(asked.id).minutes
        talk.emit(Skipped(ask=asked.id, why="not_sure", minutes=minutes))
    elif asked.what == "trait":
        talk.emit(TraitTold(trait=asked.id, answer=""))
    elif asked.what == "point":
        work.tell_point(talk, asked, Chosen("unsure"))
    elif asked.what == "after_work":
        moves.tell_after_work(talk, asked, Chosen("bad"))
    elif asked.what == "setting":
        _settle_unknown(talk, asked.id)
    elif asked.what == "held":
        moves.say_held(talk, asked, Chosen("same"))
    elif asked.what == "which":
        return _leave_which(talk, asked.id)
    elif asked.what == "query":
        queries.answer_query(talk, asked, Unclear())
    else:
        return "again"
    return "next"


def _leave_which(talk: Talk, id: str) -> After:
    if id == "damage":
        talk.say("which.damage.words")
    return "next"


def _settle_unknown(talk: Talk, id: str) -> None:
    """Not sure of a setting: the careful value."""
    careful: dict[str, str | float | bool] = {
        "place": "pit", "kit": "roll", "minutes_left": 60.0, "must_ride": True,
        "giving_up": talk.sure().hand_over.minutes,
    }  # fmt: skip
    talk.emit(SettingTold(setting=id, value=careful[id]))


def cannot(talk: Talk, rest: str) -> After:
    """Not here: a check or a cover is left out for now; work in hand is put aside."""
    asked = talk.asked
    if asked is None:
        return "again"
    if asked.what in ("question", "check", "access"):
        talk.emit(Skipped(ask=asked.id, why="cant"))
        if asked.what == "access" and talk.state.work and not talk.state.work.mended:
            work.leave_work(talk, "cant")
    elif asked.what == "remedy":
        talk.emit(Skipped(ask=asked.id, why="cant"))
    elif asked.what == "step" and talk.state.work:
        work.leave_work(talk, "cant")
    elif asked.what == "proof":
        later(talk, rest)
        return ""
    else:
        return not_sure(talk, rest)
    return "next"


def back(talk: Talk, rest: str) -> After:
    """Withdraw what this seat's last moving message led to; stops that it raised stay.

    In the middle of a mechanic's own word nothing is told yet: it is left as it was.
    """
    if talk.asked is not None and talk.asked.what in OWN_WORDS:
        talk.say("aside.left")
        return "next"
    entries = _last_move(talk)
    if not entries:
        talk.say("nothing_back")
        return "again"
    asked = _asked_before(talk, entries[0])
    moves.take_back(talk, entries)
    return _ask_again(talk, asked)


def _last_move(talk: Talk) -> tuple[int, ...]:
    """The entries of the last turn of this seat that moved the case and still act."""
    group: list[int] = []
    last: tuple[int, ...] = ()
    mine = False
    for entry in talk.state.entries:
        if isinstance(entry.event, WasHeard):
            last = tuple(group) if group and mine else last
            group, mine = [], entry.who == talk.seat
        elif entry.event.kind in MOVING and entry.seq not in talk.state.withdrawn:
            group.append(entry.seq)
    return last


def _asked_before(talk: Talk, seq: int) -> WasAsked | None:
    asks = [e.event for e in talk.state.entries if e.seq < seq and isinstance(e.event, WasAsked)]
    mine = [a for a in asks if a.seat == talk.seat]
    return mine[-1] if mine else None


def _ask_again(talk: Talk, asked: WasAsked | None) -> After:
    """Put exactly the question that was taken back, not whatever the planner would now."""
    if asked is None or asked.what not in PUT:
        return "next"
    talk.emit(WasAsked(seat=talk.seat, what=asked.what, id=asked.id, extra=asked.extra))
    talk.tell(PUT[asked.what](talk, Next(asked.what, asked.id, asked.extra)))
    return ""


def why(talk: Talk, rest: str) -> After:
    asked = talk.asked
    if asked is None or talk.flow is None:
        return "again"
    step = upcoming(talk)
    if (step.what, step.id) != (asked.what, asked.id):
        step = Next(asked.what, asked.id, asked.extra, step.advice)
    lines = reasons.why_lines(talk.desk, talk.sure(), talk.state, step)
    talk.tell(plain(talk.words, "\n".join(lines), kind="info"))
    return "again"


def later(talk: Talk, rest: str) -> After:
    talk.say("later")
    return ""


def where(talk: Talk, rest: str) -> After:
    if talk.flow is None:
        talk.say("summary.none")
        return "again"
    talk.tell(plain(talk.words, "\n".join(reasons.where_lines(talk)), kind="record"))
    return "again"


def ruled_out(talk: Talk, rest: str) -> After:
    if talk.flow is None:
        talk.say("ruled_out.none")
        return "again"
    talk.tell(plain(talk.words, "\n".join(reasons.ruled_out_lines(talk)), kind="record"))
    return "again"


def start_over(talk: Talk, rest: str) -> After:
    talk.emit(Ended(how="abandoned"))
    talk.say("started_over")
    for seat in talk.state.holders:
        talk.say_at(seat, "started_over.told")
    return "next"


def went_on(talk: Talk, rest: str) -> After:
    """It was run although a stop stood: no lecture, the stop once more in full, looks anew."""
    standing = talk.state.of_the_bike
    if not standing and talk.asked is not None and talk.asked.what == "cure":
        talk.emit(Noted(words=talk.heard.text[:300], about=f"{CURED}{talk.asked.id}"))
        talk.say("cure.ran")
        return "next"
    if not standing:
        talk.emit(Noted(words=talk.heard.text))
        talk.say("went_on.none")
        return "again"
    minutes = moves.minutes_of(talk, rest) if rest else None
    talk.emit(WentOn(minutes=minutes, words=talk.heard.text[:300]))
    talk.say("went_on.noted")
    for rule in stops.gravest_first(talk.sure(), (stop.rule for stop in standing)):
        talk.tell(stop_message(talk, rule))
    return "next"


def owned_up(talk: Talk) -> bool:
    """Whether words under a stop say among others that it was run: 'ok, rode it home anyway, 20 min'.

    A bare "I rode it" counts only where the words begin: later it may speak of last week.
    """
    phrases = talk.words.controls["went_on"]
    return bool(talk.state.of_the_bike) and _says(talk, phrases, {"not", "never", "didnt", "havent"}, "it")


def says_back(talk: Talk) -> bool:
    """Whether the rider's words after a repair say among others that it is back: 'the clack is back'.

    A mechanic speaks of nuts that are back on; of the fault he says so in those words alone.
    """
    return talk.owns and sounds_back(talk)


def sounds_back(talk: Talk) -> bool:
    """Whether anybody's words after a repair may mean that the fault is back."""
    repaired = bool(talk.state.mended) or talk.state.watch is not None
    return repaired and _says(talk, talk.words.lists.get("back", ()), {"not", "never", "isnt", "hasnt"})


def _says(talk: Talk, phrases: Iterable[str], denied: set[str], bare: str = "") -> bool:
    """Whether one of the phrases stands among the words, undenied; one that ends bare, at their beginning."""
    said = tokens(talk.heard.text)
    if denied & set(said):
        return False
    for phrase in map(tokens, phrases):
        places = range(1 if phrase[-1] == bare else len(said))
        if any(said[i : i + len(phrase)] == phrase for i in places):
            return True
    return False


def wrong_one(talk: Talk, rest: str) -> After:
    """A slip within the same question: if it raised a stop, that is asked about first (D9)."""
    entries = _last_move(talk)
    raised = [s for s in talk.state.standing if set(s.because) & set(entries)]
    if not raised:
        return back(talk, rest)
    entry = max(set(raised[0].because) & set(entries))
    step = Next("slip", raised[0].rule, (str(entry),))
    talk.emit(WasAsked(seat=talk.seat, what="slip", id=step.id, extra=step.extra))
    talk.tell(PUT["slip"](talk, step))
    return ""


def more(talk: Talk, rest: str) -> After:
    """What waits behind the open question."""
    asked = talk.asked
    if asked is None:
        return "again"
    message = PUT[asked.what](talk, Next(asked.what, asked.id, asked.extra))
    if message.more:
        short = " ".join(each for each in (message.how, message.more) if each)
        talk.tell(plain(talk.words, message.more, kind="info", signal=message.signal, short=short))
        return ""
    return _more_as_answer(talk, asked, message)


def _more_as_answer(talk: Talk, asked: Asked, message: Message) -> After:
    """Nothing waits behind it: 'more' then is the one answer that begins so, 'More, or bigger'."""
    begun = tokens(talk.heard.text)
    meant = [c.press for c in message.choices if tokens(c.label)[: len(begun)] == begun]
    if len(meant) == 1 and moves.MOVES[asked.what](talk, asked, Chosen(meant[0])):
        return "next"
    # All of it was read where it is written out; where it is not, this is how it is done.
    talk.tell(plain(talk.words, talk.words.say("more.none"), kind="info", short=message.how))
    return "again"


def summary(talk: Talk, rest: str) -> After:
    return _write_up(talk, False)


def whole(talk: Talk, rest: str) -> After:
    return _write_up(talk, True)


def _write_up(talk: Talk, whole: bool) -> After:
    if talk.flow is None:
        talk.say("summary.none")
    else:
        reasons.summarise(talk, whole)
    return "again"


def give_help(talk: Talk, rest: str) -> After:
    talk.say("help.mechanic" if talk.holds else "help")
    return "again"


def change(talk: Talk, rest: str) -> After:
    """Which answer: the one that its words name, else a list."""
    acting = [t for t in talk.state.answers if t.event.form != "note"]
    if not acting or talk.flow is None:
        talk.say("which.none")
        return "again"
    told = corrections.named(talk, rest, talk.words.spoken)
    if told is not None:
        return _change_to(talk, told, rest)
    step = Next("which", "change", tuple(str(t.seq) for t in acting[-9:]))
    talk.emit(WasAsked(seat=talk.seat, what="which", id="change", extra=step.extra))
    talk.tell(PUT["which"](talk, step))
    return ""


def _change_to(talk: Talk, told: Told, rest: str) -> After:
    """The answer is taken back; the new one is taken where the words say it, else it is asked for."""
    id = told.event.ask
    what: Literal["check", "question"] = "check" if id in talk.sure().checks else "question"
    new = corrections.new_answer(talk, told, rest, talk.words.spoken)
    moves.take_back(talk, (told.seq,))
    talk.emit(WasAsked(seat=talk.seat, what=what, id=id))
    if talk.asked is not None and moves.MOVES[what](talk, talk.asked, new):
        return "next"
    talk.tell(PUT[what](talk, Next(what, id)))
    return ""


def wrong(talk: Talk, rest: str) -> After:
    """'2 is wrong' strikes a line from what was understood."""
    asked = talk.asked
    if asked is None or asked.what != "confirm":
        return wrong_one(talk, rest)
    struck = {int(x) for x in re.findall(r"\d{1,3}", rest)}
    kept = tuple(c for n, c in enumerate(asked.extra, 1) if n not in struck)
    if not kept:
        talk.say("confirm.none")
        return "next"
    step = Next("confirm", asked.id, kept)
    talk.emit(WasAsked(seat=talk.seat, what="confirm", id=asked.id, extra=kept))
    talk.tell(PUT["confirm"](talk, step))
    return ""


def order(talk: Talk, rest: str) -> After:
    if talk.flow is None:
        talk.say("order.none")
    else:
        talk.tell(reasons.order_message(talk))
    return "again"


def came_back(talk: Talk, rest: str) -> After:
    """The word that a repaired fault is back, whoever says it."""
    if not talk.state.mended and talk.state.watch is None:
        talk.emit(Noted(words=talk.heard.text))
        talk.say("noted.words")
        return "again"
    if rest:
        talk.emit(Noted(words=talk.heard.text[:1000]))
    moves.come_back(talk)
    return "next"


def giving_up(talk: Talk, rest: str) -> After:
    said = measure(rest, spoken=talk.words.spoken) if rest else None
    minutes = moves.minutes_of(talk, rest) or (said.high if said and not said.unit else None)
    if minutes is None:
        talk.emit(WasAsked(seat=talk.seat, what="setting", id="giving_up"))
        talk.tell(PUT["setting"](talk, Next("setting", "giving_up")))
        return ""
    talk.emit(SettingTold(setting="giving_up", value=float(minutes)))
    talk.say("giving_up.set", minutes=f"{minutes:.0f}")
    return "next"


def hand_over(talk: Talk, rest: str) -> After:
    if talk.flow is None:
        talk.say("summary.none")
        return "again"
    moves.hand_over(talk)
    return "next"


def repeat(talk: Talk, rest: str) -> After:
    return "again"


def units(talk: Talk, rest: str) -> After:
    wanted = rest.casefold().strip()
    if wanted in ("metric", "imperial", "both"):
        talk.emit(SettingTold(setting="units", value=wanted))
        talk.say("units.set", units=wanted)
    return "again"


def language(talk: Talk, rest: str) -> After:
    """The rider's language from now on, at once: the open question is put again in it."""
    offered = talk.desk.languages()
    said = tokens(rest or talk.heard.text)
    named = [code for code, name in offered.items() if said == (code,) or set(tokens(name)) & set(said)]
    if len(named) != 1:
        talk.say("language.which", offered=", ".join(offered.values()))
        return "again"
    talk.emit(SettingTold(setting="language", value=named[0]))
    talk.desk = talk.desk.spoken_in(named[0])
    talk.say("language.set")
    return "again"


def erase(talk: Talk, rest: str) -> After:
    talk.say("erase.how")
    return "again"


ANYTIME = (
    "help", "where", "ruled_out", "summary", "whole_sheet", "later", "erase", "order", "why",
    "back", "close", "lift", "ask_rider",
)  # fmt: skip
CONTROLS: dict[str, Callable[[Talk, str], After]] = {
    "book": bookkeeping.book,
    "trend": bookkeeping.trend,
    "shares": shares.show,
    "not_sure": not_sure,
    "cant": cannot,
    "back": back,
    "why": why,
    "later": later,
    "where": where,
    "ruled_out": ruled_out,
    "start_over": start_over,
    "went_on": went_on,
    "wrong_one": wrong_one,
    "more": more,
    "summary": summary,
    "whole_sheet": whole,
    "help": give_help,
    "change": change,
    "wrong": wrong,
    "order": order,
    "came_back": came_back,
    "giving_up": giving_up,
    "hand_over": hand_over,
    "repeat": repeat,
    "lift": workshop.lift,
    "note": workshop.note,
    "repaired": workshop.repaired,
    "ask_rider": queries.ask_rider,
    "answer": queries.answer,
    "cause": confirming.cause,
    "close": closing.close,
    "vin": frame_number.tell,
    "units": units,
    "language": language,
    "erase": erase,
    "share": holding.share,
    "who": holding.who,
    "take_back": holding.take_back,
    "hand_back": holding.hand_back,
}
