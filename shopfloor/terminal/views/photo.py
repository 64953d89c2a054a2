"""A code photographed instead of scanned."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from planning.calc.said import to_reader
from shopfloor.files.apart import TooCostly, read_apart
from shopfloor.models import Table, Terminal
from shopfloor.terminal.access import at_table
from shopfloor.terminal.photo_codes import MOST_BYTES, PhotoError


@require_POST
@at_table
def photo(request: HttpRequest, terminal: Terminal, table: Table) -> HttpResponse:
    """`{"codes": [text, ...]}`, the largest first; or `{"words"}` saying why there is none. What
    was read goes the way of a scan from there on. The photo itself is not kept."""
    upload = request.FILES.get("photo")
    if upload is None or upload.size is None or upload.size > MOST_BYTES:
        return JsonResponse({"codes": [], "words": _("No photo arrived, or it is over 16 MB.")})
    try:
        codes = read_apart("photo", upload.read())
    except (PhotoError, TooCostly) as problem:
        return JsonResponse({"codes": [], "words": to_reader(problem.args[0], inch=False)})
    words = "" if codes else _("No code can be read on it. Nearer, flatter, without glare.")
    return JsonResponse({"codes": codes, "words": words})
