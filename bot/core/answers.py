"""What a person's reply means, given what was offered: pure, quick, and never an exception."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from bot.core.offers import (
    Ambiguous,
    Chosen,
    Control,
    Measured,
    Offer,
    OutOfRange,
    Reading,
    Spanned,
    Sweeping,
    Ticked,
    Unclear,
    WrongUnit,
)
from bot.core.replies import Phrase, Reply, chosen, stripped, ways
from bot.core.spoken import ENGLISH, Spoken, fold, off, slips, tokens, words
from bot.core.units import Quantity, convert, measure, quantities

AMONG = 6  # words a message may have for its one bare number to be the measurement
LISTED = 24  # parts of a list looked at: twice the most marks there are
REST = 3  # words that may follow "change": more is a sentence about something else
# What is said in a sentence: any words may follow, and they are kept as they were written.
IN_WORDS = frozenset({"note", "ask_rider", "answer", "cause", "repaired", "lift", "vin", "close"})
TELLING = 4  # letters of a word out of a label that is enough to mean it
FEW = 2  # labels that such words may fit, to be asked which
ORDINALS = 10  # of them have a word
_QUOTES = str.maketrans(dict.fromkeys("’‘`´", "'"))
# Control words that are never guessed from a slip: "sharp" is an answer, and no wish to share the case.
EXACT = frozenset({"share", "who", "take_back", "hand_back"})
PREFIX = 3  # letters that the beginning of a label must have


def read(
    text: str, offer: Offer | None, controls: Mapping[str, tuple[str, ...]], spoken: Spoken = ENGLISH
) -> Reading:
    """What a reply means. Only the first thousand characters are looked at.

    The order: an offered answer word for word, a control word for word, "2 is wrong" and the
    like, both again with slips forgiven, lists and amounts, then the beginning of a label.
    An answer that reads like a control word is the answer. `controls`: name -> phrases; "..." in
    a phrase stands for the rest ("change ..."), and a number may follow any of them. A `name` is
    read for its controls and answers only: the name itself is the caller's to take.
    """
    folded = fold(text)
    marks = words(folded)
    said = tuple(word.text for word in marks)
    if not said:
        return Unclear()
    offer = offer or Offer("name")
    talk = Reply(said, marks, folded, offer, ways(offer, spoken), controls, spoken)
    for reader in _ORDER:
        reading = reader(talk)
        if reading is not None:
            return reading
    return Unclear()


def as_written(text: str, rest: str) -> str:
    """The rest of a message as it was typed: what a reading gives of it is folded."""
    folded, plain = words(fold(text)), words(text.translate(_QUOTES))
    place = len(folded) - len(words(rest))
    return text[plain[place].start :].strip() if rest and place < len(plain) else rest


# --- the readers, in order -------------------------------------------------------------------


def _word_for_word(talk: Reply) -> Reading | None:
    number = _position(talk)
    if number is not None and (either := _place_or_amount(talk, number)):
        return either
    numbered = {talk.offer.numbered[number].id} if number is not None else set()
    for said in (talk.said, stripped(talk.said, talk.spoken, wide=True)):
        if said in talk.owned:
            return chosen(talk, {*talk.owned[said], *numbered})
    return chosen(talk, numbered) if numbered else _unjoined(talk)


def _unjoined(talk: Reply) -> Reading | None:
    """The whole of a label but for an "and": some cling and some do not, for "Some cling, some do not"."""
    joints = {*talk.spoken.and_}
    if talk.offer.kind == "several" or not joints & {*talk.said}:
        return None
    said = tuple(word for word in talk.said if word not in joints)
    owners = [ids for way, ids in talk.owned.items() if tuple(w for w in way if w not in joints) == said]
    return chosen(talk, {id for ids in owners for id in ids}) if owners else None


_POSITION = re.compile(r"[(\[]?(?:#|no\.)?\s*(\d{1,3})\s*[.)\]:!]*")


def _position(talk: Reply) -> int | None:
    """The place of a numbered answer: 2, "2.", #2, 2), (2), number 2, and two where no amount is asked."""
    if talk.offer.kind in ("number", "name"):
        return None
    said = stripped(talk.said, talk.spoken, wide=not _stepped(talk.offer))  # "it is 2" may be an amount
    found = _POSITION.fullmatch(talk.folded.strip())
    digits = found.group(1) if found else ""
    named = len(said) == 2 and said[0] in talk.spoken.number
    # "2.5" is two words and no answer; "2 please" is one word once the manners are off.
    if not digits and (named or len(said) == 1) and not re.search(r"\d[.,:/]\d", talk.folded):
        digits = said[-1]
    if digits in talk.spoken.numbers and not _stepped(talk.offer):  # "two" may be an amount
        digits = f"{talk.spoken.numbers[digits]:g}"
    place = int(digits) if digits.isdecimal() and len(digits) <= 3 else 0
    return place - 1 if 1 <= place <= len(talk.offer.numbered) else None


