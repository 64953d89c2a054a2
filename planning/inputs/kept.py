"""Names of what is kept in `Summary` and is told to be out of date from elsewhere."""

from __future__ import annotations

from typing import Final

PROMISES_NOW: Final = "promises_now"
