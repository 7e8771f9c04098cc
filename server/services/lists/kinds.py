"""One line of a list as a record: panels, layers, touch tests, the shelf."""

import re
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select
from sqlmodel import col

from server.science.reference import oils, solvents, thickness_presets
from server.services import layers, mediums, mixes, paints, panels, pigment_names, thinners, touch_tests
from server.services.layer_commands import LayerMixPart, LayerRemembered
from server.services.lists import medium_cells
from server.services.lists.fields import Kind
from server.services.lists.take_in import At, CellFault, Cells, Make, Outcome, Reading, Told, Words, take_in
from server.store.tables import Layer, Medium, Mix, Paint, Panel, Place, Thinner, TouchTest

_SIZE = re.compile(r"(.+?)\s*(?:x|×|by)\s*(.+)", re.IGNORECASE)
_SHARED = re.compile(r"(.+?)\s+(\d+(?:[.,]\d+)?)\s*%?")
_REGION = re.compile(r"(.+?)\s+(\d+(?:[.,]\d+)?)\s*%(?:\s*\((.*)\))?")


def run(at: At, reading: Reading, worded: Words) -> Outcome:
    """Take a list in; see ``take_in``."""
    makes: dict[Kind, tuple[Make, Callable[[Cells], Any] | None]] = {
        "panels": (panel, None),
        "layers": (layer, layer_order),
        "tests": (touch_test, None),
        "shelf": (on_shelf, None),
    }
    make, order = makes[reading.kind]
    return take_in(at, reading, make, order, worded)


def panel(cells: Cells) -> Told:
    title = cells.needed("title")
    width, height = _size(cells)
    place = _place(cells)
    command = panels.PanelCreate(
        title=title,
        width_cm=width,
        height_cm=height,
        support=cells.choice("support"),
        ground_kind=cells.choice("ground_kind"),
        ground_surface=cells.choice("ground_surface"),
        ground_pigment=cells.text("ground_pigment") or None,
        ground_on=cells.day("ground_on"),
        place_uid=place.uid,
        due_on=cells.day("due_on"),
        due_for=cells.text("due_for"),
        finished_on=cells.day("finished_on"),
        notes=cells.text("notes"),
    )
    words = f"{command.title}, {width:g} × {height:g} cm"
    there = select(Panel).where(
        col(Panel.studio_id) == cells.at.actor.studio_id,
        func.lower(col(Panel.title)) == command.title.lower(),
        col(Panel.width_mm) == round(width * 10, 4),
        col(Panel.height_mm) == round(height * 10, 4),
    )
    if cells.at.session.scalars(there.limit(1)).first() is not None:
        return Told(cells.line.number, "there", words)
    panels.create(cells.at.session, cells.at.actor, command)
    return Told(cells.line.number, "new", words)


def _size(cells: Cells) -> tuple[float, float]:
    width, height = cells.measure("width_cm"), cells.measure("height_cm")
    if width is not None and height is not None:
        return width, height
    found = _SIZE.fullmatch(cells.text("size"))
    if found is None:
        missing = "size" if cells.text("size") else "width_cm" if width is None else "height_cm"
        raise CellFault(missing, "Give width and height, or both in one cell, such as 40 x 50 cm.")
    sides = []
    unit = re.sub(r"[\d.,\s]", "", found[2])
    for side in found.groups():
        bare = side if re.search(r"[^\d.,\s]", side) else f"{side} {unit}".strip()
        sides.append(_measured(cells, "size", bare))
    return sides[0], sides[1]


def _measured(cells: Cells, name: str, text: str) -> float:
    from server.services.lists.values import measure

    try:
        return round(measure(text, cells.reading.decimal, "cm", cells.reading.units.get(name, "cm")), 6)
    except ValueError as fault:
        raise CellFault(name, str(fault)) from None


def _place(cells: Cells) -> Place:
    open_places = _open(cells.at, Place)
    name = cells.text("place")
    found = [each for each in open_places if not name or each.name.casefold() == name.casefold()]
    if not found:
        named = ", ".join(each.name for each in open_places)
        raise CellFault("place", f"There is no place of that name. There are: {named}.")
    return found[0]


def layer_order(cells: Cells) -> tuple[int, str, float, int]:
    """Painted layers by panel and time, as they went on; then those to come."""
    painted = cells.moment("painted_at")
    return (
        0 if painted else 1,
        cells.text("panel").casefold(),
        painted[0].timestamp() if painted else cells.number("number") or 0.0,
        cells.line.number,
    )


def layer(cells: Cells) -> Told:
    on = _panel(cells)
    painted = cells.moment("painted_at")
    preset, wet_um = _thickness(cells)
    command = LayerRemembered(
        kind=cells.text("kind"),
        material=cells.choice("material"),
        thickness_preset=preset,
        wet_thickness_um=wet_um,
        texture=cells.choice("texture"),
        thinner_uid=_named(cells, Thinner, "thinner"),
        solvent_pct=cells.number("solvent_pct") or 0.0,
        surface=cells.choice("surface"),
        planned_on=cells.day("planned_on"),
        mixes=tuple(_mixes(cells)),
        notes=cells.text("notes"),
        painted_at=painted[0] if painted else None,
    )
    when = f", painted {painted[0].astimezone(cells.at.zone):%Y-%m-%d}" if painted else ", to come"
    words = f"{command.kind} on {on.title}{when}"
    there = _layer_there(cells, on, command, painted)
    if there is not None:
        cells.at.used.add(there.uid)
        return Told(cells.line.number, "there", words)
    made = layers.create(cells.at.session, cells.at.actor, on.uid, command, cells.at.now)
    cells.at.used.add(made.uid)
    return Told(cells.line.number, "new", words)


