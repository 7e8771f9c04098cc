"""How far off a date may be: the stated prior spreads carried through to percentiles of every stage.

Times are treated by their logarithm. What is common to all terms of a film's time is normal and added exactly; what
bends the answer (see ``routes``; the pigments' multipliers; the thickness exponent of thin films; absorbency under
thick ones) is put through the model's own equations at fixed nodes, in as many axes as the film has. Percentiles follow
from the first four cumulants (Cornish & Fisher 1938). Cumulants three and four of the best linear part of the answer
are known to be nought, which takes most of the nodes' own error away. Films that bend sharply get finer nodes and one
correction by the smoothed share of nodes below.

Where a spread is small or rarely bends anything (oil multiplier, absorbency under ordinary films, alkyd with driers)
its logarithm is taken as normal with the right sd. The accuracy against a million draws of all parameters is a test.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import cache

import numpy as np

from server.science import reference
from server.science.drying import REFERENCE_FILM_UM
from server.science.films import PIGMENT_SLOTS
from server.science.nodes import NodeSet, fine_node_set, node_set
from server.science.priors import spreads
from server.science.routes import DRUNK, PLAIN, THIN, Rows, StageWeights

PERCENTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
MIDDLE = 2
NORMAL_QUANTILES = np.array([-1.6448536269514722, -1.2815515655446004, 0.0, 1.2815515655446004, 1.6448536269514722])
CELLS_AT_ONCE = 16384  # rows x nodes of one go: keeps the work inside the processor's cache
SHARP_BEND = 0.35  # |skewness| + |excess kurtosis| beyond which four cumulants are not enough
Rule = Callable[[np.ndarray, np.ndarray, NodeSet], tuple[np.ndarray, np.ndarray]]


def log_quantiles(rows: Rows, weights: Sequence[StageWeights]) -> np.ndarray:
    """Logarithm of the time in days at every percentile, shape (rows, stages, percentiles)."""
    pigments = np.count_nonzero(rows.drawn_share, axis=1)
    structure = (rows.routes * (PIGMENT_SLOTS + 1) + pigments) * 3 + rows.kind
    answer = np.empty((len(structure), len(weights), len(PERCENTILES)))
    for code in np.unique(structure):
        alike = np.flatnonzero(structure == code)
        first = alike[0]
        axes = int(rows.routes[first] + pigments[first] + (rows.kind[first] != PLAIN))
        bend = np.empty((len(alike), len(weights)))
        for part, places in _parts(alike, node_set(axes)):
            answer[part], bend[places] = _alike(
                rows.of(part), [w.of(part) for w in weights], node_set(axes), _cumulants
            )
        for stage, weight in enumerate(weights):
            sharp = alike[bend[:, stage] > SHARP_BEND]
            for part, _ in _parts(sharp, fine_node_set(axes) if sharp.size else node_set(axes)):
                exact, _ = _alike(rows.of(part), [weight.of(part)], fine_node_set(axes), _shares)
                answer[part, stage] = exact[:, 0]
    return answer


def _parts(chosen: np.ndarray, z: NodeSet) -> Iterator[tuple[np.ndarray, slice]]:
    """Chosen rows in goes that fit the cache, with their places among the chosen."""
    at_once = max(1, CELLS_AT_ONCE // len(z.points))
    for start in range(0, len(chosen), at_once):
        yield chosen[start : start + at_once], slice(start, start + at_once)


def _alike(rows: Rows, weights: list[StageWeights], z: NodeSet, rule: Rule) -> tuple[np.ndarray, np.ndarray]:
    """Rows of one structure: routes first among the axes of ``z``, then pigments, then what the kind draws.

    Answers logarithms of days (rows, stages, percentiles), and how sharply each stage bends (rows, stages).
    """
    routes, kind = int(rows.routes[0]), int(rows.kind[0])
    skin, shift, v = _skin(rows, z)
    front = np.exp(v)
    front *= rows.front[:, None]
    thinner = np.ones(1)
    if kind == THIN:
        skin = skin * _thickness_draws(rows, z.by_axis[-1])
    elif kind == DRUNK:
        slower, thinner = _ground_draws(rows, z.by_axis[-1])
        skin = skin * slower
    noise = rows.noise + np.sum(rows.factors[:, 3, routes:] ** 2, axis=1)
    answer = np.empty((len(noise), len(weights), len(PERCENTILES)))
    bend = np.empty((len(noise), len(weights)))
    for i, weight in enumerate(weights):
        logs = weight.skin[:, None] * skin
        if weight.front.any():
            through = weight.front[:, None] * front
            if kind == DRUNK:
                through *= _drunk_front(rows, weight, thinner)
            logs = np.add(logs, through, out=through)
        logs = np.log(logs, out=logs) + shift
        answer[:, i], bend[:, i] = rule(logs, noise, z)
    answer += rows.log_touch_d[:, None, None]
    return answer, bend


def _skin(rows: Rows, z: NodeSet) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Dry-to-touch with its routes and pigments drawn, the common shift as far as the routes tell it, and v."""
    routes = int(rows.routes[0])
    count = len(rows.front)
    drawn = rows.factors[:, :, :routes].reshape(-1, routes) @ z.by_axis[:routes]
    drawn = drawn.reshape(count, 4, -1)
    if routes == 1:
        return rows.slow_down[:, None], drawn[:, 3], drawn[:, 0]
    speed_up, slow_down = _pigment_draws(rows, z, routes)
    rate = np.exp(drawn[:, 1])
    rate *= rows.pigment_route[:, None]
    rate *= speed_up
    if routes > 2:
        driers = np.exp(drawn[:, 2])
        driers *= rows.drier_route[:, None]
        rate += driers
    rate += 1
    return np.divide(slow_down, rate, out=rate), drawn[:, 3], drawn[:, 0]


