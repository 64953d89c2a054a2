"""The screens' scripts say only what the page can give them in its language."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.utils.translation import ngettext

from shopfloor.terminal import script_words

SCRIPTS = Path(__file__).resolve().parents[2] / "shopfloor/static/kerfbook/floor"
SAID = re.compile(r"(?<![\w.])_\(\s*\"([^\"]*)\"")
COUNTED = re.compile(r"(?<![\w.])counted\(\s*\"([^\"]*)\",\s*\"([^\"]*)\"")
# A text between quotes with a space in it, or one that begins like a sentence.
BARE = re.compile(r"(?<!_\()(?:\"|`)([A-Z][a-z]+ [^\"`]*|[a-z]+ [a-z]+ [^\"`]*)(?:\"|`)")


def scripts() -> str:
    found = [path for path in sorted(SCRIPTS.glob("*.js")) if path.name != "words.js"]
    assert len(found) > 15
    return "\n".join(path.read_text(encoding="utf-8") for path in found)


def test_what_scripts_say_is_what_pages_hand_over():
    text = scripts()
    assert set(SAID.findall(text)) == set(script_words.MESSAGES)
    assert set(COUNTED.findall(text)) == set(script_words.COUNTED)


def test_no_sentence_of_a_script_stands_outside_a_message():
    text = re.sub(r"/\*.*?\*/|//[^\n]*", "", scripts(), flags=re.DOTALL)
    text = COUNTED.sub("", SAID.sub("", text))
    bare = {found for found in BARE.findall(text) if not re.search(r"[\[\]<>=:/]", found)}
    assert bare == {"the server could not answer"}  # for the console alone


@pytest.mark.django_db
def test_a_page_carries_its_language_for_the_scripts_and_nothing_in_english(client, made_up):
    page = client.get("/floor/away/").content.decode()
    said = json.loads(re.search(r'id="script-words" [^>]*>(.*?)</script>', page)[1])
    assert said["Now the PIN."] == "⟦Now the PIN.⟧"
    assert said["Say {what}."] == "⟦Say⟧ {what}."
    kept = said["{n} part, close this run"]
    assert [kept["forms"][kept["by"][n]] for n in (0, 1, 2, 199)] == [
        ngettext("{n} part, close this run", "{n} parts, close this run", n) for n in (0, 1, 2, 199)
    ]


@pytest.mark.django_db
def test_english_needs_no_words_on_the_page(client):
    assert "script-words" not in client.get("/floor/away/").content.decode()
