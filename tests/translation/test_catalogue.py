"""A language is one catalogue: nothing else has to be told of it."""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

import pytest
from django.core.management import call_command
from django.utils import translation
from django.utils.translation import gettext, ngettext, pgettext

from shopfloor.env import SettingError, env_choice, languages
from tests.servers import missing

ROOT = Path(__file__).resolve().parents[2]
HEAD = "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"


def compiled(messages: dict[str, str], folder: Path, code: str = "de") -> None:
    """Writes the messages as a compiled catalogue (the layout of GNU gettext's manual, 10.3)."""
    pairs = sorted({"": HEAD, **messages}.items())
    texts = [text.encode() for key in (0, 1) for text in (pair[key] for pair in pairs)]
    count, at, table = len(pairs), 28 + 16 * len(pairs), b""
    for text in texts:
        table += struct.pack("<II", len(text), at)
        at += len(text) + 1
    head = struct.pack("<7I", 0x950412DE, 0, count, 28, 28 + 8 * count, 0, 0)
    path = folder / code / "LC_MESSAGES" / "django.mo"
    path.parent.mkdir(parents=True)
    path.write_bytes(head + table + b"".join(text + b"\0" for text in texts))


def test_a_catalogue_in_its_folder_changes_a_page(tmp_path, settings, client, shop):
    compiled({"Sign in": "Anmelden", "Password": "Kennwort"}, tmp_path)
    assert "Sign in" in client.get("/sign-in/").content.decode()
    settings.LOCALE_PATHS = [tmp_path]
    with translation.override("de"):
        page = client.get("/sign-in/").content.decode()
    assert "Anmelden" in page
    assert "Sign in" not in page
    assert "Sign in" in client.get("/sign-in/").content.decode()


def test_the_languages_are_english_and_those_with_a_catalogue(tmp_path):
    assert languages(tmp_path) == [("en", "English")]
    compiled({}, tmp_path)
    compiled({}, tmp_path, "pt_BR")
    assert languages(tmp_path) == [
        ("en", "English"), ("de", "Deutsch"), ("pt-br", "Português Brasileiro"),
    ]  # fmt: skip


def test_a_language_without_a_catalogue_is_refused_by_name(monkeypatch):
    monkeypatch.setenv("KERFBOOK_LANGUAGE", "tlh")
    with pytest.raises(SettingError, match="KERFBOOK_LANGUAGE: 'tlh' is none of en, de"):
        env_choice("KERFBOOK_LANGUAGE", "en", ["en", "de"])


@pytest.mark.parametrize(
    ("message", "shown"),
    [
        ("Sheets", "⟦Sheets⟧"),
        ("Sheet %(number)s of %(all)d", "⟦Sheet⟧ %(number)s ⟦of⟧ %(all)d"),
        ("{count} of <b>many</b>, 5 %%", "{count} ⟦of⟧ <b>⟦many⟧</b>, 5 %%"),
        (" – ", " – "),
    ],
)
def test_the_made_up_language_keeps_what_a_translator_keeps(made_up, message, shown):
    assert gettext(message) == pgettext("a heading", message) == shown
    assert ngettext(message, "x", 1) == ngettext("x", message, 2) == shown


@pytest.mark.long
def test_every_message_goes_into_one_catalogue(tmp_path, settings, monkeypatch):
    """A word marked once alone and once with a plural would stop the collecting."""
    if shutil.which("xgettext") is None:
        missing("GNU gettext")
    for room in ("shopfloor", "telemetry", "planning", "dashboards"):
        shutil.copytree(ROOT / room, tmp_path / room, ignore=shutil.ignore_patterns("static"))
    settings.LOCALE_PATHS = [tmp_path / "locale"]
    monkeypatch.chdir(tmp_path)
    call_command("makemessages", locale=["de"], verbosity=0, no_wrap=True, no_obsolete=True)
    text = (tmp_path / "locale/de/LC_MESSAGES/django.po").read_text(encoding="utf-8")
    assert text.count("\nmsgid ") > 2500
    assert 'msgid "Cutting now"' in text  # a template's
    assert 'msgid "Now the PIN."' in text  # a script's
