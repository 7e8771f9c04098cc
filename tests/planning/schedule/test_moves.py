"""Sittings that would share a palette look for a day together; one that is taken out leaves the day it stood on."""

import pytest

from bench.plan import question
from server.planning.schedule import moves, planner
from server.planning.schedule.columns import (
    BARRED,
    BARRED_DAY,
    BEST,
    FAR,
    MEET_DAY,
    MEET_PALETTE,
    MIXES,
    MOST_MOVED,
    NEED,
    NOWHERE,
    PAINTER_DAY,
    PALETTE,
    SET_UP_PRICE,
    Columns,
)
from server.planning.schedule.kernel import mixing_at, price_alone


def test_a_palette_taken_to_be_mixed_costs_nothing_there_but_its_minutes() -> None:
    desk = planner.lay_out(question(5, 1)).desk
    c = desk.c
    for i in range(5):
        desk.take_out(i)
    s = next(s for s in range(len(desk.model.sittings)) if c.sitting(s, PALETTE) >= 0)
    day = c.window(0, PAINTER_DAY)
    other = next(b for b in range(len(desk.model.windows)) if c.window(b, PAINTER_DAY) != day)
    mixing_at(c, s, 0)
    assert price_alone(c, s, 0) == c.f[SET_UP_PRICE] and c.m[MIXES] == 1
    need = c.m[NEED]
    c.m[MEET_PALETTE], c.m[MEET_DAY] = c.sitting(s, PALETTE), day
    mixing_at(c, s, 0)
    assert price_alone(c, s, 0) == 0.0 and (c.m[MIXES], c.m[NEED]) == (0, need)
    assert price_alone(c, s, other) == c.f[SET_UP_PRICE]


def test_what_a_meeting_pretends_is_never_counted_and_ends_with_the_move(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(moves, "MEETINGS_PER_CENT", 100)
    desk, met = planner.lay_out(question(5, 2)).desk, list[bool]()
    meeting = moves.ruin_meeting

    def noted(c: Columns, s: int, how: int) -> None:
        meeting(c, s, how)
        met.append(c.m[MEET_PALETTE] == c.sitting(s, PALETTE))

    monkeypatch.setattr(moves, "ruin_meeting", noted)
    began = desk.total()
    moves.improve(desk.c, 1500, 20.0)
    assert sum(met) > 500  # most find another sitting of their palette near enough
    assert desk.c.m[MEET_PALETTE] == NOWHERE
    assert desk.c.f[BEST] < began
    desk.restore(desk.c.best_at)
    assert desk.total() == pytest.approx(desk.c.f[BEST])  # counted anew


def test_a_sitting_barred_from_its_day_comes_back_on_another_or_not_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 300 moves; those that begin with a costly panel may leave the sitting drawn where it stands."""
    monkeypatch.setattr(moves, "BARRED_PER_CENT", 100)
    desk = planner.lay_out(question(9, 2)).desk
    c, left = desk.c, 0
    for _ in range(300):
        moves.ruin(c)
        s, day = c.m[BARRED], c.m[BARRED_DAY]
        assert s != NOWHERE
        was_out = desk.window_of(s) == NOWHERE
        if not moves.recreate(c, FAR):
            moves.put_back(c)
            assert c.window(desk.window_of(s), PAINTER_DAY) == day
        elif was_out:
            assert c.window(desk.window_of(s), PAINTER_DAY) != day
            left += 1
    assert left > 150
    desk.search.improve(c, 1, 1.0)
    assert c.m[BARRED] == NOWHERE


def test_where_few_may_move_nothing_is_barred(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(moves, "BARRED_PER_CENT", 100)
    c = planner.lay_out(question(9, 2)).desk.c
    c.m[MOST_MOVED] = 12
    for _ in range(50):
        moves.ruin(c)
        assert c.m[BARRED] == NOWHERE
        if not moves.recreate(c, FAR):
            moves.put_back(c)


def test_a_move_that_bars_nothing_puts_most_sittings_back_where_they_were(monkeypatch: pytest.MonkeyPatch) -> None:
    """Why moves bar: of 200 moves of a searched plan that are kept, more than half leave it as it was."""
    found = {}
    for per_cent in (0, 100):
        monkeypatch.setattr(moves, "BARRED_PER_CENT", per_cent)
        desk = planner.lay_out(question(9, 2)).desk
        desk.search.improve(desk.c, 1500, 5.0)
        same = tried = 0
        for _ in range(200):
            before, cost = desk.c.at, desk.total()
            moves.ruin(desk.c)
            if not moves.recreate(desk.c, cost + 20.0):
                moves.put_back(desk.c)
                continue
            tried += 1
            same += desk.c.at == before
            desk.restore(before)
        found[per_cent] = same / tried
    assert found[0] > 0.5 > found[100]
