"""How a message looks on a phone: nothing lost, nothing too long, wide buttons, words and not pictures."""

from __future__ import annotations

import html
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.channels.telegram.hearing import understood
from bot.channels.telegram.layout import (
    DONE,
    LONGEST,
    buttons,
    cut,
    lay_out,
    recorded,
    send,
    sent_back,
    units,
)
from bot.core.events import Entry, SettingTold, WasAsked
from bot.core.messages import Choice, Message

LONG = "Only when it is really hot and heavily loaded"
WRENCH = "\U0001f527"  # one sign, two UTF-16 units


def question(*labels: str, many: bool = False) -> Message:
    fixed = (Choice(9, "Not sure", "control:not_sure", control=True), Choice(10, "Back", "b", control=True))
    answers = tuple(Choice(n, label, f"a{n}") for n, label in enumerate(labels, 1))
    return Message("Which?", choices=(*answers, *fixed), many=many)


def labels(message: Message, *ticked: int) -> list[list[str]]:
    return [[label for label, _ in row] for row in buttons(message, 7, ticked)]


@given(st.text(alphabet=st.sampled_from(f"ab \n<&{WRENCH}"), max_size=300), st.integers(10, 60))
def test_a_cut_text_fits_and_loses_no_letter(text: str, longest: int) -> None:
    pieces = cut(text, longest)
    assert all(units(piece) <= longest for piece in pieces)
    kept = "".join("".join(pieces).split())
    assert kept == ("".join(text.split()) or "-")


def test_a_sign_of_two_units_is_never_cut_in_half() -> None:
    assert cut(WRENCH * 5, 3) == (WRENCH,) * 5


def test_the_length_is_counted_before_escaping_and_no_entity_is_cut() -> None:
    """The platform counts what is shown: 4096 after the entities are read (Bot API manual, sendMessage)."""
    sheet = lay_out(Message("&" * (LONGEST + 5)), 1)
    assert len(sheet.texts) == 2
    assert all(units(html.unescape(text)) <= LONGEST for text in sheet.texts)
    assert not any(re.search(r"&(?!amp;)", text) for text in sheet.texts)


def test_short_answers_stand_two_in_a_row_and_long_ones_alone() -> None:
    assert labels(question("Yes", "No", "Only when it is hot", LONG)) == [
        ["1 Yes", "2 No"],
        ["3 Only when it is hot"],
        ["4 Only when it is really hot and he…"],
        ["Not sure", "Back"],
    ]


def test_what_does_not_fit_on_a_button_stands_in_the_text() -> None:
    text = lay_out(question("Yes", LONG), 1).texts[0]
    assert f"1  Yes\n2  {LONG}" in text


def test_marks_have_a_box_each_and_end_with_done() -> None:
    rows = labels(question("Hairs", "Flakes", "None of these", many=True), 2)
    assert rows == [["[ ] 1 Hairs", "[x] 2 Flakes"], ["3 None of these", "Done"], ["Not sure", "Back"]]


@pytest.mark.parametrize("outbox", [1, 10**14])
def test_what_a_button_sends_is_short_and_comes_back_whole(outbox: int) -> None:
    """1 to 64 bytes (Bot API manual, InlineKeyboardButton)."""
    for what in ("0", "99", DONE):
        assert len(send(outbox, what).encode()) <= 64
        assert sent_back(send(outbox, what)) == (outbox, what)


@given(st.text(max_size=70))
def test_a_press_that_no_button_of_ours_sends_is_none_or_a_number(data: str) -> None:
    found = sent_back(data)
    assert found is None or found[0] >= 0


def test_a_record_of_an_answer_shows_it_and_nothing_can_steer_the_page() -> None:
    assert recorded("Which?", "Some <cling>") == "Which?\n\n<b>&gt; Some &lt;cling&gt;</b>"
    assert recorded("Which?", "") == "Which?"


@pytest.mark.parametrize(
    ("setting", "kept", "button"),
    [
        ("giving_up", 1200.0, "1200"), ("minutes_left", 30.0, "30"), ("must_ride", True, "yes"),
        ("must_ride", False, "no"), ("kit", "garage", "garage"),
    ],
)  # fmt: skip
def test_a_setting_is_understood_as_its_button_however_it_is_kept(
    setting: str, kept: str | float | bool, button: str
) -> None:
    asked = WasAsked(seat="Robin", what="setting", id=setting)
    events = (asked, SettingTold(setting=setting, value=kept))
    entries = [Entry(n, "2026-05-04T09:00:00Z", "Robin", "rider", each) for n, each in enumerate(events, 1)]
    assert understood(entries[:1], entries[1:], 1, "Robin") == (button,)
