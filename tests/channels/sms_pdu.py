"""Text messages as octets, as TS 23.040 and TS 23.038 of 3GPP give them: for the pretend modem only.

Nothing in `bot` may share this: what the bot counts and cuts is checked against it. The rules are from memory
of the two standards; `test_sms_modem.py` holds the packing against worked examples and a second method,
and `test_sms_daemon.py` holds the rest against gammu, which writes and reads them with its own code.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

Coding = Literal["gsm", "ucs2", "octets"]

ESCAPE = 0x1B
# TS 23.038, 6.2.1: the place of a character in the row is its septet. NUL stands where the escape is.
ALPHABET = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\0ÆæßÉ"
    " !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
# TS 23.038, 6.2.1.1: what follows an escape.
EXTENSION = {
    0x0A: "\f", 0x14: "^", 0x28: "{", 0x29: "}", 0x2F: "\\", 0x3C: "[", 0x3D: "~", 0x3E: "]",
    0x40: "|", 0x65: "€",
}  # fmt: skip
SEPTETS = {mark: (at,) for at, mark in enumerate(ALPHABET) if at != ESCAPE} | {
    mark: (ESCAPE, at) for at, mark in EXTENSION.items()
}
# Per message alone and per part of several: 140 octets, of which a header takes six.
ROOM: dict[Coding, tuple[int, int]] = {"gsm": (160, 153), "ucs2": (70, 67)}
HEX_OF_DIGIT = "0123456789*#abc"  # TS 23.040, 9.1.2.3


@dataclass(frozen=True)
class Submit:
    """A message on its way into the network. `header` is the user data header with its own length octet."""

    reference: int
    number: str
    text: str
    coding: Coding
    header: bytes
    report: bool

    @property
    def part(self) -> tuple[int, int, int]:
        """Reference, how many, which one; (0, 1, 1) for a message alone."""
        return concatenation(self.header)


def encode(text: str) -> list[int]:
    """Septets of a text. KeyError for a character that the alphabet does not have."""
    return [septet for mark in text for septet in SEPTETS[mark]]


def decode(septets: Sequence[int]) -> str:
    """Text of septets. U+FFFD stands where an escape leads nowhere: somebody cut a pair."""
    found, rest = [], iter(septets)
    for septet in rest:
        found.append(ALPHABET[septet] if septet != ESCAPE else EXTENSION.get(next(rest, -1), "\ufffd"))
    return "".join(found)


def pack(septets: Iterable[int], fill: int = 0) -> bytes:
    """Septets into octets, lowest bit first, behind `fill` bits of nothing (TS 23.038, 6.1.2.1)."""
    packed, held, bits = bytearray(), 0, fill
    for septet in septets:
        held |= septet << bits
        bits += 7
        if bits >= 8:
            packed.append(held & 0xFF)
            held, bits = held >> 8, bits - 8
    return bytes(packed) + (bytes([held]) if bits else b"")


def unpack(octets: bytes, count: int, fill: int = 0) -> list[int]:
    found = []
    for at in range(fill, fill + 7 * count, 7):
        two = int.from_bytes(octets[at // 8 : at // 8 + 2], "little")
        found.append(two >> at % 8 & 0x7F)
    return found


def swapped(digits: str) -> bytes:
    """Two digits an octet, the first in the lower half; a last one alone is filled up with ones."""
    padded = digits + "f" * (len(digits) % 2)
    return bytes.fromhex("".join(padded[at + 1] + padded[at] for at in range(0, len(padded), 2)))


def unswapped(octets: bytes) -> str:
    pairs = octets.hex()
    return "".join(pairs[at + 1] + pairs[at] for at in range(0, len(pairs), 2))


def digits_of(number: str) -> str:
    return "".join(f"{HEX_OF_DIGIT.index(digit):x}" for digit in number.removeprefix("+"))


def kind_of(number: str) -> int:
    """The octet that says what kind of number it is: international or as dialled."""
    return 0x91 if number.startswith("+") else 0x81


def write_address(number: str) -> bytes:
    """An address with its length in digits; what is no number goes as letters (TS 23.040, 9.1.2.5)."""
    if not set(number.removeprefix("+")) <= set(HEX_OF_DIGIT):
        letters = encode(number)
        return bytes([(7 * len(letters) + 3) // 4, 0xD0]) + pack(letters)
    digits = digits_of(number)
    return bytes([len(digits), kind_of(number)]) + swapped(digits)


def read_address(octets: bytes) -> tuple[str, bytes]:
    """The number, and what stands behind it."""
    long, kind, end = octets[0], octets[1], 2 + (octets[0] + 1) // 2
    digits = "".join(HEX_OF_DIGIT[int(digit, 16)] for digit in unswapped(octets[2:end])[:long])
    return ("+" if kind & 0x70 == 0x10 else "") + digits, octets[end:]


def write_centre(number: str) -> bytes:
    """A service centre's number: its length is in octets, with the octet of the kind."""
    digits = swapped(digits_of(number))
    return bytes([1 + len(digits), kind_of(number)]) + digits


def write_stamp(moment: datetime) -> bytes:
    """A time to the second with its zone in quarters of an hour (TS 23.040, 9.2.3.11)."""
    offset = moment.utcoffset() or timedelta(0)
    quarters = abs(offset) // timedelta(minutes=15)
    stamp = bytearray(swapped(f"{moment:%y%m%d%H%M%S}{quarters:02}"))
    stamp[-1] |= 0x08 if offset < timedelta(0) else 0
    return bytes(stamp)


