"""What a pigment's hazard note means for the painter: a few kinds, each with one word and its own caution.

Kinds, never amounts: nothing here judges a dose, a room or a law. Texts of the cautions are in the templates.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from server.science.errors import InputError
from server.science.recipe import AdditionKind, MixRecipe
from server.science.reference import find_pigment, oil


@dataclass(frozen=True, slots=True)
class Hazard:
    """One kind of hazard. ``anchor`` is its place on the page of cautions."""

    kind: str
    word: str
    anchor: str


# The order is the order on screen: what most needs to be seen comes first.
HAZARDS: tuple[Hazard, ...] = (
    Hazard("lead", "Lead", "lead"),
    Hazard("chromate", "Chromate", "chromate"),
    Hazard("cadmium", "Cadmium", "cadmium"),
    Hazard("mercury", "Mercury", "mercury"),
    Hazard("cobalt", "Cobalt", "cobalt"),
    Hazard("manganese", "Manganese dust", "dust"),
    Hazard("nickel", "Nickel", "dust"),
    Hazard("copper", "Copper", "dust"),
    Hazard("skin", "Skin", "skin"),
    Hazard("dust", "Dust", "dust"),
    Hazard("rags", "Oily rags", "rags"),
    Hazard("solvent", "Solvent", "solvents"),
)
_BY_KIND = {hazard.kind: hazard for hazard in HAZARDS}
_ORDER = {hazard.kind: number for number, hazard in enumerate(HAZARDS)}

# Words of the hazard notes in the pigment table, and the kind each stands for.
_MARKS = {
    "lead": "lead",
    "cadmium": "cadmium",
    "cobalt": "cobalt",
    "manganese": "manganese",
    "mercury": "mercury",
    "nickel": "nickel",
    "copper": "copper",
    "sensitiser": "skin",
    "dust": "dust",
    "arsenic": "dust",
    "antimony": "dust",
    "aromatics": "dust",
    "dichlorobenzidine": "dust",
    "chromium iii": "dust",
}


def hazard(kind: str) -> Hazard:
    """The hazard of that kind. Raises KeyError: a wrong kind is a fault of the program."""
    return _BY_KIND[kind]


def kinds_of_note(note: str) -> tuple[str, ...]:
    """The kinds a pigment's hazard note names, in the order of `HAZARDS`; dust only when nothing graver is named."""
    text = note.casefold()
    kinds = {kind for mark, kind in _MARKS.items() if mark in text}
    if "chromate" in text:
        kinds.add("chromate")
    if kinds - {"dust"}:
        kinds.discard("dust")
    return in_order(kinds)


def kinds_of_pigment(ci_name: str, variant: str | None = None) -> tuple[str, ...]:
    """The kinds of a pigment; a pigment that is not in the table has none that we know of."""
    try:
        return kinds_of_note(find_pigment(ci_name, variant).hazard)
    except InputError:
        return ()


def kinds_of_mix(recipe: MixRecipe) -> tuple[str, ...]:
    """Everything in a mix that calls for a caution: its pigments, its driers, its solvent, and rags with drying oil."""
    kinds: set[str] = set()
    for paint in recipe.paints:
        kinds.add("rags")
        kinds.update(_kinds_of_oil(paint.oil))
        for pigment in paint.pigments:
            kinds.update(kinds_of_pigment(pigment.ci_name, pigment.variant))
    for addition in recipe.additions:
        match addition.kind:
            case AdditionKind.OIL:
                kinds.add("rags")
                kinds.update(_kinds_of_oil(addition.oil or ""))
            case AdditionKind.ALKYD_MEDIUM:
                kinds.update(("rags", "solvent"))
            case AdditionKind.SOLVENT:
                kinds.add("solvent")
            case AdditionKind.DRIER:
                kinds.update({"Pb": ("rags", "lead"), "Co": ("rags", "cobalt")}.get(addition.metal or "", ("rags",)))
    return in_order(kinds)


def kinds_of_part(kind: str, oil_name: str | None = None) -> tuple[str, ...]:
    """The kinds of one part of a medium."""
    if kind == "oil":
        return in_order({"rags", *_kinds_of_oil(oil_name or "")})
    return {"alkyd_medium": ("rags", "solvent"), "solvent": ("solvent",)}.get(kind, ())


def _kinds_of_oil(name: str) -> tuple[str, ...]:
    # Boiled oil brings its driers along.
    try:
        return ("lead",) if oil(name).lead_pct > 0 else ()
    except InputError:
        return ()


def in_order(kinds: Iterable[str]) -> tuple[str, ...]:
    """Kinds without repeats in the order of `HAZARDS`."""
    return tuple(sorted(set(kinds), key=_ORDER.__getitem__))
