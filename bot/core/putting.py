"""How each next step is put to the rider: one function per kind, all through `phrases`."""

from __future__ import annotations

from collections.abc import Callable

from bot.core import curing, plan, reasons, stops
from bot.core.agenda import Next
from bot.core.bookkeeping import put_book, put_book_bike
from bot.core.closing import put_outcome
from bot.core.confirming import put_cause
from bot.core.flow import Point
from bot.core.history import sure_now
from bot.core.messages import Message
from bot.core.pause import put_pause, put_take_up
from bot.core.phrases import (
    NOTHING,
    Head,
    Option,
    asking,
    brief,
    caution_briefs,
    caution_lines,
    cautions,
    figure_lines,
    order_lines,
    plain,
    standing_head,
    tool_line,
    units_of,
    working,
)
from bot.core.queries import put_query
from bot.core.shares import put_shares
from bot.core.talk import Talk
from bot.core.words import Units
from bot.core.workshop import put_lift, put_repair

Put = Callable[[Talk, Next], Message]
PLACES = ("trail", "pit", "garage")
TIMES = ("30", "60", "150", "600")
PRICES = ("300", "600", "1200", "2400")
SETTINGS: dict[str, tuple[str, ...]] = {
    "place": PLACES,
    "kit": plan.KITS,
    "minutes_left": TIMES,
    "must_ride": ("yes", "no"),
    "giving_up": PRICES,
}


def _own(talk: Talk, ids: tuple[str, ...], prefix: str) -> tuple[Option, ...]:
    return tuple(Option(i, talk.words.say(f"{prefix}.{i}")) for i in ids)


def _units(talk: Talk) -> Units:
    return units_of({**talk.desk.settings, **talk.seen.settings})


def _head(talk: Talk) -> Head:
    """The line of what still stands."""
    return standing_head(talk.words, talk.flow, talk.state) if talk.flow else NOTHING


def put_problem(talk: Talk, step: Next) -> Message:
    offered = tuple(Option(c.hash, c.title) for c in talk.desk.cards)
    return plain(talk.words, talk.words.say("problem.ask"), offered)


def put_bike(talk: Talk, step: Next) -> Message:
    offered = tuple(Option(b.id, b.nickname) for b in talk.desk.bikes)
    text = talk.words.say("bike.pick" if offered else "bike.ask")
    return plain(talk.words, text, offered, head=_head(talk))


def put_trait(talk: Talk, step: Next) -> Message:
    trait = talk.sure().traits[step.id]
    offered = tuple(Option(i, a.label, a.short or "") for i, a in trait.answers.items())
    usual = ("not_sure", "back")
    return plain(talk.words, trait.ask, offered, usual, short=trait.short or "", head=_head(talk))


def put_setting(talk: Talk, step: Next) -> Message:
    offered = _own(talk, SETTINGS[step.id], step.id)
    return plain(talk.words, talk.words.say(f"{step.id}.ask"), offered, ("back",), head=_head(talk))


def put_question(talk: Talk, step: Next) -> Message:
    lead = [talk.words.say(f"{key}") for key in _leads(step)]
    return asking(talk.words, talk.sure(), talk.seen, step.id, lead)


def _leads(step: Next) -> tuple[str, ...]:
    keys = {"while_open": "access.while_open", "relapse": "relapse.lead", "clears": "clears.lead"}
    return tuple(keys[x] for x in step.extra if x in keys)


def _goal(talk: Talk, extra: tuple[str, ...]) -> str:
    """What the opened way is for, in words."""
    flow = talk.sure()
    for id in extra:
        if id in flow.remedies:
            return flow.remedies[id].name
        if id in flow.asks:
            return flow.asking(id).called
    return ""


def put_access(talk: Talk, step: Next) -> Message:
    flow, words = talk.sure(), talk.words
    access, goal = flow.access[step.id], _goal(talk, step.extra)
    lead = [words.say(key) for key in _leads(step)]
    details = [words.say("access.while", what=goal)] if goal else []
    details += tool_line(words, flow, access.tools)
    return working(
        words, flow, talk.state, access.do, (Option("done", words.say("access.done")),),
        caution_ids=access.cautions, details=details, lead=lead, short=access.short or "",
    )  # fmt: skip


