"""Groups with the running bot: privacy mode, topics, on into private, posting, migrating."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from bot import turn
from bot.core import events
from bot.core.events import Entry
from bot.core.messages import Message
from tests.channels.telegram_person import Person, Seen, links_of
from tests.channels.telegram_running import Running, press, say, to_the_paper
from tests.channels.telegram_server import TelegramServer
from tests.channels.telegram_world import Chat

pytest_plugins = ["tests.channels.telegram_fixtures", "tests.channels.telegram_bot"]

PAPER = "What lies on the paper?"


@pytest.fixture
def ann(telegram: TelegramServer) -> Person:
    return telegram.person("Ann")


@pytest.fixture
def group(telegram: TelegramServer, robin: Person, ann: Person) -> Chat:
    return telegram.group("North Trail Club", robin, ann)


def answers(bot: Running, case: int = 1) -> list[tuple[str, tuple[str, ...]]]:
    with bot.record() as store:
        return [(told.event.ask, told.event.value) for told in store.state(case).answers]


def newest(person: Person, chat: Chat | None = None) -> Seen:
    return person.bot_says(chat)[-1]


def with_button(person: Person, label: str, chat: Chat) -> Seen:
    return [seen for seen in person.bot_says(chat) if any(label in own for own in seen.labels)][-1]


# --- beginning there --------------------------------------------------------------------------


def test_a_case_begins_with_a_command_and_goes_on_by_replies(
    bot: Running, robin: Person, group: Chat
) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    assert "Does it knock" in asked.text
    robin.say("2", group, reply_to=asked)
    robin.answer(chat=group)
    assert answers(bot) == [("knock", ("no",))]


def test_a_case_begins_with_a_mention(bot: Running, robin: Person, group: Chat) -> None:
    asked = say(robin, f"@{robin.server.bot_name} it rattles below", chat=group)[-1]
    assert "Does it knock" in asked.text
    with bot.record() as store:
        assert store.case(1).complaint == "it rattles below"


def test_what_the_group_says_among_itself_is_none_of_ours(
    bot: Running, robin: Person, ann: Person, group: Chat, telegram: TelegramServer
) -> None:
    telegram.bot_is(group, "administrator")  # then a bot hears everything
    ann.say("nice weather, something rattles", group)
    telegram.idle(0.4)
    assert robin.bot_says(group) == []
    with bot.record() as store:
        assert store.all_cases() == ()
        assert store.value("select count(*) from people") == 0


def test_each_answer_is_a_reply_to_who_asked(bot: Running, robin: Person, ann: Person, group: Chat) -> None:
    mine = robin.say("/new something rattles", group)
    robin.answer(chat=group)
    hers = ann.say("/new it rattles", group)
    ann.answer(chat=group)
    assert [seen.reply_to for seen in robin.bot_says(group)] == [mine.message_id, hers.message_id]


def test_a_command_for_another_bot_is_left_alone(bot: Running, robin: Person, group: Chat) -> None:
    robin.say("/weather", group)
    robin.say("/new@another_club_bot x", group)
    robin.server.idle(0.4)
    assert robin.bot_says(group) == []


# --- who may answer ----------------------------------------------------------------------------


def test_only_the_person_asked_may_press(bot: Running, robin: Person, ann: Person, group: Chat) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    pressed = ann.press(asked, "1 It knocks")
    robin.server.wait_for(lambda: not pressed.spinning)
    assert pressed.answers[0]["show_alert"]
    assert "Robin is asked here" in pressed.answers[0]["text"]
    robin.server.idle(0.3)
    assert answers(bot) == []


def test_another_members_words_are_his_own_case(
    bot: Running, robin: Person, ann: Person, group: Chat
) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    ann.say("it rattles on mine too", group, reply_to=asked)
    ann.answer(chat=group)
    assert answers(bot) == []
    with bot.record() as store:
        assert [(line.rider, line.complaint) for line in store.all_cases()] == [
            ("Ann", "it rattles on mine too"), ("Robin", "something rattles"),
        ]  # fmt: skip


def test_a_mechanic_who_sits_at_the_case_may_press(
    bot: Running, robin: Person, ann: Person, group: Chat
) -> None:
    asked = say(robin, "/new something rattles", chat=group)[-1]
    ann.start()
    ann.answer()
    bot.seat_mechanic(1, ann.id)
    ann.press(asked, "2 No knock")
    ann.answer(chat=group)
    with bot.record() as store:
        told = [(t.who, t.event.ask, t.event.value) for t in store.state(1).answers]
    assert told == [("Ann", "knock", ("no",))]


# --- on into private -----------------------------------------------------------------------------


def test_a_link_carries_the_same_case_into_private(bot: Running, robin: Person, group: Chat) -> None:
    say(robin, "/new something rattles", chat=group)
    robin.follow(with_button(robin, "Go on in private", group), "Go on in private")
    assert "Does it knock" in robin.answer()[-1].text
    say(robin, "2")
    assert answers(bot) == [("knock", ("no",))]
    with bot.record() as store:
        assert len(store.all_cases()) == 1


def test_the_link_works_when_it_is_followed_again(bot: Running, robin: Person, group: Chat) -> None:
    say(robin, "/new something rattles", chat=group)
    seen = with_button(robin, "Go on in private", group)
    for _ in range(2):
        robin.follow(seen, "Go on in private")
        assert "Does it knock" in robin.answer()[-1].text
    with bot.record() as store:
        person = store.known_as("telegram", str(robin.id))
        assert person is not None
        assert person.settings["group"] == f"telegram:{group.id}"


def test_the_same_link_gives_another_person_nothing_of_the_case(
    bot: Running, robin: Person, ann: Person, group: Chat
) -> None:
    say(robin, "/new something rattles", chat=group)
    seen = with_button(robin, "Go on in private", group)
    ann.follow(seen, "Go on in private")
    shown = "\n".join(s.text for s in ann.answer())
    assert "somebody else's" in shown
    assert "knock" not in shown
    assert "rattles" not in shown
    say(ann, "2")
    assert answers(bot) == []


def test_a_link_that_is_too_old_says_so(bot: Running, robin: Person, group: Chat) -> None:
    say(robin, "/new something rattles", chat=group)
    seen = with_button(robin, "Go on in private", group)
    bot.ahead = timedelta(days=3)
    robin.follow(seen, "Go on in private")
    assert "too old" in "\n".join(s.text for s in robin.answer())


def test_the_group_is_shown_no_sheet_but_a_way_to_it(bot: Running, robin: Person, group: Chat) -> None:
    say(robin, "/new something rattles", chat=group)
    say(robin, "/sheet", chat=group)
    shown = newest(robin, group)
    assert "read it in private" in shown.text.lower()
    for own in ("SUMMARY", "STOPS", "SUSPECTS", "Written"):
        assert own not in "\n".join(seen.text for seen in robin.bot_says(group))
    robin.start(re.findall(r"start=(\S+)", links_of(shown)[-1])[0])
    assert "Does it knock" in robin.answer()[-1].text


@pytest.mark.parametrize("word", ["/mydata", "/eraseme", "/post", "/cases"])
def test_what_is_private_is_not_done_in_a_group(bot: Running, robin: Person, group: Chat, word: str) -> None:
    say(robin, "/new something rattles", chat=group)
    assert "private chat" in say(robin, word, chat=group)[-1].text


# --- posting -------------------------------------------------------------------------------------


def find_it(bot: Running) -> None:
    """A look that found the loose nut, by the record's own door."""
    found = events.Answered(ask="nut", value=("bad",), form="look", rank=3, minutes=5)
    with bot.record() as store, store.writing():
        seq = store.state(1).next_seq
        store.append(1, [Entry(seq, "2026-05-04T10:00:00Z", "Robin", "rider", found)])


