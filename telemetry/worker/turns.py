"""What the threads of one worker tell each other."""

from __future__ import annotations

import threading

from telemetry.feeds.ports import Ports
from telemetry.worker.pace import Pace


class Turns:
    def __init__(self) -> None:
        self.synced = threading.Event()  # the journal has something new
        self.full = threading.Event()  # much waits for the journal
        self.ending = threading.Event()
        self.pace = Pace()
        self.ports = Ports.make()

    def end(self) -> None:
        self.ending.set()
        self.full.set()
        if self.ports is not None:
            self.ports.close()