def put_remedy(talk: Talk, step: Next) -> Message:
    flow, words = talk.sure(), talk.words
    remedy = flow.remedies[step.id]
    found = reasons.found_by_look(flow, talk.state, step.id)
    lines = [words.say("remedy.ask", name=remedy.name)]
    sure = reasons.confirmed(flow, talk.state, step.id)
    lines.append(words.say("remedy.confirmed" if sure else "remedy.found" if found else "remedy.suspicion"))
    if remedy.qualified_look:
        lines.append(words.say("remedy.qualified"))
    offered = (Option("do", words.say("remedy.do")), Option("not", words.say("remedy.not")))
    return plain(words, "\n".join(lines), offered, ("cant",), kind="plan", head=_head(talk))


def put_step(talk: Talk, step: Next) -> Message:
    id, _, n = step.id.rpartition("/")
    return _put_parts(talk, id) if n == "parts" else _put_one_step(talk, id, int(n))


def _put_parts(talk: Talk, id: str) -> Message:
    flow, words = talk.sure(), talk.words
    remedy = flow.remedies[id]
    lines, total = order_lines(words, flow, remedy)
    text = [words.say("parts.ask", lines="\n" + "\n".join(lines)), *total]
    if talk.state.work and talk.state.work.suspicion:
        text.append(words.say("parts.suspicion"))
    offered = _own(talk, ("have", "none"), "parts")
    return plain(words, "\n".join(text), offered, ("back",), kind="step", head=_head(talk))


def _put_one_step(talk: Talk, id: str, n: int) -> Message:
    flow, words = talk.sure(), talk.words
    remedy = flow.remedies[id]
    step = remedy.steps[n]
    do = words.say("step.line", n=f"{n + 1}/{len(remedy.steps)}", do=step.do)
    details = [*tool_line(words, flow, (*step.tools, *(remedy.tools if n == 0 else ())))]
    if n == len(remedy.steps) - 1 or len(remedy.steps) == 1:
        details += figure_lines(words, flow, remedy.figures, _units(talk))
    own = remedy.cautions if n == 0 else ()
    return working(
        words, flow, talk.state, do, (Option("done", words.say("step.done")),),
        caution_ids=(*own, *step.cautions), details=details, short=step.short or "",
    )  # fmt: skip


def point_of(talk: Talk, id: str) -> Point:
    """The closing point `<remedy or access>/<point>`."""
    flow = talk.sure()
    of, _, name = id.partition("/")
    holder = flow.remedies[of].closing if of in flow.remedies else flow.access[of].closing
    return next(p for p in holder if p.id == name)


def _closing_lead(talk: Talk, step: Next) -> tuple[str, ...]:
    """Before the first point of a cover: what is about to go back on."""
    of, _, point = step.id.partition("/")
    access = talk.sure().access.get(of)
    if access is None or "again" in step.extra or access.closing[0].id != point:
        return ()
    return (talk.words.say("point.closing", shut=access.shut),)


def put_point(talk: Talk, step: Next) -> Message:
    point, words = point_of(talk, step.id), talk.words
    key = "point.again" if "again" in step.extra else "point.ask"
    lines = [*_closing_lead(talk, step), words.say(key, point=point.point)]
    lines.append(words.say("point.like", look_like=point.look_like))
    lines.append(words.say("point.why", why=point.why))
    offered = _own(talk, ("yes", "no", "unsure"), "point")
    return plain(
        words, "\n".join(lines), offered, ("back",), kind="step", short=point.short or point.point,
        how=" ".join(lines[1:]), head=_head(talk),
    )  # fmt: skip


def put_shut(talk: Talk, step: Next) -> Message:
    flow, words = talk.sure(), talk.words
    access = flow.access[step.id]
    details = figure_lines(words, flow, access.figures, _units(talk))
    return working(
        words, flow, talk.state, words.say("access.shut", do=access.shut),
        (Option("done", words.say("access.shut.done")),),
        caution_ids=access.shut_cautions or access.cautions, details=details, controls=("back",),
    )  # fmt: skip


def put_cure(talk: Talk, step: Next) -> Message:
    """What has to cure before it runs, for how long, on what that stands, and how long that still is."""
    flow, words = talk.sure(), talk.words
    of, _, n = step.id.rpartition("/")
    hours = curing.wait_after(flow, step.id)
    left = (curing.until(flow, talk.state).get(step.id, talk.now) - talk.now).total_seconds() / 60
    when = words.count("cure.minutes", max(1, round(left)))
    when = when if left < 90 else words.count("cure.hours", round(left / 60))
    figures = [f for f in flow.remedies[of].figures if f.unit == "h" and f.value == hours]
    said = flow.remedies[of].steps[int(n)]
    lines = [words.say("cure.ask", do=said.do, hours=f"{hours:g}"), words.say("cure.when", when=when)]
    lines += figure_lines(words, flow, figures, _units(talk))
    offered = (Option("cured", words.say("cure.cured")),)
    return plain(words, "\n".join(lines), offered, ("later", "back"), kind="plan", head=_head(talk))


