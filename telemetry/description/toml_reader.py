"""Typed reading of one TOML table, with errors that name the line, the key and what is allowed."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Sequence
from typing import Any, TypeVar, overload

from telemetry.errors import DescriptionError
from telemetry.said import said

_MISSING = object()
T = TypeVar("T")


class TomlReader:
    """Takes keys out of a parsed table one by one; `refuse_unknown` objects to the rest."""

    def __init__(self, data: dict[str, Any], *, text: str, name: str, section: str = "") -> None:
        self._data = data
        self._text = text
        self._name = name
        self._section = section
        self._read: list[str] = []

    @staticmethod
    def syntax_message(name: str, text: str, error: tomllib.TOMLDecodeError) -> str:
        """`NAME:LINE: ...` for a file that is not TOML."""
        message = str(error)
        found = re.search(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$", message)
        line = (found.group(1) if found else None) or str(max(1, len(text.splitlines())))
        return f"{name}:{line}: {message[: found.start()] if found else message}"

    def wrong(self, key: str, what: str, allowed: Sequence[str] = ()) -> DescriptionError:
        """The error for `key`, at its line as well as that can be found."""
        at = f"{self._name}:{self._line_of(key)}: {key}"
        if allowed:
            return DescriptionError(
                said(
                    "{at}: {what}, allowed: {allowed}", at=at, what=what, allowed=", ".join(allowed)
                )
            )
        return DescriptionError(said("{at}: {what}", at=at, what=what))

    def table(self, key: str) -> TomlReader:
        """The table `key`, empty where it is left out."""
        value = self._take(key, {})
        if not isinstance(value, dict):
            raise self.wrong(key, said("must be a table, like [{key}]", key=key))
        return TomlReader(value, text=self._text, name=self._name, section=key)

    @overload
    def text(self, key: str) -> str: ...
    @overload
    def text(self, key: str, *, default: T) -> str | T: ...
    def text(self, key: str, *, default: Any = _MISSING) -> Any:
        """A string."""
        value = self._take(key, default)
        if value is not default and not isinstance(value, str):
            raise self.wrong(key, said("{value} is not text", value=repr(value)))
        return value

    @overload
    def label(self, key: str, most: int) -> str: ...
    @overload
    def label(self, key: str, most: int, *, default: T) -> str | T: ...
    def label(self, key: str, most: int, *, default: Any = _MISSING) -> Any:
        """A name of `most` letters at most; a whole number is read as its digits."""
        value = self._take(key, default)
        if value is default:
            return value
        if isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str) or not value.strip() or len(value) > most:
            raise self.wrong(
                key,
                said("{value} is not a name of 1 to {most} letters", value=repr(value), most=most),
            )
        return value.strip()

    def choice(self, key: str, allowed: Sequence[str], *, default: Any = _MISSING) -> str:
        """One of `allowed`."""
        value = self._take(key, default, allowed)
        if value not in allowed:
            raise self.wrong(key, said("unknown value {value}", value=repr(value)), allowed)
        return str(value)

    def words(self, key: str, *, default: tuple[str, ...] | None) -> tuple[str, ...]:
        """A list of words; a single word stands for a list of one. None: must be there."""
        value = self._take(key, _MISSING if default is None else default)
        if value is default:
            return default or ()
        items = [value] if isinstance(value, str) else value
        if not isinstance(items, list) or not all(isinstance(i, str) and i.strip() for i in items):
            raise self.wrong(key, said('must be a list of words, like ["ARC ON"]'))
        return tuple(item.strip() for item in items)

    def names(self, key: str, allowed: Sequence[str]) -> dict[str, str]:
        """A table of text under `key`, whose own keys must be among `allowed`."""
        value = self._take(key, {})
        if not isinstance(value, dict) or not all(isinstance(v, str) for v in value.values()):
            raise self.wrong(key, said('must be names, like {signal = "S"}'))
        for inner in value:
            if inner not in allowed:
                raise self.wrong(key, said("unknown name {inner!r}", inner=inner), allowed)
        if len(set(value.values())) != len(value):
            raise self.wrong(key, said("two of them are the same name"))
        return dict(value)

    def number(
        self, key: str, *, default: float, least: float, most: float, whole: bool = False
    ) -> float:
        """A number within `least` to `most`."""
        value = self._take(key, default)
        good = isinstance(value, int) or (isinstance(value, float) and not whole)
        if not good or isinstance(value, bool) or not math.isfinite(value):
            raise self.wrong(
                key,
                said("{value} is not a whole number", value=repr(value))
                if whole
                else said("{value} is not a number", value=repr(value)),
            )
        if not least <= value <= most:
            raise self.wrong(
                key,
                said(
                    "{value} is out of range, allowed: {least:g} to {most:g}",
                    value=repr(value),
                    least=least,
                    most=most,
                ),
            )
        return float(value)

    def flag(self, key: str, *, default: bool) -> bool:
        """True or false."""
        value = self._take(key, default)
        if not isinstance(value, bool):
            raise self.wrong(
                key, said("{value} is not true or false", value=repr(value)), ("true", "false")
            )
        return value

    def has(self, key: str) -> bool:
        """Whether `key` is given."""
        return key in self._data

    def refuse(self, key: str, why: str) -> None:
        """Object to `key` where it is given."""
        if key in self._data:
            raise self.wrong(key, why)

    def refuse_unknown(self, allowed: Sequence[str] = ()) -> None:
        """Object to the first key that was not read."""
        for key in self._data:
            if key not in self._read:
                raise self.wrong(key, said("unknown key"), allowed or sorted(set(self._read)))

    def _take(self, key: str, default: Any, allowed: Sequence[str] = ()) -> Any:
        self._read.append(key)
        if key in self._data:
            return self._data[key]
        if default is _MISSING:
            raise self.wrong(key, said("is missing"), allowed)
        return default

    def _line_of(self, key: str) -> int:
        """Line of `key` in its section; of the section's head where the key is not there."""
        section = ""
        head = 1
        for number, line in enumerate(self._text.splitlines(), start=1):
            if found := re.match(r"\s*\[+\s*([^\]]+?)\s*\]", line):
                section = found.group(1)
                if section == self._section:
                    head = number
                elif not self._section and section == key:
                    return number
            elif section == self._section and re.match(
                rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", line
            ):
                return number
        return head
