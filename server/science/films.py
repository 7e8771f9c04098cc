"""From recipes to columns of numbers: every region of every layer is one row.

A region is one mix of a layer. What does not depend on thickness is worked out once for each mix and kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from server.science import reference
from server.science.composition import MixFacts, mix_facts
from server.science.drying import Film, metal_rate, pigment_sums
from server.science.errors import InputError
from server.science.provenance import Origin, origin_of
from server.science.recipe import LayerRecipe, MixRecipe, Room

PIGMENT_SLOTS = 6  # pigments whose multiplier is uncertain, drawn each by itself; further ones share the last draw


@dataclass(frozen=True)
class MixFilm:
    """A mix as the drying model sees it. ``columns`` follow ``COLUMNS``; ``drawn``: (share, multiplier) of pigments."""

    facts: MixFacts
    columns: tuple[float, ...]
    drawn: tuple[tuple[float, float], ...]

    @cached_property
    def origin(self) -> Origin:
        """Where its figures come from: only asked for by those who tell it."""
        return origin_of(self.facts)

    @property
    def by_name(self) -> dict[str, float]:
        """The columns by their names."""
        return dict(zip(COLUMNS, self.columns, strict=True))


COLUMNS = (
    "stays",  # share of the wet volume that is not solvent
    "binder_fraction",
    "drying_index",
    "iodine_value",
    "oil_multiplier",
    "oil_multiplier_sd",  # of its logarithm
    "oil_multiplier_mean",  # what the draws do to its logarithm on the mean
    "speed_up",
    "slow_down",
    "metal_rate",
    "alkyd_rate",
    "wax_share",
    "clove_share",
    "plain_pigment",  # share of the pigments whose multiplier is 1, or 1 without any pigment
)


@dataclass(frozen=True, slots=True)
class Regions:
    """All regions of a batch, one row each. ``layer`` and ``room`` are positions in the batch's pairs."""

    mix_films: list[MixFilm]
    layer: np.ndarray
    wet_um: np.ndarray
    absorbency: np.ndarray
    columns: dict[str, np.ndarray]
    drawn_share: np.ndarray  # (rows, PIGMENT_SLOTS)
    drawn_multiplier: np.ndarray
    light_spread: np.ndarray  # 1 where light carries its spread, 0 where it was given as a number
    room_spread: np.ndarray  # 1 where the room was not measured

    @property
    def thickness_um(self) -> np.ndarray:
        """What is left of the wet films; equation (C3) of composition."""
        drunk = self.absorbency * self.columns["binder_fraction"]
        return self.wet_um * self.columns["stays"] * (1 - drunk)

    def of(self, rows: np.ndarray) -> "Regions":
        """Some of the regions, or regions repeated; as numbers alone, without their ``mix_films``."""
        return Regions(
            [],
            self.layer[rows],
            self.wet_um[rows],
            self.absorbency[rows],
            {name: column[rows] for name, column in self.columns.items()},
            self.drawn_share[rows],
            self.drawn_multiplier[rows],
            self.light_spread[rows],
            self.room_spread[rows],
        )

    def film(self) -> Film:
        """The films with their central parameters."""
        c = self.columns
        return Film(
            self.thickness_um,
            self.absorbency,
            c["drying_index"],
            c["iodine_value"],
            c["oil_multiplier"],
            c["speed_up"],
            c["slow_down"],
            c["metal_rate"],
            c["alkyd_rate"],
            c["wax_share"],
            c["clove_share"],
        )


def gather(pairs: Sequence[tuple[LayerRecipe, Room]]) -> Regions:
    """The rows of a batch. Raises InputError with the path from the layer (``mixes.0.paints.1.oil``)."""
    mix_films: list[MixFilm] = []
    numbers: list[tuple[float, float, float, float, float]] = []
    for position, (layer, room) in enumerate(pairs):
        if not 0 < layer.wet_thickness_um < float("inf"):
            raise InputError("wet_thickness_um", "must be above zero")
        if not layer.mixes:
            raise InputError("mixes", "a layer needs at least one mix")
        absorbency = reference.absorbency(layer.ground)
        row = (position, layer.wet_thickness_um, absorbency, not room.light_is_number, not room.measured)
        for i, mix in enumerate(layer.mixes):
            try:
                mix_films.append(mix_film(mix))
            except InputError as error:
                raise error.under(f"mixes.{i}") from None
            numbers.append(row)
    table = np.array(numbers, dtype=float).reshape(len(mix_films), 5)
    columns = np.array([m.columns for m in mix_films], dtype=float).reshape(len(mix_films), len(COLUMNS))
    drawn = np.array([m.drawn for m in mix_films], dtype=float).reshape(len(mix_films), PIGMENT_SLOTS, 2)
    return Regions(
        mix_films,
        table[:, 0].astype(np.intp),
        table[:, 1],
        table[:, 2],
        dict(zip(COLUMNS, columns.T, strict=True)),
        drawn[:, :, 0],
        drawn[:, :, 1],
        table[:, 3],
        table[:, 4],
    )


@lru_cache(maxsize=16_384)
def mix_film(mix: MixRecipe) -> MixFilm:
    """A mix as the drying model sees it. Raises InputError with the path inside the mix."""
    facts = mix_facts(mix)
    oil_multiplier = sum(share * m for _, share, m in facts.oils)  # by volume, as drying index and iodine value
    sd = reference.spread("oil_speed_multiplier")
    parts = [share * m / oil_multiplier for _, share, m in facts.oils if m != 1]
    drawn = sorted(((share, m) for _, share, m in facts.pigments if m != 1), key=_weight, reverse=True)
    speed_up, slow_down = pigment_sums(tuple((share, m) for _, share, m in facts.pigments))
    plain = 1.0 if not facts.pigments else sum(share for _, share, m in facts.pigments if m == 1)
    columns = (
        1 - facts.solvent_share,
        facts.binder_volume_fraction,
        facts.drying_index,
        facts.iodine_value,
        oil_multiplier,
        sd * sum(part**2 for part in parts) ** 0.5,
        0.5 * sd**2 * sum(part * (1 - part) for part in parts),
        speed_up,
        slow_down,
        metal_rate(dict(facts.metals)),
        facts.alkyd_share * reference.value("alkyd_rate"),
        facts.wax_share,
        facts.clove_share,
        plain,
    )
    return MixFilm(facts, columns, _slots(drawn))


def _weight(pigment: tuple[float, float]) -> float:
    share, multiplier = pigment
    return share * max(multiplier, 1 / multiplier)


def _slots(drawn: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """The weightiest pigments; what is beyond the slots goes into the last one with its mean multiplier."""
    if len(drawn) > PIGMENT_SLOTS:
        rest = drawn[PIGMENT_SLOTS - 1 :]
        share = sum(s for s, _ in rest)
        drawn = [*drawn[: PIGMENT_SLOTS - 1], (share, sum(s * m for s, m in rest) / share)]
    return (*drawn, *((0.0, 1.0),) * (PIGMENT_SLOTS - len(drawn)))