def end_well(bot: Running, robin: Person, chat: Chat | None = None) -> None:
    """From the first words to a loose nut that was found."""
    to_the_paper(robin, chat)
    find_it(bot)


def test_a_result_is_posted_only_after_a_yes_and_names_nobody(
    bot: Running, robin: Person, group: Chat
) -> None:
    end_well(bot, robin, group)
    robin.follow(with_button(robin, "Go on in private", group), "Go on in private")
    robin.answer()
    before = [seen.text for seen in robin.bot_says(group)]
    shown = say(robin, "/post")[-1]
    assert "Found: Drive nut working loose." in shown.text
    assert [seen.text for seen in robin.bot_says(group)] == before
    press(robin, "1 Post it")
    robin.server.wait_for(lambda: len(robin.bot_says(group)) > len(before), told="the post")
    posted = newest(robin, group).text
    assert posted == "Something rattles\nFound: Drive nut working loose."
    for own in ("Robin", "Goat", "43", str(robin.id)):
        assert own not in posted


def test_what_was_shown_is_what_is_posted(bot: Running, robin: Person, group: Chat) -> None:
    """Another case became the current one between the question and the yes."""
    end_well(bot, robin, group)
    robin.follow(with_button(robin, "Go on in private", group), "Go on in private")
    robin.answer()
    asked = say(robin, "/post")[-1]
    say(robin, "/new it rattles")
    robin.press(asked, "1 Post it")
    robin.server.wait_for(lambda: newest(robin, group).text.startswith("Something rattles"), told="it")


