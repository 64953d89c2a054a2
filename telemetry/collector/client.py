"""Talks to the server: one delivery, one answer. Follows no redirect, checks certificates."""

from __future__ import annotations

import http.client
import json
import ssl
import time
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import SplitResult, urlsplit

from telemetry.errors import DescriptionError, PushError
from telemetry.paths import NAME

_TIMEOUT_S = 30.0


@dataclass(frozen=True, slots=True)
class Target:
    """Where deliveries go. Of `ca_file` the certificates are trusted in place of the system's.
    Without `plain_http` the token never leaves this machine unencrypted."""

    url: str
    token_file: Path
    ca_file: Path | None = None
    plain_http: bool = False

    def parts(self) -> SplitResult:
        """Raises DescriptionError for an address that cannot be one."""
        try:
            parts = urlsplit(self.url)
            _ = parts.port  # read only now, and refused where it is none
        except ValueError as error:
            raise DescriptionError(f"--to: {self.url!r}: {error}") from error
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.username:
            raise DescriptionError(f"--to: {self.url!r} is no http or https address")
        if not NAME.match(self.feed):
            raise DescriptionError(f"--to: {self.url!r} does not end in the name of a feed")
        if self.in_the_clear and not self.plain_http:
            raise DescriptionError(
                f"--to: {self.url!r} is plain HTTP: whoever listens on the way could read the "
                "token; use https, or --plain-http to send it all the same"
            )
        return parts

    @property
    def feed(self) -> str:
        return urlsplit(self.url).path.rstrip("/").rpartition("/")[2]

    @property
    def in_the_clear(self) -> bool:
        """Whether the token can be read on the way."""
        parts = urlsplit(self.url)
        return parts.scheme == "http" and not _is_loopback(parts.hostname or "")

    def token(self) -> str:
        """Read anew each time, so that a new token counts at once. Raises DescriptionError."""
        try:
            words = self.token_file.read_text().split()
        except (OSError, ValueError) as error:
            what = getattr(error, "strerror", None) or "not text"
            raise DescriptionError(f"{self.token_file}:1: {what}") from error
        if len(words) != 1 or not words[0].isascii():
            raise DescriptionError(f"{self.token_file}:1: should hold one token and nothing else")
        return words[0]


class Client:
    """Delivers under one collector's name over a connection that stays open while it can."""

    def __init__(self, target: Target, collector: str) -> None:
        self._target, self._collector = target, collector
        self._parts = target.parts()
        self._context: ssl.SSLContext | None = None
        if self._parts.scheme == "https":
            try:
                self._context = ssl.create_default_context(cafile=target.ca_file)
            except (OSError, ssl.SSLError) as error:
                raise DescriptionError(f"{target.ca_file}:1: no certificates in it") from error
        self._connection: http.client.HTTPConnection | None = None

    def ask(self) -> int:
        """The number the server wants next. Raises PushError, OSError."""
        return self._request("GET", b"", lost=False, waiting=None)

    def deliver(self, body: bytes, *, lost: bool, waiting: int) -> int:
        """Returns the number wanted next: all before it is on the server's disk."""
        return self._request("POST", body, lost=lost, waiting=waiting)

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _request(self, method: str, body: bytes, *, lost: bool, waiting: int | None) -> int:
        headers = {
            "Authorization": f"Bearer {self._target.token()}",
            "Kerfbook-Collector": self._collector,
            "Kerfbook-Now": str(time.time_ns() // 1000),
            "Content-Type": "application/octet-stream",
        }
        if lost:
            headers["Kerfbook-Lost"] = "true"
        if waiting is not None:
            headers["Kerfbook-Waiting"] = str(waiting)
        try:
            connection = self._connection = self._connection or self._connect()
            path = self._parts.path.rstrip("/") + "/"
            connection.request(method, path, body if method == "POST" else None, headers)
            answer = connection.getresponse()
            raw = answer.read(65_536)
        except http.client.HTTPException as error:
            self.close()
            raise OSError(f"the answer was cut short: {error!r}") from error
        except OSError:
            self.close()
            raise
        if answer.status != 200:
            self.close()
            raise _refused(answer, raw)
        return _next(raw)

    def _connect(self) -> http.client.HTTPConnection:
        host, port = self._parts.hostname or "", self._parts.port
        if self._context is not None:
            return http.client.HTTPSConnection(
                host, port, timeout=_TIMEOUT_S, context=self._context
            )
        return http.client.HTTPConnection(host, port, timeout=_TIMEOUT_S)


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _next(raw: bytes) -> int:
    try:
        wanted = json.loads(raw)["next"]
    except (ValueError, KeyError, TypeError):
        wanted = None
    if not isinstance(wanted, int) or wanted < 1:
        raise OSError("the answer is not that of an intake address")
    return wanted


def _refused(answer: http.client.HTTPResponse, raw: bytes) -> PushError:
    try:
        told = json.loads(raw)
        message, wanted = str(told["error"]), told.get("next")
    except (ValueError, KeyError, TypeError):
        message, wanted = answer.reason, None
        if 300 <= answer.status < 400:
            message = f"the address has moved to {answer.headers.get('Location')}"
        elif answer.status == 400:
            message = "refused; is its host name among KERFBOOK_HOSTS of the server?"
    error = PushError(
        answer.status, f"{answer.status}: {message}", retry=answer.status in (429, 503),
        next_sequence=wanted if isinstance(wanted, int) else None,
    )  # fmt: skip
    error.hint = answer.headers.get("Retry-After", "")
    return error
