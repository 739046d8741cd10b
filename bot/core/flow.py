"""What a flow may say: the frozen, strict models behind flows/*.yaml.

A flow is data, never a program. Flow and `flows/common.yaml` are merged before they get here,
so the core sees one `Flow`. Whatever can be judged at one place of the file is judged here;
what needs two places is judged in `authoring/lint.py`, where lines are known.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, WithJsonSchema
from pydantic_core import PydanticCustomError

# Words for how often a sign is seen, from one published table (Mosteller and Youtz 1990,
# Statistical Science 5(1) 2-34, as transcribed twice in public code; halves rounded).
FREQUENCY = {
    "always": 0.98,
    "almost_always": 0.91,
    "usually": 0.77,
    "often": 0.70,
    "half": 0.50,
    "sometimes": 0.26,
    "seldom": 0.12,
    "rarely": 0.07,
    "almost_never": 0.03,
}


def _chance(value: Any) -> Any:
    """A frequency word or a number strictly between 0 and 1, as a number."""
    if isinstance(value, str):
        if value not in FREQUENCY:
            raise PydanticCustomError(
                "chance_word",
                "'{word}' is not a word for how often",
                {"word": value, "expected": ", ".join(FREQUENCY)},
            )
        return FREQUENCY[value]
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < 1:
        raise PydanticCustomError(
            "chance_number", "a chance lies between 0 and 1, both left out", {"found": str(value)}
        )
    return float(value)


def _strength(value: Any) -> Any:
    """A chance, or for a graded sign the list 'of 100 bikes, how many at each step'."""
    if not isinstance(value, (list, tuple)):
        return _chance(value)
    right = len(value) >= 2 and all(
        isinstance(n, (int, float)) and not isinstance(n, bool) and n >= 0 for n in value
    )
    if not right or not math.isclose(sum(value), 100, abs_tol=1.0):
        raise PydanticCustomError(
            "graded_sum", "the steps are 'of 100' and must add up to 100", {"found": str(value)}
        )
    return tuple(float(n) for n in value)


def _condition(value: Any) -> Any:
    """`sign`, `check.bad`, `check.mark`, or one `sign: step` (that step or above)."""
    if isinstance(value, str):
        return value
    if isinstance(value, dict) and len(value) == 1 and all(isinstance(v, str) for v in value.values()):
        return value
    raise PydanticCustomError(
        "condition_form", "a condition is a sign, a check with its result, or one 'sign: step'", {}
    )


_NUMBER_OR_WORD = {
    "anyOf": [
        {"enum": list(FREQUENCY)},
        {"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1},
    ]
}
_OF_100 = {"type": "array", "items": {"type": "number", "minimum": 0}, "minItems": 2}

Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=900)]
Short = Annotated[str, StringConstraints(min_length=1, max_length=300)]
Chance = Annotated[float, BeforeValidator(_chance), WithJsonSchema(_NUMBER_OR_WORD)]
Strength = Annotated[
    float | tuple[float, ...],
    BeforeValidator(_strength),
    WithJsonSchema({"anyOf": [*_NUMBER_OR_WORD["anyOf"], _OF_100]}),
]
Condition = Annotated[str | dict[str, str], BeforeValidator(_condition)]
Minutes = Annotated[float, Field(ge=0, le=10_000)]
Money_ = Annotated[float, Field(ge=0, le=1_000_000)]
Place = Literal["trail", "pit", "garage"]
Skill = Literal["anyone", "home", "workshop"]
Needs = Literal["nothing", "running", "riding"]
Basis = Literal["sourced", "borrowed", "practice"]
Changes = Literal["never", "each_look"]
Bar = Literal["running", "riding"]
EVERYWHERE: tuple[Place, ...] = ("trail", "pit", "garage")


class Strict(BaseModel):
    """Base of all: unknown keys refused, nothing converted, nothing changed later."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, defer_build=True)