def _place_or_amount(talk: Reply, place: int) -> Ambiguous | None:
    """A bare 4 at "how many pieces?" may be answer 4 or four pieces: where they differ, ask which."""
    said = stripped(talk.said, talk.spoken, wide=False)
    bare = len(said) == 1 and said[0].isdecimal() and "#" not in talk.folded
    if not bare or not _stepped(talk.offer) or talk.offer.unit:
        return None
    meant = talk.offer.numbered[place].id
    counted = _steps(talk, place + 1, place + 1)
    if not isinstance(counted, Chosen) or counted.id == meant:
        return None
    return Ambiguous((meant, counted.id))


def _control_word(talk: Reply) -> Reading | None:
    for said in (talk.said, stripped(talk.said, talk.spoken, wide=False)):
        for name, phrases in talk.controls.items():
            if said and any(said == tokens(phrase) for phrase in phrases if "..." not in phrase):
                return Control(name)
    return None


def _with_rest(talk: Reply) -> Reading | None:
    """'change magnet', '2 is wrong', 'giving up costs 900': the longest phrase wins."""
    best: tuple[int, Control] | None = None
    for name, phrase, open_ in _rested(talk):
        rest = _rest(talk, phrase)
        if rest and (_allowed(talk, name, rest) if open_ else _numeric(talk, rest)):
            length = len(tokens(phrase))
            best = max(best or (0, Control("")), (length, Control(name, rest)), key=lambda each: each[0])
    return best[1] if best else None


def _rested(talk: Reply) -> Iterable[tuple[str, str, bool]]:
    """Control names with their phrases, and whether words (and not only a number) may follow."""
    for name in {**talk.spoken.asides, **talk.controls}:
        given = talk.controls.get(name, ())
        mine = talk.spoken.asides.get(name, ()) if not any("..." in phrase for phrase in given) else ()
        yield from (
            (name, phrase if "..." in phrase else f"{phrase} ...", "..." in phrase)
            for phrase in (*given, *mine)
        )


def _rest(talk: Reply, phrase: str) -> str:
    """What stands in the place of the dots, as written; "" when the phrase is not there."""
    before, _, after = phrase.partition("...")
    head, tail = tokens(before), tokens(after)
    marks = talk.marks
    end = len(marks) - len(tail)
    if end <= len(head) or talk.said[: len(head)] != head or talk.said[end:] != tail:
        return ""
    if before.rstrip().endswith(":") and not talk.folded[marks[len(head) - 1].end :].lstrip().startswith(":"):
        return ""  # "note: ..." is one, "note that ..." is none
    # The sign before it belongs to the rest too: #2, -5, ~40.
    start = marks[len(head) - 1].end if head else 0
    return talk.folded[start : marks[end - 1].end].strip(" .,:;!?")


def _allowed(talk: Reply, name: str, rest: str) -> bool:
    """Whether the rest can be what this phrase speaks of; 'not loose' is no word about answer 'loose'."""
    if name in IN_WORDS:
        return True
    if name == "wrong":
        return bool(re.fullmatch(r"(?:#|number )?\d{1,3}(?:(?:\s*,\s*|\s+and\s+|\s+)\d{1,3})*", rest))
    return len(tokens(rest)) <= REST


