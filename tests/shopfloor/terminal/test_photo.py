"""A code photographed instead of scanned, on the screen and at its address."""

from __future__ import annotations

from io import BytesIO

import pytest
import segno
from django.core.files.uploadedfile import SimpleUploadedFile

URL = "/floor/north/photo"


def picture(text: str) -> bytes:
    out = BytesIO()
    segno.make(text, micro=False).save(out, kind="png", scale=5, border=8)
    return out.getvalue()


def taken(raw: bytes) -> dict:
    return {"photo": SimpleUploadedFile("p.png", raw, "image/png")}


@pytest.mark.django_db
def test_a_photo_gives_its_code(signed_in):
    assert signed_in.post(URL, taken(picture("2284-1.s1"))).json() == {
        "codes": ["2284-1.s1"],
        "words": "",
    }


@pytest.mark.django_db
@pytest.mark.parametrize("raw", [b"GIF89a", b"", b"\xff\xd8\xff\xe0 not whole"])
def test_what_is_no_photo_is_answered_in_words(signed_in, raw):
    reply = signed_in.post(URL, taken(raw))
    assert (reply.status_code, reply.json()["codes"]) == (200, [])
    assert reply.json()["words"]


@pytest.mark.django_db
def test_no_photo_at_all_is_answered_in_words(signed_in):
    assert signed_in.post(URL).json()["codes"] == []


@pytest.mark.django_db
def test_a_screen_that_is_not_registered_reads_nothing(client, north):
    assert client.post(URL, taken(picture("x"))).status_code == 403


@pytest.mark.browser
@pytest.mark.slow
def test_a_photo_of_a_paper_starts_its_nest_as_a_scan_does(terminal):
    terminal.sign_in()
    photo = {"name": "p.png", "mimeType": "image/png", "buffer": picture("K-2284-2")}
    terminal.page.set_input_files("#photo", photo)
    terminal.sees("K-2284, nest 2 of 2")
    terminal.sees("Scan it, or go on if this is the sheet on the table.")
    terminal.looked_at("photo-start")
    terminal.page.set_input_files(
        "#photo", {"name": "q.png", "mimeType": "image/png", "buffer": b"no picture"}
    )
    terminal.sees("Nothing was read.")
    terminal.page.set_input_files("#photo", {**photo, "buffer": picture("S-1109")})
    terminal.sees("Planned was S-1102.")
