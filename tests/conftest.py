"""The cast every test shares: two tables, and one person of each kind. Passwords are all
"burn clean plate", PINs all 2468."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest
from django.contrib.auth.hashers import make_password
from django.core.management import call_command
from django.db import connection
from hypothesis import HealthCheck, settings

from shopfloor.celery import app as celery_app
from tests.browser_limit import limited
from tests.migrated import filled_in_memory, migrated_file, working_on
from tests.servers import own_database, postgres_server

PASSWORD = "burn clean plate"
PIN = "2468"
# How fast made-up data comes depends on what else the machine does: no test is timed.
settings.register_profile(
    "untimed", settings(), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("untimed")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup(item: pytest.Item) -> Iterator[None]:
    with _limit(item, "made ready"):
        return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    with _limit(item, "run"):
        return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item) -> Iterator[None]:
    with _limit(item, "cleared up"):
        return (yield)


def _limit(item: pytest.Item, doing: str) -> AbstractContextManager[None]:
    """A browser that never answers fails its test, and holds up no other."""
    if item.get_closest_marker("browser") is None:
        return nullcontext()
    return limited(f"{item.nodeid}, being {doing}")


@pytest.fixture(scope="session")
def migrated(tmp_path_factory, django_test_environment, django_db_blocker) -> Path:
    """The file of an empty, migrated SQLite database, one for all workers; tests copy it."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    with django_db_blocker.unblock():
        return migrated_file(folder)


@pytest.fixture(scope="session")
def migrated_postgres(
    tmp_path_factory, django_test_environment, django_db_blocker
) -> Iterator[Callable[[], AbstractContextManager[str]]]:
    """Gives URLs of PostgreSQL databases that are empty and migrated, copies of one."""
    folder = tmp_path_factory.mktemp("postgres")
    with postgres_server() as server, own_database(server) as first:
        with django_db_blocker.unblock(), working_on(folder, first):
            call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
        yield lambda: own_database(server, like=first)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings, request) -> Iterator[None]:
    """The test database in memory starts as a copy of that file, with nothing left to migrate."""
    name = connection.creation._get_test_db_name()
    if connection.vendor != "sqlite" or not connection.creation.is_in_memory_db(name):
        yield
        return
    with filled_in_memory(request.getfixturevalue("migrated"), name):
        yield


@pytest.fixture(autouse=True)
def _own_folders(settings, tmp_path: Path) -> None:
    """No test writes into the developer's data folder or wakes a real worker."""
    settings.DATA_DIR = tmp_path / "data"
    settings.DATA_DIR.mkdir()
    settings.STATIC_ROOT = settings.DATA_DIR / "static"
    settings.STATIC_ROOT.mkdir()  # whitenoise warns where there is none, and warnings are errors
    settings.SOURCE_DIRS = (tmp_path, Path.cwd())
    settings.MEDIA_ROOT = settings.DATA_DIR / "files"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    celery_app.conf.broker_url = "memory://"


@pytest.fixture(autouse=True)
def _log_may_be_emptied(request):
    """A test that commits ends with all tables emptied, which the security log's triggers refuse.
    Emptying makes them again, as migrating does."""
    marker = request.node.get_closest_marker("django_db")
    commits = marker is not None and marker.kwargs.get("transaction")
    if commits or "transactional_db" in request.fixturenames:
        from shopfloor.audit.triggers import audit_drop

        request.getfixturevalue("transactional_db")
        yield
        audit_drop()
    else:
        yield


@pytest.fixture
def shop(db):
    from shopfloor.models import Shift, Shop

    made = Shop.objects.create(name="Brindle Weir Fabricating", zone="America/Chicago")
    for name, start, end in (("early", 6, 14), ("late", 14, 22), ("night", 22, 6)):
        Shift.objects.create(
            name=name,
            start=time(start),
            end=time(end),
            weekdays="1234567",
            valid_from=date(2026, 1, 1),
        )
    return made


@pytest.fixture
def north(shop):
    from shopfloor.models import Table, Torch

    table = Table.objects.create(code="north", name="North", order=1)
    Torch.objects.create(table=table, code="1")
    return table


@pytest.fixture
def south(shop):
    from shopfloor.models import Table, Torch

    table = Table.objects.create(code="south", name="South", order=2)
    Torch.objects.create(table=table, code="1")
    return table


def person(name: str, role: str | None):
    from django.contrib.auth.models import Group

    from shopfloor.models import User
    from shopfloor.people.roles import role_give, roles_sync

    if not Group.objects.exists():
        roles_sync()  # a test that commits ends with a flush, which takes the migrated roles too
    first, last = name.split()
    user = User.objects.create(
        username=first.lower(),
        first_name=first,
        last_name=last,
        password=make_password(PASSWORD),
        badge=f"B-{first.lower()}",
        pin_hash=make_password(PIN),
    )
    if role:
        role_give(user=user, role=role)
    return user


@pytest.fixture
def operator(db):
    return person("Milo Brandt", "operator")


@pytest.fixture
def supervisor(db):
    return person("Dana Okell", "supervisor")


@pytest.fixture
def planner(db):
    return person("Ines Varga", "planner")


@pytest.fixture
def owner(db):
    return person("Ann Tiller", "owner")


@pytest.fixture
def administrator(db):
    return person("Theo Marsh", "administrator")


@pytest.fixture
def nobody(db):
    """Signed in, and allowed nothing."""
    return person("Sam Quill", None)


@pytest.fixture
def utc():
    return lambda *parts: datetime(*parts, tzinfo=UTC)
