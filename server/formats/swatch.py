"""What a mix looks like, for display only: nothing that is calculated or decided rests on a colour.

Kubelka-Munk mixing with two constants in the three linear sRGB channels. A pigment's masstone reflectance R gives its
ratio of absorption to scattering, K/S = (1 - R)^2 / 2R; ``scatter`` is its scattering against titanium white's. K and
S add up by volume, and the mix's reflectance is that of a layer thick enough to hide: R = 1 + q - sqrt(q^2 + 2q) with
q = sum K / sum S. (Kubelka and Munk 1931 and Duncan 1940, both from memory; masstones and scattering by eye, from
memory, in ``data/pigment_colours.csv``.)
"""

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from server.science.recipe import MixRecipe, PigmentShare

OIL_ONLY = "#c8b27a"
UNKNOWN = "#8a8378"

# Three linear channels, 0 to 1.
Linear = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class PigmentColour:
    """``masstone``: #rrggbb of the paint laid thick. ``scatter``: 0.03 (clear) to 1 (titanium white).
    ``tint``: which way it leans with much white, in words."""

    ci_name: str
    variant: str
    masstone: str
    scatter: float
    tint: str


@lru_cache(maxsize=1)
def _table() -> dict[tuple[str, str], PigmentColour]:
    text = resources.files("server.science").joinpath("data/pigment_colours.csv").read_text(encoding="utf-8")
    rows = (
        PigmentColour(row["ci_name"], row["variant"], row["masstone"], float(row["scatter"]), row["tint"])
        for row in csv.DictReader(text.splitlines())
    )
    return {(row.ci_name, row.variant): row for row in rows}


def pigment_colour(ci_name: str, variant: str | None = None) -> PigmentColour | None:
    """The colour of a pigment, of its plain form when the variant is not in the table, or None when it is unknown."""
    table = _table()
    exact = table.get((ci_name, variant or "")) or table.get((ci_name, ""))
    return exact or next((row for (name, _), row in table.items() if name == ci_name), None)


def mix_swatch(mix: MixRecipe) -> str:
    """``#rrggbb`` of the mix laid thick. Without paint it shows its oil; a pigment not in the table counts as grey."""
    weights = [(pigment, paint.parts * pigment.share) for paint in mix.paints for pigment in paint.pigments]
    return pigments_swatch(weights)


def pigments_swatch(weights: Sequence[tuple[PigmentShare, float]]) -> str:
    """``#rrggbb`` of pigments by volume."""
    coloured = [(pigment_colour(p.ci_name, p.variant), volume) for p, volume in weights if volume > 0]
    if not coloured:
        return OIL_ONLY
    scattering = 0.0
    absorption = [0.0, 0.0, 0.0]
    for colour, volume in coloured:
        scatter = volume * (colour.scatter if colour else 0.3)
        scattering += scatter
        for channel, reflectance in enumerate(to_linear(colour.masstone if colour else UNKNOWN)):
            absorption[channel] += scatter * _absorption_ratio(reflectance)
    return to_hex(_reflectance(k / scattering) for k in absorption)


def blend(lower: str, upper: str, cover: float) -> str:
    """``upper`` laid over ``lower`` hiding the share ``cover`` of it, 0 to 1, mixed as light."""
    pairs = zip(to_linear(lower), to_linear(upper), strict=True)
    return to_hex(low + (high - low) * cover for low, high in pairs)


def to_linear(colour: str) -> Linear:
    """Linear light of ``#rrggbb`` (IEC 61966-2-1, from memory)."""
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return _decode(red), _decode(green), _decode(blue)


def to_hex(channels: Iterable[float]) -> str:
    """``#rrggbb`` of linear light, clipped to what a screen can show."""
    return "#" + "".join(f"{round(255 * _encode(min(1.0, max(0.0, value)))):02x}" for value in channels)


def _decode(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def _encode(value: float) -> float:
    return 12.92 * value if value <= 0.0031308 else 1.055 * value ** (1 / 2.4) - 0.055


def _absorption_ratio(reflectance: float) -> float:
    bounded = min(0.98, max(0.002, reflectance))  # neither black nor white is perfect, and both ends divide by zero
    return (1 - bounded) ** 2 / (2 * bounded)


def _reflectance(ratio: float) -> float:
    return 1 + ratio - math.sqrt(ratio * ratio + 2 * ratio)
