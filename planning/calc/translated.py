"""What a person reads, from code that knows no Django: whoever runs it says who translates.

Named as Django's own functions are, so that a message is marked, and extracted, the same way
everywhere. Alone, a message stays as it is written.
"""

from __future__ import annotations

from collections.abc import Callable

_one: list[Callable[[str], str]] = []
_many: list[Callable[[str, str, int], str]] = []
_marks: list[Callable[[], tuple[str, str]]] = []
_language: list[Callable[[], str | None]] = []


def translated_by(
    one: Callable[[str], str],
    many: Callable[[str, str, int], str],
    numbers: Callable[[], tuple[str, str]],
    language: Callable[[], str | None],
) -> None:
    """From now on messages go through these, as Django's `gettext` and `ngettext`; `numbers` gives
    the marks of a number, `language` the code of the language in force."""
    _one[:], _many[:], _marks[:], _language[:] = [one], [many], [numbers], [language]


def language() -> str | None:
    """What a text may be kept by, once it is translated."""
    return _language[0]() if _language else None


def marks() -> tuple[str, str]:
    """What stands before the decimals of a number and between its thousands, in the language of
    whoever reads."""
    return _marks[0]() if _marks else (".", ",")


def gettext(message: str) -> str:
    return _one[0](message) if _one else message


def ngettext(singular: str, plural: str, number: int) -> str:
    if _many:
        return _many[0](singular, plural, number)
    return singular if number == 1 else plural


def gettext_noop(message: str) -> str:
    """Marks a message that is translated where it is shown."""
    return message
