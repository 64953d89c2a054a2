"""A form pressed twice."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from shopfloor.models import Job, Sheet
from shopfloor.web import double_submit as once

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(planner, shop):
    made = Client()
    made.force_login(planner)
    return made


def token(client: Client, address: str) -> str:
    found = re.search(
        r'name="csrfmiddlewaretoken" value="(\w+)"', client.get(address).content.decode()
    )
    assert found is not None
    return found[1]


@pytest.fixture
def plate(shop):
    from shopfloor.models import Material

    steel = Material.objects.create(
        code="A36", name="Mild steel", family="mild steel", density_kg_m3=7850
    )
    return {"count": "1", "material": steel.pk, "thickness_text": "6 mm", "length": "3000",
            "width": "1500", "unit": "mm"}  # fmt: skip


def receive(client, plate, press, **more):
    said = plate | {"csrfmiddlewaretoken": press} | more
    return client.post("/stock/receive/", said, follow=True)


def test_one_plate_received_by_a_double_press_is_one_plate(page, plate):
    press = token(page, "/stock/receive/")
    receive(page, plate, press)
    second = receive(page, plate, press)
    assert "This was sent twice." in second.content.decode()
    assert Sheet.objects.count() == 1


def test_the_same_again_from_a_page_drawn_anew_is_meant(page, plate):
    receive(page, plate, token(page, "/stock/receive/"))
    receive(page, plate, token(page, "/stock/receive/"))
    assert Sheet.objects.count() == 2


def test_other_figures_on_the_same_page_are_another_press(page, plate):
    press = token(page, "/stock/receive/")
    receive(page, plate, press)
    receive(page, plate, press, length="2000")
    assert Sheet.objects.count() == 2


def test_what_was_not_taken_may_be_sent_again_as_it_is(page, shop):
    press = token(page, "/jobs/add/")
    said = {"csrfmiddlewaretoken": press, "number": "K-1", "customer": "", "title": "t"}
    for _ in range(2):
        answer = page.post("/jobs/add/", said | {"weight": "1"})
        assert "This field is required." in answer.content.decode()
    assert not Job.objects.exists()


def test_presses_of_long_ago_are_swept(settings, tmp_path, monkeypatch):
    import os

    monkeypatch.setattr(once, "MOST", 2)
    folder = tmp_path / "once"
    for name in ("a", "b"):
        once._make(folder / name)
        os.utime(folder / name, (0, 0))
    once._make(folder / "c")
    assert [path.name for path in folder.iterdir()] == ["c"]
    with pytest.raises(FileExistsError):
        once._make(folder / "c")