def _layer_there(
    cells: Cells, on: Panel, command: LayerRemembered, painted: tuple[datetime, bool] | None
) -> Layer | None:
    for each in cells.at.session.scalars(select(Layer).where(col(Layer.panel_id) == on.id).order_by(col(Layer.id))):
        same = each.kind.casefold() == command.kind.casefold() and each.uid not in cells.at.used
        if same and painted is not None and each.painted_at is not None:
            same = _same_time(each.painted_at, painted, cells)
        elif same:
            same = (each.painted_at is None) == (painted is None) and each.planned_on == command.planned_on
        if same:
            return each
    return None


def _same_time(kept: datetime, written: tuple[datetime, bool], cells: Cells) -> bool:
    """To the minute, or to the day where no time was written."""
    at, has_time = written
    if has_time:
        return abs(kept - at) < timedelta(minutes=1)
    return kept.astimezone(cells.at.zone).date() == at.astimezone(cells.at.zone).date()


def _thickness(cells: Cells) -> tuple[str | None, float | None]:
    text = cells.needed("thickness").casefold().replace("_", " ")
    for row in thickness_presets():
        if text in {row.name.replace("_", " "), row.label.casefold()}:
            return row.name, None
    return None, cells.measure("thickness")


def _mixes(cells: Cells) -> Sequence[LayerMixPart]:
    """The mixes of a cell: a label, or several with their shares: "Pale grey 60 % (sky); White 40 %"."""
    text = cells.text("mix")
    if not text:
        return ()
    whole = _mix_uid(cells, text)
    if whole is not None:
        return (LayerMixPart(mix_uid=whole),)
    parts = []
    for piece in filter(None, (piece.strip() for piece in text.split(";"))):
        shared = _REGION.fullmatch(piece)
        uid = _mix_uid(cells, shared[1] if shared else piece)
        if uid is None:
            raise CellFault("mix", f"Neither a mix nor a paint on the shelf is called “{piece[:80]}”. Add it first.")
        share = float(shared[2].replace(",", ".")) if shared else None
        parts.append(LayerMixPart(mix_uid=uid, area_pct=share, region=(shared[3] or "") if shared else ""))
    return parts


def _mix_uid(cells: Cells, label: str) -> str | None:
    found = _named_like(cells.at, Mix, label)
    if found is not None:
        return found
    paint = _named_like(cells.at, Paint, label)
    return None if paint is None else mixes.of_tube(cells.at.session, cells.at.actor, paint).uid


def _named(cells: Cells, kind: type[Thinner], name: str) -> str | None:
    text = cells.text(name)
    if not text:
        return None
    found = _named_like(cells.at, kind, text)
    if found is None:
        raise CellFault(name, "Nothing on the shelf is called that. Add it first.")
    return found


def _named_like(at: At, kind: type[Mix] | type[Paint] | type[Thinner], label: str) -> str | None:
    query = select(col(kind.uid)).where(
        col(kind.studio_id) == at.actor.studio_id,
        col(kind.archived_at).is_(None),
        func.lower(col(kind.label)) == label.lower(),
    )
    return at.session.scalars(query.order_by(col(kind.id)).limit(1)).first()


def touch_test(cells: Cells) -> Told:
    on = _panel(cells)
    written = cells.moment("pressed_at")
    if written is None:
        raise CellFault("pressed_at", "This is needed.")
    pressed = _pressed_layer(cells, on, written)
    at = written[0]
    if not written[1] and pressed.painted_at is not None and _same_time(pressed.painted_at, written, cells):
        at = max(at, pressed.painted_at)  # no time was written: it was after the brush
    command = touch_tests.TouchTestCreate(
        stage=cells.choice("stage"),
        pressed_at=at,
        place_on_panel=cells.text("place_on_panel"),
        region=cells.text("region"),
        note=cells.text("note"),
    )
    words = f"{pressed.kind} on {on.title}: {command.stage.replace('_', '-')}, {at.astimezone(cells.at.zone):%Y-%m-%d}"
    query = select(TouchTest).where(
        col(TouchTest.layer_id) == pressed.id,
        col(TouchTest.stage) == command.stage,
        col(TouchTest.place_on_panel) == command.place_on_panel,
    )
    for each in cells.at.session.scalars(query.order_by(col(TouchTest.id))):
        if each.uid not in cells.at.used and _same_time(each.pressed_at, written, cells):
            cells.at.used.add(each.uid)
            return Told(cells.line.number, "there", words)
    made = touch_tests.log(cells.at.session, cells.at.actor, pressed.uid, command, cells.at.now)
    cells.at.used.add(made.uid)
    return Told(cells.line.number, "new", words)


