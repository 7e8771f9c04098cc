"""The fields of a change in the painter's words: what it was, what it became."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, tzinfo

from server.services.history import FieldChange, HistoryEntry, RowChange
from server.web import words

# Columns that hold a quantity: the unit they are told in, and how many of it one of the column is.
QUANTITIES = {
    "width_mm": ("cm", 0.1),
    "height_mm": ("cm", 0.1),
    "wet_thickness_um": ("µm", 1.0),
    "temperature_c": ("°C", 1.0),
    "transit_c": ("°C", 1.0),
    "tube_ml": ("ml", 1.0),
    "left_ml": ("ml", 1.0),
}
# Names of columns as people say them; those left out only serve the program.
NAMES = {
    "title": "title",
    "label": "name",
    "name": "name",
    "width_mm": "width",
    "height_mm": "height",
    "support": "support",
    "ground_kind": "ground",
    "ground_surface": "its surface",
    "ground_pigment": "its white",
    "ground_on": "ground laid on",
    "due_on": "due on",
    "due_for": "due for",
    "weight": "weight of its date",
    "finish": "leaves",
    "packing_d": "packing, days",
    "transit_d": "on the way, days",
    "finished_on": "finished on",
    "notes": "notes",
    "kind": "kind",
    "material": "material",
    "thickness_preset": "thickness",
    "wet_thickness_um": "wet thickness",
    "texture": "texture",
    "solvent_pct": "thinner, % of the wet volume",
    "wet_in_wet": "wet-in-wet",
    "surface": "surface",
    "sitting_min": "sitting, min",
    "planned_on": "planned for",
    "painted_at": "painted",
    "region": "where",
    "area_share": "share of the area",
    "pressed_at": "pressed",
    "stage": "stage",
    "is_sure": "sure, when asked",
    "place_on_panel": "where on the panel",
    "note": "note",
    "archived_at": "archived",
    "override_reason": "why all the same",
    "action": "what",
    "done_at": "done",
    "transit_c": "on the way",
    "method": "test",
    "result": "showed",
    "tested_at": "tested",
    "position": "place in the order",
}
ROWS = {"panel": "panel", "layer": "layer", "layer_mix": "mix of the layer", "touch_test": "touch test"}
PARTS = "layer_mix"
LONGEST = 120


@dataclass(frozen=True, slots=True)
class Line:
    """One field: ``what`` names it, ``before`` and ``after`` are "" for nothing."""

    what: str
    before: str
    after: str


def lines_of(entry: HistoryEntry, zone: tzinfo) -> list[Line]:
    """What a change did to the record it is listed with, field by field; what was added is told by its label."""
    if any(row.what == "added" and row.table != PARTS for row in entry.rows):
        return []
    return [line for row in entry.rows for line in _row_lines(row, zone)]


def _row_lines(row: RowChange, zone: tzinfo) -> Iterable[Line]:
    if row.what == "changed":
        yield from (_line(each, zone) for each in row.fields if each.name in NAMES)
    elif row.table == PARTS:
        share = next((f.after if row.what == "added" else f.before for f in row.fields if f.name == "area_share"), 0)
        text = f"{share * 100:.3g} % of the area"
        yield Line(ROWS[row.table], "", text) if row.what == "added" else Line(ROWS[row.table], text, "")


def _line(field: FieldChange, zone: tzinfo) -> Line:
    before, after = (_quantity(field.name, value) or _text(value, zone) for value in (field.before, field.after))
    return Line(NAMES[field.name], before, after)


def _quantity(name: str, value: object) -> str:
    """A quantity in the studio's unit; "" for what is none."""
    if name not in QUANTITIES or not isinstance(value, int | float) or isinstance(value, bool):
        return ""
    stored_in, factor = QUANTITIES[name]
    return words.quantity(value * factor, stored_in, 6)


def _text(value: object, zone: tzinfo) -> str:
    match value:
        case None | "" | False:
            return ""
        case True:
            return "yes"
        case float():
            return f"{value:.6g}"
        case str() if len(value) > 18 and value[4] == "-" and value[10] == "T":
            return f"{datetime.fromisoformat(value).astimezone(zone):%Y-%m-%d %H:%M}"
    text = str(value).replace("_", " ") if not isinstance(value, str) or "_" in value else value
    return text if len(text) <= LONGEST else text[:LONGEST] + "…"
