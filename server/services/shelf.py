"""The whole shelf as it is looked at, and the starter shelf for a studio that has nothing on it yet."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlmodel import Session, col

from server.formats.swatch import pigments_swatch
from server.science.errors import InputError
from server.science.recipe import PigmentShare
from server.science.reference import find_pigment, oil, solvent
from server.services import hazards, mediums, paints, pigment_names, thinners
from server.services.access import Actor, allow
from server.services.mediums import OTHER_MATERIALS, MediumCreate
from server.services.paints import PaintCreate
from server.services.thinners import ThinnerCreate
from server.services.tube_use import left_now
from server.store.tables import Medium, MediumPart, Paint, PaintPigment, Thinner

# Painter's words for the drying classes of the pigment table, slowest last.
DRYING_WORDS = {
    "strong_accelerator": "dries very fast",
    "accelerator": "dries fast",
    "neutral": "dries as its oil does",
    "retarder": "dries slowly",
    "strong_retarder": "dries very slowly",
}
_CLASSES = tuple(DRYING_WORDS)
LOW_SHARE = 0.2  # of the tube: below it the shelf says so

# Common pigments by Colour Index name, ground in linseed. The label is the pigment's own name.
STARTER_PIGMENTS = (
    *("PW1", "PW6", "PY35", "PY43", "PY42", "PR108", "PR101", "PR122", "PB29", "PB28", "PB15"),
    *("PG18", "PG23", "PBr7/raw umber", "PBr7/burnt umber", "PBr7/raw sienna", "PBr7/burnt sienna", "PBk9", "PBk11"),
)
STARTER_TUBE_ML = 40.0
STARTER_MEDIUMS = (
    ("Linseed oil", (("oil:linseed", 1.0),)),
    ("Stand oil", (("oil:stand_linseed", 1.0),)),
    ("Walnut oil", (("oil:walnut", 1.0),)),
    ("Half linseed, half spirits", (("oil:linseed", 1.0), ("solvent:odourless_mineral_spirits", 1.0))),
    ("Alkyd gel medium", (("alkyd_medium", 1.0),)),
)
STARTER_THINNERS = (
    ("Odourless mineral spirits", "odourless_mineral_spirits"),
    ("Gum turpentine", "gum_turpentine"),
)


@dataclass(frozen=True, slots=True)
class PigmentOnTube:
    """``text`` as it is written on a tube: "PW6 titanium white"; ``share_pct`` of the pigment volume."""

    text: str
    share_pct: float


@dataclass(frozen=True, slots=True)
class PaintOnShelf:
    """``left_ml`` is what is left now, ``left`` its share of the tube, 0 to 1; None where nobody knows.

    ``is_worked_out``: something was painted since the painter said how much is left.
    """

    uid: str
    label: str
    swatch: str
    oil: str
    pigments: tuple[PigmentOnTube, ...]
    tube_ml: float | None
    left_ml: float | None
    left: float | None
    is_worked_out: bool
    drying: str
    hazards: tuple[str, ...]
    own_figures: bool

    @property
    def is_low(self) -> bool:
        return self.left is not None and self.left < LOW_SHARE


@dataclass(frozen=True, slots=True)
class MediumOnShelf:
    """``stays_pct``: how much of its volume stays in the film once it has dried."""

    uid: str
    label: str
    parts: tuple[str, ...]
    stays_pct: float
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ThinnerOnShelf:
    uid: str
    label: str
    solvent: str
    hazards: tuple[str, ...] = ("solvent",)


@dataclass(frozen=True, slots=True)
class Shelf:
    """``starter_missing``: how many things the starter shelf would still add."""

    paints: tuple[PaintOnShelf, ...]
    mediums: tuple[MediumOnShelf, ...]
    thinners: tuple[ThinnerOnShelf, ...]
    starter_missing: int

    @property
    def is_empty(self) -> bool:
        return not (self.paints or self.mediums or self.thinners)

    @property
    def hazards(self) -> tuple[str, ...]:
        """Every kind of caution that something on the shelf calls for."""
        kinds = {"rags"} if self.paints else set()
        for paint in self.paints:
            kinds.update(paint.hazards)
        for medium in self.mediums:
            kinds.update(medium.hazards)
        for thinner in self.thinners:
            kinds.update(thinner.hazards)
        return hazards.in_order(kinds)


@dataclass(frozen=True, slots=True)
class _Rows:
    """What the tables hold; parts by the id of what they belong to."""

    paints: list[Paint]
    pigments: dict[int, list[PaintPigment]]
    mediums: list[Medium]
    parts: dict[int, list[MediumPart]]
    thinners: list[Thinner]


def _load(session: Session, actor: Actor, archived: bool) -> _Rows:
    pigments = select(PaintPigment).join(Paint, col(Paint.id) == col(PaintPigment.paint_id))
    parts = select(MediumPart).join(Medium, col(Medium.id) == col(MediumPart.medium_id))
    by_paint: dict[int, list[PaintPigment]] = defaultdict(list)
    for pigment in session.scalars(
        pigments.where(col(Paint.studio_id) == actor.studio_id).order_by(col(PaintPigment.position))
    ):
        by_paint[pigment.paint_id].append(pigment)
    by_medium: dict[int, list[MediumPart]] = defaultdict(list)
    for part in session.scalars(
        parts.where(col(Medium.studio_id) == actor.studio_id).order_by(col(MediumPart.position))
    ):
        by_medium[part.medium_id].append(part)
    return _Rows(
        paints.all_archived(session, actor) if archived else paints.all_open(session, actor),
        by_paint,
        mediums.all_archived(session, actor) if archived else mediums.all_open(session, actor),
        by_medium,
        thinners.all_archived(session, actor) if archived else thinners.all_open(session, actor),
    )


def read(session: Session, actor: Actor, *, archived: bool = False) -> Shelf:
    """The studio's shelf in six queries, whatever is on it; in the order of the alphabet."""
    rows = _load(session, actor, archived)
    left = left_now(session, actor.studio_id, rows.paints)
    tubes = [_paint(row, rows.pigments[row.id or 0], left.get(row.uid)) for row in rows.paints]
    bottles = [_medium(row, rows.parts[row.id or 0]) for row in rows.mediums]
    cans = [ThinnerOnShelf(row.uid, row.label, solvent_words(row.solvent)) for row in rows.thinners]
    return Shelf(
        tuple(sorted(tubes, key=lambda tube: tube.label.casefold())),
        tuple(sorted(bottles, key=lambda bottle: bottle.label.casefold())),
        tuple(sorted(cans, key=lambda can: can.label.casefold())),
        0 if archived else len(_missing(rows)),
    )


