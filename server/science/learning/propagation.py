"""Expectation propagation: what all layers' tests together say of the effects.

The likelihood of each layer, its own noise integrated out (see ``sites``), is replaced by the normal that leaves the
mean and variance of the layer's position as they are; all at once, sweep by sweep, until nothing moves. Sites of layers
that contradict themselves may have negative precision: such sites are kept (clipping them to nought moved means by
0.7 sd in trials), unless the whole is no longer positive definite. When plain sweeps do not settle they are damped;
when that does not help either, sites are held at or above nought; at last Laplace's approximation serves.

Follows Kuss & Rasmussen (NIPS 2005) and Cunningham, Hennig & Lacoste-Julien (arXiv 1111.6832), with probit-type sites.
"""

from dataclasses import dataclass

import numpy as np

from server.science.learning.sites import SiteAnswer, Sites

MEAN_TOLERANCE = 1e-5
VARIANCE_TOLERANCE = 1e-4
NEWTON_STEPS = 60


@dataclass(frozen=True, slots=True)
class Rung:
    """One way of sweeping: ``step`` of each update that is taken, whether negative sites may stay, how long to try."""

    step: float
    keeps_negative: bool
    sweeps: int


LADDER = (Rung(1.0, True, 20), Rung(0.5, True, 60), Rung(0.5, False, 80), Rung(0.2, False, 250))


@dataclass(frozen=True, slots=True)
class Fit:
    """The posterior of the effects, and what it is made of.

    ``mean`` and ``cov`` of the effects; ``precision`` and ``shift`` of each layer's site (exp(shift x - precision
    x^2/2)); ``cavity_mean`` and ``cavity_variance`` of each layer's position without its own site; ``log_evidence``;
    ``log_z`` is what each layer's tests were worth to it; ``method`` is "ep" or "laplace"; ``sweeps`` and the ``rung``
    of the ladder they ended on.
    """

    mean: np.ndarray
    cov: np.ndarray
    precision: np.ndarray
    shift: np.ndarray
    cavity_mean: np.ndarray
    cavity_variance: np.ndarray
    log_z: np.ndarray
    log_evidence: float
    method: str
    sweeps: int
    rung: int


@dataclass(frozen=True, slots=True)
class Model:
    """What is fitted: weights (layers, effects), prior sds, the layers' likelihoods, the variance between layers."""

    design: np.ndarray
    prior_sd: np.ndarray
    sites: Sites
    noise: float

    @property
    def layers(self) -> int:
        return len(self.design)


class _Stuck(Exception):
    """A rung of the ladder did not hold."""


