from __future__ import annotations

import pytest
from django.test import Client

from tests.planning import cast

NOW = cast.at(cast.NOON, 4000)


@pytest.fixture(autouse=True)
def _static(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATIC_ROOT.mkdir()


@pytest.fixture
def at_noon(monkeypatch):
    """The pages' clock: 13:06:40 in the early shift of Tuesday 6 October 2026."""
    monkeypatch.setattr("dashboards.data.now", lambda: NOW)
    return NOW


@pytest.fixture
def a_run(north, operator):
    """One finished run of 3600 s with three arcs of 600 s, planned 500 s each."""
    _, [line] = cast.job("J-1", quantity=3)
    revision = cast.nest(operator, [(line, 1e5, 500)] * 3)
    made = cast.run(revision, north, operator=operator, plan=cast.plan([500] * 3))
    cast.arcs(made, [(100, 700, 1), (800, 1400, 2), (1500, 2100, 3)])
    return made


@pytest.fixture
def loose(a_run, operator):
    """Four arcs on North after that run that nobody has said anything of."""
    from shopfloor.models import ArcAssignment

    arcs = cast.arcs(a_run, [(3700 + 30 * n, 3720 + 30 * n, None) for n in range(4)])
    ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in arcs]).delete()
    return [arc.key for arc in arcs]


@pytest.fixture
def as_(request):
    """A signed-in client: as_("supervisor")."""

    def signed_in(name: str, **more) -> Client:
        client = Client(**more)
        client.force_login(request.getfixturevalue(name))
        return client

    return signed_in
