"""Texts: that they fit on a screen and into a text message, and that words mean one thing.

`short` is what goes out where every character is paid for. Where it is missing the text itself
goes out, so it must fit and be written in that alphabet.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path as File

from bot.authoring import source
from bot.authoring.rules.fault import Fault, Path, Rule, fault
from bot.authoring.rules.references import asked
from bot.authoring.rules.safety import steps_spoken
from bot.core.flow import Asked_, Flow, Graded, Look, One, Several, Trait
from bot.core.segments import JOINED, foreign, plain, septets, split

QUESTION, STEP = 300, 700  # characters on a screen
TAG, SMS = 6, 150  # septets; the rest up to 160 is kept for substitutions
STOP = 2 * JOINED["gsm"]
MOST = {"one": 5, "several": 9, "graded": 5}  # answers in one message
_CARRIER = ("stop", "stopall", "end", "cancel", "quit", "unsubscribe", "help", "info", "start", "unstop")
_WORDS = File(__file__).resolve().parents[2] / "words"


@dataclass(frozen=True)
class Option:
    """An answer of any kind of question, with where it stands."""

    id: str
    label: str
    short: str | None
    words: tuple[str, ...]
    told_as: tuple[str, ...]
    path: Path


def options(ask: Asked_ | Trait, path: Path) -> tuple[Option, ...]:
    """The answers of a question, check or trait in the order in which they are offered."""
    found: list[tuple[str, object, Path]] = []
    for part in ("answers", "marks", "classes"):
        for id, said in getattr(ask, part, {}).items():
            found.append((id, said, (*path, part, id)))
    for side in ("good", "bad", "none_of_these"):
        if isinstance(ask, (Look, Several)) and hasattr(ask, side):
            found.append((side, getattr(ask, side), (*path, side)))
    return tuple(_option(id, said, at) for id, said, at in found)


def _option(id: str, said: object, path: Path) -> Option:
    label, short, words, told = (getattr(said, name) for name in ("label", "short", "words", "told_as"))
    return Option(id, label, short, words, told, path)


def all_asked(flow: Flow) -> Iterator[tuple[Path, Asked_ | Trait]]:
    for id, trait in flow.traits.items():
        yield ("traits", id), trait
    for part, id, ask in asked(flow):
        yield (part, id), ask


# --- on a screen -------------------------------------------------------------------------------------


def long_questions(flow: Flow) -> Iterator[Fault]:
    """L501: a question can be read at a glance."""
    for path, ask in all_asked(flow):
        if path[0] != "checks" and len(ask.ask) > QUESTION:
            yield fault("L501", *path, "ask", length=len(ask.ask), limit=QUESTION)


def long_steps(flow: Flow) -> Iterator[Fault]:
    """L502: a look or step fits with the danger and warning that must stand before it."""
    for path, text, ids, _ in steps_spoken(flow):
        grave = [flow.cautions[id] for id in dict.fromkeys(ids) if id in flow.cautions]
        lines = [f"{c.signal}: {c.say}\n" for c in grave if c.signal in ("danger", "warning")]
        length = len(text) + sum(map(len, lines))
        if path[0] != "questions" and length > STEP:
            yield Fault("L502", path, fields={"length": length, "limit": STEP})


# --- as text messages ----------------------------------------------------------------------------------


def long_messages(flow: Flow) -> Iterator[Fault]:
    """L503: tag, question and numbered answers go out as one text message."""
    for path, ask in all_asked(flow):
        texts = [ask.short or ask.ask, *(f"{n} {text}" for n, text in enumerate(_offered(ask, path), 1))]
        length = TAG + septets(plain(" ".join(texts)))
        if length > SMS:
            at = "short" if ask.short else "ask"
            yield fault("L503", *path, at, length=length, limit=SMS)


def _offered(ask: Asked_ | Trait, path: Path) -> list[str]:
    said = [o.short or o.label for o in options(ask, path)]
    if isinstance(ask, (Look, Several)) and ask.other_damage:
        said.append(wording().other)
    return said


@dataclass(frozen=True)
class Line:
    """A text that goes out alone, and its short form."""

    path: Path
    part: str
    text: str
    short: str | None
    has_short: bool = True


def lines(flow: Flow) -> Iterator[Line]:
    """Every spoken text that is neither a question, an answer nor a stop."""
    for id, caution in flow.cautions.items():
        yield Line(("cautions", id), "say", caution.say, caution.short)
    for id, access in flow.access.items():
        yield Line(("access", id), "do", access.do, access.short)
        yield Line(("access", id), "shut", access.shut, None, has_short=False)
    for id, cure in flow.false_cures.items():
        yield Line(("false_cures", id), "say", cure.say, cure.short)
    for id, plan in flow.second_looks.items():
        for i, look in enumerate(plan.looks):
            yield Line(("second_looks", id, "looks", i), "do", look.do, look.short)
    yield from _step_lines(flow)
    yield from _closing_lines(flow)


def _step_lines(flow: Flow) -> Iterator[Line]:
    for part in ("questions", "checks", "remedies"):
        for id, owner in getattr(flow, part).items():
            for i, step in enumerate(owner.steps):
                yield Line((part, id, "steps", i), "do", step.do, step.short)
    for id, remedy in flow.remedies.items():
        if remedy.proof:
            yield Line(("remedies", id, "proof"), "do", remedy.proof.do, remedy.proof.short)
        for name, after in remedy.ask_after.items():
            yield Line(("remedies", id, "ask_after", name), "ask", after.ask, after.short)


def _closing_lines(flow: Flow) -> Iterator[Line]:
    for part in ("access", "remedies"):
        for id, owner in getattr(flow, part).items():
            for i, point in enumerate(owner.closing):
                yield Line((part, id, "closing", i), "point", point.point, point.short)


def long_lines(flow: Flow) -> Iterator[Fault]:
    """L504: a step, caution or point goes out as one text message."""
    for line in lines(flow):
        length, limit = septets(plain(line.short or line.text)), SMS - TAG
        if length > limit:
            cure = "shorten 'short'" if line.short else "add a 'short'" if line.has_short else "shorten it"
            at = "short" if line.short else line.part
            yield fault("L504", *line.path, at, length=length, limit=limit, cure=cure)


def long_stops(flow: Flow) -> Iterator[Fault]:
    """L505: a stop goes out as two text messages at most."""
    for id, rule in flow.stop_rules.items():
        length = _with_gaps(rule.short or rule.say)
        if length > STOP:
            cure, at = ("shorten 'short'", "short") if rule.short else ("add a 'short'", "say")
            yield fault("L505", "stop_rules", id, at, length=length, limit=STOP, cure=cure)


def _with_gaps(text: str) -> int:
    """Septets, with those that stay free where a letter of two did not fit at the end of a message."""
    *full, last = split(plain(text)).parts
    return len(full) * JOINED["gsm"] + septets(last)


def _paid(flow: Flow) -> Iterator[tuple[Path, str, str, str | None]]:
    """Everything that may go out as a text message: owner, part, text, short."""
    yield from ((line.path, line.part, line.text, line.short) for line in lines(flow))
    for id, rule in flow.stop_rules.items():
        yield ("stop_rules", id), "say", rule.say, rule.short
    for path, ask in all_asked(flow):
        yield path, "ask", ask.ask, ask.short
        yield from ((o.path, "label", o.label, o.short) for o in options(ask, path))


def foreign_in_short(flow: Flow) -> Iterator[Fault]:
    """L506: a short form keeps to the alphabet of text messages."""
    for path, _, _, short in _paid(flow):
        if short and foreign(short):
            yield fault("L506", *path, "short", character=foreign(short))


def foreign_without_short(flow: Flow) -> Iterator[Fault]:
    """L507: so does a text that has no short form."""
    for path, part, text, short in _paid(flow):
        if not short and foreign(text):
            yield fault("L507", *path, part, character=foreign(text))


# --- answers and words ----------------------------------------------------------------------------------


def too_many_answers(flow: Flow) -> Iterator[Fault]:
    """L508: a message offers five answers or classes, or nine marks."""
    for path, ask in all_asked(flow):
        kind, what = _kind(ask)
        found = len(getattr(ask, what, ()))
        if kind in MOST and found > MOST[kind]:
            fields = {"id": path[1], "found": found, "what": what, "limit": MOST[kind]}
            yield Fault("L508", (*path, what), True, dict(fields))


def _kind(ask: Asked_ | Trait) -> tuple[str, str]:
    if isinstance(ask, (Trait, One)):
        return "one", "answers"
    if isinstance(ask, Several):
        return "several", "marks"
    return ("graded", "classes") if isinstance(ask, Graded) else ("", "")


def folded(said: str) -> str:
    """Words as they are compared: small letters, single spaces, no dots or quotes at the ends."""
    return " ".join(said.casefold().replace("’", "'").split()).strip(" .!?'\"")


def _spoken(option: Option) -> Iterator[tuple[str, Path]]:
    yield option.label, (*option.path, "label")
    if option.short:
        yield option.short, (*option.path, "short")
    yield from ((word, (*option.path, "words", i)) for i, word in enumerate(option.words))


def words_twice(flow: Flow) -> Iterator[Fault]:
    """L509: a word means one answer of its question."""
    for path, ask in all_asked(flow):
        owners: dict[str, str] = {}
        for option in options(ask, path):
            for word, at in _spoken(option):
                other = owners.setdefault(folded(word), option.id)
                if other != option.id:
                    yield Fault("L509", at, fields={"word": word, "other": other, "id": option.id})


def phrases_claimed(flow: Flow) -> Iterator[Fault]:
    """L510: a phrase that is understood at any time means one thing in the whole flow."""
    owners: dict[str, str] = {}
    for phrase, owner, at in _told(flow):
        other = owners.setdefault(folded(phrase), owner)
        if other != owner:
            yield Fault("L510", at, fields={"phrase": phrase, "other": other})


def _told(flow: Flow) -> Iterator[tuple[str, str, Path]]:
    for path, ask in all_asked(flow):
        for option in options(ask, path):
            owner = f"{path[1]} > {option.id}"
            yield from ((p, owner, (*option.path, "told_as", i)) for i, p in enumerate(option.told_as))
    for id, cure in flow.false_cures.items():
        at = ("false_cures", id, "told_as")
        yield from ((p, f"false cure {id}", (*at, i)) for i, p in enumerate(cure.told_as))


# --- the talk's own words ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Wording:
    """Of the bot's own words: what orders the talk (phrase -> control), and 'something else'."""

    controls: Mapping[str, str]
    other: str


