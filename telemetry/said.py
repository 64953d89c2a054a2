"""Messages with their values: what telemetry tells a person, kept apart until it is shown.

The English message is what is translated. Telemetry runs without the project too, beside a table,
so whoever runs it says who translates (`translated_by`); alone, a message stays English.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

_one: list[Callable[[str], str]] = []
_many: list[Callable[[str, str, int], str]] = []


def translated_by(one: Callable[[str], str], many: Callable[[str, str, int], str]) -> None:
    """From now on messages go through these, as Django's `gettext` and `ngettext`."""
    _one[:], _many[:] = [one], [many]


def noop(message: str) -> str:
    """Marks a message that is translated where it is shown: a code that is its own label."""
    return message


class Said(str):
    """A sentence as it reads in English, with the message and the values it is made of; `many`
    stands for the message where the value `number` is not 1. A value may be such a sentence, or a
    list of them."""

    __slots__ = ("many", "pattern", "values")
    pattern: str
    many: str
    values: dict[str, Any]

    def __reduce__(self) -> tuple[Any, ...]:
        return _made, (self.pattern, self.many, self.values)


def plural(one: str, many: str) -> tuple[str, str]:
    """Marks both forms of a message."""
    return one, many


def said(pattern: str, **values: Any) -> Said:
    """`pattern` is a format string that names its values; what is neither text, number nor list is
    kept as its text."""
    return _made(pattern, "", {name: _value(value) for name, value in values.items()})


def said_of_many(one: str, many: str, number: int, **values: Any) -> Said:
    """A sentence whose words differ with a number: 1 line, 3 lines. `{number}` is that."""
    kept = {name: _value(value) for name, value in values.items()}
    return _made(one, many, {"number": number, **kept})


def to_reader(text: str) -> str:
    """A sentence in the language of whoever reads."""
    if not isinstance(text, Said):
        return text
    if text.many and _many:
        pattern = _many[0](text.pattern, text.many, int(text.values["number"]))
    else:
        pattern = _translated(_english(text.pattern, text.many, text.values))
    return pattern.format(**{name: _written(value) for name, value in text.values.items()})


def stored(text: str) -> dict[str, Any]:
    """A sentence as JSON."""
    if not isinstance(text, Said):
        return {"text": text}
    found: dict[str, Any] = {"text": str(text), "pattern": text.pattern, "values": {}}
    if text.many:
        found["many"] = text.many
    for name, value in text.values.items():
        found["values"][name] = _kept(value)
    return found


def restored(kept: Mapping[str, Any]) -> str:
    """A stored sentence as it was."""
    if "pattern" not in kept:
        return str(kept["text"])
    values = {name: _read(value) for name, value in kept["values"].items()}
    return _made(kept["pattern"], kept.get("many", ""), values)


def _made(pattern: str, many: str, values: Mapping[str, Any]) -> Said:
    plain = {name: _plain(value) for name, value in values.items()}
    made = Said(_english(pattern, many, values).format(**plain))
    made.pattern, made.many, made.values = pattern, many, dict(values)
    return made


def _value(value: Any) -> Any:
    return value if isinstance(value, str | int | float | list | tuple) else str(value)


def _english(pattern: str, many: str, values: Mapping[str, Any]) -> str:
    return many if many and values["number"] != 1 else pattern


def _translated(message: str) -> str:
    return _one[0](message) if _one else message


def _plain(value: Any) -> Any:
    return value if isinstance(value, str | int | float) else "; ".join(value)


def _written(value: Any) -> Any:
    if isinstance(value, str):
        return to_reader(value)
    if isinstance(value, int | float):
        return value
    return "; ".join(to_reader(each) for each in value)


def _kept(value: Any) -> Any:
    if isinstance(value, Said):
        return stored(value)
    return value if isinstance(value, str | int | float) else [_kept(each) for each in value]


def _read(value: Any) -> Any:
    if isinstance(value, Mapping):
        return restored(value)
    return [_read(each) for each in value] if isinstance(value, list) else value
