from __future__ import annotations

from django.apps import AppConfig


class ShopfloorConfig(AppConfig):
    name = "shopfloor"
    verbose_name = "Shop floor"
