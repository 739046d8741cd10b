"""Why: what was said, which findings speak for and against a cause, and what a step would save."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bot.core import odds, plan, stops
from bot.core.agenda import Next, unmended
from bot.core.desk import Desk
from bot.core.events import Answered, CauseConfirmed, TraitTold
from bot.core.findings import TOLD
from bot.core.flow import Asked_, Flow, Graded, Look, Number, One, Several
from bot.core.hearing import ranged
from bot.core.history import history, sure_now
from bot.core.messages import Message
from bot.core.offers import Measured
from bot.core.phrases import order_lines, plain
from bot.core.plan import known
from bot.core.standing import Suspect, standings
from bot.core.state import State
from bot.core.talk import Talk
from bot.core.units import show
from bot.core.words import Words

STRONG, CLEAR = 10.0, 4.0  # decibans: 10 to 1, and 5 to 2
FAINT = 1.0  # about the smallest step that is noticed
TOP = 3
LEAST = 0.005  # less is not worth a line; what must be said is "under 1 of 100"


def found_by_look(flow: Flow, state: State, remedy: str) -> bool:
    """Whether a look was bad for a cause of this remedy, or it was confirmed, and nothing mended it since."""
    return remedy in unmended(flow, state)


def confirmed(flow: Flow, state: State, remedy: str) -> bool:
    """Whether a mechanic is sure of a cause of this remedy."""
    sure = {told.event.cause for told in sure_now(flow, state)}
    return any(flow.causes[c].remedy == remedy for c in sure if c in flow.causes)


# --- what was said ---------------------------------------------------------------------------


def labels(ask: Asked_, value: tuple[str, ...], number: tuple[float, float] | None = None) -> str:
    """The answer in the words of the flow."""
    if isinstance(ask, Number):
        low, high = number or (0.0, 0.0)
        return show(low, ask.unit) if low == high else f"{low:g}–{show(high, ask.unit)}"
    if isinstance(ask, One):
        return ", ".join(ask.answers[v].label for v in value if v in ask.answers)
    if isinstance(ask, Several):
        marked = [ask.marks[v].label for v in value if v in ask.marks]
        return ", ".join(marked) or ask.none_of_these.label
    if isinstance(ask, Graded):
        return " / ".join(ask.classes[v].label for v in value if v in ask.classes)
    if isinstance(ask, Look):
        return {"good": ask.good.label, "bad": ask.bad.label}.get(value[0], value[0])
    return ""


def said(flow: Flow, state: State, seq: int) -> str:
    """What an entry told, in words; empty for an entry that told nothing."""
    for entry in state.entries:
        if entry.seq == seq and isinstance(entry.event, Answered):
            return labels(flow.asking(entry.event.ask), entry.event.value, entry.event.number)
        if entry.seq == seq and isinstance(entry.event, TraitTold) and entry.event.answer:
            return flow.traits[entry.event.trait].answers[entry.event.answer].label
        if entry.seq == seq and isinstance(entry.event, CauseConfirmed):
            return named_cause(flow, entry.event.cause, entry.event.words)
    return ""


def named_cause(flow: Flow, cause: str, words: str) -> str:
    """A cause by its name; one that the flow does not know in the words that were used of it."""
    return flow.causes[cause].name if cause in flow.causes else words


# --- claims of free words ----------------------------------------------------------------------


def claim_label(flow: Flow, claim: str) -> str:
    """A claim 'ask=value,value' as a rider reads it."""
    ask, _, value = claim.partition("=")
    if ask.startswith("trait:"):
        return flow.traits[ask.removeprefix("trait:")].answers[value].label
    if value.startswith("#"):
        low, high = (float(x) for x in value[1:].split(":"))
        return labels(flow.asking(ask), (), (low, high))
    return labels(flow.asking(ask), tuple(value.split(",")))


def record_claim(talk: Talk, claim: str) -> None:
    """A confirmed claim becomes a trait, or a finding told unprompted."""
    flow = talk.sure()
    ask, _, value = claim.partition("=")
    if ask.startswith("trait:"):
        talk.emit(TraitTold(trait=ask.removeprefix("trait:"), answer=value))
        return
    talk.emit(claimed(flow, ask, value, talk.state.complaint))


def claimed(flow: Flow, id: str, value: str, words: str) -> Answered:
    """The finding of a claim; ranges of a number are found anew."""
    ask = flow.asking(id)
    if isinstance(ask, Number):
        low, high = (float(x) for x in value[1:].split(":"))
        form, ids = ranged(ask, Measured(low, high))
        number = (low, high)
        return Answered(
            ask=id,
            value=ids,
            form=form,  # type: ignore[arg-type]
            rank=TOLD,
            number=number,
            unit=ask.unit,
            words=words,
        )
    forms = {"one": "one", "several": "some_marks", "graded": "steps", "look": "look"}
    opens = ask.answers[value].opens if isinstance(ask, One) else ()
    values = tuple(value.split(","))
    return Answered(
        ask=id,
        value=values,
        form=forms[ask.kind],  # type: ignore[arg-type]
        rank=TOLD,
        opens=opens,
        words=words[:300],
    )


# --- for and against ---------------------------------------------------------------------------


def strength(words: Words, decibans: float) -> str:
    size = abs(decibans)
    return words.say("why.strong" if size >= STRONG else "why.clear" if size >= CLEAR else "why.weak")


def _named(words: Words | None, flow: Flow, state: State, seq: int, cause: str) -> str:
    """What an entry told of a cause; 'all of it good' and 'none of these' with what they were said of."""
    sure = next((told.event for told in state.confirmed if told.seq == seq), None)
    if sure is not None and words is None:
        return ""
    if sure is not None and words is not None:
        return words.say("why.confirmed" if sure.cause == cause else "why.confirmed.other")
    label = said(flow, state, seq)
    told = next((e.event for e in state.entries if e.seq == seq and isinstance(e.event, Answered)), None)
    if told is None or not (told.form == "look" or (told.form == "marks" and not told.value)):
        return label
    return f"{flow.asking(told.ask).called}: {label}"


def weighed(
    flow: Flow, state: State, causes: Iterable[str], words: Words | None = None
) -> dict[str, dict[str, float]]:
    """By cause: how much each finding, by its label, speaks for it (above 0) or against it, in decibans.

    Without `words` a mechanic's sure word is left out: it is told elsewhere.
    """
    explained = odds.explain(flow, known(state), history(flow, state), causes)
    totals: dict[str, dict[str, float]] = {cause: {} for cause in explained}
    for cause, rows in explained.items():
        for w in rows:
            if label := _named(words, flow, state, w.seq, cause):  # it may stand twice: told, then answered
                totals[cause][label] = totals[cause].get(label, 0.0) + w.decibans
    return totals


def telling(totals: Mapping[str, float], sign: int) -> list[tuple[str, float]]:
    """The two or three findings that speak most for (+1) or against (-1), the strongest first."""
    kept = [(label, db) for label, db in totals.items() if db * sign >= FAINT]
    return sorted(kept, key=lambda x: -x[1] * sign)[:TOP]


def _findings(words: Words, totals: Mapping[str, float], sign: int) -> str:
    """The two or three findings that speak most for (+1) or against (-1) a cause."""
    kept = telling(totals, sign)
    lines = [words.say("why.finding", label=label, strength=strength(words, db)) for label, db in kept]
    return "; ".join(lines)


def leading(flow: Flow, state: State, n: int = TOP) -> list[tuple[str, float]]:
    """The likeliest causes with their chance, highest first."""
    ranked = plan.ranked(plan.beliefs(flow, state))
    return [(c, p) for k, (c, p) in enumerate(ranked[:n]) if p >= LEAST or not k]


def _per_cent(words: Words, p: float) -> str:
    return f"{100 * p:.0f}" if p >= LEAST else words.say("where.least")


def why_lines(desk: Desk, flow: Flow, state: State, step: Next) -> list[str]:
    """Why this step: its reason, the likeliest causes, and what speaks for and against the first."""
    words = desk.words
    lines = [_reason(desk, flow, state, step)]
    first = leading(flow, state)
    each = (words.say("why.each", name=flow.causes[c].name, chance=_per_cent(words, p)) for c, p in first)
    names = ", ".join(each)
    lines.append(words.say("why.leading", list=names))
    about = first[0][0]
    name, totals = flow.causes[about].name, weighed(flow, state, [about], words)[about]
    for key, sign in (("why.for", 1), ("why.against", -1)):
        findings = _findings(words, totals, sign)
        if findings:
            lines.append(words.say(key, cause=name, findings=findings))
    if len(lines) == 2:
        lines.append(words.say("why.nothing"))
    if step.what == "park":  # handing over says it by itself
        lines += refused_lines(words, flow, state)
    return lines


def _reason(desk: Desk, flow: Flow, state: State, step: Next) -> str:
    words = desk.words
    for mark, key in (("clears", "why.clears"), ("relapse", "why.relapse"), ("again", "why.relapse")):
        if mark in step.extra:
            return words.say(key)
    if step.what in ("question", "check") and flow.asking(step.id).why:
        return words.say("why.told", why=flow.asking(step.id).why)
    fixed = {"bike": "bike", "trait": "bike", "setting": "setting", "pause": "pause", "take_up": "pause"}
    if step.what in fixed:
        return words.say(f"why.{fixed[step.what]}")
    if step.id in flow.safety:
        return words.say("why.safety")
    if step.id in flow.opening:
        return words.say("why.opening")
    if step.what == "question" and plan.signs_told(flow, step.id) & set(stops.one_short(flow, state)):
        return words.say("why.stop_short")
    return _gain(words, step)


def _gain(words: Words, step: Next) -> str:
    choice = step.advice.choice if step.advice else None
    if choice is None:
        return words.say("why.work")
    gain = next((g for g in choice.gains if g.act in choice.ids), None)
    if gain is not None:
        net = f"{gain.net:.0f}" if gain.net >= 1 else words.say("where.least")
        return words.say("why.step", cost=f"{gain.cost:.0f}", net=net)
    return words.say("why.plan", minutes=f"{choice.minutes:.0f}")


def misfit(flow: Flow, state: State) -> bool:
    """Whether what was found fits nothing that this flow knows (D5)."""
    now = plan.beliefs(flow, state)
    return now.unlisted > 0.5 or now.unlisted > max(now.of(c) for c in now.family.causes)


def misfit_lines(desk: Desk, flow: Flow, state: State) -> list[str]:
    """What is said instead of a suspect: what speaks against each of the first three."""
    if not misfit(flow, state):
        return []
    words = desk.words
    lines = [words.say("hand_over.unlisted")]
    for cause, totals in weighed(flow, state, [c for c, _ in leading(flow, state)], words).items():
        against = _findings(words, totals, -1)
        if against:
            lines.append(words.say("hand_over.against", cause=flow.causes[cause].name, findings=against))
    lines.append(words.say("hand_over.author"))
    return lines


def refused_lines(words: Words, flow: Flow, state: State) -> list[str]:
    """The cause for which the odds refuse running, or else riding, where no stop bars it already (D8)."""
    now = plan.beliefs(flow, state)
    for bar, cause in plan.refused(flow, state):
        if bar not in state.bars:
            chance = _per_cent(words, now.of(cause))
            return [words.say(f"refused.{bar}", cause=flow.causes[cause].name, chance=chance)]
    return []


# --- where are we ------------------------------------------------------------------------------


def suspects(flow: Flow, state: State) -> dict[str, Suspect]:
    """Every cause with its standing."""
    return standings(flow, state, plan.beliefs(flow, state), odds.prior(flow, known(state)))


def where_lines(talk: Talk) -> list[str]:
    flow, state, words = talk.sure(), talk.state, talk.words
    nickname = f"{state.nickname}: " if state.nickname else ""
    lines = [words.say("where", nickname=nickname, title=state.title, minutes=f"{state.minutes:.0f}")]
    standing = suspects(flow, state)
    for cause, p in leading(flow, state):
        word = words.say(f"standing.{standing[cause].standing}")
        chance = _per_cent(words, p)
        lines.append(words.say("where.suspect", name=flow.causes[cause].name, chance=chance, standing=word))
    unlisted = plan.beliefs(flow, state).unlisted
    lines.append(words.say("where.unlisted", chance=_per_cent(words, unlisted)))
    return lines


def ruled_out_lines(talk: Talk) -> list[str]:
    """What is ruled out, by which look or because the bike has no such part."""
    flow, words = talk.sure(), talk.words
    lines = []
    for s in suspects(flow, talk.state).values():
        if s.standing != "ruled-out":
            continue
        by = words.say("ruled_out.trait")
        if s.look is not None:
            by = words.say(
                "ruled_out.look", look=flow.asking(s.look.ask).called, role=words.say(f"role.{s.look.role}"),
                catches=f"{10 * s.look.catches:.0f}",
            )  # fmt: skip
        lines.append(words.say("ruled_out.line", name=flow.causes[s.cause].name, by=by))
    return [words.say("ruled_out"), *lines] if lines else [words.say("ruled_out.none")]


def summarise(talk: Talk, whole: bool = False) -> None:
    """The summary as text, by the report that the desk was handed; in short where it has no whole one."""
    report = (talk.desk.whole if whole else None) or talk.desk.summary
    text = report(talk.sure(), talk.seen, talk.now)
    short = talk.desk.brief(talk.sure(), talk.seen, talk.now) if talk.desk.brief else ""
    talk.tell(Message(text=text, short=short, kind="record"))


def order_message(talk: Talk) -> Message:
    """One order list for the remedy in hand or the likeliest one."""
    flow, words = talk.sure(), talk.words
    ids = [talk.state.work.remedy] if talk.state.work else []
    ids += [r for c, _ in leading(flow, talk.state) if (r := flow.causes[c].remedy)]
    id = next((i for i in ids if i in flow.remedies and flow.remedies[i].parts), None)
    if id is None:
        return plain(words, words.say("order.none"), kind="info")
    lines, total = order_lines(words, flow, flow.remedies[id])
    text = [words.say("order.head", name=flow.remedies[id].name), *lines, *total]
    if not found_by_look(flow, talk.state, id):
        text.append(words.say("parts.suspicion"))
    price = plan.giving_up(talk.desk, flow, talk.seen)
    text.append(words.say("order.giving_up", minutes=f"{price:.0f}"))
    return plain(words, "\n".join(text), kind="record")
