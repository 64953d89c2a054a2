"""A torch's wear parts drawn one above the other, hatched as far as their life is used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from django.utils import timezone
from django.utils.translation import gettext as _

from dashboards import theme
from dashboards.ledgers.wear import PieceRow
from dashboards.lengths import depth_said
from planning.calc.dates import DAY, dated
from planning.calc.numbers import filled
from shopfloor.svg.strip import Svg

# Our own elevation of five kinds of part, about x = 0, y downwards: outline, details, height, half
# width.
SHAPES: dict[str, tuple[str, str, int, int]] = {
    "electrode": (
        "M-11 0H11V8H15V20H22V62C22 72 14 76 9 78H-9C-14 76 -22 72 -22 62V20H-15V8H-11Z",
        "M-22 28H22M-22 34H22M-4 66V78M4 66V78", 78, 22,
    ),
    "swirl ring": (
        "M-33 0H33V30H-33Z", "M-24 8l6 14M-8 8l6 14M8 8l6 14M24 8l4 10M-33 5H33M-33 25H33", 30, 33,
    ),
    "nozzle": (
        "M-38 0H38V16H32V30L15 56H-15L-32 30V16H-38Z", "M-38 6H38M-32 22H32M-3 46V56M3 46V56",
        56, 38,
    ),
    "retaining cap": (
        "M-48 0H48V40L36 62H-36L-48 40Z",
        "M-48 9H48M-48 15H48M-40 22V36M-28 22V38M-14 22V38M0 22V38M14 22V38M28 22V38M40 22V36",
        62, 48,
    ),
    "shield": ("M-44 0H44V12L20 34H-20L-44 12Z", "M-44 6H44M-5 26V34M5 26V34", 34, 44),
}  # fmt: skip
OTHER = ("M-30 0H30V30H-30Z", "M-30 6H30M-30 24H30", 30, 30)
NARROW_BELOW = 480


@dataclass(frozen=True, slots=True)
class Sizes:
    """Of the drawing in px: room for the parts, the least height of a row, scale of a part."""

    drawn: int
    row: int
    scale: float
    lines: int  # what is said of a piece takes so many


WIDE = Sizes(160, 72, 1.4, 1)
NARROW = Sizes(104, 88, 1.0, 2)


def stack(pieces: Sequence[PieceRow], label: str, width: int = 560) -> Svg:
    """The whole stack with a line of life beside each part. Width in px."""
    size = NARROW if width < NARROW_BELOW else WIDE
    parts, y = [], 8.0
    left, right = size.drawn + 26, width - 8
    middle_x = size.drawn / 2
    for index, piece in enumerate(pieces):
        outline, details, tall, half = SHAPES.get(piece.kind, OTHER)
        height = max(tall * size.scale + 12, size.row)
        top = y + (height - tall * size.scale) / 2
        parts.append(_part(f"{width}-{index}", piece, (outline, details, tall), top, size))
        middle = y + height / 2
        edge = middle_x + half * size.scale + 4
        parts.append(f'<path class="leader" d="M{edge:.0f} {middle:.1f}H{left - 6}"/>')
        parts.append(_life(piece, left, right, middle, size))
        y += height
    centre = f'<path class="centre" d="M{middle_x:.0f} 0V{y + 8:.0f}"/>'
    css = "narrow" if size is NARROW else "wide"
    return Svg(
        f'<svg class="ink stack {css}" viewBox="0 0 {width} {y + 8:.0f}" width="{width}" '
        f'height="{y + 8:.0f}" role="img" aria-label="{escape(label)}">{centre}'
        f"{''.join(parts)}</svg>"
    )


def _part(name: str, piece: PieceRow, drawn: tuple[str, str, int], top: float, size: Sizes) -> str:
    """Outline, and the hatch that rises as life is used; no hatch where nobody knows."""
    outline, details, tall = drawn
    fill = ""
    if piece.used is not None:
        level = tall * (1 - min(piece.used, 1.0))
        fill = (
            f'<g clip-path="url(#part-{name})"><rect fill="url(#h-stop)" x="-50" '
            f'y="{level:.1f}" width="100" height="{tall - level:.1f}"/>'
            f'<path class="level" d="M-50 {level:.1f}H50"/></g>'
        )
    return (
        f'<g transform="translate({size.drawn / 2:.0f} {top:.1f}) scale({size.scale})">'
        f'<clipPath id="part-{name}"><path d="{outline}"/></clipPath>'
        f'<path class="ground" d="{outline}"/>{fill}<path class="detail" d="{details}"/>'
        f'<path class="outline" d="{outline}"/></g>'
    )


def _life(piece: PieceRow, left: int, right: int, y: float, size: Sizes) -> str:
    """The line of life: ink as far as used, a bracket where it may end."""
    length = right - left
    parts = [f'<path class="feint whole" d="M{left} {y:.1f}H{right}"/>']
    if piece.used is not None:
        parts.append(f'<path class="used" d="M{left} {y:.1f}h{length * min(piece.used, 1):.1f}"/>')
        parts.append(f'<path class="end" d="M{right} {y - 6:.1f}v12"/>')
        if piece.low is not None and piece.starts is not None and piece.left is not None:
            whole = max(piece.starts + max(piece.left, 0), 1)
            low = left + length * min((piece.starts + piece.low) / whole, 1.0)
            parts.append(
                f'<path class="low" d="M{low:.1f} {y - 5:.1f}v10M{low:.1f} {y:.1f}H{right}"/>'
            )
    said = left_words(piece, short=size.lines > 1)
    off = " off" if piece.due == "due" else ""
    parts.append(
        f'<text class="name" x="{left}" y="{y - 9:.1f}">{escape(piece.kind)}</text>'
        f'<text class="left{off}" x="{right}" y="{y - 9:.1f}" text-anchor="end">{escape(said[0])}'
        f'<tspan class="pencil"> {escape(said[1])}</tspan></text>'
    )
    for place, line in enumerate([age_words(piece)] if size.lines == 1 else _age_lines(piece)):
        at = y + 18 + 17 * place
        parts.append(f'<text class="facts" x="{left}" y="{at:.1f}">{escape(line)}</text>')
    return "".join(parts)


def left_words(piece: PieceRow, *, short: bool = False) -> tuple[str, str]:
    """What is left and between what: ("38 starts left", "24–55"); `short`: ("38 left", "24–55")."""
    if piece.left is None:
        return (_("life unknown"), "")
    if piece.left <= 0:
        return (_("past its life"), "")
    between = ""
    if piece.low is not None and piece.high is not None:
        between = filled(_("{low:,}–{high:,}"), low=piece.low, high=piece.high)
    if short:
        return (filled(_("{starts:,} left"), starts=piece.left), between)
    return (theme.count(piece.left, "{n} start left", "{n} starts left"), between)


def age_words(piece: PieceRow) -> str:
    """212 starts, 5 h 51 min arc, fitted 28 Sep; pit 1.43 mm."""
    used, since = _used(piece), _fitted(piece)
    return _with_pit(_("{used}, {since}").format(used=used, since=since) if since else used, piece)


def _age_lines(piece: PieceRow) -> list[str]:
    """The same on two lines."""
    used, since = _used(piece), _fitted(piece)
    return [used, _with_pit(since, piece)] if since else [_with_pit(used, piece)]


def _used(piece: PieceRow) -> str:
    starts = (
        _("unknown starts")
        if piece.starts is None
        else theme.count(piece.starts, "{n} start", "{n} starts")
    )
    return _("{starts}, {arc} arc").format(starts=starts, arc=theme.span(piece.arc_s))


def _fitted(piece: PieceRow) -> str:
    if piece.fitted_at is None:
        return ""
    return _("fitted {day}").format(day=dated(timezone.localtime(piece.fitted_at), DAY))


def _with_pit(words: str, piece: PieceRow) -> str:
    if piece.pit_mm is None:
        return words
    pit = depth_said(piece.pit_mm, inch=piece.inch)
    return _("{age}; pit {pit}").format(age=words, pit=pit)
