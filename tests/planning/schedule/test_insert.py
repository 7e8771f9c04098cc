"""A panel is put back where it costs least beside all the others, however far ahead that is."""

from datetime import timedelta

import pytest

from bench.plan import question
from server.planning.schedule import planner
from server.planning.schedule.columns import (
    AFTER,
    DAY_USED,
    EARLIEST,
    FAR,
    FLOW_PRICE,
    KIND,
    LIMIT,
    LINK,
    LINK_BEGIN,
    LINK_END,
    LINK_LO,
    LINKS,
    LOAD,
    LOOK,
    NO_LIMIT,
    NOWHERE,
    OVERFULL,
    PALETTE,
    RACK,
    SET_UPS,
    SLOTS,
    TARDY_PRICE,
    USED,
    WEIGHTS,
    WIDTH,
    Columns,
)
from server.planning.schedule.compiled import PLAIN
from server.planning.schedule.kernel import delivery_price, finish_at, is_linked, latest_finish, price_at, total
from server.planning.schedule.problem import Link, LinkKind, PanelJob, Sitting, Spread
from server.planning.schedule.solve import Budget, Desk
from tests.planning.schedule.studios import TODAY, studio


def is_plain(c: Columns, i: int) -> bool:
    """Whether every sitting of the panel waits for the one before it and for nothing else."""
    for s in c.sittings_of(i):
        links = range(c.sitting(s, LINK_BEGIN), c.sitting(s, LINK_END))
        if len(links) != (s > c.sittings_of(i).start):
            return False
        if any(c.m[c.m[LINKS] + j * LINK + KIND] != AFTER for j in links):
            return False
    return True


def least(desk: Desk, i: int) -> float:
    """The least that the panel can add to the plan, by working out every window of every sitting."""
    c, windows = desk.c, range(len(desk.model.windows))
    ready: dict[int, float] = {}
    for s in c.sittings_of(i):
        above: dict[int, float] = {}
        link = c.m[LINKS] + c.sitting(s, LINK_BEGIN) * LINK
        for b in windows:
            below = (
                [0.0]
                if s == c.sittings_of(i).start
                else [cost for a, cost in ready.items() if c.t[c.m[link + LINK_LO] + a] <= b]
            )
            price = price_at(c, s, b)
            if below and price < FAR and released(desk, s, b):
                above[b] = min(below) + price
        ready = above
    return min(cost + delivery_price(c, i, finish_at(c, i, b)) for b, cost in ready.items())


def released(desk: Desk, s: int, b: int) -> bool:
    return desk.model.shape.may_stand(s, b)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_panel_is_put_where_it_costs_least_of_all_windows(seed: int) -> None:
    desk = planner.lay_out(question(9, seed), PLAIN).desk
    tried = 0
    for i in range(len(desk.model.panels)):
        if not is_plain(desk.c, i):
            continue
        desk.take_out(i)
        before, expected = float(total(desk.c)), least(desk, i)
        desk.c.m[WIDTH] = desk.c.m[LOOK] = len(desk.model.windows)
        assert desk.search.put_in(desk.c, i)
        desk.search.recount(desk.c, i)
        tried += 1
        assert desk.total() - before == pytest.approx(expected)
    assert tried >= 2


def test_a_place_that_costs_more_than_the_limit_is_not_taken() -> None:
    desk = planner.lay_out(question(5, 1), PLAIN).desk
    i = next(i for i in range(5) if is_plain(desk.c, i))
    desk.take_out(i)
    cheapest = least(desk, i)
    desk.c.m[WIDTH] = desk.c.m[LOOK] = len(desk.model.windows)
    for limit, fits in ((cheapest - 1.0, False), (cheapest, True)):
        desk.c.f[LIMIT] = limit
        assert desk.search.put_in(desk.c, i) == fits
        assert all((desk.window_of(s) != NOWHERE) == fits for s in desk.c.sittings_of(i))
    assert all(is_linked(desk.c, s, desk.window_of(s)) for s in desk.c.sittings_of(i))


@pytest.mark.parametrize("most", [-1.0, 0.0, 3.0, 99.0, 100.0, 1234.5, FAR])
def test_the_latest_day_that_costs_no_more_is_found(most: float) -> None:
    """Against the price of each day, one after the other."""
    desk = planner.lay_out(question(9, 1), PLAIN).desk
    for i in range(len(desk.model.panels)):
        day = latest_finish(desk.c, i, most)
        if day < NO_LIMIT and day < 10**7:
            assert delivery_price(desk.c, i, day) <= most < delivery_price(desk.c, i, day + 1)
        else:
            assert delivery_price(desk.c, i, min(day, 10**7)) <= most


def test_where_neither_tardiness_nor_flow_costs_any_day_will_do_unless_less_than_nothing_is_asked() -> None:
    desk = planner.lay_out(question(5, 1), PLAIN).desk
    desk.c.f[FLOW_PRICE] = desk.c.f[TARDY_PRICE] = 0.0
    assert latest_finish(desk.c, 0, 0.0) == NO_LIMIT and latest_finish(desk.c, 0, -1.0) == -NO_LIMIT


def test_what_is_taken_out_leaves_nothing_behind() -> None:
    """After hundreds of moves every count of minutes, mixes, easels and rack places is what it was before."""
    desk = planner.lay_out(question(9, 2), PLAIN).desk
    c = desk.c
    counts = (LOAD, SLOTS, RACK, USED, DAY_USED)
    for i in range(9):
        desk.take_out(i)
    begins = [*sorted(int(c.m[name]) for name in range(WEIGHTS)), len(c.m)]
    ends = {name: next(end for end in begins if end > c.m[name]) for name in counts}
    before = {name: list(c.m[c.m[name] : ends[name]]) for name in counts}
    assert sum(before[USED]) == sum(before[DAY_USED]) == sum(before[LOAD]) == 0
    for i in range(9):
        assert desk.put_in(i, 16)
    desk.search.improve(c, 300, 50.0)
    shared = sum(c.sitting(s, PALETTE) >= 0 for s in range(len(desk.model.sittings)))
    for name in (USED, DAY_USED):
        assert sum(c.m[c.m[name] : ends[name]]) == shared
    for i in range(9):
        desk.take_out(i)
    assert {name: list(c.m[c.m[name] : ends[name]]) for name in counts} == before
    assert c.m[SET_UPS] == c.m[OVERFULL] == 0


@pytest.mark.parametrize("slow_first", [True, False])
def test_of_two_supports_that_want_one_window_the_better_goes_first(slow_first: bool) -> None:
    """Derived: one painter, mornings and afternoons of three hours from Monday on. Two supports take more than half of
    one each; one dries in a day, the other in three, the joint waits for both. The slow one on Monday morning is dry on
    Thursday noon, so the joint is on Thursday and the panel leaves on Friday, day 4. The quick one first would make it
    a day later, whichever is named first."""
    slow, quick = Sitting("slow", 150, drying=Spread(3.0, 3.0)), Sitting("quick", 150, drying=Spread(1.0, 1.0))
    below = (slow, quick) if slow_first else (quick, slow)
    links = tuple(Link(one.id, "joint", LinkKind.DRY) for one in below)
    asked = studio(PanelJob("p", (*below, Sitting("joint", 60, drying=Spread(1.0, 1.0))), links, due_on=TODAY))
    assert planner.lay_out(asked).desk.c.panel(0, EARLIEST) == 4
    plan, _ = planner.plan(asked, budget=Budget(moves=300))
    assert plan.panels[0].finish_on == plan.panels[0].earliest_on == TODAY + timedelta(days=4)
