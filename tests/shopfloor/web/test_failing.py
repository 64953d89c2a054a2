"""A page that could not be made."""

from __future__ import annotations

import logging

import pytest
from django.db import IntegrityError, OperationalError
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from shopfloor.models import Job

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(planner, shop):
    made = Client(raise_request_exception=False)
    made.force_login(planner)
    return made


SAID = {"number": "K-1", "customer": "Oxlode", "title": "plates", "weight": "1"}


def failing(problem):
    def job_add(**values):
        raise problem

    return job_add


def test_a_locked_database_is_said_with_when_to_come_again(page, monkeypatch, caplog):
    monkeypatch.setattr(
        "shopfloor.jobs.office.edit.job_add", failing(OperationalError("database is locked"))
    )
    answer = page.post(reverse("job_add"), SAID)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    assert "nothing of this was kept" in answer.content.decode()
    assert not Job.objects.exists()


def test_any_other_fault_is_said_as_one_and_told_in_the_log(page, monkeypatch, caplog):
    monkeypatch.setattr("shopfloor.jobs.office.edit.job_add", failing(RuntimeError("what now")))
    with caplog.at_level(logging.ERROR):
        answer = page.post(reverse("job_add"), SAID)
    assert answer.status_code == 500
    assert "The error is in the log" in answer.content.decode()
    assert [record.exc_info[1].args for record in caplog.records] == [("what now",)]


def test_faults_reach_the_log_without_debugging():
    """Django's own settings print them only while debugging."""
    assert logging.getLogger("django.request").isEnabledFor(logging.ERROR)
    assert logging.getLogger("django").handlers == []
    assert any(isinstance(one, logging.StreamHandler) for one in logging.getLogger().handlers)


def test_what_somebody_else_kept_at_the_same_moment_is_said_on_the_form(page, monkeypatch):
    monkeypatch.setattr(
        "shopfloor.jobs.office.edit.job_add", failing(IntegrityError("UNIQUE constraint failed"))
    )
    answer = page.post(reverse("job_add"), SAID)
    assert answer.status_code == 200
    assert "Somebody else kept one like it just now" in answer.content.decode()


@pytest.mark.parametrize(
    ("name", "heading"), [("500.html", "This page failed"), ("503.html", "The database is busy")]
)
def test_the_pages_of_a_failure_need_neither_the_database_nor_a_request(
    name, heading, django_assert_num_queries
):
    with django_assert_num_queries(0):
        page = render_to_string(name)
    assert f"<title>{heading} – Kerfbook</title>" in page
    assert f"<h1>{heading}</h1>" in page
    assert page.count('<p class="lede">') == 1
    assert "{" not in page
