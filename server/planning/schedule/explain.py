"""A plan with its reasons: why each sitting is on its day, how far it may slip, and what would help late panels."""

from dataclasses import replace

from server.planning.schedule import planner
from server.planning.schedule.columns import LOCKED
from server.planning.schedule.model import Model
from server.planning.schedule.options import Variants, options
from server.planning.schedule.plan import Binding, PlacedSitting, Plan
from server.planning.schedule.planner import Bench
from server.planning.schedule.reader import Lifted, Reader
from server.planning.schedule.reasons import reason
from server.planning.schedule.slipping import MayBe, last_window


def explained(
    bench: Bench, *, with_options: bool = True, variants: Variants | None = None, may_be: MayBe | None = None
) -> Plan:
    """The plan on the desk with every sitting's reason and leeway, and the options of late panels.

    ``variants``: other ways to make a panel, which are tried for it. ``may_be``: what is asked beside of a sitting that
    slips."""
    plan = planner.answer(bench)
    reader = Reader.of(bench)
    number = bench.model.shape.number
    sittings = tuple(_told(reader, number[placed.id], placed, may_be) for placed in plan.sittings)
    panels = plan.panels
    if with_options and any(panel.late_d for panel in panels):
        found = options(bench, {p.id: p.finish_on for p in panels if p.late_d and p.finish_on}, variants)
        panels = tuple(replace(panel, options=found.get(panel.id, ())) for panel in panels)
    return replace(plan, sittings=sittings, panels=panels)


def _told(reader: Reader, s: int, placed: PlacedSitting, may_be: MayBe | None) -> PlacedSitting:
    if reader.c.sitting(s, LOCKED):
        text = "pinned to this working time" if _is_pinned(reader.model, placed.id) else "stands today, and today stays"
        return replace(placed, binding=Binding("pinned", None, text), may_slip_to=placed.start_at)
    lifted = Lifted.out_of(reader, s)
    last = last_window(lifted, may_be)
    slip = placed.start_at if last == lifted.b else max(placed.start_at, reader.start_of(s, last))
    told = replace(placed, binding=reason(lifted), may_slip_to=slip)
    lifted.put_back()
    return told


def _is_pinned(model: Model, sitting: str) -> bool:
    return any(p.sitting == sitting and p.pinned for p in model.problem.previous)
