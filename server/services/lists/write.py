"""The lists of a studio: what is open, one line a record, in the words and columns that the import knows."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.access import Actor, allow
from server.services.lists import medium_cells
from server.services.paints import key_of
from server.services.records import find_all
from server.services.tube_use import left_now
from server.services.whereabouts import whereabouts
from server.store.tables import (
    Layer,
    LayerMix,
    Medium,
    MediumPart,
    Mix,
    MixPart,
    Paint,
    PaintPigment,
    Panel,
    Thinner,
    TouchTest,
)

Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class List:
    """``name`` is the file's; ``rows`` are read when asked for."""

    name: str
    header: Row
    rows: Callable[[], Iterator[Row]]


PANELS: Row = (
    *("Panel", "Width cm", "Height cm", "Support", "Ground", "Ground surface", "Ground pigment", "Ground laid"),
    *("Place", "Due", "Due for", "Finished", "Notes"),
)
LAYERS: Row = (
    *("Panel", "Layer", "Kind", "Mix", "Wet thickness µm", "Material", "Texture", "Solvent %", "Thinner", "Surface"),
    *("Painted", "Planned", "Notes"),
)
TESTS: Row = ("Panel", "Layer", "Pressed", "Stage", "Where", "Mix pressed", "Note")
SHELF: Row = (
    *("Kind", "Label", "Oil", "Made of", "Tube ml", "Left ml", "Oil g per 100 g", "Oil absorption g per 100 g"),
    *("Density g/ml", "Notes"),
)
MIXES: Row = ("Label", "Made of", "Notes")


def lists(session: Session, actor: Actor, zone: ZoneInfo) -> tuple[List, ...]:
    """All lists of the actor's studio; moments are told in ``zone``."""
    allow(actor, "read", None)
    reader = _Reader(session, actor, zone)
    return (
        List("panels", PANELS, reader.panels),
        List("layers", LAYERS, reader.layers),
        List("tests", TESTS, reader.tests),
        List("shelf", SHELF, reader.shelf),
        List("mixes", MIXES, reader.mixes),
    )


def figure(value: float | None) -> str:
    """A number as it is typed: no more digits than it has."""
    return "" if value is None else f"{value:.10g}"


def _day(on: date | None) -> str:
    return "" if on is None else on.isoformat()


