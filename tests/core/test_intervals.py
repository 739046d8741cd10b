"""How riders tell of an interval, and what they answer to a reminder."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring.wording import read_words
from bot.core.intervals import Answer, Impossible, Interval, Reminded, answer_told, interval_told, off_told
from bot.core.reminder_words import told_interval

WORDS = read_words()
MONTH, YEAR = 365.25 / 12, 365.25

TOLD = {
    "oil every 8 h": Interval(hours=8),
    "Oil every 8h.": Interval(hours=8),
    "oil every 8 h or 60 days": Interval(hours=8, days=60),
    "oil every 8h/60d": Interval(hours=8, days=60),
    "oil every 8 h, 60 days, whichever comes first": Interval(hours=8, days=60),
    "oil every eight hours or two weeks": Interval(hours=8, days=14),
    "oil every 5-8 hours": Interval(hours=5),  # the careful end
    "oil every 5 to 8 h": Interval(hours=5),
    "oil every 8 h or 10 h": Interval(hours=8),
    "oil every about 8 h": Interval(hours=8),
    "oil every 8 h at most": Interval(hours=8),
    "oil at least every 10 hours": Interval(hours=10),
    "oil every 90 min": Interval(hours=1.5),
    "oil every 1.5 months": Interval(days=1.5 * MONTH),
    "oil every 12 hrs please": Interval(hours=12),
    "new oil each 15 engine hours": Interval(hours=15),
    "fresh oil every ten hours": Interval(hours=10),
    "change oil every 10 hours": Interval(hours=10),
    "change the oil every 10 hours": Interval(hours=10),
    "oil change every 6 h": Interval(hours=6),
    "oil changes every month": Interval(days=MONTH),
    "please remind me of the oil every 12 h": Interval(hours=12),
    "remind me to change the oil every ten hours": Interval(hours=10),
    "can you remind me of oil every 3 weeks?": Interval(days=21),
    "I want oil every 8 hours": Interval(hours=8),
    "every 8 hours oil": Interval(hours=8),
    "every 8 h change the oil": Interval(hours=8),
    "oil interval 8 h": Interval(hours=8),
    "oil interval: 10 hours": Interval(hours=10),
    "oil interval is 2 weeks": Interval(days=14),
    "oil every 1000 km": Interval(km=1000),
    "oil every 1,000 km or 6 months": Interval(km=1000, days=6 * MONTH),
    "oil every 3k km": Interval(km=3000),
    "oil every 1000 miles": Interval(km=1609.344),
    "oil every other week": Interval(days=14),
    "oil every day": Interval(days=1),
    "oil every half year": Interval(days=YEAR / 2),
    "oil monthly": Interval(days=MONTH),
    "oil once a year": Interval(days=YEAR),
    "oil twice a year": Interval(days=6 * MONTH),
    "Goat oil every 8 h": Interval(hours=8, bike="Goat"),
    "Goat: oil every 8 h": Interval(hours=8, bike="Goat"),
    "oil every 8 h for Goat": Interval(hours=8, bike="Goat"),
    "oil every 8 h on the Goat 2": Interval(hours=8, bike="Goat 2"),
    "oil reminder off": Interval(),
    "Oil reminders off!": Interval(),
    "turn off the oil reminder": Interval(),
    "stop the oil reminders": Interval(),
    "no more oil reminders": Interval(),
    "don't remind me about the oil": Interval(),
    "Goat oil reminder off": Interval(bike="Goat"),
}

REFUSED = {
    "oil every 8": ("unit", "8"),
    "oil every 0 h": ("range", "0 h"),
    "oil every -8 h": ("range", "-8 h"),
    "oil every 10000 h": ("range", "10000 h"),
    "oil every 5 min": ("range", "5 min"),
    "oil every 8 h or 20 years": ("range", "20 years"),
    "oil every 6m": ("range", "6m"),
    "oil every 2 km": ("range", "2 km"),
    "oil every 2 litres": ("foreign", "2 litres"),
    "oil every ride": ("none", "every ride"),
    "oil reminder on": ("none", "oil reminder on"),
    "oil reminder": ("none", "oil reminder"),
}

FOREIGN = (
    "metal in the oil", "oil leaks every 8 h", "I top up oil every 100 km",
    "oil light comes on every 5 minutes",
    "I changed the oil every 8 hours until it blew", "there is metal in my oil every 8 hours", "oil 8 h",
    "the oil is off", "oil off", "it uses oil every ride", "8 h", "every 8 h", "", "oil", "off", "done",
    "chain every 500 km", "what oil every 8 h does it need",
)  # fmt: skip


@pytest.mark.parametrize("text", TOLD)
def test_an_interval_is_understood_however_it_is_put(text: str) -> None:
    found, wanted = interval_told(text, ("Goat", "Goat 2")), TOLD[text]
    assert isinstance(found, Interval)
    assert found.bike == wanted.bike
    for told, meant in ((found.hours, wanted.hours), (found.km, wanted.km), (found.days, wanted.days)):
        assert told == (meant if meant is None else pytest.approx(meant))


@pytest.mark.parametrize("text", REFUSED)
def test_an_impossible_interval_is_refused_with_what_to_send(text: str) -> None:
    found = interval_told(text)
    assert isinstance(found, Impossible)
    assert (found.why, found.said) == REFUSED[text]
    answer = told_interval(found, "Goat", WORDS)
    assert len(answer) < 200
    assert "oil every 8 h" in answer


@pytest.mark.parametrize("text", FOREIGN)
def test_other_words_are_left_to_the_talk(text: str) -> None:
    assert interval_told(text) is None


def test_what_was_understood_is_said_back() -> None:
    told = interval_told("oil every 8 h or 60 days")
    assert told is not None
    assert told_interval(told, "Goat", WORDS) == (
        "Good: I remind you of Goat's oil every 8 h or 60 days. Your manual outranks that. "
        "To end it: oil reminder off."
    )
    assert told_interval(Interval(), "Goat", WORDS).startswith("Oil reminder off for Goat.")


def test_reminders_can_be_switched_off_at_any_time() -> None:
    assert off_told("look reminder off") == (("look",), "")
    assert off_told("Goat: second look reminders off", ("Goat",)) == (("look",), "Goat")
    assert off_told("stop all reminders") == (("oil", "look"), "")
    assert off_told("reminders off!") == (("oil", "look"), "")
    assert off_told("the light is off") is None


# --- answers to a reminder ------------------------------------------------------------------

GOAT, MULE, LOOK = Reminded("1", "Goat", "oil"), Reminded("2", "Mule", "oil"), Reminded("1", "Goat", "look")
ALL = (GOAT, MULE, LOOK)

ANSWERS = {
    "done": Answer("done", ALL),
    "Done!": Answer("done", ALL),
    "did it": Answer("done", ALL),
    "all done, thanks": None,  # more than an answer: the talk hears it
    "all done thanks": Answer("done", ALL),
    "Goat done": Answer("done", (GOAT, LOOK)),
    "goat oil done": Answer("done", (GOAT,)),
    "oil changed": Answer("done", (GOAT, MULE)),
    "I've changed it already": Answer("done", ALL),
    "look done": Answer("done", (LOOK,)),
    "mule oil changed today": Answer("done", (MULE,)),
    "later": Answer("later", ALL, 2),
    "not now": Answer("later", ALL, 2),
    "tomorrow": Answer("later", ALL, 1),
    "next week": Answer("later", ALL, 7),
    "later in 5 days": Answer("later", ALL, 5),
    "remind me in 3 weeks": Answer("later", ALL, 21),
    "mule later": Answer("later", (MULE,), 2),
    "later in 2 hours": Answer("later", ALL, 1),  # never twice a day
    "later in 5 years": Answer("later", ALL, 60),
    "off": Answer("off", ALL),
    "stop reminding me": Answer("off", ALL),
    "oil reminder off": Answer("off", (GOAT, MULE)),
    "look reminder off": Answer("off", (LOOK,)),
    "not done": None,
    "is the oil change done?": None,
    "is it done": None,
    "metal in the oil": None,
    "later, the magnet is dirty": None,
    "later on 3 things": None,
    "43 h": None,
    "": None,
}


@pytest.mark.parametrize("text", ANSWERS)
def test_an_answer_to_a_reminder_is_understood(text: str) -> None:
    assert answer_told(text, ALL) == ANSWERS[text]


@pytest.mark.parametrize("text", ANSWERS)
def test_without_a_reminder_these_words_belong_to_the_talk(text: str) -> None:
    assert answer_told(text, ()) is None


@given(st.text(max_size=1200), st.lists(st.text(max_size=24), max_size=3))
def test_any_text_is_read_or_left(text: str, names: list[str]) -> None:
    for found in (interval_told(text, names), interval_told(f"oil every {text}", names)):
        assert found is None or isinstance(found, (Interval, Impossible))
        if isinstance(found, Impossible):
            assert len(told_interval(found, "Goat", WORDS)) < 200
    answer_told(text, ALL)
    off_told(text, names)
