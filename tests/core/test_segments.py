"""Text messages: letters, lengths, cuts and spelling.

Sources: 3GPP TS 23.038 (clause 6.2.1 the default alphabet, 6.2.1.1 its extension table) and 3GPP TS 23.040
(clause 9.2.3.24.1, the heading of joined messages: 6 of 140 octets); clause numbers from memory.
All numbers in `KNOWN` were counted by hand. `counted` is a second way that shares no code with the first
and no table with gsm0338: it writes the alphabet down once more, from memory.
"""

from __future__ import annotations

import subprocess
import sys

import gsm0338
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.segments import Split, foreign, is_plain, plain, segments, septets, split

SMILE, CYR = "\U0001f600", "ж"

# text, coding, its length in septets or units of UTF-16, messages
KNOWN = [
    ("", "gsm", 0, 1),
    ("Q7 Bits stick to a magnet? 1 yes 2 no 3 no magnet here", "gsm", 54, 1),
    ("a" * 160, "gsm", 160, 1),
    ("a" * 161, "gsm", 161, 2),
    ("a" * 306, "gsm", 306, 2),
    ("a" * 307, "gsm", 307, 3),
    ("a" * 459, "gsm", 459, 3),
    ("a" * 460, "gsm", 460, 4),
    ("€" * 80, "gsm", 160, 1),
    ("€" * 81, "gsm", 162, 2),
    ("a" * 158 + "{", "gsm", 160, 1),
    ("a" * 159 + "{", "gsm", 161, 2),
    ("a" * 152 + "{" + "a" * 152, "gsm", 306, 3),  # the pair does not fit at 153, so one septet stays free
    ("a" * 151 + "{" + "a" * 153, "gsm", 306, 2),
    (SMILE * 35, "ucs2", 70, 1),
    (SMILE * 36, "ucs2", 72, 2),
    (SMILE * 67, "ucs2", 134, 3),  # 33 whole ones in 67 units, 33, and one
    (CYR * 70, "ucs2", 70, 1),
    (CYR * 71, "ucs2", 71, 2),
    (CYR * 134, "ucs2", 134, 2),
    (CYR * 135, "ucs2", 135, 3),
    (CYR * 66 + SMILE + CYR * 66, "ucs2", 134, 3),  # the pair does not fit at 67
    (CYR * 65 + SMILE + CYR * 67, "ucs2", 134, 2),
    ("é", "gsm", 1, 1),
    ("Ç", "gsm", 1, 1),
    ("ç", "ucs2", 1, 1),
    ("`", "ucs2", 1, 1),
    ("a" * 159 + "’", "ucs2", 160, 3),
    ("\t", "ucs2", 1, 1),
    ("\f", "gsm", 2, 1),
    ("a\nb\r", "gsm", 4, 1),
    ("^{}[]~\\|€", "gsm", 18, 1),
    ("ÄÖÜäöüßñÑàèìòùøØåÅæÆ§¿¡£¥¤", "gsm", 26, 1),
    ("ΔΦΓΛΩΠΨΣΘΞ", "gsm", 10, 1),
    ("\u00a0", "ucs2", 1, 1),
    ("90°", "ucs2", 3, 1),
    ("á", "ucs2", 1, 1),
    ("\x1b", "ucs2", 1, 1),  # the escape is no letter
]


