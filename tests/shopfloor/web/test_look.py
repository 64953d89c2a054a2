"""The style sheets keep their promises: contrast, no borrowed effects, no script in the pages.

Contrast is the ratio of relative luminances of W3C's WCAG 2.2, success criteria 1.4.3 (4.5 for
text) and 1.4.11 (3 for the edges of controls).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django import forms
from django.template.loader import render_to_string

import shopfloor

ROOM = Path(shopfloor.__file__).parent
SHEETS = sorted((ROOM / "static" / "kerfbook").glob("*.css"))
TEMPLATES = sorted(ROOM.glob("**/templates/**/*.html"))
TEXT_ON = {
    "ink": ("paper", "margin", "offwash"),
    "ink2": ("paper", "margin"),
    "pencil": ("paper", "margin"),
    "off": ("paper", "margin", "offwash"),
}


def tokens() -> dict[str, dict[str, str]]:
    """Colours of the light page, of the dark one by the device, by choice, and of paper."""
    screen = (ROOM / "static/kerfbook/kerfbook.css").read_text()
    blocks = re.findall(r":root[^{]*\{[^}]*--paper[^}]*\}", screen)
    blocks += re.findall(
        r":root[^{]*\{[^}]*--paper[^}]*\}", (ROOM / "static/kerfbook/print.css").read_text()
    )
    names = ("light", "dark by the device", "dark by choice", "print")
    found = [dict(re.findall(r"--([a-z0-9]+):(#[0-9A-Fa-f]{3,6})", block)) for block in blocks]
    return dict(zip(names, found, strict=True))


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(d * 2 for d in digits)
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_measure_agrees_with_the_known_ends_of_its_scale() -> None:
    assert contrast("#000", "#fff") == pytest.approx(21)
    # W3C's "Understanding 1.4.3" gives #777777 on white as 4.47, just short of 4.5 (the value is
    # from memory; worked through: (1 + 0.05) / (0.1845 + 0.05) = 4.478).
    assert contrast("#777777", "#ffffff") == pytest.approx(4.478, abs=0.002)


@pytest.mark.parametrize("page", ["light", "dark by the device", "dark by choice", "print"])
def test_every_text_colour_can_be_read_on_what_it_stands_on(page: str) -> None:
    colours = tokens()[page]
    poor = {
        f"{text} on {ground}": round(contrast(colours[text], colours[ground]), 2)
        for text, grounds in TEXT_ON.items()
        for ground in grounds
        if contrast(colours[text], colours[ground]) < 4.5
    }
    assert poor == {}


@pytest.mark.parametrize("page", ["light", "dark by the device", "dark by choice", "print"])
def test_the_edges_of_controls_can_be_seen(page: str) -> None:
    colours = tokens()[page]
    assert contrast(colours["edge"], colours["paper"]) >= 3
    assert contrast(colours["edge"], colours["margin"]) >= 3


def test_both_ways_to_the_dark_page_have_the_same_colours() -> None:
    found = tokens()
    assert found["dark by the device"] == found["dark by choice"]


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda p: p.name)
def test_no_sheet_names_a_colour_outside_the_tokens_or_borrows_an_effect(sheet: Path) -> None:
    css = re.sub(r"/\*.*?\*/", "", sheet.read_text(), flags=re.S)
    rules = re.sub(r":root[^{]*\{[^}]*\}", "", css)
    assert re.findall(r"#[0-9A-Fa-f]{3,8}\b(?![^{]*\{)", rules) == []
    assert re.findall(r"gradient|rgba?\(|hsla?\(|url\(|@import|filter:", rules) == []
    assert len(sheet.read_text().splitlines()) <= 300


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda p: str(p.relative_to(ROOM)))
def test_no_page_carries_script_that_the_policy_would_stop(template: Path) -> None:
    html = template.read_text()
    assert re.findall(r"<script(?![^>]*\bsrc=)", html) == []
    assert re.findall(r"\son[a-z]+\s*=\s*[\"']", html) == []
    assert re.findall(r"(?:src|href)=[\"']https?://", html) == []


@pytest.mark.parametrize("kind", ["empty", "stale", "failed", "loading"])
def test_a_state_says_its_words(kind: str) -> None:
    html = render_to_string("web/_state.html", {"kind": kind, "text": "Counted to 11:02 & on"})
    assert "Counted to 11:02 &amp; on" in html
    assert f'class="state {kind}"' in html
    assert ('role="alert"' in html) == (kind == "failed")


def test_a_caution_lists_its_lines_and_refers_to_who_decides() -> None:
    caution = {
        "title": "Before your hands go near",
        "lines": ["Let it cool."],
        "references": "ANSI Z49.1, or your local code.",
        "ordered": True,
    }
    html = render_to_string("web/_caution.html", {"caution": caution})
    assert "<ol><li>Let it cool.</li></ol>" in html
    assert "or your local code" in html


def test_a_note_posts_what_changes_a_record_and_links_what_only_shows() -> None:
    note = {
        "kind": "now",
        "head": "27 arcs belong to no job",
        "actions": [
            {"label": "Give them to K-2279", "url": "/give", "post": True, "fields": {"job": 7}},
            {"label": "Not that one", "url": "/other", "second": True},
        ],
    }
    html = render_to_string("web/_note.html", {"note": note})
    assert '<form method="post" action="/give">' in html
    assert '<input type="hidden" name="job" value="7">' in html
    assert '<a class="act second" href="/other">Not that one</a>' in html


class Measured(forms.Form):
    kerf_mm = forms.DecimalField(label="Kerf", help_text="At the top edge.")
    note = forms.CharField(required=False)


def test_a_field_ties_its_help_and_its_error_to_the_control() -> None:
    form = Measured({"kerf_mm": "wide"})
    html = render_to_string("web/_field.html", {"field": form["kerf_mm"], "unit": "mm"})
    assert 'aria-describedby="id_kerf_mm_helptext id_kerf_mm_error"' in html
    assert 'id="id_kerf_mm_helptext"' in html
    assert 'id="id_kerf_mm_error"' in html
    assert 'aria-invalid="true"' in html
    assert 'value="wide"' in html


def test_a_field_that_is_needed_is_marked_and_the_form_says_how_once() -> None:
    marked = ["*" in render_to_string("web/_field.html", {"field": field}) for field in Measured()]
    assert marked == [field.field.required for field in Measured()]
    assert set(marked) == {True, False}
    html = render_to_string("web/_form.html", {"form": Measured()})
    assert html.count("Leave the rest blank") == 1


def test_the_running_head_marks_the_page_one_is_on() -> None:
    nav = [
        {"label": "Today", "url": "/today", "current": False},
        {"label": "Jobs", "url": "/jobs", "current": True},
    ]
    html = render_to_string("web/base.html", {"nav": nav, "user": {"theme": "dark"}})
    assert '<html lang="en" data-theme="dark">' in html
    assert html.count('<a href="/jobs" aria-current="page">') == 2  # running head and foot
    assert '<a href="/today">Today</a>' in html


def test_the_hatches_the_strip_asks_for_are_on_every_base_page() -> None:
    for base in ("web", "terminal"):
        html = render_to_string(f"{base}/base.html")
        assert set(re.findall(r'<pattern id="([\w-]+)"', html)) == {
            "h-stop", "h-plan", "h-off", "h-dots", "h-cross",
        }  # fmt: skip
