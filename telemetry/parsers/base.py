"""What every parser gives: the raw texts of one line, by meaning."""

from __future__ import annotations

from typing import NamedTuple, Protocol


class Fields(NamedTuple):
    """The texts of one line as written; None where the line has none."""

    seq: str | None
    time: str | None
    signal: str | None
    value: str | None
    torch: str | None


class Parser(Protocol):
    """Turns one line of text into fields, or raises ParseError."""

    def parse(self, text: str) -> Fields:
        """The fields of one line."""

    def take_header(self, text: str) -> bool:
        """True where the line is a header; the parser then follows its column order."""

    @property
    def layout(self) -> list[str] | None:
        """The column order in force, for a checkpoint; None where there is no such thing."""

    def use_layout(self, layout: list[str] | None) -> None:
        """Put a column order of a checkpoint back in force."""