def add_starter(session: Session, actor: Actor) -> int:
    """Add what the starter shelf has and the shelf has not; returns how much. Doing it twice adds nothing."""
    allow(actor, "create", None, Paint)
    missing = _missing(_load(session, actor, archived=False))
    for command in missing:
        match command:
            case PaintCreate():
                paints.create(session, actor, command)
            case MediumCreate():
                mediums.create(session, actor, command)
            case ThinnerCreate():
                thinners.create(session, actor, command)
    return len(missing)


def oil_words(name: str) -> str:
    """The painter's words for a binder oil."""
    try:
        return oil(name).label
    except InputError:
        return name


def solvent_words(name: str) -> str:
    """The painter's words for a thinner."""
    try:
        return solvent(name).label
    except InputError:
        return name


def material_words(row: MediumPart) -> str:
    """The painter's words for one part of a medium."""
    match row.kind:
        case "oil":
            return oil_words(row.oil or "")
        case "solvent":
            return solvent_words(row.solvent or "")
    return OTHER_MATERIALS.get(row.kind, row.kind)


def _paint(row: Paint, pigments: list[PaintPigment], left_ml: float | None) -> PaintOnShelf:
    shares = [(PigmentShare(p.ci_name, p.variant, 1.0), p.share) for p in pigments]
    left = min(1.0, left_ml / row.tube_ml) if left_ml is not None and row.tube_ml else None
    return PaintOnShelf(
        uid=row.uid,
        label=row.label,
        swatch=pigments_swatch(shares),
        oil=oil_words(row.oil),
        pigments=tuple(PigmentOnTube(pigment_names.text_of(p.ci_name, p.variant), p.share * 100) for p in pigments),
        tube_ml=row.tube_ml,
        left_ml=left_ml,
        left=left,
        is_worked_out=left_ml != row.left_ml,
        drying=drying_words(pigments),
        hazards=hazards.in_order(kind for p in pigments for kind in hazards.kinds_of_pigment(p.ci_name, p.variant)),
        own_figures=any(
            x is not None for x in (row.paint_oil_g_per_100g, row.rub_out_oa_g_per_100g, row.density_g_cm3)
        ),
    )


