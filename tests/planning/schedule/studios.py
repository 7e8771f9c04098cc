"""Small invented studios to plan, by hand and at random, and a slow sure way to their best plan."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import product
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from server.planning.schedule import assemble, planner
from server.planning.schedule.check import check
from server.planning.schedule.columns import NOWHERE
from server.planning.schedule.plan import Plan
from server.planning.schedule.planner import Bench
from server.planning.schedule.problem import (
    DryingSpeed,
    Hours,
    Link,
    LinkKind,
    Painter,
    PanelJob,
    Problem,
    Sitting,
    Spread,
)

TODAY = date(2026, 11, 2)  # a Monday
MORNINGS = Hours(frozenset({1, 2, 3, 4, 5}), 9 * 60, 12 * 60)
AFTERNOONS = Hours(frozenset({1, 2, 3, 4, 5}), 13 * 60, 16 * 60)
QUICK, SLOW = Spread(0.5, 0.8), Spread(2.0, 3.0)


def chain(name: str, sittings: Sequence[Sitting], kinds: Sequence[LinkKind] = (), **facts: object) -> PanelJob:
    """A panel whose sittings follow each other, dry unless ``kinds`` says otherwise."""
    wanted = list(kinds) or [LinkKind.DRY] * (len(sittings) - 1)
    links = tuple(_link(a.id, b.id, kind) for a, b, kind in zip(sittings, sittings[1:], wanted, strict=False))
    return replace(PanelJob(name, tuple(sittings), links), **facts)  # type: ignore[arg-type]


def _link(before: str, after: str, kind: LinkKind) -> Link:
    limits = {LinkKind.WET_IN_WET: (0.0, 1.0), LinkKind.TACKY: (0.5, 2.5), LinkKind.SPLIT: (0.0, 2.0)}
    after_d, within_d = limits.get(kind, (0.0, None))
    return Link(before, after, kind, after_d, within_d)


def studio(*panels: PanelJob, **facts: object) -> Problem:
    """A studio of one painter with mornings and afternoons, in a room that dries as the reference room does."""
    painters = (Painter("p1", (MORNINGS, AFTERNOONS)),)
    problem = Problem(TODAY, ZoneInfo("Europe/Lisbon"), painters, panels, DryingSpeed(by_month=(1.0,) * 12))
    return replace(problem, **facts)  # type: ignore[arg-type]


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Two panels of one to three sittings, a small rack, few easels: tight enough that everything matters."""
    kinds = st.sampled_from([LinkKind.DRY, LinkKind.DRY, LinkKind.WET_IN_WET, LinkKind.TACKY, LinkKind.SPLIT])
    panels = []
    for i in range(2):
        count = draw(st.integers(1, 2))
        sittings = [
            Sitting(
                f"s{i}{n}",
                draw(st.sampled_from([60, 90, 120])),
                draw(st.sampled_from([None, "grey", "red"])),
                (),
                draw(st.sampled_from([QUICK, SLOW])),
                draw(st.sampled_from([None, 0.5, 2.0])),
            )
            for n in range(count)
        ]
        due = draw(st.sampled_from([None, date(2026, 11, 4), date(2026, 11, 6)]))
        weight = draw(st.sampled_from([1.0, 3.0]))
        wait = draw(st.sampled_from([Spread(0.0, 0.0), Spread(1.0, 1.5)]))
        links = [draw(kinds) for _ in sittings[1:]]
        speed = draw(st.sampled_from([None, DryingSpeed(by_month=(0.7,) * 12), DryingSpeed(by_day=(1.5, 0.5))]))
        there = draw(st.sampled_from([None, None, datetime(2026, 11, 3, 9, 30, tzinfo=UTC)]))
        facts = {"due_on": due, "weight": weight, "final_wait": wait, "speed": speed, "release_at": there}
        rest_d = draw(st.sampled_from([0.0, 0.0, 1.0, 2.5]))
        job = chain(f"panel {i}", sittings, links, **facts)
        panels.append(replace(job, links=tuple(replace(link, rest_d=rest_d) for link in job.links)))
    return studio(
        *panels,
        rack_places=draw(st.sampled_from([1, 2, None])),
        easels=draw(st.sampled_from([1, None])),
        panel_once=draw(st.booleans()),
        confidence=draw(st.sampled_from([0.5, 0.9])),
    )


def plan_at(bench: Bench, at: Sequence[int], earliest: Sequence[int | None]) -> Plan:
    """The plan that puts each sitting into the window told."""
    model = bench.model
    sittings = assemble.placed(model, at, assemble.times(model, at))
    panels = assemble.panels(model, at, earliest)
    return Plan(tuple(sittings), tuple(panels), assemble.objective(model, sittings, panels))


def every_plan(bench: Bench, windows: int, earliest: Sequence[int | None]) -> Iterator[tuple[float, tuple[int, ...]]]:
    """All sound plans within the first windows, by trying each; only the checker says what is sound."""
    for at in product(range(windows), repeat=len(bench.model.sittings)):
        plan = plan_at(bench, at, earliest)
        if not check(bench.model.problem, plan):
            yield plan.objective.total, at


def earliest_days(problem: Problem, windows: int) -> list[int | None]:
    """The soonest delivery of each panel alone in the studio, by trying everything."""
    found: list[int | None] = []
    for panel in problem.panels:
        alone = planner.lay_out(replace(problem, panels=(panel,)))
        days = []
        for at in product(range(windows), repeat=len(alone.model.sittings)):
            plan = plan_at(alone, at, [None])
            if not check(alone.model.problem, plan):
                days.append(assemble.finish_day(alone.model, at, 0))
        found.append(min((day for day in days if day is not None), default=None))
    return found


__all__ = ["NOWHERE", "TODAY", "chain", "earliest_days", "every_plan", "plan_at", "problems", "studio"]
