"""Instants as whole microseconds since 1970, made by the database: to make a datetime of each of
ten thousand takes longer than to find them."""

from __future__ import annotations

from typing import Any

from django.db.models import BigIntegerField, Func


class Microseconds(Func):
    """`to_us` of a column of instants; None where there is none. SQLite keeps them as text in UTC,
    with six digits behind the second or with none."""

    output_field = BigIntegerField()
    arity = 1
    template = (
        "(CAST(strftime('%%%%s', substr(%(expressions)s, 1, 19)) AS INTEGER) * 1000000"
        " + CAST(substr(%(expressions)s || '.000000', 21, 6) AS INTEGER))"
    )

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        whole = "CAST(EXTRACT(EPOCH FROM %(expressions)s) * 1000000 AS bigint)"
        return self.as_sql(compiler, connection, template=whole, **more)
