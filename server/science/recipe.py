"""Value types that say what was painted, where: the inputs of every calculation.

All parts are parts by volume. Every type is frozen and hashable, so a recipe can be a cache key.
The meaning and range of each field is that of the stateless calls (see ``server/formats/calls.py``).
"""

from dataclasses import dataclass
from enum import StrEnum


class Ground(StrEnum):
    """What a layer lies on."""

    ACRYLIC = "acrylic"
    OIL = "oil"
    GLUE_CHALK = "glue_chalk"
    SEALED = "sealed"
    PAINT = "paint"  # a dry layer below


class AdditionKind(StrEnum):
    """What may be added to tube paint."""

    OIL = "oil"
    SOLVENT = "solvent"
    ALKYD_MEDIUM = "alkyd_medium"
    DRIER = "drier"
    WAX = "wax"
    CLOVE_OIL = "clove_oil"
    INERT = "inert"
    SOFT_RESIN = "soft_resin"


@dataclass(frozen=True, slots=True)
class PigmentShare:
    """One pigment of a paint; ``share`` is its share of the paint's pigment volume, 0 to 1."""

    ci_name: str
    variant: str | None = None
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Paint:
    """Tube paint in a mix. The three optional figures replace the table's for this very paint."""

    parts: float
    oil: str
    pigments: tuple[PigmentShare, ...]
    paint_oil_g_per_100g: float | None = None
    rub_out_oa_g_per_100g: float | None = None
    density_g_cm3: float | None = None


@dataclass(frozen=True, slots=True)
class Addition:
    """Oil, solvent, medium, drier and so on in a mix.

    Used fields by kind: oil (``parts``, ``oil``), solvent (``parts``, ``solvent``), alkyd_medium (``parts``,
    ``non_volatile``: share of its volume that stays), drier (``metal``, ``percent_on_oil`` of the mix's whole oil),
    wax, inert and soft_resin (``parts``), clove_oil (``drops_per_10_ml`` of mix at 20 drops per ml).
    """

    kind: AdditionKind
    parts: float = 0.0
    oil: str | None = None
    solvent: str | None = None
    non_volatile: float | None = None
    metal: str | None = None
    percent_on_oil: float | None = None
    drops_per_10_ml: float | None = None


@dataclass(frozen=True, slots=True)
class MixRecipe:
    """One mix and the share of the layer's area it covers, 0 to 1."""

    name: str
    area_share: float
    paints: tuple[Paint, ...]
    additions: tuple[Addition, ...] = ()


@dataclass(frozen=True, slots=True)
class LayerRecipe:
    """A layer: its mixes (regions), how thick it went on, and what it lies on."""

    wet_thickness_um: float
    ground: Ground
    mixes: tuple[MixRecipe, ...]


@dataclass(frozen=True, slots=True)
class RoomStep:
    """The room from ``from_d`` (days after the layer was painted) until the next step.

    ``light`` is the factor of this step alone, for a panel that was moved; None: the room's.
    """

    from_d: float
    temperature_c: float
    relative_humidity_pct: float
    light: float | None = None


@dataclass(frozen=True, slots=True)
class Room:
    """Where a layer dries. ``steps`` has at least one entry; the first counts from day 0, the last holds on.

    ``light`` is the factor on the uncatalysed route (1 = diffuse daylight of an ordinary room) in every step that has
    none of its own; ``light_is_number`` says the painter gave it as a number, which removes its spread.
    ``measured`` False adds the spread of an unknown room.
    """

    steps: tuple[RoomStep, ...]
    light: float = 1.0
    light_is_number: bool = False
    measured: bool = False
