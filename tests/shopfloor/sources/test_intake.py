"""The address collectors deliver to, as the network sees it."""

from __future__ import annotations

from ipaddress import ip_network

import pytest
from django.urls import reverse

from shopfloor.sources.office import push_intake as intake
from shopfloor.web.rate_limit import RateLimit
from telemetry.feeds.push.receipt import _inboxes
from telemetry.feeds.push.records import MAX_BODY
from telemetry.journal import Kind, Record
from telemetry.models import PushToken
from telemetry.selectors import feed_status
from telemetry.services import push_token_issue
from telemetry.worker import run_once
from tests.telemetry.feeds.test_push_hostile import HOSTILE

ONE = "a" * 32
BODY = b"1,2026-10-08T08:00:00,ARC ON,\n2,2026-10-08T08:00:30,ARC OFF,\n"


@pytest.fixture(autouse=True)
def _fresh(monkeypatch):
    _inboxes.clear()
    monkeypatch.setattr(intake, "DELIVERIES", RateLimit(per_s=20, burst=60))


@pytest.fixture
def token(feed):
    return push_token_issue(feed=feed)


def record(sequence=1, body=BODY, at=0):
    return Record(Kind.DATA, sequence, 5, 5, {"source": "live", "at": at}, body).pack()


def deliver(client, token, body, **headers):
    return client.post(
        reverse("intake", args=["north-a"]), body, content_type="application/octet-stream",
        headers={"Authorization": f"Bearer {token}", "Kerfbook-Collector": ONE, **headers},
    )  # fmt: skip


def test_a_delivery_is_acknowledged_and_the_worker_takes_it(client, feed, token):
    assert deliver(client, token, record()).json() == {"next": 2}
    assert deliver(client, token, record()).json() == {"next": 2}
    run_once([feed])
    assert (feed_status(feed)["lines"], feed_status(feed)["arc_seconds"]) == (2, 30.0)


def test_it_says_what_it_wants_next(client, feed, token):
    deliver(client, token, record())
    headers = {"Authorization": f"Bearer {token}", "Kerfbook-Collector": ONE}
    answer = client.get(reverse("intake", args=["north-a"]), headers=headers)
    assert answer.json() == {"next": 2}
    missing = deliver(client, token, record(9))
    assert (missing.status_code, missing.json()["next"]) == (409, 2)


def test_no_sign_in_replaces_the_token(client, feed, token, administrator):
    client.force_login(administrator)
    for given in ("", "Bearer", "Basic x", f"Bearer {token}x"):
        answer = client.post(
            reverse("intake", args=["north-a"]), record(), content_type="x/y",
            headers={"Authorization": given, "Kerfbook-Collector": ONE},
        )  # fmt: skip
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert deliver(client, token, record(), **{"Kerfbook-Collector": "x"}).status_code == 400


def test_another_feeds_token_and_an_ended_one_are_refused(client, feed, token):
    from shopfloor.sources.services import source_register
    from tests.shopfloor.conftest import FEED

    other = source_register(name="north-b", text=FEED, by="theo").feed
    assert deliver(client, push_token_issue(feed=other), record()).status_code == 401
    push_token_issue(feed=feed)
    assert deliver(client, token, record()).status_code == 401


def test_bodies_are_bounded_and_need_a_length(client, feed, token):
    assert deliver(client, token, b"x" * (MAX_BODY + 1)).status_code == 413
    assert deliver(client, token, b"nonsense").status_code == 422
    assert deliver(client, token, record(), **{"Content-Length": "many"}).status_code == 411


