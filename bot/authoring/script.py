"""Sample conversations as text: what a person writes by hand, what is played, what must hold.

A file has four parts, in this order; any of them but the talk may be left out:

    flow: some-flow            # head: flow, bike, now, channel
    now: 2026-05-04T10:00:00Z

    given:                     # what already stands in the record
      trait starter = kick
      magnet = all
      drive-nut = good (mechanic)
      amount = 10 to 60
      open: oil-drained, clutch-cover
      stop: knock
      begun: refit-drive-nut
      mended: refit-drive-nut
      held: mechanic
      hours: 43
      book: oil change at 43 on 2026-04-20, six flakes
      came out: drive-nut-loose 9 of 41

    you: there is metal in my oil
    bot: Did I get this right?
       : 1 Yes
    +2 h
    mechanic: [photo 5f1c] that is the big end
    bot: Kept with this step.
    bot to rider: The mechanic has done this: New crank.

    must: ends in handed_over
    never: says "all is well"

`you:` is a rider, `mechanic:` a mechanic, `admin:` who runs the bot; a line that starts with spaces and `:`
goes on with the one above. Every message of the bot has its own `bot:`; what it says to the one who did not
speak, where several speak in a file, has `bot to rider:` or `bot to mechanic:`. `held: mechanic` means that
the mechanic holds the case from its first word on, as by a code; it opens none by itself. A rider's `share`
gives the code ABCD-EF23 in every sample, and a mechanic's `open ABCD-EF23` brings him in. `[photo x]`,
`[voice x]` and `[press 12:all]` stand for what is not typed. Comments start with `#`.

`came out:` says how closed cases came out, for everyone: 9 of 41 had this cause (or `unlisted`). Each such
line names the same 41; those that no line names came out as the shares of the file have it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

from bot.authoring.catalogue import Severity
from bot.authoring.problems import FlowError, Problem, hint

LineKind = Literal[
    "blank", "comment", "head", "given", "known", "you", "mechanic", "admin", "bot", "clock", "must", "never"
]
PEOPLE = ("you", "mechanic", "admin")
SPEAKERS = (*PEOPLE, "bot")
SEATS = ("rider", "mechanic")  # who sits at a case of a script
HEAD = ("flow", "bike", "now", "channel")
FILES = ("photo", "voice", "video", "document", "sticker")
ENDS = ("handed_over", "parked", "put_off", "proved", "released", "abandoned", "closed", "asking")
START = "2026-01-05T09:00:00Z"  # when a file does not say: a Monday morning

SENTENCES = {
    "S001": "this line is not understood; lines start with {known}, '#', or spaces and ':'{hint}",
    "S002": "'{word}:' stands too late; the head comes first, then 'given:', the talk, and must and never",
    "S003": "'{value}' is not a time with its zone; write it like 2026-05-04T10:00:00Z",
    "S004": "'{word}:' is already set on line {line}; remove one of the two",
    "S005": "there is nothing above that this line could go on with; start it with 'you:' or 'bot:'",
    "S006": "'{value}' cannot be given; write {known}{hint}",
    "S007": "'{value}' does not move the clock; write it like '+2 h', '+30 min' or '+3 days'",
    "S008": "'{value}' cannot be asked of a conversation; write {known}{hint}",
    "S009": "the talk is over where 'must:' and 'never:' start; move this line above them",
    "S010": "nobody says anything here; add a line that starts with 'you:'",
    "S011": "the flow has no {what} '{id}'{hint}",
    "S012": "the file is not UTF-8 text; save it as UTF-8",
    "S013": "'{value}' is not an answer to '{id}'; its answers are {known}{hint}",
    "S014": "there is no flow '{id}'{hint}; write 'flow: ' with the name of one on the first line, and keep "
    "this file beside the flow's own or in sample_conversations/ below it",
    "S015": "{n} of {total} cannot be: {why}",
}


@dataclass(frozen=True, order=True)
class Slip(Problem):
    """Something wrong with a sample conversation; always an error."""

    @property
    def severity(self) -> Severity:
        return "error"


def slip(file: str, place: tuple[int, int], code: str, **fields: object) -> Slip:
    """A problem of a script, worded from `SENTENCES`."""
    return Slip(file, *place, code, SENTENCES[code].format_map(fields))


@dataclass(frozen=True)
class Line:
    """One line of a script, or one turn of several lines. `raw` is how it was written, if it was.

    `key`: of a head line what it sets; of the bot's to whom, "" for whoever spoke.
    """

    kind: LineKind
    lines: tuple[str, ...]
    key: str = ""
    n: int = field(default=0, compare=False)
    column: int = field(default=1, compare=False)
    raw: tuple[str, ...] = field(default=(), compare=False)

    @property
    def text(self) -> str:
        return "\n".join(self.lines)

    @property
    def place(self) -> tuple[int, int]:
        return self.n, self.column


@dataclass(frozen=True)
class Given:
    """Something that stands in the record before the talk: an answer, a trait, work, hours."""

    kind: str  # answer trait setting open stop begun mended held hours ran said watch cant book came_out
    name: str
    values: tuple[str, ...]
    mechanic: bool
    place: tuple[int, int]


@dataclass(frozen=True)
class Rule:
    """One thing that must or must never hold. `kind`: ends, caution, stop, standing, ..."""

    must: bool
    kind: str
    name: str
    value: str
    place: tuple[int, int]

    def __str__(self) -> str:
        form = next(f for f in FORMS if f.kind == self.kind)
        word = "must" if self.must else "never"
        return f"{word}: {form.shape.format(name=self.name, value=self.value)}"


@dataclass(frozen=True)
class Script:
    """A sample conversation: its lines in the order of the file."""

    file: str
    lines: tuple[Line, ...]

    def head(self, key: str) -> str:
        """The head's value of `flow`, `bike`, `now` or `channel`, or ''."""
        return next((x.text for x in self.lines if x.kind == "head" and x.key == key), "")

    @property
    def now(self) -> datetime:
        return datetime.fromisoformat(self.head("now") or START)

    @property
    def talk(self) -> tuple[Line, ...]:
        return tuple(x for x in self.lines if x.kind in (*SPEAKERS, "clock"))

    @property
    def seats(self) -> tuple[str, ...]:
        """Who sits at the case: the rider, and a mechanic who speaks or holds it."""
        held = any(given.kind == "held" for given in self.given)
        both = held or any(line.kind == "mechanic" for line in self.lines)
        return SEATS if both else SEATS[:1]

    @property
    def given(self) -> tuple[Given, ...]:
        return tuple(g for x in self.lines if x.kind == "known" and (g := read_given(x)))

    @property
    def rules(self) -> tuple[Rule, ...]:
        return tuple(r for x in self.lines if x.kind in ("must", "never") and (r := read_rule(x)))


