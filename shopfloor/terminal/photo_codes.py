"""Codes read from a photo, where there is no scanner. Read in a process of its own
(`files.apart`): a picture of few bytes can hold gigabytes of pixels."""

from __future__ import annotations

from io import BytesIO

import zxingcpp
from PIL import Image, ImageOps, UnidentifiedImageError

from planning.calc.said import said

MOST_BYTES = 16 * 1024 * 1024
MOST_PIXELS = {"JPEG": 120_000_000}  # read at a fraction of its size; others are read whole
MOST_PIXELS_WHOLE = 24_000_000
SIDE_PX = 2400  # larger photos are read at this size: a code fills enough of it
FORMATS = ("JPEG", "PNG", "WEBP")


class PhotoError(ValueError):
    """A photo that cannot be read, in words for whoever took it."""


def codes_in(raw: bytes) -> list[str]:
    """The texts of all codes on a photo, largest first, each once. Raises PhotoError."""
    if len(raw) > MOST_BYTES:
        raise PhotoError(said("The photo is over 16 MB. Take a smaller one."))
    try:
        with Image.open(BytesIO(raw), formats=FORMATS) as opened:
            most = MOST_PIXELS.get(opened.format or "", MOST_PIXELS_WHOLE)
            if opened.width * opened.height > most:
                raise PhotoError(said("The photo has too many pixels. Take a smaller one."))
            opened.draft("L", (SIDE_PX, SIDE_PX))
            grey = ImageOps.exif_transpose(opened).convert("L")
    except (UnidentifiedImageError, OSError, SyntaxError, Image.DecompressionBombError) as problem:
        raise PhotoError(
            said("This program cannot open that photo (JPEG, PNG, WebP).")
        ) from problem
    grey.thumbnail((SIDE_PX, SIDE_PX))
    found = zxingcpp.read_barcodes(grey)
    found.sort(key=lambda one: -_size(one))
    return list(dict.fromkeys(one.text.strip() for one in found if one.text.strip()))


def _size(found: zxingcpp.Barcode) -> int:
    place = found.position
    wide = abs(place.bottom_right.x - place.top_left.x)
    return wide + abs(place.bottom_right.y - place.top_left.y)
