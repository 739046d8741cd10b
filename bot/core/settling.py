"""Bringing a case to rest after a move: stops raised and lifted, second looks judged."""

from __future__ import annotations

from collections.abc import Mapping

from bot.core import agenda, plan, stops
from bot.core.events import Ended, LookJudged, Reopened, SaidOfRepair, StopLifted, WatchSet
from bot.core.feeding import feed
from bot.core.flow import Flow, Graded, SecondLook, Several
from bot.core.moves import after_a_stop, basis_line, begin_looks
from bot.core.phrases import stop_text
from bot.core.proving import say_how_far
from bot.core.state import State, Told, Watch
from bot.core.stop_words import raise_stop
from bot.core.talk import Talk

LIMIT = 20  # turns of settling; a flow that needs more goes in circles


def settle(talk: Talk) -> None:
    """Raise, lift and judge until nothing changes any more."""
    if talk.flow is None:
        return
    for _ in range(LIMIT):
        if not (lift_stops(talk) or raise_stops(talk) or judge_look(talk) or feed(talk) or begin_watch(talk)):
            return
    raise RuntimeError("a case does not come to rest: its stop rules raise and lift each other")


def upcoming(talk: Talk) -> agenda.Next:
    """The next step of the case as it is now, reckoned once for each state."""
    if talk.step is None or talk.step[0] is not talk.state:
        step = agenda.next_step(talk.desk, talk.flow, talk.seen, talk.now, talk.holds)
        talk.step = (talk.state, step)
    found: agenda.Next = talk.step[1]
    return found


def raise_stops(talk: Talk) -> bool:
    """Say and keep every rule that is true now; the gravest first."""
    flow = talk.sure()
    found = dict(stops.newly_true(flow, talk.state))
    for rule in stops.gravest_first(flow, found):
        raise_stop(talk, rule, found[rule])
    return bool(found)


def lift_stops(talk: Talk) -> bool:
    flow = talk.sure()
    found = stops.cleared(flow, talk.state)
    for rule, by in found:
        talk.emit(StopLifted(rule=rule, by=by))
        name = by.partition(".")[0]
        label = flow.remedies[name].name if name in flow.remedies else flow.asking(name).called
        said = stop_text(talk.words, rule, flow.stop_rules.get(rule), short=True)
        talk.say("stop.lifted", by=label, say=said)
        talk.tell_others(talk.messages[-1])
    return bool(found)


def begin_watch(talk: Talk) -> bool:
    """When the planner says that another look is the cheapest end, the plan of looks begins."""
    state, flow = talk.state, talk.sure()
    if state.watch is not None or state.ended is not None:
        return False
    step = upcoming(talk)
    if step.what != "watch":
        return False
    cause = flow.causes[step.id]
    looks = after_a_stop(talk) or cause.second_look
    assert looks is not None
    chance = plan.beliefs(flow, state).of(step.id)
    talk.say("watch.likely", name=cause.name, chance=f"{100 * chance:.0f}")
    begin_looks(talk, looks)
    return True


# --- judging a second look -----------------------------------------------------------------------


def judge_look(talk: Talk) -> bool:
    """Once every question of a second look is answered: clean, less, or back."""
    watch, flow = talk.state.watch, talk.sure()
    if watch is None or not watch.in_round:
        return False
    second = flow.second_looks[watch.plan]
    if not all(agenda.answered(talk.state, id) for id in second.asks):
        return False
    how = verdict(flow, talk.state, second)
    again = how == "same" and _was_the_same(talk.state)
    if how in ("clean", "less", "same") and _stopped(talk, how == "clean" or again, second, watch.index):
        how = "stopped"
    steady = how == "less" or (how == "same" and not watch.for_remedy)  # nothing was mended: look on
    outcome = how if how == "clean" or steady else "back"
    talk.emit(LookJudged(plan=watch.plan, index=watch.index, verdict=outcome))  # type: ignore[arg-type]
    if how == "clean":
        talk.say("watch.clean", basis=basis_line(talk, second))
        if watch.for_remedy:
            say_how_far(talk, second)
        _go_on(talk, second, watch.plan, watch.index + 1, watch.for_remedy)
    elif steady:
        _look_on(talk, second, watch, how, again)
    else:
        _come_back(talk, second, how, watch.for_remedy)
    return True


