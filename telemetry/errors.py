"""What can go wrong in telemetry, as one tree.

TelemetryError
    DescriptionError    a feed description that cannot be used; mended by a person
    ParseError          one line that means nothing; kept as a reject, reading continues
    SourceError         a port or file that cannot be read; `retry` says whether waiting helps
        NotAllowed      one that the settings do not allow to be read
    PushError           a delivery that is not taken; `status` is that of HTTP
"""

from __future__ import annotations

from telemetry.said import to_reader


class TelemetryError(Exception):
    """An expected fault with a message for the person at the table.

    `hint` is what to do about it; `retry` is True where trying again later may help.
    """

    def __init__(self, message: str, *, hint: str = "", retry: bool = False) -> None:
        self.said = message  # with its values, where it has any
        self.message = to_reader(message)  # in the language of whoever reads
        super().__init__(self.message)
        self.hint = hint
        self.retry = retry


class DescriptionError(TelemetryError):
    """`FILE:LINE: what is wrong`, or `FILE: key: what is wrong, allowed: ...`."""


class ParseError(TelemetryError):
    """One line that could not be read. `reason` is a stable word of `events.REASONS`."""

    def __init__(self, reason: str, message: str = "") -> None:
        super().__init__(message or reason)
        self.reason = reason


class SourceError(TelemetryError):
    """A port or file that cannot be opened or read."""


class NotAllowed(SourceError):
    """A port or file that the settings do not allow to be read; the message names the setting."""


class PushError(TelemetryError):
    """A collector's delivery that is not taken. `status` as in HTTP (RFC 9110); `next` is the
    number the inbox waits for, where that is the matter."""

    def __init__(
        self, status: int, message: str, *, retry: bool = False, next_sequence: int | None = None
    ) -> None:
        super().__init__(message, retry=retry)
        self.status = status
        self.next_sequence = next_sequence
