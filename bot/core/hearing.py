"""What was offered, so that a reply can be read; and what a reading means as an answer.

The offer is rebuilt from what was asked, never stored: a resumed case reads replies the same way.
"""

from __future__ import annotations

from bot.core.events import Answered
from bot.core.findings import ASKED, LOOKED, MECHANIC
from bot.core.flow import Answer, Asked_, Flow, Graded, Look, Note, Number, One, Several
from bot.core.messages import Choice
from bot.core.offers import Chosen, Measured, Offer, Offered, Reading, Spanned, Ticked
from bot.core.spoken import tokens
from bot.core.state import Asked
from bot.core.talk import Talk
from bot.core.units import measure

_KINDS = {
    "bike": "name", "book_bike": "name", "confirm": "confirm", "book": "confirm", "second_look": "done",
}  # fmt: skip


def offer(talk: Talk, asked: Asked, shown: tuple[Choice, ...]) -> Offer:
    """The answers that the open question offers, with all ways to say them."""
    flow = talk.flow
    if asked.what in ("question", "check") and flow is not None:
        return _of_ask(talk, flow.asking(asked.id), shown)
    if asked.what == "trait" and flow is not None:
        return Offer("one", _of_answers(flow.traits[asked.id].answers))
    if asked.what == "setting":
        return Offer("one", _of_setting(talk, asked.id, shown))
    answers = _of_choices(shown)
    kind = _KINDS.get(asked.what, "pick") if answers else "name"
    own = tuple(Offered(o.id, o.label, o.short, _own_words(talk, o.id)) for o in answers)
    return Offer(kind, own)  # type: ignore[arg-type]


def _of_setting(talk: Talk, setting: str, shown: tuple[Choice, ...]) -> tuple[Offered, ...]:
    lists = talk.words.lists
    yes_no = {"yes": lists["yes"], "no": lists["no"]}
    return tuple(
        Offered(o.id, o.label, o.short, lists.get(f"{setting}.{o.id}", yes_no.get(o.id, ())))
        for o in _of_choices(shown)
    )


def is_nod(talk: Talk) -> bool:
    """A bare yes, no or done: no trouble where nothing was asked, and no name of a bike."""
    lists = talk.words.lists
    return tokens(talk.heard.text) in {tokens(word) for name in ("yes", "no", "done") for word in lists[name]}


def _own_words(talk: Talk, id: str) -> tuple[str, ...]:
    """Further ways to say yes, no and done where our own wording offers them."""
    lists = talk.words.lists
    own: dict[str, tuple[str, ...]] = {
        "yes": lists["yes"], "no": lists["no"], "done": lists["done"],
        "do": (*lists["yes"], *lists["do"]),
        "not": lists["no"], "gone": lists.get("gone", ()), "same": lists.get("same", ()),
        "cured": lists.get("cured", ()),
        "have": (*lists["yes"], *lists["done"], *lists.get("have", ())),
        "none": lists["no"], "wait": lists["no"], "unsure": talk.words.controls["not_sure"],
        "good": lists["yes"], "bad": lists["no"],
        **{how: lists.get(f"how.{how}", ()) for how in ("seen", "measured", "gone_after_repair", "judged")},
        **{result: lists.get(f"close.{result}", ()) for result in ("not_found", "unlisted", "keep")},
    }  # fmt: skip
    return own.get(id, ())


def _of_choices(shown: tuple[Choice, ...]) -> tuple[Offered, ...]:
    return tuple(Offered(c.press, c.label, c.short) for c in shown if not c.control)


def _of_answers(answers: dict[str, Answer]) -> tuple[Offered, ...]:
    return tuple(Offered(i, a.label, a.short or "", (*a.words, *a.told_as)) for i, a in answers.items())


def _with_yes_and_no(talk: Talk, offered: tuple[Offered, ...], ask: One) -> tuple[Offered, ...]:
    """Where one answer shows what the other denies, yes and no say the same."""
    lists = talk.words.lists
    first, *others = ask.answers.values()
    plain = len(others) == 1 and first.shows and set(first.shows) == set(others[0].denies)
    owned = {w.casefold() for o in offered for w in o.words} & {*lists["yes"], *lists["no"]}
    if not plain or owned:
        return offered
    both = zip(offered, (lists["yes"], lists["no"]), strict=True)
    return tuple(Offered(o.id, o.label, o.short, (*o.words, *more)) for o, more in both)


