"""`python -m dashboards.bench.serving TIMEOUT_S`: serves one shop on a free port of loopback, each
answer with what it took, and prints as one JSON line where, as whom, and which pages there are."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict

import django
from django.conf import settings


def main(timeout_s: float) -> None:
    django.setup()
    settings.ROOT_URLCONF = "dashboards.bench.urls"
    from dashboards.bench.addresses import addresses
    from dashboards.bench.measuring import Measured, end_with_parent
    from planning.bench.people import signed_in
    from shopfloor.web.server import server
    from shopfloor.wsgi import application

    end_with_parent()
    told = {
        "people": signed_in(),
        "addresses": [asdict(one) for one in addresses()],
        "database": settings.DATABASES["default"]["ENGINE"].rpartition(".")[2],
    }
    made = server(Measured(application, timeout_s), "127.0.0.1", 0, threads=1)
    sys.stdout.write(json.dumps({"port": made.effective_port, **told}) + "\n")
    sys.stdout.flush()
    made.run()


if __name__ == "__main__":
    main(float(sys.argv[1]))
