"""Row numbers in addresses."""

from __future__ import annotations

from typing import Final

from django.urls.converters import IntConverter

MOST: Final = 2**63 - 1  # the largest key a database row can have


class BigIntConverter(IntConverter):
    """`<bigint:pk>`: a whole number a database can be asked for; a larger one is no address.

    Django's own `int` lets any length through, and a filter on a foreign key then fails."""

    def to_python(self, value: str) -> int:
        found = super().to_python(value)
        if found > MOST:
            raise ValueError(f"{value} is larger than any row's number")
        return found
