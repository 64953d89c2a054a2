"""Many drawings at once: a table of parts to correct, then all of them kept or none."""

from __future__ import annotations

import io
import re
import zipfile
from importlib import import_module

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from planning.calc.drawing import Reading
from shopfloor.drawings import bring
from shopfloor.drawings.office import parts_list
from shopfloor.drawings.services import drawing_add
from shopfloor.files.apart import READERS, TooCostly, read_apart
from shopfloor.models import Drawing, DrawingRevision
from tests.planning.calc.drawing.made import UNITLESS, dxf, square

pytestmark = pytest.mark.django_db
SAID = ("name", "quantity", "material", "thickness_text")
PARTS = "/nests/drawings/parts/"
SQUARE = dxf(square)


def file(name: str, raw: bytes = SQUARE) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, raw)


def archive(*files: tuple[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as packed:
        for name, raw in files:
            packed.writestr(name, raw)
    return held.getvalue()


def shown(answer) -> dict[str, str]:
    """The lines of the page as its form would send them."""
    body = answer.content.decode()
    data: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", body, re.S):
        name = re.search(r'name="(part-[^"]+)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name and ("checkbox" not in tag or "checked" in tag):
            data[name[1]] = value[1] if value else "on" if "checkbox" in tag else ""
    for name, options in re.findall(r'<select name="(part-[^"]+)".*?>(.*?)</select>', body, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        data[name] = chosen[1] if chosen else ""
    return data


def here(kind, *args):
    """What the process of its own would read, without starting one."""
    module, name = READERS[kind][0].split(":")
    return getattr(import_module(module), name)(*args)


@pytest.fixture
def post(client, planner, steel, monkeypatch):
    client.force_login(planner)
    monkeypatch.setattr(bring, "read_apart", here)

    def send(*files, follow=False, **more):
        return client.post(PARTS, {"drawings": list(files), "do": "read"} | more, follow=follow)

    return send


def test_several_files_are_shown_with_what_their_names_say_and_nothing_is_kept(post, steel):
    answer = post(
        file(f"bracket_6mm_{steel.code}_x20.dxf"), file("pad_1-4in_qty 3.dxf"),
        file("old.dwg", b"AC1032 and so on"),
    )  # fmt: skip
    body = answer.content.decode()
    assert "old.dwg: This is a DWG drawing (2018)" in body
    data = shown(answer)
    assert [data[f"part-0-{key}"] for key in SAID] == [
        "bracket", "20", steel.code, "6 mm",
    ]  # fmt: skip
    assert [data[f"part-1-{key}"] for key in SAID] == [
        "pad", "3", "", "1/4 in",
    ]  # fmt: skip
    assert "1 part is ready" in body
    assert "1 needs" in body
    assert "0.40 m" in body
    assert body.count("missing") == 1
    assert not Drawing.objects.exists()


def test_what_is_corrected_is_kept_and_a_second_press_keeps_nothing_more(post, steel):
    answer = post(file("a_6mm_x2.dxf"), file("b_6mm_x3.dxf"), file("bad.dxf", b"no drawing"))
    data = shown(answer) | {"part-0-material": steel.code, "part-1-material": steel.code}
    data["part-0-name"] = "gusset"
    for _press in range(2):
        answer = post(follow=True, **data | {"do": "keep"})
        assert "2 parts are kept. Left out: bad.dxf." in answer.content.decode()
    assert list(Drawing.objects.values_list("name", "thickness_mm")) == [
        ("b", 6.0),
        ("gusset", 6.0),
    ]
    assert DrawingRevision.objects.count() == 2


def test_a_part_that_lacks_something_keeps_all_from_being_kept_until_it_is_left_out(post, steel):
    data = shown(post(file(f"a_6mm_{steel.code}_x2.dxf"), file("b_6mm_x3.dxf")))
    assert "missing" in post(**data | {"do": "keep"}).content.decode()
    assert not Drawing.objects.exists()
    del data["part-1-take"]
    post(**data | {"do": "keep"})
    assert [each.name for each in Drawing.objects.all()] == ["a"]


def test_a_zip_with_a_list_in_it_is_one_job(post, steel):
    rows = f"File;Qty;Grade;Thickness\nA;7;{steel.name};10 mm\nmissing.dxf;1;;\na.dxf;9;;\n"
    raw = archive(("job/a_x2.dxf", SQUARE), ("job/a.dxf", SQUARE), ("list.csv", rows.encode()),
                  ("job/readme.txt", b"hello"))  # fmt: skip
    answer = post(file("job.zip", raw), quantity="5", thickness_text="8 mm")
    body, data = answer.content.decode(), shown(answer)
    assert (data["part-0-quantity"], data["part-0-thickness_text"]) == ("2", "8 mm")
    assert (data["part-1-quantity"], data["part-1-thickness_text"]) == ("7", "10 mm")
    assert data["part-1-material"] == steel.code
    assert "from list.csv, line 2" in body
    assert "list.csv, line 3: there is no file missing.dxf" in body
    assert "list.csv, line 4: a.dxf is there twice" in body
    assert "job/readme.txt: This is not a DXF file" in body


def test_many_small_archives_do_not_unpack_to_more_than_is_taken_at_once(steel, monkeypatch):
    monkeypatch.setattr(bring, "read_apart", here)
    monkeypatch.setattr(bring, "MOST_BYTES", 300_000)
    bomb = archive(("a.dxf", bytes(200_000)), ("b.csv", bytes(10)))
    brought = bring.bring([file(f"{number}.zip", bomb) for number in range(5)])
    assert len(brought.parts) == 2
    assert any("2.zip and the files after it are more than" in line for line in brought.lines)


def test_an_archive_of_as_many_drawings_as_are_taken_may_hold_a_list_too(steel, monkeypatch):
    monkeypatch.setattr(bring, "read_apart", here)
    monkeypatch.setattr(bring, "MOST_FILES", 3)
    names = [(f"{number}.dxf", SQUARE) for number in range(3)]
    brought = bring.bring([file("a.zip", archive(*names, ("list.csv", b"file,qty\n1,7\n")))])
    assert [each.quantity for each in brought.parts] == ["", "7", ""]
    assert brought.lines == []


def test_lines_gathered_over_forms_have_a_limit_together(post, steel, monkeypatch):
    data = shown(post(file(f"a_6mm_{steel.code}_x2.dxf")))
    monkeypatch.setattr(parts_list, "MOST_BYTES", len(SQUARE) + 10)
    other = dxf(lambda space: square(space, 0, 0, 50))
    body = post(file(f"b_6mm_{steel.code}_x3.dxf", other), **data).content.decode()
    assert "1 part is ready" in body
    assert "The drawings before it are all that is taken at once" in body


def test_a_form_of_archives_has_a_limit_of_time(steel, monkeypatch):
    monkeypatch.setattr(bring, "read_apart", here)
    monkeypatch.setattr(bring, "MOST_S", -1.0)
    brought = bring.bring([file("1.zip", archive(("a.dxf", SQUARE)))])
    assert brought.parts == []
    assert "1.zip and the files after it" in brought.lines[0]


def test_a_list_that_cannot_be_read_costs_no_drawing(post, steel):
    answer = post(file("a_x2.dxf"), file("list.csv", b"pages;colour\n1;red\n"))
    assert "list.csv:1: unknown column" in answer.content.decode()
    assert shown(answer)["part-0-name"] == "a"


def test_a_unit_nobody_says_and_a_layer_passed_over_are_chosen_on_the_page(post, steel):
    def hidden(space):
        square(space, dxfattribs={"layer": "BORDER"})

    named = f"_6mm_{steel.code}_x1.dxf"
    answer = post(file("a" + named, dxf(square, units=UNITLESS)), file("b" + named, dxf(hidden)))
    body = answer.content.decode()
    assert "The drawing does not say its unit: choose one." in body
    assert "layer BORDER, named like help lines, with 1 LWPOLYLINE" in body
    assert "2 need" in body
    data = shown(answer) | {"part-0-unit": "in", "part-1-layers": "BORDER", "do": "keep"}
    post(**data)
    kept = {each.drawing.name: each.cut_mm for each in DrawingRevision.objects.all()}
    assert kept == {"a": pytest.approx(400 * 25.4), "b": 400}


def test_a_known_part_is_revised_and_one_of_another_thickness_is_named_apart(post, planner, steel):
    drawing_add(
        name="a", file_name="a.dxf", raw=dxf(lambda space: square(space, side=50)), by=planner,
        material=steel, thickness_text="6 mm", reading=Reading(),
    )  # fmt: skip
    answer = post(file(f"a_6mm_{steel.code}_x1.dxf"))
    assert "this is its next revision" in answer.content.decode()
    post(**shown(answer) | {"do": "keep"})
    assert Drawing.objects.get().revisions.count() == 2
    body = post(file(f"a_8mm_{steel.code}_x1.dxf"), do="keep").content.decode()
    assert f"A drawing of this name is of 6 mm {steel.code}: name it apart" in body
    assert Drawing.objects.get().revisions.count() == 2


def test_two_parts_of_one_name_are_told_apart_first(post, steel):
    named = f"a_6mm_{steel.code}_x1.dxf"
    raw = archive((f"left/{named}", SQUARE), (f"right/{named}", dxf(lambda s: square(s, side=9))))
    body = post(file("job.zip", raw), do="keep").content.decode()
    assert "another part of the list has this name" in body
    assert not Drawing.objects.exists()


def test_more_files_can_be_brought_to_a_list(post, steel):
    data = shown(post(file("a_x1.dxf")))
    data = shown(post(file("b_x2.dxf"), **data))
    assert [data["part-0-name"], data["part-1-name"]] == ["a", "b"]


def test_one_drawing_that_ends_its_reader_costs_the_others_nothing(post, steel, monkeypatch):
    def reading(kind, *args):
        if kind == "drawings" or (kind == "drawing" and b"MONSTER" in args[0]):
            raise TooCostly("Reading it took over 40 s, so it was stopped.")
        return here(kind, *args)

    monkeypatch.setattr(bring, "read_apart", reading)
    answer = post(file("a_x1.dxf"), file("monster.dxf", b"MONSTER"))
    assert "monster.dxf: Reading it took over 40 s" in answer.content.decode()
    assert shown(answer)["part-0-name"] == "a"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "Choose drawings."),
        ({"part-TOTAL_FORMS": "9999", "part-INITIAL_FORMS": "0"}, "no longer here"),
        ({"part-TOTAL_FORMS": "1", "part-INITIAL_FORMS": "0", "part-0-digest": "../../x",
          "part-0-take": "on"}, "no longer here"),
        ({"part-TOTAL_FORMS": "-1", "part-INITIAL_FORMS": "x"}, "Choose drawings."),
    ],
)  # fmt: skip
def test_forms_nobody_filled_in_do_no_harm(post, more, said):
    answer = post(**more | {"do": "keep"})
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert not Drawing.objects.exists()


def test_more_files_than_are_taken_are_counted(post, monkeypatch):
    monkeypatch.setattr(bring, "MOST_FILES", 2)
    answer = post(*(file(f"p{k}_x1.dxf") for k in range(3)))
    assert "1 files are over 2" in answer.content.decode()
    assert "part-2-name" not in shown(answer)


def test_files_are_read_in_a_process_of_its_own(post, steel, monkeypatch):
    asked = []

    def reading(kind, *args):
        asked.append(kind)
        return read_apart(kind, *args)

    monkeypatch.setattr(bring, "read_apart", reading)
    raw = archive(("a_x1.dxf", SQUARE), ("bad_x1.dxf", SQUARE[:-9]))
    body = post(file("job.zip", raw)).content.decode()
    assert asked == ["packed", "drawings"]
    assert "0.40 m" in body
    assert "bad_x1.dxf" in body


@pytest.mark.long
def test_as_many_drawings_as_are_taken_go_through_with_a_layer_chosen_in_each(post, steel):
    def hidden(space):
        square(space, dxfattribs={"layer": "BORDER"})
        space.add_circle((200, 0), 5, dxfattribs={"layer": "HIDDEN"})

    raw = dxf(hidden)
    named = ((f"p{k}_6mm_{steel.code}_x{k + 1}.dxf", raw) for k in range(bring.MOST_FILES))
    data = shown(post(file("job.zip", archive(*named))))
    chosen = {f"part-{k}-layers": ["BORDER", "HIDDEN"] for k in range(bring.MOST_FILES)}
    more = [file(f"q{k}_x1.dxf", b"0") for k in range(101)]
    assert "101 files are over 100" in post(*more, **data).content.decode()
    answer = post(**data | chosen | {"do": "keep"})
    assert answer.status_code == 302
    assert Drawing.objects.count() == bring.MOST_FILES
