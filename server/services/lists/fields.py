"""What a list may hold, and which of its columns that most likely is."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from server.services.panels import SUPPORTS
from server.store.tables import GroundKind, GroundSurface, LayerMaterial, Surface, Texture, TouchStage

Kind = Literal["panels", "layers", "tests", "shelf"]
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True, slots=True)
class Field:
    """``unit``: what its numbers are kept in; ``choices``: the words it may be; ``dated``: it tells a day;
    ``otherwise``: what is taken where the list has no such column."""

    name: str
    label: str
    names: tuple[str, ...] = ()
    required: bool = False
    unit: str = ""
    choices: tuple[str, ...] = ()
    dated: bool = False
    numeric: bool = False
    otherwise: str = ""


_NOTES = Field("notes", "Notes", ("note", "remarks", "comment", "comments"))
FIELDS: Mapping[Kind, tuple[Field, ...]] = {
    "panels": (
        Field("title", "Panel", ("title", "picture", "painting", "name", "work"), required=True),
        Field("size", "Size in one cell", ("size", "dimensions", "format"), unit="cm"),
        Field("width_cm", "Width", ("breadth", "w"), unit="cm"),
        Field("height_cm", "Height", ("h",), unit="cm"),
        Field("support", "Support", ("surface", "substrate"), True, choices=SUPPORTS),
        Field("ground_kind", "Ground", ("primer", "priming"), True, choices=get_args(GroundKind)),
        Field("ground_surface", "Ground surface", (), choices=get_args(GroundSurface), otherwise="matte"),
        Field("ground_pigment", "Ground pigment", ()),
        Field("ground_on", "Ground laid", ("primed", "primed on", "ground date"), dated=True),
        Field("place", "Place", ("room", "where", "dries in", "location")),
        Field("due_on", "Due", ("due date", "deadline", "due on"), dated=True),
        Field("due_for", "Due for", ("client", "show", "for")),
        Field("finished_on", "Finished", ("finished on", "done", "completed"), dated=True),
        _NOTES,
    ),
    "layers": (
        Field("panel", "Panel", ("title", "picture", "painting", "work"), required=True),
        Field("number", "Layer", ("layer number", "no", "nr", "number"), numeric=True),
        Field("kind", "Kind", ("layer kind", "stage", "step", "type"), otherwise="layer"),
        Field("mix", "Mix", ("mixes", "paint", "colour", "color", "pigment", "mixture")),
        Field("thickness", "Wet thickness", ("thickness", "wet film", "film"), True, unit="µm"),
        Field("material", "Material", (), choices=get_args(LayerMaterial), otherwise="oil"),
        Field("texture", "Texture", (), choices=get_args(Texture), otherwise="smooth"),
        Field("solvent_pct", "Solvent %", ("solvent", "thinned"), numeric=True),
        Field("thinner", "Thinner", ()),
        Field("surface", "Surface", ("sheen",), choices=get_args(Surface)),
        Field("painted_at", "Painted", ("painted on", "date", "when", "day", "laid", "painted at"), dated=True),
        Field("planned_on", "Planned", ("planned on",), dated=True),
        _NOTES,
    ),
    "tests": (
        Field("panel", "Panel", ("title", "picture", "painting", "work"), required=True),
        Field("number", "Layer", ("layer number", "no", "nr", "number"), numeric=True),
        Field("pressed_at", "Pressed", ("date", "when", "tested", "day", "pressed at", "tested on"), True, dated=True),
        Field("stage", "Stage", ("result", "state", "felt", "finding"), True, choices=get_args(TouchStage)),
        Field("place_on_panel", "Where", ("place", "spot", "corner")),
        Field("region", "Mix pressed", ("mix", "region", "colour", "color")),
        Field("note", "Note", ("notes", "remarks", "comment")),
    ),
    "shelf": (
        Field("kind", "Kind", ("type",), choices=("paint", "thinner", "medium"), otherwise="paint"),
        Field("label", "Label", ("name", "paint", "tube", "colour", "color"), required=True),
        Field("oil", "Oil", ("binder", "vehicle"), otherwise="linseed"),
        Field("made_of", "Made of", ("pigments", "pigment", "colour index", "ci", "contents"), required=True),
        Field("tube_ml", "Tube", ("tube size", "size", "volume"), unit="ml"),
        Field("left_ml", "Left", ("remaining", "left over"), unit="ml"),
        Field("paint_oil_g_per_100g", "Oil g per 100 g", (), numeric=True),
        Field("rub_out_oa_g_per_100g", "Oil absorption g per 100 g", ("oil absorption",), numeric=True),
        Field("density_g_cm3", "Density", ("specific gravity",), unit="g/ml"),
        _NOTES,
    ),
}
# Words that painters write for ours.
SAME_WORDS: Mapping[str, str] = {
    "canvas": "stretched_canvas",
    "linen": "stretched_linen",
    "board": "hardboard",
    "masonite": "hardboard",
    "wood": "solid_wood",
    "panel": "solid_wood",
    "gesso": "acrylic",
    "acrylic gesso": "acrylic",
    "acrylic primer": "acrylic",
    "oil primer": "oil",
    "traditional gesso": "glue_chalk",
    "glue gesso": "glue_chalk",
    "chalk": "glue_chalk",
    "dry": "touch_dry",
    "dry to touch": "touch_dry",
    "touch dry": "touch_dry",
    "sticky": "tacky",
    "tack": "tacky",
    "hard": "firm",
    "glossy": "gloss",
    "varnish": "retouch_varnish",
    "tube": "paint",
    "solvent": "thinner",
}


def plain(text: str) -> str:
    """A heading without its unit and signs, for comparing."""
    without = re.sub(r"\(.*?\)|\[.*?\]", " ", text.casefold())
    return re.sub(r"[^a-zà-ž%]+", " ", without).strip()


def guessed(kind: Kind, header: Sequence[str]) -> dict[str, int]:
    """Field -> column: our own headings first, then other names for them; each column once."""
    headings = [plain(text) for text in header]
    found: dict[str, int] = {}
    for wanted in (_own, _others, _begins):
        for field in FIELDS[kind]:
            if field.name in found:
                continue
            for column, heading in enumerate(headings):
                if heading and column not in found.values() and wanted(field, heading):
                    found[field.name] = column
                    break
    return found


def _own(field: Field, heading: str) -> bool:
    own = plain(field.label)
    return heading == own or (bool(field.unit) and heading in {f"{own} {unit}" for unit in ("cm", "m", "ml", "g ml")})


def _others(field: Field, heading: str) -> bool:
    return heading in field.names or heading.replace(" ", "_") == field.name


def _begins(field: Field, heading: str) -> bool:
    return bool(field.unit) and heading.split(maxsplit=1)[0] in {plain(field.label), *field.names}


def choice(field: Field, text: str) -> str:
    """The word of the closed list that was written. Raises ValueError with those there are."""
    written = re.sub(r"[\s_-]+", " ", text.casefold()).strip()
    by_words = {each.replace("_", " "): each for each in field.choices}
    found = by_words.get(written) or SAME_WORDS.get(written)
    if found not in field.choices:
        raise ValueError(f"Write one of: {', '.join(by_words)}.")
    return found
