"""No template says anything outside a message: read as text, no page is drawn."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.template.base import Lexer, TokenType

from tests.translation.reading import SAME, WORD, visible

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted(
    path
    for room in ("shopfloor", "dashboards")
    for path in (ROOT / room).glob("**/templates/**/*.html")
)
# Handed to another template as text that it shows, or shown where there is no value.
HANDED = re.compile(r"\b(head|text|action|label|heading|submit|unit|words|sub|need)=([\"'])(.*?)\2")
INSTEAD = re.compile(r"\|(default|default_if_none|yesno):([\"'])(.*?)\2")
CLASSES = {"body_class", "leaf_class", "body_attrs"}  # blocks within a tag's attributes


def left(source: str) -> list[str]:
    """Words of a template that no message holds."""
    kept, found, within, hidden = "", [], "", False
    for token in Lexer(source).tokenize():
        name = token.contents.split()[0] if token.contents.split() else ""
        if token.token_type == TokenType.BLOCK:
            if name in {"blocktranslate", "endblocktranslate", "comment", "endcomment"}:
                within = "" if name.startswith("end") else name
            if name in {"block", "endblock"}:
                hidden = name == "block" and token.contents.split()[1] in CLASSES
            if name in {"include", "with"}:
                found += [text for _, _, text in HANDED.findall(token.contents)]
        if token.token_type in {TokenType.BLOCK, TokenType.VAR}:
            found += [text for _, _, text in INSTEAD.findall(token.contents)]
        elif token.token_type == TokenType.TEXT and not within and not hidden:
            kept += token.contents
    return [text for text in [*found, *visible(kept)] if set(WORD.findall(text)) - SAME]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("<p>Sheet {{ code }}</p>", ["Sheet"]),
        ('<p title="A sheet">{% translate "Sheet" %} {{ n }} mm</p>', ["A sheet"]),
        ("<p>{% blocktranslate %}Sheet{% endblocktranslate %}</p><b class='off'>–</b>", []),
        ('{% include "x.html" with text="None here." kind="empty" %}', ["None here."]),
        ('{{ run|default:"nothing" }}{{ run|default:_("nothing") }}', ["nothing"]),
        ("{% block leaf_class %}whole{% endblock %}<h1>Sheet</h1>", ["Sheet"]),
        ("<pre>G1 X10</pre><code>manage.py</code>", []),
    ],
)
def test_the_reading_finds_words_outside_messages(source, words):
    assert left(source) == words


def test_no_template_says_anything_outside_a_message():
    assert len(TEMPLATES) > 120
    found = {path.name: words for path in TEMPLATES if (words := left(path.read_text("utf-8")))}
    assert not found
