"""Reads a QR code from a clean picture: a second method, that shares no code with what draws it.

ISO/IEC 18004 as far as it is needed here: versions 2 to 5, one block of codewords (error level L), byte
mode, no damage. Layout, masks, format bits and mode from memory of the standard.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator

from PIL import Image

Cells = list[list[bool]]
DATA = {2: 34, 3: 55, 4: 80, 5: 108}  # data codewords of a version at level L
MASKS: tuple[Callable[[int, int], bool], ...] = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: i % 2 == 0,
    lambda i, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: i * j % 2 + i * j % 3 == 0,
    lambda i, j: (i * j % 2 + i * j % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2 == 0,
)


def read_qr(png: bytes) -> str:
    """The text of the code in a picture. AssertionError for anything that is none of the kind above."""
    cells = cells_of(png)
    version = (len(cells) - 17) // 4
    assert version in DATA, f"version {version}"
    format_bits = [cells[8][j] for j in (0, 1, 2, 3, 4, 5, 7, 8)]
    told = sum(bit << n for n, bit in enumerate(reversed(format_bits[:5]))) ^ 0b10101
    level, mask = told >> 3, told & 7
    assert level == 0b01, "not level L"
    bits = [cells[i][j] ^ MASKS[mask](i, j) for i, j in way(len(cells), version)]
    words = [
        sum(bit << 7 - n for n, bit in enumerate(bits[k : k + 8])) for k in range(0, 8 * DATA[version], 8)
    ]
    whole = "".join(f"{word:08b}" for word in words)
    assert whole[:4] == "0100", "not byte mode"
    length = int(whole[4:12], 2)
    return bytes(int(whole[12 + 8 * n : 20 + 8 * n], 2) for n in range(length)).decode("ascii")


def cells_of(png: bytes) -> Cells:
    """Dark and light cells; the finder's top row, seven cells wide, tells how large one is."""
    picture = Image.open(io.BytesIO(png)).convert("L")
    dark = [[picture.getpixel((x, y)) < 128 for x in range(picture.width)] for y in range(picture.height)]  # type: ignore[operator]
    top = next(y for y, row in enumerate(dark) if any(row))
    left = dark[top].index(True)
    size = next(n for n in range(1, picture.width) if not dark[top][left + n]) // 7
    across = (picture.width - 2 * left) // size
    assert left >= 4 * size, "the light rim is too narrow"
    half = size // 2
    return [
        [dark[top + size * i + half][left + size * j + half] for j in range(across)] for i in range(across)
    ]


def way(across: int, version: int) -> Iterator[tuple[int, int]]:
    """The cells of data: columns of two from the right, up and down in turn, past all that is fixed."""
    up, right = True, across - 1
    while right > 0:
        right -= right == 6  # the column of the timing pattern
        for i in range(across - 1, -1, -1) if up else range(across):
            for j in (right, right - 1):
                if not is_fixed(i, j, across, version):
                    yield i, j
        up, right = not up, right - 2


def is_fixed(i: int, j: int, across: int, version: int) -> bool:
    """Finders with their rims and formats, timing, and the one alignment pattern of these versions."""
    finders = (i < 9 and j < 9) or (i < 9 and j >= across - 8) or (i >= across - 8 and j < 9)
    middle = 4 * version + 10
    return finders or 6 in (i, j) or (abs(i - middle) <= 2 and abs(j - middle) <= 2)