@lru_cache(maxsize=1)
def wording() -> Wording:
    """Control phrases of all languages, and the words that carriers keep for themselves."""
    controls = dict.fromkeys(_CARRIER, "the phone company")
    other = ""
    for file in sorted(_WORDS.glob("*.yaml")):
        data = source.read(file.read_bytes(), file.name).data or {}
        for control, phrases in data.get("controls", {}).items():
            controls |= {folded(str(phrase)): control.replace("_", " ") for phrase in phrases}
        other = max(other, str(data.get("texts", {}).get("look.other", "")), key=len)
    return Wording(controls, other)


def _taken(ask: Asked_ | Trait) -> frozenset[str]:
    """Ids that the talk itself gives to what is offered beside the marks."""
    if not isinstance(ask, Several):
        return frozenset()
    return frozenset({"good", "bad", "none", *(["other"] if ask.other_damage else [])})


def reserved_ids(flow: Flow) -> Iterator[Fault]:
    """L511: ids that mean something to the talk or to conditions are not an author's."""
    controls = {phrase.replace(" ", "-") for phrase in wording().controls}
    controls |= {name.replace(" ", "-") for name in wording().controls.values()}
    if flow.flow in ("common", "unlisted"):
        yield fault("L511", "flow", id=flow.flow)
    if "unlisted" in flow.causes:
        yield fault("L511", "causes", "unlisted", key=True, id="unlisted")
    for path, ask in all_asked(flow):
        for option in options(ask, path):
            if len(option.path) > 3 and option.id in controls | _taken(ask):
                yield Fault("L511", option.path, True, {"id": option.id})


def reserved_words(flow: Flow) -> Iterator[Fault]:
    """L512: an answer is not called like an order to the talk."""
    for path, ask in all_asked(flow):
        for option in options(ask, path):
            for word, at in _spoken(option):
                control = wording().controls.get(folded(word))
                if control:
                    yield Fault("L512", at, fields={"word": word, "control": control})


def number_words(flow: Flow) -> Iterator[Fault]:
    """L513: a bare number means the answer that stands at that number."""
    for path, ask in all_asked(flow):
        for option in options(ask, path):
            for i, word in enumerate(option.words):
                if folded(word).isdecimal():
                    yield Fault("L513", (*option.path, "words", i), fields={"word": word})


RULES: tuple[Rule, ...] = (
    long_questions,
    long_steps,
    long_messages,
    long_lines,
    long_stops,
    foreign_in_short,
    foreign_without_short,
    too_many_answers,
    words_twice,
    phrases_claimed,
    reserved_ids,
    reserved_words,
    number_words,
)
