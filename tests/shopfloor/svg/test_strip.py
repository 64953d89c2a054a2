"""The day strip, against sizes worked out by hand.

Days on which the clock is moved follow 15 U.S.C. 260a: in 2026 it goes forward on 8 March (the
second Sunday) and back on 1 November (the first), at 2 a.m. local time.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.svg import strip as s
from shopfloor.svg.strip.frame import LEAST_PX, US, Scale, bars, span_arrays, wide

CHICAGO = ZoneInfo("America/Chicago")
HOUR_US = 3600 * US


def at(hour: int, minute: int = 0, second: int = 0, day: int = 8, month: int = 10) -> int:
    return int(datetime(2026, month, day, hour, minute, second, tzinfo=CHICAGO).timestamp()) * US


def a_table(**changes: Any) -> s.StripTable:
    """A window of nine hours, so that at 950 px an hour is 950 / 9 = 105.556 px."""
    bare = s.StripTable("North", at(6), at(15), at(11, 20), CHICAGO, shift_end_us=at(14, 30))
    return replace(bare, **changes)


def a_busy_table(**changes: Any) -> s.StripTable:
    arcs = [s.Arc(at(7, m), at(7, m, 40)) for m in range(0, 50, 2)]
    arcs += [s.Arc(at(9, 41), at(9, 42), "unassigned"), s.Arc(at(9, 50), at(9, 54), "unassigned")]
    arcs += [s.Arc(at(11, 19), at(11, 20), "open")]
    busy = a_table(
        arcs=tuple(arcs),
        stoppages=(
            s.Stoppage(at(10), at(10, 15), "break", "planned"),
            s.Stoppage(at(10, 36), at(10, 57), "crane busy"),
            s.Stoppage(at(8), at(8, 20), "no reason given", "ask"),
        ),
        sets=(
            s.FittedSet(at(6), "fine", "fine 50 A"),
            s.FittedSet(at(8, 46), "fast", "fast 120 A"),
        ),
        runs=(
            s.Run(at(7), at(7, 50), "2291 · 1"),
            s.Run(at(9, 41), at(9, 54), "2 arcs, no job", "unassigned"),
            s.Run(at(10, 58), at(11, 48), "2284 · 2", "cutting"),
        ),
        planned=(s.Planned(at(12), at(13), "2284 · 3", (30.0, 90.0, 200.0)),),
        pace=(s.Pace(at(6), 0), s.Pace(at(9), 4), s.Pace(at(11), -18)),
        plan_end_us=at(14, 3),
        forecast=s.Forecast(at(14, 2), at(14, 21), at(14, 47)),
    )
    return replace(busy, **changes)


def drawn(svg: str, css: str) -> list[ElementTree.Element]:
    """The shapes and words of a class, read back with an XML parser."""
    root = ElementTree.fromstring(svg)
    return [e for e in root.iter() if set(css.split()) <= set(e.get("class", "").split())]


def words(svg: str) -> list[str]:
    return [e.text or "" for e in ElementTree.fromstring(svg).iter("text")]


@pytest.mark.parametrize(
    ("arc_s", "height_px"),
    [
        (5, 12.333),  # 6 + 38 * sqrt(5/180) = 6 + 38 * 0.166667
        (45, 25.0),  # 6 + 38 * sqrt(1/4)
        (180, 44.0),
        (600, 44.0),  # three minutes and more are full height
        (0, 6.0),
    ],
)
def test_an_arc_is_as_tall_as_the_square_root_of_its_time(arc_s: float, height_px: float) -> None:
    assert wide(950).arc_height(arc_s) == pytest.approx(height_px, abs=1e-3)


def test_an_arc_stands_where_and_as_wide_as_it_burned() -> None:
    table = a_table(arcs=(s.Arc(at(7), at(7, 0, 40)),))
    (path,) = drawn(s.strip(table), "arc run")
    # One hour in: 105.556; 40 s = 105.556 / 90 = 1.173 px, up to 106.728.
    # 6 + 38 * sqrt(40/180) = 23.913 px over the line at 112: 88.087.
    assert path.get("d") == "M105.56 112V88.1H106.73V112z"


def test_short_arcs_close_together_share_a_bar_as_wide_as_their_time() -> None:
    # Five holes of 5 s, 12 s apart: 5 * 5 s = 25 s = 25 * 105.556 / 3600 = 0.733 px.
    scale = Scale(at(6), at(15), 950)
    holes = [(at(7, 0, 12 * i), at(7, 0, 12 * i + 5)) for i in range(5)]
    (bar,) = bars(span_arrays(holes), scale, wide(950))
    assert bar.arcs == 5
    assert bar.width == pytest.approx(0.733, abs=1e-3)
    assert bar.height == pytest.approx(12.333, abs=1e-3)
    assert scale.x(holes[0][0]) < bar.x < bar.x + bar.width < scale.x(holes[-1][1])


def test_short_arcs_far_apart_do_not_share_a_bar() -> None:
    far = [(at(7), at(7, 0, 5)), (at(7, 2), at(7, 2, 5))]
    found = bars(span_arrays(far), Scale(at(6), at(15), 950), wide(950))
    assert [b.width for b in found] == [LEAST_PX, LEAST_PX]


@given(st.lists(st.tuples(st.integers(1, 240), st.integers(1, 240)), max_size=60))
def test_the_ink_adds_up_to_the_arc_time(steps: list[tuple[int, int]]) -> None:
    spans, now = [], at(6)
    for gap_s, arc_s in steps:
        spans.append((now + gap_s * US, now + (gap_s + arc_s) * US))
        now = spans[-1][1]
    scale = Scale(at(6), at(15), 950)
    inside = [(a, min(b, at(15))) for a, b in spans if a <= at(15)]
    burnt = sum(scale.x(b) - scale.x(a) for a, b in inside)
    found = bars(span_arrays(spans), scale, wide(950))
    ink = sum(b.width for b in found)
    assert sum(b.arcs for b in found) == len(inside)
    assert burnt - 1e-6 <= ink <= burnt + sum(b.width == LEAST_PX for b in found) * LEAST_PX + 1e-6


@pytest.mark.parametrize(
    ("span", "bar"),
    [
        # 9 h are 950 px. From before the window: 6:00 to 6:09 shows, 950 / 60 = 15.833 px; 69
        # minutes are over 3, so it has full height.
        ((at(5), at(6, 9)), (0.0, 15.833, 44.0)),
        ((at(14, 51), at(16)), (934.167, 15.833, 44.0)),
        ((at(4), at(5)), None),
        ((at(16), at(17)), None),
        ((at(7, 9), at(7)), None),  # ends before it begins
    ],
)
def test_an_arc_is_cut_where_the_window_ends(span, bar) -> None:
    found = bars(span_arrays([span]), Scale(at(6), at(15), 950), wide(950))
    assert [(round(b.x, 3), round(b.width, 3), b.height) for b in found] == ([bar] if bar else [])


def test_the_flag_of_now_stands_at_now_and_pushes_out_the_hour_it_would_touch() -> None:
    svg = s.hours(a_table(), widths=[950])
    # 5 h 20 min in: 5.3333 * 105.556 = 562.96; the flag is 48 wide about it.
    (flag,) = drawn(svg, "nowflag")
    assert (flag.get("d") or "").startswith("M539 2h48")
    assert "11:20" in words(svg)
    assert "11:00" not in words(svg)
    assert {"10:00", "12:00", "14:30"} <= set(words(svg))


def test_a_now_outside_the_window_has_no_flag_and_no_line() -> None:
    table = a_table(now_us=at(16))
    assert drawn(s.hours(table, widths=[950]), "nowflag") == []
    assert drawn(s.strip(table), "now") == []


def test_silence_is_dotted_from_the_last_line_and_ends_the_inked_base() -> None:
    table = a_busy_table(silent_since_us=at(11, 2))
    svg = s.strip(table)
    (dots,) = drawn(svg, "silent")
    # 5 h 02 min = 531.3; 18 min = 0.3 * 105.556 = 31.7 px.
    assert (dots.get("x"), dots.get("width")) == ("531.3", "31.7")
    (base,) = drawn(svg, "base fast")
    assert (base.get("d") or "").endswith("H531.3")
    assert "no lines since 11:02" in words(svg)
    assert "no lines since 11:02" in s.aria_label(table)


def test_the_set_is_drawn_with_its_own_pen_and_a_notch_where_it_changed() -> None:
    svg = s.strip(a_busy_table())
    assert len(drawn(svg, "base fine")) == len(drawn(svg, "base fast")) == 1
    (notch,) = drawn(svg, "notch")
    # 2 h 46 min = 2.76667 * 105.556 = 292.04; the notch starts 5 px before, at lane 66 - 4.
    assert (notch.get("d") or "").startswith("M287 62")


@pytest.mark.parametrize(("behind_min", "hatched"), [(8.0, 0), (9.0, 1)])
def test_only_more_than_eight_minutes_behind_is_off_plan(behind_min: float, hatched: int) -> None:
    svg = s.strip(a_table(pace=(s.Pace(at(6), 0), s.Pace(at(10), -behind_min))))
    assert len(drawn(svg, "gap")) == len(drawn(svg, "pace off")) == hatched


def test_the_hatch_starts_where_the_pace_crossed_the_plan() -> None:
    (gap,) = drawn(s.strip(a_busy_table()), "gap")
    # +4 at 09:00 to -18 at 11:00 crosses after 4/22 of 2 h: 3.36364 h in = 355.05 px.
    assert (gap.get("d") or "").startswith("M355.1 24")


def test_a_pace_beyond_thirty_minutes_is_drawn_at_thirty_and_told_as_it_is() -> None:
    table = a_table(pace=(s.Pace(at(6), 0), s.Pace(at(10), -95)))
    (pace,) = (e for e in drawn(s.strip(table), "pace") if "off" not in e.get("class", ""))
    assert (pace.get("d") or "").endswith(" 46.5")  # 24 + 30 * 0.75
    assert "95 min behind" in words(s.strip(table))


def test_the_bracket_spans_the_range_with_the_median_as_its_thick_tick() -> None:
    svg = s.strip(a_busy_table())
    (median,) = drawn(svg, "median off")
    # 8 h 21 min = 8.35 * 105.556 = 881.4; y = 24 + 18 * 0.75 - 7 = 30.5.
    assert median.get("d") == "M881.4 30.5v14"
    assert "ends 14:21 (14:02–14:47)" in words(svg)


def test_an_end_on_another_day_names_the_day() -> None:
    late = s.Forecast(at(6, 40, day=9), at(7, 20, day=9), at(8, 5, day=9))
    assert s.ends_words(a_table(forecast=late)) == "ends Fri 07:20 (Fri 06:40–Fri 08:05)"


def test_a_day_of_25_hours_has_25_equal_hours_and_says_which_one_is_repeated() -> None:
    start, end = at(0, day=1, month=11), at(0, day=2, month=11)
    assert (end - start) // HOUR_US == 25
    ticks = s.hour_ticks(start, end, CHICAGO)
    assert [t for t, _ in ticks] == [start + i * HOUR_US for i in range(26)]
    assert [label for _, label in ticks][:4] == ["00:00", "01:00", "01:00 again", "02:00"]
    scale = Scale(start, end, 1000)
    assert scale.x(ticks[3][0]) == pytest.approx(120)  # three of 25 hours, 40 px each


def test_a_day_of_23_hours_has_no_two_o_clock() -> None:
    ticks = s.hour_ticks(at(0, day=8, month=3), at(0, day=9, month=3), CHICAGO)
    assert len(ticks) == 24
    assert "02:00" not in [label for _, label in ticks]


def test_hours_are_the_zones_own_where_it_is_half_an_hour_off() -> None:
    kolkata = ZoneInfo("Asia/Kolkata")  # UTC+05:30, IANA time zone data
    start = int(datetime(2026, 10, 8, 6, tzinfo=kolkata).timestamp()) * US
    assert s.hour_ticks(start, start + HOUR_US, kolkata) == [
        (start, "06:00"),
        (start + HOUR_US, "07:00"),
    ]


def test_every_drawing_is_well_formed_and_no_label_gets_out_as_markup() -> None:
    bad = "<script>alert(\"1\")</script> & 'x'"
    table = a_busy_table(
        name=bad,
        sets=(s.FittedSet(at(6), "fine", bad),),
        stoppages=(s.Stoppage(at(8), at(10), bad, "ask"),),
        runs=(s.Run(at(6), at(11), bad, "cutting"), s.Run(at(12), at(14), bad, "unassigned")),
    )
    pages = [
        *(s.strip(table, w) for w in s.WIDTHS),
        s.compact_strips(table), s.strips(table), s.hours(table),
        s.zooms(table, table.runs[0]), s.failed(table, bad, bad),
    ]  # fmt: skip
    for page in pages:
        ElementTree.fromstring(page)
        assert "<script" not in page
    assert bad in words(s.strip(table))


def test_templates_print_the_strip_as_it_is_and_one_drawing_a_width() -> None:
    page = Template("{{ strips }}").render(Context({"strips": s.strips(a_busy_table())}))
    assert re.findall(r'class="ink strip (v\d)"', page) == ["v1", "v2", "v3", "v4"]


def test_the_strip_says_itself_in_a_sentence() -> None:
    # 25 arcs of 40 s, one of 1 min, one of 4 min, one of 1 min: 28 arcs, 22 min 40 s.
    assert s.aria_label(a_busy_table()) == (
        "North: 18 minutes behind plan at 11:00; ends about 14:21, between 14:02 and 14:47; "
        "no reason given 08:00 to 08:20; crane busy 10:36 to 10:57; "
        "2 arcs without a job 09:41 to 09:54; 28 arcs, 23 min of arc."
    )
    (root,) = drawn(s.strip(a_busy_table()), "strip")
    assert root.get("aria-label") == s.aria_label(a_busy_table())


def test_what_is_not_known_is_said_to_be_unknown() -> None:
    assert s.aria_label(a_table()) == (
        "North: pace unknown; end unknown; nothing cut and nothing planned."
    )
    assert drawn(s.strip(a_table()), "pace") == []


def test_a_plan_without_a_range_says_when_it_ends_and_that_nobody_knows_how_surely() -> None:
    table = a_table(planned=(s.Planned(at(10), at(10, 30), "K-1"), s.Planned(at(9), at(10), "K-0")))
    assert "; planned until 10:30, how surely unknown; " in s.aria_label(table)


def test_before_the_first_arc_the_plan_stands_in_pencil_with_what_comes_first() -> None:
    plan = s.Planned(at(12), at(13), "2284 · 3", (30.0, 90.0, 200.0))
    svg = s.strip(a_table(planned=(plan,)))
    assert len(drawn(svg, "arc ghost")) == len(drawn(svg, "under planned")) == 1
    assert drawn(svg, "arc run") == []
    assert "Nothing cut yet. 2284 · 3 is planned for 12:00." in words(svg)


def test_planned_arcs_before_now_are_not_drawn() -> None:
    plan = s.Planned(at(8), at(9), "2284 · 3", (30.0, 90.0, 200.0))
    assert drawn(s.strip(a_table(planned=(plan,))), "arc ghost") == []


def test_a_cutting_run_is_ink_as_far_as_it_has_burned_and_pencil_beyond() -> None:
    svg = s.strip(a_busy_table())
    inked = [e.get("d") or "" for e in drawn(svg, "under") if e.get("class") == "under"]
    assert any(d.endswith("H563") for d in inked)
    assert any((e.get("d") or "").startswith("M563 ") for e in drawn(svg, "under planned"))


def test_an_arc_that_has_not_ended_is_drawn_apart_from_those_that_have() -> None:
    assert len(drawn(s.strip(a_busy_table()), "arc open")) == 1


def test_the_zoom_tells_short_arcs_apart_that_the_day_cannot() -> None:
    holes = tuple(s.Arc(at(10, 58, 12 * i), at(10, 58, 12 * i + 5)) for i in range(5))
    run = s.Run(at(10, 58), at(11, 3), "2284 · 2")
    table = a_table(arcs=holes, runs=(run,), now_us=at(11, 3))
    (day,) = drawn(s.strip(table), "arc run")
    (near,) = drawn(s.zoom(table, run, 560), "arc run")
    assert ((day.get("d") or "").count("z"), (near.get("d") or "").count("z")) == (1, 5)


@pytest.mark.parametrize("minute", [1, 3, 4, 10, 19])
def test_the_time_now_is_said_at_its_line_on_a_run_and_nowhere_else(minute) -> None:
    """At the far end it would pass for the run's end."""
    run = s.Run(at(11), at(11, 20), "2284 · 2")
    table = a_table(runs=(run,), now_us=at(11, minute), forecast=None)
    labels = [e for e in drawn(s.zoom(table, run, 560), "lab b") if e.text == f"11:{minute:02}"]
    # 20 min and a fiftieth of them beyond over 560 px
    assert [float(e.get("x") or 0) for e in labels] == [pytest.approx(minute / 20.4 * 560, abs=0.1)]


