"""The handover sheet as it is published, version 1: names, types and what each means.

A program may rely on what stands here. A name is never given another meaning; what is added later is
optional, which here is a field with a default; whatever breaks this raises `VERSION`. So that a program
which has an older copy of the schema can read what has a newer name in it, the published schema refuses no
names that it does not know; these models do, for what we write. The JSON Schema in docs/ is made from them:
`python -m tests.reports.test_sheet_json`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic.json_schema import GenerateJsonSchema

VERSION = 1

Time = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$", description="UTC")]
Day = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")]
Chance = Annotated[float, Field(ge=0, le=1)]
Hours = Annotated[
    tuple[float, float] | None,
    Field(description="running hours, [low, high], equal when read from a meter; null: not known"),
]
Standing = Literal[
    "found", "repaired", "ruled_out", "suspected", "unlikely", "not_looked_at", "still_possible"
]
How = Literal["seen", "measured", "gone_after_repair", "judged"]


class _Form(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class By(_Form):
    """Who said or did something, when, at what running hours. `name`: null where only the role is known."""

    role: Literal["rider", "mechanic", "admin"]
    name: str | None
    at: Time
    hours: Hours


class Vin(_Form):
    """`check_digit`: `wrong` asks for another look at the frame; `none`: it has no such digit.

    `read_again`: somebody had that other look, and the frame says so all the same.
    """

    text: str
    check_digit: Literal["right", "wrong", "none"]
    read_again: bool = False


class Feature(_Form):
    """A known feature of the bike."""

    asked: str
    answer: str


class Bike(_Form):
    """The bike by its nickname ("" while it has none)."""

    nickname: str
    hours: Hours
    features: tuple[Feature, ...]
    vin: Vin | None


class TakenUp(_Form):
    """The bike was gone on with although somebody was hurt, and by whom."""

    who: Literal["somebody_else", "who_was_hurt"]
    words: str
    by: By


class Stop(_Form):
    """A stop rule that was raised. `says` is "" where the flow has no words for it.

    `bars`: `running`, `riding`. `ran_after_minutes`: one for each time that it was run all the same; null:
    how long is not known. `lifted`: who lifted it, and when; `looked_at`: what a mechanic looked at whose
    word lifted it, in his own words.
    """

    kind: Literal["rule", "damage", "older"]
    says: str
    bars: tuple[str, ...]
    since: Time
    because: tuple[str, ...]
    stands: bool
    lifted_by: str | None
    ran_after_minutes: tuple[float | None, ...]
    about_a_person: Annotated[bool, Field(description="somebody is hurt; not about the bike")] = False
    taken_up: tuple[TakenUp, ...] = ()
    lifted: By | None = None
    looked_at: str | None = None


class Earlier(_Form):
    """An answer that no longer counts."""

    answer: str
    by: By
    taken_back: bool


class Finding(_Form):
    """What counts as found. `after_repairs`: how many came before it; `round`: of how many second looks."""

    asked: str
    answer: str
    certainty: Literal["mechanic_looked", "rider_looked", "asked", "told_unasked", "from_book"]
    by: By
    after_repairs: int
    round: int
    nothing_seen: bool
    earlier: tuple[Earlier, ...]


class Speaks(_Form):
    finding: str
    strength: Literal["strong", "clear", "weak"]


class Look(_Form):
    """The look that a standing rests on. `finds_of_10`: of ten such faults it finds so many."""

    asked: str
    answer: str
    said: Literal["good", "bad", "other"]
    by: By
    finds_of_10: float


class Suspect(_Form):
    """A cause. `look_made`: false where nobody looked. `stale`: why a clean look rules it out no longer."""

    name: str
    standing: Standing
    chance: Chance
    look_made: bool
    look: Look | None
    stale: Literal["repair", "opened", "hours"] | None
    no_such_part: Annotated[str | None, Field(description="the feature of this bike that excludes it")]
    repaired_by: str | None
    speaks_for: tuple[Speaks, ...]
    speaks_against: tuple[Speaks, ...]


class Unlisted(_Form):
    """Something that the flow does not know."""

    standing: Standing
    chance: Chance


class Access(_Form):
    """What was opened in this case. `not_confirmed`: closing points when it was shut last."""

    name: str
    open_now: bool
    first_opened: By
    times: int
    not_confirmed: tuple[str, ...]


class Repair(_Form):
    """Work that was done and whether it held; the chance and the hours are null where they are not known.

    `parts_told`: what its parts came to, in `currency`, by the word of who did it; null: not told.
    """

    name: str
    by: By
    on_suspicion: bool
    held: Literal["so_far", "changed_nothing", "came_back", "not_proved_yet"]
    chance_fixed: Chance | None
    clean_hours: float | None
    not_confirmed: tuple[str, ...]
    parts_told: float | None = None


class InHand(_Form):
    """Work that is begun and not done. `told_done`: told as done, with its closing list still open."""

    name: str
    by: By
    on_suspicion: bool
    told_done: bool
    parts_told: float | None


class NotConfirmed(_Form):
    work: str
    point: str


class LookToCome(_Form):
    do: str
    after_minutes: float | None
    after_hours: float | None
    running: str
    basis: Literal["sourced", "borrowed", "practice"]


class Trend(_Form):
    """What the pieces in the oil do over the running hours, by the bike's book."""

    words: str
    direction: Literal["falling", "running_in", "same", "first", "after_work", "unclear", "rising"]