def drying_words(pigments: Iterable[PaintPigment]) -> str:
    """How the paint dries, by its largest pigment; small shares of others are left to the calculation."""
    largest = max(pigments, key=lambda p: p.share, default=None)
    if largest is None:
        return DRYING_WORDS["neutral"]
    try:
        return DRYING_WORDS.get(find_pigment(largest.ci_name, largest.variant).drying_class, DRYING_WORDS["neutral"])
    except InputError:
        return DRYING_WORDS["neutral"]


def _medium(row: Medium, parts: list[MediumPart]) -> MediumOnShelf:
    whole = sum(part.parts for part in parts) or 1.0
    stays = sum(part.parts * _stays(part) for part in parts) / whole
    kinds = {kind for part in parts for kind in hazards.kinds_of_part(part.kind, part.oil)}
    words = tuple(
        f"{part.parts:g} {material_words(part)}" if len(parts) > 1 else material_words(part) for part in parts
    )
    return MediumOnShelf(row.uid, row.label, words, stays * 100, hazards.in_order(kinds))


def _stays(part: MediumPart) -> float:
    if part.kind == "solvent":
        return 0.0
    return part.non_volatile if part.kind == "alkyd_medium" and part.non_volatile is not None else 1.0


def _missing(rows: _Rows) -> list[PaintCreate | MediumCreate | ThinnerCreate]:
    """What of the starter shelf is not there: a paint of that one pigment, or something of that label."""
    alone = set()
    for paint in rows.paints:
        pigments = rows.pigments[paint.id or 0]
        if len(pigments) == 1:
            alone.add(paints.key_of(pigments[0].ci_name, pigments[0].variant))
    labels = {row.label.casefold() for row in rows.mediums}
    solvents = {row.solvent for row in rows.thinners}
    new: list[PaintCreate | MediumCreate | ThinnerCreate] = []
    new += [_starter_paint(key) for key in STARTER_PIGMENTS if key not in alone]
    for label, parts in STARTER_MEDIUMS:
        if label.casefold() not in labels:
            listed = [{"material": material, "parts": amount} for material, amount in parts]
            new.append(MediumCreate.model_validate({"label": label, "parts": listed}))
    new += [ThinnerCreate(label=label, solvent=name) for label, name in STARTER_THINNERS if name not in solvents]
    return new


def _starter_paint(key: str) -> PaintCreate:
    pigment = pigment_names.read(key)
    name = pigment.variant or pigment.names.split(";")[0].split("(")[0].strip()
    return PaintCreate.model_validate(
        {
            "label": name[0].upper() + name[1:],
            "oil": "linseed",
            "pigments": [{"pigment": key}],
            "tube_ml": STARTER_TUBE_ML,
            "left_ml": STARTER_TUBE_ML,
        }
    )
