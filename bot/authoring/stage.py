"""What a sample conversation is played on: words, flows, a bike, and what already stands in the record."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

from bot.authoring import load, shelf
from bot.authoring.load import Loaded
from bot.authoring.problems import FlowError, hint
from bot.authoring.script import Given, Rule, Script, Slip, slip
from bot.authoring.wording import read_words
from bot.core import events
from bot.core.book import Book
from bot.core.book import fold as fold_book
from bot.core.book_draft import Trouble
from bot.core.book_entries import Entry as Page
from bot.core.book_lines import read_line
from bot.core.desk import BikeCard, Card, Desk, Tally
from bot.core.events import Entry, Heard
from bot.core.findings import ASKED, LOOKED, MECHANIC
from bot.core.flow import Asked_, Flow, Graded, Look, Number, One, Several
from bot.core.messages import Message
from bot.core.outcomes import UNLISTED, apportioned, written
from bot.core.spoken import ENGLISH
from bot.core.standing import ORDER
from bot.core.state import OWN_WORDS, State, fold
from bot.core.words import Words

MESSAGE_MINUTES = {"sms": 4.0}  # as the record sets it; other channels take the desk's own
BIKE = "bike"
CODE = "ABCD-EF23"  # the code that a rider gives his mechanic in every sample
_WORDS = Path(__file__).resolve().parents[1] / "words"


class Said(Protocol):
    """What the core gives back for one message."""

    @property
    def events(self) -> Sequence[Any]: ...
    @property
    def messages(self) -> Sequence[Message]: ...


Receive = Callable[[Desk, State, Heard, datetime], Said]
BeginsNew = Callable[[Desk, State, Heard, datetime], bool]
Summary = Callable[[Flow, State, datetime], str]


@dataclass(frozen=True)
class Stage:
    """Everything that a play needs besides its script."""

    loaded: Loaded
    receive: Receive
    words: Words
    summary: Summary
    begins_new: BeginsNew

    @property
    def flow(self) -> Flow:
        return self.loaded.flow

    def with_flow(self, flow: Flow) -> Stage:
        """The same stage with a changed flow under the same hash."""
        return replace(self, loaded=replace(self.loaded, flow=flow))

    def desk(self, script: Script) -> Desk:
        """The desk as it is laid before the first word."""
        made = load.card(self.flow)
        card = Card(made.flow, self.loaded.hash, made.title, made.riders_say, made.told_as)
        name = script.head("bike")
        traits = {g.name: g.values[0] for g in script.given if g.kind == "trait"}
        bikes = (BikeCard(BIKE, name, traits, _hours(script)),) if name else ()
        settings = {g.name: _plain(g.values[0]) for g in script.given if g.kind == "setting"}
        minutes = MESSAGE_MINUTES.get(script.head("channel"), 2.0)
        made_desk = Desk(
            self.words,
            (card,),
            {self.loaded.hash: self.flow},
            summary=self.summary,
            bikes=bikes,
            settings=settings,
            message_minutes=minutes,
            outcomes=lambda: came_out(script, self.flow, self.loaded.hash),
            code=lambda: CODE,
        )
        return with_book(made_desk, pages(script))


def pages(script: Script) -> tuple[Page, ...]:
    """The lines of the bike's book that are given, as the talk reads them."""
    found: list[Page] = []
    for given in script.given:
        if given.kind == "book":
            read = read_line(given.values[0], ENGLISH, script.now)
            for line in () if isinstance(read, Trouble) else read:
                found.append(Page(len(found) + 1, "2000-01-01T00:00:00Z", line))
    return tuple(found)


def came_out(script: Script, flow: Flow, hash: str) -> tuple[Tally, ...]:
    """How closed cases came out: what is told of them, and the rest as the file has it."""
    told = {g.name: int(g.values[0]) for g in script.given if g.kind == "came_out"}
    if not told:
        return ()
    total = next(int(g.values[1]) for g in script.given if g.kind == "came_out")
    others = {id: share for id, share in written(flow).items() if (id or "unlisted") not in told}
    rest = apportioned([*others.values()], total - sum(told.values()), least=0) if others else []
    cases = dict(zip(others, rest, strict=True)) | {_cause(id): n for id, n in told.items()}
    tally = Tally("everyone", hash, hash, {id: n for id, n in cases.items() if n})
    return (tally,) if tally.is_enough else ()


def _cause(id: str) -> str:
    return UNLISTED if id == "unlisted" else id


