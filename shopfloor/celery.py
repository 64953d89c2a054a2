"""Celery: on Redis where REDIS_URL is set, else on folders in the data directory, so that one
machine needs no server. Rows in `Work` are the truth either way."""

from __future__ import annotations

import os

from celery import Celery
from kombu.transport import TRANSPORT_ALIASES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")

from django.conf import settings

from shopfloor.background.steady import Every

app = Celery("kerfbook")
TRANSPORT_ALIASES["files"] = "shopfloor.broker:Transport"


def _embedded() -> dict[str, object]:
    folder = settings.DATA_DIR / "broker"
    for name in ("queue", "processed", "control"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    return {
        "broker_url": "files://localhost",  # it asks for a host, and warns without one
        "broker_transport_options": {
            # One folder in and out: what a worker reads is what the web process wrote.
            "data_folder_in": str(folder / "queue"),
            "data_folder_out": str(folder / "queue"),
            "control_folder": str(folder / "control"),
            "polling_interval": 0.1,
        },
    }


def _served() -> dict[str, object]:
    return {
        "broker_url": settings.REDIS_URL,
        "broker_transport_options": {
            "visibility_timeout": 900,
            "unacked_restore_interval": 30,
            "socket_connect_timeout": 2,
            "socket_keepalive": True,
        },
        "task_acks_late": True,
        "broker_connection_retry_on_startup": True,
    }


app.conf.update(
    **(_served() if settings.REDIS_URL else _embedded()),
    task_ignore_result=True,
    task_default_queue="kerfbook",
    worker_hijack_root_logger=False,
    worker_prefetch_multiplier=1,
    broker_connection_timeout=2,
    beat_scheduler="shopfloor.background.steady:SteadyScheduler",
    beat_schedule={
        "sweep": {"task": "kerfbook.sweep", "schedule": Every(15.0)},
        "freshen": {"task": "kerfbook.freshen", "schedule": Every(300.0)},
        "statements": {"task": "kerfbook.statements", "schedule": Every(300.0)},
        "notes": {"task": "kerfbook.notes", "schedule": Every(10.0)},
        "promises": {"task": "kerfbook.promises", "schedule": Every(10.0)},
        "verify": {"task": "kerfbook.verify", "schedule": Every(600.0)},
        "backup": {"task": "kerfbook.backup", "schedule": Every(60.0)},
    },
    timezone="UTC",
)
app.autodiscover_tasks(["planning"])
