"""What of a page a person reads, and which words of it stand outside the made-up language."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser

from django.apps import apps
from django.db.models import CharField, JSONField, TextField

# The last three hold what a script shows.
READ = {"title", "aria-label", "placeholder", "alt", "aria-description"}
READ |= {"data-need", "data-lost", "data-failed"}
UNREAD = {"script", "style", "pre", "code", "textarea"}
VOID = {"br", "img", "input", "hr", "meta", "link", "wbr"}
WORD = re.compile(r"[^\W\d_]{2,}")
# The program's own name, units that are the same everywhere, and names of file formats.
SAME = {"Kerfbook", "mm", "kg", "kPa", "psi", "min", "kW", "kWh", "MB", "kB", "GB", "CSV", "DXF"}
SAME |= {"m²", "cm²", "s²", "cm", "ft", "bar", "UTF", "utf", "cp", "LINE", "CIRCLE", "Windows"}
SAME |= {"XLSX", "JSON", "TOML", "UTC", "ISO", "ANSI", "CFR", "OK"}


class Visible(HTMLParser):
    """Texts and attributes of a page, each with nothing else in it."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.within: list[str] = []
        self.codes = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.found += [given[name] for name in READ if given.get(name)]
        if tag == "input" and given.get("type") in {"submit", "button"}:
            self.found.append(given.get("value", ""))
        if tag not in VOID:
            code = tag in UNREAD or "code" in given.get("class", "").split()
            self.within.append(f"!{tag}" if code else tag)

    def handle_endtag(self, tag: str) -> None:
        names = [name.lstrip("!") for name in self.within]
        if tag in names:
            del self.within[len(names) - 1 - names[::-1].index(tag) :]

    def handle_data(self, data: str) -> None:
        text = " ".join(data.split())
        if text and not any(name.startswith("!") for name in self.within):
            self.found.append(text)


def visible(html: str) -> list[str]:
    page = Visible()
    page.feed(html)
    page.close()
    return page.found


def stored() -> list[str]:
    """Every text in the database that names something, longest first. One word in small letters is
    a code of ours, and no name."""
    found: set[str] = set()
    for model in apps.get_models():
        kinds = (CharField, TextField, JSONField)
        names = [one.name for one in model._meta.concrete_fields if isinstance(one, kinds)]
        for row in model._base_manager.values_list(*names) if names else []:
            for value in row:
                found.update(_strings(value))
    names = {" ".join(text.split()) for text in found}
    return sorted((one for one in names if _names(one)), key=len, reverse=True)


def _strings(value: object) -> Iterator[str]:
    if isinstance(value, str) and len(value) < 400:
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _strings(one)
    elif isinstance(value, list):
        for one in value:
            yield from _strings(one)


def _names(text: str) -> bool:
    return len(text) > 1 and not re.fullmatch(r"[a-z_]+", text)


def unmarked(text: str, names: Iterable[str]) -> str:
    """What is left of a text without its messages and the names in it; "" for nothing."""
    text = re.sub(r"%\{[^{}]*\}", " ", text)  # what a chart fills in
    while (without := re.sub(r"⟦[^⟦⟧]*⟧", " ", text)) != text:
        text = without
    if not _words(text):
        return ""
    for name in names:
        if name in text:
            text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", " ", text)
    return " ".join(text.split()) if _words(text) else ""


def _words(text: str) -> bool:
    return any(word not in SAME for word in WORD.findall(text))
