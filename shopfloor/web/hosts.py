"""The names this machine answers to where KERFBOOK_HOSTS is not set: its own, and no other, so
that a page elsewhere cannot lead a browser in by a name of its own.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Callable, Iterable
from typing import Any

from django.conf import settings
from django.http.request import split_domain_port

HERE = "kerfbook.here"  # in a request's environment: the address it was sent to
Application = Callable[..., Iterable[bytes]]


def is_loopback(bind: str) -> bool:
    if bind == "localhost":
        return True
    try:
        return ipaddress.ip_address(bind).is_loopback
    except ValueError:
        return False


def own_names() -> list[str]:
    name = socket.gethostname().lower()
    short = name.partition(".")[0]
    return list(dict.fromkeys([name, short, f"{short}.local"]))


def own_addresses() -> list[str]:
    """The addresses other machines can reach this one by, the likeliest first. Sends nothing."""
    found: list[str] = []
    for family, far in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as probe:
                probe.connect((far, 9))
                found.append(probe.getsockname()[0])
        except OSError:
            continue  # no such network here
    try:
        known = socket.getaddrinfo(socket.gethostname(), None, type=socket.SOCK_STREAM)
        found += [str(address[4][0]) for address in known]
    except OSError:
        pass
    return [text for text in dict.fromkeys(found) if _reachable(text)]


def _reachable(text: str) -> bool:
    try:
        address = ipaddress.ip_address(text)
    except ValueError:  # with a zone: it holds for one link of one machine
        return False
    return not (address.is_loopback or address.is_link_local or address.is_unspecified)


def asked_by(bind: str) -> str:
    """The address by which this machine itself reaches a server that listens on `bind`."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(bind, bind)  # noqa: S104 - compared only


def accepted_host() -> str:
    """A name the server answers to, for the machine's own questions."""
    first = settings.ALLOWED_HOSTS[0] if settings.ALLOWED_HOSTS else "localhost"
    return "localhost" if first == "*" else first.removeprefix(".")


def own_hosts(application: Application) -> Application:
    """Answers also to the machine's names and to the very address a request was sent to, which
    may change while the program runs."""
    if os.environ.get("KERFBOOK_HOSTS"):
        return application
    allowed = settings.ALLOWED_HOSTS
    allowed += [name for name in own_names() if name not in allowed]

    def answering(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        host, _ = split_domain_port(environ.get("HTTP_HOST", ""))
        if host and host not in allowed and _same(host, environ.get(HERE, "")):
            allowed.append(host)
        return application(environ, start_response)

    return answering


def _same(host: str, here: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")) == ipaddress.ip_address(
            here.partition("%")[0]
        )
    except ValueError:
        return False
