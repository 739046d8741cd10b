"""People in private with the running bot: questions, marks, presses, cases, their data, being forgotten."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from bot.channels.telegram import chatting
from bot.channels.telegram.hearing import told_by
from bot.core.messages import Choice, Message
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_running import Running, press, say, to_the_paper
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]

PAPER = "What lies on the paper?"
MAGNET = "Hold a magnet under the bits."


def newest(person: Person) -> Seen:
    return person.bot_says()[-1]


def at(person: Person, text: str) -> Seen:
    """The newest message of the bot that says this."""
    return [seen for seen in person.bot_says() if text in seen.text][-1]


def kinds(bot: Running, case: int = 1) -> list[str]:
    with bot.record() as store:
        return [entry.event.kind for entry in store.entries(case)]


def answers(bot: Running, case: int = 1) -> list[tuple[str, tuple[str, ...]]]:
    with bot.record() as store:
        return [(told.event.ask, told.event.value) for told in store.state(case).answers]


# --- one question a message ------------------------------------------------------------------


def test_each_question_is_a_message_of_its_own_with_one_or_two_numbered_buttons_a_row(
    bot: Running, robin: Person
) -> None:
    to_the_paper(robin)
    asked = [seen for seen in robin.bot_says() if "?" in seen.text]
    assert len(asked) >= 4
    for seen in asked:
        assert seen.text.count("?") == 1
        assert all(1 <= len(row) <= 2 for row in seen.rows)
    marks = ["[ ] 1 Bits that cling", "[ ] 2 A piece of the lever", "[ ] 3 Dust"]
    assert newest(robin).labels[:3] == marks
    assert newest(robin).labels[3].endswith("4 None of these")


def test_a_typed_number_a_word_and_a_press_do_the_same(bot: Running, telegram: TelegramServer) -> None:
    robin, ann, zoe = (telegram.person(name) for name in ("Robin", "Ann", "Zoe"))
    for person in (robin, ann, zoe):
        say(person, "something rattles")
    say(robin, "2")
    say(ann, "No knock")
    press(zoe, "2 No knock")
    assert answers(bot, 1) == answers(bot, 2) == answers(bot, 3) == [("knock", ("no",))]


def test_an_answered_question_becomes_a_record_of_its_answer(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    say(robin, "2")
    record = at(robin, "Does it knock")
    assert record.edited
    assert record.text.endswith("> No knock")
    assert record.labels == []


def test_the_record_says_what_was_understood(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    say(robin, "no")
    assert at(robin, "Does it knock").text.endswith("> No knock")
    for text in ("Goat", "by foot", "bits that cling"):
        say(robin, text)
    assert at(robin, "How is it started").text.endswith("> By foot")
    assert at(robin, PAPER).text.endswith("> Bits that cling")


@pytest.mark.parametrize(
    ("press_", "text", "told"),
    [
        ("7:b", "", "Some cling"), ("", "2", "Some cling"), ("", "1 2", "All cling; Some cling"),
        ("", "1-3", "All cling; Some cling; None"), ("", "a few of them", "a few of them"),
        ("", "9", "9"), ("", "40 h", "40 h"), ("9:gone", "", ""),
    ],
)  # fmt: skip
def test_what_was_told_is_said_in_the_words_of_the_choices(press_: str, text: str, told: str) -> None:
    choices = (Choice(1, "All cling", "a"), Choice(2, "Some cling", "b"), Choice(3, "None", "c"))
    assert (
        told_by(Message("?", choices=(*choices, Choice(4, "Back", "x", control=True))), press_, text) == told
    )


def test_a_stop_is_a_message_of_its_own_before_the_next_question(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    press(robin, "1 It knocks")
    texts = [seen.text for seen in robin.bot_says()]
    [stop] = [n for n, text in enumerate(texts) if "Do not start the engine" in text and "Still" not in text]
    assert "What do you call this bike?" not in texts[stop]
    assert any("What do you call this bike?" in text for text in texts[stop + 1 :])
    assert not robin.bot_says()[stop].edited


# --- marks -----------------------------------------------------------------------------------


def test_marks_are_ticked_one_by_one_and_done_sends_them(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    press(robin, "1 Bits")
    press(robin, "2 A piece")
    press(robin, "3 Dust")
    press(robin, "3 Dust")
    shown = at(robin, PAPER)
    assert shown.labels[:3] == ["[x] 1 Bits that cling", "[x] 2 A piece of the lever", "[ ] 3 Dust"]
    assert answers(bot)[1:] == []
    press(robin, "Done")
    assert answers(bot)[1:] == [("paper", ("bits", "lever"))]
    assert at(robin, PAPER).text.endswith("> Bits that cling; A piece of the lever")


def test_done_with_nothing_ticked_is_none_of_these(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    press(robin, "Done")
    assert answers(bot)[1:] == [("paper", ())]
    assert at(robin, PAPER).text.endswith("> None of these")


def test_none_of_these_is_an_answer_at_once(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    press(robin, "1 Bits")
    press(robin, "4 None of these")
    assert answers(bot)[1:] == [("paper", ())]


def test_all_marks_ticked_one_by_one_are_meant(bot: Running, robin: Person) -> None:
    """Typed '1 2 3' is asked about once more; whoever ticked each of them has said it three times."""
    to_the_paper(robin)
    for label in ("1 Bits", "2 A piece", "3 Dust"):
        press(robin, label)
    press(robin, "Done")
    assert answers(bot)[1:] == [("paper", ("bits", "lever", "dust"))]


def test_done_under_a_question_that_is_over_moves_nothing(bot: Running, robin: Person) -> None:
    """The ticks stood on a phone without signal while the answer was typed."""
    seen = to_the_paper(robin)
    press(robin, "2 A piece")
    say(robin, "3")
    before = answers(bot)
    robin.press(seen, "Done")
    robin.server.idle(0.3)
    assert answers(bot) == before
    assert newest(robin).text.startswith(MAGNET)


# --- presses ---------------------------------------------------------------------------------


def test_the_spinner_is_cleared_before_anything_else_is_said(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    say(robin, "something rattles")
    done = len(telegram.calls)
    press(robin, "2 No knock")
    methods = [call.method for call in telegram.calls[done:] if call.method != "getUpdates"]
    assert methods[0] == "answerCallbackQuery"
    assert "sendMessage" in methods


def test_a_second_tap_of_the_same_button_is_answered_and_not_applied(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    seen = newest(robin)
    first, second = robin.press(seen, "2 No knock"), robin.press(seen, "2 No knock")
    robin.answer()
    assert (first.spinning, second.spinning) == (False, False)
    assert "answered already" in str(second.answers)
    assert answers(bot) == [("knock", ("no",))]
    assert sum("What do you call this bike" in seen.text for seen in robin.bot_says()) == 1


def test_another_button_of_a_question_that_is_over_brings_the_open_one(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    seen = newest(robin)
    press(robin, "2 No knock")
    robin.press(seen, "1 It knocks")
    shown = robin.answer()
    assert answers(bot) == [("knock", ("no",))]
    assert "That question is closed" in shown[0].text
    assert "What do you call this bike" in shown[-1].text


@pytest.mark.parametrize("data", ["1.999999.0", "x", "1.1.77", "2.1.0", "1.²³.0", "1.1.", "own:erase"])
def test_a_button_that_was_never_there_is_answered_and_moves_nothing(
    bot: Running, robin: Person, data: str
) -> None:
    say(robin, "something rattles")
    before = kinds(bot)
    pressed = robin.press(newest(robin), data=data)
    robin.server.wait_for(lambda: not pressed.spinning)
    robin.server.idle(0.2)
    assert kinds(bot) == before
    with bot.record() as store:
        assert store.depths()["dead"] == 0


def test_an_old_press_does_not_answer_for_another_case(bot: Running, robin: Person) -> None:
    seen = to_the_paper(robin)
    say(robin, "/new it rattles")
    before = answers(bot, 2)
    robin.press(seen, "2 A piece")
    robin.server.idle(0.4)
    assert answers(bot, 2) == before


# --- what is neither word nor press -----------------------------------------------------------


def test_an_edit_changes_nothing_and_says_how_to(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    post = robin.say("2")
    robin.answer()
    before = answers(bot)
    robin.edit(post, "1")
    assert "change" in robin.answer()[-1].text
    assert answers(bot) == before


def test_an_edit_of_the_newest_note_words_it_anew_and_keeps_the_first_wording(
    bot: Running, robin: Person
) -> None:
    say(robin, "something rattles")
    post = robin.say("the neighbour has a trailer")
    robin.answer()
    before, asked = answers(bot), robin.bot_says()[-1].text
    for wording in ("the club has a trailer", "the club has no trailer"):
        robin.edit(post, wording)
        assert "changed the note" in robin.answer()[-1].text
    assert answers(bot) == before
    with bot.record() as store:
        [case] = store.all_cases()
        state = store.state(case.id)
        kept = [e.event.words for e in state.entries if e.event.kind == "noted"]
    assert [note.words for _, _, _, note in state.notes] == ["the club has no trailer"]
    assert kept == ["the neighbour has a trailer", "the club has a trailer", "the club has no trailer"]
    assert asked in [seen.text for seen in robin.bot_says()]


def test_an_edit_of_an_older_note_or_of_first_words_leaves_them(bot: Running, robin: Person) -> None:
    first = robin.say("something rattles")
    robin.answer()
    older = robin.say("the neighbour has a trailer")
    robin.answer()
    say(robin, "and it rains")
    for post in (first, older):
        robin.edit(post, "the club has a trailer")
        assert "wrote first" in robin.answer()[-1].text


@pytest.mark.parametrize(
    ("send", "told"),
    [
        ("send_sticker", "sticker"), ("send_contact", "no contacts"), ("send_location", "no places"),
        ("send_poll", "poll"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_answered_and_leaves_the_question_open(
    bot: Running, robin: Person, send: str, told: str
) -> None:
    say(robin, "something rattles")
    before = kinds(bot)
    getattr(robin, send)(*(("Which oil?", ["thick", "thin"]) if send == "send_poll" else ()))
    assert told in robin.answer()[-1].text
    assert kinds(bot) == before
    say(robin, "2")
    assert answers(bot) == [("knock", ("no",))]


def test_something_that_no_one_knows_yet_is_answered_too(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    say(robin, "something rattles")
    robin.post({"hologram": {"size": 3}})
    assert "words, a number, or a photo" in robin.answer()[-1].text


def test_a_voice_message_is_kept_and_answered(bot: Running, robin: Person) -> None:
    say(robin, "something rattles")
    robin.send_voice()
    shown = "\n".join(seen.text for seen in robin.answer())
    assert "cannot listen" in shown
    assert "Does it knock" in shown
    with bot.record() as store:
        [note] = store.state(1).notes
    assert note[3].file_kind == "voice"


def test_a_turn_that_takes_long_shows_that_an_answer_is_coming(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    robin.start()
    robin.answer()
    with chatting.shown(bot.settings, str(robin.id), after=0.05):
        telegram.wait_for(lambda: robin.chat.actions, told="the sign")
    with chatting.shown(bot.settings, str(robin.id), after=5):
        time.sleep(0)
    telegram.idle(0.2)
    assert robin.chat.actions == [("typing", None)]


# --- several bikes and cases --------------------------------------------------------------------


def test_with_two_open_cases_the_bot_names_the_bike(bot: Running, robin: Person) -> None:
    to_the_paper(robin, bike="Goat")
    assert not newest(robin).text.startswith("[Goat]")
    shown = to_the_paper(robin, bike="Mule")
    assert shown.text.startswith("[Mule]")
    with bot.record() as store:
        assert [(line.nickname, line.ended) for line in store.all_cases()] == [("Mule", ""), ("Goat", "")]


def test_he_goes_back_to_a_case_by_its_bike(bot: Running, robin: Person) -> None:
    to_the_paper(robin, bike="Goat")
    to_the_paper(robin, bike="Mule")
    assert say(robin, "/cases")[-1].labels == ["1 Mule: Something rattles", "2 Goat: Something rattles"]
    shown = press(robin, "2 Goat")
    assert "[Goat]" in shown[-1].text or any("[Goat]" in seen.text for seen in shown)
    say(robin, "1")
    assert ("paper", ("bits",)) in answers(bot, 1)
    assert ("paper", ("bits",)) not in answers(bot, 2)


def test_a_typed_number_answers_what_the_bot_asked_last(bot: Running, robin: Person) -> None:
    """/cases asks too; the open question of the case is not answered by it."""
    to_the_paper(robin, bike="Goat")
    to_the_paper(robin, bike="Mule")
    before = answers(bot, 2)
    say(robin, "/cases")
    shown = say(robin, "2")
    assert any("[Goat]" in seen.text for seen in shown)
    assert answers(bot, 2) == before


def test_new_leaves_an_empty_case_alone(bot: Running, robin: Person) -> None:
    robin.start()
    robin.answer()
    say(robin, "/help")
    say(robin, "/new")
    say(robin, "something rattles")
    with bot.record() as store:
        assert len(store.all_cases()) == 1


def test_new_with_a_parked_case_begins_another(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    say(robin, "later")
    say(robin, "/new it rattles")
    with bot.record() as store:
        assert len(store.all_cases()) == 2


# --- a copy ----------------------------------------------------------------------------------------


def test_my_data_is_a_document_that_holds_his_cases_and_no_one_elses(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    ann = telegram.person("Ann", username="ann_rides")
    to_the_paper(ann, bike="Zebra")
    to_the_paper(robin, bike="Goat")
    robin.say("/mydata")
    telegram.wait_for(lambda: [s for s in robin.bot_says() if "document" in s.attached], told="the document")
    [sent] = telegram.calls_of("sendDocument")
    [upload] = sent.files.values()
    text = upload.data.decode()
    data = json.loads(text)
    assert data["name"] == "Robin"
    assert [case["bike"] for case in data["cases"]] == ["Goat"]
    assert data["cases"][0]["entries"]
    assert [bike["nickname"] for bike in data["bikes"]] == ["Goat"]
    assert [m["text"] for m in data["messages"]][:2] == ["something rattles", "No knock"]
    for foreign in ("Zebra", "Ann", str(ann.id)):
        assert foreign not in text


# --- being forgotten ----------------------------------------------------------------------------


def traces(folder: Path, *words: str) -> set[tuple[str, str]]:
    """Files beside the record that hold a word, in their bytes or their names; whatever their case."""
    found = set()
    for path in folder.rglob("*"):
        if path.is_file():
            data = path.read_bytes().lower() + path.name.lower().encode()
            found |= {(path.name, word) for word in words if word.lower().encode() in data}
    return found


def test_erased_means_that_no_file_holds_anything_of_him(bot: Running, telegram: TelegramServer) -> None:
    zoe = telegram.person("Zyxlamoth", username="zyxlamoth_rides")
    ann = telegram.person("Ann")
    to_the_paper(ann, bike="Mule")
    to_the_paper(zoe, bike="Zyxgoat")
    say(zoe, "zyxwords of my own")
    words = ("zyx", str(zoe.id))
    folder = bot.path.parent
    assert traces(folder, *words)
    shown = say(zoe, "/eraseme")
    assert "cannot be undone" in shown[-1].text
    shown = press(zoe, "Yes, erase everything")
    assert "Everything of yours is erased" in shown[-1].text
    assert traces(folder, *words) == set()
    with bot.record() as store:
        assert [line.nickname for line in store.all_cases()] == ["Mule"]
        assert store.value("pragma integrity_check") == "ok"
        assert store.depths()["updates"] == 0


def test_a_message_that_was_set_aside_goes_with_him(bot: Running, telegram: TelegramServer) -> None:
    zoe = telegram.person("Zyxlamoth")
    say(zoe, "something rattles")
    nobody = {"id": zoe.id, "first_name": "Zyxlamoth"}  # without what every person must have
    bad = {"message_id": 7, "from": nobody, "chat": {"id": zoe.id, "type": "private"}, "date": 0}
    telegram.inject({"update_id": 5_000_000, "message": bad})
    with bot.record() as store:
        telegram.wait_for(lambda: store.depths()["dead"] == 1, told="the update that is set aside")
    say(zoe, "/eraseme")
    press(zoe, "Yes, erase everything")
    assert traces(bot.path.parent, "zyx", str(zoe.id)) == set()


def test_erasing_needs_a_yes(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    seen = say(robin, "/eraseme")[-1]
    shown = press(robin, "No, keep it")
    assert shown[-1].text.endswith("> Left as it was")
    robin.press(seen, "Yes, erase everything")  # the buttons are still there on a slow phone
    robin.server.idle(0.3)
    with bot.record() as store:
        assert store.known_as("telegram", str(robin.id)) is not None
        assert len(store.all_cases()) == 1


def test_a_typed_number_answers_whether_to_erase(bot: Running, robin: Person) -> None:
    to_the_paper(robin)
    before = answers(bot)
    say(robin, "/eraseme")
    say(robin, "2")
    assert answers(bot) == before
    say(robin, "erase me")
    assert "is erased" in say(robin, "1")[-1].text
    with bot.record() as store:
        assert store.known_as("telegram", str(robin.id)) is None


def test_no_one_else_can_confirm(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    to_the_paper(robin)
    asked = say(robin, "/eraseme")[-1]
    button = next(b for row in asked.rows for b in row if "Yes" in b.label)
    ann = telegram.person("Ann")
    say(ann, "something rattles")
    pressed = ann.press(newest(ann), data=button.data)
    telegram.wait_for(lambda: not pressed.spinning)
    telegram.idle(0.3)
    assert pressed.answers[0].get("show_alert")
    with bot.record() as store:
        assert store.known_as("telegram", str(robin.id)) is not None
        assert store.known_as("telegram", str(ann.id)) is not None


# --- two people at one case ---------------------------------------------------------------------


def test_what_both_answer_is_kept_and_each_is_told(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    to_the_paper(robin)
    max_ = telegram.person("Max")
    max_.start()
    max_.answer()
    bot.seat_mechanic(1, max_.id)
    say(max_, "again")
    assert PAPER in newest(max_).text
    say(robin, "1")
    telegram.wait_for(
        lambda: [s for s in max_.bot_says() if "rider answered what you are" in s.text], told="it"
    )
    say(max_, "2")
    telegram.wait_for(
        lambda: [s for s in robin.bot_says() if "mechanic answered this too" in s.text], told="it"
    )
    with bot.record() as store:
        told = [(t.role, t.event.value) for t in store.state(1).answers if t.event.ask == "paper"]
    assert told == [("rider", ("bits",)), ("mechanic", ("lever",))]


def test_a_stop_from_one_seat_reaches_the_other(bot: Running, telegram: TelegramServer) -> None:
    robin, max_ = telegram.person("Robin"), telegram.person("Max")
    say(robin, "something rattles")
    max_.start()
    max_.answer()
    bot.seat_mechanic(1, max_.id)
    say(max_, "again")
    say(max_, "1")
    telegram.wait_for(lambda: [s for s in robin.bot_says() if "Do not start the engine" in s.text], told="it")


# --- whoever runs the bot -----------------------------------------------------------------------


def test_status_is_for_admins(telegram: TelegramServer, tmp_path: Path) -> None:
    robin, ann = telegram.person("Robin"), telegram.person("Ann")
    running = Running(telegram, tmp_path / "record.db", admins=frozenset({str(robin.id)}))
    running.start()
    nobody = {"id": ann.id, "first_name": "Zyxlamoth"}
    bad = {"message_id": 7, "from": nobody, "chat": {"id": ann.id, "type": "private"}, "date": 0}
    telegram.inject({"update_id": 5_000_000, "message": bad})
    with running.record() as store:
        telegram.wait_for(lambda: store.depths()["dead"] == 1, told="the update that is set aside")
    shown = say(robin, "/status")[-1].text
    assert "Waiting: updates 0, turns 0, messages 0, files 0, dead 1." in shown
    assert "sumpline letters retry" in shown
    assert "Zyxlamoth" not in shown
    assert "do not know that command" in say(ann, "/status")[-1].text
    assert "status" not in {command["command"] for command in ann.menu()}
    running.stop()


def test_the_menu_offers_each_command_once(bot: Running, robin: Person) -> None:
    names = [command["command"] for command in robin.menu()]
    assert len(names) == len(set(names))
    assert {"start", "help", "new", "cases", "mydata", "eraseme"} <= set(names)