# --- small parts ---------------------------------------------------------------------------


class Money(Strict):
    """Which money the prices are in, and as of when (YYYY-MM)."""

    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
    as_of: Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}$")]


class HandOver(Strict):
    """What giving the bike to a workshop costs when the rider has not said."""

    minutes: Minutes
    money: Money_ = 0


class Source(Strict):
    """Where a figure was read."""

    title: Text
    part: Text | None = None


class Caution(Strict):
    """A safety message; `signal` after ANSI Z535 (notice is not about injury)."""

    signal: Literal["danger", "warning", "caution", "notice"]
    say: Text
    short: Short | None = None


class Tool(Strict):
    """A tool and the smallest kit that is expected to hold it."""

    name: Text
    kit: Literal["bare", "roll", "garage", "special"]


class Figure(Strict):
    """A number shown to people; never shown without its basis."""

    what: Text
    value: float
    upto: float | None = None
    unit: Annotated[str, StringConstraints(min_length=1, max_length=12)]
    basis: Basis
    source: Id | None = None
    thread: Literal["right-hand", "left-hand", "look"] | None = None
    thread_state: Literal["dry", "oiled", "locker", "manual"] | None = None
    remark: Text | None = None


class Part(Strict):
    """A part on the order list; no price means 'price not known'."""

    name: Text
    price: Money_ | None = None
    quantity: Annotated[int, Field(ge=1, le=100)] = 1
    single_use: bool = False


class Point(Strict):
    """One point of a closing-up list."""

    id: Id
    point: Text
    short: Short | None = None
    why: Text
    look_like: Text


class Step(Strict):
    """One thing to do, in one line, with what can hurt while doing it."""

    id: Id | None = None
    do: Text
    short: Short | None = None
    cautions: tuple[Id, ...] = ()
    tools: tuple[Id, ...] = ()
    parts: tuple[Id, ...] = ()


class WorkStep(Step):
    """A step of a repair. `wait_hours`: so long it must not run afterwards (locker or sealant cures)."""

    wait_hours: Annotated[float, Field(gt=0, le=240)] | None = None


class Normal(Strict):
    """Something that looks alarming and is normal."""

    looks_like: Text
    usually: Text
    trouble: Text


class FalseCure(Strict):
    """A cure that people try and that cures nothing."""

    told_as: tuple[str, ...] = ()
    say: Text
    short: Short | None = None


# --- signs ---------------------------------------------------------------------------------


class Sign(Strict):
    """What can be observed. With `steps` it is graded, from least to most.

    `background` is how often it is seen when none of the listed causes is there.
    `silent_while`: signs that, once shown in this case, take the voice from this one.
    `gathers`: it gathers while the engine runs, and its strengths are of so many running hours: after a
    repair a shorter run shows less of it, and a longer one more.
    """

    means: Text
    background: Strength
    steps: Annotated[tuple[Id, ...], Field(min_length=2, max_length=6)] | None = None
    changes: Changes = "never"
    from_book: bool = False
    gathers: Annotated[float, Field(gt=0, le=1000)] | None = None
    silent_while: tuple[Id, ...] = ()


# --- answers -------------------------------------------------------------------------------


BookTrend = Literal["falling", "running_in", "same", "first", "after_work", "rising"]


class Answer(Strict):
    """One reply of a `one` question or a trait, and what it says about signs.

    `book`: trends of the bike's book by which the book gives this answer itself.
    """

    label: Text
    short: Short | None = None
    shows: tuple[Id, ...] = ()
    denies: tuple[Id, ...] = ()
    opens: tuple[Id, ...] = ()
    words: tuple[str, ...] = ()
    told_as: tuple[str, ...] = ()
    book: tuple[BookTrend, ...] = ()


class Finds(Strict):
    """What a look is good at: chance to say bad when the cause is there, and when it is not."""

    cause: Id
    catches: Chance
    false_alarm: Annotated[float, Field(ge=0.001, lt=0.5)] = 0.005