def _was_the_same(state: State) -> bool:
    """Whether this look came out the same when it was made before: a third time would tell nothing new."""
    if state.watch is None or not state.judged:
        return False
    _, last = state.judged[-1]
    return (last.plan, last.index, last.verdict) == (state.watch.plan, state.watch.index, "same")


def _look_on(talk: Talk, second: SecondLook, watch: Watch, how: str, again: bool) -> None:
    """The same look once more; the next one after that; and behind the last one the case is at rest."""
    if again and watch.index + 1 >= len(second.looks):
        talk.emit(Ended(how="released"))
        talk.say("watch.steady", name=talk.state.nickname or talk.state.title)
        return
    talk.say(f"watch.{how}", meaning=second.meanings.less if how == "less" else second.meanings.same)
    _go_on(talk, second, watch.plan, watch.index + again, watch.for_remedy)


def _stopped(talk: Talk, moves_on: bool, second: SecondLook, index: int) -> bool:
    """Whether a stop stands that the oil alone does not speak of: then nothing is proved by it."""
    standing = talk.state.of_the_bike
    last = moves_on and index + 1 >= len(second.looks)
    return bool(standing) if last else any("running" in stop.bars for stop in standing)


def _go_on(talk: Talk, second: SecondLook, plan_id: str, index: int, remedy: str) -> None:
    if index < len(second.looks):
        hours = talk.state.hours[1] if talk.state.hours else None
        talk.emit(WatchSet(plan=plan_id, index=index, for_remedy=remedy, from_hours=hours))
        return
    talk.emit(Ended(how="proved" if remedy else "released"))
    name = talk.state.nickname or talk.state.title
    talk.say("proved" if remedy else "released", name=name)


def _come_back(talk: Talk, second: SecondLook, how: str, remedy: str) -> None:
    meanings = {"new_kind": second.meanings.new_kind, "more": second.meanings.more}
    talk.say(f"watch.{how}", meaning=meanings.get(how, second.meanings.same))
    if remedy:
        talk.emit(SaidOfRepair(word="came_back"))
    talk.emit(Reopened(why=how, remedy=remedy))
    talk.say("watch.reopened")
    for seat in (who for who in talk.state.holders if who != talk.seat):
        talk.say_at(seat, "held.told.came_back")


def verdict(flow: Flow, state: State, second: SecondLook) -> str:
    """'clean', 'less', 'same', 'more', 'new_kind': by kind first, then by amount."""
    now = {t.event.ask: t for t in state.answers if t.round == state.round}
    before = [t for t in state.answers if t.round < state.round]
    seen = stops.survey(flow, state)
    if any(stops.holds(flow, seen, c) is not None for c in second.back_when.any):
        return "more"
    if second.back_when.new_kind and any(_new_kind(flow, t, before) for t in now.values()):
        return "new_kind"
    amounts = [_change(flow, t, before) for t in now.values() if isinstance(flow.asking(t.event.ask), Graded)]
    if second.back_when.more_of_same and any(a > 0 for a in amounts):
        return "more"
    if _gone(flow, state, second, seen):
        return "clean"
    return "less" if any(a < 0 for a in amounts) else "same"


def _new_kind(flow: Flow, told: Told, before: list[Told]) -> bool:
    """A mark or an answer that shows a sign never shown at an earlier look of this case."""
    ask = flow.asking(told.event.ask)
    if isinstance(ask, Graded):
        return False
    earlier = {s for t in before for s, shows in stops.spoken(flow, t.event) if shows}
    looked = any(t.event.ask == told.event.ask for t in before) or not isinstance(ask, Several)
    fresh = {s for s, shows in stops.spoken(flow, told.event) if shows} - earlier
    debris = {s for s in fresh if flow.signs[s].changes == "each_look" and not flow.signs[s].from_book}
    return looked and bool(debris)


def _change(flow: Flow, told: Told, before: list[Told]) -> int:
    """How many steps more (or less) than at the last look."""
    last = [t for t in before if t.event.ask == told.event.ask]
    if not last:
        return 0
    ask = flow.asking(told.event.ask)
    assert isinstance(ask, Graded)
    order = list(ask.classes)
    return max(order.index(v) for v in told.event.value) - max(order.index(v) for v in last[-1].event.value)


def _gone(flow: Flow, state: State, second: SecondLook, seen: Mapping[str, stops.Seen]) -> bool:
    for sign, step in second.gone_when.items():
        found = seen.get(sign)
        steps = flow.signs[sign].steps or ()
        if found is None or found.step > steps.index(step):
            return False
    return True
