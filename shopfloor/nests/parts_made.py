"""How many parts sheets of a nest's revision make."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet, Sum

from shopfloor.models import Contour


def parts_made(contours: QuerySet[Contour], *by: str) -> QuerySet[Any, Any]:
    """Rows of `by` and the parts that one sheet makes, of what these contours cut. Outlines are
    counted, each as the parts it makes: `copy` numbers the parts of one name, and of two names on
    one line it says the same twice."""
    outlines = contours.filter(inner=False).order_by()
    return outlines.values_list(*by).annotate(made=Sum("parts"))