def with_book(desk: Desk, entries: tuple[Page, ...]) -> Desk:
    """The desk with this book on it, and the bike's meter as the book has it."""
    if not entries:
        return desk
    kept = fold_book(entries)
    readings = (
        (row.line.shows,) * 2 if row.line.kind == "meter" else row.line.hours for row in kept.lines[::-1]
    )
    shown = next(filter(None, readings), None)
    hours = sum(kept.total) / 2 if kept.total else None
    bikes = tuple(replace(b, hours=b.hours if hours is None else hours, shown=shown) for b in desk.bikes)
    return replace(desk, books=lambda bike: kept if bike == BIKE else Book(), bikes=bikes)


def set_up(
    flow: Path | Loaded,
    summary: Summary,
    receive: Receive | None = None,
    begins_new: BeginsNew | None = None,
) -> Stage:
    """A stage for a flow file, with the real talk unless another is handed in. FlowError, OSError."""
    loaded = load.load(flow) if isinstance(flow, Path) else flow
    if receive is None:
        from bot.core import conversation

        receive = conversation.receive
        begins_new = begins_new or conversation.begins_new
    never = begins_new or (lambda desk, state, heard, now: False)
    return Stage(loaded, receive, read_words(), summary, never)


def flow_of(script: Script) -> str:
    """The flow's id: from the head, else the name of the folder that the script lies in."""
    return script.head("flow") or Path(script.file).resolve().parent.name


def find_flow(script: Script) -> Path:
    """The flow file of a script: near it, else on the shelf. FlowError when there is none."""
    here, flow = shelf.find(), flow_of(script)
    near = shelf.flow_near(Path(script.file), flow)
    if near:
        return near
    if flow in here.ids():
        return here.flow(flow)
    place = next((x.place for x in script.lines if x.kind == "head" and x.key == "flow"), (1, 1))
    raise FlowError([slip(script.file, place, "S014", id=flow, hint=hint(flow, here.ids()))])


@lru_cache(maxsize=4)
def _hours(script: Script) -> float | None:
    read = [float(g.values[0]) for g in script.given if g.kind == "hours"]
    return read[0] if read else None


def _plain(value: str) -> str | float | bool:
    """A setting as the talk keeps it: a number, yes or no, or a word."""
    if value in ("yes", "no"):
        return value == "yes"
    return float(value) if value.replace(".", "", 1).isdecimal() else value


# --- whether a script names what the flow has --------------------------------------------------


def check(script: Script, flow: Flow) -> list[Slip]:
    """Ids in `given:`, `must:` and `never:` that the flow does not have, and answers that are none."""
    problems: list[Slip] = list(_check_cases(script))
    for given in script.given:
        problems += _check_given(script.file, flow, given)
    for rule in script.rules:
        problems += _check_rule(script.file, flow, rule)
    return problems


def _missing(file: str, place: tuple[int, int], what: str, id: str, known: Iterable[str]) -> Iterator[Slip]:
    known = tuple(known)
    if id not in known:
        yield slip(file, place, "S011", what=what, id=id, hint=hint(id, known))


def _check_cases(script: Script) -> Iterator[Slip]:
    """Lines of how cases came out speak of the same cases, and of no more than there are."""
    lines = [g for g in script.given if g.kind == "came_out"]
    seen, counted = set[str](), 0
    for given in lines:
        n, total = given.values
        counted += int(n)
        why = ""
        if given.name in seen:
            why = f"{given.name} is told above; keep one of the two lines"
        elif total != lines[0].values[1]:
            why = f"the line above it speaks of {lines[0].values[1]} cases; write the same number"
        elif counted > int(total):
            why = f"these lines come to {counted} cases; write a larger number after 'of'"
        if why:
            yield slip(script.file, given.place, "S015", n=n, total=total, why=why)
        seen.add(given.name)


_PARTS = {
    "open": "access", "stop": "stop_rules", "begun": "remedies", "mended": "remedies", "watch": "second_looks"
}  # fmt: skip
_SETTINGS = ("place", "kit", "skill", "minutes_left", "must_ride", "giving_up", "minute_worth", "units")


