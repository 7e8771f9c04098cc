"""The fields of a change in the painter's words: what it was, what it became."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from server.services.history import FieldChange, HistoryEntry, RowChange
from server.services.images import values_from
from server.store.tables import Name, WorkTime
from server.web import words
from server.web.hours_words import day_words, time_words

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
SHARES = frozenset({"area_share", "share"})
# What somebody typed: told as it stands.
TYPED = frozenset(
    {
        "title",
        "label",
        "name",
        "due_for",
        "region",
        "place_on_panel",
        "notes",
        "note",
        "override_reason",
    }
)
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
    "oil": "oil",
    "solvent": "solvent",
    "tube_ml": "tube",
    "left_ml": "left in it",
    "paint_oil_g_per_100g": "oil in the paint, g per 100 g",
    "rub_out_oa_g_per_100g": "oil absorption, g per 100 g",
    "density_g_cm3": "density, g/cm³",
    "swatch": "colour",
    "temperature_c": "temperature",
    "relative_humidity_pct": "humidity, %",
    "light": "light",
    "measured": "read off instruments",
    "ended_at": "ended",
    "moved_at": "moved",
    "time_zone": "time zone",
    "confidence_pct": "how sure a plan wants to be, %",
    "drops_per_ml": "drops to a millilitre",
    "share_wait_d": "days a panel may wait to share a mix",
    "length_unit": "sizes",
    "volume_unit": "volumes",
    "temperature_unit": "warmth",
    "film_unit": "thickness of paint",
    "week_start": "weeks begin on",
    "date_order": "dates",
    "clock": "times of day",
    "decimal_mark": "decimals",
    "shows": "shows",
    "expires_at": "opens until",
    "embed_origin": "may be framed by",
}
# Rows that are part of a record: what they are, and the columns that tell them apart.
PARTS = {
    "layer_mix": ("mix of the layer", ("area_share",)),
    "paint_pigment": ("pigment", ("ci_name", "variant", "share")),
    "medium_part": ("part", ("kind", "oil", "solvent", "parts")),
    "mix_part": ("part", ("kind", "parts", "metal", "percent_on_oil", "drops_per_10_ml")),
    "stack_layer": ("layer", ("kind", "wet_thickness_um", "solvent_pct")),
    "place_month": ("month", ("month", "temperature_c", "relative_humidity_pct", "light")),
    "place_off": ("heating off", ("month", "temperature_c", "relative_humidity_pct")),
    "sitting_mix": ("left over", ("left_ml", "kept_in")),
}
LONGEST = 120
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}(T\d{2}:.*)?")  # as the history keeps days and instants


@dataclass(frozen=True, slots=True)
class Line:
    """One field: ``what`` names it, ``before`` and ``after`` are "" for nothing."""

    what: str
    before: str
    after: str


def lines_of(entry: HistoryEntry, zone: tzinfo) -> list[Line]:
    """What a change did to the record it is listed with, field by field; what was added is told by its label, hours by
    their days and times."""
    hours = [row for row in entry.rows if row.table == "work_time" and row.what == "added"]
    if hours:
        return [Line("hours", "", _hours(row, entry.at.astimezone(zone).date())) for row in hours]
    if any(row.what == "added" and row.table not in PARTS for row in entry.rows):
        return []
    return [line for row in entry.rows for line in _row_lines(row, zone)]


def _hours(row: RowChange, today: date) -> str:
    values = {each.name: each.after for each in row.fields}
    line = WorkTime(**values_from(WorkTime, values))
    return f"{day_words(line, today)}, {time_words(line)}"


def _row_lines(row: RowChange, zone: tzinfo) -> Iterable[Line]:
    if row.what == "changed":
        yield from (_line(each, zone) for each in row.fields if each.name in NAMES)
    elif row.table in PARTS:
        what, columns = PARTS[row.table]
        values = {f.name: f.after if row.what == "added" else f.before for f in row.fields}
        text = ", ".join(told for name in columns if (told := _told(name, values.get(name), zone)))
        yield Line(what, "", text) if row.what == "added" else Line(what, text, "")


def _line(field: FieldChange, zone: tzinfo) -> Line:
    before, after = (_told(field.name, value, zone) for value in (field.before, field.after))
    return Line(NAMES[field.name], before, after)


def _told(name: str, value: object, zone: tzinfo) -> str:
    if name in SHARES and isinstance(value, int | float):
        return f"{value * 100:.3g} %" + (" of the area" if name == "area_share" else "")
    if name in TYPED:
        return Name(_text(value))
    return _quantity(name, value) or _moment(value, zone) or _text(value)


def _quantity(name: str, value: object) -> str:
    """A quantity in the studio's unit; "" for what is none."""
    if name not in QUANTITIES or not isinstance(value, int | float) or isinstance(value, bool):
        return ""
    stored_in, factor = QUANTITIES[name]
    return words.quantity(value * factor, stored_in, 6)


def _moment(value: object, zone: tzinfo) -> str:
    """A day or an instant as the studio tells it; "" for what is neither."""
    if not isinstance(value, str) or not _DAY.fullmatch(value):
        return ""
    try:
        if "T" not in value:
            return words.dated(date.fromisoformat(value))
        at = datetime.fromisoformat(value).astimezone(zone)
    except ValueError:
        return ""
    return f"{words.dated(at.date())} at {words.clock(at)}"


def _text(value: object) -> str:
    match value:
        case None | "" | False:
            return ""
        case True:
            return "yes"
        case float():
            return f"{value:.6g}"
    text = str(value).replace("_", " ") if not isinstance(value, str) or "_" in value else value
    return text if len(text) <= LONGEST else text[:LONGEST] + "…"
