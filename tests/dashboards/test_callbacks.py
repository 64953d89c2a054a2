"""What a Dash page does not ask is refused, not a failure."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "body",
    [b"", b"{}", b"[]", b'{"output": "page.children"}', b'{"output": "page.children", "inputs": 3}',
     b'{"output": "page.children", "inputs": [{"id": 1e400, "property": "search"}]}', b"\xff"],
)  # fmt: skip
def test_a_question_no_page_asks_is_refused(as_, body):
    reply = as_("owner").post(
        "/cost/_dash-update-component", data=body, content_type="application/json"
    )
    assert reply.status_code == 400