def _check_given(file: str, flow: Flow, given: Given) -> Iterator[Slip]:
    known: dict[str, Iterable[str]] = {"cant": flow.asks, "said": ("gone", "same", "came_back")}
    if given.kind in _PARTS:
        known[given.kind] = getattr(flow, _PARTS[given.kind])
    if given.kind in known:
        for value in given.values:
            yield from _missing(file, given.place, given.kind, value, known[given.kind])
    elif given.kind == "trait":
        answers = flow.traits[given.name].answers if given.name in flow.traits else None
        yield from _missing(file, given.place, "trait", given.name, flow.traits)
        if answers is not None:
            yield from _no_answer(file, given, given.values[0] in answers, answers)
    elif given.kind == "setting":
        yield from _missing(file, given.place, "setting", given.name, _SETTINGS)
    elif given.kind == "book":
        read = read_line(given.values[0], ENGLISH, datetime(2100, 1, 1, tzinfo=UTC))
        like = "a line as the talk reads it, like: oil change at 43 on 2026-04-20, six flakes"
        yield from _no_answer(file, given, not isinstance(read, Trouble), (like,))
    elif given.kind == "came_out":
        yield from _missing(file, given.place, "cause", given.name, (*flow.causes, "unlisted"))
    elif given.kind == "held":
        yield from _missing(file, given.place, "seat", given.values[0], ("mechanic",))
    elif given.kind in ("hours", "ran"):
        number = given.values[0].removesuffix("h").strip()
        yield from _no_answer(file, given, number.replace(".", "", 1).isdecimal(), ("a number of hours",))
    else:
        yield from _check_answer(file, flow, given)


def _check_answer(file: str, flow: Flow, given: Given) -> Iterator[Slip]:
    yield from _missing(file, given.place, "question", given.name, flow.asks)
    if given.name in flow.asks:
        ask = flow.asks[given.name]
        yield from _no_answer(file, given, _value(ask, given.values) is not None, _answers(ask))


def _no_answer(file: str, given: Given, fits: bool, known: Iterable[str]) -> Iterator[Slip]:
    if not fits:
        said, listed = ", ".join(given.values), ", ".join(f"'{k}'" for k in known)
        name = given.name or given.kind
        yield slip(file, given.place, "S013", value=said, id=name, known=listed, hint=hint(said, known))


_STEPS = ("bike", "problem", "confirm", "which", "park", "hand_over", "shares", "query", *OWN_WORDS)


def _check_rule(file: str, flow: Flow, rule: Rule) -> Iterator[Slip]:
    anything = (*flow.asks, *flow.remedies, *flow.access, *flow.traits, *flow.second_looks, *_SETTINGS)
    known: dict[str, tuple[str, Iterable[str]]] = {
        "caution": ("caution", flow.cautions),
        "stop": ("stop rule", (*flow.stop_rules, "damage-seen")),
        "standing": ("cause", (*flow.causes, "unlisted")),
        "first": ("cause", flow.causes),
        "outcome": ("cause", (*flow.causes, "not_found", "unlisted", "none")),
        "offers": ("check or remedy", (*flow.asks, *flow.remedies)),
        "asks": ("question", (*anything, *_STEPS)),
    }
    if rule.kind in known:
        yield from _missing(file, rule.place, known[rule.kind][0], rule.name, known[rule.kind][1])
    if rule.kind == "standing":
        yield from _missing(file, rule.place, "standing", rule.value, ORDER)


# --- answers by hand -------------------------------------------------------------------------


def _answers(ask: Asked_) -> tuple[str, ...]:
    if isinstance(ask, One):
        return tuple(ask.answers)
    if isinstance(ask, Several):
        return (*ask.marks, "none", *(("other",) if ask.other_damage else ()))
    if isinstance(ask, Graded):
        return (*ask.classes, "an amount", "10 to 60")
    if isinstance(ask, Look):
        return ("good", "bad", *(("other",) if ask.other_damage else ()))
    return ("a number", "10 to 60") if isinstance(ask, Number) else ()


Value = tuple[str, tuple[str, ...], tuple[float, float] | None]  # form, value, number as said


def _value(ask: Asked_, values: tuple[str, ...]) -> Value | None:
    """An answer of the record from what was written; None when it is no answer."""
    if isinstance(ask, (One, Look)) and len(values) == 1 and values[0] in _answers(ask):
        return ("one" if isinstance(ask, One) else "look"), values, None
    if isinstance(ask, Several) and set(values) <= set(_answers(ask)):
        return "marks", tuple(v for v in values if v != "none"), None
    if isinstance(ask, Graded) and set(values) <= set(ask.classes):
        return "steps", values, None
    span = _span(values)
    if isinstance(ask, Graded) and span:
        classes = _covered([g.upto for g in ask.classes.values()], span)
        return ("steps", tuple(tuple(ask.classes)[n] for n in classes), span) if classes else None
    return _ranged(ask, span) if isinstance(ask, Number) and span else None


def _ranged(ask: Number, span: tuple[float, float]) -> Value | None:
    """A measured span as the steps it touches, or as the range of its middle."""
    if not ask.allowed[0] <= span[0] <= span[1] <= ask.allowed[1]:
        return None
    tops = [r.upto for r in ask.ranges]
    if ask.sign is not None:
        return "steps", tuple(str(ask.ranges[n].step) for n in _covered(tops, span)), span
    middle = sum(span) / 2
    return "one", tuple(str(n) for n in _covered(tops, (middle, middle))), span


