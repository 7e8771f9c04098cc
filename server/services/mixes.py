"""Mixes by parts, to be used again and again: tube paint, mediums and thinners, a drier, clove oil."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, StringConstraints, field_validator
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor, allow
from server.services.errors import FieldError, Invalid
from server.services.fields import Command, HexColour, Notes, Parts, Text120, Version
from server.store.tables import Medium, Mix, MixPart, Paint, Thinner

MAX_PARTS = 30
Metal = Literal["Pb", "Mn", "Co"]
METAL_WORDS = {"Pb": "lead drier", "Mn": "manganese drier", "Co": "cobalt drier"}
# What a part may be, by the word before the colon; each has its own table.
OnShelf = Paint | Medium | Thinner
KINDS: dict[str, type[Paint] | type[Medium] | type[Thinner]] = {"paint": Paint, "medium": Medium, "thinner": Thinner}

_ITEM = re.compile(r"(paint|medium|thinner):[A-Za-z0-9_-]{1,32}")


def known_item(text: str) -> str:
    """``text`` when it may name something on a shelf; raises ValueError in plain words."""
    if not _ITEM.fullmatch(text):
        raise ValueError("Choose something from the shelf." if not text else "Choose one of the list.")
    return text


Item = Annotated[str, StringConstraints(max_length=64), AfterValidator(known_item)]
# Far more metal or clove oil than anybody would use; limits of ours against slips of the pen.
MetalPct = Annotated[float, Field(gt=0, le=5)]
CloveDrops = Annotated[float, Field(gt=0, le=50)]


class PartRow(Command):
    """``item``: "paint:", "medium:" or "thinner:" with the uid of what is on the shelf; ``parts`` by volume."""

    item: Item
    parts: Parts


class DrierRow(Command):
    """``percent_on_oil``: per cent of metal on the whole oil of the mix."""

    metal: Metal = "Co"
    percent_on_oil: MetalPct


class MixContent(Command):
    """What a mix is made of."""

    parts: Annotated[tuple[PartRow, ...], Field(min_length=1, max_length=MAX_PARTS)]
    driers: Annotated[tuple[DrierRow, ...], Field(max_length=3)] = ()
    clove_drops_per_10_ml: CloveDrops | None = None

    @field_validator("driers")
    @classmethod
    def _each_once(cls, rows: tuple[DrierRow, ...]) -> tuple[DrierRow, ...]:
        if len({row.metal for row in rows}) < len(rows):
            raise ValueError("The same metal is given twice. Put it in one line.")
        return rows


class MixCreate(MixContent):
    """``swatch``: the colour as the painter sees it; None: worked out from the pigments."""

    label: Text120
    swatch: HexColour | None = None
    notes: Notes = ""


class MixUpdate(MixCreate):
    version: Version


def create(session: Session, actor: Actor, command: MixCreate) -> Mix:
    """Keep a mix. Raises ``Invalid`` for a part that is not on the shelf."""
    allow(actor, "create", None, Mix)
    columns = part_columns(session, actor, command, ())
    mix = Mix(studio_id=actor.studio_id, **_values(command))
    session.add(mix)
    session.flush()
    session.add_all(_rows(mix, columns))
    session.flush()
    return mix


def of_tube(session: Session, actor: Actor, paint_uid: str) -> Mix:
    """The mix that is one paint straight from the tube: the one that is kept already, or a new one under its label.

    Raises ``Invalid`` at ``paint_uid`` for what is not on the shelf.
    """
    paint = _on_shelf(session, actor, "paint", paint_uid)
    if paint is None or paint.archived_at is not None:
        raise Invalid.at("paint_uid", "This tube is no longer on the shelf. Choose another.")
    others = select(col(MixPart.mix_id)).where(col(MixPart.paint_id).is_distinct_from(paint.id))
    alone = select(col(MixPart.mix_id)).where(col(MixPart.paint_id) == paint.id)
    kept = select(Mix).where(
        col(Mix.studio_id) == actor.studio_id,
        col(Mix.archived_at).is_(None),
        col(Mix.id).in_(alone),
        col(Mix.id).not_in(others),
    )
    found = session.scalars(kept.order_by(col(Mix.id)).limit(1)).first()
    if found is not None:
        return found
    row = PartRow(item=f"paint:{paint_uid}", parts=1)
    return create(session, actor, MixCreate(label=paint.label, parts=(row,)))


def update(session: Session, actor: Actor, uid: str, command: MixUpdate) -> Mix:
    """Change a mix. Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused`` for an archived one."""
    mix = records.find(session, actor, Mix, uid, "update")
    records.refuse_archived(mix, "this mix")
    old = parts_of(session, mix)
    columns = part_columns(session, actor, command, old)
    records.check_version(mix, command, public(session, mix), "this mix")
    records.change(mix, _values(command))
    if records.replace_rows(session, old, _rows(mix, columns)):
        records.mark_changed(session, mix)
    session.flush()
    return mix


def public(session: Session, mix: Mix) -> MixUpdate:
    """The mix as the command that would leave it as it is: what an edit form starts from."""
    rows = parts_of(session, mix)
    named = _named(session, rows)
    parts = tuple(
        PartRow(item=f"{row.kind}:{named[row.kind, _target(row)].uid}", parts=row.parts or 0.0)
        for row in rows
        if row.kind in KINDS
    )
    driers = tuple(
        DrierRow.model_validate({"metal": row.metal, "percent_on_oil": row.percent_on_oil})
        for row in rows
        if row.kind == "drier"
    )
    clove = next((row.drops_per_10_ml for row in rows if row.kind == "clove_oil"), None)
    return MixUpdate.model_construct(
        label=mix.label,
        parts=parts,
        driers=driers,
        clove_drops_per_10_ml=clove,
        swatch=mix.swatch,
        notes=mix.notes,
        version=mix.version,
    )


def parts_of(session: Session, mix: Mix) -> list[MixPart]:
    """The rows of a mix's parts in their order."""
    return list(session.scalars(select(MixPart).where(col(MixPart.mix_id) == mix.id).order_by(col(MixPart.position))))


