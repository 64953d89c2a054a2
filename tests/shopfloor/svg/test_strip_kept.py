"""Strips drawn before are drawn again only where something changed."""

from __future__ import annotations

import re
from dataclasses import replace
from html import escape

import pytest

from shopfloor.svg import strip as s
from shopfloor.svg.strip import body as work
from shopfloor.svg.strip.frame import US
from tests.shopfloor.svg.test_strip import a_busy_table, a_table, at


def test_every_width_says_the_same_sentence_and_it_is_made_once(monkeypatch) -> None:
    made = []
    whole = s.aria_label

    def counted(table: s.StripTable) -> str:
        made.append(table)
        return whole(table)

    monkeypatch.setattr(s, "aria_label", counted)
    for draw in (s.strips, s.compact_strips):
        made.clear()
        assert draw(a_table()).count(f'aria-label="{escape(whole(a_table()))}"') == len(s.WIDTHS)
        assert len(made) == 1


CHANGED = {
    "a correction": lambda arcs: (*arcs[:-1], s.Arc(arcs[-1].on_us, arcs[-1].off_us + 9 * US)),
    "a late arc": lambda arcs: (s.Arc(at(6, 30), at(6, 45)), *arcs),
    "a run found": lambda arcs: tuple(arc._replace(state="run") for arc in arcs),
    "an arc gone": lambda arcs: arcs[1:],
}


def arc_paths(drawn: str) -> list[str]:
    return re.findall(r'<path class="arc [^>]*>', drawn)


@pytest.mark.parametrize("what", CHANGED)
def test_a_strip_drawn_before_shows_what_changed_since(what):
    """Arcs drawn once are kept. What differs is drawn anew, and what is as it was comes back."""
    before = a_busy_table()
    after = replace(before, arcs=CHANGED[what](before.arcs))
    first, changed = s.compact_strips(before), s.compact_strips(after)
    assert arc_paths(changed) != arc_paths(first)
    work._drawn.cache_clear()
    work._burnt.cache_clear()
    assert s.compact_strips(after) == changed
    assert s.compact_strips(before) == first


def test_a_strip_drawn_before_shows_another_window_and_another_now():
    table = a_busy_table()
    first = s.compact_strips(table)
    longer = s.compact_strips(replace(table, end_us=at(16)))
    assert arc_paths(longer) != arc_paths(first)
    later = s.compact_strips(replace(table, now_us=at(11, 30)))
    assert arc_paths(later)[-3:] == arc_paths(first)[-3:]
    assert later != first


def test_what_is_kept_of_strips_is_bounded():
    """600 drawings of some 5 kB and the arcs of 100 shifts: less than 10 MB."""
    assert work._drawn.cache_info().maxsize == 600
    assert work._burnt.cache_info().maxsize == 100
    for minute in range(150):
        s.compact_strips(a_table(arcs=(s.Arc(at(7), at(7) + (minute + 1) * US),)))
    assert work._burnt.cache_info().currsize == 100
    assert work._drawn.cache_info().currsize == 600
