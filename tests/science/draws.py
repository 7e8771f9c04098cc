"""The stated priors drawn one by one through the model as it is written: plain, and apart from the product's code.

Only what a mix is made of comes from the product; every equation of drying is written out again here.
"""

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from scipy.stats import norm, qmc

from server.science.composition import MixFacts, mix_facts
from server.science.recipe import LayerRecipe, Room, RoomStep
from server.science.reference import absorbency

PERCENTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
GAS_CONSTANT = 8.314462618e-3  # kJ/mol/K, CODATA 2018
METALS = {"Pb": (0.90, 0.98, 2.5), "Mn": (1.30, 0.020, 3.0), "Co": (1.60, 0.030, 2.0)}
ATOMS = {"Pb": 207.2, "Mn": 54.938, "Co": 58.933}  # g/mol
Draws = np.ndarray


MOST_FIGURES = 32  # uncertain figures of a layer of one mix


class Deviates:
    """Standard normal columns, one for each uncertain figure that asks: a scrambled Sobol set (SciPy's, Owen 1997).

    Drawn evenly in all figures at once: a million such draws lie as near the truth as far more draws by chance.
    """

    def __init__(self, seed: int, power_of_two: int) -> None:
        self.count = 2**power_of_two
        points = qmc.Sobol(MOST_FIGURES, seed=seed).random_base2(power_of_two)
        self._columns = iter(norm.ppf(np.clip(points.T, 1e-12, 1 - 1e-12)))

    def __call__(self) -> Draws:
        return next(self._columns)


def percentiles(layer: LayerRecipe, room: Room, seed: int, power_of_two: int = 20) -> np.ndarray:
    """Days at the percentiles of every stage, (stages, percentiles), of a layer of one mix; in sets of 2^16 draws."""
    at_once = min(power_of_two, 16)
    sets = [drawn_days(layer, room, Deviates(seed + i, at_once)) for i in range(2 ** (power_of_two - at_once))]
    return np.quantile(np.concatenate(sets, axis=1), PERCENTILES, axis=1).T


REFERENCE = Path(__file__).parent / "data" / "spread_reference.csv"
REFERENCE_SEED = 20261102


@cache
def kept() -> dict[str, np.ndarray]:
    """Percentiles of every stage as factors on the median, (stages, percentiles), by the name of the case."""
    with REFERENCE.open(newline="", encoding="utf-8") as handle:
        rows = list(csv.reader(handle))[1:]
    found: dict[str, list[list[float]]] = {}
    for name, _stage, *percentile_factors in rows:
        found.setdefault(name, []).append([float(factor) for factor in percentile_factors])
    return {name: np.array(rows) for name, rows in found.items()}


def drawn_days(layer: LayerRecipe, room: Room, z: Deviates) -> Draws:
    """Days of each draw, (stages, draws)."""
    count = z.count
    stage_days = stage_days_of(layer, room, z)
    progress, days = np.zeros((5, count)), np.full((5, count), np.nan)
    for i, step in enumerate(room.steps):
        until_d = room.steps[i + 1].from_d if i + 1 < len(room.steps) else np.inf
        pace = 1 / stage_days(step)
        reached = step.from_d + (1 - progress) / pace
        here = np.isnan(days) & (reached <= until_d)
        days[here] = reached[here]
        if not np.isnan(days).any():
            break
        if until_d < np.inf:
            progress = progress + pace * (until_d - step.from_d)
    days[4] += 60.0
    return days


def stage_days_of(layer: LayerRecipe, room: Room, z: Deviates) -> Callable[[RoomStep], Draws]:
    """Constant-climate days of five stages, every uncertain figure drawn with its stated spread."""
    facts = mix_facts(layer.mixes[0])
    t0, k0 = 4.5 * np.exp(0.35 * z()), 400.0 * np.exp(0.7 * z())
    light = room.light * (np.exp(0.35 * z()) if not room.light_is_number else 1.0)
    auto, cat, dif, m, n = 70 + 10 * z(), 50 + 12 * z(), 35 + 10 * z(), 0.8 + 0.2 * z(), 0.5 + 0.15 * z()
    drinks = absorbency(layer.ground)
    a = np.maximum(0.0, drinks + 0.08 * z()) if drinks > 0 else np.zeros(z.count)
    driers = drier_rate(facts, z) + 1.10 * np.exp(0.35 * z()) * facts.alkyd_share
    oil = sum(share * by * (np.exp(0.3 * z()) if by != 1 else 1.0) for _, share, by in facts.oils)
    speed_up, slow_down = pigments(facts, z)
    judged = np.exp(0.25 * z() + (0.0 if room.measured else 0.45) * z())
    h = layer.wet_thickness_um * (1 - facts.solvent_share) * (1 - a * facts.binder_volume_fraction)
    thick = np.maximum(0.3, (h / 30) ** n) * np.sqrt(1 - a)
    held = (1 + 18 * facts.wax_share) * (1 + 40 * facts.clove_share) * slow_down * oil * thick

    def stage_days(step: RoomStep) -> Draws:
        inverse = 1 / (step.temperature_c + 273.15) - 1 / 294.15
        over = max(0.0, step.relative_humidity_pct - 60) / 40
        warm, hot, front = (np.exp(-energy / GAS_CONSTANT * inverse) for energy in (auto, cat, dif))
        rate = (light / t0 * warm + (driers + speed_up / t0) * hot) * (facts.drying_index / 125) ** m / (1 + over**2)
        touch = held / rate
        growth = k0 * 180 / facts.iodine_value * front
        inside = 1.5 * touch * (125 / facts.drying_index) ** 0.7
        return judged * np.array(
            [
                0.7 * touch,
                touch,
                1.5 * touch + 0.25 * np.minimum(h, 150) ** 2 / growth,
                inside + h**2 / growth,
                4 * (inside + np.minimum(h, 200) ** 2 / growth),
            ]
        )

    return stage_days


def drier_rate(facts: MixFacts, z: Callable[[], Draws]) -> Draws:
    if not facts.metals:
        return np.zeros(1)
    atoms = {metal: pct / ATOMS[metal] for metal, pct in facts.metals}
    rate = 0.0
    for metal, pct in facts.metals:
        fastest, half, power = METALS[metal]
        rate += atoms[metal] / sum(atoms.values()) * fastest * pct**power / (pct**power + half**power)
    return np.asarray(rate * np.exp(0.35 * z()))


def pigments(facts: MixFacts, z: Callable[[], Draws]) -> tuple[Draws, Draws]:
    if not facts.pigments:
        return np.zeros(1), np.ones(1)
    speed_up, slow_down = np.zeros(1), np.zeros(1)
    for _, share, multiplier in facts.pigments:
        drawn = multiplier * (np.exp(0.25 * z()) if multiplier != 1 else np.ones(1))
        speed_up = speed_up + share * np.maximum(0.0, 1 / drawn - 1)
        slow_down = slow_down + share * np.maximum(1.0, drawn)
    return speed_up, slow_down
