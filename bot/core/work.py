"""Work in hand: what comes off, a remedy from its first step to its closing list, what goes back on."""

from __future__ import annotations

from bot.core import reasons
from bot.core.events import (
    AccessOpened,
    AccessShut,
    Mended_,
    PointTold,
    RemedyBegun,
    Skipped,
    StepDone,
    WorkLeft,
)
from bot.core.feeding import shed_before
from bot.core.flow import Remedy
from bot.core.offers import Chosen, Reading
from bot.core.state import Asked
from bot.core.talk import Talk


def open_access(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    access = talk.sure().access[asked.id]
    talk.emit(AccessOpened(access=asked.id, minutes=access.open, money=access.open_money))
    return True


def begin_remedy(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    if reading.id == "not":
        talk.emit(Skipped(ask=asked.id, why="declined"))
    elif _in_hand(talk, asked.id):
        talk.say("work.begun")
    else:
        found = reasons.found_by_look(talk.sure(), talk.state, asked.id)
        talk.emit(RemedyBegun(remedy=asked.id, suspicion=not found))
    return True


def do_step(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    if not _in_hand(talk, asked.id.rpartition("/")[0]):
        talk.say("work.left")
        return True
    if reading.id == "none":
        leave_work(talk, "parts")
        return True
    talk.emit(StepDone(of=asked.id))
    finish_work(talk)
    return True


def _in_hand(talk: Talk, remedy: str) -> bool:
    """Whether this work is still under way: of two at one case the other may have ended or begun it."""
    work = talk.state.work
    return work is not None and work.remedy == remedy and not work.mended


def leave_work(talk: Talk, why: str) -> None:
    """The remedy in hand is put aside here; its causes stay suspects."""
    work = talk.state.work
    assert work is not None
    talk.emit(WorkLeft(remedy=work.remedy, why=why))  # type: ignore[arg-type]
    talk.emit(Skipped(ask=work.remedy, why="cant"))


def finish_work(talk: Talk) -> None:
    """The remedy is done once its steps are done and its closing points are told."""
    flow, work = talk.sure(), talk.state.work
    if work is None or work.mended or work.remedy not in flow.remedies:
        return
    remedy = flow.remedies[work.remedy]
    steps = work.told or all(f"{work.remedy}/{n}" in work.done for n in range(len(remedy.steps)))
    told = [talk.state.points.get(f"{work.remedy}/{p.id}") for p in remedy.closing]
    if not steps or any(t not in ("yes", "unsure") for t in told):
        return
    causes = tuple(c for c, m in flow.causes.items() if m.remedy == work.remedy)
    talk.emit(
        Mended_(
            remedy=work.remedy, causes=causes, confirmed=bool(told) and all(t == "yes" for t in told),
            minutes=remedy.minutes, money=listed(remedy) if work.money is None else work.money,
            shed=shed_before(talk),
        )
    )  # fmt: skip
    if talk.holds:
        for seat in talk.others:
            talk.say_at(seat, "repair.told", name=remedy.name)


def listed(remedy: Remedy) -> float:
    """What its parts cost by the list, as far as they have a price."""
    return sum(p.quantity * (p.price or 0) for p in remedy.parts.values())


def tell_done(talk: Talk, id: str, money: float | None = None) -> None:
    """Work that was done before it was told: only its closing points are left to ask."""
    remedy = talk.sure().remedies[id]
    found = reasons.found_by_look(talk.sure(), talk.state, id)
    talk.emit(RemedyBegun(remedy=id, suspicion=not found, told=True, money=money))
    for n in range(len(remedy.steps)):
        talk.emit(StepDone(of=f"{id}/{n}"))
    finish_work(talk)


def tell_point(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """A 'no' stays open until it is put right; asked again after a relapse any answer will do."""
    if not isinstance(reading, Chosen):
        return False
    of, _, point = asked.id.partition("/")
    talk.emit(PointTold(of=of, point=point, answer=reading.id))  # type: ignore[arg-type]
    if "again" in asked.extra:
        talk.emit(PointTold(of=of, point=f"{point}/again", answer=reading.id))  # type: ignore[arg-type]
    elif reading.id == "no":
        talk.say("point.fix")
    else:
        finish_work(talk)
    return True


def shut_access(talk: Talk, asked: Asked, reading: Reading) -> bool:
    if not isinstance(reading, Chosen):
        return False
    access = talk.sure().access[asked.id]
    talk.emit(AccessShut(access=asked.id, minutes=access.close, money=access.close_money))
    return True
