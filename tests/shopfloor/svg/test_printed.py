"""Codes as printed, read back by a reader nobody here wrote (zxing-cpp)."""

from __future__ import annotations

import re
from io import BytesIO

import pytest
import segno
import zxingcpp
from barcode.codex import Code128
from PIL import Image, ImageDraw

from shopfloor.svg.codes import QUIET, bars_svg, code_svg
from shopfloor.terminal.photo_codes import PhotoError, codes_in

# ISO/IEC 15417 check characters of start B texts: 30 and 88 computed with a reference library.
CHECKS = {"JOB-0042": 30, "Wikipedia": 88}


def drawn_bars(text: str, module_px: int = 3) -> Image.Image:
    """Our SVG's path drawn by hand: every M x 0 h w is one bar."""
    svg = str(bars_svg(text))
    wide = int(re.search(r'viewBox="0 0 (\d+) 10"', svg)[1])
    image = Image.new("L", (wide * module_px, 120), 255)
    draw = ImageDraw.Draw(image)
    for x, w in re.findall(r"M(\d+) 0h(\d+)v10h-\2z", svg):
        left = int(x) * module_px
        draw.rectangle([left, 0, left + int(w) * module_px - 1, 119], fill=0)
    return image


def photo(image: Image.Image, *, kind: str = "PNG", turn: float = 0.0) -> bytes:
    sheet = Image.new("L", (image.width + 200, image.height + 200), 255)
    sheet.paste(image, (100, 100))
    out = BytesIO()
    sheet.rotate(turn, expand=True, fillcolor=255).save(out, kind)
    return out.getvalue()


def qr(text: str) -> Image.Image:
    out = BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="png", scale=6)
    return Image.open(out).convert("L")


@pytest.mark.parametrize("text", ["K-2284.t1", "2284-1.s12", "P-1007-R2", "B-milo", "a~b/c_d"])
def test_bars_say_what_they_are_drawn_for(text):
    read = zxingcpp.read_barcodes(drawn_bars(text))
    assert [(one.text, one.format.name) for one in read] == [(text, "Code128")]


@pytest.mark.parametrize(("text", "check"), CHECKS.items())
def test_the_check_character_is_the_standards(text, check):
    """Value of start B is 104, of a letter its ASCII less 32 (ISO/IEC 15417)."""
    values = [104] + [ord(letter) - 32 for letter in text]
    assert check == (values[0] + sum(i * v for i, v in enumerate(values[1:], 1))) % 103
    if not re.search("[0-9]{2}", text):  # pairs of figures go in set C, with another check
        # The symbol of value 88 is the one that stands for the letter of ASCII 88 + 32.
        drawn, alike = (str(Code128(one).build()[0]) for one in (text, chr(check + 32)))
        assert drawn[-24:-13] == alike[11:22]
    assert zxingcpp.read_barcodes(drawn_bars(text))[0].text == text


def test_the_bars_begin_with_start_b_and_end_with_stop():
    """Patterns of start B 11010010000 and stop 1100011101011 from ISO/IEC 15417."""
    modules = str(Code128("Wikipedia").build()[0])
    assert modules.startswith("11010010000")
    assert modules.endswith("1100011101011")
    assert len(modules) == 11 * (1 + 9 + 1) + 13
    assert f'viewBox="0 0 {len(modules) + 2 * QUIET} 10"' in str(bars_svg("Wikipedia"))


@pytest.mark.parametrize("text", ["", "Tür 5", "x" * 29, "a\nb"])
def test_what_bars_cannot_hold_has_the_square_code_alone(text):
    assert str(bars_svg(text)) == ""
    if text:
        assert 'class="bars"' not in str(code_svg(text))


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
@pytest.mark.parametrize("turn", [0, 90, 180, 7])
def test_a_photo_is_read_however_it_was_held(kind, turn):
    assert codes_in(photo(qr("2284-1.s1"), kind=kind, turn=turn)) == ["2284-1.s1"]


def test_a_photo_of_bars_is_read():
    assert codes_in(photo(drawn_bars("K-2284.t1"), kind="JPEG")) == ["K-2284.t1"]


def test_the_largest_of_two_codes_comes_first():
    both = Image.new("L", (900, 400), 255)
    both.paste(qr("small").resize((120, 120)), (20, 20))
    both.paste(qr("large").resize((320, 320)), (500, 40))
    assert codes_in(photo(both)) == ["large", "small"]


def test_a_blank_photo_holds_nothing():
    assert codes_in(photo(Image.new("L", (300, 300), 200))) == []


@pytest.mark.parametrize("raw", [b"", b"%PDF-1.4", b"\x89PNG\r\n\x1a\n broken", b"GIF89a" * 40])
def test_what_is_no_photo_says_so(raw):
    with pytest.raises(PhotoError, match="cannot open that photo"):
        codes_in(raw)


def test_a_photo_cut_short_says_so():
    whole = photo(qr("2284-1.s1"), kind="JPEG")
    with pytest.raises(PhotoError, match="cannot open that photo"):
        codes_in(whole[: len(whole) // 2])


def test_an_enormous_picture_is_not_opened():
    out = BytesIO()
    Image.new("1", (9_300, 9_300)).save(out, "PNG")
    with pytest.raises(PhotoError, match="pixels"):
        codes_in(out.getvalue())
