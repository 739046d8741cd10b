"""Pictures as they are kept: upright, no larger than a screen, and without what a camera writes beside them.

A camera writes the place into a picture. Only the picture itself is taken over, into a new file.
"""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import Image

LARGEST = 1600  # pixels of the longer side
QUALITY = 85  # of a JPEG
MOST_PIXELS = 60_000_000  # a picture that unfolds into more is refused


def _opaque(picture: Image.Image) -> Image.Image:
    """In plain colours; what is see-through becomes white paper."""
    from PIL import Image

    if "A" not in picture.getbands() and "transparency" not in picture.info:
        return picture.convert("RGB")
    seen = picture.convert("RGBA")
    paper = Image.new("RGBA", seen.size, "white")
    return Image.alpha_composite(paper, seen).convert("RGB")


class Unreadable(Exception):
    """This is no picture that can be read."""


def clean(data: bytes) -> bytes:
    """The picture alone, as JPEG. Raises Unreadable."""
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data)) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise Unreadable("too many pixels")
                upright = _opaque(ImageOps.exif_transpose(picture))
    except Unreadable:
        raise
    except Exception as err:  # whatever a broken picture does to its reader
        raise Unreadable(type(err).__name__) from err
    upright.thumbnail((LARGEST, LARGEST))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def for_paper(data: bytes, largest: int, quality: int) -> bytes:
    """A kept picture as a smaller JPEG. `largest`: pixels of the longer side. Raises Unreadable."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data)) as picture:
            bare = _opaque(picture)
    except Exception as err:
        raise Unreadable(type(err).__name__) from err
    bare.thumbnail((largest, largest))
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
