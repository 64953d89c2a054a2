"""Long files taken in beside the pages: how far they are is seen, they can be stopped, and until
they are done nothing of them is in the shop's records."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.program import ProgramError
from planning.calc.said import to_reader
from shopfloor.audit.actor import acting
from shopfloor.background.request import request_work
from shopfloor.files.apart import LONG_PROGRAM
from shopfloor.files.read_list import ListError
from shopfloor.files.uploads import INCOMING, upload_drop, upload_keep, upload_read
from shopfloor.jobs.import_list import import_plan, plan_write
from shopfloor.jobs.import_told import import_told
from shopfloor.models import Incoming, Material, Nest, Table, User, WearSet
from shopfloor.nests.services import nest_add, program_read, revision_add

LONG_PROGRAM_BYTES: Final = 2 * 1024 * 1024
LONG_LIST_ROWS: Final = 2_000
LONG_LIST_BYTES: Final = 256 * 1024
TOLD_S: Final = 0.5  # rows about progress are written no oftener
OPEN: Final = ("waiting", "reading")


class Stopped(Exception):
    """Somebody asked to stop."""


def incoming_add(
    *, kind: str, name: str, raw: bytes, options: dict[str, Any], by: User,
    at: datetime | None = None,
) -> Incoming:  # fmt: skip
    """Keeps a file's bytes and asks for it to be taken in."""
    digest = upload_keep(raw, INCOMING)
    with transaction.atomic():
        made = Incoming.objects.create(
            kind=kind, name=name[:160], digest=digest, size=len(raw), options=options, by=by,
            at=at or timezone.now(),
        )  # fmt: skip
        request_work(kind="incoming", key=str(made.pk))
    return made


def incoming_stop(*, incoming: Incoming) -> bool:
    """Asks to stop; False where it has ended already. What waits ends at once, what is being read
    at its next step; once it is being written it is too late."""
    now = timezone.now()
    waiting = Incoming.objects.filter(pk=incoming.pk, state="waiting")
    if waiting.update(state="stopped", stop=True, ended_at=now):
        _drop(incoming)
        return True
    return bool(Incoming.objects.filter(pk=incoming.pk, state="reading").update(stop=True))


def incoming_take(*, key: str, payload: dict[str, Any]) -> None:
    """Work kind "incoming". Harmless to repeat: a file whose worker died is read from its start."""
    found = Incoming.objects.select_related("by").filter(pk=int(key)).first()
    if found is None or not Incoming.objects.filter(pk=found.pk, state__in=OPEN).update(
        state="reading", done=0, total=None, step=_("reading the file")
    ):
        return
    try:
        with acting(
            f"user:{found.by.get_username()}", why=_("brought in {found}").format(found=found.name)
        ):
            _take(found)
    except Stopped:
        _end(found, "stopped", _("Stopped. Nothing of it was kept."))
    except (ProgramError, ListError) as problem:
        _end(
            found,
            "failed",
            f"{found.name}:{problem.line}: {to_reader(problem.message, inch=False)}",
        )
    except ValidationError as problem:
        _end(found, "failed", " ".join(problem.messages))
    except IntegrityError:
        said = _("The shop’s records changed while it was read. Nothing was kept: bring it again.")
        _end(found, "failed", said)
    except Exception:
        said = _(
            "It ended on an error of this software. Nothing was kept; an administrator sees it."
        )
        _end(found, "failed", said)
        raise


def _take(found: Incoming) -> None:
    raw = upload_read(found.digest, INCOMING)
    if raw is None:
        raise ValidationError(_("The file is no longer there: bring it again."))
    {"program": _program, "jobs": _jobs}[found.kind](found, raw, _Telling(found.pk))


class _Telling:
    """Writes how far it is, and asks whether to stop."""

    def __init__(self, pk: int) -> None:
        self.pk, self.last = pk, 0.0

    def step(self, words: str) -> Callable[[int, int], None]:
        self._write(step=words, done=0, total=None)

        def tell(done: int, total: int) -> None:
            if time.monotonic() - self.last >= TOLD_S:
                self._write(done=done, total=total)

        return tell

    def _write(self, **values: Any) -> None:
        self.last = time.monotonic()
        rows = Incoming.objects.filter(pk=self.pk, state="reading")
        if not rows.filter(stop=False).update(**values):
            raise Stopped


def _program(found: Incoming, raw: bytes, telling: _Telling) -> None:
    told = found.options
    nest = Nest.objects.select_related("table", "material").filter(pk=told.get("nest")).first()
    table = nest.table if nest else Table.objects.filter(pk=told.get("table")).first()
    tell = telling.step(_("reading the program"))
    program = program_read(raw, table, limits=LONG_PROGRAM, tell=tell)
    telling.step(_("writing it down"))
    with transaction.atomic():
        if nest is None:
            nest = nest_add(
                name=told["name"],
                file_name=found.name,
                raw=raw,
                material=Material.objects.get(pk=told["material"]),
                thickness_text=told["thickness_text"],
                wear_set=WearSet.objects.get(pk=told["wear_set"]),
                table=table,
                by=found.by,
                sheets_wanted=told["sheets_wanted"],
                sheet_length_mm=told["sheet_length_mm"],
                sheet_width_mm=told["sheet_width_mm"],
                program=program,
            )
            changed = "path"
        else:
            _revision, changed = revision_add(
                nest=nest, file_name=found.name, raw=raw, by=found.by, program=program
            )
        _end(found, "done", _(_CHANGED[changed]), nest=nest.pk)


_CHANGED: Final = {
    "nothing": N_("The very same bytes: nothing changed."),
    "comment": N_("Only comments changed: setup sheets stay good."),
    "path": N_("It is read. Say which job its parts are for."),
}


def _jobs(found: Incoming, raw: bytes, telling: _Telling) -> None:
    how = {name: found.options.get(name) for name in ("encoding", "date_order", "meaning")}
    plan = import_plan(raw, **how, tell=telling.step(_("reading rows")))
    telling.step(_("writing them down"))
    with transaction.atomic():
        plan_write(plan, file_name=found.name, by=found.by)
        faults = [f"{found.name}:{fault.line}: {fault.message}" for fault in plan.faults]
        _end(found, "done", import_told(plan), faults=faults[:500])


def _end(found: Incoming, state: str, said: str, **result: Any) -> None:
    Incoming.objects.filter(pk=found.pk).update(
        state=state, said=said, result=result, ended_at=timezone.now()
    )
    transaction.on_commit(lambda: _drop(found))


def _drop(found: Incoming) -> None:
    """The bytes go once no other file of the same bytes waits for them."""
    if not Incoming.objects.filter(digest=found.digest, state__in=OPEN).exists():
        upload_drop(found.digest, INCOMING)