class Mark(Strict):
    """One thing that may be ticked: it shows a sign, or (in a check) finds causes."""

    label: Text
    short: Short | None = None
    shows: Id | None = None
    finds: tuple[Finds, ...] = ()
    looks_like: Text | None = None
    good_looks_like: Text | None = None
    words: tuple[str, ...] = ()
    told_as: tuple[str, ...] = ()


class Grade(Strict):
    """One step of a graded question; `upto` is the largest amount in it (last: open)."""

    label: Text
    short: Short | None = None
    upto: float | None = None
    words: tuple[str, ...] = ()
    told_as: tuple[str, ...] = ()


class Range(Strict):
    """Part of a number's scale; the last one has no `upto`."""

    upto: float | None = None
    step: Id | None = None
    shows: tuple[Id, ...] = ()
    denies: tuple[Id, ...] = ()


class Outcome(Strict):
    """One side of a look."""

    label: Text
    short: Short | None = None
    looks_like: Text
    words: tuple[str, ...] = ()
    told_as: tuple[str, ...] = ()


class NoneOfThese(Strict):
    label: Text
    short: Short | None = None
    words: tuple[str, ...] = ()
    told_as: tuple[str, ...] = ()


# --- questions and checks: one mechanism ----------------------------------------------------


class Asking(Strict):
    """What every question and check has.

    A question needs no work on the bike. A check may have `steps`, be `behind` access, ask for
    tools, skill or a running engine. `minutes` is for the look alone. `name` is what the look is
    called in lists and in the record.
    """

    name: Annotated[str, StringConstraints(min_length=1, max_length=60)] | None = None
    ask: Text
    short: Short | None = None
    why: Text | None = None
    minutes: Minutes = 1
    money: Money_ = 0
    steps: tuple[Step, ...] = ()
    behind: tuple[Id, ...] = ()
    at: tuple[Place, ...] = EVERYWHERE
    tools: tuple[Id, ...] = ()
    skill: Skill = "anyone"
    needs: Needs = "nothing"
    cautions: tuple[Id, ...] = ()
    figures: tuple[Figure, ...] = ()
    normal: tuple[Id, ...] = ()
    only_when: dict[Id, tuple[Id, ...]] = Field(default_factory=dict)
    not_sure: Chance = 0.12
    by_feel: bool = False

    @property
    def called(self) -> str:
        """How the record names it."""
        return self.name or (self.short or self.ask).strip("¿?.")


class One(Asking):
    """Exactly one answer is true."""

    kind: Literal["one"]
    slip: Annotated[float, Field(ge=0, lt=0.5)] = 0.03
    answers: Annotated[dict[Id, Answer], Field(min_length=2, max_length=6)]


class Several(Asking):
    """Any number of marks; a mark left out is denied."""

    kind: Literal["several"]
    slip: Annotated[float, Field(ge=0, lt=0.5)] = 0.03
    marks: Annotated[dict[Id, Mark], Field(min_length=1, max_length=12)]
    none_of_these: NoneOfThese
    other_damage: bool = False


class Graded(Asking):
    """One graded sign, told as a step, a number, or a span ('10 to 60').

    `counts`: what the number is of; pieces of metal since the oil was changed go with the book's trend.
    """

    kind: Literal["graded"]
    slip: Annotated[float, Field(ge=0, lt=0.5)] = 0.03
    sign: Id
    unit: Annotated[str, StringConstraints(max_length=12)] | None = None
    classes: Annotated[dict[Id, Grade], Field(min_length=2, max_length=6)]
    counts: Literal["pieces"] | None = None


