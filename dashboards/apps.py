from __future__ import annotations

from django.apps import AppConfig


class DashboardsConfig(AppConfig):
    name = "dashboards"
