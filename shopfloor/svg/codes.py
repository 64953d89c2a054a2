"""Codes as they are printed: QR for cameras, Code 128 for scanners that read bars only."""

from __future__ import annotations

from functools import lru_cache

import segno
from barcode.codex import Code128
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shopfloor.svg.parts_map import Svg

BAR_MM = 0.33  # the narrowest bar (common practice, no source): office printers draw it cleanly
QUIET = 10  # clear modules on either side, as ISO/IEC 15417 asks
HEIGHT_MM = 11
MOST = 28  # letters; more would be wider than half a page


@lru_cache(maxsize=2_000)
def qr_svg(text: str) -> SafeString:
    """A QR code (ISO/IEC 18004). Always the same for a text, and 10 ms to work out."""
    drawn = segno.make(text, error="m", micro=False).svg_inline(scale=2.6, light="#fff")
    return format_html("{}", Svg(drawn))


def bars_svg(text: str) -> SafeString:
    """The same text in Code 128 (ISO/IEC 15417); nothing where it is too long or not ASCII."""
    if not text or len(text) > MOST or not (text.isascii() and text.isprintable()):
        return SafeString("")
    modules = str(Code128(text).build()[0])
    wide, path, at = len(modules) + 2 * QUIET, "", 0
    while at < len(modules):
        end = at
        while end < len(modules) and modules[end] == modules[at]:
            end += 1
        if modules[at] == "1":
            path += f"M{at + QUIET} 0h{end - at}v10h-{end - at}z"
        at = end
    return format_html(
        '<svg class="bars" viewBox="0 0 {} 10" width="{}mm" height="{}mm" '
        'preserveAspectRatio="none" shape-rendering="crispEdges" aria-hidden="true">'
        '<path fill="#fff" d="M0 0h{}v10H0z"/><path d="{}"/></svg>',
        wide, f"{wide * BAR_MM:.2f}", HEIGHT_MM, wide, path,
    )  # fmt: skip


def code_svg(text: str, *, bars: bool = True) -> SafeString:
    """Both, with the text under them for a tired eye."""
    return format_html(
        '<figure class="qr" aria-label="Code {}">{}{}<figcaption>{}</figcaption></figure>',
        text, qr_svg(text), bars_svg(text) if bars else "", text,
    )  # fmt: skip
