from __future__ import annotations

from planning.calc.life.ahead import Reached, Step, reached

LIST = [Step("A", 3600, 30), Step("B", 1800, 0), Step("C", 3600, 60)]


def test_another_sets_work_takes_time_and_no_starts():
    # 30 in A, 15 of 60 into C after A and B: 3600 + 1800 + 900
    assert reached(LIST, 45) == Reached(6300, "C")
    assert reached(LIST, 15) == Reached(1800, "A")
    assert reached(LIST, 0) == Reached(0, "A")
    assert reached(LIST, 91) is None
    assert reached([], 1) is None