def archive(session: Session, actor: Actor, uid: str) -> Mix:
    return records.archive(session, actor, Mix, uid)


def restore(session: Session, actor: Actor, uid: str) -> Mix:
    return records.restore(session, actor, Mix, uid)


def get(session: Session, actor: Actor, uid: str) -> Mix:
    return records.find(session, actor, Mix, uid)


def all_open(session: Session, actor: Actor) -> list[Mix]:
    return records.find_all(session, actor, Mix)


def all_archived(session: Session, actor: Actor) -> list[Mix]:
    return records.find_all(session, actor, Mix, archived=True)


def part_columns(session: Session, actor: Actor, content: MixContent, old: Sequence[MixPart]) -> list[dict[str, Any]]:
    """Column values of the parts of a mix, kept or only tried out.

    Raises ``Invalid`` at ``parts.N.item`` for what is not on the shelf. What is archived stays in a mix that holds it
    already (``old``), and comes into no other.
    """
    held = {(row.kind, _target(row)) for row in old if row.kind in KINDS}
    errors: list[FieldError] = []
    columns: list[dict[str, Any]] = []
    seen: dict[str, int] = {}
    for number, row in enumerate(content.parts):
        kind, _, uid = row.item.partition(":")
        found = _on_shelf(session, actor, kind, uid)
        if found is None or (found.archived_at is not None and (kind, found.id) not in held):
            errors.append(FieldError(f"parts.{number}.item", "This is no longer on the shelf. Choose another."))
            continue
        if row.item in seen:
            where = seen[row.item] + 1
            errors.append(FieldError(f"parts.{number}.item", f"This is in line {where} already. Put them together."))
        seen.setdefault(row.item, number)
        columns.append({"kind": kind, f"{kind}_id": found.id, "parts": row.parts})
    if errors:
        raise Invalid(errors)
    columns += [{"kind": "drier", "metal": row.metal, "percent_on_oil": row.percent_on_oil} for row in content.driers]
    if content.clove_drops_per_10_ml is not None:
        columns.append({"kind": "clove_oil", "drops_per_10_ml": content.clove_drops_per_10_ml})
    return columns


