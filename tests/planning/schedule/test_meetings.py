"""What shares a mix is searched, and a plan follows from it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bench.plan import question
from server.planning.schedule import groups, meetings, planner
from server.planning.schedule.check import check
from server.planning.schedule.columns import (
    BEST,
    FAR,
    GROUP,
    IS_CHAIN,
    N_SITTINGS,
    NOWHERE,
    OVERFULL,
    SINCE,
    SKIP,
    TURN_STOOD,
    Columns,
)
from server.planning.schedule.compiled import PLAIN, Search
from server.planning.schedule.problem import Link, LinkKind, PanelJob, Previous, Problem, Sitting
from server.planning.schedule.solve import Budget, Desk
from tests.planning.schedule.studios import QUICK, SLOW, TODAY, chain, problems, studio


def sitting(name: str, palette: str | None, minutes: int = 60) -> Sitting:
    return Sitting(name, minutes, palette, (), QUICK if name.startswith("a") else SLOW)


def two_chains() -> Problem:
    """Two panels of two sittings; what comes second shares a palette and is ready on different days."""
    a = chain("a", [sitting("a0", "ochres"), sitting("a1", "greys")])
    b = chain("b", [sitting("b0", "umbers"), sitting("b1", "greys")])
    return studio(a, b)


def lay(desk: Desk, most: float = FAR) -> bool:
    """Everything put in anew as the groups say."""
    desk.c.m[SINCE] = 0
    return groups.lay_by_groups(desk.c, most)


def alone(asked: Problem) -> Desk:
    desk = planner.lay_out(asked).desk
    meetings.part_all(desk.c)
    return desk


def days(desk: Desk) -> dict[str, int]:
    model = desk.model
    return {one.id: model.windows[desk.window_of(s)].day for s, one in enumerate(model.sittings)}


def number(desk: Desk, name: str) -> int:
    return desk.model.shape.number[name]


def rings(c: Columns) -> list[int]:
    m = c.m
    return [int(s) for s in m[m[GROUP] : m[GROUP] + m[N_SITTINGS]]]


def test_each_sitting_goes_where_it_is_ready_first_and_a_group_where_all_of_it_is() -> None:
    desk = alone(two_chains())
    assert lay(desk)
    apart = days(desk)
    assert apart["a1"] < apart["b1"]  # what lies below a dries sooner
    assert groups.meet(desk.c, number(desk, "a1"), number(desk, "b1"))
    assert lay(desk)
    assert days(desk) == {**apart, "a1": apart["b1"]}
    assert check(desk.model.problem, planner.answer(planner.Bench(desk, {}, []))) == []
    groups.leave(desk.c, number(desk, "a1"))
    assert lay(desk) and days(desk) == apart


def test_a_sitting_lets_windows_pass() -> None:
    desk = alone(two_chains())
    s = number(desk, "a0")
    assert lay(desk)
    before = desk.window_of(s)
    desk.c.m[desk.c.m[SKIP] + s] = 3
    assert lay(desk)
    assert desk.window_of(s) == before + 3


def test_a_group_has_one_sitting_of_a_panel_and_rings_close() -> None:
    desk = alone(question(5, 2))
    c, m = desk.c, desk.c.m
    own = desk.c.sittings_of(0)
    assert not groups.meet(c, own[0], own[1])
    others = [desk.c.sittings_of(i)[0] for i in (1, 2)]
    assert all(groups.meet(c, s, own[0]) for s in others)
    assert not groups.meet(c, desk.c.sittings_of(1)[1], own[0])
    assert sorted(rings(c)) == list(range(m[N_SITTINGS]))
    groups.leave(c, own[0])
    assert m[m[GROUP] + own[0]] == own[0]
    assert sorted(m[m[GROUP] + s] for s in others) == others


def test_sittings_that_wait_for_each_other_in_a_circle_cannot_be_laid() -> None:
    a = chain("a", [sitting("a0", "greys"), sitting("a1", "umbers")])
    b = chain("b", [sitting("b0", "umbers"), sitting("b1", "greys")])
    desk = alone(studio(a, b))
    groups.meet(desk.c, number(desk, "a0"), number(desk, "b1"))
    groups.meet(desk.c, number(desk, "a1"), number(desk, "b0"))
    assert not lay(desk)


def test_laying_ends_as_soon_as_it_costs_more_than_it_may() -> None:
    desk = alone(two_chains())
    assert lay(desk)
    cost = desk.total()
    assert lay(desk, cost) and desk.total() == pytest.approx(cost)
    assert not lay(desk, cost / 4)
    assert any(desk.window_of(s) == NOWHERE for s in range(desk.c.m[N_SITTINGS]))  # given up on the way
    assert lay(desk) and desk.total() == pytest.approx(cost)


@pytest.mark.parametrize("seed", [2, 3, 21, 27])
def test_a_plan_is_grouped_as_it_shares(seed: int) -> None:
    """What stands is mixed for together as before, or more is: no group is lost unless none can be laid so."""
    desk = planner.lay_out(question(5, seed)).desk
    shared = {tuple(sorted(one)) for one in _mixed_together(desk)}
    assert meetings.group_up(desk.c)
    assert {tuple(sorted(one)) for one in _mixed_together(desk)} >= shared


def _mixed_together(desk: Desk) -> list[list[str]]:
    """Pairs of sittings of two panels that share a palette on a day of a painter."""
    model = desk.model
    at = [model.windows[desk.window_of(s)] for s in range(len(model.sittings))]
    return [
        [one.id, other.id]
        for s, one in enumerate(model.sittings)
        for o, other in enumerate(model.sittings[:s])
        if one.palette is not None
        and one.palette == other.palette
        and model.panel_of[s] != model.panel_of[o]
        and (at[s].painter, at[s].day) == (at[o].painter, at[o].day)
    ]


def test_a_plan_with_something_out_is_left_as_it_is() -> None:
    desk = planner.lay_out(question(5, 2)).desk
    desk.take_out(0)
    at = desk.c.at
    assert not meetings.group_up(desk.c)
    assert desk.c.at == at


def test_where_nothing_can_be_laid_the_plan_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    desk = planner.lay_out(question(5, 2)).desk
    at = desk.c.at
    monkeypatch.setattr(meetings, "lay_by_groups", lambda c, _most: bool(groups.lay_by_groups(c, 0.0)))
    assert not meetings.group_up(desk.c)
    assert desk.c.at == at


@pytest.mark.parametrize(("seed", "temperature"), [(2, 1e-9), (21, 40.0), (27, 1e9)])
def test_the_plan_stands_as_its_groups_say_whatever_was_kept(seed: int, temperature: float) -> None:
    """What had its turn before a change is left standing; laid anew from the beginning it comes to the same."""
    desk = planner.lay_out(question(5, seed)).desk
    assert meetings.group_up(desk.c)
    for _ in range(10):
        kept = meetings.regroup(desk.c, 15, temperature)
        at, cost, stood = desk.c.at, desk.total(), rings(desk.c)
        assert sorted(stood) == list(range(len(at)))
        desk.c.m[desk.c.m[TURN_STOOD] : desk.c.m[TURN_STOOD] + len(at)] = [0] * len(at)
        assert lay(desk)
        assert desk.c.at == at and desk.total() == pytest.approx(cost)
        assert kept > 0 or temperature < 1.0
    assert desk.c.f[BEST] <= desk.total() + 1e-6


@settings(max_examples=40, deadline=None)
@given(problems(), st.integers(1, 1000))
def test_every_constraint_holds_in_what_is_found(asked: Problem, seed: int) -> None:
    bench = planner.lay_out(asked, seed=seed)
    before = bench.desk.total()
    if meetings.group_up(bench.desk.c):
        for temperature in (1000.0, 30.0, 1.0):
            meetings.regroup(bench.desk.c, 60, temperature)
            assert check(asked, planner.answer(bench)) == []
    bench.desk.restore(bench.desk.c.best_at)
    assert check(asked, planner.answer(bench)) == []
    assert bench.desk.total() <= before + 1e-6


def test_pinned_sittings_stay_and_what_they_follow_comes_before() -> None:
    asked = two_chains()
    on = datetime(TODAY.year, TODAY.month, TODAY.day, 9, 0, tzinfo=ZoneInfo("Europe/Lisbon")) + timedelta(days=7)
    asked = replace(asked, previous=(Previous("b1", on, pinned=True),))
    bench = planner.lay_out(asked)
    desk = bench.desk
    pinned = desk.window_of(number(desk, "b1"))
    assert meetings.group_up(desk.c)
    for _ in range(10):
        meetings.regroup(desk.c, 20, 500.0)
        assert desk.window_of(number(desk, "b1")) == pinned
        assert check(asked, planner.answer(bench)) == []


def test_what_a_pinned_sitting_follows_may_not_wait_beyond_it() -> None:
    on = datetime(TODAY.year, TODAY.month, TODAY.day, 9, 0, tzinfo=ZoneInfo("Europe/Lisbon")) + timedelta(days=7)
    desk = alone(replace(two_chains(), previous=(Previous("b1", on, pinned=True),)))
    assert lay(desk)
    desk.c.m[desk.c.m[SKIP] + number(desk, "b0")] = 30
    assert not lay(desk)


def test_of_supports_joined_later_either_may_go_first() -> None:
    """One support waits for a layer that waits for one mixed with the other."""
    x = [sitting("x0", "greys"), sitting("x1", "greys"), sitting("x2", None)]
    joined = PanelJob("x", tuple(x), tuple(Link(one, "x2", LinkKind.DRY) for one in ("x0", "x1")))
    asked = studio(joined, chain("y", [sitting("y0", "greys"), sitting("y1", "greys")]))
    desk = planner.lay_out(asked).desk
    assert meetings.group_up(desk.c)
    chains = desk.c.m[IS_CHAIN]
    assert [bool(one) for one in desk.c.m[chains : chains + 2]] == [False, True]
    for late, soon in (("x0", "x1"), ("x1", "x0")):
        meetings.part_all(desk.c)
        groups.meet(desk.c, number(desk, late), number(desk, "y1"))
        groups.meet(desk.c, number(desk, soon), number(desk, "y0"))
        assert lay(desk)
        found = days(desk)
        assert found[soon] == found["y0"] < found[late] == found["y1"] < found["x2"]


def test_what_is_wet_in_wet_on_a_group_is_put_in_anew_with_it() -> None:
    """The group of a and b waits for b until the afternoon, though a is painted in the morning and its second layer
    into it at once. When c takes the afternoon, all three leave the day."""
    noon = datetime(TODAY.year, TODAY.month, TODAY.day, 12, 30, tzinfo=ZoneInfo("Europe/Lisbon"))
    a = chain("a", [sitting("a0", "greys"), sitting("a1", None)], [LinkKind.WET_IN_WET])
    b = chain("b", [sitting("b0", "greys")], release_at=noon)
    c = chain("c", [sitting("c0", None, 180)], release_at=noon)
    desk = alone(studio(c, a, b))
    columns, late = desk.c, number(desk, "c0")
    groups.meet(columns, number(desk, "a0"), number(desk, "b0"))
    columns.m[columns.m[SKIP] + late] = 1
    assert lay(desk) and days(desk) == {"a0": 0, "a1": 0, "b0": 0, "c0": 1}
    meetings.note(columns)
    meetings.touch(columns, late)
    columns.m[columns.m[SKIP] + late] = 0
    assert groups.lay_by_groups(columns, FAR)
    assert days(desk) == {"a0": 1, "a1": 1, "b0": 1, "c0": 0}
    assert check(desk.model.problem, planner.answer(planner.Bench(desk, {}, []))) == []


def test_what_shares_the_mix_of_a_full_window_stays_where_it_leaves_room_there() -> None:
    """Two pinned sittings fill an afternoon but for the mix of one, which a third has made that morning."""
    noon = datetime(TODAY.year, TODAY.month, TODAY.day, 13, 0, tzinfo=ZoneInfo("Europe/Lisbon"))
    p, q = chain("p", [sitting("p0", "greys", 90)]), chain("q", [sitting("q0", "umbers", 60)])
    beside = chain("s", [sitting("s0", "greys")]), chain("u", [sitting("u0", "umbers")])
    pinned = Previous("p0", noon, pinned=True), Previous("q0", noon + timedelta(hours=1.5), pinned=True)
    bench = planner.lay_out(studio(p, q, *beside, previous=pinned))
    c = bench.desk.c
    assert meetings.group_up(c)
    crowded = c.m[OVERFULL]
    for _ in range(20):
        meetings.regroup(c, 10, 1e9)
        assert c.m[OVERFULL] <= crowded
        assert check(bench.model.problem, planner.answer(bench)) == []


def crossed() -> Problem:
    """Two panels whose layers can share both mixes only if the second waits for the first at once: the first shared
    mix alone costs more flow than it saves."""
    a = [sitting("a0", "ochres"), sitting("a1", "greys"), sitting("a2", "umbers")]
    b = [sitting("b0", "greys"), sitting("b1", "umbers")]
    return studio(chain("a", a), chain("b", b))


def test_sharing_is_found_from_a_plan_that_has_none() -> None:
    desk = alone(crossed())
    assert lay(desk)
    desk.c.f[BEST] = before = desk.total()
    meetings.regroup(desk.c, 200, 20.0)
    assert desk.c.f[BEST] < before - 100.0


class Heard:
    """What is asked of a search that does nothing: which way, and how many moves."""

    def __init__(self, *, groups: bool) -> None:
        self.groups = groups
        self.moves = {"regroup": 0, "improve": 0}

    def _way(self, name: str) -> Callable[..., int]:
        def way(_c: Columns, moves: int, _temperature: float) -> int:
            self.moves[name] += moves
            return 0

        return way

    @property
    def search(self) -> Search:
        return replace(
            PLAIN,
            group_up=lambda _: self.groups,
            regroup=self._way("regroup"),
            improve=self._way("improve"),
            reorder=lambda *_: 0,
        )


@pytest.mark.parametrize(("panels", "moves", "is_searched"), [(5, 30_000, True), (5, 3000, False), (9, 90_000, False)])
def test_it_is_searched_for_few_panels_that_there_is_time_for(panels: int, moves: int, is_searched: bool) -> None:
    heard = Heard(groups=True)
    told = list(planner.search_on(planner.lay_out(question(panels, 1), heard.search), Budget(moves=moves)))
    assert (heard.moves["regroup"] > 0) == is_searched
    assert heard.moves["improve"] > 0
    assert told[-1].moves == moves


def test_moves_are_tried_where_a_plan_cannot_be_grouped() -> None:
    heard = Heard(groups=False)
    list(planner.search_on(planner.lay_out(question(5, 1), heard.search), Budget(moves=30_000)))
    assert heard.moves == {"regroup": 0, "improve": 30_000}