def _numeric(talk: Reply, rest: str) -> bool:
    """Whether the rest is one number or quantity and nothing else, but for a small word: 'for 20 min'."""
    head = next((word.start for word in words(rest) if word.text not in talk.spoken.small), 0)
    bare = rest[head:].lstrip("# ")
    found = list(quantities(bare, "", talk.spoken))
    return (
        len(found) == 1
        and found[0].start == 0
        and found[0].end == len(bare)
        and any(map(str.isdecimal, bare))
    )


def _several(talk: Reply) -> Reading | None:
    """'1 4', '1,4', '1 and 4', 'hairs, flakes', 'all of them'."""
    if talk.offer.kind != "several":
        return None
    if (run := _run(talk)) is not None:
        return run
    parts = _parted(talk)
    if not 1 < len(parts) <= LISTED:
        return None
    readings = [read(part, talk.offer, {}, replace(talk.spoken, asides={})) for part in parts]
    together = _together(readings)
    return None if together == Unclear() else together


def _run(talk: Reply) -> Reading | None:
    """All marks or a run of them, where it is said in so many words: "all of them", "all five", "1 to 4".

    Of "1-4" only the whole run is taken: "1-3" may be two marks or three.
    """
    spoken, ids = talk.spoken, [answer.id for answer in talk.offer.answers]
    said = {talk.said, *(stripped(talk.said, spoken, wide) for wide in (False, True))}
    every = {*map(tokens, spoken.every), *(("all", each) for each in _figures(spoken, len(ids)))}
    sweeping = {*map(tokens, spoken.sweeping)}
    two = {*map(tokens, spoken.both), *sweeping} if len(ids) == 2 else set()
    if said & {*every, *two}:
        return Ticked(frozenset(ids))
    if said & sweeping:
        return Sweeping(len(ids))
    ends = re.fullmatch(r"\s*#?(\d{1,2})\s*(-|\bto\b)\s*#?(\d{1,2})\s*[.!]?\s*", talk.folded)
    if ends is None:
        return None
    first, last = int(ends[1]), int(ends[3])
    whole = (first, last) == (1, len(ids))
    if not 1 <= first < last <= len(ids) or (ends[2] == "-" and not whole):
        return None
    return Ticked(frozenset(ids[first - 1 : last]))


def _figures(spoken: Spoken, n: int) -> tuple[str, ...]:
    """A number in figures and in words."""
    return (str(n), *(word for word, value in spoken.numbers.items() if value == n))


def _parted(talk: Reply) -> list[str]:
    """The parts of a list; runs of numbers part at every space, words at commas and 'and'."""
    text = talk.folded.replace("#", " ")
    if "-" in text and re.search(r"\d\s*-\s*\d", text):
        return []  # "1-3" may mean two marks or three
    if re.fullmatch(r"[\d\s,.;/&+)(]+", text):
        return re.findall(r"\d+", text)
    both = "|".join(re.escape(word) for word in talk.spoken.and_ if word.isalpha())
    rough = re.split(rf"[,;/&+\n]|(?<!\w)(?:{both})(?!\w)", text)
    parts = [
        piece for part in rough for piece in (part.split() if re.fullmatch(r"[\d\s]+", part) else [part])
    ]
    return [part for part in parts if tokens(part)]


def _together(readings: list[Reading]) -> Reading:
    """All parts or nothing: half a list would deny what was not understood."""
    unsure = next((each for each in readings if isinstance(each, Ambiguous)), None)
    ticked = [each for each in readings if isinstance(each, Ticked)]
    if len(ticked) < len(readings):
        return unsure or Unclear()
    if any(each.none for each in ticked):
        return Ticked(frozenset(), True) if all(each.none for each in ticked) else Unclear()
    return Ticked(frozenset().union(*(each.ids for each in ticked)))


def _two_numbers(talk: Reply) -> Reading | None:
    """'2 or 3' where one answer is wanted: ask which."""
    if talk.offer.kind in ("number", "name", "graded", "several"):
        return None
    loose = {*talk.spoken.and_, *talk.spoken.to}
    said = [word for word in talk.said if word not in loose]
    places = {int(word) for word in said if word.isdecimal() and len(word) < 4}
    listed = (
        len(said) > 1 and all(word.isdecimal() for word in said) and not re.search(r"\d[.:/]\d", talk.folded)
    )
    if not listed or not all(1 <= place <= len(talk.offer.answers) for place in places):
        return None
    return chosen(talk, (talk.offer.answers[place - 1].id for place in places))


