"""A mechanic sees a case only by a code that its rider gave: coming in, staying out, going again."""

from __future__ import annotations

import hashlib
import hmac
import json
import logging
import os
import re
import sqlite3
import stat
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from bot import sharing, turn
from bot.core.book_entries import Note
from bot.core.messages import Message
from bot.record.export import everything_of
from bot.record.grants import KeyTroubleError
from bot.record.store import Store
from tests.record.small_talk import beside
from tests.record.test_photos import jpeg
from tests.workshop import BEGIN, Talker, Workshop, opened

ROOT = Path(__file__).parent.parent


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with opened(tmp_path / "record.db") as made:
        yield made


@pytest.fixture
def robin(shop: Workshop) -> Talker:
    return shop.rider("Robin", "Goat", "something rattles since the quarry")


@pytest.fixture
def max_(shop: Workshop) -> Talker:
    return shop.person("Max")


def texts(messages: list[Message]) -> str:
    return "\n".join(message.text for message in messages)


def anywhere(store: Store, *words: str) -> set[str]:
    """Names of the files beside the record that hold one of these, in any case."""
    found = set()
    for path in beside(store.path):
        data = path.read_bytes().lower()
        found |= {path.name for word in words if word.lower().encode() in data}
    return found


def tables(store: Store) -> dict[str, int]:
    """How many rows each table has."""
    names = [r["name"] for r in store.rows("select name from sqlite_master where type = 'table'")]
    return {name: int(store.value(f"select count(*) from {name}")) for name in names}


WRONG = "That code opens nothing"

# --- codes as they are written ---------------------------------------------------------------------


def test_a_code_has_eight_of_thirty_letters_that_are_not_mistaken_for_another() -> None:
    assert len(sharing.ALPHABET) == len(set(sharing.ALPHABET)) == 30
    assert not set(sharing.ALPHABET) & set("ILOU01")
    codes = {sharing.make_code() for _ in range(3000)}
    assert len(codes) == 3000
    assert {len(code) for code in codes} == {8}
    assert set("".join(codes)) == set(sharing.ALPHABET)
    assert all(any(c.isdigit() for c in code) and sum(map(str.isalpha, code)) > 1 for code in codes)
    assert sharing.shown("ABCDEF23") == "ABCD-EF23"


@pytest.mark.parametrize(
    "text",
    [
        "open ABCD-EF23", "open abcd-ef23", "Open AbCd EF23", "open abcdef23", "OPEN: ABCD–EF23.",
        "ABCD-EF23", "abcdef23", "abcd ef23", " abcd-ef23 \n",
        "please open ABCD-EF23", "open the case ABCD-EF23 please",
        "Hi, here is the code: ABCD-EF23", "ABCD-EF23 here", "case ABCD EF23 now",
        "code ABCD-EF23", "open case ABCD-EF23 thanks",
    ],
)  # fmt: skip
def test_a_code_is_read_however_it_is_typed(text: str) -> None:
    assert sharing.told_code(text, turn.read_words()) == "ABCDEF23"


@pytest.mark.parametrize(
    "text", ["open ABCD-EF2", "open abcd-ef0", "open ABCI-EF23", "open AB23CD", "open ab12-cd34"]
)
def test_what_was_meant_for_a_code_is_answered_as_one(text: str) -> None:
    assert sharing.told_code(text, turn.read_words()) == ""


@pytest.mark.parametrize(
    "text",
    [
        "", "open", "open the clutch cover", "open headgear", "headgear", "open cover 2026",
        "2 3 4 5 6 7 8 9", "23456789", "opened the cover at 54.5", "open since 2 weeks",
        "it broke at ABCD-EF23 or so",
        "part 4MX7-13B2 is on order", "open M10x1.25", "54.5", "new hour meter, shows 0", "trail 23",
        "open " + "x" * 200 + "2",
    ],
)  # fmt: skip
def test_other_words_are_no_code(text: str) -> None:
    assert sharing.told_code(text, turn.read_words()) is None


# --- coming in ---------------------------------------------------------------------------------------


def test_the_right_code_opens_the_case_and_both_are_told(shop: Workshop, robin: Talker, max_: Talker) -> None:
    case = robin.case
    assert case is not None
    said = max_.say(f"open {robin.share()}")
    assert max_.case == case
    assert said[0].text == "You are in: Goat. You hold this case until you or its rider end that."
    assert said[1].kind == "record"
    assert "Goat: Something rattles" in said[1].text
    assert "since the quarry" in said[1].text
    assert "hand it back" in said[2].text
    assert texts(robin.read()) == (
        "[Goat] Max opened your case. To see who has it: who has it. To end that: take it back"
    )
    assert shop.store.state(case).holders == ("Max",)
    held = shop.last(case, "case_held")
    assert (held.who, held.role) == ("Max", "mechanic")
    heard = shop.last(case, "heard").event.heard
    assert (heard.text, heard.admitted) == ("open", True)


def test_a_code_opens_while_nothing_was_chosen_yet(shop: Workshop, max_: Talker) -> None:
    """Before any flow fits there are only the rider's own words."""
    robin = shop.person("Robin")
    robin.say("the blinker relay sings in a low voice")
    said = max_.say(f"open {robin.share()}")
    assert said[0].text.startswith("You are in: a bike without a name yet.")
    assert "the blinker relay sings in a low voice" in said[1].text


