"""What every parser gives: the raw texts of one line, by meaning."""

from __future__ import annotations

from typing import Final, Protocol

FIELDS: Final = ("seq", "time", "signal", "value", "torch")

# The texts of one line as written, in the order of FIELDS; None where the line has none.
# A plain tuple, because a named one takes longer to make than the line to split.
Fields = tuple[str | None, str | None, str | None, str | None, str | None]


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
