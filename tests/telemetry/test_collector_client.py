"""Where a collector sends its token, and where not."""

from __future__ import annotations

import http.server
import threading
from pathlib import Path

import pytest

from telemetry.collector.client import Client, Target
from telemetry.errors import DescriptionError, PushError

NONE = Path("none")


@pytest.mark.parametrize(
    "url",
    ["https://shop.example/intake/p/", "http://127.0.0.1:8000/intake/p/", "http://[::1]/intake/p",
     "http://localhost:8000/intake/p/", "http://127.9.9.9/intake/p/"],
)  # fmt: skip
def test_https_and_this_machine_are_taken(url):
    assert Target(url, NONE).parts().hostname


@pytest.mark.parametrize(
    "url",
    ["http://shop.example/intake/p/", "http://10.0.0.9/intake/p/", "HTTP://shop.example/intake/p/",
     "http://localhost.shop.example/intake/p/", "http://127.0.0.1.example/intake/p/",
     "http://[2001:db8::1]/intake/p/"],
)  # fmt: skip
def test_plain_http_to_another_machine_needs_the_option(url):
    with pytest.raises(DescriptionError, match="--plain-http"):
        Target(url, NONE).parts()
    with pytest.raises(DescriptionError, match="--plain-http"):
        Client(Target(url, NONE), "a" * 32)
    assert Target(url, NONE, plain_http=True).parts().scheme == "http"


@pytest.mark.parametrize("url", ["http://x:port/intake/p/", "http://[::1/intake/p/", "x", ""])
def test_an_address_that_is_none_is_refused_in_words(url):
    with pytest.raises(DescriptionError, match="--to: "):
        Target(url, NONE).parts()


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_no_redirect_is_followed_to_wherever_it_leads(tmp_path, status):
    asked = []

    class Moved(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked.append((self.path, self.headers.get("Authorization")))
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(status)
            self.send_header("Location", f"http://127.0.0.1:{self.server.server_port}/elsewhere/p/")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args) -> None:
            """Silent."""

    server = http.server.HTTPServer(("127.0.0.1", 0), Moved)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    token = tmp_path / "token"
    token.write_text("secret")
    url = f"http://127.0.0.1:{server.server_port}/intake/p/"
    client = Client(Target(url, token), "a" * 32)
    try:
        with pytest.raises(PushError, match="the address has moved to") as problem:
            client.deliver(b"", lost=False, waiting=0)
    finally:
        client.close()
        server.shutdown()
        thread.join()
        server.server_close()
    assert not problem.value.retry
    assert asked == [("/intake/p/", "Bearer secret")]
