"""The day strip: one table's shift as SVG, drawn from plain records and numbers.

Stroke width is an arc's time and its height 6 + 38 * sqrt(min(s, 180) / 180) px, so that a nest
has a shape people come to know. Ink is what happened, pencil what is expected, vermilion what is
off plan; hatch, weight or words always go with the vermilion. The page supplies the patterns
`h-stop`, `h-plan`, `h-off`, `h-dots`, `h-cross` and the style sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape

from planning.calc.translated import gettext as _
from shopfloor.svg.strip import body as work
from shopfloor.svg.strip import pace as lane
from shopfloor.svg.strip.frame import Frame, Scale, compact, narrow, wide, zoomed
from shopfloor.svg.strip.labels import Label, Place, over, px, text, write
from shopfloor.svg.strip.types import (
    Arc,
    FittedSet,
    Forecast,
    Pace,
    Planned,
    Run,
    Stoppage,
    StripTable,
)
from shopfloor.svg.strip.words import aria_label, clock, ends_words, hour_ticks, pace_words

__all__ = [
    "WIDTHS", "Arc", "FittedSet", "Forecast", "Pace", "Planned", "Run", "Stoppage", "StripTable",
    "Svg", "aria_label", "compact_strips", "ends_words", "failed", "hour_ticks", "hours",
    "pace_words", "strip", "strips", "zoom", "zooms",
]  # fmt: skip

WIDTHS = (358, 560, 760, 950)
ZOOM_WIDTHS = (358, 632, 760, 950)  # the second is the floor terminal's own column
NARROW_BELOW = 500
NARROW_ENDS = 700  # below, the range of a run's end is left to its bracket


class Svg(str):
    """Finished markup, every label in it escaped: templates print it as it is."""

    __slots__ = ()

    def __html__(self) -> str:
        return self


def strip(table: StripTable, width: int = 950) -> Svg:
    """The whole shift at a width in px; below 500 px with its own hours and fewer words."""
    return _draw(table, _full(width), width, aria_label(table), work.Arcs.of(table))


def compact_strip(table: StripTable, width: int = 950) -> Svg:
    """Arcs and forecast only, 40 px high, for a page of many tables."""
    return _draw(table, compact(width), width, aria_label(table), work.Arcs.of(table))


def strips(table: StripTable, widths: Sequence[int] = WIDTHS) -> Svg:
    """One drawing for each width of the column; the style sheet shows the one that fits."""
    said, arcs = aria_label(table), work.Arcs.of(table)
    return _each(lambda w: _draw(table, _full(w), w, said, arcs), widths)


def compact_strips(table: StripTable, widths: Sequence[int] = WIDTHS) -> Svg:
    said, arcs = aria_label(table), work.Arcs.of(table)
    return _each(lambda w: _draw(table, compact(w), w, said, arcs), widths)


def _full(width: int) -> Frame:
    return narrow(width) if width < NARROW_BELOW else wide(width)


def zoom(table: StripTable, run: Run, width: int = 560, *, now: bool = True) -> Svg:
    """A single run, wide enough that its short arcs stand apart. `now`: with the time at the line
    of now, where nothing else on the page shows it."""
    f = table.forecast
    end_us = max(run.to_us, f.high_us) if f is not None and f.known(f.high_us) else run.to_us
    margin = max((end_us - run.from_us) // 50, 1)
    cut = replace(table, start_us=run.from_us, end_us=end_us + margin, shift_end_us=None, pace=())
    frame = zoomed(width)
    scale = Scale(cut.start_us, cut.end_us, width)
    y = frame.base + 25
    ends = ends_words(cut) if width >= NARROW_ENDS else ends_words(cut).split(" (")[0]
    labels = [
        *(one for one in work.work_labels(cut, frame, scale) if one.css != "setlab"),
        Label(
            _("began {time}").format(time=clock(run.from_us, table.zone)),
            y,
            (Place(0, "start"),),
            "lab",
            18,
            2,
        ),
        Label(ends, y, (Place(width - 2, "end"),), "lab b", 22, 4),
    ]
    if now and cut.start_us < cut.now_us < cut.end_us:
        x = scale.x(cut.now_us)
        words = clock(cut.now_us, table.zone)
        labels.append(Label(words, y, over(x, x), "lab b", 22, 3))
    drawn = _body(cut, frame, scale, work.Arcs.of(cut)) + lane.bracket(cut, frame, scale, 24)
    said = aria_label(replace(cut, name=f"{table.name}, {run.label}"))
    return _svg(drawn + write((one for one in labels if one.text), width), frame, said, width)


def zooms(
    table: StripTable, run: Run, widths: Sequence[int] = ZOOM_WIDTHS, *, now: bool = True
) -> Svg:
    return _each(lambda w: zoom(table, run, w, now=now), widths)


def hours(table: StripTable, widths: Sequence[int] = WIDTHS) -> Svg:
    """The hours above a page of strips that share a window, with the flag of now."""
    return _each(lambda w: _hours(table, w), widths)


def failed(table: StripTable, safe: str, then: str, widths: Sequence[int] = WIDTHS) -> Svg:
    """The strip that could not be drawn: cross-hatch, what is safe, what to do."""
    return _each(lambda w: _failed(table, safe, then, w), widths)


def _each(draw: Callable[[int], Svg], widths: Sequence[int]) -> Svg:
    drawn = (
        draw(w).replace('class="ink strip"', f'class="ink strip v{i}"', 1)
        for i, w in enumerate(widths, start=1)
    )
    return Svg('<div class="strips">' + "".join(drawn) + "</div>")


def _draw(table: StripTable, frame: Frame, width: int, said: str, arcs: work.Arcs) -> Svg:
    scale = Scale(table.start_us, table.end_us, width)
    labels = [*lane.lane_labels(table, frame, scale), *work.work_labels(table, frame, scale)]
    if frame.ticks_inside:
        labels += work.ticks(table, frame, scale, frame.height - 4)
    if frame.labels and not table.arcs:
        labels.append(_nothing_yet(table, frame))
    above = lane.pace_lane(table, frame, scale)
    if frame.pace_y is None:
        above = lane.bracket(table, frame, scale, frame.lane + 6)
    ground = work.ground(table, frame, scale)
    drawn = ground + _body(table, frame, scale, arcs) + above + write(labels, width)
    return _svg(drawn, frame, said, width)


def _nothing_yet(table: StripTable, frame: Frame) -> Label:
    words = _("Nothing cut yet.")
    if table.planned and not frame.ticks_inside:
        first = min(table.planned, key=lambda p: p.from_us)
        words = _("Nothing cut yet. {work} is planned for {time}.").format(
            work=first.label, time=clock(first.from_us, table.zone)
        )
    return Label(words, frame.lane - 24, (Place(14, "start"),), "remark", 14, 9)


def _body(table: StripTable, frame: Frame, scale: Scale, arcs: work.Arcs) -> str:
    over_arcs = (work.silence, work.base_line, work.run_brackets, work.now_line)
    return (
        work.stoppages(table, frame, scale)
        + work.arcs(arcs, frame, scale)
        + "".join(part(table, frame, scale) for part in over_arcs)
    )


def _hours(table: StripTable, width: int) -> Svg:
    frame = replace(wide(width), height=23)
    scale = Scale(table.start_us, table.end_us, width)
    labels = work.ticks(table, frame, scale, 15)
    flag = ""
    if table.start_us <= table.now_us <= table.end_us:
        x = scale.x(table.now_us)
        mid = min(max(x, 24), width - 24)
        words = clock(table.now_us, table.zone)
        spot = (Place(mid, "middle"),)
        labels.append(Label(words, 14.5, spot, "nowflagt", 20, 9))
        tip = f"H{px(x + 5)}l-5 5l-5-5H{px(mid - 24)}z"
        flag = f'<path class="nowflag" d="M{px(mid - 24)} 2h48v16{tip}"/>'
    return _svg(flag + write(labels, width), frame, _("Hours of the shift"), width)


def _failed(table: StripTable, safe: str, then: str, width: int) -> Svg:
    frame = _full(width)
    scale = Scale(table.start_us, table.end_us, width)
    drawn = (
        work.ground(table, frame, scale)
        + f'<rect fill="url(#h-cross)" opacity=".35" x="0" y="{px(frame.lane)}" '
        f'width="{width}" height="{px(frame.base - frame.lane)}"/>'
        + text(10, frame.lane - 28, safe, "lab b off")
        + text(10, frame.lane - 9, then, "lab")
    )
    return _svg(drawn, frame, f"{table.name}: {safe} {then}", width)


def _svg(drawn: str, frame: Frame, said: str, width: int) -> Svg:
    return Svg(
        f'<svg class="ink strip" viewBox="0 0 {width} {px(frame.height)}" width="{width}" '
        f'height="{px(frame.height)}" role="img" aria-label="{escape(said)}">{drawn}</svg>'
    )
