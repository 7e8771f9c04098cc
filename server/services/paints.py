"""Tubes of paint on the shelf, under the painter's own labels, with the pigments in them."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, Field, StringConstraints, ValidationInfo, field_validator
from sqlalchemy import select
from sqlmodel import Session, col

from server.science.errors import InputError
from server.science.reference import oil
from server.services import pigment_names, records
from server.services.access import Actor, allow
from server.services.errors import Invalid
from server.services.fields import (
    Command,
    Instant,
    Millilitres,
    Notes,
    PercentShare,
    Text120,
    Version,
    one_line,
    shares_add_up,
)
from server.services.tube_use import left_now, told_alike
from server.services.unit import moment
from server.store.tables import Paint, PaintPigment

MAX_PIGMENTS = 12
CLOCKS_DIFFER = timedelta(minutes=5)
TOO_MUCH = "There cannot be more left than the tube holds."


def known_oil(name: str) -> str:
    """``name`` when the table has that oil; raises ValueError in plain words."""
    try:
        return oil(name).name
    except InputError:
        raise ValueError("Choose one of the oils in the list.") from None


def known_pigment(text: str) -> str:
    """The unambiguous key of the pigment that was written; raises ValueError in plain words."""
    return pigment_names.read(one_line(text)).key


Oil = Annotated[str, StringConstraints(min_length=1, max_length=32), AfterValidator(known_oil)]
PigmentText = Annotated[str, StringConstraints(min_length=1, max_length=120), AfterValidator(known_pigment)]
# Wide limits against slips of the pen (our choice): from the heaviest to the thirstiest pigment there is some way.
GramsOfOil = Annotated[float, Field(ge=2, le=500)]
PigmentDensity = Annotated[float, Field(ge=0.5, le=15)]


class PigmentRow(Command):
    """One pigment of a tube. ``share_pct`` of the pigment volume; one row may leave it open and takes the rest."""

    pigment: PigmentText
    share_pct: PercentShare | None = None


class PaintCreate(Command):
    """A tube. The last three figures replace the table's for this very paint; None: not known.

    ``left_ml`` was left at ``left_at``, None: now. What is painted after that is taken off when somebody looks.
    """

    label: Text120
    oil: Oil = "linseed"
    pigments: Annotated[tuple[PigmentRow, ...], Field(min_length=1, max_length=MAX_PIGMENTS)]
    tube_ml: Annotated[float, Field(gt=0, le=100_000)] | None = None
    left_ml: Millilitres | None = None
    left_at: Instant | None = None
    paint_oil_g_per_100g: GramsOfOil | None = None
    rub_out_oa_g_per_100g: GramsOfOil | None = None
    density_g_cm3: PigmentDensity | None = None
    notes: Notes = ""

    @field_validator("pigments")
    @classmethod
    def _whole(cls, rows: tuple[PigmentRow, ...]) -> tuple[PigmentRow, ...]:
        return shared_out(rows)

    @field_validator("left_ml")
    @classmethod
    def _fits(cls, left_ml: float | None, info: ValidationInfo) -> float | None:
        tube_ml = info.data.get("tube_ml")
        if left_ml is not None and tube_ml is not None and left_ml > tube_ml:
            raise ValueError(TOO_MUCH)
        return left_ml


class PaintUpdate(PaintCreate):
    version: Version


P = TypeVar("P", bound=PaintCreate)


def shared_out(rows: Sequence[PigmentRow]) -> tuple[PigmentRow, ...]:
    """The rows with the open share filled in. Raises ValueError unless they make a whole of different pigments."""
    names = [row.pigment for row in rows]
    twice = {name for name in names if names.count(name) > 1}
    if twice:
        raise ValueError(f"{', '.join(sorted(twice))} is listed twice. Put it in one line with its whole share.")
    given = [row.share_pct for row in rows if row.share_pct is not None]
    missing = len(rows) - len(given)
    rest = 100.0 - sum(given)
    if missing > 1:
        raise ValueError("Give each pigment its share. One of them may be left empty: it takes the rest.")
    if missing and rest <= 0:
        raise ValueError(f"The shares already make {sum(given):.4g} %, so that nothing is left for the empty one.")
    if not missing:
        shares_add_up(given)
    return tuple(row if row.share_pct is not None else row.model_copy(update={"share_pct": rest}) for row in rows)


def create(session: Session, actor: Actor, command: PaintCreate) -> Paint:
    """Put a tube on the shelf."""
    allow(actor, "create", None, Paint)
    paint = Paint(studio_id=actor.studio_id, **_values(_said(session, command)))
    session.add(paint)
    session.flush()
    session.add_all(_rows(paint, command))
    session.flush()
    return paint


def update(session: Session, actor: Actor, uid: str, command: PaintUpdate) -> Paint:
    """Change a tube. Raises ``NotFound``, ``Conflict``, ``Refused`` for an archived one."""
    paint = records.find(session, actor, Paint, uid, "update")
    records.refuse_archived(paint, "this paint")
    command = _said(session, _as_it_stands(session, paint, command))
    records.check_version(paint, command, public(session, paint), "this paint")
    records.change(paint, _values(command))
    if records.replace_rows(session, pigments_of(session, paint), _rows(paint, command)):
        records.mark_changed(session, paint)
    session.flush()
    return paint


def say_left(session: Session, paint: Paint, left_ml: float) -> None:
    """Correct what is left of a tube, from now on. Raises ``Invalid`` at ``left_ml`` for more than it holds."""
    if paint.tube_ml is not None and left_ml > paint.tube_ml:
        raise Invalid.at("left_ml", TOO_MUCH)
    if not _is_left(session, paint, left_ml):
        records.change(paint, {"left_ml": left_ml, "left_at": moment(session)})
        session.flush()


def left_of(session: Session, paint: Paint) -> float | None:
    """What is left of a tube now, in millilitres: what was said less what was painted since; None: nobody knows."""
    return left_now(session, paint.studio_id, (paint,)).get(paint.uid)


def _is_left(session: Session, paint: Paint, left_ml: float) -> bool:
    """Whether it tells no more than what is left by the record."""
    left = left_of(session, paint)
    return left is not None and told_alike(left, left_ml)


def _as_it_stands(session: Session, paint: Paint, command: PaintUpdate) -> PaintUpdate:
    """The command, but for an amount that is no correction: somebody sent back what was shown to them."""
    if command.left_at is not None or command.left_ml is None or not _is_left(session, paint, command.left_ml):
        return command
    return command.model_copy(update={"left_ml": paint.left_ml, "left_at": paint.left_at})


def _said(session: Session, command: P) -> P:
    """The command with the moment at which its amount was so. Raises ``Invalid`` at ``left_at`` for one to come."""
    if command.left_ml is None:
        return command.model_copy(update={"left_at": None})
    now = moment(session)
    if command.left_at is not None and command.left_at > now + CLOCKS_DIFFER:
        raise Invalid.at("left_at", "This moment is still to come.")
    return command if command.left_at is not None else command.model_copy(update={"left_at": now})


def public(session: Session, paint: Paint) -> PaintUpdate:
    """The paint as the command that would leave it as it is: what an edit form starts from."""
    values: dict[str, Any] = {name: getattr(paint, name) for name in PaintUpdate.model_fields if hasattr(paint, name)}
    rows = tuple(
        PigmentRow.model_construct(pigment=key_of(row.ci_name, row.variant), share_pct=row.share * 100)
        for row in pigments_of(session, paint)
    )
    return PaintUpdate.model_construct(**values, pigments=rows)


def pigments_of(session: Session, paint: Paint) -> list[PaintPigment]:
    """The rows of a paint's pigments in their order."""
    query = select(PaintPigment).where(col(PaintPigment.paint_id) == paint.id).order_by(col(PaintPigment.position))
    return list(session.scalars(query))