def test_the_narrow_strip_has_its_own_hours_and_keeps_the_time_now() -> None:
    svg = s.strip(a_busy_table(runs=()), 358)
    (now,) = drawn(svg, "nowlab")
    assert now.text == "11:20"
    # 5.3333 h of 9 h over 358 px = 212.1
    assert float(now.get("x") or 0) == pytest.approx(212.1, abs=0.1)
    assert "crane busy" not in words(svg)
    assert "no reason given?" in words(svg)


def test_the_compact_strip_has_no_words() -> None:
    assert words(s.compact_strips(a_busy_table(), widths=[950])) == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"end_us": at(6)}, "window"),
        ({"arcs": (s.Arc(at(8), at(7)),)}, "an arc ends"),
        ({"runs": (s.Run(at(8), at(7), "2291 · 1"),)}, "2291"),
    ],
)
def test_spans_that_end_before_they_start_are_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        a_table(**changes)


def test_work_without_a_plan_has_an_unknown_pace_and_an_idle_table_none() -> None:
    worked = a_table(arcs=(s.Arc(at(7), at(7, 1)),))
    assert s.pace_words(worked) == "pace unknown"
    assert "pace unknown" in s.strip(worked)
    assert s.pace_words(a_table()) == ""


def test_a_table_without_a_source_is_not_called_silent_since_a_time() -> None:
    drawn_svg = s.strip(a_table(silent_since_us=at(6), sourceless=True))
    assert "no source yet" in drawn_svg
    assert "no lines since" not in drawn_svg