class File(_Form):
    """A photo or other file. `digest`: SHA-256 in hex; null while it is still on its way."""

    kind: str
    number: int
    about: str
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None
    by: By


class Note(_Form):
    words: str
    by: By


class Fitted(_Form):
    """A part that is in the bike now. `price`: of one; null: not known."""

    name: str
    quantity: int
    price: float | None
    currency: str | None
    source: Literal["repair", "closing", "book"]
    work: str | None
    day: Day
    hours: Hours


class BookWork(_Form):
    what: str
    day: Day
    hours: Hours
    engine_opened: bool


class Order(_Form):
    """A part that the next work needs. `on_suspicion`: no look has found the fault yet."""

    name: str
    quantity: int
    price: float | None
    new_each_time: bool
    on_suspicion: bool


class Next(_Form):
    """What is to be done next. `saves_minutes`, `costs_minutes`: on average, where it was chosen by them."""

    do: str
    kind: str
    why: Literal["safety", "work", "again", "stop", "cheapest", "plan", "waits"]
    costs_minutes: float | None
    saves_minutes: float | None
    minutes_to_the_end: float
    hand_over_minutes: float
    hand_over_money: float


class NotJudged(_Form):
    asked: str
    why: Literal["not_sure", "cannot_here"]


class LeftForGarage(_Form):
    what: str
    why: Literal["place", "tools", "skill", "time", "running", "cannot_here"]


class Question(_Form):
    """What a mechanic asked the rider; `answer` and `answered` are null while it is open."""

    words: str
    by: By
    answer: str | None
    answered: By | None


class Confirmed(_Form):
    """A cause that a mechanic is sure of. `cause`: null for one that the flow does not know."""

    cause: str | None
    words: str
    how: How
    by: By
    after_repairs: int


class Outcome(_Form):
    """How the case came out."""

    result: Literal["cause", "not_found", "unlisted"]
    cause: str | None
    words: str
    how: How | None
    by: By


class Mechanic(_Form):
    holders: tuple[str, ...]
    questions: tuple[Question, ...]
    confirmed: tuple[Confirmed, ...]
    outcome: Outcome | None


class Sheet(_Form):
    """A case of one motorcycle, so that nobody has to do any of it twice."""

    sheet: Annotated[Literal[1], Field(description="version of this form")]
    written: Time
    flow: Annotated[str, Field(description="what kind of trouble, in words")]
    flow_version: int
    bike: Bike
    complaint: Annotated[str, Field(description="in the rider's own words")]
    ended: Literal["handed_over", "parked", "put_off", "proved", "released", "abandoned", "closed"] | None
    stops: tuple[Stop, ...]
    next: Next
    findings: tuple[Finding, ...]
    suspects: tuple[Suspect, ...]
    unlisted: Unlisted
    findings_fit: Annotated[bool, Field(description="false: what was found fits nothing that the flow knows")]
    chance_fixed: Annotated[
        Chance | None, Field(description="that nothing is wrong any more; null before a repair")
    ]
    repairs: tuple[Repair, ...]
    access: tuple[Access, ...]
    not_confirmed: tuple[NotConfirmed, ...]
    looks_to_come: tuple[LookToCome, ...]
    not_judged: tuple[NotJudged, ...]
    left_for_garage: tuple[LeftForGarage, ...]
    trend: Trend | None
    parts_fitted: tuple[Fitted, ...]
    work_in_book: tuple[BookWork, ...]
    book_lines_left_out: int
    parts_to_order: tuple[Order, ...]
    order_total: float
    order_total_without_suspicion: float
    minutes_spent: float
    money_spent: float
    currency: str | None
    prices_as_of: str | None
    files: tuple[File, ...]
    notes: tuple[Note, ...]
    mechanic: Mechanic
    in_hand: InHand | None = None


class _Readable(GenerateJsonSchema):
    """What stays optional stays so, though we write it always: an older sheet has no such name."""

    def field_is_required(self, field: Any, total: bool) -> bool:
        return bool(field["schema"]["type"] != "default")


def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the form."""
    made = Sheet.model_json_schema(mode="serialization", schema_generator=_Readable)
    for form in (made, *made["$defs"].values()):
        del form["additionalProperties"]
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:sumpline:handover-sheet:{VERSION}",
    }
    return {**head, **made, "title": "Sumpline handover sheet"}
