"""Stop rules: when they become true, what one sign short means, and what clears them.

Signs only, never odds. Any acting answer that shows a sign counts, even where a better look says
otherwise: a stop is raised on the first word and lifted only by what the rule names.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Set
from dataclasses import dataclass
from functools import lru_cache

from bot.core.events import Answered, StopLifted
from bot.core.findings import Pinned
from bot.core.flow import Flow, Graded, Look, Number, One, Several, StopRule
from bot.core.history import sure_now
from bot.core.kept import Kept
from bot.core.state import State, Stop, Told

NOT_YET = -1  # stands for an entry that is only imagined
DAMAGE_SEEN = "damage-seen"  # raised by 'bad, but something else'; its wording is the bot's own


@dataclass(frozen=True)
class Seen:
    """What acting answers say of one condition name: entries that show it, and that deny it."""

    shown: tuple[int, ...] = ()
    denied: tuple[int, ...] = ()
    step: int = -1  # highest step shown of a graded sign


@dataclass(frozen=True)
class Short:
    """A rule that only unknown signs keep from being true: all of `alls`, and one of `anys` if any."""

    rule: str
    alls: tuple[str, ...]
    anys: tuple[str, ...] = ()

    @property
    def groups(self) -> tuple[tuple[str, ...], ...]:
        """What has to be told; of each group one sign would do."""
        alls = tuple((sign,) for sign in self.alls)
        return (*alls, self.anys) if self.anys else alls


def _current(flow: Flow, state: State, sign: str, told: Told) -> bool:
    """Whether an answer still speaks about this sign: each-look signs are of this slice and round."""
    if told.slice == state.slice and told.round == state.round:
        return True
    return sign in flow.signs and flow.signs[sign].changes == "never"


def _of_one(ask: One, v: Answered) -> Iterator[tuple[str, bool]]:
    for id in v.value:
        if id in ask.answers:
            yield from ((s, True) for s in ask.answers[id].shows)
            yield from ((s, False) for s in ask.answers[id].denies)


def _of_number(ask: Number, v: Answered) -> Iterator[tuple[str, bool]]:
    for id in v.value:
        part = ask.ranges[int(id)]
        yield from ((s, True) for s in part.shows)
        yield from ((s, False) for s in part.denies)


def _of_several(ask: Several, v: Answered) -> Iterator[tuple[str, bool]]:
    for id, mark in ask.marks.items():
        if mark.shows and (id in v.value or v.form == "marks"):
            yield mark.shows, id in v.value


def spoken(flow: Flow, v: Answered) -> tuple[tuple[str, bool], ...]:
    """The plain signs that an answer shows (True) or denies (False)."""
    ask = flow.found(v.ask)
    if isinstance(ask, One):
        return tuple(_of_one(ask, v))
    if isinstance(ask, Several):
        return tuple(_of_several(ask, v))
    if isinstance(ask, Number) and v.form == "one":
        return tuple(_of_number(ask, v))
    return ()


def told(flow: Flow, v: Answered) -> tuple[tuple[str, bool], ...]:
    """All that an answer says yes or no to: plain signs, and the results of a look."""
    return (*spoken(flow, v), *_results(flow, v))


def _results(flow: Flow, v: Answered) -> Iterator[tuple[str, bool]]:
    """Check results by their names in conditions: `check.bad`, `check.good`, `check.mark`."""
    if v.form == "look":
        yield f"{v.ask}.bad", "bad" in v.value
        yield f"{v.ask}.good", "good" in v.value
    elif v.form == "marks" and v.ask in flow.checks:
        ask = flow.checks[v.ask]
        if isinstance(ask, Several):
            for id in ask.marks:
                yield f"{v.ask}.{id}", id in v.value
        yield f"{v.ask}.bad", bool(v.value)
        yield f"{v.ask}.good", not v.value


def _graded(flow: Flow, v: Answered) -> tuple[str, int] | None:
    """A graded sign and the highest step an answer told of it."""
    ask = flow.found(v.ask)
    if v.form != "steps" or not isinstance(ask, (Graded, Number)) or ask.sign is None:
        return None
    steps = flow.signs[ask.sign].steps or ()
    return ask.sign, max((steps.index(x) for x in v.value if x in steps), default=-1)


_SURVEYS: Kept[Mapping[str, Seen]] = Kept(16)
_TRUE: Kept[Mapping[str, tuple[int, ...]]] = Kept(16)
_SHORT: Kept[tuple[Short, ...]] = Kept(16)
_MAY_BAR: Kept[bool] = Kept(256)


def survey(flow: Flow, state: State) -> Mapping[str, Seen]:
    """All that acting answers and known traits say, by sign or check result."""
    if state.confirmed:  # what a mechanic is sure of depends on more than answers
        return _surveyed(flow, state)
    parts = (flow, state.traits, state.answers)
    return _SURVEYS.of(parts, lambda: _surveyed(flow, state), state.slice, state.round)


def _surveyed(flow: Flow, state: State) -> dict[str, Seen]:
    seen: dict[str, Seen] = {}

    def add(name: str, shows: bool, seq: int, step: int = -1) -> None:
        old = seen.get(name)
        if old is None:
            seen[name] = Seen((seq,), (), step) if shows else Seen((), (seq,), step)
            return
        seen[name] = Seen(
            (*old.shown, seq) if shows else old.shown,
            old.denied if shows else (*old.denied, seq),
            max(old.step, step),
        )

    for trait, answer in state.traits.items():
        if trait in flow.traits and answer in flow.traits[trait].answers:
            for sign in flow.traits[trait].answers[answer].shows:
                add(sign, True, 0)
            for sign in flow.traits[trait].answers[answer].denies:
                add(sign, False, 0)
    for told in state.answers:
        for sign, shows in spoken(flow, told.event):
            if _current(flow, state, sign, told):
                add(sign, shows, told.seq)
        if told.slice == state.slice:
            for name, shows in _results(flow, told.event):
                add(name, shows, told.seq)
        graded = _graded(flow, told.event)
        if graded and _current(flow, state, graded[0], told):
            add(graded[0], graded[1] >= 0, told.seq, graded[1])
    for sure in sure_now(flow, state):
        for name in own_looks(flow, sure.event.cause) if sure.slice == state.slice else ():
            add(name, True, sure.seq)
    return seen


def own_looks(flow: Flow, cause: str) -> tuple[str, ...]:
    """The results by which a look finds this cause and nothing else.

    A cause that a mechanic confirmed counts as such a look made and bad: that raises what the look would
    raise, and lifts nothing. A look that may mean several causes is not made by naming one.
    """
    names: list[str] = []
    for id, ask in flow.checks.items():
        if isinstance(ask, Look) and [f.cause for f in ask.finds] == [cause]:
            names.append(f"{id}.bad")
        elif isinstance(ask, Several):
            own = [f"{id}.{m}" for m, mark in ask.marks.items() if [f.cause for f in mark.finds] == [cause]]
            names += [*own, f"{id}.bad"] if own else []
    return tuple(names)


def holds(flow: Flow, seen: Mapping[str, Seen], condition: str | dict[str, str]) -> tuple[int, ...] | None:
    """The entries that make a condition true, or None when it is not shown."""
    if isinstance(condition, str):
        found = seen.get(condition)
        return found.shown if found and found.shown else None
    [(sign, step)] = condition.items()
    found, steps = seen.get(sign), flow.signs[sign].steps or ()
    return found.shown if found and found.step >= steps.index(step) else None


def _excused(flow: Flow, seen: Mapping[str, Seen], condition: str | dict[str, str]) -> bool:
    """An excuse counts only while nothing speaks against it."""
    found = seen.get(_name(condition))
    return holds(flow, seen, condition) is not None and not (found and found.denied)


def reasons(flow: Flow, rule: StopRule, seen: Mapping[str, Seen]) -> tuple[int, ...] | None:
    """The entries that make a rule true now, or None."""
    alls = [holds(flow, seen, c) for c in rule.when.all]
    anys = [x for c in rule.when.any if (x := holds(flow, seen, c)) is not None]
    if any(x is None for x in alls) or (rule.when.any and not anys):
        return None
    if any(_excused(flow, seen, c) for c in rule.when.unless):
        return None
    return tuple(sorted({seq for part in [*alls, *anys] for seq in part or ()}))


def _lifted_at(state: State, rule: str) -> int:
    """The entry that lifted this rule last, or 0."""
    lifts = [
        e.seq
        for e in state.entries
        if isinstance(e.event, StopLifted) and e.event.rule == rule and e.seq not in state.withdrawn
    ]
    return max(lifts, default=0)


def newly_true(flow: Flow, state: State) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """Rules that must be raised now, in the author's order, with the entries that made them true.

    A rule that was lifted stands anew only on a later word than the one that lifted it.
    """
    seen = survey(flow, state)
    standing = {s.rule for s in state.standing}
    true = _TRUE.of((flow, seen), lambda: _true(flow, seen))
    return tuple(
        (id, because)
        for id, because in true.items()
        if id not in standing and max(because, default=0) >= _lifted_at(state, id)
    )


def _true(flow: Flow, seen: Mapping[str, Seen]) -> Mapping[str, tuple[int, ...]]:
    """All rules that are true, with the entries that made them so."""
    found = ((id, reasons(flow, rule, seen)) for id, rule in _touched(flow, seen))
    return {id: because for id, because in found if because is not None}


def nearly_true(flow: Flow, state: State) -> tuple[Short, ...]:
    """Rules that something already speaks for and nothing speaks against, with what is not known.

    A rule of one sign is asked for by `safety` and `opening`, else every such rule would come
    before all else.
    """
    seen = survey(flow, state)
    standing = {s.rule for s in state.standing}
    near = _SHORT.of((flow, seen), lambda: _near(flow, seen))
    return tuple(short for short in near if short.rule not in standing)


def _near(flow: Flow, seen: Mapping[str, Seen]) -> tuple[Short, ...]:
    found = (_short(flow, id, rule, seen) for id, rule in _touched(flow, seen))
    return tuple(short for short in found if short is not None)


def _short(flow: Flow, id: str, rule: StopRule, seen: Mapping[str, Seen]) -> Short | None:
    """None when it is true or excused, when nothing speaks for it, or what is missing was told otherwise."""
    if any(_excused(flow, seen, c) for c in rule.when.unless):
        return None
    alls = tuple(_name(c) for c in rule.when.all if holds(flow, seen, c) is None)
    told = any(holds(flow, seen, c) is not None for c in rule.when.any)
    anys = () if told else tuple(_name(c) for c in rule.when.any if _name(c) not in seen)
    partly = told or len(alls) < len(rule.when.all)
    otherwise = any(name in seen for name in alls) or bool(rule.when.any and not told and not anys)
    return Short(id, alls, anys) if (alls or anys) and partly and not otherwise else None


def _name(condition: str | dict[str, str]) -> str:
    return condition if isinstance(condition, str) else next(iter(condition))


def any_of(flow: Flow, rule: str) -> frozenset[str]:
    """The signs of which a rule wants any one."""
    return frozenset(_name(c) for c in flow.stop_rules[rule].when.any)


def one_short(flow: Flow, state: State) -> tuple[str, ...]:
    """Signs of which one being shown makes a rule true, where the rest of the rule already is."""
    return tuple(s for short in nearly_true(flow, state) if len(short.groups) == 1 for s in short.groups[0])


def may_bar_running(flow: Flow, state: State, id: str) -> bool:
    """Whether one answer to this question alone could make a rule true that bars running and is not."""
    seen, standing = survey(flow, state), frozenset(s.rule for s in state.standing)
    return _MAY_BAR.of((flow, seen), lambda: _may_bar(flow, seen, standing, id), standing, id)


def _may_bar(flow: Flow, seen: Mapping[str, Seen], standing: Set[str], id: str) -> bool:
    for shown in _showable(flow, id):
        told = {**seen, **{sign: Seen((NOT_YET,), (), step) for sign, step in shown.items()}}
        for name, rule in _touched(flow, shown):
            barring = name not in standing and "running" in rule.bars
            if barring and NOT_YET in (reasons(flow, rule, told) or ()):
                return True
    return False


def _touched(flow: Flow, seen: Collection[str]) -> Iterator[tuple[str, StopRule]]:
    """The rules that one of these signs may speak for; no other that wants any is true, or nearly so."""
    for id, rule, names in _wanted(Pinned(flow)):
        if not names or not names.isdisjoint(seen):
            yield id, rule


@lru_cache(maxsize=64)
def _wanted(pinned: Pinned) -> tuple[tuple[str, StopRule, frozenset[str]], ...]:
    """Each rule with the signs that it wants."""
    rules = pinned.flow.stop_rules.items()
    return tuple((id, rule, frozenset(map(_name, (*rule.when.all, *rule.when.any)))) for id, rule in rules)


def _showable(flow: Flow, id: str) -> Iterator[dict[str, int]]:
    """What each answer of a question would show: signs, with the step of a graded one."""
    ask = flow.asking(id)
    if isinstance(ask, One):
        yield from (dict.fromkeys(a.shows, -1) for a in ask.answers.values())
    elif isinstance(ask, Several):
        marks = [m.shows for m in ask.marks.values() if m.shows]
        yield from ({s: -1} for s in marks)
        yield dict.fromkeys(marks, -1)
    elif isinstance(ask, Number):
        yield from (dict.fromkeys(part.shows, -1) for part in ask.ranges)
    if isinstance(ask, (Graded, Number)) and ask.sign is not None:
        yield from ({ask.sign: step} for step in range(len(flow.signs[ask.sign].steps or ())))


def _done(state: State, stop: Stop, name: str, by: str = "rider") -> bool:
    """Whether a clearing look was good, or a clearing remedy done, after the stop was raised.

    `by` mechanic: only a mechanic's own look or work counts.
    """
    check, _, result = name.partition(".")
    later_on = _later_on(state, stop, by)
    if not result:
        return any(seq in later_on and m.remedy == name for seq, m in state.mended)
    later = [t for t in state.answers if t.seq in later_on and t.event.ask == check]
    if not later:
        return False
    value = later[-1].event.value
    if result == "good":
        return not value if later[-1].event.form == "marks" else value == ("good",)
    return result in value


def _later_on(state: State, stop: Stop, by: str) -> Container[int]:
    """The entries after a stop, of a mechanic or of anybody."""
    if by == "rider":
        return range(stop.seq + 1, state.next_seq)
    return {e.seq for e in state.entries if e.seq > stop.seq and e.role == by}


def cleared(flow: Flow, state: State) -> tuple[tuple[str, str], ...]:
    """Standing rules that their own looks or remedies now lift: (rule, by what)."""
    out = []
    for stop in state.standing:
        rule = flow.stop_rules.get(stop.rule)
        if stop.rule == DAMAGE_SEEN and (look := _looked_good_again(state, stop)):
            out.append((stop.rule, look))
        if rule is None:
            continue
        by = rule.cleared_by.by
        done = {n: _done(state, stop, n, by) for n in (*rule.cleared_by.any, *rule.cleared_by.all)}
        any_ok = any(done[n] for n in rule.cleared_by.any)
        all_ok = bool(rule.cleared_by.all) and all(done[n] for n in rule.cleared_by.all)
        if any_ok or all_ok:
            out.append((stop.rule, next(n for n, ok in done.items() if ok)))
    return tuple(out)


def _looked_good_again(state: State, stop: Stop) -> str:
    """The check that showed the damage, once the same look was good; '' until then."""
    showed = {e.event.ask for e in state.entries if e.seq in stop.because and isinstance(e.event, Answered)}
    return next((f"{check}.good" for check in showed if _done(state, stop, f"{check}.good")), "")


def of_a_person(flow: Flow, rule: str) -> bool:
    """Whether a rule is about a person, so that it ends the questions about the bike."""
    return rule in flow.stop_rules and flow.stop_rules[rule].ends_questions


def ending_questions(flow: Flow, state: State) -> tuple[Stop, ...]:
    """Standing stops under which nothing is asked about the bike.

    Not those under which it was taken up, unless somebody was hurt anew since.
    """
    persons = [stop for stop in state.standing if of_a_person(flow, stop.rule)]
    seen = survey(flow, state) if any(stop.taken_up for stop in persons) else {}

    def holds_on(stop: Stop) -> bool:
        because = reasons(flow, flow.stop_rules[stop.rule], seen) if stop.taken_up else ()
        return not stop.taken_up or max(because or (0,)) > stop.taken_up

    return tuple(stop for stop in persons if holds_on(stop))


def gravest_first(flow: Flow, rules: Iterable[str]) -> list[str]:
    """Rules about a person, then those that bar running, then the others."""

    def order(id: str) -> tuple[bool, bool]:
        rule = flow.stop_rules.get(id)
        return not of_a_person(flow, id), rule is not None and "running" not in rule.bars

    return sorted(rules, key=order)


def by_gravity(state: State) -> tuple[tuple[Stop, ...], ...]:
    """Standing stops that bar running, then those that bar riding only."""
    grave = tuple(s for s in state.standing if "running" in s.bars)
    return grave, tuple(s for s in state.standing if "running" not in s.bars)


def clearing_looks(flow: Flow, state: State, standing: Iterable[Stop]) -> tuple[str, ...]:
    """Checks that would clear one of these stops and have not been made since it was raised."""
    wanted: list[str] = []
    for stop in standing:
        rule = flow.stop_rules.get(stop.rule)
        for name in (*rule.cleared_by.any, *rule.cleared_by.all) if rule else ():
            check, _, result = name.partition(".")
            made = any(t.seq > stop.seq and t.event.ask == check for t in state.answers)
            if result and not made and check not in wanted:
                wanted.append(check)
    return tuple(wanted)
