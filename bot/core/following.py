"""What is the rider's to do after the work, whoever did it: let it cure, run it, look again."""

from __future__ import annotations

from bot.core import agenda, curing, plan
from bot.core.agenda import Next
from bot.core.bench import seen_from
from bot.core.state import FOLLOWING
from bot.core.talk import Talk


def of_rider(talk: Talk) -> Next | None:
    """What the rider has to do next, by his own limits; None when that is not of this kind."""
    seen = seen_from(talk.flow, talk.state, talk.state.rider)
    step = agenda.next_step(talk.desk, talk.flow, seen, talk.now)
    return step if step.what in FOLLOWING else None


def briefly(talk: Talk, step: Next) -> str:
    """What he is asked to do, in one sentence."""
    flow, words = talk.sure(), talk.words
    of, _, n = step.id.rpartition("/")
    if step.what == "second_look":
        look = flow.second_looks[step.id].looks[int(step.extra[0])]
        return look.short or look.do
    if step.what == "cure":
        hours = f"{curing.wait_after(flow, step.id):g}"
        return words.say("cure.ask", hours=hours, do=flow.remedies[of].steps[int(n)].do)
    if step.what == "held":
        return words.say("held.ask")
    proof = flow.remedies[step.id].proof if step.id in flow.remedies else None
    return proof.do if proof else words.say("proof.general", minutes=f"{plan.PROOF_MINUTES:g}")


def looks_to_come(talk: Talk) -> int:
    """Second looks that are still to be made, also of work that has yet to be proved."""
    flow, state = talk.sure(), talk.state
    if state.watch is not None:
        return len(flow.second_looks[state.watch.plan].looks) - state.watch.index
    work = state.work
    remedy = flow.remedies.get(work.remedy) if work is not None and work.mended else None
    plan_id = remedy.second_look if remedy else None
    return len(flow.second_looks[plan_id].looks) if plan_id else 0
