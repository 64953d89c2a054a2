"""Every page under axe-core (an open rule engine nobody here wrote): no violation of WCAG 2.2 A and
AA, nor of its best practices, at a desk, a tablet and a phone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.stock.services import remnant_add
from tests.browser import axe_finds
from tests.planning import cast
from tests.planning.calc.drawing.made import dxf, square
from tests.shopfloor.web.test_access import DOWNLOADS, PAGES
from tests.shopfloor.web.test_access import arguments as arguments_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:No directory at"),
]
arguments = arguments_of
NOT_PAGES = DOWNLOADS | {"jobs_csv", "incoming_how_far"}
OWN = ("preferences", "password")
FOUND = ("/find/", "/find/?q=J-&list=1", "/find/?q=nothing+has+this")  # empty, a list, and none


@pytest.fixture
def filled(arguments, sheet, north, operator, planner):
    """Something of everything: a remnant, a measured run with a piece, loose arcs, a late count."""
    from planning.services.run_figures import run_figures
    from shopfloor.models import Action, AirReading, ArcAssignment, Check, Factor, Run

    now = timezone.now()
    remnant_add(sheet=sheet, length_mm=1000, width_mm=600, at=now - timedelta(days=300))
    start = now - timedelta(minutes=70)
    cast.rate("machine", 9600)
    _, [line] = cast.job("J-1", quantity=3)
    revision = cast.nest(planner, [(line, 1e5, 500)] * 3)
    run = cast.run(revision, north, start=start, operator=operator, plan=cast.plan([500] * 3))
    cast.arcs(run, [(100, 700, 1), (800, 1400, 2), (1500, 2100, 3)], start=start)
    loose = cast.arcs(run, [(2300, 2400, None), (2700, 2800, None)], start=start)
    ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in loose]).delete()
    cast.fitting(cast.piece(label="E-7"), north, start, by=operator)
    stop = cast.stoppage(run, start, 400)
    run_figures(key=str(run.pk), payload={})
    for n in range(12):
        at = start + timedelta(minutes=n)
        u_mm = 0.9 if n == 11 else 0.3 + n % 3 / 50
        Check.objects.create(run=run, at=at, by=operator, u_mm=u_mm, correction_mm=0.1)
    AirReading.objects.create(
        table=north, at=start, shift_date=start.date(), flowing_kpa=600.0, drained=True, by=operator
    )
    nest = revision.nest
    for state, thickness_mm in (("proposed", 6.0), ("declined", 8.0)):
        Factor.objects.create(
            wear_set=nest.wear_set, material=nest.material, thickness_mm=thickness_mm, value=1.1,
            low=1.0, high=1.2, bare=1.1, shop=1.1, runs=7, runs_from=start.date(),
            runs_to=start.date(), state=state, proposed_at=start, decided_at=start,
            decided_by=planner if state == "declined" else None, why="thin",
        )  # fmt: skip
    parts = [{"line": line.pk, "good": 2, "scrap": 1, "rework": 0}]
    sides = {"run": str(run.pk), "by": "x", "at": now.isoformat(), "parts": parts}
    Action.objects.create(
        kind="finish", person=operator, device_at=now, at=now, state="conflict",
        result={"mine": sides, "theirs": {**sides, "parts": []}},
    )  # fmt: skip
    return {
        "run": Run.objects.get(pk=run.pk), "line": line, "loose": loose[0].key, "stop": stop.pk,
    }  # fmt: skip


def office_pages(arguments) -> list[str]:
    named = [(name, arguments[kind]) for name, (_, kind) in PAGES.items() if name not in NOT_PAGES]
    pages = [reverse(name, args=args) for name, args in named]
    pages += [*[reverse(name) for name in OWN], *FOUND]
    roles = ("operator", "supervisor", "planner", "owner", "administrator")
    return pages + [f"/help/{role}/" for role in roles]


def dashboard_pages(filled) -> list[str]:
    run, line = filled["run"], filled["line"]
    loose = filled["loose"].replace("|", "%7C")
    return [
        "/today/", "/today/notes/", "/today/hand-over/", "/balance/glance/",
        f"/runs/{run.pk}/", f"/figures/run/{run.pk}/", "/wear/", "/cost/", "/balance/",
        f"/cost/jobs/{line.job_id}/", f"/today/arcs/?first={loose}",
        f"/today/reason/{filled['stop']}/", "/nests/factors/", "/jobs/quotes/", "/jobs/quotes/new/",
        "/jobs/quotes/parts/", "/nests/promises/",
        "/balance/measures/", f"/nests/{run.revision.nest_id}/routes/", "/nowhere/",
    ]  # fmt: skip


def violations(page, address: str, theme: str = "light") -> list[str]:
    """What axe-core finds on a page, with where."""
    page.goto(address)
    page.wait_for_selector("h1")
    for _ in range(100):  # nothing is half faded in
        if not page.evaluate("document.getAnimations().length"):
            break
        page.wait_for_timeout(20)
    return [f"{address} {one}" for one in axe_finds(page)]


@pytest.mark.long
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_desk_at_1440(theme, arguments, filled, administrator, signed_in):
    administrator.is_superuser = True
    administrator.theme = theme
    administrator.save()
    page = signed_in(administrator, 1440, 900)
    pages = office_pages(arguments) + dashboard_pages(filled)
    pages.append(f"/jobs/quotes/parts/?part={arguments['drawing'][0]}.5")
    found = [one for address in pages for one in violations(page, address, theme)]
    assert not found, "\n".join(found)


def test_the_desk_on_a_phone(arguments, filled, administrator, signed_in):
    administrator.is_superuser = True
    administrator.save()
    page = signed_in(administrator, 390, 844)
    pages = ["/today/", "/jobs/", "/stock/", "/stock/remnants/", "/nests/checks/", "/jobs/late/"]
    pages += ["/nests/tables/", "/nests/trials/add/", *FOUND]
    named = {
        "nest": "nest",
        "drawing": "drawing",
        "trial": "trial",
        "table_figures": "table",
        "chart_row": "row",
    }
    pages += [reverse(name, args=arguments[kind]) for name, kind in named.items()]
    found = [one for address in pages for one in violations(page, address)]
    assert not found, "\n".join(found)


@pytest.mark.long
def test_a_list_of_parts_at_both_widths(arguments, administrator, signed_in):
    administrator.is_superuser = True
    administrator.save()
    page = signed_in(administrator, 1440, 900)
    page.goto(reverse("parts_list"))
    hidden = dxf(lambda space: square(space, dxfattribs={"layer": "BORDER"}))
    files = {
        "a_6mm_x2.dxf": dxf(square),
        "b.dxf": hidden,
        "c_x1.dxf": b"AC1032",
        "d_x9.dxf": hidden,
    }
    page.set_input_files(
        "[name=drawings]",
        [{"name": name, "mimeType": "", "buffer": raw} for name, raw in files.items()],
    )
    page.click("button[value=read]")
    page.wait_for_selector("table.parts")
    found = axe_finds(page)
    page.set_viewport_size({"width": 390, "height": 844})
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert not found + axe_finds(page)
    assert wide <= 390
    page.check("[name=part-1-layers]")
    page.click("button[value=read]")
    page.wait_for_selector("[name=part-1-layers]:checked")


def test_signing_in(shop, chromium, live_server):
    page = chromium.new_page(base_url=live_server.url)
    assert not violations(page, "/sign-in/")
    page.close()