class Number(Asking):
    """A number with a unit; its ranges act as answers, or as steps of `sign`.

    `book`: what the bike's book answers it with, the running hours since the engine was opened.
    """

    kind: Literal["number"]
    slip: Annotated[float, Field(ge=0, lt=0.5)] = 0.03
    sign: Id | None = None
    unit: Annotated[str, StringConstraints(min_length=1, max_length=12)]
    allowed: tuple[float, float]
    ranges: Annotated[tuple[Range, ...], Field(min_length=1, max_length=8)]
    meter: bool = False
    book: Literal["since_work"] | None = None


class Look(Asking):
    """A check with a good and a bad side, made for one cause (or a few)."""

    kind: Literal["look"]
    slip: Annotated[float, Field(ge=0, lt=0.5)] = 0.01
    good: Outcome
    bad: Outcome
    finds: Annotated[tuple[Finds, ...], Field(min_length=1)]
    other_damage: bool = False


class Note(Asking):
    """Words or a photo; no weight in the odds."""

    kind: Literal["note"]


Ask = Annotated[One | Several | Graded | Number | Look | Note, Field(discriminator="kind")]


class Trait(Strict):
    """Something about the bike that does not change; asked once per bike."""

    ask: Text
    short: Short | None = None
    answers: Annotated[dict[Id, Answer], Field(min_length=2, max_length=6)]
    not_sure: Chance = 0.12
    only_when: dict[Id, tuple[Id, ...]] = Field(default_factory=dict)


# --- work ----------------------------------------------------------------------------------


class Access(Strict):
    """Something that must come off or out first.

    `after` holds unless a known trait picks another list in `after_when`.
    `given_by`: having any of these open gives this one too. `fills`: something is poured in again,
    so it is shut after everything else that can be.
    """

    do: Text
    short: Short | None = None
    shut: Text
    open: Minutes
    close: Minutes
    open_money: Money_ = 0
    close_money: Money_ = 0
    after: tuple[Id, ...] = ()
    after_when: dict[Id, dict[Id, tuple[Id, ...]]] = Field(default_factory=dict)
    given_by: tuple[Id, ...] = ()
    fills: bool = False
    skill: Skill = "anyone"
    at: tuple[Place, ...] = EVERYWHERE
    tools: tuple[Id, ...] = ()
    cautions: tuple[Id, ...] = ()
    shut_cautions: tuple[Id, ...] = ()
    parts: dict[Id, Part] = Field(default_factory=dict)
    closing: tuple[Point, ...] = ()
    figures: tuple[Figure, ...] = ()


class Hazard(Strict):
    """What running or riding with this cause may do."""

    running: Literal["nothing", "wear", "engine", "rider"] = "nothing"
    riding: Literal["nothing", "wear", "engine", "rider"] = "nothing"


class Cause(Strict):
    """A possible fault. `share`: of 100 cases, how many have this as the main fault.

    `shows`: how often this cause alone shows each sign (net meaning: other reasons excluded).
    `share_if`: another share once a trait is known. `only_when`: traits it needs.
    `alone`: never one of two causes. No `remedy`: watched by its `second_look`.
    """

    name: Text
    short: Short | None = None
    about: Text | None = None
    share: Annotated[float, Field(gt=0, lt=100)]
    share_if: dict[Id, dict[Id, Annotated[float, Field(gt=0, lt=100)]]] = Field(default_factory=dict)
    only_when: dict[Id, tuple[Id, ...]] = Field(default_factory=dict)
    alone: bool = False
    shows: dict[Id, Strength] = Field(default_factory=dict)
    hazard: Hazard = Hazard()
    remedy: Id | None = None
    second_look: Id | None = None
    fracture: bool = False


class AskAfter(Strict):
    """How the work was done, asked when the fault comes back; bad raises `comes_back`."""

    ask: Text
    short: Short | None = None
    good: Text
    bad: Text


class Proof(Strict):
    """The run that shows whether the repair took."""

    do: Text
    short: Short | None = None
    minutes: Minutes
    needs: Needs = "running"
    cautions: tuple[Id, ...] = ()
    good: Text
    bad: Text