def _of_ask(talk: Talk, ask: Asked_, shown: tuple[Choice, ...]) -> Offer:
    if isinstance(ask, One):
        return Offer("one", _with_yes_and_no(talk, _of_answers(ask.answers), ask))
    if isinstance(ask, Several):
        marks = tuple(
            Offered(i, m.label, m.short or "", (*m.words, *m.told_as)) for i, m in ask.marks.items()
        )
        other = _damage(shown) if ask.other_damage else ()
        none = ask.none_of_these
        last = Offered("none", none.label, none.short or "", (*none.words, *none.told_as))
        return Offer("several", (*marks, *other), none_of_these=last)
    if isinstance(ask, Graded):
        steps = tuple(
            Offered(i, g.label, g.short or "", (*g.words, *g.told_as)) for i, g in ask.classes.items()
        )
        return Offer("graded", steps, ask.unit, upto=tuple(g.upto for g in ask.classes.values()))
    if isinstance(ask, Number):
        return Offer("number", (), ask.unit, ask.allowed)
    if isinstance(ask, Look):
        sides = (("good", ask.good), ("bad", ask.bad))
        own = talk.words.lists  # "Good:" and "Bad:" stand before the labels, so they are answers too
        both = tuple(
            Offered(i, o.label, o.short or "", (*o.words, *o.told_as, *own.get(f"look.{i}", ())))
            for i, o in sides
        )
        return Offer("look", (*both, *(_damage(shown) if ask.other_damage else ())))
    return Offer("done", _of_choices(shown))


def _damage(shown: tuple[Choice, ...]) -> tuple[Offered, ...]:
    """The answer 'bad, but something else'."""
    return tuple(o for o in _of_choices(shown) if o.id == "other")[-1:]


def rank_of(flow: Flow, id: str, role: str) -> int:
    """Whose word it is: a mechanic's look, a rider's look, or a careful answer (D4)."""
    if id not in flow.checks:
        return ASKED
    return MECHANIC if role == "mechanic" else LOOKED


def answer(talk: Talk, id: str, reading: Reading, asked: int = 0) -> Answered | None:
    """The finding that a reading of this question is, or None when it is not an answer to it."""
    flow = talk.sure()
    ask = flow.asking(id)
    value = _value(ask, reading)
    if value is None:
        return None
    form, ids = value
    number = (reading.low, reading.high) if isinstance(reading, Measured) else _counted(talk, ask, ids)
    opens = ask.answers[ids[0]].opens if isinstance(ask, One) else ()
    return Answered(
        ask=id, value=ids, form=form, rank=rank_of(flow, id, talk.heard.role), number=number,  # type: ignore[arg-type]
        unit=ask.unit or "" if isinstance(ask, (Number, Graded)) else "", opens=opens,
        minutes=ask.minutes, asked=asked, words=talk.heard.text[:300],
    )  # fmt: skip


def _counted(talk: Talk, ask: Asked_, ids: tuple[str, ...]) -> tuple[float, float] | None:
    """The number of pieces that was said, where it is none of an answer's place."""
    if not isinstance(ask, Graded) or ask.counts is None:
        return None
    text, said = tokens(talk.heard.text), measure(talk.heard.text, spoken=talk.words.spoken)
    labels = {tokens(label) for grade in ask.classes.values() for label in (grade.label, grade.short or "")}
    if said is None or said.unit or text in labels or (len(text) == 1 and said.low <= len(ask.classes)):
        return None
    order = list(ask.classes)
    low = ask.classes[order[order.index(ids[0]) - 1]].upto or 0 if order.index(ids[0]) else -1
    high = ask.classes[ids[-1]].upto
    fits_in = low < said.low and (high is None or said.high <= high)
    return (said.low, said.high) if fits_in else None


def _value(ask: Asked_, reading: Reading) -> tuple[str, tuple[str, ...]] | None:
    if isinstance(ask, Several):
        return _ticked(ask, reading)
    if isinstance(ask, Graded):
        return _stepped(reading)
    if isinstance(ask, Number):
        return ranged(ask, reading) if isinstance(reading, Measured) else None
    if not isinstance(reading, Chosen):
        return None
    if isinstance(ask, Note):
        return "note", ()
    return ("look" if isinstance(ask, Look) else "one"), (reading.id,)


def _ticked(ask: Several, reading: Reading) -> tuple[str, tuple[str, ...]] | None:
    if isinstance(reading, Chosen):
        reading = Ticked(frozenset({reading.id} - {"none"}), reading.id == "none")
    if not isinstance(reading, Ticked):
        return None
    order = (*ask.marks, "other")
    return "marks", tuple(i for i in order if i in reading.ids)


def _stepped(reading: Reading) -> tuple[str, tuple[str, ...]] | None:
    if isinstance(reading, Chosen):
        return "steps", (reading.id,)
    return ("steps", reading.ids) if isinstance(reading, Spanned) else None


def ranged(ask: Number, reading: Measured) -> tuple[str, tuple[str, ...]]:
    """The ranges that a measured span touches; without a graded sign, the one of its middle."""
    tops = [r.upto if r.upto is not None else float("inf") for r in ask.ranges]
    first = next(n for n, top in enumerate(tops) if reading.low <= top)
    last = next(n for n, top in enumerate(tops) if reading.high <= top)
    if ask.sign is not None:
        return "steps", tuple(str(r.step) for r in ask.ranges[first : last + 1])
    middle = (reading.low + reading.high) / 2
    return "one", (str(next(n for n, top in enumerate(tops) if middle <= top)),)
