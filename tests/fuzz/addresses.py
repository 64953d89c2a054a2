"""Every address there is, walked out of the URL resolver, so that a new one needs no line here."""

from __future__ import annotations

import random
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.apps import apps
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.resolvers import RegexPattern

from planning.reports.openers import OPENERS
from tests.fuzz import values

ROOT = Path(__file__).resolve().parent.parent.parent
PART = re.compile(r"<(?:(\w+):)?(\w+)>")
READ = re.compile(r"(?:GET|POST|FILES|cleaned_data)(?:\.get|\.getlist)?[(\[]\s*\"(\w+)\"")
FIELD = re.compile(r"^    (\w+) = (?:forms\.)?\w*(?:Field|field|number|choice)\w*\(", re.M)
NAME = re.compile(r"name=\"([^\"{}]+)\"")
DASH = ["", "_dash-layout", "_dash-dependencies", "_dash-update-component", "_reload-hash",
        "_dash-component-suites/dash/no.js", "_dash-component-suites/../x", "assets/x",
        "_dash-component-suites/no_such/a.js", "_dash-component-suites/dash/\ud800",
        "_dash-component-suites/plotly/", "_dash-component-suites/dash/dash_table/../../x.py",
        "_dash-update-component/x", "_favicon.ico", "_dash-config"]  # fmt: skip


@dataclass(frozen=True)
class Address:
    """A pattern, as `/jobs/<bigint:pk>/`."""

    route: str

    def path(self, chance: random.Random, real: Real) -> str:
        """One path for it; most of them lead to a view."""
        if "<rest>" in self.route:
            return self.route.replace("<rest>", chance.choice(DASH))
        return PART.sub(lambda found: self._part(found, chance, real), self.route)

    def _part(self, found: re.Match[str], chance: random.Random, real: Real) -> str:
        kind, name = found[1] or "str", found[2]
        if kind == "bigint":
            return values.whole(chance, real.numbers)
        if kind == "uuid":
            return str(chance.choice([*real.uuids, uuid.UUID(int=0)]))
        if kind == "slug":
            known = [*real.slugs, *OPENERS] if name in {"kind", "table"} else values.SLUGS
            return chance.choice(known if chance.random() < 0.8 else values.SLUGS)
        if name == "key":
            number, run = chance.choice(real.numbers), chance.choice(real.uuids)
            made = [str(number), str(run), f"{run}:cutting", f"{number}:wear", f"{number}:1"]
            return chance.choice([*values.KEYS, *made])
        return chance.choice([*real.slugs, values.text(chance)]).replace("\ud800", "?")


@dataclass
class Real:
    """What is in the database, so that half of what is asked for is there."""

    numbers: list[Any]
    uuids: list[Any]
    slugs: list[str]


def real() -> Real:
    numbers, uuids = {1, 2, 3}, {uuid.UUID(int=7)}
    for model in apps.get_models():
        if model._meta.app_label in {"shopfloor", "telemetry"}:
            keys = model.objects.order_by("pk").values_list("pk", flat=True)
            found = [*keys[:3], *keys.reverse()[:2]]
            numbers |= {key for key in found if isinstance(key, int)}
            uuids |= {key for key in found if isinstance(key, uuid.UUID)}
    return Real(sorted(numbers), sorted(uuids), ["north", "south"])


def addresses() -> list[Address]:
    return [Address(route) for route in sorted(set(_routes(get_resolver().url_patterns, "/")))]


def _routes(patterns: list[Any], before: str) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _routes(pattern.url_patterns, before + str(pattern.pattern))
        elif isinstance(pattern, URLPattern) and isinstance(pattern.pattern, RegexPattern):
            yield before + str(pattern.pattern).lstrip("^").partition("(")[0] + "<rest>"
        else:
            yield before + str(pattern.pattern)


@cache
def field_names() -> list[str]:
    """Every name our views read from a request and our pages give a field."""
    found = set()
    for room in ("shopfloor", "dashboards"):
        for path in (ROOT / room).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            found |= set(READ.findall(text)) | set(FIELD.findall(text))
        for path in (ROOT / room).rglob("*.html"):
            found |= set(NAME.findall(path.read_text(encoding="utf-8")))
    return sorted(found)
