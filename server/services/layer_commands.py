"""What may be asked of layers: the command models and their limits."""

from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator

from server.science.reference import thickness_presets
from server.services.fields import (
    Command,
    Day,
    Instant,
    Notes,
    OptionalText120,
    PercentShare,
    ShortNote,
    Text32,
    Uid,
    Version,
    WetThicknessUm,
    shares_within_the_whole,
)
from server.store.tables import LayerMaterial, Surface, Texture

# The painter's words for layers, lowest first: offered, not prescribed.
LAYER_KINDS = (
    *("imprimatura", "underdrawing", "underpainting", "block-in", "second painting", "couch"),
    *("scumble", "glaze", "impasto", "detail", "retouching"),
)
Preset = Literal[
    "glaze_wiped", "scumble", "thin_wash", "thin_opaque", "normal_brush", "loaded_brush", "impasto"
]  # the names of the reference table
SolventPct = Annotated[float, Field(ge=0, le=95)]
SittingMin = Annotated[int, Field(ge=1, le=24 * 60)]


class LayerMixPart(Command):
    """One region. ``area_pct`` may be left out when one mix covers all; what the shares leave out stays as it is."""

    mix_uid: Uid
    area_pct: PercentShare | None = None
    region: OptionalText120 = ""


Mixes = Annotated[tuple[LayerMixPart, ...], Field(max_length=24)]


def _checked_shares(mixes: tuple[LayerMixPart, ...]) -> tuple[LayerMixPart, ...]:
    given = [mix.area_pct for mix in mixes if mix.area_pct is not None]
    if len(given) < len(mixes):
        if len(mixes) > 1:
            raise ValueError("Give the share of the area for each mix.")
        return mixes
    shares_within_the_whole(given)
    return mixes


def thickness(preset: str | None, wet_thickness_um: float | None) -> tuple[str | None, float]:
    """(preset, micrometres). A number overrules the preset, which is then forgotten unless it says the same."""
    by_preset = {row.name: float(row.wet_thickness_um) for row in thickness_presets()}
    if wet_thickness_um is None:
        return preset, by_preset[preset or "normal_brush"]
    return (preset if preset and by_preset[preset] == wet_thickness_um else None), wet_thickness_um


class LayerFields(Command):
    """``thickness_preset`` or ``wet_thickness_um`` (micrometres, wet); ``solvent_pct`` of the wet volume, on top of
    what the mixes hold; ``sitting_min`` how long the painting session takes or took, minutes; ``override_reason`` why
    it went on against a rule."""

    kind: Text32
    material: LayerMaterial = "oil"
    thickness_preset: Preset | None = None
    wet_thickness_um: WetThicknessUm | None = Field(default=None, validate_default=True)
    texture: Texture = "smooth"
    thinner_uid: Uid | None = None
    solvent_pct: SolventPct = 0.0
    wet_in_wet: bool = False
    surface: Surface | None = None
    sitting_min: SittingMin | None = None
    planned_on: Day | None = None
    mixes: Mixes = ()
    notes: Notes = ""
    override_reason: ShortNote = ""
    painted_at: Instant | None = None

    _shares = field_validator("mixes")(_checked_shares)

    @field_validator("wet_thickness_um")
    @classmethod
    def _one_of_two(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is None and info.data.get("thickness_preset", "") is None:
            raise ValueError("Choose how thick it goes on, or give it in micrometres.")
        return value


class LayerCreate(LayerFields):
    """With ``painted_at`` the layer is logged as painted at once."""


class LayerRemembered(LayerCreate):
    """Written down from a notebook: it teaches, but nothing was promised when it went on."""


class LayerUpdate(LayerFields):
    """``painted_at`` is given exactly when the layer is painted."""

    version: Version


class LayerPaint(Command):
    """What is left out, or an empty list of mixes, stays as planned; what is given as None is emptied, but for the
    thickness and the time."""

    version: Version
    painted_at: Instant | None = None
    thickness_preset: Preset | None = None
    wet_thickness_um: WetThicknessUm | None = None
    thinner_uid: Uid | None = None
    solvent_pct: SolventPct | None = None
    surface: Surface | None = None
    sitting_min: SittingMin | None = None
    mixes: Mixes = ()
    notes: Notes | None = None
    override_reason: ShortNote = ""

    _shares = field_validator("mixes")(_checked_shares)
