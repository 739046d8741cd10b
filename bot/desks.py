"""The desk of a turn: what of the record the core is handed, and flows as the record keeps them."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from dataclasses import asdict, replace
from functools import partial
from typing import TYPE_CHECKING, Any
from weakref import WeakSet

from bot import outcomes, sharing
from bot.authoring import shelf
from bot.authoring.wording import languages, read_lines, read_words
from bot.books import read_book
from bot.core.desk import BikeCard, Card, Desk, Past
from bot.core.state import State
from bot.record.cases import KeptFlow, Person, group_in
from bot.record.keeping import OWN_SETTINGS, RIDER_SETTINGS
from bot.record.store import Store
from bot.sheets import known_files

if TYPE_CHECKING:  # reading flows is slow to import and not needed for the first line
    from datetime import datetime

    from bot.core.flow import Flow
    from bot.core.intervals import Reminded

LOG = logging.getLogger("sumpline.desks")
MESSAGE_MINUTES = {"sms": 4.0}  # what one more message costs the rider; common practice, no source
OTHER_MESSAGE_MINUTES = 2.0


class KeptFlows(Mapping[str, "Flow"]):
    """Flows by hash, read from the record when they are wanted, with the texts of a language."""

    def __init__(self, store: Store, language: str = "en") -> None:
        self._store, self._language = store, language

    def __getitem__(self, hash: str) -> Flow:
        if hash not in _FLOWS:
            _FLOWS[hash] = _revive_flow(self._store, hash)
        return _FLOWS[hash] if self._language == "en" else _translated(hash, self._language)

    def __iter__(self) -> Iterator[str]:
        return iter(self._store.flow_hashes())

    def __len__(self) -> int:
        return len(self._store.flow_hashes())


_FLOWS: dict[str, Flow] = {}  # by hash of the text, so an entry is never out of date


def _translated(hash: str, language: str) -> Flow:
    if (hash, language) not in _TRANSLATED:
        from bot.core.translation import translate  # who talks English need not wait for it

        flow = _FLOWS[hash]
        _TRANSLATED[hash, language] = translate(flow, read_lines(flow.flow, language))
    return _TRANSLATED[hash, language]


_TRANSLATED: dict[tuple[str, str], Flow] = {}


def _revive_flow(store: Store, hash: str) -> Flow:
    """From the stored form; from the texts when the form is of another time."""
    from bot.authoring import load

    try:
        return load.revive(store.flow_form(hash))
    except ValueError:
        text, common = store.flow_texts(hash)
        return load.load_text(text.encode(), common.encode() or None).flow


def lay_desk(
    store: Store,
    rider: Person,
    speaker: Person,
    channel: str,
    only: str = "",
    case: int = 0,
    reminded: tuple[Reminded, ...] = (),
) -> Desk:
    """Everything that the core is handed for one turn besides the case. `only`: a single flow's id."""
    settings = {
        **{k: v for k, v in rider.settings.items() if k in RIDER_SETTINGS},
        **{k: v for k, v in speaker.settings.items() if k in OWN_SETTINGS},
    }
    words = read_words(str(settings.get("language", "en")))
    flows = KeptFlows(store, words.language)
    offered = store.offered(_group_of(store, speaker, case))
    cards = tuple(c for line in offered if only in ("", line.flow) for c in _cards(flows, line.hash))
    minutes = MESSAGE_MINUTES.get(channel, OTHER_MESSAGE_MINUTES)
    bikes = tuple(_with_past(store, bike, case) for bike in store.bikes_of(rider.id))
    others = sum(1 for line in store.cases_of(rider.id) if not line.ended and line.id != case and line.bike)
    desk = Desk(words, cards, flows, _no_summary, bikes, settings, minutes, others)
    laid, away = outcomes.laid(store, flows, speaker), store.away(case)
    desk = replace(desk, books=partial(read_book, store), zones=_zones, reminded=reminded, away=away)
    desk = replace(desk, outcomes=laid, languages=_languages, speak=partial(_speak, store))
    return _with_summary(store, sharing.for_speaker(store, desk, case, speaker, rider))


def _group_of(store: Store, speaker: Person, case: int) -> str:
    """Whose own flows are on offer: those of the group that the case is from; before it, the speaker's."""
    scope = store.scope_of_case(case) if case else f"group:{speaker.settings.get('group', '')}"
    return group_in(scope)


def _speak(store: Store, desk: Desk, language: str) -> Desk:
    """The same desk with its words and flows in another language."""
    words, flows = read_words(language), KeptFlows(store, language)
    cards = tuple(made for card in desk.cards for made in _cards(flows, card.hash))
    settings = {**desk.settings, "language": language}
    return _with_summary(store, replace(desk, words=words, flows=flows, cards=cards, settings=settings))


def _languages() -> dict[str, str]:
    """What each language calls itself, by its code."""
    return {code: read_words(code).say("language.name") for code in languages()}


