"""Rows into messages: by hand, and against a model that knows people, messages and what became of parts.

The rows by hand are those that gammu-smsd 1.42.0 wrote, run with its dummy phone: whole messages in either
order of parts, parts given up, a heading with ports in it, and what came again after a kill.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.channels.sms.joining import Heading, Row, Text, heading, instant, join

AT = "2026-11-25 09:06:58"


def row(
    id: int,
    text: str,
    udh: str = "",
    own: str | None = None,
    number: str = "+15550001",
    stamp: str = AT,
    taken: bool = False,
    age: float = 1000,
) -> Row:
    octets = (text if own is None else own).encode("utf-16-be").hex()
    return Row(id, number, stamp, "+15550100", udh, octets, text, "2026-11-25 09:20:00", age, taken)


def told(*rows: Row, hold: float = 60) -> list[tuple[str, tuple[int, ...], bool]]:
    return [(text.text, text.rows, text.whole) for text in join(rows, hold).texts]


# 3GPP TS 23.040, 9.2.3.24 and 9.2.3.24.1: element 00 is (reference, total, part), 08 has a reference of
# two octets; a part of 0 or above the total means that the element is to be ignored. From memory.
@pytest.mark.parametrize(
    ("udh", "wanted"),
    [
        ("050003210201", Heading("21", 2, 1)),
        ("06080412340302", Heading("1234", 3, 2)),
        ("0B05040B8423F00003550202", Heading("55", 2, 2)),  # behind two ports
        ("050003ffff01", Heading("ff", 255, 1)),
        ("", None), ("00", None), ("050003210200", None), ("050003210203", None), ("050003210000", None),
        ("0500032102", None), ("05000321020", None), ("not hex", None), ("0C000321", None),
        ("06050423F00000", None), ("040002AA01", None), ("é", None),
    ],
)  # fmt: skip
def test_a_heading_by_hand(udh: str, wanted: Heading | None) -> None:
    assert heading(udh) == wanted


ONE, TWO = "050003210201", "050003210202"


def test_the_daemon_joined_them() -> None:
    first = row(1, "first part second part ", ONE, "first part ")
    second = row(2, "", TWO, "second part ", stamp="2026-11-25 09:07:00")
    assert told(first, second) == [("first part second part ", (1, 2), True)]


def test_it_is_stamped_as_its_first_part_is() -> None:
    second, first = row(1, "b", TWO, stamp="2026-11-25 09:07:00"), row(2, "a", ONE)
    assert [(text.stamp, text.text) for text in join([second, first]).texts] == [
        ("2026-11-25T09:06:58Z", "ab")
    ]


def test_parts_that_came_by_themselves_are_joined_in_any_order() -> None:
    three = [row(n, f"{part}", f"0608041234030{part}") for n, part in enumerate((3, 1, 2), 1)]
    assert told(*three) == [("123", (1, 2, 3), True)]


def test_a_short_and_a_long_reference_are_two_messages() -> None:
    assert told(row(1, "a", "050003120201"), row(2, "b", "06080400120202")) == [
        ("a", (1,), False),
        ("b", (2,), False),
    ]


def test_what_may_still_come_is_awaited() -> None:
    lone = row(7, "two", TWO, age=59)
    assert told(lone) == []
    assert told(lone, row(8, "by another", number="+15550002")) == [("by another", (8,), True)]
    assert told(replace(lone, age=60)) == [("two", (7,), False)]
    # The last row counts; and a clock that was set back by an hour holds nobody up.
    assert told(row(7, "1", "050003210301", age=70), row(8, "3", "050003210303", age=50)) == []
    assert told(replace(lone, age=-3600)) == [("two", (7,), False)]


def test_half_a_message_that_is_being_written_is_awaited() -> None:
    assert told(row(1, "first part second part ", ONE, "first part ", age=0)) == []


def test_two_lone_parts_are_one_message_with_a_gap() -> None:
    parts = row(1, "one ", "050003330301"), row(2, "three", "050003330303")
    assert told(*parts) == [("one three", (1, 2), False)]


def test_a_part_that_comes_again_beside_its_whole_goes_with_it() -> None:
    first, second = row(1, "aabb", ONE, "aa"), row(2, "", TWO, "bb")
    assert told(first, second, row(3, "bb", TWO)) == [("aabb", (1, 2, 3), True)]
    assert told(first, second, row(3, "aa", ONE)) == [("aabb", (1, 2, 3), True)]


def test_a_part_that_comes_again_after_its_whole_is_dropped() -> None:
    first, second = row(1, "aabb", ONE, "aa", taken=True), row(2, "", TWO, "bb", taken=True)
    for again in (row(3, "bb", TWO), row(3, "aa", ONE)):
        joined = join([first, second, replace(again, age=0)])
        assert (joined.texts, joined.dropped) == ((), (3,))


def test_the_whole_that_comes_again_is_dropped() -> None:
    first, second = row(1, "aabb", ONE, "aa", taken=True), row(2, "", TWO, "bb", taken=True)
    again = [replace(first, id=3, taken=False), replace(second, id=4, taken=False)]
    assert join([first, second, *again]).dropped == (3, 4)
    # Seen for the first time together, they are one; seen by themselves, they have the key of the first.
    every = [replace(first, taken=False), replace(second, taken=False), *again]
    assert told(*every) == [("aabb", (1, 2, 3, 4), True)]
    assert join(again).texts[0].key == join(every).texts[0].key


def test_a_daemon_killed_between_two_rows_writes_the_message_again() -> None:
    first, second = row(1, "aabb", ONE, "aa"), row(2, "", TWO, "bb")
    assert told(first, replace(first, id=2), replace(second, id=3)) == [("aabb", (1, 2, 3), True)]
    # When it was away for long, half the message was told as lone; the whole is another one then.
    [lone] = join([first]).texts
    [whole] = join([replace(first, taken=True), replace(first, id=2), replace(second, id=3)]).texts
    assert (lone.whole, whole.whole, whole.text, whole.rows) == (False, True, "aabb", (2, 3))
    assert lone.key != whole.key


def test_a_late_part_makes_the_message_whole() -> None:
    assert told(row(1, "aa", ONE, taken=True), row(9, "bb", TWO)) == [("aabb", (9,), True)]


def test_who_was_asked_to_send_it_again_is_not_asked_twice() -> None:
    one, three = row(1, "one", "050003330301", taken=True), row(9, "three", "050003330303")
    assert join([one, three]).dropped == (9,)
    assert join([one, replace(one, id=9, taken=False)]).dropped == (9,)


def test_two_messages_with_one_reference() -> None:
    """A phone that counts from its start: the second begins where the first is whole, or lies apart."""
    joined = [
        row(1, "aabb", ONE, "aa"),
        row(2, "", TWO, "bb"),
        row(3, "ccbb", ONE, "cc"),
        row(4, "", TWO, "bb"),
    ]
    assert told(*joined) == [("aabb", (1, 2), True), ("ccbb", (3, 4), True)]
    late = "2026-11-25 09:17:00"
    assert told(row(1, "old two", TWO), row(2, "new one", ONE, stamp=late)) == [
        ("old two", (1,), False),
        ("new one", (2,), False),
    ]
    lone = row(1, "old two", TWO, stamp="2026-11-25 09:05:00")
    whole = row(2, "newer", ONE, "new"), row(3, "", TWO, "er")
    assert told(lone, *whole) == [("old two", (1,), False), ("newer", (2, 3), True)]


def test_a_part_that_comes_again_goes_to_its_own_message_not_to_one_that_lacks_it() -> None:
    whole = row(1, "aabb", ONE, "aa"), row(2, "", TWO, "bb")
    begun = row(3, "cc", ONE, stamp="2026-11-25 09:08:00")
    assert told(*whole, begun, row(4, "bb", TWO)) == [("aabb", (1, 2, 4), True), ("cc", (3,), False)]


def test_stamps_that_cannot_be_read() -> None:
    broken = [row(1, "aabb", ONE, "aa", stamp="?"), row(2, "", TWO, "bb", stamp="?")]
    [text] = join(broken).texts
    assert (text.text, text.whole, text.stamp) == ("aabb", True, "2026-11-25T09:20:00Z")
    assert join([replace(broken[0], udh="", written="")]).texts[0].stamp == "1970-01-01T00:00:00Z"


@pytest.mark.parametrize(
    ("times", "wanted"),
    [
        (("2026-11-25 09:06:58",), "2026-11-25T09:06:58Z"),
        (("", "0000-00-00 00:00:00", "2026-11-25T09:06:58.5"), "2026-11-25T09:06:58Z"),
        (("2026-02-30 10:00:00",), ""),
        ((), ""),
    ],
)
def test_times_by_hand(times: tuple[str, ...], wanted: str) -> None:
    assert instant(*times) == wanted


@pytest.mark.parametrize(
    "change",
    [
        {"number": "+15550002"}, {"stamp": "2026-11-25 09:06:59"}, {"centre": "+15550101"}, {"text": "on"},
        {"udh": "06050423F00000"},
    ],
)  # fmt: skip
def test_a_key_differs_with_each_field(change: dict[str, str]) -> None:
    one = row(1, "no")
    assert join([one]).texts[0].key != join([replace(one, **change)]).texts[0].key


def test_fields_do_not_run_into_each_other() -> None:
    one = join([row(1, "b|c", number="a")]).texts[0].key
    assert one != join([row(1, "c", number="a|b")]).texts[0].key
    assert one == join([row(99, "b|c", number="a", age=0)]).texts[0].key


# --- against a model ---------------------------------------------------------------------------------------

PEOPLE = ("+15550001", "+15550002", "CLUB")
Told = tuple[str, str, bool]


@st.composite
def histories(draw: st.DrawFn) -> tuple[list[Row], set[Told]]:
    """Rows as the daemon may have written them, and who said what as it was said."""
    blocks: list[list[Row]] = []
    said: set[Told] = set()
    for n in range(draw(st.integers(1, 6))):
        number = draw(st.sampled_from(PEOPLE))
        texts = [f"<{n}.{k}>" for k in range(1, draw(st.integers(1, 4)) + 1)]
        wide = draw(st.booleans())
        # The same person's messages have references of their own; different people's are often the same.
        heads = [
            f"060804{n:04x}{len(texts):02x}{k:02x}" if wide else f"050003{n:02x}{len(texts):02x}{k:02x}"
            for k in range(1, len(texts) + 1)
        ]
        if len(texts) == 1:
            rows = [row(0, texts[0], number=number)]
        elif draw(st.booleans()):  # joined by the daemon
            own = list(zip(heads, texts, strict=True))
            rows = [
                row(0, "".join(texts) if k == 0 else "", *pair, number=number) for k, pair in enumerate(own)
            ]
        else:
            kept = draw(st.lists(st.sampled_from(range(len(texts))), min_size=1, unique=True))
            parts = [[row(0, texts[k], heads[k], number=number)] for k in kept]
            said.add((number, "".join(texts[k] for k in sorted(kept)), len(kept) == len(texts)))
            blocks += parts if draw(st.booleans()) else [[part for (part,) in parts]]
            continue
        said.add((number, "".join(texts), True))
        again = draw(st.lists(st.sampled_from(["all", "lone"]), max_size=2))
        for kind in again:
            k = draw(st.integers(0, len(texts) - 1))
            own = row(0, texts[k], heads[k] if len(texts) > 1 else "", number=number)
            rows = rows + (rows[: len(texts)] if kind == "all" else [own])
        blocks.append(rows)
    order = draw(st.permutations(blocks))
    rows = [r for block in order for r in block]
    return [replace(r, id=id) for id, r in enumerate(rows, 1)], said


@given(histories())
def test_each_message_once_and_every_row_accounted_for(history: tuple[list[Row], set[Told]]) -> None:
    rows, said = history
    joined = join(rows)
    by_key: dict[str, Told] = {}
    for text in joined.texts:
        assert by_key.setdefault(text.key, (text.number, text.text, text.whole)) == _as_told(text)
    assert sorted(by_key.values()) == sorted(said)
    used = [id for text in joined.texts for id in text.rows] + list(joined.dropped)
    assert sorted(used) == [r.id for r in rows]


def _as_told(text: Text) -> Told:
    return (text.number, text.text, text.whole)


@given(histories(), st.data())
def test_read_bit_by_bit_each_message_is_told_once(
    history: tuple[list[Row], set[Told]], data: st.DataObject
) -> None:
    """Read at any time and marked each time: whole messages come once, lone parts at most once."""
    rows, said = history
    taken: set[int] = set()
    seen: dict[str, Told] = {}
    here = 0
    while len(taken) < len(rows):
        here = data.draw(st.integers(min(here + 1, len(rows)), len(rows)))
        joined = join([replace(r, taken=r.id in taken) for r in rows[:here]])
        for text in joined.texts:
            seen[text.key] = _as_told(text)
            taken |= set(text.rows)
        taken |= set(joined.dropped)
    wholes = [told for told in seen.values() if told[2]]
    assert sorted(wholes) == sorted(told for told in said if told[2])
    # Each person whose message never became whole heard so, and for one message at most once.
    for number, text, whole in said:
        asked = [
            t for n, t, w in seen.values() if n == number and not w and set(_parts(t)) <= set(_parts(text))
        ]
        assert len(asked) <= 1
        assert whole or asked


def _parts(text: str) -> list[str]:
    return text.replace("><", "> <").split()


@given(
    st.lists(st.builds(Row, st.just(0), *[st.text(max_size=8)] * 7, st.floats(), st.booleans()), max_size=6)
)
def test_nothing_that_stands_in_a_row_is_too_much(rows: list[Row]) -> None:
    numbered = [replace(r, id=id) for id, r in enumerate(rows, 1)]
    joined = join(numbered)
    used = sorted([id for text in joined.texts for id in text.rows] + list(joined.dropped))
    assert set(used) <= {r.id for r in numbered if not r.taken}
    assert len(used) == len(set(used))
