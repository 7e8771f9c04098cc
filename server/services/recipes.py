"""From the studio's records to the values that calculations take, and back again for freezing.

A `MixBook` reads a studio's whole shelf with seven queries, however many mixes there are; everything after that is
pure. Archived paints, mediums and mixes stay in the book, since a layer planned earlier may still name them.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Protocol

from sqlalchemy import Row, Select, select
from sqlmodel import Session, col

from server.science.recipe import Addition, AdditionKind, Ground, LayerRecipe, MixRecipe, PigmentShare
from server.science.recipe import Paint as PaintInMix
from server.services.kept import Kept
from server.services.kept import content as one_content
from server.store.tables import (
    Medium,
    MediumPart,
    Mix,
    MixPart,
    Paint,
    PaintPigment,
    Thinner,
)

DEFAULT_SOLVENT = "odourless_mineral_spirits"
RECIPES_KEPT = 8_000
_RECIPES: "Kept[LayerRecipe]" = Kept(RECIPES_KEPT)


class LayerFacts(Protocol):
    """What a recipe needs of a layer record; a table row, a selected row and a form's draft all have it."""

    @property
    def wet_thickness_um(self) -> float: ...
    @property
    def solvent_pct(self) -> float: ...
    @property
    def thinner_id(self) -> int | None: ...


class RegionFacts(Protocol):
    """What a recipe needs of one mix of a layer."""

    @property
    def mix_id(self) -> int: ...
    @property
    def region(self) -> str: ...
    @property
    def area_share(self) -> float: ...


