"""``python -m server.planning.schedule.compiling FOLDER``: compile the search once and keep it there."""

import os
import sys
from contextlib import suppress
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from server.planning.schedule import compiled, planner
from server.planning.schedule.columns import LIST_BEGIN
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import Hours, Painter, PanelJob, Problem, Sitting, Spread
from server.planning.schedule.solve import Budget

POLITE = 10


def example() -> Problem:
    """A small question that calls every way into the search."""
    drying = Spread(1.0, 1.5)
    sittings = tuple(Sitting(f"s{n}", 60, "grey", (), drying, 1.0) for n in range(2))
    hours = (Hours(frozenset(range(1, 8)), 540, 720),)
    panel = PanelJob("a", sittings, due_on=date(2026, 1, 20))
    return Problem(date(2026, 1, 5), ZoneInfo("UTC"), (Painter("p", hours),), (panel,), rack_places=5, easels=2)


def call_every_way(search: compiled.Search) -> Plan:
    """Plan the example, so that all of the search has been called. Of so few panels no order would be searched."""
    plan, bench = planner.plan(example(), search, Budget(moves=5))
    c, at = bench.desk.c, bench.desk.window_of(0)
    search.reorder(c, 1, 1.0)
    search.group_up(c)
    search.regroup(c, 1, 1.0)
    search.take(c, 0)
    search.fits(c, 0, at)
    search.look_back(c, 0, c.sitting(0, LIST_BEGIN))
    search.last_free(c, 0, c.sitting(0, LIST_BEGIN))
    search.add(c, 0, at)
    return plan


def compile_all(data: Path) -> None:
    """Compile by planning the example."""
    call_every_way(compiled.load(data))
    compiled.mark_ready(data)


def main() -> None:
    data = Path(sys.argv[1])
    with suppress(AttributeError, OSError):
        os.nice(POLITE)
    try:
        compile_all(data)
    finally:
        (compiled.folder(data) / "compiling").unlink(missing_ok=True)


if __name__ == "__main__":
    main()
