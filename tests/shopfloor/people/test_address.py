"""Whose address a request is counted under."""

from __future__ import annotations

import re
from ipaddress import ip_network

import pytest
from django.test import RequestFactory

from shopfloor.env import SettingError, env_networks
from shopfloor.people.address import address_block, client_address
from tests.processes import ROOT

PROXIES = ("127.0.0.1/32", "10.0.0.0/8", "2001:db8:1::/48")


def seen(settings, direct: str, forwarded: str | None, proxies=PROXIES) -> str:
    settings.TRUSTED_PROXIES = tuple(ip_network(one) for one in proxies)
    more = {} if forwarded is None else {"HTTP_X_FORWARDED_FOR": forwarded}
    return client_address(RequestFactory().get("/", REMOTE_ADDR=direct, **more))


@pytest.mark.parametrize(
    ("direct", "forwarded", "address"),
    [
        # Somebody who is no proxy says what he likes.
        ("203.0.113.5", "198.51.100.1", "203.0.113.5"),
        ("203.0.113.5", None, "203.0.113.5"),
        # One proxy, and two of ours in a row.
        ("127.0.0.1", "203.0.113.5", "203.0.113.5"),
        ("127.0.0.1", "203.0.113.5, 10.1.1.1", "203.0.113.5"),
        # What the client itself put in front counts for nothing.
        ("127.0.0.1", "198.51.100.1, 10.9.9.9, 203.0.113.5, 10.1.1.1", "203.0.113.5"),
        # Without the header, or with nonsense in it, the proxy stands for all behind it.
        ("127.0.0.1", None, "127.0.0.1"),
        ("127.0.0.1", "", "127.0.0.1"),
        ("127.0.0.1", "unknown", "127.0.0.1"),
        ("127.0.0.1", "203.0.113.5, <script>, 10.1.1.1", "10.1.1.1"),
        # All of them ours: the first hop is a machine of our own network.
        ("127.0.0.1", "10.2.2.2, 10.1.1.1", "10.2.2.2"),
        # The forms an address comes in.
        ("127.0.0.1", "203.0.113.5:4711", "203.0.113.5"),
        ("2001:db8:1::7", "[2001:db8:2::9]:4711", "2001:db8:2::9"),
        ("::ffff:127.0.0.1", "203.0.113.5", "203.0.113.5"),
        ("::ffff:203.0.113.5", "198.51.100.1", "203.0.113.5"),
        ("", "203.0.113.5", ""),
    ],
)
def test_the_last_hop_that_is_no_trusted_proxy_is_the_client(settings, direct, forwarded, address):
    assert seen(settings, direct, forwarded) == address


def test_without_trusted_proxies_the_header_is_never_believed(settings):
    assert seen(settings, "127.0.0.1", "203.0.113.5", proxies=()) == "127.0.0.1"


def test_no_other_module_looks_for_the_address_by_itself():
    read = [
        path.relative_to(ROOT).as_posix()
        for room in ("shopfloor", "telemetry", "planning", "dashboards")
        for path in (ROOT / room).rglob("*.py")
        if re.search("REMOTE_ADDR|X.FORWARDED.FOR.[\"']", path.read_text(), re.IGNORECASE)
    ]
    assert read == ["shopfloor/people/address.py"]


def test_an_ipv6_address_is_counted_with_its_network():
    assert address_block("2001:db8:2:3:4::5") == address_block("2001:db8:2:3::9")
    assert address_block("2001:db8:2:3::9") != address_block("2001:db8:2:4::9")
    assert address_block("203.0.113.5") == "203.0.113.5"
    assert address_block("") == ""


@pytest.mark.parametrize("raw", ["proxy.example", "10.0.0.1/8", "10.0.0.0/40"])
def test_a_network_that_is_none_is_refused_by_the_settings_name(monkeypatch, raw):
    monkeypatch.setenv("KERFBOOK_TRUSTED_PROXIES", f"127.0.0.1, {raw}")
    with pytest.raises(SettingError, match=r"^KERFBOOK_TRUSTED_PROXIES: .*" + raw.split("/")[0]):
        env_networks("KERFBOOK_TRUSTED_PROXIES")


def test_networks_are_read(monkeypatch):
    monkeypatch.setenv("KERFBOOK_TRUSTED_PROXIES", "127.0.0.1, 10.0.0.0/8,::1")
    assert env_networks("KERFBOOK_TRUSTED_PROXIES") == (
        ip_network("127.0.0.1/32"), ip_network("10.0.0.0/8"), ip_network("::1/128"),
    )  # fmt: skip