def put_proof(talk: Talk, step: Next) -> Message:
    flow, words = talk.sure(), talk.words
    proof = flow.remedies[step.id].proof if step.id in flow.remedies else None
    do = proof.do if proof else words.say("proof.general", minutes=f"{plan.PROOF_MINUTES:g}")
    return working(
        words, flow, talk.state, words.say("proof.ask", do=do), (Option("done", words.say("proof.done")),),
        caution_ids=proof.cautions if proof else (), short=proof.short or "" if proof else "",
    )  # fmt: skip


def put_held(talk: Talk, step: Next) -> Message:
    flow, words = talk.sure(), talk.words
    proof = flow.remedies[step.id].proof if step.id in flow.remedies else None
    ran = (talk.state.work is not None and talk.state.work.proved) or not step.id
    good, bad = (proof.good, proof.bad) if proof else (words.say("held.good"), words.say("held.bad"))
    text = words.say("held.ask" if ran else "held.ask.unproved")
    return plain(words, text, (Option("gone", good), Option("same", bad)), ("back",), head=_head(talk))


def put_after_work(talk: Talk, step: Next) -> Message:
    id, _, sign = step.id.partition("/")
    ask = talk.sure().remedies[id].ask_after[sign]
    text = talk.words.say("after_work.ask", ask=ask.ask)
    offered = (Option("good", ask.good), Option("bad", ask.bad))
    return plain(talk.words, text, offered, ("not_sure", "back"), short=ask.short or "", head=_head(talk))


def put_second_look(talk: Talk, step: Next) -> Message:
    flow, words = talk.sure(), talk.words
    second, index = flow.second_looks[step.id], int(step.extra[0])
    look = second.looks[index]
    found = cautions(flow, look.cautions)
    when = _when(talk, look.after_minutes, look.after_hours, look.running)
    lines = [
        *caution_lines(words, found, grave=True),
        words.say("watch.ask", n=index + 1, of=len(second.looks), do=look.do),
        when,
        *caution_lines(words, found, grave=False),
        words.say("watch.hint"),
    ]
    offered = (Option("done", words.say("watch.done")), Option("back", words.say("watch.back")))
    signal = found[0].signal if found else None
    text = "\n".join(x for x in lines if x)
    short = brief(caution_briefs(words, found), look.short or look.do, ())
    return plain(words, text, offered, kind="plan", signal=signal, short=short, head=_head(talk))


def _when(talk: Talk, minutes: float | None, hours: float | None, running: str) -> str:
    words = talk.words
    if minutes is None and hours is None:
        return ""
    key, n = ("watch.when.minutes", minutes) if minutes is not None else ("watch.when.hours", hours)
    return words.say(key, n=f"{n:g}", running=words.say(f"watch.{running}"))


def _called(talk: Talk, id: str) -> str:
    flow = talk.sure()
    return flow.remedies[id].name if id in flow.remedies else flow.asking(id).called


def _for_the_garage(talk: Talk, step: Next) -> list[str]:
    """What could not be done here: what lifts a stop first, then what looks at the likeliest."""
    flow, state = talk.sure(), talk.state
    now = plan.beliefs(flow, state)
    lifting = stops.clearing_looks(flow, state, state.standing)

    def order(id: str) -> tuple[bool, float]:
        seen = plan.causes_found(flow.checks[id]) if id in flow.checks else frozenset()
        fixed = {c for c, m in flow.causes.items() if m.remedy == id}
        return id not in lifting, -max((now.of(c) for c in seen | fixed), default=0.0)

    left = step.advice.left_out if step.advice else ()
    able = {id for id, why in left if why != "running" and id not in flow.questions}
    return [_called(talk, id) for id in sorted(able, key=lambda id: (*order(id), id))]


def put_park(talk: Talk, step: Next) -> Message:
    words = talk.words
    left = _for_the_garage(talk, step)
    lines = [words.say("park.ask")]
    if left:
        lines.append(words.say("park.left", list="; ".join(left[:5])))
    offered = (Option("park", words.say("park.yes")), Option("garage", words.say("park.no")))
    return plain(words, "\n".join(lines), offered, kind="plan", head=_head(talk))