# --- what may be given -----------------------------------------------------------------------

_GIVEN_SHAPES = (
    "question = answer", "trait name = answer", "setting name = value", "open: access", "stop: rule",
    "begun: remedy", "mended: remedy", "held: mechanic", "hours: 43", "ran: 2 h", "said: gone", "watch: plan",
    "cant: check", "book: oil change at 43", "came out: cause 9 of 41",
)  # fmt: skip
_EQUAL = re.compile(r"(?:(trait|setting)\s+)?([a-z0-9_-]+)\s*=\s*(.*?)\s*(\(mechanic\))?$")
_COLON = re.compile(r"(open|stop|begun|mended|held|hours|ran|said|watch|cant)\s*:\s*(.*?)\s*(\(mechanic\))?$")
_BOOK = re.compile(r"book\s*:\s*(\S.*)$")
_CAME_OUT = re.compile(r"came out\s*:\s*(\S+)\s+(\d{1,6})\s+of\s+(\d{1,6})$")


def read_given(line: Line) -> Given | None:
    """What a line under `given:` says, or None when it is not understood."""
    if found := _EQUAL.fullmatch(line.text):
        kind, name, values, mechanic = found.groups()
        parts = _parts(values)
        return Given(kind or "answer", name, parts, bool(mechanic), line.place) if parts else None
    if found := _BOOK.fullmatch(line.text):
        return Given("book", "", (found[1],), False, line.place)
    if found := _CAME_OUT.fullmatch(line.text):
        return Given("came_out", found[1], (found[2], found[3]), False, line.place)
    if found := _COLON.fullmatch(line.text):
        kind, values, mechanic = found.groups()
        parts = _parts(values)
        return Given(kind, "", parts, bool(mechanic), line.place) if parts else None
    return None


def _parts(values: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in values.split(",") if part.strip())


# --- what must hold --------------------------------------------------------------------------


@dataclass(frozen=True)
class Form:
    """One thing that can be asked of a conversation: how it is read and how it is written."""

    kind: str
    pattern: re.Pattern[str]
    shape: str