@dataclass(frozen=True, slots=True)
class _Reader:
    session: Session
    actor: Actor
    zone: ZoneInfo

    def panels(self) -> Iterator[Row]:
        where = whereabouts(self.session, self.actor.studio_id)
        for panel in find_all(self.session, self.actor, Panel):
            yield (
                panel.title,
                figure(panel.width_mm / 10),
                figure(panel.height_mm / 10),
                panel.support.replace("_", " "),
                panel.ground_kind.replace("_", " "),
                panel.ground_surface,
                panel.ground_pigment or "",
                _day(panel.ground_on),
                where.now(panel.id or 0, panel.place_id).name,
                _day(panel.due_on),
                panel.due_for,
                _day(panel.finished_on),
                panel.notes,
            )

    def layers(self) -> Iterator[Row]:
        thinners = self._labels(Thinner)
        mixes = self._labels(Mix)
        for panel in find_all(self.session, self.actor, Panel):
            found = self._layers_of(panel)
            regions = self._regions([layer.id or 0 for layer in found])
            for number, layer in enumerate(found, 1):
                yield (
                    panel.title,
                    str(number),
                    layer.kind,
                    mixes_words(regions[layer.id or 0], mixes),
                    figure(layer.wet_thickness_um),
                    layer.material.replace("_", " "),
                    layer.texture.replace("_", " "),
                    figure(layer.solvent_pct),
                    "" if layer.thinner_id is None else thinners[layer.thinner_id],
                    layer.surface or "",
                    self._moment(layer.painted_at),
                    _day(layer.planned_on),
                    layer.notes,
                )

    def tests(self) -> Iterator[Row]:
        for panel in find_all(self.session, self.actor, Panel):
            numbers = {layer.id or 0: number for number, layer in enumerate(self._layers_of(panel), 1)}
            query = (
                select(TouchTest)
                .where(col(TouchTest.layer_id).in_(numbers), col(TouchTest.archived_at).is_(None))
                .order_by(col(TouchTest.pressed_at), col(TouchTest.id))
            )
            for test in self.session.scalars(query):
                place = (test.place_on_panel, test.region, test.note)
                number = str(numbers[test.layer_id])
                yield (panel.title, number, self._moment(test.pressed_at), test.stage.replace("_", " "), *place)

    def shelf(self) -> Iterator[Row]:
        pigments = self._parts(PaintPigment, "paint_id")
        tubes = find_all(self.session, self.actor, Paint)
        left = left_now(self.session, self.actor.studio_id, tubes)
        for paint in tubes:
            made = [(key_of(row.ci_name, row.variant), 100 * row.share) for row in pigments[paint.id or 0]]
            own = (paint.paint_oil_g_per_100g, paint.rub_out_oa_g_per_100g, paint.density_g_cm3)
            left_ml = left.get(paint.uid)
            told = left_ml if left_ml is None or left_ml == paint.left_ml else round(left_ml, 1)
            numbers = map(figure, (paint.tube_ml, told, *own))
            yield ("paint", paint.label, paint.oil.replace("_", " "), _made_of(made), *numbers, paint.notes)
        parts = self._parts(MediumPart, "medium_id")
        for medium in find_all(self.session, self.actor, Medium):
            yield (
                "medium",
                medium.label,
                "",
                medium_cells.made_of(parts[medium.id or 0]),
                "",
                "",
                "",
                "",
                "",
                medium.notes,
            )
        for thinner in find_all(self.session, self.actor, Thinner):
            solvent = thinner.solvent.replace("_", " ")
            yield ("thinner", thinner.label, "", solvent, "", "", "", "", "", thinner.notes)

    def mixes(self) -> Iterator[Row]:
        named = {
            "paint": self._labels(Paint),
            "medium": self._labels(Medium),
            "thinner": self._labels(Thinner),
        }
        parts = self._parts(MixPart, "mix_id")
        for mix in find_all(self.session, self.actor, Mix):
            yield (mix.label, "; ".join(_part(part, named) for part in parts[mix.id or 0]), mix.notes)

    def _labels(self, kind: type[Mix | Thinner | Paint | Medium]) -> dict[int, str]:
        """Of all of them, put away ones too: layers name these still."""
        query = select(col(kind.id), col(kind.label)).where(col(kind.studio_id) == self.actor.studio_id)
        return {row_id: label for row_id, label in self.session.execute(query) if row_id is not None}

    def _layers_of(self, panel: Panel) -> Sequence[Layer]:
        query = select(Layer).where(col(Layer.panel_id) == panel.id, col(Layer.archived_at).is_(None))
        return self.session.scalars(query.order_by(col(Layer.position))).all()

    def _regions(self, layer_ids: Sequence[int]) -> dict[int, list[LayerMix]]:
        found: dict[int, list[LayerMix]] = defaultdict(list)
        query = select(LayerMix).where(col(LayerMix.layer_id).in_(layer_ids)).order_by(col(LayerMix.position))
        for row in self.session.scalars(query):
            found[row.layer_id].append(row)
        return found

    def _parts(self, kind, owner: str):  # type: ignore[no-untyped-def]
        found = defaultdict(list)
        for row in self.session.scalars(select(kind).order_by(col(kind.position))):
            found[getattr(row, owner)].append(row)
        return found

    def _moment(self, at: datetime | None) -> str:
        return "" if at is None else f"{at.astimezone(self.zone):%Y-%m-%d %H:%M}"


def mixes_words(regions: Sequence[LayerMix], labels: Mapping[int, str]) -> str:
    """The mixes of a layer in one cell: "Pale grey", or "Pale grey 60 % (sky); White 40 %"."""
    if len(regions) == 1 and regions[0].area_share == 1 and not regions[0].region:
        return labels[regions[0].mix_id]
    told = []
    for row in regions:
        region = f" ({row.region})" if row.region else ""
        told.append(f"{labels[row.mix_id]} {figure(round(100 * row.area_share, 6))} %{region}")
    return "; ".join(told)


def _made_of(parts: Sequence[tuple[str, float]]) -> str:
    return "; ".join(f"{name.replace('_', ' ')} {figure(round(parts, 6))}" for name, parts in parts)


def _part(part: MixPart, named: Mapping[str, Mapping[int, str]]) -> str:
    if part.kind == "drier":
        return f"{part.metal} drier {figure(part.percent_on_oil)} % on oil"
    if part.kind == "clove_oil":
        return f"clove oil {figure(part.drops_per_10_ml)} drops per 10 ml"
    label = named[part.kind][getattr(part, f"{part.kind}_id")]
    return f"{label} {figure(part.parts)}"