def put_hand_over(talk: Talk, step: Next) -> Message:
    words, flow = talk.words, talk.sure()
    price = plan.giving_up(talk.desk, flow, talk.seen)
    ask = "hand_over.refer" if talk.holds else "hand_over.ask"
    known = talk.holds and any(not told.event.cause for told in sure_now(flow, talk.state))
    lines = [words.say("hand_over.known")] if known else reasons.misfit_lines(talk.desk, flow, talk.state)
    hurt = any(stops.of_a_person(flow, s.rule) for s in talk.state.standing)
    lines = lines or [words.say("hand_over.hurt" if hurt else ask, minutes=f"{price:.0f}")]
    if talk.state.bars & {"running"}:
        lines.append(words.say("hand_over.under_stop"))
    lines += reasons.refused_lines(words, flow, talk.state)
    for id, why in step.advice.left_out if step.advice else ():
        if id in flow.remedies:
            reason = words.say(f"blocked.{why}")
            lines.append(words.say("hand_over.blocked", name=_called(talk, id), why=reason))
    yes = "hand_over.refer.yes" if talk.holds else "hand_over.yes"
    offered = (Option("yes", words.say(yes)), Option("no", words.say("hand_over.no")))
    return plain(words, "\n".join(lines), offered, kind="plan", head=_head(talk))


def put_which(talk: Talk, step: Next) -> Message:
    """Which answer to change, which of two is right, or which part was damaged."""
    words = talk.words
    if step.id == "change":
        offered = tuple(Option(x, reasons.said(talk.sure(), talk.state, int(x))) for x in step.extra)
        return plain(words, words.say("which.change"), offered, ("back",))
    if step.id == "conflict":
        first, second = (reasons.said(talk.sure(), talk.state, int(x)) for x in step.extra)
        text = _contradiction(talk, int(step.extra[0]), first, second)
        offered = (Option("first", first), Option("second", second))
        return plain(words, text, offered, head=_head(talk))
    causes = talk.sure().causes
    offered = tuple(Option(c, causes[c].name) for c in step.extra)
    offered = (*offered, Option("other", words.say("which.damage.other")))
    return plain(words, words.say("which.damage"), offered, ("back",), head=_head(talk))


def _contradiction(talk: Talk, seq: int, first: str, second: str) -> str:
    """Who said what, worded for whoever is asked."""
    words = talk.words
    earlier = next((told for told in talk.state.answers if told.seq == seq), None)
    if earlier is None or earlier.who == talk.seat:
        return words.say("which.conflict", first=first, second=second)
    role = words.say(f"role.{earlier.role}")
    return words.say("which.conflict.other", role=role, first=first, second=second)


def put_slip(talk: Talk, step: Next) -> Message:
    what = reasons.said(talk.sure(), talk.state, int(step.extra[0]))
    offered = (Option("yes", talk.words.say("point.yes")), Option("no", talk.words.say("point.no")))
    return plain(talk.words, talk.words.say("stop.slip", what=what), offered)


def put_confirm(talk: Talk, step: Next) -> Message:
    """What was understood of free words, numbered, so that one can be struck out."""
    words, flow = talk.words, talk.sure()
    lines = [words.say("confirm.ask")]
    for n, item in enumerate(step.extra, 1):
        lines.append(words.say("confirm.line", n=n, label=reasons.claim_label(flow, item)))
    lines.append(words.say("confirm.hint" if len(step.extra) > 1 else "confirm.hint.one"))
    offered = (Option("yes", words.say("confirm.yes")), Option("no", words.say("confirm.no")))
    return plain(words, "\n".join(lines), offered, head=_head(talk))


PUT: dict[str, Put] = {
    "problem": put_problem,
    "bike": put_bike,
    "trait": put_trait,
    "setting": put_setting,
    "question": put_question,
    "check": put_question,
    "access": put_access,
    "remedy": put_remedy,
    "step": put_step,
    "point": put_point,
    "shut": put_shut,
    "cure": put_cure,
    "proof": put_proof,
    "held": put_held,
    "after_work": put_after_work,
    "second_look": put_second_look,
    "park": put_park,
    "hand_over": put_hand_over,
    "which": put_which,
    "slip": put_slip,
    "confirm": put_confirm,
    "book": put_book,
    "book_bike": put_book_bike,
    "shares": put_shares,
    "query": put_query,
    "cause": put_cause,
    "repair": put_repair,
    "lift": put_lift,
    "outcome": put_outcome,
    "pause": put_pause,
    "take_up": put_take_up,
}
