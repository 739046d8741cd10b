"""Photos as they are kept: the picture alone, upright, small enough, and no place in it."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from bot.record import photos
from bot.record.photos import Unreadable, clean

# Tag numbers of Exif 2.3 (CIPA DC-008-2012), "Tag Support Levels": the pointer to the GPS tags, the
# camera's name, its orientation; within the GPS tags 1 to 4 are latitude and longitude with their letters.
GPS, MODEL, ORIENTATION = 0x8825, 0x0110, 0x0112
PLACE = {1: "N", 2: (54.0, 30.0, 0.0), 3: "W", 4: (3.0, 6.0, 0.0)}


def jpeg(size: tuple[int, int] = (80, 40), orientation: int = 1, note: bytes = b"") -> bytes:
    """A picture, red on its left and blue on its right half, with a place, a camera and an author."""
    picture = Image.new("RGB", size, "red")
    picture.paste("blue", (size[0] // 2, 0, size[0], size[1]))
    exif = picture.getexif()
    exif[MODEL], exif[ORIENTATION] = "Zyxcam", orientation
    exif.get_ifd(GPS).update(PLACE)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif, comment=note or b"zyxlamoth was here", quality=95)
    return out.getvalue()


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def colour(picture: Image.Image, x: int, y: int) -> str:
    red, _, blue = picture.convert("RGB").getpixel((x, y))  # type: ignore[misc]
    return "red" if red > blue else "blue"


def test_the_place_is_in_what_was_sent_and_not_in_what_is_kept() -> None:
    sent = jpeg()
    assert opened(sent).getexif().get_ifd(GPS)[2] == (54.0, 30.0, 0.0)
    kept = opened(clean(sent))
    assert dict(kept.getexif()) == {}
    assert dict(kept.getexif().get_ifd(GPS)) == {}


def test_no_word_beside_the_picture_is_kept() -> None:
    sent = jpeg()
    assert b"zyxlamoth" in sent
    assert b"Zyxcam" in sent
    kept = clean(sent)
    for word in (b"zyx", b"Zyx", b"Exif", b"http"):
        assert word not in kept


def test_it_is_no_larger_than_a_screen_and_keeps_its_shape() -> None:
    assert opened(clean(jpeg((4000, 1000)))).size == (1600, 400)
    assert opened(clean(jpeg((900, 3200)))).size == (450, 1600)
    assert opened(clean(jpeg((80, 40)))).size == (80, 40)


def test_it_stands_upright_once_the_camera_no_longer_says_so() -> None:
    """Orientation 6: the camera was held so that the picture has to be turned a quarter to the right.

    Its left half, red, comes to lie on top.
    """
    kept = opened(clean(jpeg((80, 40), orientation=6)))
    assert kept.size == (40, 80)
    assert (colour(kept, 20, 10), colour(kept, 20, 70)) == ("red", "blue")


@pytest.mark.parametrize("mode", ["RGBA", "P", "L", "CMYK", "1"])
def test_any_kind_of_picture_comes_out_as_the_same_kind(mode: str) -> None:
    out = io.BytesIO()
    kind = "TIFF" if mode == "CMYK" else "PNG"
    Image.new("RGB", (30, 20), "red").convert(mode).save(out, kind)
    kept = opened(clean(out.getvalue()))
    assert (kept.format, kept.mode, kept.size) == ("JPEG", "RGB", (30, 20))


def test_what_is_see_through_becomes_white_and_not_black() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (30, 20), (0, 0, 0, 0)).save(out, "PNG")
    assert opened(clean(out.getvalue())).getpixel((5, 5)) == (255, 255, 255)


def test_the_same_picture_is_kept_as_the_same_bytes() -> None:
    """So that it lies in the folder once."""
    assert clean(jpeg()) == clean(jpeg())


@pytest.mark.parametrize("data", [b"", b"not a picture", b"%PDF-1.7", jpeg()[:200], b"\xff\xd8\xff\xe0"])
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(Unreadable):
        clean(data)


def test_a_small_file_that_unfolds_into_a_huge_picture_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_PIXELS", 80 * 40 - 1)
    with pytest.raises(Unreadable):
        clean(jpeg((80, 40)))
    monkeypatch.setattr(photos, "MOST_PIXELS", 80 * 40)
    assert clean(jpeg((80, 40)))
