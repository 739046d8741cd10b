"""What gammu-smsd does with its SQLite tables, on a pretend modem: all that the SMS channel relies on.

The daemon is the second method here: it reads and writes the same octets as `sms_pdu` with code of its own.
Tests take numbers of their own, so that one daemon serves them all; the last ones kill it or make it silent.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from itertools import count
from typing import Any

import pytest

from tests.channels import sms_pdu
from tests.channels.sms_network import BARRED, CENTRE, SLOTS, Die, Faults, When, Whole
from tests.channels.sms_rig import QUICK, Rig

pytest_plugins = ["tests.channels.sms_rig_fixtures"]

STALE = 4 * int(str(QUICK["statusfrequency"]))  # seconds without a heartbeat: the daemon hangs
NUMBERS = count(15550001)
REFERENCES = count(1)


@pytest.fixture
def number() -> str:
    """A phone that no other test uses."""
    return f"+{next(NUMBERS)}"


@pytest.fixture(autouse=True)
def sound(rig: Rig) -> Iterator[None]:
    """Each test finds a daemon that runs, nothing left in its modem, and nothing that goes wrong.

    A text is stored before it is deleted: the deletion of an earlier test's must not be taken for this one's.
    """
    rig.wait_for(lambda: rig.network.waiting == 0)
    yield
    rig.network.faults = Faults()
    if not rig.runs:
        rig.start_daemon()


def received(rig: Rig, number: str) -> list[dict[str, Any]]:
    return rig.ask("select * from inbox where SenderNumber = ? order by ID", number)


def texts(rig: Rig, number: str) -> list[str]:
    return [row["TextDecoded"] for row in received(rig, number)]


def results(rig: Rig, creator: str) -> list[dict[str, Any]]:
    return rig.ask("select * from sentitems where CreatorID = ? order by SequencePosition", creator)


def sent_to(rig: Rig, number: str) -> list[Whole]:
    return [whole for whole in rig.sent if whole.number == number]


def put(rig: Rig, creator: str, number: str, text: str, *, report: bool = False) -> None:
    """A message with parts of its own into the daemon's tables, in one transaction."""
    parts, reference = sms_pdu.cut(text), next(REFERENCES)
    coding = "Unicode_No_Compression" if sms_pdu.coding_for(text) == "ucs2" else "Default_No_Compression"
    several = len(parts) > 1
    numbered = range(1, len(parts) + 1)
    headers = [
        f"050003{reference:02X}{len(parts):02X}{at:02X}" if several else "" for at in range(1, len(parts) + 1)
    ]
    with closing(sqlite3.connect(rig.db, timeout=10)) as db, db:
        (row,) = db.execute(
            "insert into outbox"
            " (DestinationNumber, TextDecoded, Coding, UDH, MultiPart, DeliveryReport, CreatorID)"
            " values (?, ?, ?, ?, ?, ?, ?) returning ID",
            (number, parts[0], coding, headers[0], str(several).lower(), "yes" if report else "no", creator),
        ).fetchone()
        db.executemany(
            "insert into outbox_multipart (ID, SequencePosition, TextDecoded, Coding, UDH)"
            " values (?, ?, ?, ?, ?)",
            [(row, at, parts[at - 1], coding, headers[at - 1]) for at in numbered[1:]],
        )


def waiting(rig: Rig, creator: str) -> list[dict[str, Any]]:
    return rig.ask("select * from outbox where CreatorID = ?", creator)


def settled(rig: Rig, creator: str, parts: int = 1) -> list[dict[str, Any]]:
    """The rows of a message when all its parts are through, well or not.

    The daemon writes them first and empties its outbox then: for a moment a message stands in both.
    """
    rig.wait_for(lambda: len(results(rig, creator)) >= parts and not waiting(rig, creator))
    return results(rig, creator)


def wait_for_status(rig: Rig, creator: str, status: str) -> None:
    rig.wait_for(lambda: [row["Status"] for row in results(rig, creator)] == [status])