class Remedy(Strict):
    """What puts causes right.

    `holds`: chance that each remedied cause is gone afterwards. `may_leave`: causes the work
    itself may leave behind. `comes_back`: chance within ten running hours that it returns.
    """

    name: Text
    steps: Annotated[tuple[WorkStep, ...], Field(min_length=1)]
    behind: tuple[Id, ...] = ()
    minutes: Minutes
    skill: Skill = "anyone"
    at: tuple[Place, ...] = EVERYWHERE
    tools: tuple[Id, ...] = ()
    cautions: tuple[Id, ...] = ()
    parts: dict[Id, Part] = Field(default_factory=dict)
    only_when: dict[Id, tuple[Id, ...]] = Field(default_factory=dict)
    figures: tuple[Figure, ...] = ()
    closing: tuple[Point, ...] = ()
    holds: Chance
    may_leave: dict[Id, Chance] = Field(default_factory=dict)
    comes_back: Chance = FREQUENCY["rarely"]
    ask_after: dict[Id, AskAfter] = Field(default_factory=dict)
    proof: Proof | None = None
    second_look: Id | None = None
    qualified_look: bool = False


# --- rules ---------------------------------------------------------------------------------


class When(Strict):
    """`all` must be shown, one of `any` must be shown, none of `unless` may be."""

    all: tuple[Condition, ...] = ()
    any: tuple[Condition, ...] = ()
    unless: tuple[Condition, ...] = ()


class ClearedBy(Strict):
    """What lifts a stop: looks (`check.good`) and remedies, or a mechanic's word.

    `by: doctor`: it is about a person; neither a look nor a mechanic of bikes lifts it here.
    """

    any: tuple[str, ...] = ()
    all: tuple[str, ...] = ()
    by: Literal["rider", "mechanic", "doctor"] = "rider"


class StopRule(Strict):
    """When the engine must not run, or the bike must not be ridden.

    `ends_questions`: it is about a person, so nothing more is asked about the bike while it stands, until
    somebody takes the bike up by a clear word. Only a doctor lifts such a stop.
    """

    when: When
    say: Text
    short: Short | None = None
    why: Text | None = None
    bars: Annotated[tuple[Bar, ...], Field(min_length=1)]
    cleared_by: ClearedBy
    ends_questions: bool = False
    second_look: Id | None = None
    basis: Basis = "practice"
    source: Id | None = None


class LookAgain(Strict):
    """One look of a plan, after minutes or running hours since the work or the last look."""

    after_minutes: Minutes | None = None
    after_hours: Annotated[float, Field(gt=0, le=1000)] | None = None
    running: Literal["light", "normal"] = "normal"
    do: Text
    short: Short | None = None
    cautions: tuple[Id, ...] = ()


class BackWhen(Strict):
    more_of_same: bool = True
    new_kind: bool = True
    any: tuple[Condition, ...] = ()


class Meanings(Strict):
    """What it usually means when something is still there at a second look."""

    less: Text
    same: Text
    more: Text
    new_kind: Text


class SecondLook(Strict):
    """A named plan of looks after the work, with the line where it counts as gone or back."""

    basis: Basis
    source: Id | None = None
    say: Text
    looks: Annotated[tuple[LookAgain, ...], Field(min_length=1)]
    asks: Annotated[tuple[Id, ...], Field(min_length=1)]
    gone_when: dict[Id, Id] = Field(default_factory=dict)
    back_when: BackWhen = BackWhen()
    meanings: Meanings


class Unlisted(Strict):
    share: Annotated[float, Field(gt=0, lt=100)]


class Common(Strict):
    """`flows/common.yaml`: what all flows share."""

    language: Literal[1]
    common: Id
    version: Annotated[int, Field(ge=1)]
    title: Text
    traits: dict[Id, Trait] = Field(default_factory=dict)
    signs: dict[Id, Sign] = Field(default_factory=dict)
    questions: dict[Id, Ask] = Field(default_factory=dict)
    cautions: dict[Id, Caution] = Field(default_factory=dict)
    tools: dict[Id, Tool] = Field(default_factory=dict)
    sources: dict[Id, Source] = Field(default_factory=dict)
    stop_rules: dict[Id, StopRule] = Field(default_factory=dict)


