from __future__ import annotations

from django.apps import AppConfig


class TelemetryConfig(AppConfig):
    name = "telemetry"
