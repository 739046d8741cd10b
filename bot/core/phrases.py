"""How a message is put together: stop first, then cautions worst first, then the question.

Every text here comes from the flow or from the wording it is handed; numbers are numbered answers
in the order they are shown, control words last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bot.core.flow import (
    Asked_,
    Caution,
    Figure,
    Flow,
    Graded,
    Look,
    Note,
    Number,
    One,
    Remedy,
    Several,
    Step,
    StopRule,
)
from bot.core.messages import SIGNALS, Choice, Kind, Message, Signal, worst
from bot.core.state import State
from bot.core.stops import DAMAGE_SEEN, gravest_first
from bot.core.units import show
from bot.core.words import Units, Words

LONGEST = 700  # characters of a look or remedy before its details go behind 'more' (D18)
GRAVE = ("danger", "warning")
NO_CONTROLS: tuple[str, ...] = ()
USUAL = ("not_sure", "back")
AT_WORK = ("not_sure", "cant", "back")


def units_of(settings: Mapping[str, object]) -> Units:
    """The units that the rider reads; metric when he has not said."""
    wanted = settings.get("units")
    return wanted if wanted in ("imperial", "both") else "metric"


@dataclass(frozen=True)
class Option:
    """An answer as it is offered: its id, label and short label."""

    id: str
    label: str
    short: str = ""


@dataclass(frozen=True)
class Head:
    """What stands over a message, in full and in short."""

    text: str = ""
    short: str = ""


NOTHING = Head()


def choices(words: Words, options: Sequence[Option], controls: Sequence[str]) -> tuple[Choice, ...]:
    """Answers numbered from 1, then the control words, numbered on."""
    out = [Choice(n, o.label, o.id, o.short or o.label) for n, o in enumerate(options, 1)]
    for n, name in enumerate(controls, len(out) + 1):
        label = words.say(f"control.{name}")
        out.append(Choice(n, label, f"control:{name}", label, control=True))
    return tuple(out)


def options(words: Words, ask: Asked_) -> tuple[Option, ...]:
    """The answers of a question or check, in order."""
    if isinstance(ask, One):
        return tuple(Option(i, a.label, a.short or "") for i, a in ask.answers.items())
    if isinstance(ask, Several):
        marks = [Option(i, m.label, m.short or "") for i, m in ask.marks.items()]
        other = [Option("other", words.say("look.other"))] if ask.other_damage else []
        none = Option("none", ask.none_of_these.label, ask.none_of_these.short or "")
        return (*marks, *other, none)
    if isinstance(ask, Graded):
        return tuple(Option(i, g.label, g.short or "") for i, g in ask.classes.items())
    if isinstance(ask, Look):
        both = [Option("good", ask.good.label, ask.good.short or "")]
        both.append(Option("bad", ask.bad.label, ask.bad.short or ""))
        other = [Option("other", words.say("look.other"))] if ask.other_damage else []
        return (*both, *other)
    if isinstance(ask, Note):
        return (Option("done", words.say("note.done")),)
    return ()


def cautions(flow: Flow, ids: Iterable[str]) -> tuple[Caution, ...]:
    """The cautions of these ids once each, worst first."""
    found = [flow.cautions[i] for i in dict.fromkeys(ids) if i in flow.cautions]
    return tuple(sorted(found, key=lambda c: SIGNALS.index(c.signal)))


def caution_lines(words: Words, found: Iterable[Caution], grave: bool) -> tuple[str, ...]:
    """One line each, headed by the signal word, for the grave ones or for the others."""
    return tuple(words.say(f"signal.{c.signal}", say=c.say) for c in found if (c.signal in GRAVE) == grave)


def caution_briefs(words: Words, found: Iterable[Caution]) -> tuple[str, ...]:
    """The grave cautions in short: a danger or warning is never left out, whatever a letter costs."""
    return tuple(words.say(f"signal.{c.signal}", say=c.short or c.say) for c in found if c.signal in GRAVE)


def stop_text(words: Words, rule_id: str, rule: StopRule | None, short: bool = False) -> str:
    """What a stop says, headed by STOP or LOOK FIRST by what it bars."""
    if rule is None:
        return words.say(f"stop.{DAMAGE_SEEN}" if rule_id == DAMAGE_SEEN else "stop.unknown")
    say = (rule.short or rule.say) if short else rule.say
    key = "stop.running" if "running" in rule.bars else "stop.riding"
    head = words.say(key, say="").rstrip(" .").casefold()
    return say if say.casefold().startswith(head) else words.say(key, say=say)


def standing_line(words: Words, flow: Flow, state: State) -> str:
    """One line for the stops that stand, or empty. The gravest by name, the others counted.

    Where somebody else has the bike of a hurt rider, the stop about him has a line of its own before it.
    """
    own = [s.rule for s in state.of_the_bike]
    given = [s.rule for s in state.standing if s.rule not in own]
    lines = (_stands(words, flow, "stop.stands.hurt", given), _stands(words, flow, "stop.stands", own))
    return "\n".join(line for line in lines if line)


def _stands(words: Words, flow: Flow, key: str, rules: Iterable[str]) -> str:
    """The gravest of these rules by name, and how many more."""
    stops = gravest_first(flow, rules)
    if not stops:
        return ""
    first = stop_text(words, stops[0], flow.stop_rules.get(stops[0]), short=True)
    more = words.count("stop.more", len(stops) - 1) if len(stops) > 1 else ""
    return words.say(key, say=first) + more


def standing_brief(words: Words, flow: Flow, state: State) -> str:
    """That a stop stands, where each letter is paid for: its own words went out when it was raised."""
    own = [s.rule for s in state.of_the_bike]
    hurt = any(s.rule not in own for s in state.standing)
    lines = [words.say("stop.brief.hurt")] if hurt else []
    if own:
        barred = {bar for s in state.of_the_bike for bar in _bars(flow, s.rule)}
        lines.append(words.say("stop.brief.running" if "running" in barred else "stop.brief.riding"))
    return " ".join(lines)


def standing_head(words: Words, flow: Flow, state: State) -> Head:
    """What stands, over a message: by its own words, and in few."""
    return Head(standing_line(words, flow, state), standing_brief(words, flow, state))


def _bars(flow: Flow, rule: str) -> tuple[str, ...]:
    """What a rule bars; damage that nobody named bars all."""
    return flow.stop_rules[rule].bars if rule in flow.stop_rules else ("running", "riding")


def step_lines(words: Words, steps: Sequence[Step]) -> tuple[str, ...]:
    """Numbered lines of what to do; a single step carries no number."""
    if len(steps) == 1:
        return (steps[0].do,)
    return tuple(words.say("step.line", n=n, do=s.do) for n, s in enumerate(steps, 1))


def figure_line(words: Words, flow: Flow, f: Figure, units: Units) -> str:
    """A figure with both units for torque, thread direction and state, and its basis in words."""
    parts = [show(f.value, f.unit, units)]
    if f.upto is not None:
        parts = [words.say("figure.span", low=show(f.value, f.unit, units), high=show(f.upto, f.unit, units))]
    if f.thread:
        parts.append(words.say(f"thread.{f.thread}"))
    if f.thread_state:
        parts.append(words.say(f"thread_state.{f.thread_state}"))
    source = flow.sources[f.source].title if f.source in flow.sources else ""
    basis = words.say(f"basis.{f.basis}", source=source)
    line = words.say("figure.line", what=f.what, value=", ".join(parts), basis=basis)
    return line + (" " + f.remark if f.remark else "")


def figure_lines(words: Words, flow: Flow, figures: Sequence[Figure], units: Units) -> tuple[str, ...]:
    """Figures, closed by the sentence that the manual outranks them."""
    if not figures:
        return ()
    return (*(figure_line(words, flow, f, units) for f in figures), words.say("figure.manual"))


def tool_line(words: Words, flow: Flow, ids: Iterable[str]) -> tuple[str, ...]:
    names = [flow.tools[i].name for i in dict.fromkeys(ids) if i in flow.tools]
    return (words.say("tools.line", tools=", ".join(names)),) if names else ()


def _ids_of_steps(steps: Sequence[Step], own: Sequence[str]) -> tuple[str, ...]:
    return (*own, *(c for s in steps for c in s.cautions))


def _sides(words: Words, ask: Asked_) -> tuple[str, ...]:
    """What good and bad look like."""
    if isinstance(ask, Look):
        good = words.say("look.good", label=ask.good.label, looks_like=ask.good.looks_like)
        bad = words.say("look.bad", label=ask.bad.label, looks_like=ask.bad.looks_like)
        return (good, bad)
    if isinstance(ask, Several):
        return tuple(
            words.say("look.mark", label=m.label, bad=m.looks_like or "", good=m.good_looks_like or "")
            for m in ask.marks.values()
            if m.looks_like or m.good_looks_like
        )
    return ()


def _details(words: Words, flow: Flow, ask: Asked_, units: Units) -> tuple[str, ...]:
    """What a step says besides doing it: sides, tools, lesser cautions, figures, normal things."""
    mild = caution_lines(words, cautions(flow, _ids_of_steps(ask.steps, ask.cautions)), grave=False)
    tools = tool_line(words, flow, (*ask.tools, *(t for s in ask.steps for t in s.tools)))
    normal = tuple(
        words.say("normal.line", looks_like=n.looks_like, usually=n.usually, trouble=n.trouble)
        for n in (flow.normal[i] for i in ask.normal if i in flow.normal)
    )
    return (*_sides(words, ask), *tools, *mild, *figure_lines(words, flow, ask.figures, units), *normal)


def _joined(lines: Iterable[str]) -> str:
    return "\n".join(x for x in lines if x)


def fold_details(head: Sequence[str], details: Sequence[str], tail: Sequence[str]) -> tuple[str, str]:
    """(text, more): details stay in the text while it fits, whole lines only."""
    text = len(_joined([*head, *tail]))
    kept: list[str] = []
    behind: list[str] = []
    for line in details:
        if not behind and text + len(line) + 1 <= LONGEST:
            kept.append(line)
            text += len(line) + 1
        else:
            behind.append(line)
    return _joined([*head, *kept, *tail]), _joined(behind)


def brief(head: Sequence[str], ask: str, found: Sequence[Choice]) -> str:
    """The short form for channels that pay by the character."""
    numbered = " ".join(f"{c.n} {c.short}" for c in found if not c.control)
    return " ".join(x for x in (*head, ask, numbered) if x)


def _shown_signal(found: Sequence[Caution], hidden: bool) -> Signal | None:
    """The gravest signal of what is said; lesser cautions that wait behind 'more' give none."""
    return worst(tuple(c.signal for c in found if c.signal in GRAVE or not hidden))


def asking(words: Words, flow: Flow, state: State, id: str, lead: Sequence[str] = ()) -> Message:
    """The message of a question or check in the shape of D18."""
    ask, units = flow.asking(id), units_of(state.settings)
    standing = standing_line(words, flow, state)
    found = cautions(flow, _ids_of_steps(ask.steps, ask.cautions))
    grave = caution_lines(words, found, grave=True)
    name = [ask.name] if ask.name else []
    head = [standing, *grave, *lead, *name, *step_lines(words, ask.steps)]
    details = _details(words, flow, ask, units)
    at_work = id in flow.checks
    text, more = fold_details(head, details if at_work else [], [ask.ask])
    more = more if at_work else _joined(details)
    controls = AT_WORK if at_work or ask.behind else USUAL
    offered = choices(words, options(words, ask), (*controls, "more") if more else controls)
    hint = _hint(words, ask)
    return Message(
        text=_joined([text, hint]),
        short=brief(
            (standing_brief(words, flow, state), *caution_briefs(words, found)), ask.short or ask.ask, offered
        ),
        choices=offered,
        signal=_shown_signal(found, hidden=bool(more)),
        kind="question",
        more=more,
        many=isinstance(ask, Several),
        how=" ".join(step.short or step.do for step in ask.steps),
    )


def _hint(words: Words, ask: Asked_) -> str:
    if isinstance(ask, Several):
        return words.say("hint.several")
    return words.say("hint.number", unit=words.say(f"unit.{ask.unit}")) if isinstance(ask, Number) else ""


def plain(
    words: Words,
    text: str,
    offered: Sequence[Option] = (),
    controls: Sequence[str] = NO_CONTROLS,
    *,
    kind: Kind = "question",
    signal: Signal | None = None,
    short: str = "",
    more: str = "",
    how: str = "",
    head: Head = NOTHING,
) -> Message:
    """A message of our own wording, with numbered answers, under `head`."""
    names = (*controls, "more") if more else tuple(controls)
    found = choices(words, offered, names)
    said = brief((head.short,), short or text, found)
    return Message(_joined((head.text, text)), said, found, signal, kind, more, how=how)


def working(
    words: Words,
    flow: Flow,
    state: State,
    say: str,
    offered: Sequence[Option],
    *,
    caution_ids: Iterable[str] = (),
    details: Sequence[str] = (),
    lead: Sequence[str] = (),
    short: str = "",
    controls: Sequence[str] = ("cant", "back"),
) -> Message:
    """A step of work: stop, grave cautions, what to do, then lesser cautions and details."""
    found = cautions(flow, caution_ids)
    head = [standing_line(words, flow, state), *caution_lines(words, found, grave=True), *lead, say]
    mild = caution_lines(words, found, grave=False)
    text, more = fold_details(head, [*mild, *details], [])
    names = (*controls, "more") if more else tuple(controls)
    shown = choices(words, offered, names)
    signal = _shown_signal(found, hidden=bool(more))
    stands = standing_brief(words, flow, state)
    said = brief((stands, *caution_briefs(words, found)), short or say, shown)
    return Message(text, said, shown, signal, "step", more)


def order_lines(words: Words, flow: Flow, remedy: Remedy) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The parts of a remedy, one line each; and the line of their total, if any has a price."""
    lines, total, unknown = [], 0.0, False
    for part in remedy.parts.values():
        price = words.say("price.unknown")
        if part.price is not None and flow.money:
            total += part.price * part.quantity
            price = words.say("price", amount=f"{part.price:g}", currency=flow.money.currency)
        else:
            unknown = True
        single = words.say("part.single_use") if part.single_use else ""
        lines.append(words.say("part.line", n=part.quantity, name=part.name, price=price, single=single))
    if not total or flow.money is None:
        return tuple(lines), ()
    more = words.say("parts.total.more") if unknown else ""
    currency, as_of = flow.money.currency, flow.money.as_of
    summed = words.say("parts.total", total=f"{total:g}", currency=currency, as_of=as_of, more=more)
    return tuple(lines), (summed,)
