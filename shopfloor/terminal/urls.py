"""Addresses of the floor terminal, all under /floor/."""

from __future__ import annotations

from django.urls import path

from shopfloor.terminal.views import (
    actions,
    away,
    countersign,
    help,
    home,
    people,
    photo,
    register,
    stop,
    table,
)
from shopfloor.terminal.views import parts_map as maps

app_name = "floor"

urlpatterns = [
    path("", home.home, name="home"),
    path("away/", away.away, name="away"),
    path("worker.js", away.worker, name="worker"),
    path("help/", help.help_page, name="help"),
    path("register/", register.register, name="register"),
    path("<slug:table>/", table.page, name="table"),
    path("<slug:table>/state", table.state, name="state"),
    path("<slug:table>/actions", actions.deliver, name="actions"),
    path("<slug:table>/code", table.code, name="code"),
    path("<slug:table>/photo", photo.photo, name="photo"),
    path("<slug:table>/map/<bigint:revision>", maps.planned, name="map"),
    path("<slug:table>/runmap/<uuid:run>", maps.of_run, name="runmap"),
    path("<slug:table>/sign-in", people.sign_in, name="sign_in"),
    path("<slug:table>/hand-over", people.hand_over, name="hand_over"),
    path("<slug:table>/countersign", countersign.countersign, name="countersign"),
    path("<slug:table>/stop", stop.stop, name="stop"),
    path("<slug:table>/sign-out", people.sign_out, name="sign_out"),
]
