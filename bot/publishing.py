"""Versions of flows: put in use, withdrawn, taken back into use, and open cases moved to another one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from bot.core.events import Entry, FlowMoved
from bot.record.cases import KeptFlow
from bot.record.publishing import Act, Draft, Published
from bot.record.store import Store

if TYPE_CHECKING:  # a talk begins without them
    from bot.authoring.load import Loaded
    from bot.core.flow import Flow
    from bot.core.moving import Hindrance


LARGEST = 256_000  # bytes of a flow; what the reader of flows takes at most
SHORT = 8  # characters of a text's digest that are shown, and at least wanted
Decision = Literal["published", "kept", "dropped"]


class NotDoneError(Exception):
    """What an admin wanted cannot be done; says why and what to do."""


class TooLateError(NotDoneError):
    """Somebody else decided on the draft before; `act` says who and what."""

    def __init__(self, draft: Draft, act: Act | None) -> None:
        super().__init__(f"Draft {draft.id} was {draft.state} already.")
        self.draft, self.act = draft, act


@dataclass(frozen=True)
class Judged:
    """What the linter says of a file. `kept`: the flow when nothing keeps it from being used, else None.

    `lines`: each mistake and warning with its place, `shown`: the same with the lines of the file.
    """

    kept: KeptFlow | None
    lines: tuple[str, ...] = ()
    shown: str = ""


def judge(raw: bytes, file: str, beside: Path | None = None) -> Judged:
    """Read and lint a flow with a common file, else the shipped one. Nothing is raised for what is in it."""
    from bot.authoring import lint, load, problems, shelf

    shared = "common.yaml" if beside is None else str(beside)
    common = (beside or shelf.find().common).read_bytes()
    try:
        loaded = load.load_text(raw, common, file, shared)
        found = lint.lint(loaded)
    except problems.FlowError as error:
        loaded, found = None, error.problems
    texts = {file: raw.decode("utf-8", "replace"), shared: common.decode("utf-8", "replace")}
    if loaded is None or any(p.stops for p in found):
        stops = [p for p in found if p.stops]
        return Judged(None, tuple(map(str, stops)), problems.show_all(stops, texts))
    kept = kept_of(loaded, raw.decode("utf-8-sig"), common.decode("utf-8-sig"))
    return Judged(kept, tuple(map(str, found)), problems.show_all(found, texts))


def publish(store: Store, kept: KeptFlow, scope: str, at: str, person: int | None = None) -> None:
    """Put a flow in use for a scope. NotDoneError when its number is no newer one.

    Cases that are open keep their version.
    """
    with store.writing():
        newest = next((line for line in store.versions(kept.flow, scope) if not line.taught), None)
        if newest is not None and newest.hash != kept.hash and kept.version <= newest.version:
            raise NotDoneError(
                f"Version {newest.version} of {kept.flow} was published there already with another text; "
                f"write 'version: {newest.version + 1}' into the file, so that people can tell them apart."
            )
        if store.published(scope).get(kept.flow) == kept.hash:
            raise NotDoneError("This very text is in use there; nothing was changed.")
        store.keep_flow(kept)
        store.publish(scope, kept.flow, kept.hash, at, person)
        store.note_act("published", scope, kept.flow, kept.hash, at, person)


def kept_of(loaded: Loaded, text: str, common: str) -> KeptFlow:
    """A flow that has no mistakes as the record keeps it."""
    from bot.authoring import load

    flow = loaded.flow
    head = (flow.flow, flow.version, flow.language, flow.title)
    return KeptFlow(loaded.hash, *head, text, common if loaded.shared else "", load.parsed(flow))


def use_again(store: Store, scope: str, flow: str, hash: str, at: str, person: int | None = None) -> None:
    """Take an earlier version back into use, withdrawn or not. NotDoneError when it never was there."""
    with store.writing():
        known = [line for line in store.versions(flow, scope) if line.hash == hash]
        if not known:
            raise NotDoneError("That version was never in use there; publish its file instead.")
        if store.published(scope).get(flow) == hash:
            raise NotDoneError("That version is in use there; nothing was changed.")
        made_from = store.author_of(scope, hash)
        store.publish(scope, flow, hash, at, person, made_from)
        store.note_act("used_again", scope, flow, hash, at, person)


def withdraw(store: Store, scope: str, flow: str, hash: str, at: str, person: int | None = None) -> str:
    """Take a version out of use; the hash of the one that is offered there now, "" for none.

    Cases that it was pinned for keep it. NotDoneError when it is not in use there.
    """
    with store.writing():
        if scope == "shipped" or not store.withdraw(scope, flow, hash, at):
            raise NotDoneError("That version is not in use there, so there is nothing to withdraw.")
        store.note_act("withdrawn", scope, flow, hash, at, person)
        left = store.in_use(scope, flow)
        return left.hash if left else ""


def decide(store: Store, number: int, what: Decision, at: str, person: int | None = None) -> Draft:
    """Publish a draft, keep it for later or drop it; the draft as it was.

    TooLateError when it was published or dropped before; NotDoneError when there is none of that
    number, it is kept already, or it cannot be published: then it stays a draft.
    """
    with store.writing():
        draft = store.draft(number)
        if draft is None:
            raise NotDoneError(f"There is no draft {number}.")
        if draft.state not in ("new", "kept"):
            raise TooLateError(draft, _decided(store, draft))
        if draft.state == what:
            raise NotDoneError(f"Draft {number} is kept already.")
        if what == "published":
            publish(store, store.kept_flow(draft.hash), draft.scope, at, person)
        else:
            store.note_act(what, draft.scope, draft.flow, draft.hash, at, person)
        store.settle_draft(number, what)
        return draft


def _decided(store: Store, draft: Draft) -> Act | None:
    done = (draft.scope, draft.hash, draft.state)
    return next((act for act in store.acts(draft.flow) if (act.scope, act.hash, act.what) == done), None)


def meant(store: Store, scope: str, flow: str, said: str, there: str = "there") -> Published:
    """The newest version of that number, or of a digest that begins so. NotDoneError for none or several."""
    lines = store.versions(flow, scope)
    numbered = [line for line in lines if said == str(line.version)]
    found = numbered or [line for line in lines if len(said) >= SHORT and line.hash.startswith(said)]
    if not found:
        known = ", ".join(dict.fromkeys(f"{line.version} ({line.hash[:SHORT]})" for line in lines)) or "none"
        raise NotDoneError(f"There is no version '{said}' of {flow} {there}; there are: {known}.")
    if len({line.hash for line in numbered}) > 1:
        signs = ", ".join(dict.fromkeys(line.hash[:SHORT] for line in numbered))
        raise NotDoneError(f"There are several texts of version {said}; name one by its digest: {signs}.")
    return found[0]


def move(
    store: Store, flows: Mapping[str, Flow], case: int, hash: str, at: str, person: int | None = None
) -> tuple[Hindrance, ...]:
    """Move an open case to another version; what keeps it, or nothing when it was moved.

    NotDoneError when the case has no flow yet, or goes by that version.
    """
    from bot.core.moving import hindrances

    with store.writing():
        state = store.state(case)
        if not state.hash or state.hash == hash:
            raise NotDoneError(
                "The case goes by that version." if state.hash else "The case has no flow yet."
            )
        found = hindrances(flows[state.hash], flows[hash], state)
        if not found:
            flow = flows[hash]
            # Who moved it stands in the list of acts: an admin is nobody at the case.
            entry = Entry(state.next_seq, at, "", "admin", FlowMoved(hash=hash, title=flow.title))
            store.append(case, [entry])
            store.pin(case, hash)
            store.note_act("moved", store.scope_of_case(case), flow.flow, hash, at, person, case)
        return found
