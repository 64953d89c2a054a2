"""What every request passes."""

from __future__ import annotations

from unittest.mock import patch

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shopfloor.jobs.services import job_add
from shopfloor.models import Shop

SHOP_ROW = 'SELECT "shopfloor_shop"."id"'

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(shop):
    return job_add(number="K-1", customer="Oxlode Bridge", title="plates", due_at=None)


@pytest.mark.parametrize("address", ["/jobs/?q=a%00b", "/jobs/?%00=a", "/jobs/%00/"])
def test_an_address_with_a_nul_is_turned_away(client, planner, address):
    client.force_login(planner)
    assert client.get(address).status_code in (400, 404)


@pytest.mark.parametrize("multipart", [True, False])
def test_a_form_with_a_nul_is_turned_away_and_nothing_written(client, planner, job, multipart):
    client.force_login(planner)
    address = f"/jobs/{job.pk}/act/"
    if multipart:
        answer = client.post(address, {"do": "hold", "reason": "no\0plate"})
    else:
        kind = "application/x-www-form-urlencoded"
        answer = client.post(address, "do=hold&reason=no%00plate", content_type=kind)
    assert answer.status_code == 400
    job.refresh_from_db()
    assert job.state == "open"


def test_a_file_of_nuls_is_still_read_as_a_file(client, shop, planner):
    """Only text is looked at: what a file holds is for the reader of files to say."""
    client.force_login(planner)
    upload = SimpleUploadedFile("jobs.csv", b"\0" * 10)
    answer = client.post("/jobs/import/", {"file": upload})
    assert answer.status_code == 200


def test_a_page_reads_the_shop_once_and_the_next_page_reads_it_anew(client, shop, planner):
    client.force_login(planner)
    client.get("/jobs/")
    with CaptureQueriesContext(connection) as asked:
        client.get("/jobs/")
    rows = [one for one in asked.captured_queries if one["sql"].startswith(SHOP_ROW)]
    assert len(rows) == 1
    assert _zone_shown(client) == "America/Chicago"
    Shop.objects.update(zone="Europe/Oslo")
    assert _zone_shown(client) == "Europe/Oslo"


def _zone_shown(client):
    with patch("django.utils.timezone.override", wraps=timezone.override) as override:
        client.get("/jobs/")
        zones = [str(call.args[0]) for call in override.call_args_list]
    return zones[0]
