"""What a medium is made of, in one cell: "linseed 1; gum turpentine 1", "alkyd medium 2 (40 % stays)"."""

import re
from collections.abc import Mapping, Sequence

from server.science.reference import oils, solvents
from server.services.lists import values
from server.services.lists.take_in import CellFault, Cells
from server.services.mediums import OTHER_MATERIALS, USUAL_ALKYD_SOLIDS_PCT, MediumPartRow
from server.store.tables import MediumPart

ALKYD = "alkyd_medium"
STAYS = "stays"
# Other words that painters write for materials.
SAME: Mapping[str, str] = {
    "alkyd": ALKYD,
    "alkyd gel": ALKYD,
    "beeswax": "wax",
    "chalk": "inert",
    "filler": "inert",
    "dammar": "soft_resin",
    "mastic": "soft_resin",
    "turpentine": "solvent:gum_turpentine",
    "turps": "solvent:gum_turpentine",
}
_PART = re.compile(r"(.+?)(?:\s+(\d[\d.,]*))?(?:\s*\((\d[\d.,]*)\s*%\s*\w*\))?")


def made_of(parts: Sequence[MediumPart]) -> str:
    """The cell of a medium, as it is read again."""
    return "; ".join(_told(part) for part in parts)


def _told(part: MediumPart) -> str:
    name = (part.oil or part.solvent or part.kind).replace("_", " ")
    stays = 100 * (part.non_volatile or 0.0)
    share = f" ({stays:.10g} % {STAYS})" if part.kind == ALKYD and stays != USUAL_ALKYD_SOLIDS_PCT else ""
    return f"{name} {round(part.parts, 6):.10g}{share}"


def parts_of(cells: Cells) -> tuple[MediumPartRow, ...]:
    """The lines of a medium; one part each where no number is given. Raises ``CellFault``."""
    pieces = [piece.strip() for piece in re.split(r"[;+]", cells.needed("made_of"))]
    return tuple(_part(cells, piece) for piece in pieces if piece)


def _part(cells: Cells, piece: str) -> MediumPartRow:
    found = _PART.fullmatch(piece)
    assert found is not None  # anything at all is a name
    material = _material(found[1])
    if material is None:
        known = ", ".join(sorted(name.rpartition(":")[2].replace("_", " ") for name in set(_names().values())))
        raise CellFault("made_of", f"{piece[:80]}: nothing is called that. Write one of: {known}.")
    stays = _number(cells, found[3]) if found[3] else None
    if stays is not None and material != ALKYD:
        raise CellFault("made_of", f"{piece[:80]}: only an alkyd medium has a share that stays.")
    parts = _number(cells, found[2]) if found[2] else 1.0
    return MediumPartRow(material=material, parts=parts, non_volatile_pct=stays)


def _number(cells: Cells, text: str) -> float:
    try:
        return values.number(text, cells.reading.decimal)
    except ValueError as fault:
        raise CellFault("made_of", f"{text[:40]}: {fault}") from None


def _material(text: str) -> str | None:
    plain = re.sub(r"[\s_]+", " ", text.casefold()).strip()
    names = _names()
    return names.get(plain) or names.get(plain.removesuffix(" oil"))


def _names() -> dict[str, str]:
    """Every word for a material -> the material."""
    found = dict(SAME)
    for kind, rows in (("oil", oils()), ("solvent", solvents())):
        for row in rows:
            found |= {name.replace("_", " ").casefold(): f"{kind}:{row.name}" for name in (row.name, row.label)}
    for name, label in OTHER_MATERIALS.items():
        found |= {name.replace("_", " "): name, label.casefold(): name}
    return found