@cache
def _pigment_factors(axes: int, fine: bool) -> tuple[np.ndarray, np.ndarray]:
    """What a pigment's multiplier is drawn to at each node of each axis, against its central value; and its inverse."""
    drawn = np.exp(spreads().pigment * (fine_node_set(axes) if fine else node_set(axes)).by_axis)
    return drawn, 1 / drawn


def _pigment_draws(rows: Rows, z: NodeSet, first_axis: int) -> tuple[np.ndarray, np.ndarray]:
    """Speed-up (4) and slow-down (5) of drying, the multipliers drawn; (rows, nodes), or (rows, 1) without any."""
    factors, inverses = _pigment_factors(z.axes, z.third is not None)
    slots = int(np.count_nonzero(rows.drawn_share[0]))
    width = len(z.points) if slots else 1
    speed_up = np.zeros((len(rows.plain_pigment), width))
    slow_down = np.repeat(rows.plain_pigment[:, None], width, axis=1)
    for slot in range(slots):
        share, multiplier = rows.drawn_share[:, slot, None], rows.drawn_multiplier[:, slot, None]
        quicker = (share / multiplier) * inverses[first_axis + slot]
        quicker -= share
        speed_up += np.maximum(quicker, 0.0, out=quicker)
        slower = (share * multiplier) * factors[first_axis + slot]
        slow_down += np.maximum(slower, share, out=slower)
    return speed_up, slow_down


def _thickness_draws(rows: Rows, z: np.ndarray) -> np.ndarray:
    """Thickness factor with its exponent drawn, against the central one; both with their floor, equation (6)."""
    n, floor = reference.value("thickness_exponent"), np.log(reference.value("thickness_floor"))
    log_thick = np.log(rows.thickness_um / REFERENCE_FILM_UM)[:, None]
    drawn = np.maximum(floor, (n + spreads().thickness_exponent * z) * log_thick)
    return np.exp(drawn - np.maximum(floor, n * log_thick))


def _ground_draws(rows: Rows, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Dry-to-touch and thickness with the ground's absorbency drawn, each against its central value."""
    absorbency, fraction = rows.absorbency[:, None], rows.binder_fraction[:, None]
    drawn = np.maximum(0.0, absorbency + spreads().ground * z)
    thinner = (1 - drawn * fraction) / (1 - absorbency * fraction)
    slower = np.sqrt((1 - drawn) / (1 - absorbency)) * thinner ** reference.value("thickness_exponent")
    return slower, thinner


def _drunk_front(rows: Rows, weight: StageWeights, thinner: np.ndarray) -> np.ndarray:
    """What the front's part becomes when the ground has drunk more or less."""
    thickness, cap_um = rows.thickness_um[:, None], weight.cap_um[:, None]
    drunk: np.ndarray = np.minimum(thickness * thinner, cap_um) / np.minimum(thickness, cap_um)
    return drunk**2


def _cumulants(logs: np.ndarray, noise: np.ndarray, z: NodeSet) -> tuple[np.ndarray, np.ndarray]:
    """Percentiles of logs (rows, nodes) plus normal noise of the given variance, (rows, percentiles), and the bend.

    ``logs`` is used up.
    """
    count, axes = z.points.shape
    mean = np.add.reduce(logs, axis=1, keepdims=True) / count
    y = np.subtract(logs, mean, out=logs)
    slopes = y @ z.points / count
    y2 = y * y
    variance = np.add.reduce(y2, axis=1) / count
    third, fourth = np.vecdot(y2, y) / count, np.vecdot(y2, y2) / count
    # The best line has no third and fourth cumulant: what the nodes make of one is their own error and goes.
    line_variance = np.vecdot(slopes, slopes)
    pairs = (slopes[:, :, None] * slopes[:, None, :]).reshape(-1, axes * axes)
    fourth += 3 * line_variance**2 - np.vecdot(pairs @ z.fourth, pairs) - 3 * variance**2
    if z.third is not None:
        third -= np.vecdot(pairs @ z.third, slopes)
    sd = np.sqrt(variance + noise)
    skew, tail = third / sd**3, fourth / sd**4
    q = NORMAL_QUANTILES
    bend = np.outer(skew, (q**2 - 1) / 6) + np.outer(tail, (q**3 - 3 * q) / 24)
    bend -= np.outer(skew**2, (2 * q**3 - 5 * q) / 36)
    return mean + sd[:, None] * (q + bend), np.abs(skew) + np.abs(tail)


def _shares(logs: np.ndarray, noise: np.ndarray, z: NodeSet) -> tuple[np.ndarray, np.ndarray]:
    """The same, each percentile corrected once by the share of the nodes, smoothed by the noise, that lies below it."""
    answer, bend = _cumulants(logs.copy(), noise, z)
    sd = np.sqrt(noise)[:, None]
    for i, share in enumerate(PERCENTILES):
        distance = (answer[:, i, None] - logs) / sd
        density = np.exp(-0.5 * distance**2)
        below = _normal_share(distance, density).mean(axis=1)
        answer[:, i] += (share - below) * sd[:, 0] * np.sqrt(2 * np.pi) / density.mean(axis=1)
    return answer, bend


def _normal_share(x: np.ndarray, bell: np.ndarray) -> np.ndarray:
    """Normal distribution function from x and exp(-x^2/2), to 1e-7 (Abramowitz & Stegun 26.2.17)."""
    t = 1 / (1 + 0.2316419 * np.abs(x))
    rest = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    above = bell * rest / np.sqrt(2 * np.pi)
    return np.where(x > 0, 1 - above, above)
