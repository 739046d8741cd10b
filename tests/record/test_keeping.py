"""What is told of bikes and people is kept for good, and messages reach the seats they are meant for."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from bot import turn
from bot.core import events
from bot.core.events import Heard
from bot.core.messages import Message
from bot.core.state import State
from bot.record.post import Address
from bot.record.store import Store
from tests.record.small_talk import NINE, Rider, Said, heard_texts, seat_mechanic

AT = "2026-05-01T09:00:00Z"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def ann(store: Store) -> Rider:
    return Rider(store, "Ann")


# --- what is told is kept --------------------------------------------------------------------


def test_a_bike_gets_its_number_in_the_entry(store: Store, ann: Rider) -> None:
    ann.say("metal")
    ann.say("bike Blue")
    (taken,) = (e.event for e in store.entries(1) if e.event.kind == "bike_taken")
    assert (taken.bike, taken.nickname) == ("1", "Blue")
    assert store.case(1).nickname == "Blue"
    assert [b.nickname for b in store.bikes_of(ann.number)] == ["Blue"]


def test_a_known_nickname_is_that_bike_with_all_that_is_known(store: Store, ann: Rider) -> None:
    for text in ("metal", "bike Blue", "trait starter kick", "hours 43", "end", "brakes", "bike BLUE"):
        ann.say(text)
    state = store.state(2)
    assert (state.bike, state.traits, state.hours) == ("1", {"starter": "kick"}, (43, 43))
    assert len(store.bikes_of(ann.number)) == 1


def test_what_was_told_before_the_bike_was_named_goes_to_the_bike(store: Store, ann: Rider) -> None:
    for text in ("metal", "trait starter kick", "hours 43"):
        ann.say(text)
    assert store.bikes_of(ann.number) == ()
    ann.say("bike Blue")
    (blue,) = store.bikes_of(ann.number)
    assert (blue.traits, blue.hours) == ({"starter": "kick"}, 43)


def test_what_was_told_of_a_wrong_bike_goes_to_the_right_one(store: Store, ann: Rider) -> None:
    for text in ("metal", "bike Red", "trait starter electric", "hours 7", "end"):
        ann.say(text)
    for text in ("clutch", "bike Red", "trait starter kick", "hours 43", "bike Blue"):
        ann.say(text)
    red, blue = store.bikes_of(ann.number)
    assert (red.nickname, red.traits, red.hours) == ("Red", {"starter": "electric"}, 7)
    assert (blue.nickname, blue.traits, blue.hours) == ("Blue", {"starter": "kick"}, 43)


def test_not_sure_is_not_knowledge_of_the_bike(store: Store, ann: Rider) -> None:
    for text in ("metal", "bike Blue", "trait starter ", "trait oil split"):
        ann.say(text)
    assert store.bikes_of(ann.number)[0].traits == {"oil": "split"}


def test_what_is_taken_back_is_taken_off_the_bike(store: Store, ann: Rider) -> None:
    for text in ("metal", "bike Blue", "trait starter kick", "hours 43", "hours 430"):
        ann.say(text)
    wrong = {e.event.kind: e.seq for e in store.entries(1) if e.event.kind in ("trait_told", "hours_read")}
    ann.say(f"take back {wrong['hours_read']}")
    ann.say(f"take back {wrong['trait_told']}")
    (blue,) = store.bikes_of(ann.number)
    assert (blue.traits, blue.hours) == ({}, 43)
    assert store.state(1).hours == (43, 43)


def test_a_reading_that_falls_is_said_and_not_kept(store: Store, ann: Rider) -> None:
    for text in ("metal", "bike Blue", "hours 43"):
        ann.say(text)
    said = ann.say("hours 12")
    assert said[0].text == "Noted."
    assert "43" in said[1].text
    assert "12" in said[1].text
    assert store.bikes_of(ann.number)[0].hours == 43
    assert heard_texts(store, 1)[-1] == "hours 12"  # what was said stays said


def test_settings_last_beyond_the_case(store: Store, ann: Rider) -> None:
    for text in ("metal", "set units both", "set giving_up 900", "set place trail", "end", "brakes"):
        ann.say(text)
    assert store.person(ann.number).settings == {"units": "both", "giving_up": "900"}
    assert store.state(2).settings == {}


def test_a_mechanic_sets_his_own_units_and_not_the_riders_price(store: Store, ann: Rider) -> None:
    ann.say("metal")
    max_ = seat_mechanic(store)
    max_.say("set units metric")
    max_.say("set giving_up 10")
    assert store.person(max_.number).settings == {"units": "metric"}
    assert store.person(ann.number).settings == {}


def test_the_core_is_handed_what_is_known(store: Store, ann: Rider) -> None:
    for text in ("metal", "bike Blue", "hours 43", "set giving_up 900", "set language en"):
        ann.say(text)
    seat_mechanic(store).say("set units metric")
    rider, mechanic = store.named("Ann"), store.named("Max")
    assert rider is not None
    assert mechanic is not None
    store.make_bike(rider.id, "Mule", AT)
    desk = turn.lay_desk(store, rider, mechanic, "sms", case=1)
    assert [(b.nickname, b.hours) for b in desk.bikes] == [("Blue", 43)]
    assert desk.settings == {"giving_up": "900", "units": "metric"}
    assert (desk.message_minutes, turn.lay_desk(store, rider, rider, "terminal").message_minutes) == (4, 2)


# --- two people ------------------------------------------------------------------------------


def test_a_stop_reaches_every_seat(store: Store, ann: Rider) -> None:
    ann.say("metal")
    max_ = seat_mechanic(store)
    for text in ("hello", "all", "some"):
        max_.say(text)
    said = max_.hand_in("yes")
    told = [(o.person, o.channel, o.address, o.priority, o.message.text) for o in said]
    assert told == [
        ("Max", "terminal", "garage", "safety", "STOP. Do not start it."),
        ("Ann", "terminal", "pit", "safety", "STOP. Do not start it."),
        ("Max", "terminal", "garage", "answer", "That is all."),
    ]


def test_a_message_for_another_seat_goes_there_and_only_there(store: Store, ann: Rider) -> None:
    ann.say("metal")
    said = seat_mechanic(store).hand_in("tell Ann: turn the nut by hand")
    assert [(o.person, o.address) for o in said] == [("Ann", "pit"), ("Max", "garage")]
    assert said[0].message.text == "Max: turn the nut by hand"


def test_a_message_for_someone_who_is_gone_falls_away(store: Store, ann: Rider) -> None:
    ann.say("metal")
    assert [m.text for m in ann.say("tell someone: hello")] == ["Told."]


def test_a_core_that_addresses_a_seat_itself_is_not_copied(store: Store, ann: Rider) -> None:
    """The stop is there for Ann in her own words already."""
    ann.say("metal")
    seat_mechanic(store)

    def warn_both(desk: object, state: State, heard: Heard, now: datetime) -> Said:
        raised = events.StopRaised(rule="knock", bars=("running",))
        stops = (Message("STOP.", kind="stop"), Message("Max says STOP.", kind="stop", to="Ann"))
        return Said((events.WasHeard(heard=heard), raised), stops)

    inbox = turn.accept(store, "terminal", "garage", "Max", "x", Heard(text="knock"), NINE)
    said = turn.take(store, inbox or 0, NINE, warn_both)
    assert [(o.person, o.message.text) for o in said] == [("Max", "STOP."), ("Ann", "Max says STOP.")]


def test_an_address_is_where_a_person_spoke_last(store: Store, ann: Rider) -> None:
    ann.say("metal")
    assert store.seats(1) == {"Ann": (ann.number, Address("terminal", "pit"))}
    store.sit_down(1, ann.number, Address("sms", "555"), AT)
    assert store.seats(1) == {"Ann": (ann.number, Address("sms", "555"))}
