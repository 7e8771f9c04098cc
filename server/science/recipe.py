"""Value types that say what was painted, where: the inputs of every calculation.

All parts are parts by volume. Every type is frozen and hashable, so a recipe can be a cache key.
The meaning and range of each field is that of the stateless calls (see ``server/formats/calls.py``).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from hashlib import blake2b
from typing import overload

import numpy as np

Column = Sequence[float] | np.ndarray


class Ground(StrEnum):
    """What a layer lies on."""

    __hash__ = str.__hash__  # that of an enumeration is written in Python: ten times slower as a key

    ACRYLIC = "acrylic"
    OIL = "oil"
    GLUE_CHALK = "glue_chalk"
    SEALED = "sealed"
    PAINT = "paint"  # a dry layer below


class AdditionKind(StrEnum):
    """What may be added to tube paint."""

    __hash__ = str.__hash__

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
    """Tube paint in a mix. The three optional figures replace the table's for this very paint.

    ``tube`` names the studio's own tube, for what touch tests teach of it and for what is left in it; the model of
    drying does not look at it.
    """

    parts: float
    oil: str
    pigments: tuple[PigmentShare, ...]
    paint_oil_g_per_100g: float | None = None
    rub_out_oa_g_per_100g: float | None = None
    density_g_cm3: float | None = None
    tube: str | None = None


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


class RoomSteps(Sequence[RoomStep]):
    """Many steps of a room as columns, such as readings by the hour: a year of them is one table, not 8,760 objects.

    Serves wherever a tuple of steps does; hashable, and equal to other columns of the same content.
    """

    __slots__ = ("_hash", "columns", "own_light")

    def __init__(self, columns: np.ndarray, own_light: bool) -> None:
        """``columns``, shape (4, steps): from_d, temperature_c, relative_humidity_pct, light.

        ``own_light`` False: the last column counts for nothing, the room's light holds throughout.
        """
        self.columns = np.ascontiguousarray(columns, dtype=float)
        self.columns.setflags(write=False)
        self.own_light = own_light
        self._hash: int | None = None

    @classmethod
    def of(
        cls, from_d: Column, temperature_c: Column, relative_humidity_pct: Column, light: Column | None = None
    ) -> "RoomSteps":
        """From one column each, of equal length; ``light`` None: the room's. Raises ValueError for unequal ones."""
        columns = np.stack([from_d, temperature_c, relative_humidity_pct, from_d if light is None else light])
        return cls(columns, light is not None)

    def __len__(self) -> int:
        return int(self.columns.shape[1])

    @overload
    def __getitem__(self, index: int) -> RoomStep: ...
    @overload
    def __getitem__(self, index: slice) -> "RoomSteps": ...
    def __getitem__(self, index: int | slice) -> "RoomStep | RoomSteps":
        if isinstance(index, slice):
            return RoomSteps(self.columns[:, index], self.own_light)
        from_d, temperature_c, humidity_pct, light = self.columns[:, index].tolist()
        return RoomStep(from_d, temperature_c, humidity_pct, light if self.own_light else None)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, RoomSteps):
            return NotImplemented
        return self.own_light == other.own_light and self.columns.tobytes() == other.columns.tobytes()

    def __hash__(self) -> int:
        if self._hash is None:
            self._hash = hash((self.columns.tobytes(), self.own_light))
        return self._hash

    @property
    def fingerprint(self) -> bytes:
        """Equal for equal steps, and short: what a key holds of them."""
        return blake2b(self.columns.tobytes() + bytes([self.own_light]), digest_size=16).digest()

    def __repr__(self) -> str:
        return f"RoomSteps({len(self)} steps)"


@dataclass(frozen=True, slots=True)
class Room:
    """Where a layer dries. ``steps`` has at least one entry; the first counts from day 0, the last holds on.

    ``light`` is the factor on the uncatalysed route (1 = diffuse daylight of an ordinary room) in every step that has
    none of its own; ``light_is_number`` says the painter gave it as a number, which removes its spread.
    ``measured`` False adds the spread of an unknown room.
    """

    steps: tuple[RoomStep, ...] | RoomSteps
    light: float = 1.0
    light_is_number: bool = False
    measured: bool = False
