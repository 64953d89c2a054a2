"""Nests whose rows an older version of the reader made are read again."""

from __future__ import annotations

import pytest

from planning.calc.program import READER_VERSION, read_program
from shopfloor.models import Work
from shopfloor.nests import reread
from shopfloor.nests.part_lines import assign_parts_to_lines, revision_groups
from shopfloor.nests.queries import revision_contours
from shopfloor.nests.reread import nests_read_before, table_reread
from shopfloor.nests.services import nest_add, revision_add
from tests.shopfloor.nests.test_common_parts import TABS


@pytest.fixture
def revision(floor):
    nest = nest_add(
        name="strips", file_name="strips.nc", raw=TABS.encode(), material=floor.steel,
        thickness_text="6 mm", wear_set=floor.fast, table=floor.table, by=floor.person,
    )  # fmt: skip
    revision = nest.revisions.get()
    [group] = revision_groups(revision_contours(revision))
    line = floor.line(quantity=4)
    assign_parts_to_lines(revision=revision, ties={group.label: [(line, None)]})
    return revision


def older(revision, **contours):
    """As a version that knew no shared edges left it."""
    revision.reader = 0
    revision.save(update_fields=["reader"])
    revision.contours.update(**contours)


def again(revision):
    table_reread(key=f"nest:{revision.nest_id}", payload={})


def test_what_this_version_read_is_left_alone(revision):
    assert revision.reader == READER_VERSION
    assert nests_read_before() == 0
    again(revision)
    assert revision.nest.revisions.count() == 1


def test_other_figures_of_the_same_parts_are_written_over_with_ties_kept(revision):
    was = list(revision.contours.values("number", "common_share", "net_area_mm2", "line", "copy"))
    older(revision, common_share=1.0, net_area_mm2=1.0)
    assert nests_read_before() == 1
    again(revision)
    revision.refresh_from_db()
    assert revision.nest.revisions.count() == 1
    now = revision.contours.values("number", "common_share", "net_area_mm2", "line", "copy")
    assert list(now) == was
    assert revision.reader == READER_VERSION
    assert nests_read_before() == 0
    assert Work.objects.filter(kind="nest", key=str(revision.pk)).exists()


def test_other_parts_are_a_revision_that_says_so(revision):
    """Older: one outline with three loose cuts in it, one part where there are four."""
    older(revision, inner=True, parts=1, edges=[], faces=[])
    revision.contours.filter(number=1).update(inner=False)
    again(revision)
    newest = revision.nest.revisions.order_by("-revision")[0]
    assert newest.revision == 2
    assert sum(row.parts for row in newest.contours.all() if not row.inner) == 4
    assert "4 parts where there were 1" in newest.notes[0]["text"]
    assert revision.contours.filter(inner=False).count() == 1  # what was cut by it stays
    assert nests_read_before() == 0


def test_a_program_brought_meanwhile_stays_the_newest(revision, monkeypatch):
    """Reading a long one takes seconds: an older program must not come after a newer one."""
    older(revision, inner=True, parts=1, edges=[], faces=[])
    brought = TABS.replace("X0", "X1").encode()

    def slowly(raw, dialect):
        read = read_program(raw, dialect)
        revision_add(nest=revision.nest, file_name="new.nc", raw=brought, by=revision.made_by)
        return read

    monkeypatch.setattr(reread, "read_program", slowly)
    again(revision)
    newest = revision.nest.revisions.order_by("-revision")[0]
    assert (newest.revision, bytes(newest.program)) == (2, brought)


def test_a_program_that_is_refused_now_is_not_asked_for_again(revision):
    older(revision)
    revision.program = b"G1 X1 Y("
    revision.save(update_fields=["program"])
    again(revision)
    assert nests_read_before() == 0
    assert revision.nest.revisions.count() == 1


def test_withdrawn_nests_are_left_alone(revision):
    older(revision)
    revision.nest.withdrawn_at = revision.made_at
    revision.nest.save(update_fields=["withdrawn_at"])
    assert nests_read_before() == 0


def test_fine_chords_are_drawn_coarser_with_the_ends_of_leads_kept(floor):
    """A lead of 10 mm straight into the first side of a square of 3,000 chords: the side's first
    corner lies on the line of the lead, and is kept."""
    side = [k / 7.5 for k in range(1, 751)]
    loop = [(x, 0) for x in side] + [(100, y) for y in side]
    loop += [(100 - x, 100) for x in side] + [(0, 100 - y) for y in side]
    words = "".join(f"X{x:.4f} Y{y:.4f}\n" for x, y in [(0, 0), *loop])
    nest = nest_add(
        name="fine", file_name="f.nc", raw=f"G0 X-10 Y0\nM3\nG1\n{words}M5\n".encode(),
        material=floor.steel, thickness_text="6 mm", wear_set=floor.fast, table=floor.table,
        by=floor.person,
    )  # fmt: skip
    [contour] = nest.revisions.get().contours.all()
    corners = [[-10, 0], [0, 0], [100, 0], [100, 100], [0, 100], [0, 0]]
    assert contour.points == corners
    assert (round(contour.lead_in_mm, 3), contour.net_area_mm2) == (10, pytest.approx(10_000))