def test_who_opens_another_ones_case_is_a_mechanic_there_and_a_rider_at_home(
    shop: Workshop, robin: Talker
) -> None:
    ann = shop.rider("Ann", "Mule")
    home = ann.case
    ann.say(f"open {robin.share()}")
    ann.say("again")
    ann.say("All of them cling")
    ann.say("my own case")
    ann.say("None clings")
    assert ann.case == home
    assert home is not None
    assert shop.last(robin.case or 0, "answered").role == "mechanic"
    assert shop.last(home, "answered").role == "rider"
    person = shop.store.person(ann.id)
    assert person.role == "rider"


def test_a_case_that_was_shared_runs_again_the_same_way(shop: Workshop, robin: Talker, max_: Talker) -> None:
    max_.say(f"open {robin.share()}")
    for who, text in (
        (max_, "again"), (max_, "All of them cling"), (robin, "who has it"), (max_, "share"),
        (robin, "take it back from max"), (robin, "share"), (robin, "take it back"),
    ):  # fmt: skip
        who.say(text)
    assert turn.replay(shop.store, robin.case or 0) is None


def test_the_rider_cannot_hold_his_own_case_and_the_code_stays_good(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    code, before = robin.share(), shop.events(robin.case or 0)
    assert "your own case" in robin.hears(f"open {code}")
    assert shop.events(robin.case or 0) == before
    max_.say(f"open {code}")
    assert max_.case == robin.case


def test_a_second_code_of_a_case_he_holds_stays_good_for_another(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    first, second = robin.share(), robin.share()
    max_.say(f"open {first}")
    assert "You hold that case already: send case 1." in max_.hears(f"open {second}")
    mo = shop.person("Mo")
    mo.say(second)
    assert shop.store.state(robin.case or 0).holders == ("Max", "Mo")


def test_two_people_use_one_code_at_once_and_one_gets_in(tmp_path: Path) -> None:
    """Eight threads, each with a connection of its own, begin at one signal."""
    path = tmp_path / "record.db"
    with opened(path) as shop:
        code = shop.rider("Robin", "Goat").share()
    ready, got = threading.Barrier(8), list[str]()

    def try_it(name: str) -> None:
        with closing(turn.open_record(path)) as store:
            own = Workshop(store).person(name)
            ready.wait()
            if any("You are in" in message.text for message in own.say(f"open {code}")):
                got.append(name)
        del store.db.conn  # what a test opened is closed once more at its end, in another thread

    threads = [threading.Thread(target=try_it, args=(f"M{n}",)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(got) == 1
    with closing(turn.open_record(path)) as store:
        assert store.state(1).holders == tuple(got)
        assert store.value("select count(*) from grants where used is not null") == 1


def test_two_programs_use_one_code_at_once_and_one_gets_in(tmp_path: Path) -> None:
    path = tmp_path / "record.db"
    with opened(path) as shop:
        code = shop.rider("Robin", "Goat").share()
    command = [
        sys.executable,
        "-m",
        "bot.cli",
        "case",
        "open",
        code,
        "--db",
        str(path),
        "--now",
        "2026-05-04T10:00:00Z",
    ]
    programs = [
        subprocess.Popen([*command, "--as", f"M{n}"], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                         stderr=subprocess.PIPE, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)})
        for n in range(3)
    ]  # fmt: skip
    ends = []
    for program in programs:
        out, err = program.communicate(timeout=120)
        ends.append((program.returncode, b"You are in: Goat" in out, WRONG.encode() in err))
    assert sorted(ends) == [(0, True, False), (2, False, True), (2, False, True)]


# --- staying out ----------------------------------------------------------------------------------------


def used(shop: Workshop, robin: Talker) -> str:
    code = robin.share()
    shop.person("Mo").say(f"open {code}")
    return code


def expired(shop: Workshop, robin: Talker) -> str:
    code = robin.share()
    shop.clock.on(days=7)
    return code


def revoked(shop: Workshop, robin: Talker) -> str:
    code = robin.share()
    robin.say("take it back")
    return code


def of_the_end_of_a_hold(shop: Workshop, robin: Talker) -> str:
    code = used(shop, robin)
    robin.say("take it back")
    return code


def mistyped(shop: Workshop, robin: Talker) -> str:
    code = robin.share()
    return code[:-1] + ("2" if code[-1] != "2" else "3")


@pytest.mark.parametrize("spoiled", [used, expired, revoked, of_the_end_of_a_hold, mistyped])
def test_a_code_that_opens_nothing_is_told_in_one_way_and_changes_nothing(
    shop: Workshop, robin: Talker, spoiled: Callable[[Workshop, Talker], str]
) -> None:
    ann = shop.rider("Ann", "Mule")
    code = spoiled(shop, robin)
    ann.read()
    robin.read()
    cases = [shop.store.entries(line.id) for line in shop.store.all_cases()]
    home, before = ann.case, tables(shop.store)
    [told] = ann.say(f"open {code}")
    assert told.text == turn.read_words().say("code.wrong")
    assert "share" in told.text
    assert [shop.store.entries(line.id) for line in shop.store.all_cases()] == cases
    grown = {name for name, rows in tables(shop.store).items() if rows != before[name]}
    assert grown == {"inbox", "outbox", "guesses", "sqlite_sequence"} - {
        name for name in ("sqlite_sequence",) if tables(shop.store)[name] == before[name]
    }
    assert ann.case == home
    assert robin.read() == []
    ann.say("All of them cling")  # the question that stood open still does
    assert shop.store.state(home or 0).told("magnet") is not None


def test_a_code_works_to_its_last_second(shop: Workshop, robin: Talker, max_: Talker) -> None:
    code = robin.share()
    shop.clock.on(days=7, seconds=-2)
    max_.say(f"open {code}")
    assert max_.case == robin.case


def test_how_long_codes_are_good_can_be_set(shop: Workshop, robin: Talker, max_: Talker) -> None:
    shop.store.code_days = 1
    assert "within 1 day." in robin.hears("share")
    code = robin.share()
    shop.clock.on(days=1)
    assert WRONG in max_.hears(f"open {code}")


def test_what_is_no_code_at_all_is_told_so_and_is_no_guess(shop: Workshop, max_: Talker) -> None:
    for _ in range(20):
        assert "two times four letters" in max_.hears("open ABC-EF23")
    assert shop.store.value("select count(*) from guesses") == 0
    assert shop.store.all_cases() == ()


# --- guessing -------------------------------------------------------------------------------------------


def guess(n: int) -> str:
    """The n-th of many codes that nobody gave."""
    letters = []
    for _ in range(6):
        n, place = divmod(n, 30)
        letters.append(sharing.ALPHABET[place])
    return "A2" + "".join(letters)


def test_five_wrong_codes_in_ten_minutes_and_then_one_waits(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    code = robin.share()
    for n in range(5):
        assert WRONG in max_.hears(f"open {guess(n)}")
    assert max_.hears(f"open {code}") == "Too many codes that opened nothing. Try again in 10 minutes."
    shop.clock.on(minutes=8)
    assert max_.hears(f"open {code}") == "Too many codes that opened nothing. Try again in 2 minutes."
    assert max_.case is None
    shop.clock.on(minutes=2)
    max_.say(f"open {code}")
    assert max_.case == robin.case


def test_fifty_wrong_codes_an_hour_whoever_tries_them(shop: Workshop, robin: Talker, max_: Talker) -> None:
    """Ten people, five tries each; the first try leaves the hour first."""
    code = robin.share()
    for n in range(10):
        guesser = shop.person(f"G{n}")
        for k in range(5):
            assert WRONG in guesser.hears(guess(10 * n + k))
    assert "Try again in 60 minutes." in max_.hears(code)
    shop.clock.on(minutes=60)
    max_.say(code)
    assert max_.case == robin.case


def test_ten_thousand_guesses_let_nobody_in_and_leave_nothing(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    """One person, a guess every second; the whole in one transaction, since only its sense is tried here."""
    store, code = shop.store, robin.share()
    mallory, answers = shop.person("Mallory"), dict[str, int]()
    mallory.say(guess(0))
    before = tables(store)
    with store.writing():
        for n in range(1, 10_001):
            told = mallory.hears(f"open {guess(n)}").partition(".")[0]
            answers[told] = answers.get(told, 0) + 1
    assert set(answers) == {
        WRONG + ": it is mistyped, used, too old or taken back",
        "Too many codes that opened nothing",
    }
    # Of 10,001 seconds, five tries in any ten minutes: 17 windows were begun.
    assert answers[WRONG + ": it is mistyped, used, too old or taken back"] + 1 == 5 * 17
    assert mallory.case is None
    after = tables(store)
    assert after["guesses"] <= 50
    for name in ("inbox", "outbox"):
        assert after[name] - before[name] <= 25
    for name in set(before) - {"inbox", "outbox", "guesses", "sqlite_sequence"}:
        assert after[name] == before[name], name
    max_.say(f"open {code}")
    assert max_.case == robin.case


# --- the code leaves no trace ---------------------------------------------------------------------------


def test_a_code_is_nowhere_once_it_was_said(
    shop: Workshop, robin: Talker, max_: Talker, caplog: pytest.LogCaptureFixture
) -> None:
    """Digests are HMAC-SHA-256 (FIPS 198-1) under the key beside the record, by the standard library."""
    with caplog.at_level(logging.DEBUG):
        code = robin.share()
        bare = code.replace("-", "")
        assert anywhere(shop.store, code, bare) == set()
        digest = hmac.new(shop.store.key_path.read_bytes(), bare.encode(), hashlib.sha256).hexdigest()
        assert shop.store.value("select code_digest from grants") == digest
        max_.say(f"open {bare.lower()}")
        assert anywhere(shop.store, code, bare) == set()
        assert code not in caplog.text
        assert bare not in caplog.text.upper()
    for who in (robin, max_):
        held = json.dumps(everything_of(shop.store, who.id))
        assert code not in held
        assert bare not in held.upper()
        assert digest not in held


def test_before_it_is_said_it_waits_in_the_outbox_and_in_no_copy(
    shop: Workshop, robin: Talker, tmp_path: Path
) -> None:
    robin.say("share", shown=False)
    [out] = [o for o in turn.due(shop.store, shop.clock.now) if o.message.kind == "secret"]
    code = sharing.code_said(out.message.text)
    assert code
    kept = json.dumps(everything_of(shop.store, robin.id))
    assert sharing.shown(code) not in kept
    assert "A code was made here" in kept
    copy = tmp_path / "away" / "copy.db"
    copy.parent.mkdir()
    shop.store.backup(copy)
    assert {path.name for path in copy.parent.iterdir()} == {"copy.db"}  # the key is in no copy
    assert sharing.shown(code).encode() not in copy.read_bytes()
    with closing(Store(copy)) as store:
        [secret] = [o for o in store.due(turn.stamp(shop.clock.now)) if "code" in o.message.text]
        assert secret.message.text.startswith("A code was made here, and I do not keep it.")


def test_who_comes_back_is_told_that_a_code_was_made(shop: Workshop, robin: Talker) -> None:
    code = robin.share()
    [again] = turn.resume(shop.store, "terminal", "Robin", "Robin")
    assert again.message.text == "A code was made here, and I do not keep it. For a new one send: share"
    assert code not in again.message.text


def test_a_code_that_could_not_be_sent_is_blanked_too(shop: Workshop, robin: Talker) -> None:
    robin.say("share", shown=False)
    [out] = [o for o in turn.due(shop.store, shop.clock.now) if o.message.kind == "secret"]
    turn.not_sent(shop.store, out.id, shop.clock.now + timedelta(minutes=1))
    assert shop.store.value("select text from outbox where id = ?", out.id) == out.message.text
    turn.not_sent(shop.store, out.id, None)
    assert anywhere(shop.store, sharing.shown(sharing.code_said(out.message.text))) == set()


def test_another_program_that_reads_delays_the_blanking_and_no_one(
    shop: Workshop, robin: Talker, tmp_path: Path
) -> None:
    with closing(sqlite3.connect(shop.store.path, isolation_level=None)) as reader:
        reader.execute("begin")
        reader.execute("select count(*) from outbox").fetchall()
        code = robin.share()
        assert anywhere(shop.store, code) == {"record.db-wal"}
        reader.execute("rollback")
    robin.say("again")
    assert anywhere(shop.store, code) == set()


def test_wrong_codes_are_not_kept_either(shop: Workshop, max_: Talker) -> None:
    """They may be one letter away from a right one."""
    max_.say("open A2BC-DE34")
    max_.say("open A2BC-DE3")
    shop.store.run("pragma wal_checkpoint(truncate)")
    assert anywhere(shop.store, "A2BC-DE34", "A2BCDE34", "A2BC-DE3") == set()


# --- the key ----------------------------------------------------------------------------------------------


def test_the_key_is_made_at_first_use_for_its_owner_alone(shop: Workshop, robin: Talker) -> None:
    assert not shop.store.key_path.exists()
    robin.share()
    assert shop.store.key_path.name == "record.db.key"
    assert stat.S_IMODE(shop.store.key_path.stat().st_mode) == 0o600
    assert len(shop.store.key_path.read_bytes()) == 32
    assert [path.name for path in shop.store.path.parent.glob("*.key*")] == ["record.db.key"]


def test_a_key_is_not_made_where_nobody_shares(shop: Workshop, robin: Talker) -> None:
    robin.say("who has it")
    robin.say("take it back")
    assert not shop.store.key_path.exists()


def lay_open(path: Path) -> None:
    path.chmod(0o644)


def cut(path: Path) -> None:
    path.write_bytes(b"short")


def put_a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir(mode=0o700)


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lay_open, "others can read the key record.db.key; run: chmod 600 record.db.key"),
        (cut, "the key record.db.key is not whole; remove it, and share anew"),
        (put_a_folder, "the key record.db.key cannot be read (Is a directory)"),
    ],
)
def test_a_key_that_cannot_be_used_is_refused_in_a_sentence(
    shop: Workshop, robin: Talker, max_: Talker, spoil: Callable[[Path], None], why: str,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    code = robin.share()
    spoil(shop.store.key_path)
    before = shop.events(robin.case or 0)
    assert f"I cannot make or open codes now: {why}." in robin.hears("share")
    assert f"I cannot make or open codes now: {why}." in max_.hears(f"open {code}")
    assert why in caplog.text
    assert shop.events(robin.case or 0) == before
    assert shop.store.waiting() == []
    assert "Goat: Something rattles" in robin.hears("where are we")  # all else goes on
    with pytest.raises(KeyTroubleError):
        shop.store.check_key()


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is unreadable for the superuser")
def test_a_key_that_may_not_be_read_is_refused_in_a_sentence(shop: Workshop, robin: Talker) -> None:
    robin.share()
    shop.store.key_path.chmod(0)
    assert "cannot be read (Permission denied)" in robin.hears("share")


def test_when_the_key_is_put_right_the_same_code_opens(shop: Workshop, robin: Talker, max_: Talker) -> None:
    code = robin.share()
    lay_open(shop.store.key_path)
    max_.say(f"open {code}")
    shop.store.key_path.chmod(0o600)
    max_.say(f"open {code}")
    assert max_.case == robin.case


def test_with_another_key_no_older_code_opens_and_new_ones_do(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    code = robin.share()
    shop.store.key_path.unlink()
    assert WRONG in max_.hears(f"open {code}")
    max_.say(f"open {robin.share()}")
    assert max_.case == robin.case


# --- the rider's words ---------------------------------------------------------------------------------


def test_who_has_it_says_who_since_when_and_how_many_codes_wait(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    assert "Nobody but you has it." in robin.hears("who has it")
    code = robin.share()
    said = robin.hears("who has it")
    assert "1 code not used yet, good until 2026-05-11 09:00 UTC." in said
    assert code not in said
    max_.say(f"open {code}")
    robin.share()
    robin.share()
    said = robin.hears("who can see it")
    assert "Max has it, since 2026-05-04 09:00 UTC." in said
    assert "2 codes not used yet" in said


def test_what_there_is_to_share_is_told_first(shop: Workshop) -> None:
    ann = shop.person("Ann")
    assert "There is no case to share yet." in ann.hears("share")
    assert shop.store.value("select count(*) from grants") == 0


@pytest.mark.parametrize(
    "text", ["sharp", "shape", "shared", "shares", "Sharp!", "who had it", "take it bank"]
)
def test_words_that_only_look_like_it_share_nothing(shop: Workshop, robin: Talker, text: str) -> None:
    robin.say(text)
    assert shop.store.value("select count(*) from grants") == 0
    assert {"shared", "hold_ended"} & set(shop.events(robin.case or 0)) == set()


def test_taking_back_ends_all_holds_and_voids_codes(shop: Workshop, robin: Talker, max_: Talker) -> None:
    mo, case = shop.person("Mo"), robin.case or 0
    max_.say(f"open {robin.share()}")
    mo.say(f"open {robin.share()}")
    left = robin.share()
    said = robin.hears("take it back")
    assert (
        "Taken back from Max, Mo. What they wrote stays in the case. 1 code that nobody used is void." in said
    )
    for mechanic in (max_, mo):
        told = texts(mechanic.read())
        assert (
            told == "[Goat] The rider took this case back. You hold it no more; what you wrote stays in it."
        )
        assert mechanic.case is None
    assert shop.store.state(case).holders == ()
    assert WRONG in max_.hears(left)
    assert "Nobody else has it, and no code is waiting." in robin.hears("take it back")


def test_taking_back_from_one_leaves_the_others_and_the_codes(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    mo, zoe = shop.person("Mo"), shop.person("Zoe")
    max_.say(f"open {robin.share()}")
    mo.say(f"open {robin.share()}")
    code = robin.share()
    assert "From whom? It is held by: Max, Mo." in robin.hears("take it back from ann")
    assert "Taken back from Max." in robin.hears("take it back from max")
    assert (max_.case, mo.case) == (None, robin.case)
    zoe.say(code)
    assert zoe.case == robin.case


def test_a_long_name_can_be_taken_back_by_its_beginning(shop: Workshop, robin: Talker) -> None:
    long = shop.person("Maximilian of the North Garage")
    long.say(robin.share())
    assert "Taken back from Maximilian of the North Garage." in robin.hears("take it back from maximilian")
    assert long.case is None


def test_what_waits_for_a_mechanic_goes_with_his_hold(shop: Workshop, robin: Talker, max_: Talker) -> None:
    """A stop of the case was on its way to him, and a sheet that he had asked for."""
    max_.say(f"open {robin.share()}")
    max_.say("again", shown=False)
    max_.say("summary", shown=False)
    for text in ("change", "1", "It knocks", "take it back"):
        robin.say(text)
    told = max_.read()
    assert [message.text.partition(".")[0] for message in told] == ["[Goat] The rider took this case back"]


def shows(robin: Talker, text: str, *files: str) -> None:
    """The rider sends photos with words, and their turn is done; some of them are on their way."""
    robin.number += 1
    at = turn.stamp(robin.clock.now)
    for ref in files:
        if ref.startswith("telegram"):
            robin.store.want_file(ref, "telegram", ref, robin.id, "7", "photo", "", at)
    heard = turn.Heard(text=text, file=" ".join(files), file_kind="photo")
    told = ("terminal", robin.name, robin.name, f"file-{robin.number}", heard, robin.clock.now)
    inbox = turn.accept(robin.store, *told)
    assert inbox is not None
    for _ in range(2):  # a second time changes nothing
        turn.take(robin.store, inbox, robin.clock.now)


def asked_for_a_photo(robin: Talker, max_: Talker) -> None:
    max_.say(robin.share())
    max_.say("ask rider: show me the plug")
    robin.read()


def photos(messages: list[Message]) -> list[str]:
    return [message.photo for message in messages if message.photo]


def test_a_photo_that_answers_reaches_the_mechanic_once(robin: Talker, max_: Talker) -> None:
    asked_for_a_photo(robin, max_)
    kept = turn.keep_file(robin.store, "terminal", "Robin", jpeg(), "photo", robin.clock.now)
    shows(robin, "answer: here", kept)
    assert photos(robin.read()) == []
    assert photos(max_.read()) == [kept]
    assert photos(max_.read()) == []


def test_a_photo_on_its_way_is_sent_on_when_it_is_there(robin: Talker, max_: Talker) -> None:
    asked_for_a_photo(robin, max_)
    shows(robin, "answer: here", "telegram-1", "telegram-2")
    told = max_.read()
    assert "(with 2 photos" in texts(told)
    assert photos(told) == []
    kept = turn.keep_file(robin.store, "terminal", "Robin", jpeg(), "photo", robin.clock.now)
    robin.store.file_fetched("telegram-2", kept)
    assert photos(max_.read()) == [kept]
    robin.store.fetch_failed("telegram-1", "gone", "2026-05-04T10:00:00Z")  # it is tried again
    assert max_.read() == []
    robin.store.fetch_failed("telegram-1", "gone", None)
    [message] = max_.read()
    assert message.text == "[Goat] A photo to your question could not be kept: show me the plug"
    assert message.photo == ""


def test_a_photo_that_comes_after_his_hold_is_not_sent_on(robin: Talker, max_: Talker) -> None:
    asked_for_a_photo(robin, max_)
    shows(robin, "answer: here", "telegram-1")
    max_.read()
    robin.say("take it back")
    max_.say(robin.share())
    kept = turn.keep_file(robin.store, "terminal", "Robin", jpeg(), "photo", robin.clock.now)
    robin.store.file_fetched("telegram-1", kept)
    assert photos(max_.read()) == []


def test_a_mechanic_hands_back_with_his_words(shop: Workshop, robin: Talker, max_: Talker) -> None:
    case = robin.case or 0
    max_.say(f"open {robin.share()}")
    max_.say("again")
    max_.say("All of them cling")
    said = max_.hears("Hand it back, the nut is on order; tell me when it is there")
    assert "Handed back" in said
    told = texts(robin.read())
    assert "Max handed your case back" in told
    assert "In Max's words: the nut is on order; tell me when it is there" in told
    ended = shop.last(case, "hold_ended")
    assert (ended.who, ended.role, ended.event.holder) == ("Max", "mechanic", "Max")
    assert ended.event.words == "the nut is on order; tell me when it is there"
    assert max_.case is None
    assert [t.who for t in shop.store.state(case).answers if t.event.ask == "magnet"] == ["Max"]
    assert "nothing to hand back" in robin.hears("hand it back")


def test_a_mechanic_may_be_let_in_again(shop: Workshop, robin: Talker, max_: Talker) -> None:
    for _ in range(2):
        max_.say(f"open {robin.share()}")
        assert max_.case == robin.case
        robin.say("take it back")
        assert max_.case is None


# --- what a mechanic may not -----------------------------------------------------------------------------

RIDERS_WORDS = (
    "share", "who has it", "take it back", "take it back from Mo", "start over",
    "oil every 8 h", "oil reminder off", "erase me", "make a code",
)  # fmt: skip


@pytest.mark.parametrize("text", RIDERS_WORDS)
def test_what_is_the_riders_own_is_refused_politely_and_changes_nothing(
    shop: Workshop, robin: Talker, max_: Talker, text: str
) -> None:
    case = robin.case or 0
    max_.say(f"open {robin.share()}")
    shop.person("Mo").say(robin.share())
    before = shop.store.state(case)
    assert "Only the rider" in max_.hears(text)
    after = shop.store.state(case)
    assert (after.holders, after.ended, after.settings) == (before.holders, before.ended, before.settings)
    new = after.entries[len(before.entries) :]
    assert {entry.event.kind for entry in new} <= {"heard", "asked"}
    assert shop.store.interval_of("1") is None
    assert shop.store.unused_codes(case, turn.stamp(shop.clock.now)) == ()


@pytest.fixture
def two(shop: Workshop) -> tuple[Talker, Talker, Talker]:
    """Robin with Goat and a Mule, Zoe with a Ghost, and Max, who holds Robin's case of Goat.

    Whatever Max is not to see has a word with zyx in it.
    """
    robin = shop.rider("Robin", "Mule", "something rattles zyxearlier")
    robin.say("start over")
    for text in ("something rattles since the quarry", "No knock", "Goat"):
        robin.say(text)
    zoe = shop.rider("Zoe", "Ghost", "something rattles zyxsecret")
    mule, ghost = (shop.store.find_bike(who.id, name) for who, name in ((robin, "Mule"), (zoe, "Ghost")))
    for bike in (mule, ghost):
        shop.store.write_book(bike or "", Note(note="zyxnote"), turn.stamp(BEGIN))
        shop.store.read_meter(bike or "", 71.5, 71.5, turn.stamp(BEGIN))
    max_ = shop.person("Max")
    max_.say(f"open {robin.share()}")
    assert shop.store.state(robin.case or 0).nickname == "Goat"
    return robin, zoe, max_


CALLS = (
    "case 1", "case 2", "case 3", "case 999999999999", "bench", "bench 1", "bench 2", "bench rattles",
    "book", "trend", "trend numbers", "book strike 1", "book change 1: hours 9", "hours 9", "oil change at 9",
    "summary", "whole sheet", "where are we", "what is ruled out", "order list", "change", "back", "why",
    "more", "again", "help", "later", "it is another bike", "2", "units both", "my time is 14:20",
    "my own case", "case 1",
)  # fmt: skip
BY_NAME = (
    "book Mule", "book Ghost", "trend Mule", "trend of Ghost", "book of Mule", "Mule: hours 9",
    "Ghost: hours 9", "Mule", "Ghost", "bench Mule", "case Mule", "take it back from Zoe",
)  # fmt: skip
PRESSES = ("1", "yes", "all", "control:summary", "control:more")


def press_around(shop: Workshop, person: Talker) -> None:
    """Every press that a program could think of, below any entry of any case."""
    last = max(len(shop.store.entries(line.id)) for line in shop.store.all_cases())
    for seq in range(last + 1):
        for press in PRESSES:
            person.say("", press=f"{seq}:{press}", shown=False)
    person.read()


def test_nothing_but_the_held_case_can_be_called(shop: Workshop, two: tuple[Talker, Talker, Talker]) -> None:
    robin, _, max_ = two
    others = [line.id for line in shop.store.all_cases() if line.id != robin.case]
    theirs = [shop.store.entries(case) for case in others]
    for text in CALLS:
        max_.say(text)
        assert max_.case not in others
    told = "\n".join(max_.seen)
    for hidden in ("Mule", "Ghost", "Zoe"):  # the sheet names Robin, as whoever told what stands in it
        assert hidden not in told
    for text in BY_NAME:
        max_.say(text)
        assert max_.case not in others
    press_around(shop, max_)
    told = "\n".join(max_.seen).casefold()
    assert "zyx" not in told
    assert "71.5" not in told
    assert [shop.store.entries(case) for case in others] == theirs
    assert [bike.nickname for bike in shop.store.bikes_of(robin.id)] == ["Mule", "Goat"]


def test_after_taking_back_every_call_again_shows_nothing_of_the_case(
    shop: Workshop, two: tuple[Talker, Talker, Talker]
) -> None:
    robin, _, max_ = two
    case = robin.case or 0
    robin.say("take it back")
    max_.read()
    max_.seen.clear()
    before = shop.store.entries(case)
    press_around(shop, max_)
    assert set(max_.seen) == {turn.read_words().say("press.nothing")}
    for text in (*CALLS, "hand it back", "lift the stop", "it is back", "All of them cling", *BY_NAME):
        max_.say(text)
        assert max_.case != case
    press_around(shop, max_)
    again = [out.message.text for out in turn.resume(shop.store, "terminal", "Max", "Max")]
    told = "\n".join([*max_.seen, *again])
    for hidden in ("Goat", "quarry", "Robin"):
        assert hidden not in told
    assert shop.store.entries(case) == before
    standing = turn.stand(shop.store, "terminal", "Max", "Max", shop.clock.now)
    assert standing is None or standing.case != case


def test_a_mechanics_own_copy_holds_nothing_of_the_riders(
    shop: Workshop, two: tuple[Talker, Talker, Talker]
) -> None:
    robin, _, max_ = two
    max_.say("whole sheet")
    data = everything_of(shop.store, max_.id)
    assert data["cases"] == []
    assert [(held["number"], held["until"]) for held in data["held"]] == [(1, None)]
    held = json.dumps(data)
    for hidden in ("Goat", "quarry", "Robin", "Zyx"):
        assert hidden not in held
    [code] = everything_of(shop.store, robin.id)["codes"]
    assert (code["case"], code["held_by"], code["revoked"]) == (robin.case, "Max", None)


def test_a_mechanic_cannot_name_a_bike_that_has_no_name_yet(shop: Workshop, max_: Talker) -> None:
    """A name that he guesses would bring in what is known of another bike of that rider."""
    robin = shop.rider("Robin", "Zyxmule")
    robin.say("start over")
    robin.say("something rattles")
    max_.say(f"open {robin.share()}")
    max_.say("again")
    assert "call this bike" not in max_.hears("No knock")
    max_.say("Zyxmule")
    assert shop.store.state(robin.case or 0).bike is None
    robin.say("No knock")
    robin.say("Goat")
    assert shop.store.state(robin.case or 0).nickname == "Goat"


def test_he_writes_in_the_book_of_this_bike_and_of_no_other(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    max_.say(f"open {robin.share()}")
    assert "Goat: Oil change at 9 h. Kept as a note: Ghost." in max_.hears("book Ghost: oil change at 9")
    max_.say("no")
    asked = max_.say("book oil change at 54.5")
    assert [choice.label for message in asked for choice in message.choices] == [
        "Yes, write it",
        "No, leave it",
    ]
    max_.say("yes")
    assert len(shop.store.book_of("1")) == 1
    assert [bike.nickname for bike in shop.store.bikes_of(robin.id)] == ["Goat"]


def test_another_complaint_of_his_begins_no_case_while_he_is_in_anothers(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    """The rider's case is over; what the mechanic says there is still said there."""
    case = robin.case or 0
    max_.say(f"open {robin.share()}")
    with shop.store.writing():
        shop.store.run("update cases set ended = 'handed_over' where id = ?", case)
    robin.say("hand it over")
    max_.say("the brakes squeal on it")
    assert max_.case == case
    assert len(shop.store.all_cases()) == 1


# --- several cases -----------------------------------------------------------------------------------------


def hold(shop: Workshop, mechanic: Talker, *bikes: str) -> list[Talker]:
    """Riders with these bikes, whose cases the mechanic holds, in this order."""
    riders = []
    for bike in bikes:
        rider = shop.rider(f"Rider of {bike}", bike)
        mechanic.say(f"open {rider.share()}")
        riders.append(rider)
    return riders


def test_he_chooses_by_number_and_is_told_which_bike_it_is_about(shop: Workshop, max_: Talker) -> None:
    goat, mule = hold(shop, max_, "Goat", "Mule")
    assert max_.case == mule.case
    said = max_.say("case 1")
    assert max_.case == goat.case
    assert said[0].text.startswith("[Goat] ")
    max_.say("All of them cling")
    assert shop.store.state(goat.case or 0).told("magnet") is not None
    assert shop.store.state(mule.case or 0).told("magnet") is None
    assert max_.say("case 2")[0].text.startswith("[Mule] ")
    assert max_.case == mule.case
    assert max_.hears("case 3") == "There is no 3 on your bench. Send: bench"
    assert max_.case == mule.case


def test_a_stop_of_another_case_names_its_bike(shop: Workshop, max_: Talker) -> None:
    goat, _ = hold(shop, max_, "Goat", "Mule")
    for text in ("change", "1", "It knocks"):
        goat.say(text)
    [stop] = [message for message in max_.read() if message.kind == "stop"]
    assert stop.text.startswith("[Goat] STOP. Do not start the engine.")


def test_numbers_stay_while_cases_are_held(shop: Workshop, max_: Talker) -> None:
    """A number that was looked up before is not another bike's afterwards."""
    goat, mule = hold(shop, max_, "Goat", "Mule")
    goat.say("take it back")
    max_.read()
    assert max_.hears("case 1").startswith("There is no 1 on your bench.")
    max_.say("case 2")
    assert max_.case == mule.case
    hold(shop, max_, "Ghost")
    assert [held.number for held in shop.store.held_by(max_.id)] == [2, 3]


def test_when_a_hold_ends_his_words_go_to_his_own_case(shop: Workshop, robin: Talker) -> None:
    ann = shop.rider("Ann", "Mule")
    home = ann.case
    ann.say(f"open {robin.share()}")
    robin.say("take it back")
    assert ann.case == home
    ann.say(f"open {robin.share()}")
    ann.say("hand it back")
    assert ann.case == home


def test_bench_may_be_the_answer_to_where_the_bike_is(shop: Workshop, robin: Talker, max_: Talker) -> None:
    max_.say(f"open {robin.share()}")
    said = robin.say("again")
    for _ in range(12):
        if "Where is the bike now?" in texts(said):
            break
        said = robin.say("1")
    assert "Where is the bike now?" in texts(said)
    robin.say("bench")
    assert shop.store.state(robin.case or 0).settings["place"] == "garage"
    assert "Goat" in max_.hears("my bench")


def test_an_answer_to_a_reminder_of_his_own_bike_does_not_move_anothers_case(
    shop: Workshop, robin: Talker
) -> None:
    ann = shop.rider("Ann", "Mule")
    for text in ("book oil change at 40 on 2026-04-01", "yes", "oil every 8 h or 20 days"):
        ann.say(text)
    ann.say(f"open {robin.share()}")
    before = shop.store.entries(robin.case or 0)
    assert turn.remind(shop.store, shop.clock.now) == 1
    assert "Mule" in texts(ann.read())
    assert "You are in another rider's case." in ann.hears("done")
    assert shop.store.entries(robin.case or 0) == before


# --- erasing ------------------------------------------------------------------------------------------------


def test_with_a_rider_go_his_codes_and_holds(shop: Workshop) -> None:
    zoe, max_ = shop.rider("Zoe Zyxlamoth", "Zyxmobile"), shop.person("Max")
    code = zoe.share()
    max_.say(f"open {code}")
    zoe.share()
    shop.store.erase(zoe.id)
    digests = {row["code_digest"] for row in shop.store.rows("select code_digest from grants")}
    assert digests == set()
    assert anywhere(shop.store, "zyxlamoth", "zyxmobile", code) == set()
    assert max_.case is None
    assert shop.store.held_by(max_.id) == ()
    assert "You hold no case" in max_.hears("bench")


def test_with_a_mechanic_go_his_name_his_tries_and_his_hold_also_after_it_ended(
    shop: Workshop, robin: Talker
) -> None:
    zyx, case = shop.person("Zyxmax"), robin.case or 0
    zyx.say("open A2BC-DE34")
    code = robin.share()
    digest_of = shop.store.digest_code(code.replace("-", ""))
    zyx.say(f"open {code}")
    zyx.say("again")
    zyx.say("All of them cling")
    robin.say("take it back from zyxmax")
    zyx.read()
    entries = len(shop.store.entries(case))
    shop.store.erase(zyx.id)
    assert anywhere(shop.store, "zyxmax", digest_of, code) == set()
    assert shop.store.value("select count(*) from guesses") == 0
    assert shop.store.value("select count(*) from grants") == 0
    assert len(shop.store.entries(case)) == entries
    assert shop.last(case, "hold_ended").event.holder == "someone"
    assert shop.store.state(case).holders == ()
    assert [t.event.value for t in shop.store.state(case).answers if t.event.ask == "magnet"] == [("all",)]
    assert shop.store.rows("pragma foreign_key_check") == []


# --- joins of old -------------------------------------------------------------------------------------------


def test_a_seat_of_before_there_were_codes_lets_nobody_in(
    shop: Workshop, robin: Talker, max_: Talker
) -> None:
    """Until now whoever spoke as a mechanic in the same talk was seated."""
    max_.say("hello")
    with shop.store.writing():
        shop.store.sit_down(robin.case or 0, max_.id, turn.Address("terminal", "Max"), turn.stamp(BEGIN))
    before = shop.store.entries(robin.case or 0)
    assert "Goat" not in max_.hears("where are we")
    for text in ("change", "1", "It knocks"):
        robin.say(text)
    assert "stop_raised" in shop.events(robin.case or 0)
    assert max_.read() == []
    assert [e.who for e in shop.store.entries(robin.case or 0)[len(before) :] if e.who != "Robin"] == []


def test_a_channel_cannot_say_that_somebody_was_let_in(shop: Workshop, robin: Talker) -> None:
    heard = turn.Heard(text="open", admitted=True, role="mechanic")
    inbox = turn.accept(shop.store, "terminal", "Max", "Max", "1", heard, shop.clock.now)
    turn.take(shop.store, inbox or 0, shop.clock.now)
    assert shop.store.state(robin.case or 0).holders == ()


def test_a_code_is_said_to_its_rider_alone(shop: Workshop, robin: Talker, max_: Talker) -> None:
    max_.say(f"open {robin.share()}")
    code = robin.share()
    max_.read()
    assert not any(re.search(re.escape(code), text) for text in max_.seen)
