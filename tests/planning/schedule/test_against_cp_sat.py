"""Studios too large to try everything, against CP-SAT (OR-tools), which proves the best plan.

CP-SAT may mix a palette earlier on the day than its first use, which our plans never do: its best is at most ours.
"""

import warnings
from datetime import date, timedelta

import pytest

from server.planning.schedule import planner, solve
from server.planning.schedule.check import check
from server.planning.schedule.compiled import PLAIN
from server.planning.schedule.problem import LinkKind, Problem, Sitting
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import QUICK, SLOW, chain, studio

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of the bindings, not ours
    from bench import plan_cpsat


def busy(seed: int) -> Problem:
    """Four panels of two layers that want the same few days."""
    panels = []
    for i in range(4):
        palettes = ("grey", "red")
        sittings = [
            Sitting(
                f"s{i}{n}",
                (60, 90, 120)[(i + n + seed) % 3],
                palettes[(i * n + seed) % 2],
                (),
                (QUICK, SLOW)[i % 2],
                1.0,
            )
            for n in range(2)
        ]
        kind = LinkKind.WET_IN_WET if i == seed else LinkKind.DRY
        due = date(2026, 11, 4) + timedelta(days=i % 3)
        panels.append(chain(f"panel {i}", sittings, [kind], due_on=due, weight=1.0 + (i + seed) % 3))
    return studio(*panels, rack_places=4, easels=2)


@pytest.mark.parametrize("seed", [0, 1])
def test_our_plan_costs_what_the_proven_best_costs(seed: int) -> None:
    asked = busy(seed)
    plan, bench = planner.plan(asked, budget=Budget(moves=400))
    assert check(asked, plan) == []
    empty = solve.desk(bench.model, PLAIN, 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = plan_cpsat.solve(bench.model, empty.c, max(bench.desk.c.best_at) + 6, seconds=60.0)
    assert found.is_best and found.cost is not None
    assert plan.objective.total == pytest.approx(found.cost)
