"""Whose address a request comes from. Everything that counts or logs by address asks here."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

from django.conf import settings
from django.http import HttpRequest

Address = IPv4Address | IPv6Address
_IPV6_BLOCK = 64  # one customer of a provider has as many addresses as this leaves


def client_address(request: HttpRequest) -> str:
    """The address of the client; "" where the connection has none (a Unix socket).

    X-Forwarded-For is a claim of whoever sent it. It is believed only from the addresses in
    KERFBOOK_TRUSTED_PROXIES, read from the right: each trusted proxy vouches for the hop before
    it, and the first hop that is no trusted proxy is the client. A hop that is no address ends
    the reading at the proxy that passed it on.
    """
    direct = request.META.get("REMOTE_ADDR", "")
    found = _parsed(direct)
    if found is None or not _trusted(found):
        return direct if found is None else str(found)
    for hop in reversed(request.headers.get("X-Forwarded-For", "").split(",")):
        before = _parsed(hop)
        if before is None:
            break
        found = before
        if not _trusted(found):
            break
    return str(found)


def address_block(address: str) -> str:
    """What to count failures under: an IPv4 address, or the /64 network of an IPv6 one."""
    found = _parsed(address)
    if isinstance(found, IPv6Address):
        return str(ip_network((found, _IPV6_BLOCK), strict=False))
    return address if found is None else str(found)


def _trusted(address: Address) -> bool:
    return any(address in network for network in settings.TRUSTED_PROXIES)


def _parsed(text: str) -> Address | None:
    """`1.2.3.4`, `1.2.3.4:80`, `::1`, `[::1]:80`; an IPv4 address within IPv6 as IPv4."""
    text = text.strip()
    if text.startswith("["):
        text = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        text = text.partition(":")[0]
    try:
        found = ip_address(text)
    except ValueError:
        return None
    if isinstance(found, IPv6Address) and found.ipv4_mapped is not None:
        return found.ipv4_mapped
    return found
