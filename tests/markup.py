"""Pages as a person reads them."""

from __future__ import annotations

import re


def worded(body: str) -> str:
    """A page without the marks that stand around values."""
    return re.sub(r"</?(data|time)\b[^>]*>", "", body)
