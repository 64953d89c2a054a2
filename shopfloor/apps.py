from __future__ import annotations

from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate, post_save, pre_migrate
from django.utils.formats import get_format
from django.utils.translation import get_language, gettext, ngettext


def number_marks() -> tuple[str, str]:
    """As Django's own filters write numbers in the language in force."""
    language = get_language()
    return get_format("DECIMAL_SEPARATOR", language), get_format("THOUSAND_SEPARATOR", language)


class ShopfloorConfig(AppConfig):
    name = "shopfloor"

    def ready(self) -> None:
        """Signals as wiring, not as business logic: the audit trail belongs to every connection
        any process opens and to every database after its migrations, and only these tell.
        `bigint` is known before any list of addresses is read, whichever is read first."""
        from django.urls import register_converter

        import shopfloor.celery  # tasks sent by any process go to this application  # noqa: F401
        from planning.calc.translated import translated_by
        from shopfloor.audit.connection import on_connection
        from shopfloor.audit.triggers import after_migrating, before_migrating
        from shopfloor.people.security import source_token_made
        from shopfloor.web.addresses import BigIntConverter
        from telemetry import said
        from telemetry.models import PushToken

        register_converter(BigIntConverter, "bigint")
        translated_by(gettext, ngettext, number_marks, get_language)
        said.translated_by(gettext, ngettext)
        post_save.connect(source_token_made, sender=PushToken, dispatch_uid="kerfbook.security")
        connection_created.connect(on_connection, dispatch_uid="kerfbook.audit")
        pre_migrate.connect(before_migrating, sender=self, dispatch_uid="kerfbook.audit")
        post_migrate.connect(after_migrating, sender=self, dispatch_uid="kerfbook.audit")
