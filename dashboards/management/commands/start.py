"""`start [--demo] [--port 8000] [--data DIR]`: all of Kerfbook on one machine."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import Error as DatabaseError

from dashboards import launch
from dashboards.supervisor import Supervisor
from shopfloor.backup import swap
from shopfloor.backup.archive import BackupError
from shopfloor.backup.upgrade import upgrade
from shopfloor.web.hosts import is_loopback
from telemetry.management.base import OneLineCommand, database_words
from telemetry.privacy import protect


class Command(OneLineCommand):
    help = "Runs the web pages, intake and background work on this machine."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--demo", action="store_true", help="load the invented shop")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--bind", default="127.0.0.1", help="address to listen on; 0.0.0.0 lets tablets in"
        )
        parser.add_argument("--data", help="data folder (else KERFBOOK_DATA, else .data)")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = Path(options["data"] or settings.DATA_DIR).expanduser().resolve()
        if folder != settings.DATA_DIR:
            # Settings are read once, at the first import: begin again with the folder given.
            os.environ["KERFBOOK_DATA"] = str(folder)
            os.execv(sys.executable, [sys.executable, *sys.argv])  # noqa: S606 - ourselves
        try:
            if options["demo"] and not is_loopback(options["bind"]):
                raise launch.StartError(
                    f"--bind {options['bind']}: a demo has known sign-ins and stays on loopback"
                )
            self.run(folder, options)
        except (launch.StartError, DatabaseError, OSError) as problem:
            words = database_words(problem) if isinstance(problem, DatabaseError) else str(problem)
            self.stderr.write(" ".join(words.split()))
            sys.exit(2)

    def run(self, folder: Path, options: dict[str, Any]) -> None:
        lock = launch.take_folder(folder)
        for line in protect(folder):
            self.say(line)
        launch.check_port(options["bind"], options["port"])
        launch.make_source_dir()
        self.make_ready(folder)
        signins: list[str] = []
        if options["demo"]:
            from dashboards.demo import prepare

            signins = prepare(say=self.say)
            # Loading takes a minute; whoever took the port meanwhile must not answer for us.
            launch.check_port(options["bind"], options["port"])
        manage = Path(settings.BASE_DIR) / "manage.py"
        supervisor = Supervisor(
            launch.children(
                folder=folder,
                manage=manage,
                bind=options["bind"],
                port=options["port"],
                demo=options["demo"],
            ),
            say=self.say,
        )

        def up() -> None:
            said = launch.addresses_said(options["bind"], options["port"], demo=options["demo"])
            for line in [*said, launch.source_words(), *signins]:
                self.say(line)
            self.say("Ctrl-C ends all of it.")

        def late() -> None:
            log = folder / "logs" / "web.log"
            self.say(f"the web process does not answer yet; see {log}")

        announcement = launch.Announcement(options["bind"], options["port"], up=up, late=late)
        try:
            supervisor.run(each_round=announcement)
        finally:
            lock.close()

    def make_ready(self, folder: Path) -> None:
        """The database at this version. One that holds a shop is backed up before it changes."""
        try:
            swap.finish(folder)
            done = upgrade(locked=True)
        except BackupError as problem:
            raise launch.StartError(" ".join(str(problem).split())) from problem
        if done.backup is not None:
            self.say(f"upgraded the database; the backup from before is {done.backup}")
        call_command("migrate", verbosity=0, interactive=False)

    def say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()
