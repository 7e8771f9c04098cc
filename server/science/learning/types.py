"""Value types of learning: what was pressed, what it is pressed on, and what is taken as known.

Days are *effective* days since painting: days in the reference room, so that the room is out of the picture. Times are
treated by their natural logarithm, ``u`` being that of the moment a layer becomes dry to the touch.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum


class Felt(IntEnum):
    """What a fingertip says, softest first. A stage ``k`` is entered at u + c_k, c of touch-dry being 0."""

    WET = 0
    TACKY = 1
    TOUCH_DRY = 2
    FIRM = 3


@dataclass(frozen=True, slots=True)
class Press:
    """One touch test: how many effective days after painting, and what was felt.

    ``blur``: sd of the reading on the logarithm of time beside a finger's, for what is read less surely.
    """

    day: float
    felt: Felt
    blur: float = 0.0


@dataclass(frozen=True, slots=True)
class Offsets:
    """Logarithms of when a layer turns tacky and firm, each against when it is dry to the touch."""

    tacky: float
    firm: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one layer.

    ``book_d`` is the model's dry-to-touch in effective days; ``effects`` are names with weights. Either ``presses`` or
    ``between_d``: touch-dry within (after, by] effective days, None an open end. ``offsets`` are the book's own for
    this layer; where None the settings' hold.
    """

    book_d: float
    effects: tuple[tuple[str, float], ...]
    presses: tuple[Press, ...] = ()
    between_d: tuple[float | None, float | None] | None = None
    offsets: Offsets | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """Scales of the model. Defaults come from no data of real painters: they are priors, and are learned.

    ``sigma``: sd of the logarithm between layers alike. ``sigma_o``: sd of a finger's reading on the logarithm of time.
    ``offsets``: of a layer that states none; ``tacky_shift`` and ``firm_shift`` are added to every layer's offsets.
    ``lapse``: the share of tests that say nothing. ``scale``: factor on the spreads of pigments and mediums.
    """

    sigma: float = 0.25
    sigma_o: float = 0.12
    offsets: Offsets = Offsets(-0.6, 0.6)
    tacky_shift: float = 0.0
    firm_shift: float = 0.0
    lapse: float = 0.02
    scale: float = 1.0


SCALED = ("pigment:", "medium:")
# The last two are guesses: 30 % in a year is three and a quarter of the steps; tubes of one pigment differ by less.
DEFAULT_SD: Mapping[str, float] = {
    "studio": 0.30,
    "pigment:*": 0.35,
    "medium:*": 0.25,
    "drift:*": 0.08,
    "paint:*": 0.15,
}
OTHER_SD = 0.25


@dataclass(frozen=True)
class Priors:
    """Standard deviations of the effects before anything was pressed: by full name, or by ``kind:*``."""

    sd: Mapping[str, float] = field(default_factory=lambda: DEFAULT_SD)

    def of(self, name: str) -> float:
        """The most specific one given; else the default of the kind; else ``OTHER_SD``."""
        kind = name.partition(":")[0] + ":*"
        for key in (name, kind):
            for given in (self.sd, DEFAULT_SD):
                if key in given:
                    return given[key]
        return OTHER_SD


STANDARD = Settings()
USUAL_PRIORS = Priors()
