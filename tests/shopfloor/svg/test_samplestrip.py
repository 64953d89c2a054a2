"""The strip of a sample: its bars by arithmetic done here."""

from __future__ import annotations

import re

from shopfloor.svg.sample_strip import SampleArc, sample_strip

S = 1_000_000


def bars(svg):
    found = re.findall(r'class="(arc[^"]*)" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)"', svg)
    return [(kind, float(x), float(y), float(width)) for kind, x, y, width in found]


def test_bars_stand_where_their_arcs_burnt():
    """100 s wide on 1000 px: 10 px a second. 45 s is a quarter of 180: 6 + 38 x 0.5 = 25 high,
    standing on 52; 20 s: 6 + 38 x sqrt(1/9) = 18.7 high."""
    svg = sample_strip([SampleArc("1", 80 * S, 100 * S), SampleArc("1", 0, 45 * S)])
    assert bars(svg) == [("arc", 0, 27.0, 450.0), ("arc", 800, 33.3, 200.0)]
    assert 'aria-label="2 arcs on 1 torch"' in svg


def test_an_arc_whose_end_is_unknown_is_an_outline_and_each_torch_has_its_lane():
    svg = sample_strip([SampleArc("1", 0, 10 * S), SampleArc("2", 10 * S, None)])
    assert [(kind, x) for kind, x, _, _ in bars(svg)] == [("arc", 0), ("arc open", 998.5)]
    assert 'viewBox="0 0 1000 120"' in svg
    assert sample_strip([]) is None
