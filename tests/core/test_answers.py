"""Replies as riders type them, against what was offered."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bot.core.answers import as_written, read
from bot.core.offers import (
    Ambiguous,
    Chosen,
    Control,
    Kind,
    Measured,
    Offer,
    Offered,
    OutOfRange,
    Reading,
    Spanned,
    Ticked,
    Unclear,
    WrongUnit,
)
from bot.core.spoken import fold, off

CONTROLS = {
    "not_sure": ("not sure", "dunno", "idk", "I don't know"),
    "cant": ("can't do that here",),
    "back": ("back", "go back"),
    "why": ("why",),
    "later": ("later",),
    "where": ("where are we",),
    "ruled_out": ("what is ruled out",),
    "start_over": ("start over",),
    "ran": ("i ran it anyway",),
    "slip": ("pressed the wrong one",),
    "more": ("more",),
    "summary": ("summary",),
    "hand_over": ("giving up costs",),
}
MAGNET = Offer(
    "one",
    (
        Offered("all", "All of them cling", "all", ("yes", "all")),
        Offered("mixed", "Some cling and some do not", "some", ("some",)),
        Offered("none", "None clings", "none", ("no", "none")),
    ),
)
KINDS = Offer(
    "several",
    (
        Offered("hair", "Curved hairs", words=("hairs",)),
        Offered("flake", "Thin flakes", words=("flakes",)),
        Offered("chunk", "A piece with hard corners"),
        Offered("paste", "Grey paste and sludge"),
    ),
    none_of_these=Offered("nothing", "None of these"),
)
AMOUNT = Offer(
    "graded",
    (
        Offered("few", "5 or fewer", words=("hardly any",)),
        Offered("some", "6 to 20"),
        Offered("lots", "21 to 60"),
        Offered("heaps", "More than 60"),
    ),
    upto=(5, 20, 60, None),
)
SPOONS = Offer("graded", (Offered("s", "A smear"), Offered("h", "A heap")), unit="ml", upto=(1, None))
HOURS = Offer("number", unit="h", allowed=(0, 5000))
NUT = Offer("look", (Offered("good", "It does not move", "tight"), Offered("bad", "It moves", "loose")))
PLAY = Offer("one", (Offered("none", "No play"), Offered("oval", "Not round")))
RIGHT = Offer("confirm", (Offered("yes", "Yes, that is right"), Offered("no", "No")))
PICK = Offer(
    "pick",
    (Offered("b1", "The blue one"), Offered("b2", "Dusty"), Offered("b3", "Back up bike", words=("back",))),
)


def ticked(*ids: str) -> Ticked:
    return Ticked(frozenset(ids))


TYPED: list[tuple[Offer | None, str, Reading]] = [
    # numbers
    (MAGNET, "2", Chosen("mixed")),
    (MAGNET, "2.", Chosen("mixed")),
    (MAGNET, "#2", Chosen("mixed")),
    (MAGNET, "2)", Chosen("mixed")),
    (MAGNET, "(2)", Chosen("mixed")),
    (MAGNET, "no. 2", Chosen("mixed")),
    (MAGNET, "number 2", Chosen("mixed")),
    (MAGNET, "two", Chosen("mixed")),
    (MAGNET, "2 please", Chosen("mixed")),
    (MAGNET, "2\ufe0f\u20e3", Chosen("mixed")),
    (MAGNET, "٢", Chosen("mixed")),
    (MAGNET, "4", Unclear()),
    (MAGNET, "0", Unclear()),
    (MAGNET, "²", Unclear()),
    (MAGNET, "2.5", Unclear()),
    (MAGNET, "2 or 3", Ambiguous(("mixed", "none"))),
    (MAGNET, "1,2", Ambiguous(("all", "mixed"))),
    # words
    (MAGNET, "All of them cling", Chosen("all")),
    (MAGNET, "  ALL  of them, cling!! ", Chosen("all")),
    (MAGNET, "âll öf thém cling", Chosen("all")),
    (MAGNET, "all of them clign", Chosen("all")),
    (MAGNET, "none clngs", Chosen("none")),
    (MAGNET, "i think all of them cling", Chosen("all")),
    (MAGNET, "some cl", Chosen("mixed")),
    (MAGNET, "yes", Chosen("all")),
    (MAGNET, "yep", Chosen("all")),
    (MAGNET, "no it doesn't", Chosen("none")),
    (MAGNET, "not all of them cling", Unclear()),
    (NUT, "yes", Unclear()),
    (NUT, "no", Unclear()),
    (NUT, "ok", Unclear()),
    (NUT, "it is loose", Chosen("bad")),
    (NUT, "it moves", Chosen("bad")),
    (NUT, "it", Unclear()),
    (NUT, "not loose", Unclear()),
    (PLAY, "not", Unclear()),
    (PLAY, "not r", Chosen("oval")),
    # several
    (KINDS, "1 4", ticked("hair", "paste")),
    (KINDS, "1,4", ticked("hair", "paste")),
    (KINDS, "1 and 4", ticked("hair", "paste")),
    (KINDS, "1, 2 & 4", ticked("hair", "flake", "paste")),
    (KINDS, "#1 #4", ticked("hair", "paste")),
    (KINDS, "1 1", ticked("hair")),
    (KINDS, "hairs and flakes", ticked("hair", "flake")),
    (KINDS, "2 and hiars", ticked("hair", "flake")),
    (KINDS, "grey paste and sludge", ticked("paste")),
    (KINDS, "grey paste and sl", ticked("paste")),
    (KINDS, "grey paste and slugde", ticked("paste")),
    (KINDS, "all of them", ticked("hair", "flake", "chunk", "paste")),
    (KINDS, "5", Ticked(frozenset(), none=True)),
    (KINDS, "none", Ticked(frozenset(), none=True)),
    (KINDS, "nope", Ticked(frozenset(), none=True)),
    (KINDS, "none of these", Ticked(frozenset(), none=True)),
    (KINDS, "1 and none of these", Unclear()),
    (KINDS, "flakes and asdf", Unclear()),
    (KINDS, "1 9", Unclear()),
    (KINDS, "1-3", Unclear()),
    (KINDS, "14", Unclear()),
    # graded
    (AMOUNT, "2", Ambiguous(("some", "few"))),
    (AMOUNT, "12", Chosen("some")),
    (AMOUNT, "2 pieces", Chosen("few")),
    (AMOUNT, "two", Chosen("few")),
    (AMOUNT, "12 bits", Chosen("some")),
    (AMOUNT, "about 12", Chosen("some")),
    (AMOUNT, "a dozen", Chosen("some")),
    (AMOUNT, "none", Chosen("few")),
    (AMOUNT, "10 to 60", Spanned(("some", "lots"))),
    (AMOUNT, "10-60", Spanned(("some", "lots"))),
    (AMOUNT, "6 to 20", Chosen("some")),
    (AMOUNT, "more than 60", Chosen("heaps")),
    (AMOUNT, "over 20", Spanned(("lots", "heaps"))),
    (AMOUNT, "less than 6", Chosen("few")),
    (AMOUNT, "hardly any", Chosen("few")),
    (AMOUNT, "half a teaspoon", WrongUnit("tsp", "")),
    (SPOONS, "half a teaspoon", Chosen("h")),  # 2.46 ml
    (SPOONS, "a pinch", Chosen("s")),  # 0.3 to 0.6 ml
    (SPOONS, "0.5 to 2 ml", Spanned(("s", "h"))),
    # numbers asked for
    (HOURS, "2", Measured(2, 2)),
    (HOURS, "54", Measured(54, 54)),
    (HOURS, "4,5 h", Measured(4.5, 4.5)),
    (HOURS, "45 min", Measured(0.75, 0.75)),
    (HOURS, "54:30", Measured(54.5, 54.5)),
    (HOURS, "54 on the meter", Measured(54, 54)),
    (HOURS, "about 40", Measured(32, 48)),
    (HOURS, "10 to 60", Measured(10, 60)),
    (HOURS, "at least 60", Measured(60, 5000)),
    (HOURS, "none", Measured(0, 0)),
    (HOURS, "6000", OutOfRange(6000, 0, 5000, "h")),
    (HOURS, "-3", OutOfRange(-3, 0, 5000, "h")),
    (HOURS, "300 km", WrongUnit("km", "h")),
    (HOURS, "2 days", WrongUnit("d", "h")),
    (HOURS, "i changed the oil 3 times before we went out", Unclear()),
    # yes and no
    (RIGHT, "yes", Chosen("yes")),
    (RIGHT, "ok", Chosen("yes")),
    (RIGHT, "that's rigth", Chosen("yes")),
    (RIGHT, "nah", Chosen("no")),
    (RIGHT, "2 is wrong", Control("wrong", "2")),
    (RIGHT, "no, 2 is wrong", Control("wrong", "2")),
    (RIGHT, "2 and 3 are wrong", Control("wrong", "2 and 3")),
    (RIGHT, "not 2", Control("wrong", "2")),
    # control words
    (MAGNET, "not sure", Control("not_sure")),
    (MAGNET, "sorry, not sure", Control("not_sure")),
    (MAGNET, "i don’t know", Control("not_sure")),
    (MAGNET, "dunnno", Control("not_sure")),
    (MAGNET, "can't do that here", Control("cant")),
    (MAGNET, "cant do that heer", Unclear()),  # a slip in a word of four letters
    (MAGNET, "presed the wrogn one", Control("slip")),
    (MAGNET, "I ran it anyway", Control("ran")),
    (MAGNET, "i ran it anyway for 20 min", Control("ran", "for 20 min")),
    (MAGNET, "change magnet", Control("change", "magnet")),
    (MAGNET, "change 3", Control("change", "3")),
    (MAGNET, "change the oil more often", Unclear()),
    (MAGNET, "back 2 bolts missing", Unclear()),
    (HOURS, "change #3", Control("change", "#3")),
    (HOURS, "giving up costs 900", Control("hand_over", "900")),
    (HOURS, "more than 60", Measured(60.00000000000001, 5000)),
    (MAGNET, "the back wheel wobbles", Unclear()),
    (MAGNET, "it is back", Unclear()),
    (PICK, "back", Chosen("b3")),
    (PICK, "go back", Control("back")),
    (PICK, "dusyt", Chosen("b2")),
    (None, "later", Control("later")),
    (None, "2", Unclear()),
    # strays
    (MAGNET, "", Unclear()),
    (MAGNET, "   \n", Unclear()),
    (MAGNET, "👍", Unclear()),
    (MAGNET, "asdf", Unclear()),
    (MAGNET, "'; drop table cases; --", Unclear()),
    (MAGNET, "<b>all</b>", Unclear()),
    (MAGNET, "все прилипают", Unclear()),
    (MAGNET, "全部", Unclear()),
    (KINDS, "x" * 5000, Unclear()),
    (HOURS, "9" * 5000, OutOfRange(float("inf"), 0, 5000, "h")),
]


@pytest.mark.parametrize(("offer", "text", "wanted"), TYPED)
def test_reply_is_read_as_meant(offer: Offer | None, text: str, wanted: Reading) -> None:
    assert read(text, offer, CONTROLS) == wanted


def test_two_answers_that_own_one_word_are_asked_apart() -> None:
    offer = Offer(
        "one", (Offered("l", "Left side", words=("cover",)), Offered("r", "Right side", words=("cover",)))
    )
    assert read("cover", offer, {}) == Ambiguous(("l", "r"))
    near = Offer("one", (Offered("t", "tight"), Offered("l", "light")))
    assert read("kight", near, {}) == Ambiguous(("t", "l"))
    assert read("light", near, {}) == Chosen("l")


def test_at_equal_distance_the_answer_wins_over_the_control_word() -> None:
    offer = Offer("pick", (Offered("s", "Summery"), Offered("w", "Wintery")))
    assert read("summbry", offer, CONTROLS) == Chosen("s")
    assert read("summary", offer, CONTROLS) == Control("summary")


def test_label_that_is_another_answers_number_is_asked_apart() -> None:
    offer = Offer("one", (Offered("two", "2"), Offered("four", "4")))  # how many cylinders
    assert read("2", offer, {}) == Ambiguous(("two", "four"))
    assert read("4", offer, {}) == Chosen("four")


def test_beginning_of_two_labels_is_asked_apart_and_of_all_is_nothing() -> None:
    offer = Offer(
        "one", (Offered("a", "Clutch cover off"), Offered("b", "Clutch cable off"), Offered("c", "Closed"))
    )
    assert read("clutch", offer, {}) == Ambiguous(("a", "b"))
    assert read("clutch ca", offer, {}) == Chosen("b")
    same = Offer("one", tuple(Offered(i, f"Cover {i}") for i in ("a", "b", "c")))
    assert read("cover", same, {}) == Unclear()


def test_only_the_first_thousand_characters_are_looked_at() -> None:
    assert read("all" + " " * 990 + "x" * 5000, MAGNET, {}) == Unclear()
    assert read("all" + " " * 1000 + "of them", MAGNET, {}) == Chosen("all")


# --- properties ------------------------------------------------------------------------------

WORDS = [
    "gasket",
    "sprocket",
    "washer",
    "piston",
    "clutch",
    "bearing",
    "spring",
    "magnet",
    "filter",
    "copper",
    "bronze",
    "splinter",
]
KINDS_ = ("one", "look", "pick", "several")


@st.composite
def offers(draw: st.DrawFn) -> Offer:
    """Answers of one to three words each; no word in two answers, so that none are near one another."""
    pool = draw(st.permutations(WORDS))
    sizes = draw(st.lists(st.integers(1, 3), min_size=2, max_size=4))
    labels = [" ".join(pool[sum(sizes[:i]) : sum(sizes[: i + 1])]) for i in range(len(sizes))]
    kind: Kind = draw(st.sampled_from(KINDS_))  # type: ignore[arg-type]
    return Offer(kind, tuple(Offered(f"a{i}", label) for i, label in enumerate(labels)))


@st.composite
def slipped(draw: st.DrawFn, word: str) -> str:
    """One swap, drop, added or changed letter."""
    i = draw(st.integers(0, len(word) - 2))
    letter = draw(st.sampled_from("abcdefghijklmnopqrstuvwxyz"))
    forms = (
        word[:i] + word[i + 1] + word[i] + word[i + 2 :],
        word[:i] + word[i + 1 :],
        word[:i] + letter + word[i:],
        word[:i] + letter + word[i + 1 :],
    )
    return draw(st.sampled_from(forms))


def only(offer: Offer, id_: str) -> Reading:
    return ticked(id_) if offer.kind == "several" else Chosen(id_)


@given(offers(), st.data())
def test_number_label_and_slipped_label_give_that_answer(offer: Offer, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(offer.answers) - 1))
    answer = offer.answers[place]
    assert read(str(place + 1), offer, CONTROLS) == only(offer, answer.id)
    assert read(answer.label.upper(), offer, CONTROLS) == only(offer, answer.id)
    said = answer.label.split()
    which = data.draw(st.integers(0, len(said) - 1))
    said[which] = data.draw(slipped(said[which]))
    assert read(" ".join(said), offer, CONTROLS) == only(offer, answer.id)


@given(offers(), st.data())
def test_several_takes_any_list_of_numbers_or_labels(offer: Offer, data: st.DataObject) -> None:
    offer = Offer("several", offer.answers)
    places = data.draw(st.lists(st.integers(0, len(offer.answers) - 1), min_size=1, max_size=5))
    joint = data.draw(st.sampled_from([" ", ",", ", ", " and ", " & ", "+"]))
    wanted = ticked(*(offer.answers[place].id for place in places))
    assert read(joint.join(str(place + 1) for place in places), offer, CONTROLS) == wanted
    assume(joint != " ")
    assert read(joint.join(offer.answers[place].label for place in places), offer, CONTROLS) == wanted


@given(
    st.lists(st.integers(1, 200), min_size=2, max_size=5, unique=True),
    st.integers(0, 1000),
    st.integers(0, 400),
)
def test_graded_span_is_the_steps_its_whole_numbers_fall_in(edges: list[int], low: int, wide: int) -> None:
    edges = sorted(edges)
    ids = tuple(f"s{i}" for i in range(len(edges) + 1))
    offer = Offer("graded", tuple(Offered(i, f"step {i}") for i in ids), upto=(*edges, None))
    high = low + wide
    counted = {sum(n > edge for edge in edges) for n in range(low, high + 1)}  # by counting each one
    wanted = tuple(ids[i] for i in sorted(counted))
    said = read(f"{low} to {high} bits", offer, {})
    assert said == (Spanned(wanted) if len(wanted) > 1 else Chosen(wanted[0]))


@given(st.integers(0, 5000), st.sampled_from(["", " h", "h", " hours", " hrs"]))
def test_number_is_never_an_answers_number(value: int, unit: str) -> None:
    assert read(f"{value}{unit}", HOURS, CONTROLS) == Measured(value, value)


@given(
    st.text(max_size=80) | st.text("0123456789 .,-#()andornot½²%:/", max_size=30),
    st.sampled_from([MAGNET, KINDS, AMOUNT, SPOONS, HOURS, NUT, RIGHT, PICK, None]),
)
def test_nothing_typed_raises_and_every_id_was_offered(text: str, offer: Offer | None) -> None:
    reading = read(text, offer, CONTROLS)
    ids = {answer.id for answer in offer.numbered} if offer else set()
    if isinstance(reading, Chosen):
        assert reading.id in ids
    if isinstance(reading, Ticked | Spanned | Ambiguous):
        assert set(reading.ids) <= ids
    if isinstance(reading, Control):
        assert reading.name in {*CONTROLS, "wrong", "change"}
    if isinstance(reading, Measured):
        assert 0 <= reading.low <= reading.high <= 5000


@given(st.text(max_size=200))
def test_folding_twice_is_folding_once(text: str) -> None:
    assert fold(fold(text)) == fold(text)


def distance(a: str, b: str) -> int:
    """Optimal string alignment by the full table (Damerau 1964), as a second way to count slips."""
    d = [[i + j if i * j == 0 else 0 for j in range(len(b) + 1)] for i in range(len(a) + 1)]
    for i in range(1, len(a) + 1):
        for j in range(1, len(b) + 1):
            d[i][j] = min(d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (a[i - 1] != b[j - 1]))
            if i > 1 and j > 1 and a[i - 1] == b[j - 2] and a[i - 2] == b[j - 1]:
                d[i][j] = min(d[i][j], d[i - 2][j - 2] + 1)
    return d[-1][-1]


def test_the_words_of_these_tests_are_too_far_apart_for_one_slip_to_be_doubtful() -> None:
    assert min(distance(a, b) for a in WORDS for b in WORDS if a != b) > 2


@given(st.text("abc", max_size=8), st.text("abc", min_size=1, max_size=8))
def test_one_slip_is_distance_one_in_words_over_four_letters(said: str, meant: str) -> None:
    apart = distance(said, meant)
    wanted = 0 if apart == 0 else 1 if apart == 1 and len(meant) > 4 else None
    assert off(said, meant) == wanted


def test_a_figure_is_never_a_slip_of_another_figure() -> None:
    assert off("12346", "12345") is None
    assert off("sprokcet", "sprocket") == 1


COVERS = Offer(
    "one",
    (
        Offered("outer", "A small outer cover over the clutch"),
        Offered("main", "Only the big main cover"),
        Offered("none", "No cover is off"),
    ),
)


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("small outer cover", Chosen("outer")),
        ("smal outer", Chosen("outer")),  # a slip in a word that is meant to have five letters
        ("outer cver", Chosen("outer")),
        ("main cover", Chosen("main")),
        ("cover", Ambiguous(("outer", "main"))),  # 'no cover' is not meant by a word that denies nothing
        ("no cover", Chosen("none")),
        ("clutch", Chosen("outer")),
        ("the head", Unclear()),
    ],
)
def test_words_out_of_the_middle_of_a_label_are_enough(typed: str, wanted: Reading) -> None:
    assert read(typed, COVERS, {}) == wanted


PIECES = Offer(
    "graded",
    (Offered("few", "None to 5"), Offered("some", "6 to 20"), Offered("lots", "More than 20")),
    upto=(5, 20, None),
)


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("1", Chosen("few")),  # answer 1 and one piece are the same
        ("3", Ambiguous(("lots", "few"))),  # answer 3, or three pieces
        ("3 pieces", Chosen("few")),
        ("three", Chosen("few")),
        ("more than 20", Chosen("lots")),
        ("12", Chosen("some")),
    ],
)
def test_a_bare_number_that_may_be_an_answer_or_an_amount_is_asked_about(typed: str, wanted: Reading) -> None:
    assert read(typed, PIECES, {}) == wanted


# --- what is said in a sentence ------------------------------------------------------------------

IN_A_SENTENCE = {
    "note": ("note", "note: ..."),
    "ask_rider": ("ask rider", "ask rider ..."),
    "close": ("close",),
    "change": ("change",),
}


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "note: it clanks only in third gear when it is cold",
            "it clanks only in third gear when it is cold",
        ),
        ("Note : Thread was OILY!", "Thread was OILY!"),
        ("ask rider: did you change the clutch plates?", "did you change the clutch plates?"),
        ("Ask rider Whose plates’ are these", "Whose plates’ are these"),
        ("ask rider", ""),
    ],
)
def test_any_words_may_follow_and_are_kept_as_they_were_written(text: str, wanted: str) -> None:
    reading = read(text, None, IN_A_SENTENCE)
    assert isinstance(reading, Control)
    assert as_written(text, reading.rest) == wanted


@pytest.mark.parametrize(
    "text", ["note that it clanks", "notes", "closed", "closing", "change the oil to a thicker one"]
)
def test_without_its_colon_or_by_a_slip_it_is_no_such_word(text: str) -> None:
    assert read(text, None, IN_A_SENTENCE) == Unclear()


def test_a_very_long_sentence_is_kept_whole() -> None:
    text = "note: " + "word " * 400
    reading = read(text, None, IN_A_SENTENCE)
    assert isinstance(reading, Control)
    assert as_written(text, reading.rest) == ("word " * 400).strip()
