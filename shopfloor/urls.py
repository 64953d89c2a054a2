"""Every address of the program. Rooms above this one are named as text, never imported."""

from __future__ import annotations

from django.urls import include, path

handler400 = "shopfloor.office.failing.refused"
handler500 = "shopfloor.office.failing.failed"
urlpatterns = [
    path("", include("shopfloor.office.urls")),
    path("floor/", include("shopfloor.terminal.urls")),
    path("", include("dashboards.urls")),
]
