"""One odd request after another, and what came of it."""

from __future__ import annotations

import json
import random
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.signals import got_request_exception
from django.db import transaction
from django.test import Client

from tests.fuzz import values
from tests.fuzz.addresses import Address, Real, field_names

METHODS = ["GET"] * 10 + ["POST"] * 10 + ["HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "X"]


@dataclass
class Fault:
    """A request that was answered by a failure, and where that came from."""

    said: str
    why: str
    count: int = 1


@dataclass
class Asker:
    """Asks as one person; what a request wrote is taken back."""

    who: str
    client: Client
    chance: random.Random
    real: Real
    faults: dict[str, Fault] = field(default_factory=dict)
    raised: list[BaseException] = field(default_factory=list)
    asked: int = 0
    statuses: Counter[int] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.client.raise_request_exception = False
        got_request_exception.connect(self._raised)
        self.keep_cookies()

    def _raised(self, **_: Any) -> None:
        import sys

        problem = sys.exc_info()[1]
        if problem is not None:
            self.raised.append(problem)

    def odd(self, address: Address) -> None:
        """An odd request to the address."""
        path = address.path(self.chance, self.real)
        method = self.chance.choice(METHODS)
        self.send(method, path, **self._data(method))

    def _data(self, method: str) -> dict[str, Any]:
        chance, more = self.chance, dict[str, Any]()
        if chance.random() < 0.5:
            more["query"] = self.fields(chance.randrange(4))
        if chance.random() < 0.15:
            name = chance.choice(list(values.HEADERS))
            more["headers"] = {name: chance.choice(values.HEADERS[name])}
        if method == "GET":
            return more
        way = chance.random()
        if way < 0.75:
            more["data"] = self.fields(chance.randrange(12))
        elif way < 0.9:
            more["body"], more["type"] = values.body(chance), "application/json"
        else:
            more["body"], more["type"] = chance.choice(values.FILES), chance.choice(values.TYPES)
        return more

    def fields(self, count: int) -> dict[str, Any]:
        """Names that some page of ours reads, with values it does not hope for."""
        found: dict[str, Any] = {}
        for _ in range(count):
            name, way = self.chance.choice(field_names()), self.chance.random()
            if way < 0.3:
                found[name] = str(self.chance.choice([*self.real.numbers, *self.real.uuids]))
            elif way < 0.35:
                found[name] = SimpleUploadedFile("a.bin", self.chance.choice(values.FILES))
            elif way < 0.45:
                found[name] = [values.text(self.chance) for _ in range(2)]
            else:
                found[name] = values.text(self.chance)
        return found

    def keep_cookies(self) -> None:
        """What the person's browser holds at each request."""
        self.cookies = {key: one.value for key, one in self.client.cookies.items()}

    def _as_at_first(self) -> None:
        """Signed in again, after a request that signed out or took another cookie."""
        self.client.cookies.clear()
        for key, value in self.cookies.items():
            self.client.cookies[key] = value

    def send(
        self,
        method: str,
        path: str,
        *,
        data: dict[str, Any] | None = None,
        query: dict[str, Any] | None = None,
        headers: dict[str, str] | None = None,
        body: bytes | None = None,
        type: str = "",
    ) -> Any:
        """The answer; None where the client itself cannot say such a thing."""
        self.asked += 1
        self._as_at_first()
        self.raised.clear()
        more: dict[str, Any] = {**(headers or {})}
        said = {
            key: value for key, value in (query or {}).items() if isinstance(value, (str, list))
        }
        try:
            with transaction.atomic():
                if body is not None:
                    more |= {"data": body, "content_type": type}
                elif data is not None and method == "POST":
                    more["data"] = data
                answer = self.client.generic if body is not None or method == "X" else None
                if answer is not None:
                    more.setdefault("data", b"")
                    got = answer(method, path, query_params=said, **more)
                else:
                    more.pop("data", None) if method != "POST" else None
                    got = getattr(self.client, method.lower())(path, query_params=said, **more)
                if getattr(got, "streaming", False):
                    b"".join(got.streaming_content)
                transaction.set_rollback(True)
        except UnicodeEncodeError:
            return None  # no browser sends half a letter
        self.statuses[got.status_code] += 1
        if got.status_code >= 500 or self.raised:
            self._note(f"{self.who}: {method} {path} {said} {more} -> {got.status_code}")
        return got

    def json(self, path: str, value: Any) -> Any:
        body = json.dumps(value).encode()
        return self.send("POST", path, body=body, type="application/json")

    def _note(self, said: str) -> None:
        problem = self.raised[-1] if self.raised else None
        why = "no exception"
        if problem is not None:
            frame, at = problem.__traceback__, ""
            while frame is not None:
                name = frame.tb_frame.f_code.co_filename
                if "site-packages" not in name and "/tests/" not in name:
                    at = f"{name.rpartition('/wt/')[2]}:{frame.tb_lineno}"
                frame = frame.tb_next
            why = f"{type(problem).__name__}: {str(problem)[:200]} at {at}"
        key = why.rpartition(" at ")[2] + type(problem).__name__
        if key in self.faults:
            self.faults[key].count += 1
        else:
            self.faults[key] = Fault(said[:900], why)