def write_header(reference: int, total: int, part: int) -> bytes:
    """The header of one part of several (TS 23.040, 9.2.3.24.1)."""
    return bytes([5, 0, 3, reference, total, part])


def concatenation(header: bytes) -> tuple[int, int, int]:
    """Reference, total and number of the part. The reference has one octet (element 0) or two (element 8)."""
    rest = header[1:]
    while len(rest) >= 2:
        element, long, body = rest[0], rest[1], rest[2 : 2 + rest[1]]
        if (element, long) in {(0, 3), (8, 4)}:
            return int.from_bytes(body[:-2], "big"), body[-2], body[-1]
        rest = rest[2 + long :]
    return 0, 1, 1


def coding_of(scheme: int) -> Coding:
    """What the octet of the data coding scheme says (TS 23.038, clause 4)."""
    if scheme & 0xC0 == 0:
        return ("gsm", "octets", "ucs2", "gsm")[scheme >> 2 & 3]
    if scheme & 0xF0 == 0xF0:
        return "octets" if scheme & 4 else "gsm"
    return "ucs2" if scheme & 0xF0 == 0xE0 else "gsm"


def write_user_data(text: str, coding: Coding, header: bytes) -> bytes:
    """Length, header and text; the length of packed text is in septets, the header's among them."""
    if coding == "ucs2":
        body = header + text.encode("utf-16-be")
        return bytes([len(body)]) + body
    septets, fill = encode(text), -8 * len(header) % 7
    before = (8 * len(header) + fill) // 7
    return bytes([before + len(septets)]) + header + pack(septets, fill)


def read_user_data(octets: bytes, coding: Coding, headed: bool) -> tuple[str, bytes]:
    """The text and its header. A half of a surrogate pair is shown as U+FFFD: somebody cut it."""
    long, body = octets[0], octets[1:]
    header = body[: body[0] + 1] if headed else b""
    if coding == "gsm":
        fill = -8 * len(header) % 7
        count = long - (8 * len(header) + fill) // 7
        return decode(unpack(body[len(header) :], count, fill)), header
    rest = body[len(header) : long]
    return (rest.decode("utf-16-be", "replace") if coding == "ucs2" else rest.hex()), header


def read_submit(pdu: bytes) -> Submit:
    """An SMS-SUBMIT behind a service centre's number (TS 23.040, 9.2.2.2). ValueError: it is none."""
    rest = pdu[1 + pdu[0] :]
    first, reference = rest[0], rest[1]
    if first & 3 != 1:
        raise ValueError(f"no SMS-SUBMIT: first octet {first:02X}")
    number, rest = read_address(rest[2:])
    coding = coding_of(rest[1])
    validity = (0, 7, 1, 7)[first >> 3 & 3]
    text, header = read_user_data(rest[2 + validity :], coding, bool(first & 0x40))
    return Submit(reference, number, text, coding, header, bool(first & 0x20))


def write_deliver(
    number: str, text: str, at: datetime, *, centre: str, coding: Coding, header: bytes = b""
) -> bytes:
    """An SMS-DELIVER as a modem gives it: the centre's number goes first (TS 23.040, 9.2.2.1)."""
    first = 0x04 | (0x40 if header else 0)
    scheme = 0x08 if coding == "ucs2" else 0x00
    told = bytes([first]) + write_address(number) + bytes([0, scheme]) + write_stamp(at)
    return write_centre(centre) + told + write_user_data(text, coding, header)


def write_report(
    reference: int, number: str, sent: datetime, done: datetime, *, centre: str, state: int
) -> bytes:
    """An SMS-STATUS-REPORT (TS 23.040, 9.2.2.3); `state` is its TP-Status (9.2.3.15)."""
    told = bytes([0x06, reference]) + write_address(number) + write_stamp(sent) + write_stamp(done)
    return write_centre(centre) + told + bytes([state])


def coding_for(text: str) -> Coding:
    return "gsm" if all(mark in SEPTETS for mark in text) else "ucs2"


def cost(mark: str, coding: Coding) -> int:
    """Septets, or 16-bit units, of one character."""
    return len(SEPTETS[mark]) if coding == "gsm" else len(mark.encode("utf-16-be")) // 2


def cut(text: str) -> list[str]:
    """A text as a phone would cut it, never inside a pair."""
    coding = coding_for(text)
    alone, each = ROOM[coding]
    if sum(cost(mark, coding) for mark in text) <= alone:
        return [text]
    parts, taken = [""], 0
    for mark in text:
        taken += cost(mark, coding)
        if taken > each:
            parts.append("")
            taken = cost(mark, coding)
        parts[-1] += mark
    return parts


def write_delivers(number: str, text: str, at: datetime, *, centre: str, reference: int) -> list[bytes]:
    """All parts of a message for us, in their order."""
    parts, coding = cut(text), coding_for(text)
    headers = [write_header(reference, len(parts), n) for n in range(1, len(parts) + 1)]
    return [
        write_deliver(
            number, part, at, centre=centre, coding=coding, header=header if len(parts) > 1 else b""
        )
        for part, header in zip(parts, headers, strict=True)
    ]


def whole_second(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)
