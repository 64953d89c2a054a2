"""The Django project: the shop's records, its office pages and its floor terminal."""

from shopfloor.celery import app as celery_app

__all__ = ["celery_app"]
