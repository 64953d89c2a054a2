"""The security log, and the owner's mark on what they were told."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shopfloor.audit.kept import KEPT_DAYS
from shopfloor.models import Role, SecurityNotice, User
from shopfloor.people.security import KINDS, notice_seen
from shopfloor.people.security_queries import security_events
from shopfloor.web.access import SECURITY, DeskRequest, right
from shopfloor.web.forms import page_of

SORTS = ("last_at", "kind", "by", "address", "count")


@right(SECURITY)
def security(request: DeskRequest) -> HttpResponse:
    asked = request.GET.get("kind", "")
    kind = asked if asked in KINDS else ""
    people = list(User.objects.order_by("last_name", "username"))
    name = request.GET.get("person", "")
    person = name if any(one.username == name for one in people) else ""
    page = page_of(request, security_events(kind=kind, person=person), SORTS)
    names = {one.username: one.shown_name for one in people}
    rows = [(row, _(KINDS[row.kind].label) if row.kind in KINDS else row.kind,
             ", ".join(names.get(one, one) for one in row.about.split(",") if one),
             names.get(row.by.removeprefix("user:"), row.by)) for row in page]  # fmt: skip
    kinds = [(code, _(one.label)) for code, one in KINDS.items()]
    return render(
        request,
        "people/security.html",
        {"rows": rows, "page_obj": page, "kinds": kinds, "people": people, "kind": kind,
         "person": person, "days": KEPT_DAYS},
    )  # fmt: skip


@right(SECURITY)
@require_POST
def seen(request: DeskRequest, pk: int) -> HttpResponse:
    """Only an owner's mark takes the note away: who gave themselves the right cannot."""
    if request.user.role != Role.OWNER:
        raise PermissionDenied
    notice = get_object_or_404(SecurityNotice, pk=pk)
    notice_seen(notice=notice, by=request.user, now=timezone.now())
    messages.success(request, _("Marked as seen. It stays in the security log."))
    return redirect("security")
