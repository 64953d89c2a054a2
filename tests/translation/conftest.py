from __future__ import annotations

import pytest

from tests.translation.made_up import made_up_language


@pytest.fixture
def made_up():
    with made_up_language():
        yield