@dataclass(frozen=True, slots=True)
class PartShown:
    """One part of a mix in words: "9" parts and "White", "0.3 % on the oil" and "cobalt drier"."""

    amount: str
    label: str
    is_archived: bool = False


def described(session: Session, mixes: Sequence[Mix]) -> dict[int, list[PartShown]]:
    """The parts of several mixes in words, by the mix's id, in at most four queries."""
    ids = [mix.id for mix in mixes]
    query = select(MixPart).where(col(MixPart.mix_id).in_(ids)).order_by(col(MixPart.mix_id), col(MixPart.position))
    rows = list(session.scalars(query))
    named = _named(session, rows)
    found: dict[int, list[PartShown]] = {mix_id: [] for mix_id in ids if mix_id is not None}
    for row in rows:
        if row.kind == "drier":
            shown = PartShown(f"{row.percent_on_oil:g} % on the oil", METAL_WORDS.get(row.metal or "", "drier"))
        elif row.kind == "clove_oil":
            shown = PartShown(f"{row.drops_per_10_ml:g} drops to 10 ml", "clove oil")
        else:
            record = named[row.kind, _target(row)]
            shown = PartShown(f"{row.parts:g}", record.label, record.archived_at is not None)
        found[row.mix_id].append(shown)
    return found


def held_by(session: Session, mix: Mix) -> list[tuple[str, OnShelf]]:
    """What of the shelf a mix holds, each with its kind."""
    return [(kind, record) for (kind, _), record in _named(session, parts_of(session, mix)).items()]


def labels_of(session: Session, parts: Sequence[MixPart]) -> list[str]:
    """What each part is called on the shelf, in the order given; one query a kind."""
    names = {key: found.label for key, found in _named(session, parts).items()}
    return [names.get((row.kind, _target(row))) or _other_words(row) for row in parts]


def _other_words(row: MixPart) -> str:
    if row.kind == "drier":
        return f"{METAL_WORDS.get(row.metal or '', 'drier')}, {row.percent_on_oil:g} % metal on the oil"
    return f"clove oil, {row.drops_per_10_ml:g} drops to 10 ml"


def _on_shelf(session: Session, actor: Actor, kind: str, uid: str) -> OnShelf | None:
    table: Any = KINDS[kind]
    found: OnShelf | None = session.scalars(
        select(table).where(table.uid == uid, table.studio_id == actor.studio_id)
    ).first()
    return found


def _target(row: MixPart) -> int | None:
    return {"paint": row.paint_id, "medium": row.medium_id, "thinner": row.thinner_id}.get(row.kind)


def _named(session: Session, rows: Sequence[MixPart]) -> dict[tuple[str, int | None], OnShelf]:
    """Everything on the shelf that the parts name, one query a kind."""
    found: dict[tuple[str, int | None], OnShelf] = {}
    for kind, kind_table in KINDS.items():
        table: Any = kind_table
        ids = {_target(row) for row in rows if row.kind == kind}
        if ids:
            found |= {(kind, record.id): record for record in session.scalars(select(table).where(table.id.in_(ids)))}
    return found


def _values(command: MixCreate) -> dict[str, Any]:
    return {"label": command.label, "swatch": command.swatch, "notes": command.notes}


def _rows(mix: Mix, columns: Sequence[dict[str, Any]]) -> list[MixPart]:
    assert mix.id is not None
    return [MixPart(mix_id=mix.id, position=position, **values) for position, values in enumerate(columns)]
