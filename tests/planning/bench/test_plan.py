from __future__ import annotations

import json

from django.core.management import call_command

from planning.bench import plan, turns


def test_the_bench_compares_in_one_run_and_says_whether_each_goal_is_met(capsys):
    call_command("bench", "plan", "--quick", "--json")
    answer = json.loads(capsys.readouterr().out)
    assert answer["name"] == "plan"
    # 3 before, 20,000 cuts, 3 lines after every 500th, 2 behind.
    assert answer["blocks"] == 3 + 20_000 + 3 * 40 + 2
    seconds = answer["seconds"]
    assert answer["of_gcodeparser"] == seconds["gcodeparser"] / seconds["ours"]
    assert answer["of_floor"] == seconds["floor"] / seconds["ours"]
    assert 0 < seconds["timer"] < seconds["ours"]
    assert [goal["met"] for goal in answer["goals"]] == [
        answer["of_gcodeparser"] >= 8,
        answer["of_floor"] >= 0.7,
        answer["timer_share"] <= 0.15,
        answer["memory_mb"] <= 100,
        None,  # not measured in the quick one
        answer["recognition"]["false"] == 0,
        answer["recognition"]["missed"] == 0,
    ]
    assert answer["recognition"]["pairs"] > 150
    assert "gcodeparser" in "\n".join(plan.table(answer))


def test_a_parser_that_is_not_there_leaves_its_ratio_unknown(monkeypatch):
    monkeypatch.setattr(turns, "find_spec", lambda name: None)
    answer = turns.measure(blocks=1000, turns=1)
    assert answer["of_gcodeparser"] is None
    assert answer["of_floor"] > 0
    assert plan._goal("x", None, at_least=8.0)["met"] is None
