"""What a sample conversation must and must never do: each rule held against a play."""

from __future__ import annotations

from bot.authoring.play import Played
from bot.authoring.script import Rule
from bot.core import events, odds
from bot.core.flow import Flow
from bot.core.history import history
from bot.core.standing import of_unlisted, standings
from bot.core.state import State


def broken(played: Played, flow: Flow) -> list[str]:
    """One line for each `must:` and `never:` that does not hold."""
    out = []
    for rule in played.script.rules:
        so, seen = holds(rule, played, flow)
        if so is not rule.must:
            out.append(f"{played.script.file}:{rule.place[0]}: wanted {str(rule)!r} got {seen!r}")
    return out


def holds(rule: Rule, played: Played, flow: Flow) -> tuple[bool, str]:
    """Whether what a rule names is so, and what is seen instead, in words."""
    state, name = played.end, rule.name
    if rule.kind == "ends":
        how = state.ended.how if state.ended else "asking"
        return how == name, f"ends in {how}"
    if rule.kind == "outcome":
        told = state.outcome
        out = "none" if told is None else told.cause or told.result
        return out == name, f"outcome {out}"
    if rule.kind == "stop":
        return _stop(state, name, rule.value)
    if rule.kind in ("standing", "first"):
        return _suspect(rule, state, flow)
    if rule.kind in ("asks", "offers"):
        return _asked(played, name, rule.kind == "offers")
    if rule.kind == "caution":
        return _cautioned(played, flow, name)
    found = [x.line.n for x in played.exchanges if any(name in text for text in x.shown)]
    return bool(found), f"it is said after line {found[0]}" if found else "it is never said"


def _stop(state: State, rule: str, wanted: str) -> tuple[bool, str]:
    stands = any(s.rule == rule for s in state.standing)
    raised = any(s.rule == rule for s in state.stops)
    seen = "stands" if stands else "lifted" if raised else "was never raised"
    return seen == wanted, f"stop {rule} {seen}"


def _suspect(rule: Rule, state: State, flow: Flow) -> tuple[bool, str]:
    known = {trait: answer for trait, answer in state.traits.items() if answer}
    now, before = odds.posterior(flow, known, history(flow, state)), odds.prior(flow, known)
    if rule.kind == "first":
        first = max(flow.causes, key=now.of)
        return first == rule.name, f"first suspect {first}"
    if rule.name == "unlisted":
        standing = of_unlisted(now, before)
    else:
        standing = standings(flow, state, now, before)[rule.name].standing
    return standing == rule.value, f"standing {rule.name} = {standing}"


def _asked(played: Played, name: str, offered: bool) -> tuple[bool, str]:
    """Asked: put to the rider in any form. Offered: the check or remedy itself, or work towards it."""
    for exchange in played.exchanges:
        for entry in exchange.after.entries[len(exchange.before.entries) :]:
            event = entry.event
            if isinstance(event, events.WasAsked):
                own = event.id == name or event.what == name
                towards = offered and (event.id.startswith(f"{name}/") or name in event.extra)
                if own or towards:
                    return True, f"it is asked after line {exchange.line.n}"
    return False, "it is never asked"


def _cautioned(played: Played, flow: Flow, name: str) -> tuple[bool, str]:
    """A danger or warning must stand in the message itself; a lesser one may wait behind 'more'."""
    caution = flow.cautions[name]
    grave = caution.signal in ("danger", "warning")
    for exchange in played.exchanges:
        for message in exchange.messages:
            if caution.say in (message.text if grave else f"{message.text}\n{message.more}"):
                return True, f"it is said after line {exchange.line.n}"
    return False, "it is never said"
