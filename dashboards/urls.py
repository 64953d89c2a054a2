"""Addresses of the day, the run, the month, wear and balance."""

from __future__ import annotations

from django.urls import URLPattern, path, re_path

from dashboards import views
from dashboards.opened import closing, jobs
from dashboards.opened.views import figure
from dashboards.plans import (
    factors,
    glance,
    measures,
    promises,
    quote_paper,
    quote_parts,
    quotes,
    routes,
)
from dashboards.runs.views import run
from dashboards.today import deeds, hand_over, notes
from dashboards.today import views as today_views
from dashboards.wear.views import wear

urlpatterns: list[URLPattern] = [
    path("today/", today_views.today, name="today"),
    path("today/strips/", today_views.strips, name="today_strips"),
    path("today/line/", deeds.line, name="line_leave"),
    path("today/arcs/", deeds.arcs, name="arcs"),
    path("today/arcs/give/", deeds.assign_arcs, name="assign_arcs"),
    path("today/arcs/back/", deeds.unassign_arcs, name="unassign_arcs"),
    path("today/notes/", notes.day, name="notes"),
    path("today/notes/<bigint:note_id>/seen/", notes.seen, name="note_seen"),
    path("today/hand-over/", hand_over.write, name="hand_over_write"),
    path("today/reason/<bigint:stoppage_id>/", deeds.reason, name="reason"),
    path("runs/<uuid:run_id>/", run, name="run"),
    path("figures/<slug:kind>/<path:key>/", figure, name="figure"),
    path("wear/", wear, name="wear"),
    path("jobs/quotes/", quotes.board, name="quotes"),
    path("jobs/quotes/new/", quotes.make, name="quote_make"),
    path("jobs/quotes/parts/", quote_parts.make, name="quote_parts"),
    path("jobs/quotes/<bigint:quote_id>/", quotes.quote, name="quote"),
    path("jobs/quotes/<bigint:quote_id>/paper/", quote_paper.paper, name="quote_paper"),
    path("jobs/quotes/<bigint:quote_id>/words/", quote_paper.words, name="quote_words"),
    path("nests/promises/", promises.promises, name="promises"),
    path("nests/factors/", factors.board, name="factors"),
    path("nests/factors/propose/", factors.propose, name="factors_propose"),
    path("nests/factors/<bigint:factor_id>/", factors.answer, name="factor_answer"),
    path("nests/<bigint:nest_id>/routes/", routes.nest_routes, name="nest_routes"),
    path("cost/jobs/<bigint:job_id>/", jobs.job_cost, name="job_cost"),
    path("cost/close/<slug:month>/", closing.close, name="month_close"),
    path("cost/", views.cost, name="cost"),
    re_path(r"^cost/(?P<rest>(_dash|_reload|assets).*)$", views.cost, name="cost_dash"),
    path("balance/glance/", glance.glance, name="glance"),
    path("balance/measures/", measures.measures, name="measures"),
    path("balance/", views.balance, name="balance"),
    re_path(r"^balance/(?P<rest>(_dash|_reload|assets).*)$", views.balance, name="balance_dash"),
]
