"""The collector: reads a source beside the table and forwards it, through days without network.

Bytes go into a journal of its own first, as in intake. The server acknowledges records by their
numbers once they are on its disk; what is not acknowledged is sent again.
"""

from __future__ import annotations

from telemetry.collector.run import collect_once, collect_until

__all__ = ["collect_once", "collect_until"]