@pytest.mark.parametrize(("text", "coding", "length", "messages"), KNOWN)
def test_known_by_hand(text: str, coding: str, length: int, messages: int) -> None:
    cut = split(text)
    assert (cut.coding, len(cut.parts), segments(text)) == (coding, messages, messages)
    assert (septets(text) if coding == "gsm" else len(text.encode("utf-16-le")) // 2) == length
    assert is_plain(text) == (coding == "gsm")


def test_where_a_pair_would_be_cut() -> None:
    assert split("a" * 152 + "{" + "b" * 152) == Split("gsm", ("a" * 152, "{" + "b" * 151, "b"))
    assert split(CYR * 66 + SMILE + "b" * 66) == Split("ucs2", (CYR * 66, SMILE + "b" * 65, "b"))


def test_nothing_is_one_empty_part() -> None:
    assert split("") == Split("gsm", ("",))


def test_the_alphabet_has_its_127_letters() -> None:
    """128 places, one of which is the escape to the extension table."""
    letters = [chr(n) for n in range(0x3000) if not foreign(chr(n))]
    assert len([c for c in letters if septets(c) == 1]) == 127
    assert len([c for c in letters if septets(c) == 2]) == 10


@pytest.mark.parametrize("letter", list("`\t’“”–…ç°µ\xa0·×✓Я中\U0001f527êá"))
def test_letters_that_are_not_in_the_alphabet(letter: str) -> None:
    assert foreign("a" + letter + "b") == letter


# --- a second way ------------------------------------------------------------------------------------------

BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
MORE = "\f^{}\\[~]|€"


def counted(text: str) -> int:
    """Messages, by filling one after the other with whole characters written out as code units."""
    if set(text) <= set(BASIC + MORE):
        units = ["!" + c if c in MORE else c for c in text]
        alone, each = 160, 153
    else:
        units = ["u" * (len(c.encode("utf-16-le", "surrogatepass")) // 2) for c in text]
        alone, each = 70, 67
    if len("".join(units)) <= alone:
        return 1
    full = [""]
    for unit in units:
        if len(full[-1] + unit) > each:
            full.append("")
        full[-1] += unit
    return len(full)


LETTERS = st.text(st.sampled_from(BASIC + MORE * 4), max_size=500)
MIXED = st.text(st.sampled_from(BASIC + "çжю’" + SMILE * 8 + "\U0001f527"), max_size=300)
ANY = st.text(st.characters(), max_size=200)
LONE = st.text(st.sampled_from("a1\ud83d\ude00ж"), max_size=150)  # halves of pairs, as JSON can bring them


@given(LETTERS | MIXED | ANY | LONE)
def test_the_second_way_counts_the_same(text: str) -> None:
    assert segments(text) == counted(text)


@pytest.mark.parametrize(("text", "coding", "length", "messages"), KNOWN)
def test_the_second_way_knows_what_is_known(text: str, coding: str, length: int, messages: int) -> None:
    assert counted(text) == messages


@given(LETTERS)
def test_septets_are_what_the_codec_writes(text: str) -> None:
    assert septets(text) == len(gsm0338.Codec().encode(text)[0])


@given(LETTERS | MIXED | ANY | LONE)
def test_parts_are_the_text_and_none_is_too_long(text: str) -> None:
    coding, parts = split(text).coding, split(text).parts
    assert "".join(parts) == text
    assert len(parts) == 1 or all(parts)
    if coding == "gsm":
        lengths = [len(gsm0338.Codec().encode(part)[0]) for part in parts]
    else:
        lengths = [len(part.encode("utf-16-le", "surrogatepass")) // 2 for part in parts]
    limit = {("gsm", True): 160, ("gsm", False): 153, ("ucs2", True): 70, ("ucs2", False): 67}
    assert max(lengths) <= limit[coding, len(parts) == 1]


@given(LETTERS)
def test_no_part_ends_with_an_escape(text: str) -> None:
    """Octets of each part, decoded alone, are that part: nothing of a pair is in the next one."""
    codec = gsm0338.Codec()
    for part in split(text).parts:
        octets = codec.encode(part)[0]
        assert not octets.endswith(b"\x1b")
        assert codec.decode(octets)[0] == part


# --- spelling ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("90° 90 ° 90 °C 90ºC 194 °F 20 ℃", "90 deg 90 deg 90 deg C 90 deg C 194 deg F 20 deg C"),
        ("5 µm 5 μm 5µF", "5 um 5 um 5uF"),
        ("80–90 — a − b", "80-90 - a - b"),
        ("‘a’ “b” „c” «d» 5′ 5″", '\'a\' "b" "c" "d" 5\' 5"'),
        ("it’s…", "it's..."),
        ("✓ ✔ ✅ ☑️ done", "OK OK OK OK done"),
        ("a → b ← c ➡️ d", "a -> b <- c -> d"),
        ("3 × 4, M6×1", "3 x 4, M6x1"),
        ("10 N·m", "10 Nm"),
        ("a · b", "a - b"),
        ("2·5", "2x5"),
        ("5\u00a0mm\u202f6", "5 mm 6"),
        ("`sumpline`\tchat", "'sumpline' chat"),
        ("ça á í ó ú Á Í Ó Ú ñ Ñ ü é ¿¡", "ca a i o u A I O U ñ Ñ ü é ¿¡"),
        ("e\u0301 a\u0301 n\u0303", "é a ñ"),
        ("5 €", "5 €"),
        ("±0.1 ≤5 ≥5 ≈ 5", "+/-0.1 <=5 >=5 about 5"),
        ("2½ ½ 1¾″ ⅓", '2 1/2 1/2 1 3/4" 1/3'),
        ("10² 10⁻³ m² H₂O 10¹²", "10^2 10^-3 m2 H2O 10^12"),
        ("⌀10", "Ø10"),
        ("47 k\u2126", "47 kΩ"),
        ("масло", "maslo"),
        ("warm 😀 done 😀", "warm done"),
        ("😀 warm", "warm"),
        ("one 😀\n😀 two", "one\ntwo"),
        ("oil👨‍👩‍👧leak", "oilleak"),
        ("👍🏽 🇩🇪 1️⃣ ❤️ ⚠️ 🏴\U000e0067\U000e0062\U000e007f x", "1 x"),
        ("a\u200bb\u00adc\ufeff", "abc"),
        ("a\u2028b\x85c", "a\nb\nc"),
        ("a\x1bb\x00c\ud83d", "abc"),
        ("زيادة", "zyadh"),
        ("\u0640", "?"),  # no sound of its own, and nothing else stands there
        ("a\u39ddb", "a?b"),  # an ideograph whose sound is not known
    ],
)
def test_spelling_by_hand(text: str, wanted: str) -> None:
    assert plain(text) == wanted


@given(ANY | MIXED | LONE)
def test_plain_can_be_written_and_stays_as_it_is(text: str) -> None:
    said = plain(text)
    assert is_plain(said)
    assert plain(said) == said
    assert split(said).coding == "gsm"


@given(LETTERS)
def test_what_can_be_written_is_left_alone(text: str) -> None:
    assert plain(text) == text


@given(ANY)
def test_plain_never_empties_a_text_that_says_something(text: str) -> None:
    if any(c.isalnum() for c in text):
        assert plain(text).strip()


def test_every_character_there_is_can_be_written() -> None:
    """Each alone; a letter or digit leaves something to be seen."""
    spelled = {
        chr(n): plain(chr(n)) for n in (*range(0x3400), *range(0xA000, 0xAC00), *range(0xD7A4, 0x20000))
    }
    assert [c for c, said in spelled.items() if not is_plain(said)] == []
    assert [c for c, said in spelled.items() if c.isalnum() and not said.strip()] == []


def test_libraries_wait_for_the_first_text() -> None:
    code = (
        "import sys, bot.core.segments as s; before = {'gsm0338', 'anyascii'} & set(sys.modules)\n"
        "s.split('a'); print(sorted(before), 'gsm0338' in sys.modules, 'anyascii' in sys.modules)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said == "[] True False\n"
