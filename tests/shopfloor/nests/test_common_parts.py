"""Parts with common edges, tabs and chains: counted as parts on the floor, tied and drawn so."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from shopfloor.models import Contour, PartResult
from shopfloor.nests.part_lines import assign_parts_to_lines, revision_groups
from shopfloor.nests.queries import group_rows, map_parts, nests_shown, revision_contours
from shopfloor.nests.services import nest_add
from shopfloor.runs.part_counts import by_line, parts_on_sheet
from shopfloor.runs.progress import progress_of
from tests.shopfloor.floor_shop import MINUTE, T0


def cut(*points):
    words = [f"X{x} Y{y}" for x, y in points]
    return "\n".join(["G0 " + words[0], "M3", "G1", *words[1:], "M5", ""])


# One outline and three cuts: four tabs of 100 x 60.
TABS = cut((0, 0), (400, 0), (400, 60), (0, 60), (0, 0)) + "".join(
    cut((x, 0), (x, 60)) for x in (100, 200, 300)
)
# Nine parts of 30 x 30 by eight lines.
GRID = "".join(cut((x, 0), (x, 90)) for x in (0, 30, 60, 90)) + "".join(
    cut((0, y), (90, y)) for y in (0, 30, 60, 90)
)


@pytest.fixture
def made(floor):
    def make(text, *lines):
        nest = nest_add(
            name="strips", file_name="strips.nc", raw=text.encode(), material=floor.steel,
            thickness_text="6 mm", wear_set=floor.fast, table=floor.table, by=floor.person,
        )  # fmt: skip
        revision = nest.revisions.get()
        if lines:
            [group] = revision_groups(revision_contours(revision))
            assign_parts_to_lines(revision=revision, ties={group.label: list(lines)})
        return revision

    return make


def test_four_tabs_by_one_outline_and_three_cuts_are_four_at_finish(floor, made):
    line = floor.line(quantity=4)
    revision = made(TABS, (line, None))
    assert by_line(parts_on_sheet(revision)) == {line.pk: 4}
    floor.done("start", T0, queue_item=floor.queue(revision).pk)
    floor.done("finish", T0 + MINUTE, exceptions=[])
    assert [(row.outcome, row.quantity) for row in PartResult.objects.all()] == [("good", 4)]


def test_one_of_the_four_is_scrapped_by_its_contour(floor, made):
    line = floor.line(quantity=4)
    floor.done("start", T0, queue_item=floor.queue(made(TABS, (line, None))).pk)
    said = {"contour": 3, "outcome": "scrap", "cause": "crash"}
    floor.done("finish", T0 + MINUTE, exceptions=[said])
    assert dict(PartResult.objects.values_list("outcome", "quantity")) == {"good": 3, "scrap": 1}


def test_a_part_is_whole_when_the_last_of_its_edges_is_cut(floor, made):
    revision = made(TABS, (floor.line(quantity=4), None))
    for part in parts_on_sheet(revision):
        # By hand: the tabs lie between cuts 2, 3 and 4; the outline, 1, is an edge of each.
        assert part.needs in {(1, 2), (1, 2, 3), (1, 3, 4), (1, 4)}
    assert sorted(max(part.needs) for part in parts_on_sheet(revision)) == [2, 3, 4, 4]


def test_a_grid_of_lines_counts_its_parts_everywhere(floor, made):
    line = floor.line(quantity=9)
    revision = made(GRID, (line, None))
    assert by_line(parts_on_sheet(revision)) == {line.pk: 9}
    [shown] = nests_shown([revision.nest_id])
    assert (shown.parts, shown.untied) == (9, 0)
    floor.done("start", T0, queue_item=floor.queue(revision).pk)
    progress = progress_of(line.job.lines.get().contours.first().revision.runs.get())
    assert (progress.contours, progress.parts) == (8, 9)
    floor.done("finish", T0 + MINUTE, exceptions=[])
    assert PartResult.objects.get().quantity == 9


def test_net_areas_of_a_grid_add_up_and_its_copies_are_one_shape(floor, made):
    revision = made(GRID)
    contours = revision_contours(revision)
    areas = [one.net_area_mm2 for one in contours if one.net_area_mm2]
    assert sum(areas) == pytest.approx(8100, rel=1e-6)
    [row] = group_rows(revision_groups(contours), contours)
    assert (row.copies, row.size_mm) == (9, (30, 30))
    assert row.group.net_area_mm2 == pytest.approx(900, rel=1e-6)


def test_the_map_draws_each_part_and_not_the_lines_across_all(floor, made):
    contours = revision_contours(made(GRID))
    rings = [ring for part in map_parts(contours) for ring in part.contours]
    assert len(rings) == 9
    sizes = {round(max(x for x, _ in ring) - min(x for x, _ in ring), 3) for ring in rings}
    assert sizes == {30}


def test_parts_of_one_contour_go_to_one_line(floor, made):
    revision = made(GRID)
    [group] = revision_groups(revision_contours(revision))
    several = next(i for i, count in enumerate(group.made) if count > 1)
    one, other = floor.line(quantity=9), floor.line("J-2", quantity=9)
    within = sum(group.made[:several]) + 1
    with pytest.raises(ValidationError, match="go to one line"):
        assign_parts_to_lines(revision=revision, ties={group.label: [(one, within), (other, None)]})
    fits = sum(group.made[:several])
    ties = {group.label: [(one, fits), (other, None)]}
    assign_parts_to_lines(revision=revision, ties=ties)
    assert by_line(parts_on_sheet(revision)) == {one.pk: fits, other.pk: 9 - fits}


def test_a_tabbed_outline_is_one_part_of_its_paths(floor, made):
    text = cut((0, 29), (0, 0), (60, 0), (60, 29)) + cut((60, 31), (60, 60), (0, 60), (0, 31))
    revision = made(text)
    rows = list(revision.contours.values_list("part", "copy", "inner", "parts"))
    assert rows == [("shape 1", 1, False, 1), ("shape 1", 1, True, 1)]
    assert Contour.objects.get(number=1).net_area_mm2 == pytest.approx(3600)
    contours = revision_contours(revision)
    [part] = map_parts(contours)
    assert len(part.contours) == 1
    [row] = group_rows(revision_groups(contours), contours)
    assert (row.copies, row.group.holes) == (1, 0)
