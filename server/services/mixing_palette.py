"""The palette as the search and the ways out take it: parts of what is on the shelf, with grams and drops beside."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session

from server.science.composition import compose
from server.science.errors import InputError
from server.science.recipe import Addition, AdditionKind, Ground, MixRecipe
from server.science.reference import CHALK, find_pigment, solvent, value
from server.science.search import Ingredient, Palette, neat
from server.science.soundness.remedies import drops
from server.services import mediums, mixes, paints, thinners
from server.services.access import Actor
from server.services.mixes import MixContent, PartRow
from server.services.recipes import DEFAULT_SOLVENT, MixBook
from server.store.tables import MixPart

ANY_UM = 50.0  # density does not depend on thickness


@dataclass(frozen=True, slots=True)
class Stuff:
    """One thing on the shelf. ``drips``: it is measured out in drops, as oils, mediums and thinners are."""

    ingredient: Ingredient
    label: str
    density_g_cm3: float
    drips: bool


@dataclass(frozen=True, slots=True)
class Bench:
    """The palette with the shelf around it. ``ml_per_part`` of the quantity that is mixed."""

    palette: Palette
    known: Mapping[str, Stuff]
    ml_per_part: float
    drops_per_ml: float


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of one thing. ``drops`` is None for what is not measured so."""

    parts: float
    ml: float
    g: float
    drops: int | None


@dataclass(frozen=True, slots=True)
class Line:
    """One thing before and after a change; ``more`` is how much is added (or taken away, below zero)."""

    label: str
    before: Amount
    after: Amount
    more: Amount

    @property
    def is_changed(self) -> bool:
        return self.before.parts != self.after.parts


def bench_of(
    session: Session, actor: Actor, content: MixContent, book: MixBook, made: tuple[Sequence[MixPart], float]
) -> Bench:
    """The bench of a mix. ``made``: the rows of its parts, and how thick it goes on (µm wet).

    The amounts are set later, with ``of_size``.
    """
    rows, wet_um = made
    known = {stuff.ingredient.key: stuff for stuff in _open_shelf(session, actor, book)}
    labels = mixes.labels_of(session, rows)
    parts = []
    for asked, row, label in zip(content.parts, rows, labels, strict=False):
        if asked.item not in known:  # archived since, but in a mix that holds it
            known[asked.item] = _stuff(asked.item, getattr(row, f"{row.kind}_id"), label, book)
        parts.append((known[asked.item].ingredient, asked.parts))
    return Bench(Palette(tuple(parts), wet_um, besides_of(content)), known, 1.0, 20.0)


def besides_of(content: MixContent) -> tuple[Addition, ...]:
    """What a mix holds that is counted without parts."""
    driers = [
        Addition(AdditionKind.DRIER, metal=row.metal, percent_on_oil=row.percent_on_oil) for row in content.driers
    ]
    drops = content.clove_drops_per_10_ml
    clove = [Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=drops)] if drops is not None else []
    return (*driers, *clove)


def content_of(palette: Palette) -> dict[str, Any]:
    """The palette as the fields of a ``MixContent``."""
    by_kind = {kind: [item for item in palette.besides if item.kind is kind] for kind in AdditionKind}
    clove = by_kind[AdditionKind.CLOVE_OIL]
    return {
        "parts": tuple(PartRow(item=item.key, parts=parts) for item, parts in palette.parts),
        "driers": tuple(
            mixes.DrierRow.model_validate({"metal": item.metal, "percent_on_oil": item.percent_on_oil})
            for item in by_kind[AdditionKind.DRIER]
        ),
        "clove_drops_per_10_ml": clove[0].drops_per_10_ml if clove else None,
    }


def _open_shelf(session: Session, actor: Actor, book: MixBook) -> Iterable[Stuff]:
    records: tuple[tuple[str, Sequence[Any]], ...] = (
        ("paint", paints.all_open(session, actor)),
        ("medium", mediums.all_open(session, actor)),
        ("thinner", thinners.all_open(session, actor)),
    )
    for kind, found in records:
        for record in found:
            stuff = _stuff(f"{kind}:{record.uid}", record.id, record.label, book)
            if stuff.density_g_cm3 > 0.0:
                yield stuff


def _stuff(item: str, record_id: int, label: str, book: MixBook) -> Stuff:
    kind, shelf = item.partition(":")[0], book.shelf
    if kind == "paint":
        ingredient = Ingredient(item, paint=shelf.paints[record_id])
    elif kind == "medium":
        ingredient = Ingredient(item, additions=shelf.mediums.get(record_id, ()))
    else:
        name = shelf.solvents.get(record_id, DEFAULT_SOLVENT)
        ingredient = Ingredient(item, additions=(Addition(AdditionKind.SOLVENT, 1.0, solvent=name),))
    return Stuff(ingredient, label, density_g_cm3(ingredient), kind != "paint")


def density_g_cm3(ingredient: Ingredient) -> float:
    """Grams of a millilitre; 0 for what cannot be worked out."""
    if ingredient.paint is None:
        return sum(part.parts * _density_of(part) for part in ingredient.additions)
    try:
        return compose(MixRecipe("", 1.0, (ingredient.paint,)), ANY_UM, Ground.SEALED).density_g_cm3
    except InputError:
        return 0.0


def _density_of(part: Addition) -> float:
    match part.kind:
        case AdditionKind.SOLVENT:
            return solvent(part.solvent or DEFAULT_SOLVENT).density_g_cm3
        case AdditionKind.WAX:
            return value("wax_density_g_cm3")
        case AdditionKind.SOFT_RESIN:
            return value("soft_resin_density_g_cm3")
        case AdditionKind.INERT:
            return find_pigment(CHALK).density_g_cm3
    return value("oil_density_g_cm3")


def lines(after: Palette, bench: Bench) -> tuple[Line, ...]:
    """What is on the palette now beside what would be, thing by thing; in their order, new ones last."""
    before = bench.palette
    keys = dict.fromkeys([item.key for item, _ in (*before.parts, *after.parts)])
    found = []
    for key in keys:
        stuff = bench.known[key]
        was, becomes = before.parts_of(stuff.ingredient), after.parts_of(stuff.ingredient)
        old, more = _amount(was, stuff, bench), _amount(becomes - was, stuff, bench)
        new = _amount(becomes, stuff, bench)
        if becomes > 0.0 and old.drops is not None and more.drops is not None:
            new = replace(new, drops=max(1, old.drops + more.drops))  # what was there and what is put to it
        found.append(Line(stuff.label, old, new, more))
    return tuple(found)


def _amount(parts: float, stuff: Stuff, bench: Bench) -> Amount:
    """Drops are counted as in the words of the rules: so many that they hold the amount."""
    ml = parts * bench.ml_per_part
    whole = drops(abs(ml), bench.drops_per_ml) * (1 if ml >= 0.0 else -1)
    return Amount(neat(parts), ml, ml * stuff.density_g_cm3, whole if stuff.drips else None)