def end_lock(rig: Rig, creator: str) -> None:
    """What was begun stays locked for a minute, also for the daemon's successor; no test waits for that."""
    (row,) = rig.ask("select SendingTimeOut from outbox where CreatorID = ?", creator)
    until = datetime.strptime(row["SendingTimeOut"], "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
    assert 45 < (until - datetime.now(UTC)).total_seconds() <= 60
    with closing(sqlite3.connect(rig.db, timeout=10)) as db, db:
        db.execute(
            "update outbox set SendingTimeOut = datetime('now', '-1 second') where CreatorID = ?", (creator,)
        )


def heartbeat_age(rig: Rig) -> float:
    """Seconds since the daemon last wrote its row in `phones`, which is in UTC."""
    (phone,) = rig.ask("select UpdatedInDB from phones")
    beat = datetime.strptime(phone["UpdatedInDB"], "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
    return (datetime.now(UTC) - beat).total_seconds()


# --- coming in


def test_a_text_arrives(rig: Rig, number: str) -> None:
    rig.receive(number, "q7 2", at=datetime(2026, 11, 25, 9, 6, 58, tzinfo=UTC))
    rig.wait_for(lambda: received(rig, number))
    (row,) = received(rig, number)
    assert row["TextDecoded"] == "q7 2"
    assert row["Text"] == "0071003700200032"
    assert (row["ReceivingDateTime"], row["SMSCNumber"], row["UDH"]) == ("2026-11-25 09:06:58", CENTRE, "")
    assert (row["Coding"], row["Processed"]) == ("Default_No_Compression", "false")
    rig.wait_for(lambda: rig.network.waiting == 0)


def test_every_sign_of_the_alphabet_arrives(rig: Rig, number: str) -> None:
    """The table of `sms_pdu` against the daemon's own; NUL is no sign, it only fills the escape's place."""
    signs = "".join(sign for sign in sms_pdu.SEPTETS if sign != "\0")
    rig.receive(number, signs[:70])
    rig.receive(number, signs[70:])
    rig.wait_for(lambda: len(received(rig, number)) == 2)
    assert "".join(texts(rig, number)) == signs


def test_parts_in_the_wrong_order_become_one_text(rig: Rig, number: str) -> None:
    text = "Grey paste and no bits. " * 17
    assert len(rig.receive(number, text, backwards=True)) == 3
    rig.wait_for(lambda: len(received(rig, number)) == 3)
    assert texts(rig, number) == [text, "", ""]


def test_a_text_in_16_bit_units_arrives_whole(rig: Rig, number: str) -> None:
    text = "Дырка в поддоне 🔧, масло на земле. " * 3
    assert len(rig.receive(number, text)) == 2
    rig.wait_for(lambda: len(received(rig, number)) == 2)
    assert texts(rig, number) == [text, ""]
    assert received(rig, number)[0]["Coding"] == "Unicode_No_Compression"


def test_a_sender_with_letters_arrives_as_its_letters(rig: Rig) -> None:
    rig.receive("Club 7", "win a new exhaust")
    rig.wait_for(lambda: received(rig, "Club 7"))
    assert texts(rig, "Club 7") == ["win a new exhaust"]


# --- going out


def test_a_text_leaves(rig: Rig, number: str) -> None:
    put(rig, "m-1", number, "Q7 Bits stick to a magnet? 1 yes 2 no")
    (row,) = settled(rig, "m-1")
    assert (row["Status"], row["DestinationNumber"]) == ("SendingOKNoReport", number)
    assert sent_to(rig, number) == [Whole(number, "Q7 Bits stick to a magnet? 1 yes 2 no", "gsm", 1, 1)]


def test_every_sign_of_the_alphabet_leaves(rig: Rig, number: str) -> None:
    signs = "".join(sign for sign in sms_pdu.SEPTETS if sign not in "\0\x1b")
    put(rig, "m-signs", number, signs)
    settled(rig, "m-signs")
    assert [whole.text for whole in sent_to(rig, number)] == [signs]


def test_three_parts_leave_with_our_own_header(rig: Rig, number: str) -> None:
    text = "Stop the engine. Look at the drain plug {again} " * 8
    assert len(sms_pdu.cut(text)) == 3
    put(rig, "m-3", number, text)
    rows = settled(rig, "m-3", parts=3)
    assert [row["Status"] for row in rows] == ["SendingOKNoReport"] * 3
    assert sent_to(rig, number) == [Whole(number, text, "gsm", 3, 3)]


def test_two_parts_in_16_bit_units_leave(rig: Rig, number: str) -> None:
    text = "✓ Масло чистое 🔧 " * 5
    assert len(sms_pdu.cut(text)) == 2
    put(rig, "m-2", number, text)
    settled(rig, "m-2", parts=2)
    assert sent_to(rig, number) == [Whole(number, text, "ucs2", 2, 2)]


def test_a_refused_text_says_why_and_holds_up_nothing(rig: Rig, number: str) -> None:
    barred = "+1999" + number[5:]
    rig.faults.refused_numbers = {"+1999": BARRED}
    put(rig, "m-barred", barred, "you never get this")
    put(rig, "m-next", number, "but you get this")
    settled(rig, "m-next")
    (row,) = settled(rig, "m-barred")
    assert (row["Status"], row["StatusCode"], row["TPMR"]) == ("SendingError", BARRED, -1)
    tries = [said.number for said, _ in rig.network.refused]
    assert tries == [barred] * (1 + int(str(QUICK["maxretries"])))
    assert [whole.text for whole in sent_to(rig, number)] == ["but you get this"]


def test_one_refusal_is_tried_again(rig: Rig, number: str) -> None:
    rig.faults.refuse = 1
    put(rig, "m-again", number, "second time lucky")
    (row,) = settled(rig, "m-again")
    assert row["Status"] == "SendingOKNoReport"
    assert [whole.text for whole in sent_to(rig, number)] == ["second time lucky"]


@pytest.mark.parametrize(("told", "status"), [("delivered", "DeliveryOK"), ("failed", "DeliveryFailed")])
def test_a_report_is_matched_to_its_text(rig: Rig, number: str, told: str, status: str) -> None:
    rig.faults.report = told
    put(rig, f"m-{told}", number, "did you get this?", report=True)
    wait_for_status(rig, f"m-{told}", status)
    assert bool(results(rig, f"m-{told}")[0]["DeliveryDateTime"]) == (told == "delivered")
    assert not received(rig, number)  # a report is no text


def test_a_report_may_come_after_one_that_says_not_yet(rig: Rig, number: str) -> None:
    rig.faults.report = "pending"
    put(rig, "m-slow", number, "are you in a valley?", report=True)
    wait_for_status(rig, "m-slow", "DeliveryPending")
    rig.network.report(results(rig, "m-slow")[0]["TPMR"], number, "delivered")
    wait_for_status(rig, "m-slow", "DeliveryOK")


# --- when it dies, and when it hangs


def test_what_comes_while_it_is_down_is_read_at_the_start(rig: Rig, number: str) -> None:
    """More than the SIM card holds: the network keeps the rest until there is room."""
    said = [f"still there? {n}" for n in range(1, SLOTS + 3)]
    rig.stop_daemon()
    for text in said:
        rig.receive(number, text)
    assert (len(rig.network.slots), rig.network.waiting) == (SLOTS, SLOTS + 2)
    rig.start_daemon()
    rig.wait_for(lambda: len(received(rig, number)) == len(said))
    assert texts(rig, number) == said


def test_killed_before_the_modem_forgets_it_stores_a_text_twice(rig: Rig, number: str) -> None:
    rig.faults.die = Die("CMGD", "before")
    rig.receive(number, "only once")
    rig.wait_for(lambda: rig.faults.die is None)
    assert texts(rig, number) == ["only once"]
    rig.start_daemon()
    rig.wait_for(lambda: len(received(rig, number)) == 2)
    first, second = received(rig, number)
    assert {key for key in first if first[key] != second[key]} <= {"ID", "UpdatedInDB"}


def test_parts_that_stay_alone_are_given_up_and_come_as_they_are(rig: Rig, number: str) -> None:
    """One whose others were lost on the way, and one that a kill left in the modem without the other.

    The daemon waits for one unfinished text at a time; the next one's waiting begins when that is given up.
    """
    torn, text = number[:-1] + "99", "a" * 153 + "b" * 20
    rig.faults.die = Die("CMGD", "before", nth=2)
    rig.receive(number, text)
    rig.wait_for(lambda: rig.faults.die is None)
    assert texts(rig, number) == [text, ""]
    rig.receive(torn, text, without={1})
    rig.start_daemon()
    rig.wait_for(lambda: received(rig, torn) or len(received(rig, number)) == 3)
    assert len(received(rig, torn)) + len(received(rig, number)) == 3
    rig.wait_for(lambda: len(received(rig, torn)) + len(received(rig, number)) == 4)
    assert texts(rig, torn) == ["b" * 20]
    assert texts(rig, number) == [text, "", "b" * 20]
    same = ("UDH", "Text", "ReceivingDateTime", "SMSCNumber")
    _, second, third = received(rig, number)
    assert [third[key] for key in same] == [second[key] for key in same]
    assert third["UDH"].startswith("050003")
    assert third["UDH"].endswith("0202")


@pytest.mark.parametrize(("when", "copies"), [("before", 1), ("after", 2)])
def test_killed_while_sending_it_sends_again_when_its_lock_runs_out(
    rig: Rig, number: str, when: When, copies: int
) -> None:
    rig.faults.die = Die("CMGS", when)
    put(rig, f"m-killed-{when}", number, "and again")
    rig.wait_for(lambda: rig.faults.die is None)
    end_lock(rig, f"m-killed-{when}")
    rig.start_daemon()
    (row,) = settled(rig, f"m-killed-{when}")
    assert row["Status"] == "SendingOKNoReport"
    assert [whole.text for whole in sent_to(rig, number)] == ["and again"] * copies


def test_killed_at_the_second_of_three_parts_it_repeats_only_that_one(rig: Rig, number: str) -> None:
    text = "The plug holds three curls of steel. " * 10
    rig.faults.die = Die("CMGS", "after", nth=2)
    put(rig, "m-half", number, text)
    rig.wait_for(lambda: rig.faults.die is None)
    end_lock(rig, "m-half")
    rig.start_daemon()
    settled(rig, "m-half", parts=3)
    assert sent_to(rig, number) == [Whole(number, text, "gsm", 3, 3)]
    assert [said.part[2] for said in rig.network.submits if said.number == number] == [1, 2, 2, 3]


def test_a_lost_answer_silences_it_and_a_new_start_brings_it_back(rig: Rig, number: str) -> None:
    rig.wait_for(lambda: heartbeat_age(rig) < STALE / 2)
    rig.faults.lose = 1
    put(rig, "m-lost", number, "taken, and nobody heard")
    rig.wait_for(lambda: sent_to(rig, number))
    rig.wait_for(lambda: heartbeat_age(rig) > STALE)
    assert rig.runs
    assert not results(rig, "m-lost")
    rig.receive(number, "anybody?")
    rig.kill()  # it would listen to a polite signal as well, after some seconds
    rig.start_daemon()
    rig.wait_for(lambda: received(rig, number))
    rig.wait_for(lambda: heartbeat_age(rig) < STALE / 2)
