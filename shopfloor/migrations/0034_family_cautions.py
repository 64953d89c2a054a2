"""Materials that were added by hand without a caution get the one of their family."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import migrations

CAUTIONS = {"stainless": "chromium", "galvanised": "coated", "aluminium": "aluminium"}


def fill(apps: Any, schema_editor: Any) -> None:
    materials = apps.get_model("shopfloor", "Material").objects
    for family, caution in CAUTIONS.items():
        materials.filter(family=family, caution="").update(caution=caution)


class Migration(migrations.Migration):
    dependencies: ClassVar = [("shopfloor", "0033_screen_right")]

    operations: ClassVar = [migrations.RunPython(fill, migrations.RunPython.noop)]