def _span(values: tuple[str, ...]) -> tuple[float, float] | None:
    low, _, high = (values[0] if len(values) == 1 else "").partition(" to ")
    try:
        ends = float(low), float(high or low)
    except ValueError:
        return None
    return ends if ends[0] <= ends[1] else None


def _covered(tops: Sequence[float | None], span: tuple[float, float]) -> list[int]:
    """The places on a scale of rising tops (None: open) that a span touches."""
    ends = [float("inf") if top is None else top for top in tops]
    first = next((n for n, top in enumerate(ends) if span[0] <= top), len(ends))
    last = next((n for n, top in enumerate(ends) if span[1] <= top), len(ends) - 1)
    return list(range(first, last + 1))


# --- the record before the talk ----------------------------------------------------------------

BEFORE = ("trait", "setting", "hours", "book", "came_out")  # known before any case
HELD = "held"


def opens_case(script: Script) -> bool:
    """Whether something of a case is given; traits, settings and how other cases came out are of none.

    Nor does who holds it open one: he holds the case that the talk opens.
    """
    return any(g.kind not in (*BEFORE, HELD) for g in script.given)


def begin(script: Script, stage: Stage) -> State:
    """The state in which the talk begins: an empty one, or the fold of what was given."""
    at = script.now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    entries: list[Entry] = []

    def keep(event: Any, mechanic: bool = False) -> None:
        role: events.Role = "mechanic" if mechanic else "rider"
        entries.append(Entry(len(entries) + 1, at, role, role, event))

    if any(given.kind == HELD for given in script.given):
        keep(events.CaseHeld(), mechanic=True)
    if not opens_case(script):
        return fold(entries)
    keep(events.Opened(complaint=stage.flow.riders_say[0]))
    keep(events.FlowChosen(flow=stage.flow.flow, hash=stage.loaded.hash, title=stage.flow.title))
    keep(events.BikeTaken(bike=BIKE, nickname=script.head("bike") or "Goat"))
    for given in script.given:
        for event in () if given.kind in ("book", "came_out", HELD) else _events(stage.flow, given):
            keep(event, given.mechanic)
    return fold(entries)


def _events(flow: Flow, given: Given) -> Iterator[Any]:
    first = given.values[0]
    if given.kind == "answer":
        yield _answered(flow, given)
    elif given.kind == "trait":
        yield events.TraitTold(trait=given.name, answer=first)
    elif given.kind == "setting":
        yield events.SettingTold(setting=given.name, value=_plain(first))
    elif given.kind == "mended":
        yield from _mended(flow, first)
    elif given.kind in ("hours", "ran"):
        hours = float(first.removesuffix("h"))
        yield events.Ran(hours=hours) if given.kind == "ran" else events.HoursRead(low=hours, high=hours)
    else:
        for value in given.values:
            yield _one_event(flow, given.kind, value)


def _one_event(flow: Flow, kind: str, value: str) -> Any:
    if kind == "open":
        access = flow.access[value]
        return events.AccessOpened(access=value, minutes=access.open, money=access.open_money)
    if kind == "stop":
        return events.StopRaised(rule=value, bars=flow.stop_rules[value].bars)
    if kind == "begun":
        return events.RemedyBegun(remedy=value, suspicion=False)
    if kind == "said":
        return events.SaidOfRepair.model_validate({"word": value})
    if kind == "watch":
        return events.WatchSet(plan=value, index=0)
    return events.Skipped(ask=value, why="cant")


def _answered(flow: Flow, given: Given) -> events.Answered:
    ask = flow.asks[given.name]
    value = _value(ask, given.values)
    assert value is not None, "check() comes first"
    look = MECHANIC if given.mechanic else LOOKED
    return events.Answered.model_validate(
        {
            "ask": given.name,
            "form": value[0],
            "value": value[1],
            "number": value[2],
            "rank": look if given.name in flow.checks else ASKED,
            "opens": ask.answers[value[1][0]].opens if isinstance(ask, One) else (),
            "minutes": ask.minutes,
        }
    )


def _mended(flow: Flow, remedy: str) -> Iterator[Any]:
    """The whole work of a remedy, every closing point confirmed."""
    causes = tuple(name for name, cause in flow.causes.items() if cause.remedy == remedy)
    yield events.RemedyBegun(remedy=remedy, suspicion=False)
    for point in flow.remedies[remedy].closing:
        yield events.PointTold(of=remedy, point=point.id, answer="yes")
    yield events.Mended_(remedy=remedy, causes=causes, confirmed=True, minutes=flow.remedies[remedy].minutes)