class Flow(Strict):
    """One diagnosis. `safety` is asked before all else, `opening` before the planner chooses.

    `only_riders_say`: a first message picks it by its title and `riders_say` alone. For a flow whose
    questions go over the whole bike, so that what they may be told speaks of other flows as much.
    """

    language: Literal[1]
    flow: Id
    version: Annotated[int, Field(ge=1)]
    title: Text
    riders_say: Annotated[tuple[str, ...], Field(min_length=1)]
    only_riders_say: bool = False
    money: Money | None = None
    paired: Annotated[float, Field(gt=0, lt=50)] = 6
    uses: tuple[Id, ...] = ()
    needs_traits: tuple[Id, ...] = ()
    hand_over: HandOver
    safety: tuple[Id, ...] = ()
    opening: tuple[Id, ...] = ()
    traits: dict[Id, Trait] = Field(default_factory=dict)
    signs: dict[Id, Sign]
    questions: dict[Id, Ask] = Field(default_factory=dict)
    checks: dict[Id, Ask] = Field(default_factory=dict)
    access: dict[Id, Access] = Field(default_factory=dict)
    causes: Annotated[dict[Id, Cause], Field(min_length=1)]
    remedies: dict[Id, Remedy] = Field(default_factory=dict)
    cautions: dict[Id, Caution] = Field(default_factory=dict)
    tools: dict[Id, Tool] = Field(default_factory=dict)
    sources: dict[Id, Source] = Field(default_factory=dict)
    normal: dict[Id, Normal] = Field(default_factory=dict)
    false_cures: dict[Id, FalseCure] = Field(default_factory=dict)
    stop_rules: dict[Id, StopRule] = Field(default_factory=dict)
    second_looks: dict[Id, SecondLook] = Field(default_factory=dict)
    unlisted: Unlisted

    def asking(self, id: str) -> Asked_:
        """The question or check of this id. KeyError when there is none."""
        return self.questions[id] if id in self.questions else self.checks[id]

    def found(self, id: str) -> Asked_ | None:
        """The question or check of this id, or None; as `asks.get`, without laying all of them together."""
        return self.checks.get(id) or self.questions.get(id)

    @property
    def asks(self) -> dict[str, Asked_]:
        """Questions first, then checks, in the author's order."""
        return {**self.questions, **self.checks}


Asked_ = One | Several | Graded | Number | Look | Note
Traits = Mapping[str, str]  # trait id -> answer id; a trait not in it is not known

SHARED = ("traits", "signs", "questions", "cautions", "tools", "sources", "stop_rules")


def fits(only_when: Mapping[str, tuple[str, ...]], traits: Traits) -> bool:
    """Whether known traits allow it; a trait that is not known excludes nothing."""
    return all(not traits.get(trait) or traits[trait] in wanted for trait, wanted in only_when.items())


def merge(flow: Mapping[str, Any], common: Mapping[str, Any]) -> dict[str, Any]:
    """Plain data of a flow with what it uses of the common file (the flow's own words win)."""
    out = dict(flow)
    for part in SHARED:
        shared, own = common.get(part) or {}, flow.get(part) or {}
        if not isinstance(shared, dict) or not isinstance(own, dict):
            continue  # a wrong form is the reader's to report, at its own place
        both = {**shared, **own}
        if both:
            out[part] = both
    return out


def read(data: Any) -> Flow:
    """Plain merged data to a Flow. Raises pydantic.ValidationError.

    Goes through JSON so that YAML lists may fill tuples under strict rules.
    """
    return Flow.model_validate_json(json.dumps(data))
