"""Every page there is, opened by each kind of person: what the URL resolver knows and what the
pages lead to."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import unescape
from typing import Any

from django.test import Client
from django.urls import Resolver404, resolve

from tests.fuzz.addresses import PART, addresses

LINK = re.compile(r"(?:href|src|data-live|data-state-url)=\"(/[^\"#]*)")
EACH = 2  # pages of one address, a kind of figure, and a person
DASH = "_dash-update-component"
INNER = re.compile(r"data-map-url=\"([^\"]+)")
NO_PAGES = ("/sign-out/", "/static/", "/healthz", "/intake/")
CALLBACK = {
    "output": "page.children",
    "outputs": {"id": "page", "property": "children"},
    "inputs": [{"id": "at", "property": "search", "value": ""}],
    "changedPropIds": ["at.search"],
}


@dataclass
class Walk:
    """One person's way through all pages."""

    who: str
    client: Client
    numbers: list[Any]
    slugs: list[str]
    opened: Counter[str] = field(default_factory=Counter)
    seen: set[str] = field(default_factory=set)
    ahead: list[str] = field(default_factory=list)

    def pages(self) -> Iterator[tuple[str, str]]:
        """Path and text of each page; of a Dash page the words of its layout and its content."""
        for route in (one.route for one in addresses()):
            self.ahead += self._paths(route)
        while self.ahead:
            path = self.ahead.pop(0)
            kind = self._kind(path)
            if kind is None or path in self.seen or self.opened[kind] >= EACH:
                continue
            self.seen.add(path)
            answer = self.client.get(path, headers={"Accept": "text/html"})
            if answer.status_code != 200 or "html" not in answer.headers.get("Content-Type", ""):
                continue
            self.opened[kind] += 1
            text = answer.content.decode()
            links = [unescape(one) for one in LINK.findall(text)]
            self.ahead = [one for one in links if one not in self.seen] + self.ahead
            yield path, text
            if "_dash-config" in text:
                yield from self._dash(path.partition("?")[0])

    def _kind(self, path: str) -> str | None:
        """What of a page there should be two of."""
        if path.startswith(NO_PAGES):
            return None
        try:
            found = resolve(path.partition("?")[0])
        except Resolver404:
            return None
        return f"{found.route} {found.kwargs.get('kind', '')} {'?' in path}"

    def _paths(self, route: str) -> list[str]:
        if "<rest>" in route or "uuid" in route or "<path:" in route or route == "/":
            return []
        if not PART.search(route):
            return [route]
        values = self.slugs if "<slug" in route or "<str:name" in route else self.numbers
        return [PART.sub(str(value), route) for value in values]

    def _dash(self, path: str) -> Iterator[tuple[str, str]]:
        layout = self.client.get(f"{path}_dash-layout")
        yield f"{path}_dash-layout", "\n".join(_texts(layout.json()))
        sent = self.client.post(
            f"{path}{DASH}", json.dumps(CALLBACK), content_type="application/json"
        )
        if sent.status_code == 200:
            yield f"{path}{DASH}", "\n".join(_texts(sent.json()))


SHOWN = {"children", "label", "title", "placeholder", "text", "name", "hovertemplate", "aria-label"}


def _texts(found: Any, key: str = "") -> Iterator[str]:
    """Strings of a Dash component that are shown."""
    if isinstance(found, str) and key in SHOWN:
        yield f"<p>{found}</p>"
    elif isinstance(found, list):
        for one in found:
            yield from _texts(one, key)
    elif isinstance(found, dict):
        for name, one in found.items():
            yield from _texts(one, name)
