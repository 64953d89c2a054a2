"""Single pieces: put on record, searched, lost and found, looked at, and their story."""

from __future__ import annotations

from io import BytesIO

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from shopfloor.models import Inspection, Piece, PieceOutlook, SetPart, Tray
from shopfloor.wear.shelf import piece_put, pieces_found
from shopfloor.wear.story import pieces_list, story
from tests.shopfloor.floor_shop import MINUTE, T0


@pytest.fixture
def nozzle(floor):
    floor.tray(label="A")
    return SetPart.objects.get(wear_set=floor.fast, kind="nozzle")


def found(part, labels, starts, arc_s=None):
    return pieces_found(part=part, labels=labels, prior_starts=starts, prior_arc_s=arc_s)


@pytest.mark.parametrize(("starts", "state"), [(None, "shelved"), (0, "new"), (210, "shelved")])
def test_a_piece_found_on_day_one_has_the_age_it_has_or_none(nozzle, starts, state):
    [piece] = found(nozzle, ["  N-1 ", ""], starts)
    piece.refresh_from_db()
    assert (piece.label, piece.prior_starts, piece.state) == ("N-1", starts, state)


def test_labels_are_never_given_twice(nozzle):
    for labels in (["N-1", "N-1"], ["A-nozzle"], []):
        with pytest.raises(ValidationError):
            found(nozzle, labels, None)
    assert Piece.objects.filter(part=nozzle).count() == 1


def test_lost_and_found_again(nozzle):
    [piece] = found(nozzle, ["N-1"], 40)
    assert piece_put(piece=piece, do="lost").state == "lost"
    with pytest.raises(ValidationError, match="lost"):
        piece_put(piece=piece, do="out")
    assert piece_put(piece=piece, do="found").state == "shelved"
    assert piece_put(piece=piece, do="out").state == "retired"
    told = [deed.what for deed in story(Piece.objects.get(pk=piece.pk))]
    assert told == [
        "thrown out of the drawer", "found again", "lost from the drawer",
        "found with 40 starts",
    ]  # fmt: skip


def test_a_tray_takes_one_of_a_kind_and_its_own_set(floor, nozzle):
    tray = Tray.objects.get(label="A")
    [piece] = found(nozzle, ["N-1"], None)
    with pytest.raises(ValidationError, match="has A-nozzle already"):
        piece_put(piece=piece, do="on_tray", tray=tray)
    piece_put(piece=Piece.objects.get(label="A-nozzle"), do="off_tray")
    assert piece_put(piece=piece, do="on_tray", tray=tray).tray == tray
    fine = Tray.objects.create(label="F", wear_set=floor.fine)
    with pytest.raises(ValidationError, match="fine 45 A"):
        piece_put(piece=piece, do="on_tray", tray=fine)


def test_a_piece_in_a_torch_is_left_to_the_screen_beside_it(floor, nozzle):
    floor.done("change_tray", T0, tray="A")
    with pytest.raises(ValidationError, match="in a torch"):
        piece_put(piece=Piece.objects.get(label="A-nozzle"), do="lost")


def test_the_story_tells_every_stay_and_what_its_end_counts_as(floor, nozzle):
    floor.done("change_tray", T0, tray="A")
    floor.done("inspect", T0 + MINUTE, piece="A-nozzle", orifice_round=True)
    floor.done("change_piece", T0 + 2 * MINUTE, old="A-nozzle", state="shelved")
    floor.done("change_piece", T0 + 3 * MINUTE, new="A-nozzle")
    floor.done("change_piece", T0 + 4 * MINUTE, old="A-nozzle", state="failed", cause="nick")
    told = story(Piece.objects.get(label="A-nozzle"))
    assert [(deed.what.rpartition(" ")[2], deed.end) for deed in told] == [
        ("nick", "failed"), ("1", ""), ("drawer", "shelved"), ("at", ""), ("1", ""),
    ]  # fmt: skip


def test_the_story_calls_a_partner_no_worn_part(floor, nozzle):
    floor.done("change_tray", T0, tray="A")
    out = {"old": "A-nozzle", "state": "failed", "cause": "pit", "collateral": True}
    floor.done("change_piece", T0 + MINUTE, **out)
    [last, *_] = story(Piece.objects.get(label="A-nozzle"))
    assert last.what.endswith(": changed with one that failed, pit")
    assert last.end == "collateral"


def test_pieces_are_searched_by_label_part_and_tray_and_by_state(nozzle):
    found(nozzle, [f"N-{number}" for number in range(3)], None)
    assert pieces_list(text="n-1").get().label == "N-1"
    assert pieces_list(text="A", state="new").count() == 2
    assert pieces_list(state="here").count() == 5
    assert pieces_list(state="lost").count() == 0
    for label, due in (("N-0", "soon"), ("A-nozzle", "due")):
        PieceOutlook.objects.create(piece=Piece.objects.get(label=label), due=due, computed_at=T0)
    labels = [piece.label for piece in pieces_list(state="here")]
    assert labels[:3] == ["A-nozzle", "N-0", "N-2"]  # what needs a hand, then the newest


def jpeg():
    raw = BytesIO()
    Image.new("RGB", (40, 30), "white").save(raw, "JPEG")
    return raw.getvalue()


def test_what_was_seen_is_kept_in_the_persons_unit_with_its_photo(
    nozzle, client, supervisor, settings, tmp_path
):
    """0.05 in of pit is 1.27 mm."""
    settings.MEDIA_ROOT = tmp_path
    supervisor.units = "inch"
    supervisor.save()
    client.force_login(supervisor)
    piece = Piece.objects.get(label="A-electrode")
    address = reverse("piece_look", args=[piece.pk])
    sent = {"pit_mm": "0.05", "orifice_round": "false", "note": ""}
    photo = SimpleUploadedFile("p.jpg", jpeg())
    assert client.post(address, sent | {"photo": photo}).status_code == 302
    look = Inspection.objects.get()
    assert (look.pit_mm, look.orifice_round) == (pytest.approx(1.27), False)
    answer = client.get(reverse("inspection_photo", args=[look.pk]))
    assert (answer.content, answer["Content-Type"]) == (jpeg(), "application/octet-stream")
    assert "0.05" in client.get(reverse("piece", args=[piece.pk])).content.decode()
    wrong = SimpleUploadedFile("p.jpg", b"\xff\xd8\xff no photo at all")
    assert (
        "cannot open that photo"
        in client.post(address, {"pit_mm": "0.06", "photo": wrong}).content.decode()
    )
    assert "Nothing was said" in client.post(address, {"note": ""}).content.decode()
    assert Inspection.objects.count() == 1


def test_pages_of_pieces(nozzle, client, planner, operator):
    client.force_login(planner)
    typed = {"part": nozzle.pk, "labels": "N-7\nN-8", "prior_starts": "", "prior_arc_min": ""}
    assert client.post(reverse("pieces_add"), typed).status_code == 302
    piece = Piece.objects.get(label="N-7")
    assert (piece.prior_starts, piece.prior_arc_s) == (None, None)
    client.force_login(operator)
    assert "N-8" in client.get(reverse("pieces") + "?q=N-").content.decode()
    client.post(reverse("piece_act", args=[piece.pk]), {"do": "lost"})
    piece.refresh_from_db()
    assert piece.state == "lost"
    page = client.get(reverse("piece", args=[piece.pk])).content.decode()
    assert "It is found" in page
    assert "14.00" not in page
