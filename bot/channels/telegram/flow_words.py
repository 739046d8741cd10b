"""What admins are told about flows: trials, versions, and what was done, short enough for a phone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bot import turn
from bot.channels.telegram.hearing import CHANNEL
from bot.channels.telegram.settings import Settings

SHORT = 8  # characters of a digest that are shown
MOST = 10  # versions of one flow that are listed
WARNINGS = 3  # warnings that are told word for word
ENDS = ("found", "handed_over", "still_wrong", "otherwise", "endless", "broke")


class FlowWords:
    """Words about flows, in the language of the settings."""

    def __init__(self, store: turn.Store, settings: Settings) -> None:
        self.store, self.settings = store, settings

    def say(self, key: str, **values: object) -> str:
        return turn.read_words(self.settings.language).say(key, **values)

    def whose(self, scope: str) -> str:
        """A scope as people know it: for everyone, or in a group by its title."""
        if not scope.startswith("group:"):
            return self.say("flows.for_everyone")
        chat = scope.removeprefix(f"group:{CHANNEL}:")
        group = self.store.title_of(CHANNEL, chat) or self.say("telegram.the_group")
        return self.say("flows.for_group", group=group)

    # --- a trial ---------------------------------------------------------------------------------

    def mistakes(self, name: str, count: int) -> str:
        return self.say("flows.mistake" if count == 1 else "flows.mistakes", count=count, name=name)

    def of_trial(self, scope: str, judged: turn.Judged, before: Any, tried: turn.Tried) -> str:
        """What came of a trial, in a few lines."""
        kept = judged.kept
        assert kept is not None
        head = self.say("flows.tried", title=kept.title, version=kept.version, where=self.whose(scope))
        parts = [head, "\n".join(self._before(before)), "\n".join(self._warnings(judged)),
                 "\n".join(self._figures(tried)), "\n".join(self._rest(before, tried))]  # fmt: skip
        return "\n\n".join(part for part in parts if part)

    def _before(self, before: Any) -> Iterator[str]:
        if before is None:
            yield self.say("flows.none_before")
        else:
            yield self.say("flows.before", version=before.version, digest=before.hash[:SHORT])

    def _warnings(self, judged: turn.Judged) -> Iterator[str]:
        yield from judged.lines[:WARNINGS]
        if len(judged.lines) > WARNINGS:
            yield self.say("flows.more_warnings", count=len(judged.lines) - WARNINGS)

    def _figures(self, tried: turn.Tried) -> Iterator[str]:
        """How imagined bikes ended; it is said that they are imagined."""
        if not tried.figures:
            yield self.say("flows.no_figures")
            return
        yield self.say("flows.imagined", bikes=tried.figures["bikes"])
        for end in ENDS:
            if bikes := tried.figures["ends"].get(end, 0):
                yield self.say(f"flows.end.{end}", bikes=bikes)
        minutes, turns = (tried.figures[what]["median"] for what in ("minutes", "turns"))
        yield self.say("flows.median", minutes=f"{minutes:g}", turns=f"{turns:g}")

    def _rest(self, before: Any, tried: turn.Tried) -> Iterator[str]:
        played, differ = tried.samples
        if played:
            yield self.say("flows.samples", played=played, differ=differ)
        if tried.changes:
            yield self.say("flows.changes", version=before.version, what=tried.changes[0])
            yield from tried.changes[1:]
        if tried.late:
            yield self.say("flows.late")

    # --- what there is -----------------------------------------------------------------------------

    def of_scope(self, scope: str, person: int) -> str:
        """The versions of a scope, the drafts of whoever asks, and how to act on them."""
        blocks = ["\n".join(self._versions(scope, flow)) for flow in self.store.flows_in(scope)]
        head = self.say("flows.listed" if blocks else "flows.none_listed", where=self.whose(scope))
        drafts = "\n".join(self._drafts(scope, person))
        return "\n\n".join(part for part in (head, *blocks, drafts, self.say("flows.how_to")) if part)

    def _versions(self, scope: str, flow: str) -> Iterator[str]:
        """One flow's, newest first."""
        lines = self.store.versions(flow, scope)
        used = self.store.published(scope).get(flow)
        yield flow
        for line in lines[:MOST]:
            is_used = line.hash == used and not line.withdrawn
            state = "used" if is_used else "withdrawn" if line.withdrawn else "earlier"
            yield self.say(
                f"flows.line.{state}", version=line.version, digest=line.hash[:SHORT], day=line.at[:10],
                who=line.who or self.say("flows.nobody"),
            )  # fmt: skip
        if len(lines) > MOST:
            yield self.say("flows.more_versions", count=len(lines) - MOST)

    def _drafts(self, scope: str, person: int) -> Iterator[str]:
        for draft in self.store.drafts(person):
            if draft.scope == scope:
                version = self.store.kept_flow(draft.hash).version
                yield self.say(
                    "flows.line.draft", draft=draft.id, flow=draft.flow, version=version,
                    digest=draft.hash[:SHORT], day=draft.at[:10],
                )  # fmt: skip

    # --- what was done -----------------------------------------------------------------------------

    def of_decision(self, what: str, scope: str, draft: Any) -> str:
        kept = self.store.kept_flow(draft.hash)
        return self.say(f"flows.{what}_done", title=kept.title, version=kept.version, draft=draft.id,
                        where=self.whose(scope))  # fmt: skip

    def of_change(self, what: str, scope: str, line: Any, now: Any) -> str:
        done = self.say(f"flows.{what}_done", title=line.title, version=line.version, where=self.whose(scope))
        if what == "use":
            return done
        left = self.say("flows.offered", version=now.version) if now else self.say("flows.offered_none")
        return f"{done} {left}"

    def too_late(self, late: turn.TooLateError, person: int, record: str) -> str:
        """Who was quicker, or that it is done already."""
        who = late.act.who if late.act else ""
        if who == self.store.person(person).name:
            return self.say("flows.done_already", record=record)
        return self.say("flows.quicker", who=who or self.say("flows.nobody"), record=record)
