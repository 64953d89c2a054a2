"""Addresses with a number no row can have."""

from __future__ import annotations

import pytest
from django.urls import Resolver404, resolve

from tests.fuzz.addresses import addresses

MOST = 9_223_372_036_854_775_807  # a signed 64-bit key, the largest of both databases


def test_a_larger_number_is_no_address():
    assert resolve(f"/jobs/{MOST}/").kwargs == {"pk": MOST}
    for path in (f"/jobs/{MOST + 1}/", f"/jobs/{MOST + 1}/lines/1/", f"/jobs/{10**40}/"):
        with pytest.raises(Resolver404):
            resolve(path)


@pytest.mark.django_db
def test_a_line_of_a_job_that_cannot_be_is_not_found(client, owner):
    client.force_login(owner)
    assert client.get(f"/jobs/{MOST + 1}/lines/1/").status_code == 404
    assert client.get(f"/jobs/{MOST}/lines/{MOST}/").status_code == 404


def test_every_number_in_an_address_is_asked_for_in_this_way():
    routes = [one.route for one in addresses()]
    assert sum("<bigint:" in one for one in routes) > 50
    assert not [one for one in routes if "<int:" in one]