def key_of(ci_name: str, variant: str | None) -> str:
    return f"{ci_name}/{variant}" if variant else ci_name


def archive(session: Session, actor: Actor, uid: str) -> Paint:
    return records.archive(session, actor, Paint, uid)


def restore(session: Session, actor: Actor, uid: str) -> Paint:
    return records.restore(session, actor, Paint, uid)


def get(session: Session, actor: Actor, uid: str) -> Paint:
    return records.find(session, actor, Paint, uid)


def all_open(session: Session, actor: Actor) -> list[Paint]:
    return records.find_all(session, actor, Paint)


def all_archived(session: Session, actor: Actor) -> list[Paint]:
    return records.find_all(session, actor, Paint, archived=True)


def _values(command: PaintCreate) -> dict[str, Any]:
    return command.model_dump(exclude={"pigments", "version"})


def _rows(paint: Paint, command: PaintCreate) -> list[PaintPigment]:
    assert paint.id is not None
    rows = []
    for position, row in enumerate(command.pigments):
        pigment = pigment_names.read(row.pigment)
        # Rounded, so that a form sent back unchanged is no change.
        share = round(row.share_pct or 0.0, 6) / 100
        rows.append(
            PaintPigment(
                paint_id=paint.id, position=position, ci_name=pigment.ci_name, variant=pigment.variant, share=share
            )
        )
    return rows
