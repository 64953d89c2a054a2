"""Which names the web process answers to, beyond loopback."""

from __future__ import annotations

import socket

import pytest

from shopfloor.web import hosts

HERE = "192.168.7.20"


@pytest.fixture
def answers(settings, monkeypatch):
    """Whether a request that came to `here` under `host` would be answered."""
    monkeypatch.delenv("KERFBOOK_HOSTS", raising=False)
    monkeypatch.setattr(socket, "gethostname", lambda: "Shop-PC.lan")
    settings.ALLOWED_HOSTS = ["localhost"]
    application = hosts.own_hosts(lambda environ, start: [])

    def ask(host: str, here: str = HERE) -> bool:
        application({"HTTP_HOST": host, hosts.HERE: here}, None)
        return hosts.split_domain_port(host)[0] in settings.ALLOWED_HOSTS

    return ask


@pytest.mark.parametrize("host", [HERE, f"{HERE}:8000", "shop-pc", "shop-pc.local:8000"])
def test_its_own_address_and_names_are_answered(answers, host):
    assert answers(host)


@pytest.mark.parametrize("host", ["", "192.168.7.21", "evil.example", "shop-pc.evil.example", "["])
def test_no_other_is(answers, host):
    assert not answers(host)


def test_an_address_of_six_is_its_own_however_it_is_written(answers):
    assert answers("[2001:db8:0:0::7]:8000", here="2001:db8::7")


def test_names_that_were_set_are_the_only_ones(settings, monkeypatch):
    monkeypatch.setenv("KERFBOOK_HOSTS", "kerfbook.example")
    settings.ALLOWED_HOSTS = ["kerfbook.example"]
    hosts.own_hosts(lambda environ, start: [])({"HTTP_HOST": HERE, hosts.HERE: HERE}, None)
    assert settings.ALLOWED_HOSTS == ["kerfbook.example"]


def test_own_addresses_are_addresses_others_can_reach():
    for address in hosts.own_addresses():
        assert not hosts.is_loopback(address)
