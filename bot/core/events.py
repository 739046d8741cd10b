"""What was heard and what followed: the entries of a case, never changed once written.

Whatever an answer leads to (access opened, minutes spent) stands in the event itself, so that a state
never depends on today's flow or code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

Role = Literal["rider", "mechanic", "admin"]
AskedKind = Literal[
    "bike", "problem", "confirm", "trait", "setting", "question", "check", "access", "remedy",
    "step", "point", "shut", "cure", "proof", "held", "after_work", "second_look", "which", "slip", "park",
    "hand_over", "book", "book_bike", "query", "cause", "repair", "lift", "outcome", "shares",
    "pause", "take_up", "none",
]  # fmt: skip


class Heard(BaseModel):
    """What came in from a channel: words, a press, or a file, from whom."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)
    text: str = ""
    press: str = ""  # what a button sent: "<asked seq>:<answer>"; "" when typed
    file: str = ""  # digest of a photo or file kept as evidence
    file_kind: str = ""  # photo | voice | document | ...
    admitted: bool = False  # came in by a code that was right, just now
    rewords: int = 0  # the entry of a note that its writer words anew with this text
    who: str = "rider"
    role: Role = "rider"
    channel: str = "terminal"


# --- events --------------------------------------------------------------------------------


class _Event(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class WasHeard(_Event):
    kind: Literal["heard"] = "heard"
    heard: Heard


class Opened(_Event):
    kind: Literal["opened"] = "opened"
    complaint: str


class FlowChosen(_Event):
    kind: Literal["flow_chosen"] = "flow_chosen"
    flow: str
    hash: str
    title: str


class FlowMoved(_Event):
    """An admin moved the open case to another version of its flow."""

    kind: Literal["flow_moved"] = "flow_moved"
    hash: str
    title: str


class BikeTaken(_Event):
    """The case is about this bike; what was known of it is copied in. `digit`: of its frame number."""

    kind: Literal["bike_taken"] = "bike_taken"
    bike: str  # id; "" = the record has yet to make one
    nickname: str
    traits: dict[str, str] = Field(default_factory=dict)
    hours: float | None = None
    vin: str = ""
    digit: Literal["right", "wrong", "none"] = "none"


class BikeRenamed(_Event):
    """The bike got another nickname: its rider has two of that name since two identities became one."""

    kind: Literal["bike_renamed"] = "bike_renamed"
    nickname: str


class TraitTold(_Event):
    kind: Literal["trait_told"] = "trait_told"
    trait: str
    answer: str  # "" = not sure


class SettingTold(_Event):
    """place, kit, skill, minutes_left, must_ride, giving_up, minute_worth, units, language."""

    kind: Literal["setting_told"] = "setting_told"
    setting: str
    value: str | float | bool


class WasAsked(_Event):
    kind: Literal["asked"] = "asked"
    seat: str
    what: AskedKind
    id: str
    extra: tuple[str, ...] = ()


class Answered(_Event):
    """A finding. `value`: answer ids, marks, steps, or good/bad; `number` as it was said.

    `some_marks`: marks told unprompted; they say nothing about the marks that were not told.
    """

    kind: Literal["answered"] = "answered"
    ask: str
    value: tuple[str, ...]
    form: Literal["one", "marks", "some_marks", "steps", "look", "note"]
    rank: int
    number: tuple[float, float] | None = None
    unit: str = ""
    opens: tuple[str, ...] = ()
    minutes: float = 0
    asked: int = 0
    words: str = ""


class Skipped(_Event):
    """Not sure, or can't be done here (for this case until said otherwise)."""

    kind: Literal["skipped"] = "skipped"
    ask: str
    why: Literal["not_sure", "cant", "put_off", "declined"]
    minutes: float = 0


class Withdrawn(_Event):
    kind: Literal["took_back"] = "took_back"
    entries: tuple[int, ...]


class AccessOpened(_Event):
    kind: Literal["access_opened"] = "access_opened"
    access: str
    minutes: float = 0
    money: float = 0


class AccessShut(_Event):
    kind: Literal["access_shut"] = "access_shut"
    access: str
    minutes: float = 0
    money: float = 0


class RemedyBegun(_Event):
    """`told`: the work was done before it was told, so that only its closing points are left to ask.

    `money`: what its parts came to, in the flow's currency; None where that was not told.
    """

    kind: Literal["remedy_begun"] = "remedy_begun"
    remedy: str
    suspicion: bool  # True: begun without a look that found the cause
    told: bool = False
    money: float | None = None


class WorkLeft(_Event):
    """A remedy that was begun is not gone on with: no part, no tool, another mind."""

    kind: Literal["work_left"] = "work_left"
    remedy: str
    why: Literal["parts", "cant", "declined"]


class StepDone(_Event):
    kind: Literal["step_done"] = "step_done"
    of: str  # "<remedy>/<n>" or "<remedy>/parts"


class PointTold(_Event):
    """One point of a closing list: yes, no, or not sure."""

    kind: Literal["point_told"] = "point_told"
    of: str  # remedy or access
    point: str
    answer: Literal["yes", "no", "unsure"]


class Shed(BaseModel):
    """What a bike was counted to shed: pieces over running hours, spans (low, high).

    `spread`: variance to mean of its history where its pieces come in clumps, else 1.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)
    pieces: tuple[int, int]
    hours: tuple[float, float]
    spread: float = 1.0


class Mended_(_Event):
    """The work of a remedy is done. `confirmed`: every closing point was answered yes.

    `shed`: what the bike was counted to shed before it, by its book; None where that is not known.
    """

    kind: Literal["mended"] = "mended"
    remedy: str
    causes: tuple[str, ...]
    confirmed: bool
    minutes: float = 0
    money: float = 0
    shed: Shed | None = None


class AfterWork(_Event):
    kind: Literal["after_work"] = "after_work"
    remedy: str
    sign: str
    bad: bool


class ProofRun(_Event):
    kind: Literal["proof_run"] = "proof_run"
    remedy: str
    minutes: float


class SaidOfRepair(_Event):
    kind: Literal["said_of_repair"] = "said_of_repair"
    word: Literal["gone", "same", "came_back"]


class WatchSet(_Event):
    """A plan of second looks is running; `index` is the look that comes next."""

    kind: Literal["watch_set"] = "watch_set"
    plan: str
    index: int
    for_remedy: str = ""
    from_hours: float | None = None


class LookRound(_Event):
    """A second look begins: signs that change with each look are asked anew."""

    kind: Literal["look_round"] = "look_round"
    plan: str
    index: int
    ran_hours: float


class LookJudged(_Event):
    """`same`: only where nothing was mended, so that it speaks for no repair and against none."""

    kind: Literal["look_judged"] = "look_judged"
    plan: str
    index: int
    verdict: Literal["clean", "less", "same", "back"]


class HoursRead(_Event):
    kind: Literal["hours_read"] = "hours_read"
    low: float
    high: float


class Ran(_Event):
    """Running time between two looks, hours."""

    kind: Literal["ran"] = "ran"
    hours: float


class WentOn(_Event):
    """It was run or ridden although a stop stood."""

    kind: Literal["went_on"] = "went_on"
    minutes: float | None = None
    words: str = ""


class StopRaised(_Event):
    kind: Literal["stop_raised"] = "stop_raised"
    rule: str
    bars: tuple[str, ...]
    because: tuple[int, ...] = ()


class StopLifted(_Event):
    """`words`: what a mechanic looked at, where his word lifted it."""

    kind: Literal["stop_lifted"] = "stop_lifted"
    rule: str
    by: str  # check, remedy, "mechanic", "doctor", or "slip"
    words: str = ""


class TakenUp(_Event):
    """The bike is gone on with although a person was hurt. `rules`: the stops that had ended the questions.

    `by`: somebody else, for whom these stops do not bar running, or who was hurt. `words`: as it was said.
    """

    kind: Literal["taken_up"] = "taken_up"
    rules: tuple[str, ...]
    by: Literal["other", "rider"]
    words: str = ""


class Noted(_Event):
    kind: Literal["noted"] = "noted"
    words: str = ""
    file: str = ""
    file_kind: str = ""
    about: str = ""


class BookWritten(_Event):
    """Lines for a bike's book, as JSON; `replaces`: the entry of the book in whose place they stand.

    No lines: that entry is struck out. `bike`: "" for a bike that the record has yet to make, by its name;
    without a name for the bike of the case.
    """

    kind: Literal["book_written"] = "book_written"
    bike: str
    lines: tuple[str, ...]
    replaces: int = 0
    name: str = ""


class ReminderTold(_Event):
    """Of what the rider wants to be reminded: oil every so often, nothing, or this again in some days."""

    kind: Literal["reminder_told"] = "reminder_told"
    what: Literal["every", "off", "later"]
    bike: str
    about: Literal["oil", "look"]
    hours: float | None = None
    km: float | None = None
    days: float | None = None


class VinTold(_Event):
    """The number of the frame as it was read, and whether its check digit is right ("none": it has none).

    `reread`: whoever told it read it again, and the frame says so all the same.
    """

    kind: Literal["vin_told"] = "vin_told"
    vin: str
    digit: Literal["right", "wrong", "none"]
    reread: bool = False


class Shared(_Event):
    """The rider made a code that lets one mechanic in. The code itself is never an entry."""

    kind: Literal["shared"] = "shared"


class CaseHeld(_Event):
    """A mechanic opened the case by a code; the entry's own `who` is he."""

    kind: Literal["case_held"] = "case_held"


class HoldEnded(_Event):
    """This person holds the case no more: the rider took it back, or he handed it back himself.

    `holder`: "" for whoever has a code that was not used yet; it is void.
    """

    kind: Literal["hold_ended"] = "hold_ended"
    holder: str
    words: str = ""


class RiderAsked(_Event):
    """A mechanic wants to know something of the rider, in his own words."""

    kind: Literal["rider_asked"] = "rider_asked"
    words: str


class RiderAnswered(_Event):
    """What the rider answered; `query`: the entry that asked."""

    kind: Literal["rider_answered"] = "rider_answered"
    query: int
    words: str = ""
    file: str = ""


class CauseConfirmed(_Event):
    """A mechanic is sure of a cause. `cause`: "" for one that the flow does not know, then in words."""

    kind: Literal["cause_confirmed"] = "cause_confirmed"
    cause: str
    words: str = ""
    how: Literal["seen", "measured", "gone_after_repair", "judged"]


class OutcomeTold(_Event):
    """How the case came out, when it was closed: which cause, none found, or one the flow does not know.

    `expected`: how likely each cause was held just before it was confirmed, and under "" what is not in
    the list; for asking later whether the stated chances were right.
    """

    kind: Literal["outcome_told"] = "outcome_told"
    result: Literal["cause", "not_found", "unlisted"]
    cause: str = ""
    words: str = ""
    how: Literal["seen", "measured", "gone_after_repair", "judged", ""] = ""
    expected: dict[str, float] = Field(default_factory=dict)


class SharesAccepted(_Event):
    """An admin takes the shares that cases had into a new version of a flow, for one scope."""

    kind: Literal["shares_accepted"] = "shares_accepted"
    scope: str
    flow: str
    hash: str
    shares: dict[str, float]  # by cause, "" for what is not in the list


class Reopened(_Event):
    kind: Literal["reopened"] = "reopened"
    why: str
    remedy: str = ""


class Ended(_Event):
    """How the case stands when nothing more is to be asked now."""

    kind: Literal["ended"] = "ended"
    how: Literal["handed_over", "parked", "put_off", "proved", "released", "abandoned", "closed"]
    words: str = ""


Event = Annotated[
    WasHeard | Opened | FlowChosen | FlowMoved | BikeTaken | TraitTold | SettingTold | WasAsked | Answered
    | Skipped | Withdrawn | AccessOpened | AccessShut | RemedyBegun | WorkLeft | StepDone | PointTold
    | Mended_ | AfterWork | ProofRun | SaidOfRepair | WatchSet | LookRound | LookJudged | HoursRead | Ran
    | WentOn | StopRaised | StopLifted | TakenUp | Noted | BookWritten | ReminderTold
    | VinTold | Shared | CaseHeld | HoldEnded | RiderAsked | RiderAnswered | CauseConfirmed | OutcomeTold
    | SharesAccepted | BikeRenamed
    | Reopened | Ended,
    Field(discriminator="kind"),
]  # fmt: skip
EVENT: TypeAdapter[Any] = TypeAdapter(Event, config=ConfigDict(defer_build=True))


@dataclass(frozen=True)
class Entry:
    """One line of a case: when (UTC ISO with Z), who, in what role, and the event."""

    seq: int
    at: str
    who: str
    role: Role
    event: Any  # one of Event

    def dump(self) -> str:
        """The event as JSON text."""
        text: str = self.event.model_dump_json()
        return text


def revive(seq: int, at: str, who: str, role: Role, event: str) -> Entry:
    """An entry from its stored parts. Raises pydantic.ValidationError on foreign text."""
    return Entry(seq, at, who, role, EVENT.validate_json(event))