def test_the_group_is_named_and_stays_the_one_that_was_named(
    bot: Running, robin: Person, ann: Person, group: Chat, telegram: TelegramServer
) -> None:
    """He went on from another group between the question and the yes."""
    end_well(bot, robin, group)
    robin.follow(with_button(robin, "Go on in private", group), "Go on in private")
    robin.answer()
    asked = say(robin, "/post")[-1]
    assert "what North Trail Club would see" in asked.text
    other = telegram.group("Mud Larks", robin, ann)
    say(robin, "/new it rattles", chat=other)
    robin.follow(with_button(robin, "Go on in private", other), "Go on in private")
    robin.answer()
    before = len(robin.bot_says(other))
    robin.press(asked, "1 Post it")
    robin.server.wait_for(lambda: "Found:" in newest(robin, group).text, told="the post")
    robin.server.wait_for(
        lambda: any("Posted to North Trail Club" in seen.text for seen in robin.bot_says()), told="said so"
    )
    assert len(robin.bot_says(other)) == before


def test_no_means_that_nothing_is_posted(bot: Running, robin: Person, group: Chat) -> None:
    end_well(bot, robin, group)
    robin.follow(with_button(robin, "Go on in private", group), "Go on in private")
    robin.answer()
    before = len(robin.bot_says(group))
    asked = say(robin, "/post")[-1]
    press(robin, "2 Do not post it")
    robin.press(asked, "1 Post it")
    robin.server.idle(0.4)
    assert len(robin.bot_says(group)) == before


def test_without_a_result_or_a_group_there_is_nothing_to_post(
    bot: Running, robin: Person, group: Chat
) -> None:
    say(robin, "something rattles")
    assert "no group" in say(robin, "/post")[-1].text
    say(robin, "/new it rattles", chat=group)
    robin.follow(with_button(robin, "Go on in private", group), "Go on in private")
    robin.answer()
    assert "no result so far" in say(robin, "/post")[-1].text


# --- topics -----------------------------------------------------------------------------------------


@pytest.fixture
def forum(telegram: TelegramServer, robin: Person, ann: Person) -> Chat:
    return telegram.supergroup("Quarry Riders", robin, ann, topics=["Engines", "Tyres"])


def test_answers_stay_in_their_topic(bot: Running, robin: Person, forum: Chat) -> None:
    engines, tyres = forum.topics
    say(robin, "/new something rattles", chat=forum, thread=engines)
    press(robin, "2 No knock", forum)
    assert {seen.thread for seen in robin.bot_says(forum)} == {engines}
    say(robin, "/new it rattles", chat=forum, thread=tyres)
    assert newest(robin, forum).thread == tyres
    with bot.record() as store:
        assert len(store.all_cases()) == 2


def test_a_topic_that_is_gone_does_not_end_the_talk(
    bot: Running, robin: Person, forum: Chat, telegram: TelegramServer
) -> None:
    engines, _ = forum.topics
    asked = say(robin, "/new something rattles", chat=forum, thread=engines)[-1]
    telegram.delete_topic(forum, engines)
    robin.press(asked, "2 No knock")
    shown = robin.answer(chat=forum)[-1]
    assert shown.thread is None
    assert "What do you call this bike?" in shown.text
    robin.say("Goat", forum, reply_to=shown)
    assert "How is it started?" in robin.answer(chat=forum)[-1].text
    with bot.record() as store:
        assert len(store.all_cases()) == 1


def test_a_result_goes_to_the_topic_that_the_case_came_from(bot: Running, robin: Person, forum: Chat) -> None:
    engines, _ = forum.topics
    say(robin, "/new something rattles", chat=forum, thread=engines)
    find_it(bot)
    robin.follow(with_button(robin, "Go on in private", forum), "Go on in private")
    robin.answer()
    say(robin, "/post")
    press(robin, "1 Post it")
    robin.server.wait_for(lambda: "Found:" in newest(robin, forum).text)
    assert newest(robin, forum).thread == engines


# --- a group becomes a supergroup -----------------------------------------------------------------


def test_a_group_that_became_a_supergroup_talks_on(
    bot: Running, robin: Person, group: Chat, telegram: TelegramServer
) -> None:
    say(robin, "/new something rattles", chat=group)
    new = telegram.migrate(group)
    telegram.idle(0.3)
    robin.say("/where", new)
    robin.answer(chat=new)
    robin.say(f"2 @{telegram.bot_name}", new)
    robin.answer(chat=new)
    assert answers(bot) == [("knock", ("no",))]
    with bot.record() as store:
        assert len(store.all_cases()) == 1
        for table, column in (("seats", "chat"), ("current", "chat"), ("outbox", "address")):
            held = {str(row[column]) for row in store.rows(f"select {column} from {table}")}
            assert held <= {str(new.id)}


def test_a_message_on_its_way_reaches_the_new_chat(
    bot: Running, robin: Person, group: Chat, telegram: TelegramServer
) -> None:
    say(robin, "/new something rattles", chat=group)
    bot.stop()
    with bot.record() as store, store.writing():
        person = store.known_as("telegram", str(robin.id))
        assert person is not None
        address = turn.Address("telegram", str(group.id))
        store.put_out(address, person.id, Message("still to come"), turn.stamp(bot.now()), n=0)
    new = telegram.migrate(group)
    bot.start()
    telegram.wait_for(lambda: [s for s in robin.bot_says(new) if s.text == "still to come"], told="it")
