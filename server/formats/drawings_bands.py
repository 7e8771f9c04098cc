"""A stack of layers as a small section through it: one band a layer, the lowest at the bottom.

Thickness goes by its logarithm, so that a glaze can be seen beside an impasto; no scale is drawn.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

WIDTH = 96.0
THINNEST, THICKEST = 5.0, 30.0  # of a band, in the drawing's units
FROM_UM, TO_UM = 5.0, 2000.0
GAP = 1.5


@dataclass(frozen=True, slots=True)
class BandLayer:
    label: str
    colour: str
    wet_um: float


@dataclass(frozen=True, slots=True)
class Band:
    y: float
    height: float
    colour: str


@dataclass(frozen=True, slots=True)
class BandsDrawing:
    """``bands`` from the top one down; ``desc`` says the same in words."""

    width: float
    height: float
    bands: tuple[Band, ...]
    desc: str


def bands_drawing(layers: Sequence[BandLayer]) -> BandsDrawing:
    """Draw the layers, given lowest first."""
    y, bands = 0.0, []
    for layer in reversed(layers):
        height = _height(layer.wet_um)
        bands.append(Band(round(y, 1), round(height, 1), layer.colour))
        y += height + GAP
    said = ", ".join(f"{layer.label} {layer.wet_um:g} µm wet" for layer in layers)
    return BandsDrawing(WIDTH, round(max(0.0, y - GAP), 1), tuple(bands), f"From the ground up: {said}.")


def _height(wet_um: float) -> float:
    share = math.log(max(wet_um, FROM_UM) / FROM_UM) / math.log(TO_UM / FROM_UM)
    return THINNEST + min(1.0, share) * (THICKEST - THINNEST)
