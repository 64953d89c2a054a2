"""The map of a nest's parts, against places worked out by hand."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from shopfloor.svg.parts_map import Part, extents, map_label, parts_map


def square(x: float, y: float, side: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y))


def shapes(svg: str, css: str) -> list[ElementTree.Element]:
    return [e for e in ElementTree.fromstring(svg).iter() if css in e.get("class", "").split()]


def test_parts_lie_to_scale_with_y_upward() -> None:
    # 1000 mm over 1012 px less 6 px each side: 1 px a mm. The sheet is 500 mm across, so a
    # part whose corner is at X100 Y50 has its lower left at x = 106, y = 6 + 500 - 50 = 456.
    svg = parts_map([Part("1", (square(100, 50, 200),))], (1000.0, 500.0), width=1012)
    (part,) = shapes(svg, "part")
    assert part.get("d") == "M106 456L306 456L306 256L106 256z"
    root = ElementTree.fromstring(svg)
    assert (root.get("width"), root.get("height")) == ("1012", "512")


def test_without_a_sheet_the_map_ends_at_the_parts() -> None:
    svg = parts_map([Part("1", (square(100, 50, 200),))], width=212)
    (part,) = shapes(svg, "part")
    assert part.get("d") == "M6 206L206 206L206 6L6 6z"
    assert shapes(svg, "plate") == []


def test_a_hole_is_left_open_in_its_part() -> None:
    svg = parts_map([Part("1", (square(0, 0, 200), square(50, 50, 20)))], width=212)
    (part,) = shapes(svg, "part")
    assert part.get("fill-rule") == "evenodd"
    assert (part.get("d") or "").count("z") == 2


def test_an_open_contour_is_not_closed() -> None:
    svg = parts_map([Part("1", (((0, 0), (100, 0), (100, 50)),))], width=112)
    (part,) = shapes(svg, "part")
    assert part.get("d") == "M6 56L106 56L106 6"


@pytest.mark.parametrize(
    ("state", "hatch", "said"),
    [
        ("good", None, "1, good"),
        ("scrap", "url(#h-off)", "1, scrap"),
        ("burnt", "url(#h-plan)", "1, cut, not yet judged"),
        ("not-cut", None, "1, left uncut"),
        ("planned", None, "1, not yet cut"),
    ],
)
def test_a_state_is_told_by_words_and_hatch_as_well_as_line(
    state: str, hatch: str | None, said: str
) -> None:
    part = Part("1", (square(0, 0, 200),), state)  # type: ignore[arg-type]
    svg = parts_map([part], width=212)
    assert [e.get("fill") for e in shapes(svg, "wash")] == ([hatch] if hatch else [])
    assert len(shapes(svg, "strike")) == (state == "scrap")
    assert said in [e.text for e in ElementTree.fromstring(svg).iter("title")]


def test_the_map_is_said_in_a_sentence() -> None:
    parts = [Part(str(i), (square(i * 10, 0, 8),), "good") for i in range(3)]
    parts.append(Part("3", (square(40, 0, 8),), "scrap"))
    assert map_label(parts) == "Map of 4 parts: 3 good, 1 scrap."


def test_a_number_that_would_be_unreadable_is_left_to_the_list() -> None:
    parts = [Part("1", (square(0, 0, 1000),)), Part("207", (square(1100, 0, 8),))]
    svg = parts_map(parts, width=600)
    assert [e.text for e in ElementTree.fromstring(svg).iter("text")] == ["1"]


def test_names_and_addresses_cannot_get_out_as_markup() -> None:
    bad = '"><script>x</script>'
    svg = parts_map([Part(bad, (square(0, 0, 900),), name=bad, url=f"/part?{bad}")], width=912)
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    assert shapes(svg, "planned")[0].get("href") == f"/part?{bad}"


def test_a_map_to_choose_from_is_not_one_picture_to_a_screen_reader() -> None:
    outline = (square(0, 0, 100),)
    assert 'role="img"' in parts_map([Part("1", outline)])
    chosen = parts_map([Part("1", outline, selected=True, url="/1")])
    assert 'role="group"' in chosen
    assert shapes(chosen, "selected")[0].get("aria-label") == "1, not yet cut, chosen"


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(ValueError, match="no points"):
        parts_map([])
    with pytest.raises(ValueError, match="no points"):
        extents([[]])


def test_points_too_near_to_be_seen_apart_are_left_out():
    """1,000 mm drawn 900 px wide less twice 6 px of edge: a step of 0.1 mm is 0.09 px."""
    dense = (*((n / 10, 0.0) for n in range(10_001)), (1000.0, 500.0), (0.0, 0.0))
    svg = parts_map([Part("1", (dense,))], width=900)
    path = svg.split('class="part"')[1].split(' d="')[1].split('"')[0]
    # 888 px by steps of 4 points (0.3552 px), and the far corner.
    assert 2_400 < path.count("L") < 2_600
    assert path.startswith("M6 ")
    assert path.endswith("z")


def test_the_number_of_an_angle_stands_on_the_angle_and_fits_its_leg():
    """100 by 100 mm with 30 mm legs at (212 - 2 x 6) / 100 = 2 px a mm: a leg is 60 px wide."""
    angle = ((0, 0), (100, 0), (100, 30), (30, 30), (30, 100), (0, 100), (0, 0))
    drawn = parts_map([Part("7", (angle,))], width=212)
    x, y = (float(found) for found in re.search(r'<text x="([\d.]+)" y="([\d.]+)"', drawn).groups())
    assert x < 6 + 60 or y > 6 + 140