_ID = r"([a-z0-9]+(?:[-_.][a-z0-9]+)*)"
FORMS = (
    Form("ends", re.compile(rf"ends in ({'|'.join(ENDS)})"), "ends in {name}"),
    Form("caution", re.compile(rf"says caution {_ID}"), "says caution {name}"),
    Form("stop", re.compile(rf"stop {_ID} (stands|lifted)"), "stop {name} {value}"),
    Form("standing", re.compile(rf"standing {_ID} = {_ID}"), "standing {name} = {value}"),
    Form("outcome", re.compile(rf"outcome {_ID}"), "outcome {name}"),
    Form("first", re.compile(rf"first suspect {_ID}"), "first suspect {name}"),
    Form("asks", re.compile(rf"asks {_ID}"), "asks {name}"),
    Form("offers", re.compile(rf"offers {_ID}"), "offers {name}"),
    Form("says", re.compile(r'says "(.+)"'), 'says "{name}"'),
)


def read_rule(line: Line) -> Rule | None:
    """What a `must:` or `never:` line asks, or None when it is not understood."""
    for form in FORMS:
        if found := form.pattern.fullmatch(line.text.strip()):
            name, value = (*found.groups(), "")[:2]
            return Rule(line.kind == "must", form.kind, name, value, line.place)
    return None


# --- the clock -------------------------------------------------------------------------------

_CLOCK = re.compile(r"\+\s*(\d+(?:\.\d+)?)\s*(min|h|days?)")
_LONG = {"min": timedelta(minutes=1), "h": timedelta(hours=1)}


def read_clock(line: Line) -> timedelta | None:
    """How far a `+2 h` line moves the clock, or None when it is not understood."""
    found = _CLOCK.fullmatch(line.text.strip())
    return float(found[1]) * _LONG.get(found[2], timedelta(days=1)) if found else None


# --- reading ---------------------------------------------------------------------------------

_WORD = re.compile(r"([a-z]+):(?: (.*)|\s*)$", re.S)
_BOT_TO = re.compile(rf"bot to ({'|'.join(SEATS)}):(?: (.*)|\s*)$", re.S)
_ON = re.compile(r"\s+:(?: (.*)|\s*)$", re.S)
_KNOWN = (*HEAD, "given", *SPEAKERS, "must", "never")
_PART = {"head": 0, "given": 1, "known": 1, "talk": 2, "rules": 3}


class _Reading:
    """The lines read so far, with the part of the file that has been reached."""

    def __init__(self, file: str) -> None:
        self.file, self.lines, self.problems = file, list[Line](), list[Slip]()
        self.part = 0
        self.open = False  # whether the line above can go on

    def wrong(self, n: int, code: str, column: int = 1, **fields: object) -> None:
        self.problems.append(slip(self.file, (n, column), code, **fields))

    def take(self, n: int, raw: str) -> None:
        """One line of the file, into the part that it belongs to."""
        if not raw.strip():
            self._keep(Line("blank", (), n=n, raw=(raw,)))
        elif raw.lstrip().startswith("#"):
            self._keep(Line("comment", (raw.strip(),), n=n, raw=(raw,)))
        elif found := _ON.fullmatch(raw):
            self._go_on(n, raw, found[1] or "")
        elif raw[0] == "+":
            self._enter(n, raw, "clock", "talk", raw.strip())
        elif raw[0].isspace() and self.part == _PART["given"]:
            self._keep(Line("known", (raw.strip(),), n=n, column=_indent(raw), raw=(raw,)))
        elif found := _WORD.fullmatch(raw):
            self._word(n, raw, found[1], found[2] or "")
        elif found := _BOT_TO.fullmatch(raw):
            self._enter(n, raw, "bot", "talk", found[2] or "", found[1])
            self.open = True
        else:
            self._unknown(n, raw)

    def _unknown(self, n: int, raw: str) -> None:
        said = raw.strip().split()[0].rstrip(":")
        known = ", ".join(f"'{w}:'" for w in _KNOWN)
        self.wrong(n, "S001", _indent(raw), known=known, hint=hint(said, _KNOWN))

    def _word(self, n: int, raw: str, word: str, rest: str) -> None:
        if word in HEAD:
            self._enter(n, raw, "head", "head", rest.strip(), word)
        elif word == "given":
            self._enter(n, raw, "given", "given", rest.strip())
        elif word in SPEAKERS:
            self._enter(n, raw, word, "talk", rest)
            self.open = True
        elif word in ("must", "never"):
            self._enter(n, raw, word, "rules", rest.strip())
        else:
            self._unknown(n, raw)

    def _enter(self, n: int, raw: str, kind: str, part: str, text: str, key: str = "") -> None:
        if self.part > _PART[part]:
            late = "S009" if part == "talk" else "S002"
            self.wrong(n, late, word=key or kind)
        self.part = max(self.part, _PART[part])
        column = 1 if kind in SPEAKERS else raw.find(text) + 1 if text else 1
        self._keep(Line(kind, (text,), key, n, column, (raw,)))  # type: ignore[arg-type]

    def _go_on(self, n: int, raw: str, text: str) -> None:
        if not self.open:
            self.wrong(n, "S005", _indent(raw))
            return
        last = self.lines[-1]
        self.lines[-1] = replace(last, lines=(*last.lines, text), raw=(*last.raw, raw))

    def _keep(self, line: Line) -> None:
        self.lines.append(line)
        self.open = False


