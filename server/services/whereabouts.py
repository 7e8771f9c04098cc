"""Where a studio's panels are and were, and what the climate of each place is.

A panel begins in the place that is written in it and goes on by its moves. A layer that is on dries where the panel was
from the moment it was painted; a layer to come, where the panel was last put.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Row, select
from sqlmodel import Session, col

from server.services.climates import Climate, climate_of
from server.services.learning_effects import Where
from server.services.readings.hours import records_of
from server.store.tables import Panel, PanelMove, Place, PlaceMonth, PlaceOff

NIGHT = "night_temperature_c night_relative_humidity_pct"
MONTH = f"place_id month temperature_c relative_humidity_pct {NIGHT}"
OFF = "place_id weekdays start_min end_min from_on until_on temperature_c"
PLACE = f"id uid name light light_factor measured temperature_c relative_humidity_pct {NIGHT}"


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """Where panels dry."""

    uid: str
    name: str
    climate: Climate


@dataclass(frozen=True, slots=True)
class Stay:
    """A panel in a place from an instant on; None: from the beginning. ``uid`` is that of the move that brought it."""

    place: PlaceRow
    since: datetime | None
    uid: str = ""


@dataclass(frozen=True)
class Whereabouts:
    """``places`` by their id, ``moves`` by the panel's, the earliest first."""

    places: Mapping[int, PlaceRow]
    moves: Mapping[int, Sequence[Row[Any]]]

    def stays(self, panel_id: int, first_place_id: int) -> tuple[Stay, ...]:
        """Every place a panel was in, the first one first."""
        moved = self.moves.get(panel_id, ())
        later = tuple(Stay(self.places[move.place_id], move.moved_at, move.uid) for move in moved)
        return (Stay(self.places[first_place_id], None), *later)

    def key_of(self, panel_id: int, first_place_id: int) -> Hashable:
        """Stands for where a panel was and is, in what is kept."""
        stays = self.stays(panel_id, first_place_id)
        return tuple((stay.place.uid, stay.place.name, stay.place.climate.key, stay.since, stay.uid) for stay in stays)

    def now(self, panel_id: int, first_place_id: int) -> PlaceRow:
        """Where a panel was last put."""
        return self.stays(panel_id, first_place_id)[-1].place

    def ahead(self, panel_id: int, first_place_id: int) -> Where:
        """Where its layers to come will dry."""
        place = self.now(panel_id, first_place_id)
        return Where(place.uid, place.climate.ahead)

    def of_layer(self, panel_id: int, first_place_id: int, painted_at: datetime) -> Where:
        """Where a layer that is on dries: the place it was painted in, and from there with the panel."""
        moved = self.moves.get(panel_id, ())
        done = bisect_right(moved, painted_at, key=lambda move: move.moved_at)
        place = self.places[moved[done - 1].place_id if done else first_place_id]
        climate = place.climate.seen_from(painted_at)
        if done == len(moved):
            return Where(place.uid, climate)
        then = tuple(
            (move.moved_at.timestamp(), self.places[move.place_id].climate.seen_from(painted_at))
            for move in moved[done:]
        )
        return Where(place.uid, climate.with_moves(then))

    @property
    def all_places(self) -> tuple[Where, ...]:
        """Every place as learning counts its effect."""
        found = (Where(place.uid, place.climate) for place in self.places.values())
        return tuple(sorted(found, key=lambda where: where.uid))


def whereabouts(session: Session, studio_id: int, panel_id: int | None = None) -> Whereabouts:
    """All places of a studio, put away ones too, and the moves of its panels, or of one of them."""
    months = _by(session.execute(_of_places(PlaceMonth, MONTH, studio_id)), "place_id")
    off = _by(session.execute(_of_places(PlaceOff, OFF, studio_id).order_by(col(PlaceOff.position))), "place_id")
    records = records_of(session, studio_id)
    rows = session.execute(select(*_columns(Place, PLACE)).where(col(Place.studio_id) == studio_id))
    places = {
        row.id: PlaceRow(
            row.uid,
            row.name,
            climate_of(row, months.get(row.id, []), records.get(row.id), off.get(row.id, [])),
        )
        for row in rows
    }
    return Whereabouts(places, _by(session.execute(_moves(studio_id, panel_id)), "panel_id"))


def _columns(table: Any, names: str) -> list[Any]:
    return [getattr(table, name) for name in names.split()]


def _of_places(table: Any, names: str, studio_id: int) -> Any:
    """Rows that belong to places of a studio."""
    query = select(*_columns(table, names)).join(Place, col(Place.id) == table.place_id)
    return query.where(col(Place.studio_id) == studio_id)


def panels_in(session: Session, studio_id: int) -> dict[int, list[str]]:
    """The titles of the open panels by the id of the place they were last put into."""
    panels = session.execute(
        select(col(Panel.id), col(Panel.place_id), col(Panel.title))
        .where(col(Panel.studio_id) == studio_id, col(Panel.archived_at).is_(None))
        .order_by(col(Panel.title))
    )
    moves = _by(session.execute(_moves(studio_id, None)), "panel_id")
    found: dict[int, list[str]] = defaultdict(list)
    for panel in panels:
        moved = moves.get(panel.id)
        found[moved[-1].place_id if moved else panel.place_id].append(panel.title)
    return dict(found)


def _moves(studio_id: int, panel_id: int | None) -> Any:
    query = (
        select(col(PanelMove.uid), col(PanelMove.panel_id), col(PanelMove.place_id), col(PanelMove.moved_at))
        .where(col(PanelMove.studio_id) == studio_id, col(PanelMove.archived_at).is_(None))
        .order_by(col(PanelMove.panel_id), col(PanelMove.moved_at), col(PanelMove.id))
    )
    return query if panel_id is None else query.where(col(PanelMove.panel_id) == panel_id)


def _by(rows: Any, key: str) -> dict[int, list[Row[Any]]]:
    groups: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        groups[getattr(row, key)].append(row)
    return groups
