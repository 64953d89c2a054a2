"""One shop, served by a process of its own, and what its pages answer."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
from dataclasses import dataclass
from typing import Any, Self

from django.conf import settings

from dashboards.bench.judging import Answer
from dashboards.bench.measuring import HEADER
from dashboards.bench.shops import Shop
from dashboards.bench.urls import BARE, KEPT

LOG = "bench-web.log"
SLACK_S = 5.0  # its statement stopped, the process has so long to answer
FAILED = b"failed-page"  # the class of a Dash page that could not be drawn


@dataclass(frozen=True, slots=True)
class Address:
    label: str
    path: str
    search: str | None
    days: int | None = None  # it reports on


class Served:
    """The process lives from `with` to its end; one that does not answer in time is ended and
    another begun."""

    def __init__(self, shop: Shop, timeout_s: float) -> None:
        self.shop, self.timeout_s = shop, timeout_s
        self.process: subprocess.Popen[bytes] | None = None
        self.addresses: dict[str, Address] = {}
        self.callbacks: dict[str, list[dict[str, Any]]] = {}

    def __enter__(self) -> Self:
        self._begin()
        return self

    def __exit__(self, *problem: object) -> None:
        self._end()

    def bare(self, role: str) -> Answer:
        return self._ask("GET", f"/{BARE}", role)

    def keep(self) -> None:
        """Nothing works in the background of a shop that is measured: its part is done here."""
        self._ask("GET", f"/{KEPT}", "owner")

    def visit(self, label: str, role: str) -> list[Answer]:
        """The page's answer; of a Dash page, one for each callback that draws it at first."""
        at = self.addresses[label]
        if at.search is None:
            return [self._ask("GET", at.path, role)]
        prefix = at.path.removesuffix("_dash-update-component")
        return [
            self._ask("POST", at.path, role, _initial(one, at.search))
            for one in self._drawing(prefix, role)
        ]

    def days(self, label: str) -> int | None:
        return self.addresses[label].days

    def _drawing(self, prefix: str, role: str) -> list[dict[str, Any]]:
        if prefix not in self.callbacks:
            answer = self._ask("GET", f"{prefix}_dash-dependencies", role)
            if answer.status != 200:
                return []
            found = json.loads(answer.body)
            self.callbacks[prefix] = [one for one in found if not one["prevent_initial_call"]]
        return self.callbacks[prefix]

    def _ask(self, method: str, path: str, role: str, body: Any = None) -> Answer:
        cookies = {**self.people[role], "csrftoken": "a" * 32}
        headers = {
            "Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items()),
            "Accept": "text/html", "X-CSRFToken": "a" * 32, "Content-Type": "application/json",
        }  # fmt: skip
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=self.timeout_s + SLACK_S)
        try:
            link.request(method, path, json.dumps(body) if body else None, headers)
            answer = link.getresponse()
            content = answer.read()
        except TimeoutError:
            self._end()
            self._begin()
            return Answer.late()
        except (OSError, http.client.HTTPException) as broken:
            self._end()
            self._begin()
            return Answer.broken(f"the web process ended: {broken}")
        finally:
            link.close()
        status = 500 if body and FAILED in content else answer.status
        return Answer.of(status, json.loads(answer.headers.get(HEADER, "{}")), content)

    def _begin(self) -> None:
        with (self.shop.folder / LOG).open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "dashboards.bench.serving", str(self.timeout_s)],
                env=self.shop.environment(), cwd=settings.BASE_DIR, stdout=subprocess.PIPE,
                stderr=log,
            )  # fmt: skip
        line = self.process.stdout.readline() if self.process.stdout else b""
        if not line:
            raise RuntimeError(f"the web process did not begin; see {self.shop.folder / LOG}")
        told = json.loads(line)
        self.port: int = told["port"]
        self.people: dict[str, dict[str, str]] = told["people"]
        self.database: str = told["database"]
        self.addresses = {one["label"]: Address(**one) for one in told["addresses"]}

    def _end(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.communicate()
            self.process = None


def _initial(callback: dict[str, Any], search: str) -> dict[str, Any]:
    """What a browser sends for a callback when its page is first opened at that address."""

    def given(part: dict[str, Any]) -> dict[str, Any]:
        named = {"id": part["id"], "property": part["property"]}
        return {**named, "value": search if part["property"] == "search" else None}

    outputs = [
        {"id": one.rpartition(".")[0], "property": one.rpartition(".")[2]}
        for one in callback["output"].strip(".").split("...")
    ]
    return {
        "output": callback["output"],
        "outputs": outputs[0] if len(outputs) == 1 else outputs,
        "inputs": [given(part) for part in callback["inputs"]],
        "state": [given(part) for part in callback["state"]],
        "changedPropIds": [],
    }