@dataclass(slots=True)
class _State:
    precision: np.ndarray
    shift: np.ndarray
    mean: np.ndarray
    cov: np.ndarray
    log_det: float  # of the posterior's precision

    def positions(self, design: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of each layer's position."""
        return design @ self.mean, np.einsum("ij,ij->i", design @ self.cov, design)


def fit(model: Model, start: tuple[np.ndarray, np.ndarray] | None = None) -> Fit:
    """The posterior of the effects. ``start``: precision and shift of the sites to start from, as of an earlier fit."""
    for number, rung in enumerate(LADDER):
        try:
            return _sweep(model, rung, start if number == 0 else None, number)
        except (_Stuck, np.linalg.LinAlgError):
            continue
    return laplace(model)


def _sweep(model: Model, rung: Rung, start: tuple[np.ndarray, np.ndarray] | None, number: int) -> Fit:
    count = model.layers
    precision, shift = start if start is not None else (np.zeros(count), np.zeros(count))
    state = _posterior(model, precision, shift)
    answer, cavity = None, None
    for sweep in range(1, rung.sweeps + 1):
        mean, variance = state.positions(model.design)
        cavity = _cavity(state, mean, variance)
        answer = model.sites.at(cavity[0], model.noise + cavity[1])
        state = _updated(model, rung, state, (cavity, answer))
        new_mean, new_variance = state.positions(model.design)
        if not (np.isfinite(new_mean).all() and np.isfinite(new_variance).all()):
            raise _Stuck
        moved = np.abs(new_mean - mean) / np.sqrt(np.maximum(variance, 1e-300))
        grown = np.abs(new_variance / np.maximum(variance, 1e-300) - 1)
        if (
            moved.max(initial=0.0) < MEAN_TOLERANCE * rung.step
            and grown.max(initial=0.0) < VARIANCE_TOLERANCE * rung.step
        ):
            return _finished(model, state, number, sweep)
    raise _Stuck


def _cavity(state: _State, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean and variance of each position without its own site, and where there is one; elsewhere the whole."""
    variance = np.maximum(variance, 1e-300)
    left = 1 / variance - state.precision
    there = left > 1e-9 / variance
    safe = np.where(there, left, 1 / variance)
    cavity_mean = np.where(there, (mean / variance - state.shift) / safe, mean)
    return cavity_mean, 1 / safe, there


def _updated(model: Model, rung: Rung, state: _State, seen: tuple[tuple[np.ndarray, ...], SiteAnswer]) -> _State:
    (cavity_mean, cavity_variance, there), answer = seen
    scale = 1 + cavity_variance * answer.curvature
    good = there & (scale > 1e-12)
    scale = np.where(good, scale, 1.0)
    precision = -answer.curvature / scale
    shift = (answer.slope - cavity_mean * answer.curvature) / scale
    if not rung.keeps_negative:
        negative = precision < 0
        precision, shift = np.where(negative, 0.0, precision), np.where(negative, answer.slope, shift)
    step = np.where(good, rung.step, 0.0)
    precision = state.precision + step * (precision - state.precision)
    shift = state.shift + step * (shift - state.shift)
    for _ in range(8):
        try:
            return _posterior(model, precision, shift)
        except np.linalg.LinAlgError:
            negative = precision < 0
            if not negative.any():
                raise
            precision = np.where(negative, 0.5 * precision, precision)
    raise _Stuck


def _posterior(model: Model, precision: np.ndarray, shift: np.ndarray) -> _State:
    """The effects' normal from the sites. Raises LinAlgError where it is none."""
    design = model.design
    whole = (design * precision[:, None]).T @ design
    whole[np.diag_indices_from(whole)] += 1 / model.prior_sd**2
    factor = np.linalg.cholesky(whole)
    inverse = np.linalg.inv(factor)
    cov = inverse.T @ inverse
    mean = cov @ (design.T @ shift)
    return _State(precision, shift, mean, cov, 2 * float(np.log(np.diagonal(factor)).sum()))


def _finished(model: Model, state: _State, rung: int, sweeps: int) -> Fit:
    mean, variance = state.positions(model.design)
    cavity_mean, cavity_variance, _ = _cavity(state, mean, variance)
    answer = model.sites.at(cavity_mean, model.noise + cavity_variance)
    return Fit(
        mean=state.mean,
        cov=state.cov,
        precision=state.precision,
        shift=state.shift,
        cavity_mean=cavity_mean,
        cavity_variance=cavity_variance,
        log_z=answer.log_z,
        log_evidence=_log_evidence(model, state, (cavity_mean, cavity_variance), answer.log_z),
        method="ep",
        sweeps=sweeps,
        rung=rung,
    )


def _log_evidence(model: Model, state: _State, cavity: tuple[np.ndarray, np.ndarray], log_z: np.ndarray) -> float:
    cavity_mean, cavity_variance = cavity
    precision, shift = state.precision, state.shift
    each = (
        log_z
        + 0.5 * np.log1p(precision * cavity_variance)
        + 0.5
        * (
            cavity_mean**2 / cavity_variance
            - (cavity_mean / cavity_variance + shift) ** 2 / (1 / cavity_variance + precision)
        )
    )
    # mean' P mean = mean' X' shift, since P mean = X' shift
    agreed = 0.5 * float(state.mean @ (model.design.T @ shift))
    return float(each.sum()) - float(np.log(model.prior_sd).sum()) - 0.5 * state.log_det + agreed


def laplace(model: Model) -> Fit:
    """The normal at the posterior's mode: for when sweeps do not settle, and to hold against maximum likelihood.

    Newton's method with the curvature of contradictory layers held at or above nought, halving steps that lose.
    """
    ridge = 1 / model.prior_sd**2
    mean = np.zeros(model.design.shape[1])

    def value(at: np.ndarray) -> tuple[float, SiteAnswer]:
        seen = model.sites.at(model.design @ at, np.full(model.layers, model.noise))
        return float(seen.log_z.sum() - 0.5 * (ridge * at * at).sum()), seen

    best, answer = value(mean)
    for _ in range(NEWTON_STEPS):
        state = _posterior(model, np.maximum(-answer.curvature, 0.0), np.zeros(model.layers))
        step = state.cov @ (model.design.T @ answer.slope - ridge * mean)
        size, gained = 1.0, False
        while size > 1e-6:
            reached, seen = value(mean + size * step)
            if reached >= best:
                gained = reached > best + 1e-13 * abs(best)
                mean, best, answer = mean + size * step, reached, seen
                break
            size /= 2
        if not gained:
            break
    precision = np.maximum(-answer.curvature, 0.0)
    state = _posterior(model, precision, np.zeros(model.layers))
    position = model.design @ mean
    variance = np.einsum("ij,ij->i", model.design @ state.cov, model.design)
    settled = _State(precision, answer.slope + precision * position, mean, state.cov, state.log_det)
    cavity_mean, cavity_variance, _ = _cavity(settled, position, variance)
    evidence = best - float(np.log(model.prior_sd).sum()) - 0.5 * state.log_det
    return Fit(
        mean=mean,
        cov=state.cov,
        precision=precision,
        shift=settled.shift,
        cavity_mean=cavity_mean,
        cavity_variance=cavity_variance,
        log_z=answer.log_z,
        log_evidence=evidence,
        method="laplace",
        sweeps=0,
        rung=len(LADDER),
    )
