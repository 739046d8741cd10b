"""The pretend modem itself: its octets beside worked examples, and what it answers to a terminal."""

from __future__ import annotations

import contextlib
import os
import re
import select
import tty
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.channels import sms_pdu, sms_rig
from tests.channels.sms_modem import Modem
from tests.channels.sms_network import CENTRE, SLOTS, Die, Faults, Network, When, join
from tests.channels.sms_pdu import Submit

AFTERNOON = datetime(2026, 11, 29, 16, 6, 4, tzinfo=UTC)
ALL_SIGNS = st.text(st.sampled_from(sorted(sms_pdu.SEPTETS)), max_size=170)

# The first and the third are worked examples that many texts about TS 23.038 print; from memory. The others
# were worked out on paper by the rule of its clause 6.1.2.1 (the first character in the lowest seven bits).
PACKED = {
    "hellohello": "E8329BFD4697D9EC37",
    "Hi": "C834",
    "12345678": "31D98C56B3DD70",
    "1234567": "31D98C56B3DD00",
    "Club": "43765D0C",
    "€": "9B32",
    "@": "00",
    "": "",
}


@pytest.mark.parametrize("text", PACKED)
def test_packing_is_that_of_the_worked_examples(text: str) -> None:
    septets = sms_pdu.encode(text)
    assert sms_pdu.pack(septets).hex().upper() == PACKED[text]
    assert sms_pdu.decode(sms_pdu.unpack(bytes.fromhex(PACKED[text]), len(septets))) == text


def test_behind_a_header_the_text_begins_on_a_septet() -> None:
    # Six octets are 48 bits; the next septet begins at bit 49, so A (1000001) stands one further: 10000010.
    assert sms_pdu.pack([0x41], 1) == b"\x82"
    assert sms_pdu.unpack(b"\x82", 1, 1) == [0x41]


