"""Drawings at the desk: read in, looked at, kept, revised, given to job lines."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from planning.calc.drawing import Reading
from shopfloor.drawings.services import drawing_add, drawing_bytes, drawing_revise
from shopfloor.models import Drawing, DrawingRevision, Units, Work
from shopfloor.wording.clock import part_time
from tests.planning.calc.drawing.made import UNITLESS, dxf, square

pytestmark = pytest.mark.django_db
ADD = "/nests/drawings/add/"


def plate(space) -> None:
    """100 x 100 with a 40 x 40 hole and 20 mm of marking: 8400 mm2."""
    square(space)
    square(space, 30, 30, 40)
    space.add_line((5, 5), (25, 5), dxfattribs={"layer": "ETCH"})


@pytest.fixture
def drawn(steel, planner) -> Drawing:
    return drawing_add(
        name="base", file_name="base.dxf", raw=dxf(plate), material=steel, by=planner,
        thickness_text="1/4 in", reading=Reading(),
    )  # fmt: skip


def upload(raw: bytes, name: str = "base.dxf") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, raw)


def filled(steel, **more) -> dict:
    return {"name": "base", "material": steel.pk, "thickness_text": "1/4 in", "unit": "",
            "gap_mm": "0.05", "digest": "", "file_name": "", "do": "read"} | more  # fmt: skip


def test_a_file_is_looked_at_first_and_kept_only_then(client, planner, steel):
    client.force_login(planner)
    body = client.post(ADD, filled(steel, file=upload(dxf(plate)))).content.decode()
    assert "Nothing is kept yet" in body
    assert "0.56 m" in body  # 400 + 160 mm of cutting
    assert 'name="role:ETCH"' in body
    assert not Drawing.objects.exists()
    digest = body.split('name="digest" value="')[1][:64]
    again = filled(steel, digest=digest, file_name="base.dxf", do="keep", **{"role:ETCH": "ignore"})
    answer = client.post(ADD, again, follow=True)
    revision = DrawingRevision.objects.get()
    assert (revision.cut_mm, revision.mark_mm, revision.pierces) == (560, 0, 2)
    assert revision.net_area_mm2 == pytest.approx(8400)
    assert revision.roles == {"ETCH": "ignore"}
    # 8400 mm2 x 6.35 mm x 7850 kg/m3 = 0.4187 kg, by hand
    assert "0.419 kg" in answer.content.decode()
    assert Work.objects.filter(kind="drawing", key=str(revision.pk)).exists()
    assert drawing_bytes(revision) == dxf_of(digest)


def dxf_of(digest: str) -> bytes:
    from shopfloor.files.uploads import upload_read

    raw = upload_read(digest, "drawing")
    assert raw is not None
    return raw


def test_a_unit_nobody_says_is_asked_for_and_the_file_stays_chosen(client, planner, steel):
    client.force_login(planner)
    raw = dxf(plate, units=UNITLESS)
    body = client.post(ADD, filled(steel, file=upload(raw), do="keep")).content.decode()
    assert "does not say its unit: choose one. It measures 100 by 100 of them" in body
    digest = body.split('name="digest" value="')[1][:64]
    more = filled(steel, digest=digest, file_name="base.dxf", unit="in", do="keep")
    client.post(ADD, more)
    revision = DrawingRevision.objects.get()
    assert (revision.unit, revision.unit_said) == ("in", False)
    assert revision.cut_mm == pytest.approx(560 * 25.4)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"not a drawing", "base.dxf:1: This is not a DXF file"),
        (dxf(plate)[:-6], "is cut short"),
        (b"", "empty"),
    ],
)
def test_what_is_no_drawing_is_said_beside_the_file(client, planner, steel, raw, said):
    client.force_login(planner)
    body = client.post(ADD, filled(steel, file=upload(raw), do="keep")).content.decode()
    assert said in body
    assert not Drawing.objects.exists()


def test_no_file_is_asked_for(client, planner, steel):
    client.force_login(planner)
    assert "Choose a drawing" in client.post(ADD, filled(steel, do="keep")).content.decode()


def test_a_name_that_is_taken_is_said_and_nothing_is_kept(client, planner, steel, drawn):
    client.force_login(planner)
    body = client.post(ADD, filled(steel, file=upload(dxf(square)), do="keep")).content.decode()
    assert "already exists" in body
    assert DrawingRevision.objects.count() == 1


def test_the_same_bytes_read_the_same_way_are_no_new_revision(drawn, planner):
    raw = drawing_bytes(drawn.revisions.get())
    revision, new = drawing_revise(
        drawing=drawn, file_name="x.dxf", raw=raw, reading=Reading(), by=planner
    )
    assert (revision.revision, new) == (1, False)
    revision, new = drawing_revise(
        drawing=drawn, file_name="x.dxf", raw=raw, reading=Reading(roles={"ETCH": "cut"}),
        by=planner,
    )  # fmt: skip
    assert (revision.revision, new, revision.cut_mm) == (2, True, 580)
    assert revision.file.name == drawn.revisions.get(revision=1).file.name


def test_a_changed_file_makes_a_revision_and_the_old_figures_stay(client, planner, drawn):
    client.force_login(planner)
    url = f"/nests/drawings/{drawn.pk}/read/"
    assert "base.dxf" in client.get(url).content.decode()
    data = {"unit": "", "gap_mm": "0.05", "digest": "", "file_name": "", "do": "keep",
            "file": upload(dxf(square), "base-b.dxf")}  # fmt: skip
    body = client.post(url, data, follow=True).content.decode()
    assert "Revision 2 is kept" in body
    assert [r.cut_mm for r in drawn.revisions.order_by("revision")] == [560, 400]


def test_faults_stand_on_the_page(client, planner, drawn):
    def broken(space):
        space.add_line((0, 0), (100, 0))
        space.add_line((100, 0), (100, 100))

    drawing_revise(drawing=drawn, file_name="b.dxf", raw=dxf(broken), reading=Reading(), by=planner)
    client.force_login(planner)
    body = client.get(f"/nests/drawings/{drawn.pk}/").content.decode()
    assert "1 thing to look at before it is cut" in body
    assert "is open: from X" in body
    assert "unknown" in body  # its net area and weight


def test_a_line_takes_area_length_pierces_and_weight_from_its_drawing(client, planner, job, drawn):
    client.force_login(planner)
    page = f"/nests/drawings/{drawn.pk}/"
    assert "K-2284 / 1, plate" in client.get(page).content.decode()
    line = job.lines.get()
    client.post(f"{page}act/", {"do": "give", "line": line.pk})
    body = client.get(f"/jobs/{job.pk}/").content.decode()
    assert "By their drawings" in body
    assert "2.09 kg" in body  # five of 0.4187 kg
    assert "2.80 m" in body
    planner.units = Units.INCH
    planner.save()
    assert "4.62 lb" in client.get(f"/jobs/{job.pk}/").content.decode()  # 2.0936 / 0.45359
    client.post(f"{page}act/", {"do": "take", "line": line.pk})
    line.refresh_from_db()
    assert line.drawing is None


def test_the_file_comes_back_byte_for_byte(client, planner, drawn):
    client.force_login(planner)
    revision = drawn.revisions.get()
    answer = client.get(f"/nests/drawings/file/{revision.pk}/")
    assert answer.content == drawing_bytes(revision)
    assert 'filename="base.dxf"' in answer["Content-Disposition"]


def test_the_list_takes_the_same_queries_however_many(
    client, planner, steel, drawn, django_assert_max_num_queries
):
    for n in range(4):
        drawing_add(name=f"p{n}", file_name="p.dxf", raw=dxf(plate), material=steel, by=planner,
                    thickness_text="6 mm", reading=Reading())  # fmt: skip
    client.force_login(planner)
    with django_assert_max_num_queries(9):
        body = client.get("/nests/drawings/").content.decode()
    assert body.count("0.56 m") == 5
    assert ">p3</a>" in body
    assert ">p3</a>" not in client.get("/nests/drawings/?q=base").content.decode()


@pytest.mark.parametrize(
    ("seconds", "said"), [(2.84, "2.8 s"), (59.9, "59.9 s"), (90.0, "1.5 min"), (None, "unknown")]
)
def test_what_one_part_takes_is_never_said_to_be_nothing(seconds, said):
    assert said in part_time(seconds)


def test_lines_all_on_a_layer_passed_over_can_be_read_from_the_page(client, planner, steel):
    def hidden(space):
        square(space, dxfattribs={"layer": "BORDER"})

    client.force_login(planner)
    body = client.post(ADD, filled(steel, file=upload(dxf(hidden)), do="keep")).content.decode()
    assert "layer BORDER, named like help lines, with 1 LWPOLYLINE" in body
    digest = body.split('name="digest" value="')[1][:64]
    more = {"digest": digest, "file_name": "base.dxf", "role:BORDER": "cut", "do": "keep"}
    assert 'name="role:BORDER"' in body
    client.post(ADD, filled(steel, **more))
    assert DrawingRevision.objects.get().cut_mm == 400
