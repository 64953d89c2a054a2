"""`python -m dashboards.bench.serving TIMEOUT_S`: serves one shop on a free port of loopback, each
answer with what it took, and prints as one JSON line where, as whom, and which pages there are."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, make_server

import django
from django.conf import settings


class _Quiet(WSGIRequestHandler):
    def log_message(self, format: str, *args: Any) -> None:
        return


def main(timeout_s: float) -> None:
    django.setup()
    settings.ROOT_URLCONF = "dashboards.bench.urls"
    from dashboards.bench.addresses import addresses
    from dashboards.bench.measuring import Measured, end_with_parent
    from planning.bench.people import signed_in
    from shopfloor.wsgi import application

    end_with_parent()
    told = {
        "people": signed_in(),
        "addresses": [asdict(one) for one in addresses()],
        "database": settings.DATABASES["default"]["ENGINE"].rpartition(".")[2],
    }
    with make_server(
        "127.0.0.1", 0, Measured(application, timeout_s), handler_class=_Quiet
    ) as server:
        sys.stdout.write(json.dumps({"port": server.server_port, **told}) + "\n")
        sys.stdout.flush()
        server.serve_forever()


if __name__ == "__main__":
    main(float(sys.argv[1]))