@dataclass(frozen=True, slots=True)
class BookMix:
    """One mix of the studio. ``recipe`` covers the whole area and is None while the mix has no part.

    ``content`` is the recipe written out: equal for equal recipes, and cheap to compare and hash.
    """

    mix_id: int
    uid: str
    label: str
    swatch: str | None
    recipe: MixRecipe | None
    content: str


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Paints, mediums and thinners by their record id, each as one part."""

    paints: Mapping[int, PaintInMix]
    mediums: Mapping[int, tuple[Addition, ...]]
    solvents: Mapping[int, str]


@dataclass(frozen=True, slots=True)
class MixBook:
    """The shelf of a studio by record id: ``mixes`` ready for calculation, ``solvents`` by thinner."""

    mixes: Mapping[int, BookMix]
    solvents: Mapping[int, str]
    shelf: _Shelf = field(repr=False)

    def try_out(self, label: str, parts: Sequence[Any]) -> MixRecipe | None:
        """The recipe of a mix that is not kept, from parts with the columns of ``MixPart``; None for no part at all."""
        return _mix_recipe(label, parts, self.shelf)

    @classmethod
    def load(cls, session: Session, studio_id: int) -> "MixBook":
        """Read paints, mediums, thinners and mixes of the studio with seven queries."""
        paints = _paints(session, studio_id)
        mediums = _mediums(session, studio_id)
        solvents = _solvents(session, studio_id)
        parts = _grouped(
            session.execute(
                select(
                    *_columns(
                        MixPart, "mix_id kind paint_id medium_id thinner_id parts metal percent_on_oil drops_per_10_ml"
                    )
                )
                .join(Mix, col(Mix.id) == col(MixPart.mix_id))
                .where(col(Mix.studio_id) == studio_id)
                .order_by(col(MixPart.mix_id), col(MixPart.position))
            ).all(),
            "mix_id",
        )
        mixes = {}
        shelf = _Shelf(paints, mediums, solvents)
        for row in session.execute(_of_studio(Mix, "id uid label swatch", studio_id)):
            recipe = _mix_recipe(row.label, parts.get(row.id, []), shelf)
            mixes[row.id] = BookMix(row.id, row.uid, row.label, row.swatch, recipe, repr(recipe))
        return cls(mixes, solvents, shelf)


def _columns(table: Any, names: str) -> list[Any]:
    return [getattr(table, name) for name in names.split()]


def _of_studio(table: Any, names: str, studio_id: int) -> Select[Any]:
    return select(*_columns(table, names)).where(table.studio_id == studio_id)


def _grouped(rows: Iterable[Row[Any]], key: str) -> dict[int, list[Row[Any]]]:
    groups: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        groups[getattr(row, key)].append(row)
    return groups


def _paints(session: Session, studio_id: int) -> dict[int, PaintInMix]:
    pigments = _grouped(
        session.execute(
            select(*_columns(PaintPigment, "paint_id ci_name variant share"))
            .join(Paint, col(Paint.id) == col(PaintPigment.paint_id))
            .where(col(Paint.studio_id) == studio_id)
            .order_by(col(PaintPigment.paint_id), col(PaintPigment.position))
        ).all(),
        "paint_id",
    )
    names = "id uid oil paint_oil_g_per_100g rub_out_oa_g_per_100g density_g_cm3"
    return {
        row.id: PaintInMix(
            parts=1.0,
            oil=row.oil,
            pigments=tuple(PigmentShare(p.ci_name, p.variant or None, p.share) for p in pigments.get(row.id, [])),
            paint_oil_g_per_100g=row.paint_oil_g_per_100g,
            rub_out_oa_g_per_100g=row.rub_out_oa_g_per_100g,
            density_g_cm3=row.density_g_cm3,
            tube=row.uid,
        )
        for row in session.execute(_of_studio(Paint, names, studio_id))
    }


def _mediums(session: Session, studio_id: int) -> dict[int, tuple[Addition, ...]]:
    """Each medium as additions whose parts sum to one."""
    parts = _grouped(
        session.execute(
            select(*_columns(MediumPart, "medium_id kind oil solvent parts non_volatile"))
            .join(Medium, col(Medium.id) == col(MediumPart.medium_id))
            .where(col(Medium.studio_id) == studio_id)
            .order_by(col(MediumPart.medium_id), col(MediumPart.position))
        ).all(),
        "medium_id",
    )
    mediums = {}
    for medium_id, rows in parts.items():
        whole = sum(row.parts for row in rows)
        if whole > 0:
            mediums[medium_id] = tuple(
                Addition(AdditionKind(row.kind), row.parts / whole, row.oil, row.solvent, row.non_volatile)
                for row in rows
            )
    return mediums


def _solvents(session: Session, studio_id: int) -> dict[int, str]:
    return {row.id: row.solvent for row in session.execute(_of_studio(Thinner, "id solvent", studio_id))}


def _mix_recipe(label: str, rows: Sequence[Row[Any]], shelf: _Shelf) -> MixRecipe | None:
    paints: list[PaintInMix] = []
    additions: list[Addition] = []
    for row in rows:
        if row.kind == "paint" and row.paint_id in shelf.paints:
            paints.append(replace(shelf.paints[row.paint_id], parts=row.parts))
        else:
            additions.extend(_additions(row, shelf))
    return MixRecipe(label, 1.0, tuple(paints), tuple(additions)) if paints or additions else None


def _additions(row: Row[Any], shelf: _Shelf) -> list[Addition]:
    """What one part of a mix that is not paint adds; a medium comes apart into what it is made of."""
    if row.kind == "medium":
        return [replace(part, parts=part.parts * row.parts) for part in shelf.mediums.get(row.medium_id, ())]
    if row.kind == "thinner":
        solvent = shelf.solvents.get(row.thinner_id, DEFAULT_SOLVENT)
        return [Addition(AdditionKind.SOLVENT, row.parts, solvent=solvent)]
    if row.kind == "drier":
        return [Addition(AdditionKind.DRIER, metal=row.metal, percent_on_oil=row.percent_on_oil)]
    if row.kind == "clove_oil":
        return [Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=row.drops_per_10_ml)]
    return []


def layer_recipe(
    layer: LayerFacts, regions: Sequence[RegionFacts], book: MixBook, ground: Ground
) -> LayerRecipe | None:
    """What goes on the panel: the layer's mixes over their shares, with its extra solvent in each of them.

    ``solvent_pct`` is the extra solvent's share of the wet volume once it is in (50 doubles the volume), so a layer
    "half solvent" is half solvent in every region. None when the layer names no mix that holds anything.
    """
    solvent = book.solvents.get(layer.thinner_id or 0, DEFAULT_SOLVENT)
    mixes = []
    for region in regions:
        mix = book.mixes.get(region.mix_id)
        if mix is None or mix.recipe is None:
            continue
        name = region.region or mix.label
        thinned = _thinned(mix.recipe, layer.solvent_pct / 100.0, solvent)
        mixes.append(replace(thinned, name=name, area_share=region.area_share))
    return LayerRecipe(layer.wet_thickness_um, ground, tuple(mixes)) if mixes else None


def recipe_once(content: Hashable, make: Callable[[], LayerRecipe | None]) -> LayerRecipe | None:
    """What ``make`` gives, made once for a `layer_content`."""
    found = _RECIPES.get(content)
    if found is None:
        found = make()
        if found is not None:
            _RECIPES.keep({content: found})
    return found


def _thinned(recipe: MixRecipe, share: float, solvent: str) -> MixRecipe:
    if share <= 0:
        return recipe
    volume = sum(paint.parts for paint in recipe.paints) + sum(part.parts for part in recipe.additions)
    extra = Addition(AdditionKind.SOLVENT, volume * share / (1.0 - share), solvent=solvent)
    return replace(recipe, additions=(*recipe.additions, extra))


def ground_of(position: int, ground_kind: str, ground_surface: str) -> Ground:
    """What the layer at ``position`` (0 is the lowest of the stack) lies on.

    A bare or a sealed ground takes no oil out of the paint, and neither does a glossy one; above the first layer
    the ground is paint.
    """
    if position > 0:
        return Ground.PAINT
    if ground_kind == "none" or ground_surface in ("sealed", "gloss"):
        return Ground.SEALED
    return Ground(ground_kind)


def layer_content(layer: LayerFacts, regions: Sequence[RegionFacts], book: MixBook, ground: Ground) -> Hashable:
    """What `layer_recipe` would be made of: equal contents give equal recipes."""
    mixes = tuple(
        (book.mixes[region.mix_id].content, region.region, region.area_share)
        for region in regions
        if region.mix_id in book.mixes
    )
    solvent = book.solvents.get(layer.thinner_id or 0, DEFAULT_SOLVENT) if layer.solvent_pct > 0 else ""
    return one_content((layer.wet_thickness_um, layer.solvent_pct, solvent, ground, mixes))


# Freezing


def layer_to_json(recipe: LayerRecipe) -> dict[str, Any]:
    """The recipe as plain JSON, for keeping with a painted layer; `layer_from_json` is its inverse."""
    return {
        "wet_thickness_um": recipe.wet_thickness_um,
        "ground": recipe.ground.value,
        "mixes": [_bare(asdict(mix)) for mix in recipe.mixes],
    }


def layer_from_json(frozen: Mapping[str, Any]) -> LayerRecipe:
    """The recipe that `layer_to_json` wrote. Raises KeyError or ValueError for anything else."""
    return LayerRecipe(
        frozen["wet_thickness_um"], Ground(frozen["ground"]), tuple(_mix_from_json(mix) for mix in frozen["mixes"])
    )


def _bare(value: Any) -> Any:
    """Without the fields that are None: a kept recipe reads like the call's JSON."""
    if isinstance(value, dict):
        return {key: _bare(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_bare(item) for item in value]
    return value.value if isinstance(value, AdditionKind) else value


def _mix_from_json(frozen: Mapping[str, Any]) -> MixRecipe:
    paints = tuple(
        PaintInMix(**{**paint, "pigments": tuple(PigmentShare(**pigment) for pigment in paint["pigments"])})
        for paint in frozen["paints"]
    )
    additions = tuple(Addition(**{**part, "kind": AdditionKind(part["kind"])}) for part in frozen["additions"])
    return MixRecipe(frozen["name"], frozen["area_share"], paints, additions)