def _pressed_layer(cells: Cells, on: Panel, written: tuple[datetime, bool]) -> Layer:
    query = select(Layer).where(
        col(Layer.panel_id) == on.id, col(Layer.archived_at).is_(None), col(Layer.painted_at).is_not(None)
    )
    painted = cells.at.session.scalars(query.order_by(col(Layer.position))).all()
    number = cells.number("number")
    if number is not None:
        if not (number.is_integer() and 1 <= number <= len(painted)):
            raise CellFault("number", f"{on.title} has {len(painted)} painted layers; 1 is the lowest.")
        return painted[int(number) - 1]
    end = written[0] if written[1] else written[0] + timedelta(hours=12)
    before = [each for each in painted if each.painted_at is not None and each.painted_at <= end]
    if not before:
        raise CellFault("pressed_at", f"No layer of {on.title} was painted by then.")
    return before[-1]


def on_shelf(cells: Cells) -> Told:
    kind, label = cells.choice("kind"), cells.needed("label")
    tables: dict[str | None, type[Paint] | type[Thinner] | type[Medium]] = {"thinner": Thinner, "medium": Medium}
    table = tables.get(kind, Paint)
    query = select(col(table.id)).where(
        col(table.studio_id) == cells.at.actor.studio_id, func.lower(col(table.label)) == label.lower()
    )
    if cells.at.session.scalars(query.limit(1)).first() is not None:
        return Told(cells.line.number, "there", label)
    if kind == "thinner":
        made_of = _known(cells, "made_of", {row.name: row.label for row in solvents()})
        thinner = thinners.ThinnerCreate(label=label, solvent=made_of, notes=cells.text("notes"))
        thinners.create(cells.at.session, cells.at.actor, thinner)
        return Told(cells.line.number, "new", label)
    if kind == "medium":
        medium = mediums.MediumCreate(label=label, parts=medium_cells.parts_of(cells), notes=cells.text("notes"))
        mediums.create(cells.at.session, cells.at.actor, medium)
        return Told(cells.line.number, "new", label)
    numbers = {name: cells.measure(name) for name in ("tube_ml", "left_ml", "density_g_cm3")}
    grams = {name: cells.number(name) for name in ("paint_oil_g_per_100g", "rub_out_oa_g_per_100g")}
    command = paints.PaintCreate(
        label=label,
        oil=_known(cells, "oil", {row.name: row.label for row in oils()}),
        pigments=tuple(_pigments(cells)),
        notes=cells.text("notes"),
        **numbers,
        **grams,
    )
    paints.create(cells.at.session, cells.at.actor, command)
    return Told(cells.line.number, "new", label)


def _known(cells: Cells, name: str, known: dict[str, str]) -> str:
    written = cells.needed(name).casefold().replace("_", " ")
    for key, label in known.items():
        if written in {key.replace("_", " "), label.casefold(), f"{key.replace('_', ' ')} oil"}:
            return key
    raise CellFault(name, f"Write one of: {', '.join(key.replace('_', ' ') for key in known)}.")


def _pigments(cells: Cells) -> Sequence[paints.PigmentRow]:
    """ "PW6; PB29" or "PW6 60; PB29 40"; equal shares where none is given."""
    text = cells.needed("made_of")
    pieces = [piece.strip() for piece in re.split(r"[;+]" if re.search(r"[;+]", text) else r",(?!\d)", text)]
    found: list[tuple[str, float | None]] = []
    for piece in filter(None, pieces):
        shared = _SHARED.fullmatch(piece)
        head = None if shared is None else _pigment(shared[1])
        if shared is not None and head is not None:
            found.append((head, float(shared[2].replace(",", "."))))
            continue
        try:
            found.append((pigment_names.read(piece).key, None))
        except ValueError as fault:
            raise CellFault("made_of", f"{piece[:80]}: {fault}") from None
    if len(found) > 1 and all(share is None for _, share in found):
        found = [(key, 100 / len(found)) for key, _ in found]
    return [paints.PigmentRow(pigment=key, share_pct=share) for key, share in found]


def _pigment(text: str) -> str | None:
    try:
        return pigment_names.read(text).key
    except ValueError:
        return None


def _panel(cells: Cells) -> Panel:
    title = cells.needed("panel")
    query = select(Panel).where(
        col(Panel.studio_id) == cells.at.actor.studio_id,
        col(Panel.archived_at).is_(None),
        func.lower(col(Panel.title)) == title.lower(),
    )
    found = cells.at.session.scalars(query.limit(2)).all()
    if not found:
        raise CellFault("panel", f"No panel is called “{title[:80]}”. Bring in the panels first.")
    if len(found) > 1:
        raise CellFault("panel", f"Two panels are called “{title[:80]}”. Give one of them another title first.")
    return found[0]


def _open(at: At, kind: type[Place]) -> Sequence[Place]:
    query = select(kind).where(col(kind.studio_id) == at.actor.studio_id, col(kind.archived_at).is_(None))
    return at.session.scalars(query.order_by(col(kind.id))).all()
