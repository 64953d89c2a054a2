"""What reading a program says beside its path, kept with the revision, each with its line."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from planning.services.work import run_all_waiting
from shopfloor.chart.services import chart_apply
from shopfloor.models import Nest, NestPlan, QueueItem
from shopfloor.nests.part_lines import revision_groups
from shopfloor.nests.services import revision_add
from tests.shopfloor.conftest import PROGRAM

SQUARE = b"G0 X0 Y0\nM3\nG1 X100\nY100\nX0\nY0\nM5\n"
BESIDE = b"G0 X100 Y0\nM3\nG1 X180\nY100\nX100\nM5\n"


def notes(revision):
    return [(note["line"], note["text"]) for note in revision.notes]


def added(nest, planner, raw):
    return revision_add(nest=nest, file_name="x.nc", raw=raw, by=planner)[0]


def test_a_common_edge_is_halved_where_shares_are_kept(nest, planner):
    revision = added(nest, planner, SQUARE + BESIDE)
    shares = list(revision.contours.values_list("common_share", flat=True))
    assert shares == pytest.approx([350 / 400, 310 / 260])
    assert (9, "contour 2 borrows an edge of 100 mm from contour 1: each carries half of it")\
        in notes(revision)  # fmt: skip
    assert revision.contours.get(number=2).net_area_mm2 == pytest.approx(8000)


def test_leads_are_kept_and_counted_in_the_length(nest, planner):
    raw = b"G0 X0 Y-5\nM3\nG1 Y0\nX100\nY100\nX0\nY0\nX3\nM5\n"
    contour = added(nest, planner, raw).contours.get()
    assert (contour.cut_mm, contour.lead_in_mm, contour.lead_out_mm) == (408, 5, 3)
    assert contour.lit_line == 2


def test_leads_are_drawn_apart_and_enclose_nothing(nest, planner, sign_in):
    added(nest, planner, b"G0 X0 Y-5\nM3\nG1 Y0\nX100\nY100\nX0\nY0\nX3\nM5\n")
    text = sign_in(planner).get(reverse("nest", args=[nest.pk])).content.decode()
    assert text.count('class="lead"') == 1
    assert "leads thin" in text


def test_copies_are_found_turned_and_mirrored_whatever_their_leads(nest, planner):
    """An L, the L by a quarter turn with another lead, the L turned over, and an L of the same
    length and area with its notch elsewhere."""

    def path(points, lead):
        (x0, y0), *rest = [*points, points[0]]
        moves = "\n".join(f"G1 X{x} Y{y}" for x, y in rest)
        return f"G0 X{x0 - lead} Y{y0}\nM3\nG1 X{x0} Y{y0}\n{moves}\nM5\n"

    ell = [(0, 0), (120, 0), (120, 30), (40, 30), (40, 90), (0, 90)]
    turned = [(300 - y, x) for x, y in ell]
    over = [(500 - x, y) for x, y in ell]
    other = [(600 + x, y) for x, y in [(0, 0), (120, 0), (120, 90), (80, 90), (80, 30), (0, 30)]]
    notch = [(0, 200), (100, 200), (100, 260), (20, 260), (20, 250), (10, 250), (10, 260), (0, 260)]
    moved = [(200, 200), (300, 200), (300, 260), (255, 260), (255, 250), (245, 250), (245, 260),
             (200, 260)]  # fmt: skip
    text = "".join(
        path(points, lead)
        for points, lead in ((ell, 5), (turned, 8), (over, 5), (other, 5), (notch, 5), (moved, 5))
    )
    revision = added(nest, planner, text.encode())
    contours = list(revision.contours.order_by("number"))
    groups = revision_groups(contours)
    assert [group.parts for group in groups] == [((1,), (2,), (3,), (4,)), ((5,),), ((6,),)]
    assert groups[0].mirrored == {3, 4}
    assert [contour.part for contour in contours[:4]] == ["shape 1"] * 4


def test_the_sheet_it_was_laid_out_on_is_held_against_the_program(
    shop, planner, sign_in, steel, fast, north
):
    page = sign_in(planner)
    sent = {
        "file": SimpleUploadedFile("p.nc", PROGRAM), "name": "p", "material": steel.pk,
        "thickness_text": "1/4 in", "wear_set": fast.pk, "sheets_wanted": 1, "sheet_length": "10",
        "sheet_width": "5", "sheet_unit": "in",
    }  # fmt: skip
    page.post(reverse("nest_add"), sent)
    nest = Nest.objects.get()
    assert nest.sheet_length_mm == pytest.approx(254)
    # The second plate ends at X300, 46 mm beyond 254; its torch on is on line 16.
    assert notes(nest.revisions.get()) == [
        (16, "contour 3 reaches 46 mm beyond a sheet of 254 x 127 mm")
    ]


def put(page, nest, sheet, length_mm):
    sheet.length_mm, sheet.width_mm = length_mm, 200
    sheet.save()
    sent = {"table": nest.table_id, "sheet": sheet.pk, "times": 1}
    return page.post(reverse("queue_put", args=[nest.pk]), sent, follow=True).content.decode()


def test_what_reaches_a_little_beyond_a_sheet_is_said_on_the_list(nest, sheet, planner, sign_in):
    answer = put(sign_in(planner), nest, sheet, 296)
    assert "plates.nc:16: contour 3 reaches 4 mm beyond a sheet of 296 x 200 mm." in answer


def test_a_sheet_that_is_too_small_is_not_taken_onto_the_list(nest, sheet, planner, sign_in):
    answer = put(sign_in(planner), nest, sheet, 250)
    assert "is not one of the available choices" in answer
    assert not QueueItem.objects.exists()


def test_a_small_hole_and_a_torch_left_burning_are_said_with_their_lines(nest, planner):
    raw = b"G0 X52 Y50\nM3\nG3 I-2 J0\nM5\n" + SQUARE + b"G0 X300\nM3\nG1 X350\n"
    told = notes(added(nest, planner, raw))
    assert told[0][0] == 2
    assert "contour 1: a hole 4 mm wide in 6.35 mm plate" in told[0][1]
    assert told[-1] == (14, "the torch is left burning at the end (lit on line 13)")


def test_feeds_25_4_from_the_chart_are_said_on_the_nest(nest, planner, sign_in):
    chart_apply(
        b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s\n"
        b"F120,fast,120,A36,6.35,2540,0.5\n"
    )
    added(nest, planner, b"F100\n" + SQUARE)
    run_all_waiting()
    assert NestPlan.objects.filter(revision__file_name="x.nc").count() == 1
    text = sign_in(planner).get(reverse("nest", args=[nest.pk])).content.decode()
    assert "25.4 apart: inches and millimetres may be mixed up" in text