def _amount(talk: Reply) -> Reading | None:
    """A measurement, in the unit asked for, within what is possible."""
    offer = talk.offer
    if offer.kind not in ("number", "graded") or (offer.kind == "graded" and not _stepped(offer)):
        return None
    unit = offer.unit or ""
    given = measure(talk.folded, unit, talk.spoken)
    if given is None or (not given.unit and len(talk.said) > AMONG):
        return None
    moved = _moved(given, unit)
    if moved is None:
        return WrongUnit(given.unit, unit)
    return _within(moved, offer) if offer.kind == "number" else _steps(talk, *moved)


def _stepped(offer: Offer) -> bool:
    return len(offer.upto) == len(offer.answers) and any(edge is not None for edge in offer.upto)


def _moved(given: Quantity, unit: str) -> tuple[float, float] | None:
    """Both ends in the wanted unit; a bare number is taken to be in it."""
    if not given.unit:
        return given.low, given.high
    ends = [convert(end, given.unit, unit) for end in (given.low, given.high)]
    return None if ends[0] is None or ends[1] is None else (ends[0], ends[1])


def _within(ends: tuple[float, float], offer: Offer) -> Reading:
    """The part of a span that is possible; out of range when none is, or an exact number is not."""
    low, high = ends
    least, most = offer.allowed or (-math.inf, math.inf)
    if high < least or low > most or low == math.inf:
        return OutOfRange(low if low > most else high, least, most, offer.unit or "")
    return Measured(max(low, least), min(high, most))


def _steps(talk: Reply, low: float, high: float) -> Reading:
    """The steps that an amount covers: each reaches from above the last one's edge up to its own."""
    edges = [math.inf if edge is None else edge for edge in talk.offer.upto]
    below = [-math.inf, *edges[:-1]]
    if not talk.offer.unit and math.isfinite(high):
        high = max(low, math.floor(high))  # pieces come whole: less than 6 is 5 at most
    covered = [
        answer.id
        for answer, under, edge in zip(talk.offer.answers, below, edges, strict=True)
        if high > under and low <= edge
    ]
    if not covered:
        return Unclear()
    return Spanned(tuple(covered)) if len(covered) > 1 else Chosen(covered[0])


def _with_slips(talk: Reply) -> Reading | None:
    """The nearest answer or control; at equal distance the answer."""
    near: dict[int, set[str]] = {}
    for said in {talk.said, stripped(talk.said, talk.spoken, wide=True)} - {()}:
        for phrase, ids in talk.owned.items():
            off = slips(said, phrase)
            if off is not None:
                near.setdefault(off, set()).update(ids)
    control = _slipped_control(talk)
    if near and (control is None or min(near) <= control[0]):
        return chosen(talk, near[min(near)])
    return control[1] if control else None


def _slipped_control(talk: Reply) -> tuple[int, Control] | None:
    """What ends a case or is told of it is never a slip: "closed" is not "close"."""
    found = []
    forgiven = {name: phrases for name, phrases in talk.controls.items() if name not in IN_WORDS | EXACT}
    for said in {talk.said, stripped(talk.said, talk.spoken, wide=False)} - {()}:
        for name, phrases in forgiven.items():
            offs = [slips(said, tokens(phrase)) for phrase in phrases if "..." not in phrase]
            found += [(off, -len(said), Control(name)) for off in offs if off is not None]
    best = min(found, key=lambda each: each[:2], default=None)
    return (best[0], best[2]) if best else None


def _beginning(talk: Reply) -> Reading | None:
    """The first words of labels; of one only, or of few enough to ask which."""
    said = stripped(talk.said, talk.spoken, wide=True)
    idle = {*talk.spoken.small, *talk.spoken.negation}
    if sum(map(len, said)) < PREFIX or idle.issuperset(said):
        return None
    figured = _figured(said, talk.spoken)
    if len(figured) > 1 and any(map(str.isdecimal, figured)):
        return _numbered_label(talk, figured)
    if said[-1].isdecimal():
        return None
    begun = [a.id for a in talk.offer.numbered if any(_begins(said, tokens(t)) for t in (a.label, a.short))]
    if not begun or (len(begun) > 1 and len(begun) == len(talk.offer.numbered) > 2):
        return None
    return chosen(talk, begun)


