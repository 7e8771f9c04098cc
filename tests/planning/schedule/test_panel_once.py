"""One easel holds one panel, however many layers are painted there in a morning; so does a place in the rack.

Derived by hand: mornings and afternoons every working day from Monday on, layers of 60 minutes without a mix.
"""

from dataclasses import replace
from datetime import date

from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import LinkKind, Problem, Sitting
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import QUICK, chain, studio

MONDAY, TUESDAY, WEDNESDAY = (date(2026, 11, day) for day in (2, 3, 4))


def starts(problem: Problem) -> list[tuple[date, int]]:
    """The day and the hour of each sitting, of a plan that stands up to the checker."""
    plan = solved(problem)
    assert check(problem, plan) == []
    return [(s.start_at.date(), s.start_at.hour) for s in sorted(plan.sittings, key=lambda s: s.id)]


def solved(problem: Problem) -> Plan:
    return planner.plan(problem, budget=Budget(moves=200))[0]


def layer(name: str, rack_d: float | None = None) -> Sitting:
    return Sitting(name, 60, None, (), QUICK, rack_d)


def test_two_layers_wet_in_wet_need_one_easel() -> None:
    pair = chain("jug", [layer("a"), layer("b")], [LinkKind.WET_IN_WET])
    once = studio(pair, easels=1, panel_once=True)
    assert starts(once) == [(MONDAY, 9), (MONDAY, 10)]
    assert starts(replace(once, panel_once=False)) == [(MONDAY, 9), (MONDAY, 13)]
    beside = studio(pair, chain("pears", [layer("c")]), easels=1, panel_once=True)
    assert starts(beside)[2] == (MONDAY, 13)  # the easel is taken in the morning


def test_a_panel_keeps_its_place_in_the_rack_while_its_next_layer_goes_on() -> None:
    """A layer is dry to recoat 0.8 days after Monday noon, on Tuesday morning, and to be stacked after two days."""
    two = chain("jug", [layer("a", 2.0), layer("b", 2.0)])
    once = studio(two, rack_places=1, panel_once=True)
    assert starts(once) == [(MONDAY, 9), (TUESDAY, 9)]
    assert starts(replace(once, panel_once=False))[1] > (WEDNESDAY, 9)
    beside = studio(two, chain("pears", [layer("c", 2.0)]), rack_places=1, panel_once=True)
    (first, _), (second, _), (third, _) = starts(beside)
    assert (third - second).days >= 2 or (first - third).days >= 2  # two panels never stand in one place