def _with_past(store: Store, bike: BikeCard, case: int) -> BikeCard:
    """The bike with its newest other case, so that a new complaint can quote it."""
    lines = [line for line in store.cases_of_bike(bike.id) if line.id != case]
    if not lines:
        return bike
    last = lines[0]
    return replace(bike, past=Past(last.title, last.complaint, last.ended, last.last))


def _no_summary(flow: Flow, state: State, now: datetime) -> str:
    raise RuntimeError("a desk without its summary was handed out")


def _with_summary(store: Store, desk: Desk) -> Desk:
    """The desk with reports that know the rider's own settings, as the desk holds them."""

    def write_up(flow: Flow, state: State, now: datetime) -> str:
        from bot.reports import text

        return text.summary(flow, known_files(store, state), now, desk=desk)

    def write_whole(flow: Flow, state: State, now: datetime) -> str:
        from bot.reports import text

        return text.whole(flow, known_files(store, state), now, desk=desk)

    def write_brief(flow: Flow, state: State, now: datetime) -> str:
        from bot.reports import text

        return text.brief(flow, known_files(store, state), now, desk=desk)

    return replace(desk, summary=write_up, whole=write_whole, brief=write_brief)


def _cards(flows: KeptFlows, hash: str) -> Iterator[Card]:
    """The flow's card; none for a flow that cannot be read any more, so that the others go on."""
    from bot.authoring import load

    try:
        made = load.card(flows[hash])
    except Exception:
        LOG.error("flow %s is not offered: it cannot be read", hash[:12])
        return
    yield Card(made.flow, hash, made.title, made.riders_say, made.told_as)


def noted(store: Store, desk: Desk) -> dict[str, Any]:
    """A desk as plain data, enough to lay the same one again."""
    return {
        "cards": [card.hash for card in desk.cards],
        "bikes": [asdict(bike) for bike in desk.bikes],
        "settings": dict(desk.settings),
        "minutes": desk.message_minutes,
        "open_cases": desk.open_cases,
        "language": desk.words.language,
        "book": store.newest_line(),
        "reminded": [asdict(one) for one in desk.reminded],
        "outcomes": outcomes.noted(desk.outcomes),
    }


def lay_again(store: Store, kept: Mapping[str, Any]) -> Desk:
    words = read_words(kept["language"])
    flows = KeptFlows(store, words.language)
    cards = tuple(c for text_hash in kept["cards"] for c in _cards(flows, text_hash))
    bikes = tuple(_bike_again(bike) for bike in kept["bikes"])
    open_cases = kept.get("open_cases", 0)
    settings, minutes = kept["settings"], kept["minutes"]
    desk = Desk(words, cards, flows, _no_summary, bikes, settings, minutes, open_cases)
    told = tuple(_reminded_again(one) for one in kept.get("reminded", ()))
    desk = replace(desk, books=partial(read_book, store, upto=kept.get("book")), zones=_zones, reminded=told)
    desk = replace(desk, outcomes=outcomes.laid_again(kept.get("outcomes", ())))
    desk = replace(desk, languages=_languages, speak=partial(_speak, store))
    return _with_summary(store, sharing.with_old_codes(desk))


def _reminded_again(noted: Mapping[str, Any]) -> Reminded:
    from bot.core.intervals import Reminded

    return Reminded(**noted)


def _bike_again(noted: Mapping[str, Any]) -> BikeCard:
    past = Past(**noted["past"]) if noted.get("past") else None
    shown = {key: tuple(noted[key]) if noted.get(key) else None for key in ("shown", "shown_km")}
    return BikeCard(**{**noted, "past": past, **shown})


def _zones() -> frozenset[str]:
    from bot.record.zones import known_zones

    return known_zones()


NOT_STOCKED: WeakSet[Store] = WeakSet()


def stock(store: Store, at: str) -> None:
    """Put the package's flows into a record opened for talk, those that it does not have yet.

    A flow whose file is wrong is left out and logged: the others must go on.
    """
    from bot.authoring import load

    if store not in NOT_STOCKED:
        return
    here = shelf.find()
    common = here.common.read_bytes() if here.common.is_file() else b""
    for flow in here.ids():
        text = here.flow(flow).read_bytes()
        kept = {load.text_hash(text), load.text_hash(text, common)} & set(store.flow_hashes())
        try:
            in_use = kept.pop() if kept else _keep_shipped(store, flow)
        except Exception:
            LOG.error("flow %s is left out: its file is wrong", flow)
            continue
        with store.writing():
            store.publish("shipped", flow, in_use, at)
    NOT_STOCKED.discard(store)


def _keep_shipped(store: Store, flow: str) -> str:
    from bot.authoring import load

    found = load.shipped(flow)
    with store.writing():
        keep_flow(store, found.flow, found.hash, found.text, found.common)
    return found.hash


def keep_flow(store: Store, flow: Flow, hash: str, text: str, common: str) -> None:
    from bot.authoring import load

    head = (flow.flow, flow.version, flow.language, flow.title)
    store.keep_flow(KeptFlow(hash, *head, text, common, load.parsed(flow)))
    _FLOWS[hash] = flow