@pytest.mark.parametrize(
    ("status", "headers"),
    [
        (415, {"content_type": "multipart/form-data; boundary=x"}),
        (415, {"content_type": "application/x-www-form-urlencoded"}),
        (415, {"HTTP_CONTENT_ENCODING": "gzip"}),
        (413, {"CONTENT_LENGTH": "9" * 5000}),
        (413, {"CONTENT_LENGTH": str(MAX_BODY + 1)}),
        (411, {"CONTENT_LENGTH": "-1"}),
        (411, {"CONTENT_LENGTH": "\u0663"}),
        (400, {"HTTP_KERFBOOK_COLLECTOR": "a" * 31}),
        (400, {"HTTP_KERFBOOK_COLLECTOR": "A" * 32}),
        (400, {"HTTP_KERFBOOK_COLLECTOR": "\xe9" * 32}),
        (200, {"HTTP_KERFBOOK_NOW": "9" * 5000, "HTTP_KERFBOOK_WAITING": "\xb2"}),
        (200, {"HTTP_KERFBOOK_NOW": "9" * 18, "HTTP_KERFBOOK_WAITING": "9" * 18}),
        (401, {"HTTP_AUTHORIZATION": "Bearer " + "\xff" * 5000}),
        (401, {"HTTP_AUTHORIZATION": "Bearer a\0b"}),
    ],
)
def test_odd_requests_are_answered_in_words(client, feed, token, status, headers):
    sent = {
        "content_type": "application/octet-stream",
        "HTTP_AUTHORIZATION": f"Bearer {token}", "HTTP_KERFBOOK_COLLECTOR": ONE, **headers,
    }  # fmt: skip
    body = record() if "octet" in sent["content_type"] else b"a=1"
    answer = client.post(reverse("intake", args=["north-a"]), body, **sent)
    assert answer.status_code == status
    assert ("next" if status == 200 else "error") in answer.json()


@pytest.mark.parametrize("what", HOSTILE)
def test_records_no_collector_writes_are_refused_in_words(client, feed, token, what):
    answer = deliver(client, token, HOSTILE[what])
    assert answer.status_code == 422
    assert len(answer.json()["error"]) > 10
    assert deliver(client, token, record()).json() == {"next": 2}


def test_wrong_tokens_and_hasty_deliveries_are_asked_to_wait(client, feed, token, monkeypatch):
    monkeypatch.setattr(intake, "DELIVERIES", RateLimit(per_s=0.01, burst=2))
    assert [deliver(client, token, record()).status_code for _ in range(3)] == [200, 200, 429]
    for _ in range(10):
        assert deliver(client, "wrong", record()).status_code == 401
    answer = deliver(client, "wrong", record())
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["Retry-After"]) <= 60
    assert "wrong tokens" in answer.json()["error"]


def test_a_right_token_is_taken_whatever_else_comes_from_its_address(client, feed, token):
    for _ in range(12):
        deliver(client, "wrong", record())
    assert deliver(client, "wrong", record()).status_code == 429
    assert deliver(client, token, record()).json() == {"next": 2}


def test_wrong_tokens_are_counted_by_feed_and_by_the_client_behind_the_proxy(
    client, feed, token, settings
):
    settings.TRUSTED_PROXIES = (ip_network("127.0.0.1"),)

    def status(address, name="north-a"):
        return client.get(
            reverse("intake", args=[name]), headers={"X-Forwarded-For": address}
        ).status_code

    assert [status("203.0.113.5") for _ in range(11)] == [401] * 10 + [429]
    assert status("203.0.113.6") == 401
    assert status("203.0.113.5", "other") == 401
    assert status("198.51.100.1, 203.0.113.5") == 429


def test_a_rate_gives_its_burst_and_then_so_many_a_second():
    rate = RateLimit(per_s=2, burst=3)
    assert [rate.wait_s("a", now=0) for _ in range(4)] == [0, 0, 0, 0.5]
    assert rate.wait_s("b", now=0) == 0
    assert [rate.wait_s("a", now=1) for _ in range(3)] == [0, 0, 0.5]


def test_a_token_is_shown_once_on_the_page_that_makes_it(client, feed, administrator):
    client.force_login(administrator)
    answer = client.post(reverse("source_token", args=["north-a"]))
    shown = answer.context["token"]
    assert shown in answer.content.decode()
    assert "no-store" in answer.headers["Cache-Control"]
    page = client.get(reverse("source", args=["north-a"])).content.decode()
    assert shown not in page
    assert "nothing was delivered with it yet" in " ".join(page.split())
    assert PushToken.objects.get().made_by == "theo"
    assert deliver(client, shown, record()).status_code == 200
