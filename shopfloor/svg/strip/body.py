"""The floor of the strip: hours, stoppages, arcs, the fitted set's line, runs, silence, now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from html import escape

from shopfloor.svg.strip.frame import US, Frame, Scale, Spans, bars, span_arrays
from shopfloor.svg.strip.labels import Label, Place, over, px, text_width
from shopfloor.svg.strip.types import Arc, Planned, Run, StripTable
from shopfloor.svg.strip.words import clock, hour_ticks, silent_words

HATCH = {"planned": "h-plan", "stop": "h-stop", "ask": "h-off"}


def ground(table: StripTable, frame: Frame, scale: Scale) -> str:
    low = frame.height if frame.under else frame.base
    hours = "".join(
        f"M{px(scale.x(at))} 0V{px(low)}"
        for at, _ in hour_ticks(table.start_us, table.end_us, table.zone)
    )
    end = ""
    if table.shift_end_us is not None and table.shift_end_us < table.end_us:
        end = f'<path class="shiftend" d="M{px(scale.x(table.shift_end_us))} 0V{px(low)}"/>'
    return f'<path class="feint" d="{hours}"/>{end}' if hours else end


def _filled(spans: Spans, frame: Frame, scale: Scale, css: str) -> str:
    base, low = frame.base, px(frame.base)
    one = f"M%.2f {low}V%.1fH%.2fV{low}z"
    found = bars(spans, scale, frame)
    ends = [end for x, width, height, _ in found for end in (x, base - height, x + width)]
    d = one * len(found) % tuple(ends)  # at once: a page of ten tables has thousands of bars
    return f'<path class="arc {css}" d="{d}"/>' if d else ""


@lru_cache(maxsize=100)
def _burnt(arcs: tuple[Arc, ...]) -> tuple[_Burnt, ...]:
    """What burnt, by the state it is drawn in. Kept, so that equal arcs are one object each time
    they are drawn: some 100 shifts of a table."""
    return tuple(
        _Burnt(state, span_arrays(spans))
        for state in ("run", "open", "unassigned")
        if (spans := [(arc.on_us, arc.off_us) for arc in arcs if arc.state == state])
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Burnt:
    state: str
    spans: Spans


@lru_cache(maxsize=600)
def _drawn(burnt: _Burnt, frame: Frame, scale: Scale) -> str:
    """Kept, for most tables' arcs are what they were when the page was last drawn, at each of its
    widths: some 5 kB each."""
    return _filled(burnt.spans, frame, scale, burnt.state)


@dataclass(frozen=True, slots=True)
class Arcs:
    """What a table burnt and is still to burn: found once for all widths it is drawn at."""

    burnt: tuple[_Burnt, ...]
    expected: Spans

    @classmethod
    def of(cls, table: StripTable) -> Arcs:
        ahead = (span for plan in table.planned for span in _expected(plan, table.now_us))
        return cls(_burnt(table.arcs), span_arrays(ahead))


def arcs(found: Arcs, frame: Frame, scale: Scale) -> str:
    """One path for each state an arc can be in, and one for those still expected."""
    burnt = (_drawn(one, frame, scale) for one in found.burnt)
    return "".join([_filled(found.expected, frame, scale, "ghost"), *burnt])


def _expected(plan: Planned, now_us: int) -> Iterator[tuple[int, int]]:
    """Planned arcs spread evenly over their span; what lies before now did not happen then."""
    burnt = sum(plan.arcs_s) * US
    room = plan.to_us - plan.from_us
    if not plan.arcs_s or room <= 0:
        return
    shrink = min(1.0, room / burnt) if burnt else 1.0
    gap = max(0.0, room - burnt) / len(plan.arcs_s)
    at = plan.from_us + gap / 2
    for arc_s in plan.arcs_s:
        off = at + arc_s * US * shrink
        if at >= now_us:
            yield round(at), round(off)
        at = off + gap


def stoppages(table: StripTable, frame: Frame, scale: Scale) -> str:
    out = []
    for stop in table.stoppages:
        ends = scale.clip(stop.from_us, stop.to_us)
        if ends is None:
            continue
        said = f"{stop.label} {clock(stop.from_us, table.zone)}–{clock(stop.to_us, table.zone)}"
        out.append(
            f'<rect class="span" fill="url(#{HATCH[stop.kind]})" x="{px(ends[0])}" '
            f'y="{px(frame.lane)}" width="{px(ends[1] - ends[0])}" '
            f'height="{px(frame.base - frame.lane)}"><title>{escape(said)}</title></rect>'
        )
    return "".join(out)


def silence(table: StripTable, frame: Frame, scale: Scale) -> str:
    if table.silent_since_us is None:
        return ""
    ends = scale.clip(table.silent_since_us, table.now_us)
    if ends is None:
        return ""
    a, b = ends
    return (
        f'<rect class="silent" fill="url(#h-dots)" x="{px(a)}" y="{px(frame.lane)}" '
        f'width="{px(b - a)}" height="{px(frame.base - frame.lane)}"/>'
        f'<path class="silentedge" d="M{px(a)} {px(frame.lane - 3)}V{px(frame.base + 3)}"/>'
    )


def base_line(table: StripTable, frame: Frame, scale: Scale) -> str:
    """Drawn with the fitted set's pen as far as anything is known, dashed beyond now; a plain
    line where the set is not known."""
    out = []
    fitted = sorted(table.sets, key=lambda s: s.from_us)
    ends = [s.from_us for s in fitted[1:]] + [table.end_us] * bool(fitted)
    first_us = min(fitted[0].from_us if fitted else table.end_us, table.known_until_us)
    bare = scale.clip(table.start_us, first_us)
    if bare and bare[1] > bare[0]:
        d = f"M{px(bare[0])} {px(frame.base + 0.75)}H{px(bare[1])}"
        out.append(f'<path class="base" d="{d}"/>')
    for s, to_us in zip(fitted, ends, strict=True):
        span = scale.clip(s.from_us, min(to_us, table.known_until_us))
        if span:
            d = f"M{px(span[0])} {px(frame.base + s.line_px / 2)}H{px(span[1])}"
            width = f' stroke-width="{s.line_px:g}"'
            out.append(f'<path class="base {escape(s.duty)}"{width} d="{d}"/>')
        if table.start_us < s.from_us < table.end_us and frame.labels:
            x = scale.x(s.from_us)
            out.append(f'<path class="notch" d="M{px(x - 5)} {px(frame.lane - 4)}h10l-5 7z"/>')
    x = min(max(scale.x(table.now_us), 0), frame.width)
    out.append(f'<path class="base ahead" d="M{px(x)} {px(frame.base + 0.75)}H{px(frame.width)}"/>')
    return "".join(out)


def brackets(table: StripTable) -> list[Run]:
    """The runs, and what is planned but has no run yet."""
    begun = {run.label for run in table.runs}
    ahead = (p for p in table.planned if p.label not in begun)
    return [*table.runs, *(Run(p.from_us, p.to_us, p.label, "planned") for p in ahead)]


def run_brackets(table: StripTable, frame: Frame, scale: Scale) -> str:
    """Ink as far as it has been cut, pencil from there."""
    if not frame.under:
        return ""
    out, y, x_now = [], frame.base + 6, scale.x(table.known_until_us)
    for run in brackets(table):
        span = scale.clip(run.from_us, run.to_us)
        if span is None:
            continue
        a, b = span[0] + 1, max(span[1] - 1, span[0] + 2)
        if run.state == "cutting" and a < x_now < b:
            out.append(f'<path class="under" d="M{px(a)} {px(y)}v4H{px(x_now)}"/>')
            out.append(f'<path class="under planned" d="M{px(x_now)} {px(y + 4)}H{px(b)}v-4"/>')
        else:
            css = "" if run.state in ("done", "cutting") else f" {run.state}"
            out.append(f'<path class="under{css}" d="M{px(a)} {px(y)}v4H{px(b)}v-4"/>')
    return "".join(out)


def now_line(table: StripTable, frame: Frame, scale: Scale) -> str:
    if not table.start_us <= table.now_us <= table.end_us:
        return ""
    low = frame.height if frame.under else frame.base + 4
    return f'<path class="now" d="M{px(scale.x(table.now_us))} 0V{px(low)}"/>'


def work_labels(table: StripTable, frame: Frame, scale: Scale) -> list[Label]:
    """Urgent first: silence, arcs without a job, unanswered stoppages, sets, then the rest."""
    if not frame.labels:
        return []
    y, out = frame.lane - 6, []
    if table.silent_since_us is not None:
        x = scale.x(table.now_us)
        words = silent_words(table)
        places = (Place(x + 9, "start"), Place(scale.x(table.silent_since_us) - 4, "end"))
        out.append(Label(words, y, places, "remark off", 14, 9))
    for run in table.runs:
        span = scale.clip(run.from_us, run.to_us)
        if span and run.state == "unassigned":
            out.append(Label(run.label, y, over(*span), "remark off", 14, 8))
    for stop in table.stoppages:
        span = scale.clip(stop.from_us, stop.to_us)
        if span is None or (frame.ticks_inside and stop.kind != "ask"):
            continue
        css = {"ask": "remark off", "stop": "remark", "planned": "remark pencil"}[stop.kind]
        words = f"{stop.label}?" if stop.kind == "ask" else stop.label
        urgency = {"ask": 7, "stop": 5, "planned": 2}[stop.kind]
        out.append(Label(words, y, over(*span), css, 14, urgency))
    for s in table.sets:
        inside = table.start_us < s.from_us < table.end_us
        x = scale.x(s.from_us) + 9 if inside else 0.0
        if s.from_us < table.end_us:
            out.append(Label(s.label, y, (Place(x, "start"),), "setlab", 13, 6 if inside else 3))
    return [*out, *_run_labels(table, frame, scale)]


def _run_labels(table: StripTable, frame: Frame, scale: Scale) -> list[Label]:
    if not frame.under:
        return []
    out, y, x_now = [], frame.base + 25, scale.x(table.now_us)
    for run in brackets(table):
        span = scale.clip(run.from_us, run.to_us)
        if span is None or run.state == "unassigned":
            continue
        mid = (span[0] + span[1]) / 2
        if span[0] < x_now < span[1] and abs(mid - x_now) < 30:
            mid = x_now + (-32 if mid < x_now else 32)
        pencil = " pencil" if run.state == "planned" else ""
        out.append(Label(run.label, y, (Place(mid, "middle"),), f"runlab{pencil}", 13, 3))
    return out


def ticks(table: StripTable, frame: Frame, scale: Scale, y: float) -> list[Label]:
    """Hours; the time now and the shift's end push out the hours they would touch."""
    short = frame.ticks_inside
    out = []
    marks = hour_ticks(table.start_us, table.end_us, table.zone)
    for i, (at, words) in enumerate(marks):
        if short:
            words = words.replace(":00", "")
        x = scale.x(at)
        first = (Place(0, "start"),) if x < 12 else (Place(x, "middle"),)
        urgency = 1 if short and i % 2 else 2
        out.append(Label(words, y, first, "tick", 12.5, urgency))
    if table.shift_end_us is not None and not short:
        at_end = clock(table.shift_end_us, table.zone)
        out.append(_fixed(at_end, scale.x(table.shift_end_us), y, frame, "tick em", 12.5, 5))
    if short and table.start_us <= table.now_us <= table.end_us:
        words = clock(table.now_us, table.zone)
        out.append(_fixed(words, scale.x(table.now_us), y, frame, "nowlab", 14, 9))
    return out


def _fixed(
    words: str, x: float, y: float, frame: Frame, css: str, size: float, urgency: int
) -> Label:
    """A label that stands at its time and nowhere else, but for the drawing's own edges."""
    half = text_width(words, size) / 2
    place = Place(min(max(x, half), frame.width - half), "middle")
    return Label(words, y, (place,), css, size, urgency)
