"""How cases came out, as it stands in the record: tallies for admins, and versions with shares they took."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from bot.core.desk import Tally
from bot.core.events import SharesAccepted
from bot.record.cases import KeptFlow, Person, scope_of
from bot.record.keeping import Step
from bot.record.store import Store

if TYPE_CHECKING:  # a talk begins without them
    from bot.core.flow import Flow

    Flows = Mapping[str, Flow]


class OutdatedError(Exception):
    """Another version is in use than the one that was judged."""


@dataclass
class Tallies:
    """Tallies that are worked out when they are first asked for. `known`: what they were; None until then."""

    made: Callable[[], Sequence[Tally]]
    known: Sequence[Tally] | None = None

    def __call__(self) -> Sequence[Tally]:
        if self.known is None:
            self.known = self.made()
        return self.known


def laid(store: Store, flows: Flows, speaker: Person) -> Callable[[], Sequence[Tally]]:
    """What lies on the desk of who speaks: an admin's are those for everyone and of his own group."""
    if speaker.role != "admin":
        return tuple
    return Tallies(partial(tallies, store, flows, str(speaker.settings.get("group", ""))))


def noted(outcomes: Callable[[], Sequence[Tally]]) -> list[dict[str, Any]]:
    """What was looked at, as plain data; nothing where nobody looked."""
    known = outcomes.known if isinstance(outcomes, Tallies) else None
    return [asdict(one) for one in known or ()]


def laid_again(known: Sequence[dict[str, Any]]) -> Tallies:
    """The same tallies from what was noted."""
    return Tallies(tuple, tuple(Tally(**one) for one in known))


def tallies(store: Store, flows: Flows, group: str = "") -> tuple[Tally, ...]:
    """Of every flow with enough closed cases: for everyone, and of this group."""
    scopes = dict.fromkeys(("everyone", scope_of(group)))
    told = (tally(store, flows, scope, flow) for scope in scopes for flow in store.flows_counted(scope))
    return tuple(found for found in told if found is not None and found.is_enough)


def tally(store: Store, flows: Flows, scope: str, flow: str) -> Tally | None:
    """How the cases of a flow came out in a scope, for the version in use there; None when none is.

    Cases of its other versions are among them as far as those have the very same causes: with another
    list each of them could have been taken for something else.
    """
    line = store.in_use(scope, flow)
    if line is None:
        return None
    causes, cases, older = set(flows[line.hash].causes), dict[str, int](), 0
    for version in store.outcomes_of(scope, flow):
        if set(flows[version.hash].causes) != causes:
            continue
        for cause, count in version.cases.items():
            cases[cause] = cases.get(cause, 0) + count
            older += count if version.hash != line.hash else 0
    channel, _, chat = scope.removeprefix("group:").partition(":")
    return Tally(scope, line.hash, line.author, cases, older, store.title_of(channel, chat))


def accept(
    store: Store, flows: Flows, accepted: SharesAccepted, at: str, person: int | None = None
) -> KeptFlow:
    """Write the new version of a flow with these shares and put it in use for the scope, or nothing of both.

    OutdatedError when another version is in use than the one judged; FlowError when the new one has a
    mistake. Open cases keep their version.
    """
    from bot.authoring import load
    from bot.authoring.shares import make_version

    with store.writing():
        line = store.in_use(accepted.scope, accepted.flow)
        told = tally(store, flows, accepted.scope, accepted.flow)
        if line is None or told is None or line.hash != accepted.hash:
            raise OutdatedError(f"another version of {accepted.flow} is in use by now.")
        text, common = store.flow_texts(line.hash)
        day = date.fromisoformat(at[:10])
        loaded, new = make_version(text, common, flows[line.author], accepted.shares, told.total, day)
        head = (loaded.flow.flow, loaded.flow.version, loaded.flow.language, loaded.flow.title)
        kept = KeptFlow(loaded.hash, *head, new, common, load.parsed(loaded.flow))
        store.keep_flow(kept)
        store.publish(accepted.scope, kept.flow, kept.hash, at, person, line.author)
        store.note_act("shares_taken", accepted.scope, kept.flow, kept.hash, at, person)
    return kept


def take(store: Store, flows: Flows, step: Step) -> Iterator[str]:
    """Put into use what an admin took in this turn; why not, where that cannot be done."""
    taken = [e for e in step.entries if isinstance(e.event, SharesAccepted) and e.role == "admin"]
    for entry in taken:
        from bot.authoring.problems import FlowError

        try:
            accept(store, flows, entry.event, entry.at, step.speaker.id)
        except (FlowError, OutdatedError) as fault:
            yield str(fault).partition("\n")[0]
