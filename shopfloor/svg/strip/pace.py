"""The lane above the arcs: the ruled line is the plan, the ink line is minutes ahead or behind,
and the bracket is where the work may end."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby, pairwise

from planning.calc.translated import gettext as _
from shopfloor.svg.strip.frame import Frame, Scale
from shopfloor.svg.strip.labels import Label, Place, px
from shopfloor.svg.strip.types import StripTable
from shopfloor.svg.strip.words import clock, ends_words, off_plan, pace_words

CLAMP_MIN = 30.0
Point = tuple[float, float]


def pace_lane(table: StripTable, frame: Frame, scale: Scale) -> str:
    if frame.pace_y is None:
        return ""
    y0, out = frame.pace_y, []
    if table.plan_end_us is not None:
        x_end = min(scale.x(table.plan_end_us), frame.width)
        out.append(f'<path class="planline" d="M0 {px(y0)}H{px(x_end)}"/>')
        out.append(f'<path class="planend" d="M{px(x_end)} {px(y0 - 6)}v12"/>')
    points = [
        (scale.x(p.at_us), y0 - max(-CLAMP_MIN, min(CLAMP_MIN, p.ahead_min)) * frame.px_per_min)
        for p in sorted(table.pace, key=lambda p: p.at_us)
        if table.start_us <= p.at_us <= table.end_us
    ]
    usual_min = table.last_pace.usual_min if table.last_pace else 0.0
    behind = list(_behind(points, y0, y0 + usual_min * frame.px_per_min))
    for part in behind:
        x_first, x_last = px(part[0][0]), px(part[-1][0])
        line = _line(part).removeprefix(f"M{x_first} ")
        out.append(
            f'<path class="gap" fill="url(#h-off)" d="M{x_first} {px(y0)}V{line}'
            f'L{x_last} {px(y0)}z"/>'
        )
    if len(points) > 1:
        out.append(f'<path class="pace" d="{_line(points)}"/>')
    out.extend(f'<path class="pace off" d="{_line(part)}"/>' for part in behind)
    y = points[-1][1] if points else y0
    return "".join(out) + bracket(table, frame, scale, y)


def bracket(table: StripTable, frame: Frame, scale: Scale, y: float) -> str:
    """Dashes from the last thing known to the 80 % range, its median the thick tick."""
    f = table.forecast
    if f is None:
        return ""
    off = " off" if off_plan(table.last_pace) else ""
    low, mid, high = (
        min(max(scale.x(t), 0), frame.width) for t in (f.low_us, f.median_us, f.high_us)
    )
    known = scale.x(table.known_until_us)
    dashes = (
        f'<path class="forecast{off}" d="M{px(known)} {px(y)}H{px(low)}"/>' if low > known else ""
    )
    return (
        f"{dashes}"
        f'<path class="bracket{off}" d="M{px(low)} {px(y - 5)}v10M{px(low)} {px(y)}H{px(high)}'
        f'M{px(high)} {px(y - 5)}v10"/>'
        f'<path class="median{off}" d="M{px(mid)} {px(y - 7)}v14"/>'
    )


def lane_labels(table: StripTable, frame: Frame, scale: Scale) -> list[Label]:
    """Plan's end, the pace in words, and when it ends; the last is never dropped for the others."""
    if frame.pace_y is None or not frame.labels or frame.ticks_inside:
        return []
    y0, out = frame.pace_y, []
    pace = table.last_pace
    drop = 0.0 if pace is None else max(0.0, min(CLAMP_MIN, -pace.ahead_min)) * frame.px_per_min
    y = y0 + drop + 18
    off = " off" if off_plan(pace) else ""
    if table.plan_end_us is not None:
        x = min(scale.x(table.plan_end_us), frame.width)
        words = _("plan {time}").format(time=clock(table.plan_end_us, table.zone, table.now_us))
        places: tuple[Place, ...] = (Place(x, "end"), Place(x + 4, "start"))
        out.append(Label(words, y0 - 10, places, "lab pencil", frame.font, 1))
    x_now = scale.x(table.now_us)
    if words := pace_words(table):
        above = y0 - 10 - y
        places = (
            Place(x_now + 9, "start"), Place(x_now - 9, "end"),
            Place(x_now + 9, "start", above), Place(x_now - 9, "end", above),
        )  # fmt: skip
        out.append(Label(words, y, places, f"lab{off}{' b' if off else ''}", frame.font, 4))
    if words := ends_words(table):
        places = (Place(frame.width - 2, "end"), Place(x_now - 9, "end"))
        out.append(Label(words, y, places, f"lab b{off}", frame.font, 5))
    return out


def _line(points: list[Point]) -> str:
    return "M" + "L".join(f"{px(x)} {px(y)}" for x, y in points)


def _behind(points: list[Point], y0: float, limit: float) -> Iterator[list[Point]]:
    """Stretches below the plan's line that reach past `limit`, from crossing to crossing."""
    dense = points[:1]
    for a, b in pairwise(points):
        if (a[1] - y0) * (b[1] - y0) < 0:
            dense.append((a[0] + (b[0] - a[0]) * (y0 - a[1]) / (b[1] - a[1]), y0))
        dense.append(b)
    for below, found in groupby(pairwise(dense), lambda ends: max(ends[0][1], ends[1][1]) > y0):
        segments = list(found)
        part = [segments[0][0], *(end for _, end in segments)]
        if below and max(y for _, y in part) > limit:
            yield part
