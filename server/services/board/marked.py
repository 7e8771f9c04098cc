"""The facts of panels with their sittings in the plan in use, each marked where it holds no more: for every board."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from server.services.board.facts import Moment, PanelFact
from server.services.board.plan_holds import broken_sittings
from server.services.board.plan_stops import plan_stops
from server.services.board.rows import StudioRows
from server.services.board.shown import panel_fact
from server.services.board.spans import instant, local_day
from server.services.board.standing import PanelStanding
from server.services.plan_reading import BrokenSitting, PlannedSitting


def marked_facts(found: Sequence[PanelStanding], rows: StudioRows, moment: Moment) -> list[PanelFact]:
    """The panels as lists show them, in the order given."""
    facts = [replace(panel_fact(one, rows, moment), plan_stops=plan_stops(one, rows, moment)) for one in found]
    broken = broken_sittings(rows, facts, moment)
    for one in found:
        broken |= _over_broken(one, rows, moment, broken)
    return [_marked(fact, one, broken) for fact, one in zip(facts, found, strict=True)]


def broken_of(facts: Iterable[PanelFact]) -> dict[str, BrokenSitting]:
    """Why sittings hold no more, by their layers, from the facts of their panels."""
    return dict(one for fact in facts for one in fact.broken)


def _over_broken(
    standing: PanelStanding, rows: StudioRows, moment: Moment, broken: Mapping[str, BrokenSitting]
) -> dict[str, BrokenSitting]:
    """Sittings over one that holds no more, which come before their layer can be ready, were all below it painted as
    soon as can be."""
    outlook, found = standing.outlook, {}
    is_over = False
    for place, layer in enumerate(standing.layers.to_come[: outlook.goes_on] if outlook is not None else ()):
        uid, sitting = layer.row.uid, rows.sitting_of(layer.row)
        if is_over and outlook is not None and sitting is not None and uid not in broken:
            ready_from = local_day(instant(moment.day_start, outlook.starts[place].planned_d), moment.zone)
            if ready_from > sitting.on:
                found[uid] = BrokenSitting("not_ready", ready_from)
        is_over = is_over or uid in broken
    return found


def _marked(fact: PanelFact, standing: PanelStanding, broken: Mapping[str, BrokenSitting]) -> PanelFact:
    to_come = [layer.row.uid for layer in standing.layers.to_come]
    here = tuple((uid, broken[uid]) for uid in to_come if uid in broken)
    coming = fact.coming
    if coming is not None:
        coming = replace(coming, sitting=mark(coming.sitting, broken))
    return replace(fact, coming=coming, broken=here)


def mark(sitting: PlannedSitting | None, broken: Mapping[str, BrokenSitting]) -> PlannedSitting | None:
    """A sitting with why it holds no more, as it is where it holds."""
    return sitting if sitting is None or sitting.uid not in broken else replace(sitting, broken=broken[sitting.uid])