def _begins(said: Phrase, label: Phrase) -> bool:
    n = len(said)
    return n <= len(label) and said[:-1] == label[: n - 1] and label[n - 1].startswith(said[-1])


def _figured(said: Phrase, spoken: Spoken) -> Phrase:
    """Numbers in figures: five or fewer is 5 or fewer."""
    return tuple(f"{spoken.numbers[word]:g}" if word in spoken.numbers else word for word in said)


def _numbered_label(talk: Reply, said: Phrase) -> Reading | None:
    """The one label that begins so, in words or figures: "five or fewer" for "5 flakes or fewer"."""
    labels = [(a.id, tokens(t)) for a in talk.offer.numbered for t in (a.label, a.short)]
    begun = {id: None for id, label in labels if _runs_through(said, _figured(label, talk.spoken))}
    return chosen(talk, begun) if len(begun) == 1 else None


def _runs_through(said: Phrase, label: Phrase) -> bool:
    """Whether these words begin the label, no more than one of its words left out at a time."""
    place = 0
    for n, word in enumerate(said):
        ahead = label[place : place + (2 if n else 1)]
        if word not in ahead:
            return False
        place += ahead.index(word) + 1
    return True


def _ordinal(talk: Reply) -> Reading | None:
    """'the second one', '2nd', where no label begins so."""
    said = stripped(talk.said, talk.spoken, wide=True)
    said = said[:-1] if len(said) == 2 and said[1] in talk.spoken.numbers else said
    if talk.offer.kind in ("number", "name") or len(said) != 1 or said[0] not in talk.spoken.ordinals:
        return None
    place = talk.spoken.ordinals.index(said[0]) % ORDINALS
    return chosen(talk, [talk.offer.numbered[place].id]) if place < len(talk.offer.numbered) else None


def _middle(talk: Reply) -> Reading | None:
    """Words out of the middle of labels, all of them there; "small outer cover" is enough.

    A label that denies ("no knock") is not meant by words that do not.
    """
    said = stripped(talk.said, talk.spoken, wide=True)
    idle = {*talk.spoken.small, *talk.spoken.negation}
    if not any(len(word) >= TELLING and word not in idle for word in said):
        return None
    found = [
        a.id for a in talk.offer.numbered if any(_holds(said, t, talk.spoken) for t in (a.label, a.short))
    ]
    return chosen(talk, found) if 0 < len(found) <= FEW else None


def _holds(said: Phrase, label: str, spoken: Spoken) -> bool:
    there = tokens(label)
    denies = set(there) & set(spoken.negation)
    return denies <= set(said) and all(any(off(word, meant) is not None for meant in there) for word in said)


_ORDER: tuple[Callable[[Reply], Reading | None], ...] = (
    _word_for_word,
    _control_word,
    _with_rest,
    _with_slips,
    _several,
    _two_numbers,
    _amount,
    _beginning,
    _ordinal,
    _middle,
)


def led(text: str, offer: Offer, spoken: Spoken = ENGLISH) -> Chosen | None:
    """'no, we have a van': a plain yes or no of two answers with a remark after it, which the caller keeps.

    What is hedged ("no, but ...", "yes, I think") or says both is no answer.
    """
    folded = fold(text)
    marks = words(folded)
    if len(offer.numbered) != 2 or len(marks) < 2 or offer.kind in ("confirm", "several", "name", "number"):
        return None
    first, *rest = (word.text for word in marks)
    parted = bool(re.match(r"\s*(?:[,.;!]|-+\s)", folded[marks[0].end :])) or rest[0] in spoken.pronouns
    owners = ways(offer, spoken).get((first,), ())
    if first not in {*spoken.yes, *spoken.no} or len(owners) != 1 or not parted:
        return None
    said = " ".join(rest)
    hedges = (*spoken.turn, *spoken.doubt, *spoken.yes, *spoken.no, "i think", "probably")
    hedged = any(re.search(rf"(?<!\w){re.escape(each)}(?!\w)", said) for each in hedges)
    return None if hedged or "?" in folded else Chosen(owners[0])