@given(st.lists(st.integers(0, 127), max_size=170), st.integers(0, 6))
def test_packing_is_one_long_number(septets: list[int], fill: int) -> None:
    """Second method: septets are the digits, to base 128, of a number that is written lowest octet first."""
    number = sum(septet << fill + 7 * at for at, septet in enumerate(septets))
    long = -(-(fill + 7 * len(septets)) // 8)
    assert sms_pdu.pack(septets, fill) == number.to_bytes(long, "little")
    assert sms_pdu.unpack(number.to_bytes(long, "little"), len(septets), fill) == septets


def test_the_alphabet_has_its_size_and_its_landmarks() -> None:
    # TS 23.038, 6.2.1, from memory: digits and plain letters stand where ASCII has them.
    assert len(sms_pdu.ALPHABET) == 128
    assert len(sms_pdu.SEPTETS) == 127 + 10
    for mark in " !\"#%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz\n\r":
        assert sms_pdu.encode(mark) == [ord(mark)]
    by_hand = {
        "@": 0,
        "$": 2,
        "é": 5,
        "Ç": 9,
        "_": 0x11,
        "Δ": 0x10,
        "Ξ": 0x1A,
        "ß": 0x1E,
        "¡": 0x40,
        "¿": 0x60,
        "à": 0x7F,
    }
    assert {mark: sms_pdu.encode(mark)[0] for mark in by_hand} == by_hand


@given(ALL_SIGNS)
def test_a_text_comes_back_from_its_septets(text: str) -> None:
    assert sms_pdu.decode(sms_pdu.encode(text)) == text


def test_a_pair_that_was_cut_is_seen() -> None:
    assert sms_pdu.decode([0x41, sms_pdu.ESCAPE]) == "A\ufffd"
    half = "🔧".encode("utf-16-be")[:2]
    assert "\ufffd" in sms_pdu.read_user_data(bytes([2]) + half, "ucs2", headed=False)[0]


# Length in digits, kind of number, digits in swapped pairs: on paper by TS 23.040, 9.1.2.5.
ADDRESSES = {
    "+15550001": "089151550010",
    "+155501007": "099151551000F7",
    "15550001": "088151550010",
    "70007": "05810700F7",
}


@pytest.mark.parametrize("number", ADDRESSES)
def test_addresses(number: str) -> None:
    written = bytes.fromhex(ADDRESSES[number])
    assert sms_pdu.write_address(number) == written
    assert sms_pdu.read_address(written + b"\x99") == (number, b"\x99")


def test_a_sender_with_letters() -> None:
    # Four letters are 28 bits, seven half octets; the packing of "Club" as above.
    assert sms_pdu.write_address("Club").hex().upper() == "07D0" + PACKED["Club"]


@pytest.mark.parametrize(
    ("moment", "written"),
    [
        # A stamp that many texts take apart, from memory: 12 February 1999, 05:57:30, three hours east.
        (datetime(1999, 2, 12, 5, 57, 30, tzinfo=timezone(timedelta(hours=3))), "99202150750321"),
        (AFTERNOON, "62119261604000"),
        # Five hours west are 20 quarters, swapped 02, and bit 3 for west: 0A.
        (AFTERNOON.replace(tzinfo=timezone(timedelta(hours=-5))), "6211926160400A"),
    ],
)
def test_stamps(moment: datetime, written: str) -> None:
    assert sms_pdu.write_stamp(moment).hex().upper() == written


def test_a_send_is_read() -> None:
    # The form of the usual worked example (relative validity, "hellohello"), with an invented number.
    read = sms_pdu.read_submit(bytes.fromhex("00110008915155001000 00AA0A E8329BFD4697D9EC37"))
    assert read == Submit(0, "+15550001", "hellohello", "gsm", b"", report=False)
    assert read.part == (0, 1, 1)


def test_a_send_of_a_part_in_16_bit_units_with_a_report_is_read() -> None:
    # First octet: send (01), report (20), header (40). Ten octets: a header of six, a tick, an é. On paper.
    read = sms_pdu.read_submit(bytes.fromhex("0061070891515500100008 0A 050003210201 2713 00E9"))
    assert read == Submit(7, "+15550001", "✓é", "ucs2", bytes.fromhex("050003210201"), report=True)
    assert read.part == (0x21, 2, 1)


def test_a_reference_may_have_two_octets() -> None:
    # TS 23.040, 9.2.3.24.8: element 8 with four octets; here behind an element that says nothing of parts.
    assert sms_pdu.concatenation(bytes.fromhex("0A 05021234 0804 1234 0302")) == (0x1234, 3, 2)


def test_what_is_no_send_is_refused() -> None:
    with pytest.raises(ValueError, match="no SMS-SUBMIT"):
        sms_pdu.read_submit(bytes.fromhex("000007089151550010000000"))


def test_a_delivered_message_is_written() -> None:
    # Centre +15550100 in five octets; first octet: delivered, nothing more waits (04). On paper.
    made = sms_pdu.write_deliver("+15550001", "Hi", AFTERNOON, centre=CENTRE, coding="gsm")
    assert made.hex().upper() == "0591515510000408915155001000006211926160400002C834"


def test_a_delivered_part_is_written() -> None:
    # Header bit 40; length in septets: seven for header and fill, one for A, which is as above. On paper.
    header = sms_pdu.write_header(0x21, 2, 1)
    made = sms_pdu.write_deliver("+15550001", "A", AFTERNOON, centre=CENTRE, coding="gsm", header=header)
    assert made.hex().upper() == "059151551000440891515500100000621192616040000805000321020182"


def test_a_report_is_written() -> None:
    made = sms_pdu.write_report(7, "+15550001", AFTERNOON, AFTERNOON, centre=CENTRE, state=0x41)
    assert made.hex().upper() == "0591515510000607089151550010621192616040006211926160400041"


# TS 23.038 and TS 23.040: 160 and 153 septets, 70 and 67 units, no pair cut; lengths of parts by hand.
@pytest.mark.parametrize(
    ("text", "lengths"),
    [
        ("", [0]),
        ("a" * 160, [160]),
        ("a" * 161, [153, 8]),
        ("a" * 306, [153, 153]),
        ("a" * 307, [153, 153, 1]),
        ("€" * 80, [80]),
        ("€" * 81, [76, 5]),  # 76 pairs are 152 septets, and half a pair may not stand behind them
        ("a" * 152 + "{" + "a" * 7, [152, 8]),
        ("é" * 69 + "ç", [70]),  # small ç is not in the alphabet
        ("é" * 70 + "ç", [67, 4]),
        ("🔧" * 35, [35]),
        ("🔧" * 36, [33, 3]),  # 33 wrenches are 66 units
    ],
)
def test_texts_are_cut_at_the_limits(text: str, lengths: list[int]) -> None:
    assert [len(part) for part in sms_pdu.cut(text)] == lengths
    assert "".join(sms_pdu.cut(text)) == text


def part(number: str, text: str, reference: int, total: int, at: int) -> Submit:
    return Submit(0, number, text, "gsm", sms_pdu.write_header(reference, total, at), report=False)


def test_parts_are_joined_by_number_and_reference_and_a_repeat_counts_once() -> None:
    taken = [
        part("+1555", "one ", 1, 2, 1), part("+1666", "A", 1, 2, 1), part("+1555", "one ", 1, 2, 1),
        part("+1555", "two", 1, 2, 2), Submit(0, "+1555", "alone", "gsm", b"", report=False),
        part("+1555", "again ", 1, 2, 1),
    ]  # fmt: skip
    shown = [(whole.number, whole.text, whole.parts, whole.complete) for whole in join(taken)]
    assert shown == [
        ("+1555", "one two", 2, True), ("+1666", "A", 1, False), ("+1555", "alone", 1, True),
        ("+1555", "again ", 1, False),
    ]  # fmt: skip


@pytest.mark.parametrize(("when", "nth"), [("before", 1), ("after", 1), ("before", 2), ("after", 2)])
def test_the_place_of_a_death_is_counted(when: When, nth: int) -> None:
    die, places = Die("CMGS", when, nth), get_args(When)
    asked = [(n, at, die.falls("CMGS", at)) for n in (1, 2, 3) for at in places if not die.falls("CMGD", at)]
    assert [(n, at) for n, at, falls in asked if falls] == [(nth, when)]


# --- at a terminal


ANSWERED = re.compile(r"(\r\n(OK|ERROR|\+CM[ES] ERROR: \d+)\r\n|\r\n> )$")


class Typist:
    """Types at the modem's terminal."""

    def __init__(self, path: Path) -> None:
        self.line = os.open(path, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.line)
        os.set_blocking(self.line, False)  # a death may flush what was there to be read

    def type(self, text: str) -> str:
        """What comes up to the end of an answer."""
        os.write(self.line, text.encode("ascii"))
        heard = ""
        while not ANSWERED.search(heard):
            assert self._has_more(10.0), f"no answer to {text!r} but {heard!r}"
            heard += self._read()
        return heard

    def overhear(self, text: str, silence: float) -> str:
        """What comes until nothing comes for so many seconds."""
        os.write(self.line, text.encode("ascii"))
        heard = ""
        while self._has_more(silence):
            heard += self._read()
        return heard

    def _read(self) -> str:
        with contextlib.suppress(BlockingIOError):
            return os.read(self.line, 4096).decode("ascii")
        return ""

    def _has_more(self, seconds: float) -> bool:
        return bool(select.select([self.line], [], [], seconds)[0])


@pytest.fixture
def network(tmp_path: Path) -> Network:
    return Network(tmp_path / "sent.jsonl")


@pytest.fixture
def modem(network: Network, tmp_path: Path) -> Iterator[Modem]:
    modem = Modem(tmp_path / "tty", network)
    modem.start()
    try:
        yield modem
    finally:
        modem.stop()


@pytest.fixture
def typist(modem: Modem) -> Iterator[Typist]:
    typist = Typist(modem.tty)
    try:
        yield typist
    finally:
        os.close(typist.line)


SEND = "0001000891515500100000" + "02C834"  # "Hi" to +15550001; 13 octets behind the centre's one


def test_it_echoes_until_it_is_told_not_to(typist: Typist) -> None:
    assert typist.type("AT\r") == "AT\r\r\nOK\r\n"
    assert typist.type("ATE0\r") == "ATE0\r\r\nOK\r\n"
    assert typist.type("at\r") == "\r\nOK\r\n"
    assert typist.type("AT+NONSENSE\r") == "\r\nERROR\r\n"


def test_it_takes_a_send_and_writes_it_down(typist: Typist, network: Network, tmp_path: Path) -> None:
    assert typist.type("AT+CMGS=13\r").endswith("\r\n> ")
    assert typist.type(SEND + "\x1a").endswith("\r\n+CMGS: 1\r\n\r\nOK\r\n")
    assert [(whole.number, whole.text) for whole in network.sent] == [("+15550001", "Hi")]
    assert (
        '"number": "+15550001", "text": "Hi", "coding": "gsm", "header": ""'
        in (tmp_path / "sent.jsonl").read_text()
    )


def test_a_send_may_be_given_up(typist: Typist, network: Network) -> None:
    typist.type("AT+CMGS=13\r")
    assert typist.type("0001\x1b").endswith("\r\nOK\r\n")
    assert not network.submits


@pytest.mark.parametrize(("long", "typed"), [(12, SEND), (13, "what"), (13, ""), (13, SEND[:-2])])
def test_a_send_that_is_not_as_long_as_was_said_is_refused(
    typist: Typist, network: Network, long: int, typed: str
) -> None:
    typist.type(f"AT+CMGS={long}\r")
    assert "+CMS ERROR: 304" in typist.type(typed + "\x1a")
    assert not network.submits


def test_refusals_are_by_count_or_by_number(typist: Typist, network: Network) -> None:
    network.faults.refuse = 1
    network.faults.refused_numbers = {"+1999": 10}
    typist.type("AT+CMGS=13\r")
    assert "+CMS ERROR: 38" in typist.type(SEND + "\x1a")
    typist.type("AT+CMGS=13\r")
    assert "+CMS ERROR: 10" in typist.type(SEND.replace("51550010", "91990010") + "\x1a")
    typist.type("AT+CMGS=13\r")
    assert "+CMGS: 1" in typist.type(SEND + "\x1a")
    assert [code for _, code in network.refused] == [38, 10]


def test_a_lost_answer_was_a_send_all_the_same(typist: Typist, network: Network) -> None:
    network.faults.lose = 1
    typist.type("AT+CMGS=13\r")
    assert "CMGS" not in typist.overhear(SEND + "\x1a", 0.3)
    assert len(network.submits) == 1


def test_an_answer_may_come_late(typist: Typist, network: Network) -> None:
    network.faults.delay = 0.5
    typist.type("AT+CMGS=13\r")
    assert "CMGS" not in typist.overhear(SEND + "\x1a", 0.1)
    assert "+CMGS: 1" in typist.type("")


def test_octets_that_are_no_send_are_refused(typist: Typist, network: Network) -> None:
    typist.type("AT+CMGS=13\r")
    assert "+CMS ERROR: 304" in typist.type("0000" + SEND[4:] + "\x1a")
    assert not network.submits


@pytest.mark.parametrize(("when", "left"), [("before", 1), ("after", 0)])
def test_a_death_leaves_the_slot_or_not_and_no_answer(
    modem: Modem, typist: Typist, network: Network, when: When, left: int
) -> None:
    died: list[bool] = []
    modem.kill = lambda: died.append(True)
    network.arrive([bytes([0, 4])])
    network.faults = Faults(die=Die("CMGD", when))
    assert "OK" not in typist.overhear("AT+CMGD=1\r", 0.3)
    assert (died, network.waiting) == ([True], left)
    assert network.faults.die is None  # only now may the next daemon start
    assert typist.type("AT\r").endswith("\r\nOK\r\n")


def test_slots_are_listed_read_and_deleted(typist: Typist, network: Network) -> None:
    network.arrive([sms_pdu.write_deliver("+15550001", "Hi", AFTERNOON, centre=CENTRE, coding="gsm")])
    written = "0591515510000408915155001000006211926160400002C834"
    assert f"+CMGL: 1,0,,{len(written) // 2 - 6}\r\n{written}" in typist.type("AT+CMGL=4\r")
    assert f"+CMGR: 0,,{len(written) // 2 - 6}\r\n{written}" in typist.type("AT+CMGR=1\r")
    assert "+CMGR: 1,," in typist.type("AT+CMGR=1\r")
    assert "+CPMS: 1,20,1,20,1,20" in typist.type('AT+CPMS="SM"\r')
    assert "OK" in typist.type("AT+CMGD=1\r")
    assert "+CMS ERROR: 321" in typist.type("AT+CMGR=1\r")
    assert "+CMS ERROR: 321" in typist.type("AT+CMGR=0\r")


def test_what_finds_no_slot_waits_in_the_network(network: Network) -> None:
    network.arrive([bytes([n]) for n in range(SLOTS + 2)])
    assert (len(network.slots), network.waiting) == (SLOTS, SLOTS + 2)
    network.delete(3)
    assert network.read(3) == (0, bytes([SLOTS]))
    assert network.waiting == SLOTS + 1


# --- the rig


def test_without_the_daemon_a_test_is_skipped_or_fails_where_it_must_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CI_NEEDS_SMSD", raising=False)
    with pytest.raises(pytest.skip.Exception, match="apt install gammu-smsd"):
        sms_rig.require_daemon()
    monkeypatch.setenv("CI_NEEDS_SMSD", "1")
    with pytest.raises(pytest.fail.Exception, match="CI_NEEDS_SMSD=1, and gammu-smsd is not installed"):
        sms_rig.require_daemon()
