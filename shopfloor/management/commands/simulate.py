"""`simulate`: the demo's tables, each on a pseudo-serial port in the data folder."""

from __future__ import annotations

import signal
from random import Random
from typing import Any

from django.core.management.base import BaseCommand
from django.db import OperationalError

from shopfloor.demo.live import Port, SimulatedTable, run_tables
from shopfloor.demo.load import port_of
from shopfloor.models import Table


class Command(BaseCommand):
    help = "Runs the demo's simulated tables until it is stopped."
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        going = True

        def stop(*_: object) -> None:
            nonlocal going
            going = False

        signal.signal(signal.SIGTERM, stop)
        signal.signal(signal.SIGINT, stop)
        tables = [
            SimulatedTable(table, Port(port_of(table.code)), Random())  # noqa: S311 - a demo
            for table in Table.objects.filter(active=True)
        ]
        steps = run_tables(tables)
        while going:
            try:
                next(steps)
            except OperationalError as busy:
                self.stderr.write(f"the database is busy, going on: {busy}")
                steps = run_tables(tables)
        for table in tables:
            table.port.close()
