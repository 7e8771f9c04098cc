"""Small studios at random: no plan that the checker lets pass is better than ours, and ours always passes it."""

from hypothesis import HealthCheck, given, settings

from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.columns import EARLIEST, NOWHERE
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import earliest_days, every_plan, problems

WINDOWS = 6
QUIET = settings(max_examples=14, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@QUIET
@given(problems())
def test_no_sound_plan_is_better(problem: Problem):
    plan, bench = planner.plan(problem, budget=Budget(moves=150))
    assert check(problem, plan) == []
    if plan.unplaced:
        assert not any(every_plan(bench, 1, [None] * 2)) or len(bench.model.sittings) < 4
        return
    soonest = [bench.desk.c.panel(i, EARLIEST) for i in range(len(problem.panels))]
    for own, tried in zip(soonest, earliest_days(problem, WINDOWS), strict=True):
        assert own != NOWHERE
        assert tried is None or own <= tried
    best = min((cost for cost, _ in every_plan(bench, WINDOWS, list(soonest))), default=None)
    if best is not None:
        assert plan.objective.total <= best + 1e-6
        if max(bench.desk.c.best_at) < WINDOWS:
            assert plan.objective.total >= best - 1e-6


@settings(QUIET, max_examples=60)
@given(problems())
def test_what_is_planned_is_sound(problem: Problem):
    plan, bench = planner.plan(problem, budget=Budget(moves=30))
    assert check(problem, plan) == []
    assert abs(bench.desk.total() - plan.objective.total) < 1e-6 or plan.unplaced