def _indent(raw: str) -> int:
    return len(raw) - len(raw.lstrip()) + 1


def read(text: str | bytes, file: str) -> Script:
    """A script from its text. FlowError with every problem of the file."""
    if isinstance(text, bytes):
        try:
            text = text.decode("utf-8")
        except UnicodeDecodeError:
            raise FlowError([slip(file, (1, 1), "S012")]) from None
    reading = _Reading(file)
    body = text.removesuffix("\n")  # a file ends with a line end, which starts no line
    for n, raw in enumerate(body.split("\n") if body or text else (), 1):
        reading.take(n, raw.removesuffix("\r"))
    problems = [*reading.problems, *_judge(reading.lines, file)]
    if problems:
        raise FlowError(problems)
    return Script(file, tuple(reading.lines))


def _judge(lines: Iterable[Line], file: str) -> Iterable[Slip]:
    """Problems of single lines, and of the file as a whole."""
    seen: dict[str, int] = {}
    spoken = False
    for line in lines:
        spoken = spoken or line.kind in PEOPLE
        if line.kind == "head":
            if line.key in seen:
                yield slip(file, line.place, "S004", word=line.key, line=seen[line.key])
            seen.setdefault(line.key, line.n)
            if line.key == "now" and not _zoned(line.text):
                yield slip(file, line.place, "S003", value=line.text)
        elif line.kind in _READERS:
            yield from _understood(file, line)
    if not spoken:
        yield slip(file, (1, 1), "S010")


def _zoned(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False


_RULE_SHAPES = tuple(f.shape.format(name="x", value="y") for f in FORMS)
_READERS: dict[str, tuple[Callable[[Line], object], str, tuple[str, ...]]] = {
    "known": (read_given, "S006", _GIVEN_SHAPES),
    "clock": (read_clock, "S007", ()),
    "must": (read_rule, "S008", _RULE_SHAPES),
    "never": (read_rule, "S008", _RULE_SHAPES),
}


def _understood(file: str, line: Line) -> Iterable[Slip]:
    reader, code, shapes = _READERS[line.kind]
    if reader(line) is None:
        known = ", ".join(f"'{s}'" for s in shapes)
        yield slip(file, line.place, code, value=line.text, known=known, hint=hint(line.text, shapes, 0.5))


# --- writing ---------------------------------------------------------------------------------

_ONCE = {"blank": "", "given": "given:"}


def write(script: Script) -> str:
    """The script as text; a script that was read comes back as it was written."""
    return "".join(f"{raw}\n" for line in script.lines for raw in line.raw or written(line))


def written(line: Line) -> tuple[str, ...]:
    """A line of no file yet, as it should stand in one."""
    if line.kind in _ONCE:
        return (_ONCE[line.kind],)
    if line.kind in ("comment", "clock"):
        return (line.text,)
    if line.kind == "known":
        return (f"  {line.text}",)
    word = line.key or line.kind
    if line.kind == "bot" and line.key:
        word = f"bot to {line.key}"
    first, *rest = line.lines or ("",)
    return (f"{word}: {first}" if first else f"{word}:", *(_on(word, text) for text in rest))


def _on(word: str, text: str) -> str:
    lead = " " * len(word) + ":"
    return f"{lead} {text}" if text else lead


def turn(kind: LineKind, text: str, to: str = "") -> Line:
    """A turn of the talk from what was said; line ends of any kind part its lines. `to`: of the bot's."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return Line(kind, tuple(lines), to)
