"""Addresses of the office."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path

from shopfloor.background import office as work
from shopfloor.backup import office as backups
from shopfloor.books.office import machine_hour, price_lists, rates
from shopfloor.chart.office import chart, sets, trials
from shopfloor.chart.office import row as chart_rows
from shopfloor.drawings.office import drawings, parts_list
from shopfloor.drawings.office import read as drawing_read
from shopfloor.jobs.office import edit as jobs_edit
from shopfloor.jobs.office import import_list as job_import
from shopfloor.jobs.office import import_undo as job_import_undo
from shopfloor.jobs.office import jobs
from shopfloor.library.office import parts as known_parts
from shopfloor.nests.office import edit as nest_edit
from shopfloor.nests.office import long_files as incoming
from shopfloor.nests.office import nests, papers, queue
from shopfloor.nests.office import parts as nest_parts
from shopfloor.people.office import people, preferences, security, terminals
from shopfloor.people.office import sign_in as signin
from shopfloor.quality import office as checks
from shopfloor.runs.office import complete as run_complete
from shopfloor.runs.office import late_entries as late
from shopfloor.search import office as find
from shopfloor.site.office import calendar, first_steps, shop, table_edit, table_pauses, tables
from shopfloor.sources.office import change as source_change
from shopfloor.sources.office import count as source_count
from shopfloor.sources.office import entered as source_entered
from shopfloor.sources.office import health, sources
from shopfloor.sources.office import push_intake as intake
from shopfloor.stock.office import correct as sheet_correct
from shopfloor.stock.office import remnants, stock
from shopfloor.verify import office as verification
from shopfloor.wear.office import drawer, pieces, trays
from shopfloor.web import help_pages as helping

urlpatterns = [
    path("", signin.home, name="home"),
    path("sign-in/", signin.SignIn.as_view(), name="login"),
    path("sign-out/", LogoutView.as_view(), name="logout"),
    path("me/", preferences.preferences, name="preferences"),
    path("me/password/", preferences.password, name="password"),
    path("first-steps/", first_steps.steps, name="first_steps"),
    path("find/", find.find, name="find"),
    path("help/", helping.own, name="help_own"),
    path("help/<slug:role>/", helping.page, name="help"),
    path("healthz", health.healthz, name="healthz"),
    path("intake/<str:name>/", intake.deliver, name="intake"),
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/list.csv", jobs.jobs_csv, name="jobs_csv"),
    path("jobs/add/", jobs_edit.add, name="job_add"),
    path("jobs/import/", job_import.upload, name="job_import"),
    path("jobs/import/confirm/", job_import.confirm, name="job_import_confirm"),
    path("jobs/import/headings/", job_import.headings, name="job_import_headings"),
    path("jobs/import/<bigint:pk>/undo/", job_import_undo.undo, name="job_import_undo"),
    path("jobs/<bigint:pk>/", jobs.job, name="job"),
    path("jobs/<bigint:pk>/traveler/", papers.traveler, name="traveler"),
    path("jobs/<bigint:pk>/change/", jobs_edit.edit, name="job_edit"),
    path("jobs/<bigint:pk>/quote/", jobs_edit.quote, name="job_quote"),
    path("jobs/<bigint:pk>/act/", jobs_edit.act, name="job_act"),
    path("jobs/<bigint:pk>/lines/add/", jobs_edit.add_line, name="job_line_add"),
    path("jobs/<bigint:pk>/lines/<bigint:number>/", jobs_edit.edit_line, name="job_line"),
    path("jobs/late/", late.late, name="late"),
    path("jobs/late/<uuid:pk>/", late.decide, name="late_decide"),
    path("runs/<uuid:pk>/complete/", run_complete.complete, name="run_complete"),
    path("nests/incoming/<bigint:pk>/", incoming.incoming, name="incoming"),
    path("nests/incoming/<bigint:pk>/how-far/", incoming.how_far, name="incoming_how_far"),
    path("nests/incoming/<bigint:pk>/stop/", incoming.stop, name="incoming_stop"),
    path("nests/", nests.nests, name="nests"),
    path("nests/add/", nest_edit.add, name="nest_add"),
    path("nests/<bigint:pk>/", nests.nest, name="nest"),
    path("nests/<bigint:pk>/setup/", papers.setup, name="setup"),
    path("nests/<bigint:pk>/change/", nest_edit.edit, name="nest_edit"),
    path("nests/<bigint:pk>/parts/", nest_parts.parts, name="nest_parts"),
    path("nests/<bigint:pk>/revise/", nest_edit.revise, name="nest_revise"),
    path("nests/<bigint:pk>/act/", nest_edit.act, name="nest_act"),
    path("nests/<bigint:pk>/put/", queue.put, name="queue_put"),
    path("nests/program/<bigint:pk>/", nests.program, name="nest_program"),
    path("nests/plan/<bigint:pk>/", nests.opened, name="plan"),
    path("nests/queue/", queue.queue, name="queue"),
    path("nests/queue/<bigint:pk>/act/", queue.act, name="queue_act"),
    path("nests/checks/", checks.checks, name="checks"),
    path("nests/drawings/", drawings.drawings, name="drawings"),
    path("nests/drawings/parts/", parts_list.parts_list, name="parts_list"),
    path("nests/drawings/add/", drawing_read.add, name="drawing_add"),
    path("nests/drawings/<bigint:pk>/", drawings.drawing, name="drawing"),
    path("nests/drawings/<bigint:pk>/read/", drawing_read.revise, name="drawing_revise"),
    path("nests/drawings/<bigint:pk>/act/", drawings.act, name="drawing_act"),
    path("nests/drawings/file/<bigint:pk>/", drawings.file, name="drawing_file"),
    path("nests/parts/", known_parts.parts, name="known_parts"),
    path("nests/parts/<bigint:pk>/", known_parts.part, name="known_part"),
    path("nests/parts/<bigint:pk>/act/", known_parts.act, name="known_part_act"),
    path("nests/chart/", chart.chart, name="chart"),
    path("nests/chart/import/", chart.bring, name="chart_import"),
    path("nests/chart/import/confirm/", chart.confirm, name="chart_import_confirm"),
    path("nests/chart/nearly/", chart_rows.near_thickness, name="thickness_answer"),
    path("nests/chart/<bigint:pk>/", chart_rows.row, name="chart_row"),
    path("nests/chart/<bigint:pk>/end/", chart.end, name="chart_end"),
    path("nests/trials/", trials.trials, name="trials"),
    path("nests/trials/add/", trials.add, name="trial_add"),
    path("nests/trials/<bigint:pk>/", trials.trial, name="trial"),
    path("nests/trials/<bigint:pk>/strike/", trials.strike, name="trial_strike"),
    path("nests/tables/", tables.tables, name="tables"),
    path("nests/tables/add/", table_edit.add, name="table_add"),
    path("nests/tables/<bigint:pk>/name/", table_edit.rename, name="table_rename"),
    path("nests/tables/<bigint:pk>/pauses/", table_pauses.accept, name="table_pauses"),
    path("nests/tables/<bigint:pk>/", tables.table, name="table_figures"),
    path("nests/prices/", price_lists.bring, name="prices_bring"),
    path("nests/sets/", sets.sets, name="sets"),
    path("nests/sets/<bigint:pk>/", sets.one_set, name="set"),
    path("nests/sets/<bigint:pk>/tray/", trays.make_tray, name="tray_make"),
    path("nests/materials/", sets.materials, name="materials"),
    path("nests/rates/", rates.rates, name="rates"),
    path("nests/rates/hour/", machine_hour.machine_hour, name="machine_hour"),
    path("nests/rates/<bigint:pk>/", rates.correct, name="rate_correct"),
    path("stock/", stock.stock, name="stock"),
    path("stock/receive/", stock.receive, name="stock_receive"),
    path("stock/plate/", remnants.low, name="low_stock"),
    path("stock/plate/<bigint:material>/<str:mm>/", remnants.plate, name="plate"),
    path("stock/labels/", remnants.labels, name="labels"),
    path("stock/parts/", drawer.parts, name="parts"),
    path("stock/parts/receive/", drawer.receive, name="parts_receive"),
    path("stock/parts/buy/", drawer.purchase, name="purchase"),
    path("stock/parts/order/", drawer.order, name="part_order"),
    path("stock/parts/order/<bigint:pk>/end/", drawer.end_order, name="part_order_end"),
    path("nests/sets/part/<bigint:pk>/same/", drawer.same, name="part_same"),
    path("stock/pieces/", pieces.pieces, name="pieces"),
    path("stock/pieces/add/", pieces.add, name="pieces_add"),
    path("stock/pieces/<bigint:pk>/", pieces.piece, name="piece"),
    path("stock/pieces/<bigint:pk>/act/", pieces.act, name="piece_act"),
    path("stock/pieces/<bigint:pk>/look/", pieces.look, name="piece_look"),
    path("stock/pieces/photo/<bigint:pk>/", pieces.photo, name="inspection_photo"),
    path("stock/remnants/", remnants.remnants_page, name="remnants"),
    path("stock/remnants/write-off/", remnants.write_off, name="remnants_write_off"),
    path("stock/<bigint:pk>/back/", remnants.back, name="sheet_back"),
    path("stock/<bigint:pk>/", stock.sheet, name="sheet"),
    path("stock/<bigint:pk>/correct/", sheet_correct.correct, name="sheet_correct"),
    path("stock/<bigint:pk>/leave/", stock.leave, name="sheet_leave"),
    path("stock/heats/", stock.heats, name="heats"),
    path("stock/heats/<bigint:pk>/", stock.heat, name="heat"),
    path("stock/heats/<bigint:pk>/certificate/", stock.certificate, name="certificate"),
    path("sources/", sources.sources, name="sources"),
    path("sources/add/", source_change.change, name="source_add"),
    path("sources/try/", source_change.attempt, name="source_try"),
    path("sources/alarms/<bigint:pk>/seen/", sources.seen, name="alarm_seen"),
    path("sources/at/<str:name>/", sources.source, name="source"),
    path("sources/at/<str:name>/change/", source_change.change, name="source_change"),
    path("sources/at/<str:name>/try/", source_change.attempt, name="source_try_at"),
    path("sources/at/<str:name>/entered/", source_entered.enter, name="source_entered"),
    path("sources/at/<str:name>/count/", source_count.count_arcs, name="source_count"),
    path("sources/at/<str:name>/token/", sources.token, name="source_token"),
    path("sources/at/<str:name>/act/", sources.act, name="source_act"),
    path("sources/shop/", shop.shop, name="shop"),
    path("sources/calendar/", calendar.calendar, name="calendar"),
    path("sources/calendar/change/", calendar.change, name="calendar_change"),
    path("sources/calendar/holidays/", calendar.holidays, name="calendar_holidays"),
    path("sources/calendar/up/<bigint:pk>/", calendar.up, name="calendar_up"),
    path("sources/calendar/open/<bigint:pk>/", calendar.reopen, name="calendar_open"),
    path("sources/calendar/back/<bigint:pk>/", calendar.back, name="calendar_back"),
    path("sources/calendar/drop/<bigint:pk>/", calendar.drop, name="calendar_drop"),
    path("sources/backups/", backups.backups, name="backups"),
    path("sources/backups/make/", backups.make, name="backup_make"),
    path("sources/shop/shifts/<bigint:pk>/end/", shop.end_shift, name="shift_end"),
    path("sources/shop/reasons/usual/", shop.usual_reasons, name="reasons_usual"),
    path("sources/shop/reasons/<bigint:pk>/retire/", shop.retire_reason, name="reason_retire"),
    path("sources/people/", people.people, name="people"),
    path("sources/people/add/", people.add, name="person_add"),
    path("sources/people/<bigint:pk>/", people.person, name="person"),
    path("sources/terminals/", terminals.terminals, name="terminals"),
    path("sources/terminals/<bigint:pk>/retire/", terminals.retire, name="terminal_retire"),
    path("sources/verify/", verification.verification, name="verification"),
    path("sources/security/", security.security, name="security"),
    path("sources/security/<bigint:pk>/seen/", security.seen, name="security_seen"),
    path("sources/work/", work.work, name="work"),
    path("sources/work/<bigint:pk>/act/", work.act, name="work_act"),
]
