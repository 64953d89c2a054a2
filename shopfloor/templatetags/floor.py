"""Tags of the screens at the tables."""

from __future__ import annotations

from django import template
from django.utils.html import json_script

from shopfloor.terminal.script_words import script_words

register = template.Library()


@register.simple_tag(name="script_words")
def _script_words() -> str:
    """What the scripts of the page say, for `words.js`; nothing in English."""
    words = script_words()
    return json_script(words, "script-words") if words else ""
