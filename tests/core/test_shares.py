"""Shares in the talk: who may see and take them, what he is shown, and that the case goes on as it was."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from bot.core import events
from bot.core.desk import Tally
from bot.core.events import Role, SharesAccepted
from tests.core.chat import HASH, Chat
from tests.rattle import FLOW

CASES = {"nut-loose": 1, "basket-worn": 14, "kick-gear": 4, "": 1}
SHARES = {"nut-loose": 22.5, "basket-worn": 50.0, "kick-gear": 15.0, "fines": 5.0, "": 7.5}


def tally(cases: Mapping[str, int] = CASES, scope: str = "everyone", **more: object) -> Tally:
    return Tally(scope, HASH, HASH, cases, **more)  # type: ignore[arg-type]


@pytest.fixture
def chat() -> Chat:
    return Chat(FLOW, outcomes=(tally(),))


def admin(chat: Chat, text: str = "", **more: str) -> str:
    chat.say(text, role="admin", **more)
    return chat.said


def taken(chat: Chat) -> list[SharesAccepted]:
    return [e.event for e in chat.state.entries if isinstance(e.event, SharesAccepted)]


# --- who --------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["rider", "mechanic"])
def test_others_are_told_whose_it_is(chat: Chat, role: Role) -> None:
    chat.say("shares", role=role)
    assert "for the admin of this bot" in chat.said
    assert "100" not in chat.said
    assert chat.asked[0] == "none"


def test_who_is_no_admin_any_more_takes_nothing(chat: Chat) -> None:
    admin(chat, "shares")
    chat.say("yes")
    assert "for the admin of this bot" in chat.said
    assert taken(chat) == []


# --- what is shown ------------------------------------------------------------------------------


def test_an_admin_reads_file_and_cases_side_by_side(chat: Chat) -> None:
    """8, 6, 2, 2, 2 of 20 and 1, 14, 4, 0, 1 more. Limits computed for this test by scipy 1.17.1."""
    admin(chat, "shares")
    [message] = chat.messages
    assert message.text.split("\n") == [
        "Something rattles, for everyone, from 20 cases:",
        "Clutch basket notched: the file says 30 of 100; here 50 of 100 (35 to 65).",
        "Drive nut working loose: the file says 40 of 100; here 22 of 100 (11 to 36).",
        "Kick gear worn: the file says 10 of 100; here 15 of 100 (6 to 27).",
        "Ordinary fines: the file says 10 of 100; here 5 of 100 (1 to 13).",
        "Not in this list: the file says 10 of 100; here 7.5 of 100 (2 to 17).",
        "Use these in a new version?",
    ]
    assert [(c.n, c.label) for c in message.choices] == [(1, "Yes"), (2, "No")]
    assert message.kind == "record"  # so that no group reads it


def test_cases_of_older_versions_are_named(chat: Chat) -> None:
    chat.outcomes = (tally(older=6),)
    assert "6 of them are of older versions." in admin(chat, "shares")


def test_five_lines_are_enough_for_a_phone(chat: Chat) -> None:
    many = {f"cause-{n}": FLOW.causes["basket-worn"].model_copy(update={"share": 10.0}) for n in range(8)}
    chat.flow = FLOW.model_copy(
        update={"causes": many, "unlisted": FLOW.unlisted.model_copy(update={"share": 20.0})}
    )
    chat.outcomes = (tally({f"cause-{n}": n for n in range(8)}),)
    said = admin(chat, "shares")
    assert said.count("the file says") == 5
    assert "more change less." in said


def test_nothing_yet(chat: Chat) -> None:
    chat.outcomes = ()
    assert admin(chat, "shares").startswith("Not yet: no flow has 5 closed cases")
    assert chat.asked[0] == "none"


def test_cases_that_say_what_the_file_says(chat: Chat) -> None:
    chat.outcomes = (tally({"nut-loose": 8, "basket-worn": 6, "kick-gear": 2, "fines": 2, "": 2}),)
    assert "nothing to take over" in admin(chat, "shares")
    assert chat.asked[0] == "none"


def test_with_several_he_is_asked_which(chat: Chat) -> None:
    chat.outcomes = (tally(), tally({"fines": 9}, "group:club:1", group="North Trail Club"))
    said = admin(chat, "shares")
    assert [c.label for c in chat.messages[0].choices] == [
        "Something rattles, for everyone, from 20 cases",
        "Something rattles, in North Trail Club, from 9 cases",
    ]
    assert "Which one?" in said
    assert "in North Trail Club, from 9 cases:\nOrdinary fines: the file says 10" in admin(chat, "2")
    assert chat.said.endswith("Use these in a new version?")
    assert "in North Trail Club, from the next case on" in admin(chat, "1")
    assert [(e.scope, e.shares["fines"]) for e in taken(chat)] == [("group:club:1", 37.9)]  # 11 of 29


def test_which_is_answered_by_a_press_too(chat: Chat) -> None:
    """A press that led to another question was asked nothing further: the next step closed it at once."""
    chat.outcomes = (tally(), tally({"fines": 9}, "group:club:1", group="North Trail Club"))
    admin(chat, "shares")
    admin(chat, press=f"{chat.state.asked['rider'].seq}:0")
    assert "Use these in a new version?" in chat.said
    admin(chat, press=f"{chat.state.asked['rider'].seq}:yes")
    assert [e.scope for e in taken(chat)] == ["everyone"]


# --- yes and no ---------------------------------------------------------------------------------


def test_yes_takes_all_of_them(chat: Chat) -> None:
    admin(chat, "shares")
    assert admin(chat, "1") == (
        "Version 3 of Something rattles has them, for everyone, from the next case on. "
        "Open cases keep theirs."
    )
    assert taken(chat) == [SharesAccepted(scope="everyone", flow="rattle", hash=HASH, shares=SHARES)]
    assert chat.asked[0] == "none"


def test_no_leaves_them(chat: Chat) -> None:
    admin(chat, "shares")
    assert admin(chat, "no") == "The shares stay as they are."
    assert taken(chat) == []


def test_a_case_that_came_between_is_shown_first(chat: Chat) -> None:
    admin(chat, "shares")
    chat.outcomes = (tally({**CASES, "fines": 1}),)
    said = admin(chat, "yes")
    assert said.startswith("Other cases came out since.")
    assert "from 21 cases" in said
    assert taken(chat) == []
    admin(chat, "yes")
    assert len(taken(chat)) == 1


def test_a_version_that_came_between_is_not_overwritten(chat: Chat) -> None:
    admin(chat, "shares")
    chat.outcomes = ()
    assert "Another version is in use by now" in admin(chat, "again")
    assert "Another version is in use by now" in admin(chat, "yes")
    assert taken(chat) == []
    assert chat.asked[0] == "none"


def test_other_words_leave_the_shares_and_begin_a_case(chat: Chat) -> None:
    admin(chat, "shares")
    said = admin(chat, "it rattles")
    assert said.startswith("The shares stay as they are.")
    assert "Does it knock from below?" in said
    assert chat.state.complaint == "it rattles"


# --- beside a case --------------------------------------------------------------------------------


def test_the_open_question_comes_again(chat: Chat) -> None:
    chat.talk("it rattles")
    assert chat.asked == ("question", "knock")
    admin(chat, "shares")
    assert "Does it knock from below?" in admin(chat, "yes")
    assert chat.asked == ("question", "knock")
    assert "Does it knock from below?" in (chat.say("shares"), chat.said)[1]


def test_a_closed_case_stays_closed(chat: Chat) -> None:
    chat.talk("it rattles", "hand it over")
    assert chat.state.ended is not None
    before = chat.state.ended
    admin(chat, "shares")
    admin(chat, "yes")
    assert (chat.state.ended, len(taken(chat))) == (before, 1)


def test_taking_it_back_is_no_part_of_the_case(chat: Chat) -> None:
    chat.talk("it rattles", "no knock")
    admin(chat, "shares")
    admin(chat, "yes")
    chat.say("back")
    assert len(taken(chat)) == 1
    assert chat.state.told("knock") is None


def test_the_event_is_kept_as_it_was() -> None:
    event = SharesAccepted(scope="everyone", flow="rattle", hash=HASH, shares=SHARES)
    assert events.EVENT.validate_json(event.model_dump_json()) == event
