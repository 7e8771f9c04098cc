"""Oils and mediums on the shelf: recipes by parts of volume."""

from typing import Annotated, Any

from pydantic import AfterValidator, Field, StringConstraints, field_validator
from sqlalchemy import select
from sqlmodel import Session, col

from server.science.errors import InputError
from server.science.reference import oil, oils, solvent, solvents
from server.services import records
from server.services.access import Actor, allow
from server.services.fields import Command, Notes, Parts, Text120, Version
from server.store.tables import Medium, MediumPart

MAX_PARTS = 12
# What is in a medium besides oils and thinners; the words are the painter's.
OTHER_MATERIALS = {
    "alkyd_medium": "alkyd gel medium",
    "wax": "wax",
    "inert": "chalk or another inert filler",
    "soft_resin": "soft resin (dammar, mastic)",
}
# The share of an alkyd medium's volume that stays; from memory, and the painter's own figure replaces it.
USUAL_ALKYD_SOLIDS_PCT = 50.0


def material_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Everything a medium may hold, by heading: (value, words)."""
    return [
        ("Oils", [(f"oil:{row.name}", row.label) for row in oils()]),
        ("Thinners", [(f"solvent:{row.name}", row.label) for row in solvents()]),
        ("Others", list(OTHER_MATERIALS.items())),
    ]


def known_material(text: str) -> str:
    """``text`` when it names something a medium may hold; raises ValueError in plain words."""
    kind, _, name = text.partition(":")
    try:
        if kind == "oil":
            return f"oil:{oil(name).name}"
        if kind == "solvent":
            return f"solvent:{solvent(name).name}"
    except InputError:
        raise ValueError("Choose one of the list.") from None
    if text not in OTHER_MATERIALS:
        raise ValueError("Choose one of the list.")
    return text


Material = Annotated[str, StringConstraints(min_length=1, max_length=64), AfterValidator(known_material)]
NonVolatilePct = Annotated[float, Field(gt=0, le=100)]


class MediumPartRow(Command):
    """``material``: "oil:linseed", "solvent:gum_turpentine", "alkyd_medium", "wax", "inert" or "soft_resin".

    ``non_volatile_pct``: how much of an alkyd medium's volume stays in the film; usual when left open.
    """

    material: Material
    parts: Parts
    non_volatile_pct: NonVolatilePct | None = None


class MediumCreate(Command):
    label: Text120
    parts: Annotated[tuple[MediumPartRow, ...], Field(min_length=1, max_length=MAX_PARTS)]
    notes: Notes = ""

    @field_validator("parts")
    @classmethod
    def _filled_in(cls, rows: tuple[MediumPartRow, ...]) -> tuple[MediumPartRow, ...]:
        for number, row in enumerate(rows, start=1):
            if row.material != "alkyd_medium" and row.non_volatile_pct is not None:
                raise ValueError(f"Line {number}: only an alkyd medium has a share that stays. Leave it empty.")
        return tuple(
            row.model_copy(update={"non_volatile_pct": USUAL_ALKYD_SOLIDS_PCT})
            if row.material == "alkyd_medium" and row.non_volatile_pct is None
            else row
            for row in rows
        )


class MediumUpdate(MediumCreate):
    version: Version


def create(session: Session, actor: Actor, command: MediumCreate) -> Medium:
    """Put an oil or a medium on the shelf."""
    allow(actor, "create", None, Medium)
    medium = Medium(studio_id=actor.studio_id, label=command.label, notes=command.notes)
    session.add(medium)
    session.flush()
    session.add_all(_rows(medium, command))
    session.flush()
    return medium


def update(session: Session, actor: Actor, uid: str, command: MediumUpdate) -> Medium:
    """Change a medium. Raises ``NotFound``, ``Conflict``, ``Refused`` for an archived one."""
    medium = records.find(session, actor, Medium, uid, "update")
    records.refuse_archived(medium, "this medium")
    records.check_version(medium, command, public(session, medium), "this medium")
    records.change(medium, {"label": command.label, "notes": command.notes})
    if records.replace_rows(session, parts_of(session, medium), _rows(medium, command)):
        records.mark_changed(session, medium)
    session.flush()
    return medium


def public(session: Session, medium: Medium) -> MediumUpdate:
    """The medium as the command that would leave it as it is: what an edit form starts from."""
    rows = tuple(
        MediumPartRow.model_construct(
            material=material_of(row),
            parts=row.parts,
            non_volatile_pct=None if row.non_volatile is None else row.non_volatile * 100,
        )
        for row in parts_of(session, medium)
    )
    return MediumUpdate.model_construct(label=medium.label, parts=rows, notes=medium.notes, version=medium.version)


def parts_of(session: Session, medium: Medium) -> list[MediumPart]:
    """The rows of a medium's parts in their order."""
    query = select(MediumPart).where(col(MediumPart.medium_id) == medium.id).order_by(col(MediumPart.position))
    return list(session.scalars(query))


def material_of(row: MediumPart) -> str:
    """A stored part as the material of a form's row."""
    if row.kind in ("oil", "solvent"):
        return f"{row.kind}:{row.oil if row.kind == 'oil' else row.solvent}"
    return row.kind


def archive(session: Session, actor: Actor, uid: str) -> Medium:
    return records.archive(session, actor, Medium, uid)


def restore(session: Session, actor: Actor, uid: str) -> Medium:
    return records.restore(session, actor, Medium, uid)


def get(session: Session, actor: Actor, uid: str) -> Medium:
    return records.find(session, actor, Medium, uid)


def all_open(session: Session, actor: Actor) -> list[Medium]:
    return records.find_all(session, actor, Medium)


def all_archived(session: Session, actor: Actor) -> list[Medium]:
    return records.find_all(session, actor, Medium, archived=True)


def _rows(medium: Medium, command: MediumCreate) -> list[MediumPart]:
    assert medium.id is not None
    return [MediumPart(medium_id=medium.id, position=n, **_columns(row)) for n, row in enumerate(command.parts)]


def _columns(row: MediumPartRow) -> dict[str, Any]:
    kind, _, name = row.material.partition(":")
    stays = None if row.non_volatile_pct is None else round(row.non_volatile_pct, 6) / 100
    return {
        "kind": kind,
        "oil": name if kind == "oil" else None,
        "solvent": name if kind == "solvent" else None,
        "parts": row.parts,
        "non_volatile": stays,
    }
