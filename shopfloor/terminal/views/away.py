"""What a screen shows when it is loaded without network: a page that holds nothing of the shop,
kept by a service worker. Browsers allow one over HTTPS and on the machine itself only."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import Engine
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

NEEDED = (
    "kerfbook/kerfbook.css", "kerfbook/forms.css", "kerfbook/strip.css", "kerfbook/print.css",
    "kerfbook/floor.css", "kerfbook/mark.svg", "kerfbook/floor/away.js",
    "kerfbook/floor/keep.js", "kerfbook/floor/outbox.js", "kerfbook/floor/words.js",
)  # fmt: skip
PAGES = ("terminal/away.html", "terminal/base.html", "terminal/worker.js")


@require_GET
@never_cache
def away(request: HttpRequest) -> HttpResponse:
    return render(request, "terminal/away.html")


@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Its text changes with every version of what it keeps, so a browser
    takes the new one and the old one's copies go."""
    page = reverse("floor:away")
    kept = [page, *(static(name) for name in NEEDED)]
    words = {"version": version(), "page": json.dumps(page), "kept": json.dumps(kept)}
    text = render_to_string("terminal/worker.js", words)
    answer = HttpResponse(text, content_type="text/javascript; charset=utf-8")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@cache
def version() -> str:
    """A mark of the bytes a screen keeps; another version of the program, or another language,
    has another."""
    found = [finders.find(name) for name in NEEDED]
    engine = Engine.get_default()
    found += [engine.get_template(name).origin.name for name in PAGES]
    digest = hashlib.sha256(render_to_string("terminal/away.html").encode())
    for path in found:
        digest.update(Path(str(path)).read_bytes())
    return digest.hexdigest()[:16]
