"""Four stacks of ours to begin with, made from the painter's own shelf where it has what they need.

Thicknesses, medium and thinner are the customary ones of each step (common practice, no measurement): underpainting
lean and thin, each layer above a little richer, a glaze wiped to almost nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import mixes, stack_plans
from server.services.access import Actor
from server.services.mixes import MixCreate, PartRow
from server.services.stack_plans import StackCreate, StackRow
from server.store.tables import Medium, MediumPart, Paint, PaintPigment, Thinner

# What may stand for each ingredient, the first that is on the shelf: pigments by their key, oils and thinners by name.
WHITE = ("PW6", "PW1")
UMBER = ("PBr7/raw umber", "PBr7/burnt umber")
EARTH = ("PY43", "PY42", "PBr7/raw sienna", "PR102", "PR101")
BLACK = ("PBk9", "PBk11", "PBk6", "PBk7")
DEEP = ("PV19", "PR83", "PB29", "PB15:3", "PR108")
Ingredient = tuple[str, tuple[str, ...], float]  # paint, oil or thinner; candidates; parts


@dataclass(frozen=True, slots=True)
class Step:
    """One layer: ``mix`` names one of `MIXES`."""

    kind: str
    mix: str
    wet_um: float
    advice: str


@dataclass(frozen=True, slots=True)
class Starter:
    label: str
    steps: tuple[Step, ...]
    notes: str


def _oil(parts: float) -> Ingredient:
    return ("medium", ("linseed",), parts)


def _spirits(parts: float) -> Ingredient:
    return ("thinner", ("odourless_mineral_spirits", "mineral_spirits", "gum_turpentine"), parts)


MIXES: Mapping[str, tuple[Ingredient, ...]] = {
    "Toned ground": (("paint", UMBER, 6.0), _spirits(4.0)),
    "Lean grey-brown": (("paint", WHITE, 8.0), ("paint", UMBER, 2.0), _spirits(1.0)),
    "Grisaille grey": (("paint", WHITE, 8.0), ("paint", UMBER, 1.5), ("paint", BLACK, 0.5), _spirits(1.0)),
    "Half-tone from the tube": (("paint", WHITE, 7.0), ("paint", EARTH, 3.0)),
    "Dead colour": (("paint", WHITE, 7.0), ("paint", EARTH, 3.0), _oil(0.4)),
    "Half-tone with a little oil": (("paint", WHITE, 7.0), ("paint", EARTH, 3.0), _oil(1.0)),
    "Glaze": (("paint", DEEP, 6.0), _oil(4.0)),
}
WIPED = "Wiped to a film that is hardly there"
STARTERS = (
    Starter(
        "Direct",
        (Step("direct painting", "Half-tone from the tube", 60.0, "All of it while it is wet"),),
        "One layer, finished while it is wet.",
    ),
    Starter(
        "Two layers",
        (
            Step("underpainting", "Lean grey-brown", 40.0, "Lean and thin: drawing and masses"),
            Step("second painting", "Half-tone with a little oil", 60.0, "A little richer than what is below"),
        ),
        "A lean start, and one richer layer that finishes it.",
    ),
    Starter(
        "Underpainting and glaze",
        (
            Step("imprimatura", "Toned ground", 12.0, "Rubbed on and wiped"),
            Step("underpainting", "Lean grey-brown", 40.0, "Lean: light and dark"),
            Step("second painting", "Half-tone with a little oil", 60.0, "Body and half-tones"),
            Step("glaze", "Glaze", 12.0, WIPED),
        ),
        "Lights and darks first, colour last.",
    ),
    Starter(
        "Grisaille",
        (
            Step("grisaille", "Grisaille grey", 35.0, "The whole picture in grey"),
            Step("dead colour", "Dead colour", 50.0, "Local colours, broken and thin"),
            Step("second painting", "Half-tone with a little oil", 60.0, "Lights thicker, darks thin"),
            Step("glaze", "Glaze", 12.0, WIPED),
        ),
        "The picture in grey, then colour over it.",
    ),
)


def missing(session: Session, actor: Actor) -> list[Starter]:
    """Those of the four that the studio has no stack of that name for."""
    known = {plan.label.casefold() for plan in stack_plans.all_open(session, actor)}
    return [starter for starter in STARTERS if starter.label.casefold() not in known]


def add(session: Session, actor: Actor) -> int:
    """Add those that are missing, with their mixes; returns how many. A mix of that name that is kept already is used;
    one that the shelf has not the things for is left to be chosen."""
    wanted = missing(session, actor)
    shelf = _shelf(session, actor)
    kept = {mix.label.casefold(): mix.uid for mix in mixes.all_open(session, actor)}
    for starter in wanted:
        rows = []
        for step in starter.steps:
            uid = kept.get(step.mix.casefold()) or _mixed(session, actor, step.mix, shelf)
            if uid is not None:
                kept[step.mix.casefold()] = uid
            rows.append(StackRow(kind=step.kind, mix_uid=uid, wet_thickness_um=step.wet_um, advice=step.advice))
        stack_plans.create(session, actor, StackCreate(label=starter.label, layers=tuple(rows), notes=starter.notes))
    return len(wanted)


def _mixed(session: Session, actor: Actor, name: str, shelf: Mapping[tuple[str, str], str]) -> str | None:
    parts = []
    for kind, candidates, amount in MIXES[name]:
        item = next((shelf[kind, each] for each in candidates if (kind, each) in shelf), None)
        if item is None:
            return None
        parts.append(PartRow(item=item, parts=amount))
    return mixes.create(session, actor, MixCreate(label=name, parts=tuple(parts))).uid


def _shelf(session: Session, actor: Actor) -> dict[tuple[str, str], str]:
    """What is on the shelf by kind and name: tubes of one pigment, mediums that are one oil, thinners."""
    found: dict[tuple[str, str], str] = {}
    pigments = select(col(Paint.uid), PaintPigment).join(PaintPigment, col(PaintPigment.paint_id) == col(Paint.id))
    open_paints = pigments.where(col(Paint.studio_id) == actor.studio_id, col(Paint.archived_at).is_(None))
    for uid, rows in _grouped(session.execute(open_paints).all()).items():
        if len(rows) == 1:
            key = f"{rows[0].ci_name}/{rows[0].variant}" if rows[0].variant else rows[0].ci_name
            found.setdefault(("paint", key), f"paint:{uid}")
    parts = select(col(Medium.uid), MediumPart).join(MediumPart, col(MediumPart.medium_id) == col(Medium.id))
    open_mediums = parts.where(col(Medium.studio_id) == actor.studio_id, col(Medium.archived_at).is_(None))
    for uid, rows in _grouped(session.execute(open_mediums).all()).items():
        if len(rows) == 1 and rows[0].kind == "oil":
            found.setdefault(("medium", rows[0].oil), f"medium:{uid}")
    thinners = select(Thinner).where(col(Thinner.studio_id) == actor.studio_id, col(Thinner.archived_at).is_(None))
    for row in session.scalars(thinners):
        found.setdefault(("thinner", row.solvent), f"thinner:{row.uid}")
    return found


def _grouped(rows: Sequence[Any]) -> dict[str, list[Any]]:
    groups: dict[str, list[Any]] = {}
    for uid, row in rows:
        groups.setdefault(uid, []).append(row)
    return groups
