"""Every address of the program. Rooms above this one are named as text, never imported."""

from __future__ import annotations

from django.urls import include, path

handler400 = "shopfloor.web.failures.refused"
handler500 = "shopfloor.web.failures.failed"

urlpatterns = [
    path("", include("shopfloor.office_urls")),
    path("floor/", include("shopfloor.terminal.urls")),
    path("", include("dashboards.urls")),
]
