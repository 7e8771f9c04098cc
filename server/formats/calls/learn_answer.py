"""The answer of the ``learn`` call: effects, predictions, doubtful tests, and what to be wary of, as plain JSON."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from server.formats.calls.estimate import rounded
from server.science.learning import Ask, Evidence, Felt, Learned, Prediction, learn

SHOWN_FROM = 0.5  # of a test's chance to be wrong
Named = tuple[list[str], list[Evidence]]
PERCENTILES = ("p05_d", "p10_d", "p50_d", "p90_d", "p95_d")


def answer_one(ask: Ask, given: Named, asked: Named) -> dict[str, Any]:
    """Learn from the layers ``given`` and predict those ``asked`` about, both as ids and evidence."""
    ids, layers = given
    learned = learn(layers, ask)
    place = {layer_id: i for i, layer_id in enumerate(ids)}
    predictions = []
    for layer_id, layer in zip(*asked, strict=True):
        site = place.get(layer_id)
        predictions.append({"id": layer_id, **_prediction(learned.predict(layer, site))})
    return {
        "effects": _effects(learned, [*layers, *asked[1]]),
        "pairs": [
            {
                "names": [pair.first, pair.second],
                "correlation": _number(pair.correlation),
                "mean": _number(pair.mean),
                "learned_pct": _number(100 * pair.learned),
            }
            for pair in learned.pairs()
        ],
        "log_evidence": _number(learned.log_evidence),
        "settings": _settings(learned),
        "predictions": predictions,
        "flags": _flags(learned, given),
        "warnings": _warnings(learned, given),
    }


def _number(value: float) -> float:
    return rounded(float(value)) + 0.0  # no minus nought


def _effects(learned: Learned, layers: Sequence[Evidence]) -> list[dict[str, Any]]:
    """Every effect that is named anywhere; those that no layer tells of keep their prior."""
    found = {effect.name: (effect.mean, effect.sd, effect.prior_sd, effect.learned) for effect in learned.effects()}
    for layer in layers:
        for name, _ in layer.effects:
            if name not in found:
                prior_sd = learned.priors.of(name)
                found[name] = (0.0, prior_sd, prior_sd, 0.0)
    return [
        {
            "name": name,
            "mean": _number(mean),
            "sd": _number(sd),
            "prior_sd": _number(prior_sd),
            "learned_pct": _number(100 * share),
        }
        for name, (mean, sd, prior_sd, share) in sorted(found.items())
    ]


def _settings(learned: Learned) -> dict[str, Any]:
    used = learned.settings
    return {
        "sigma": _number(used.sigma),
        "sigma_o": _number(used.sigma_o),
        "stage_offsets": {
            "tacky": _number(used.offsets.tacky + used.tacky_shift),
            "firm": _number(used.offsets.firm + used.firm_shift),
        },
        "stage_shift": {"tacky": _number(used.tacky_shift), "firm": _number(used.firm_shift)},
        "lapse": _number(used.lapse),
        "effect_scale": _number(used.scale),
    }


def _percentiles(days: Sequence[float]) -> dict[str, float]:
    return {name: _number(day) for name, day in zip(PERCENTILES, days, strict=True)}


def _prediction(found: Prediction) -> dict[str, Any]:
    touch = _percentiles(found.percentiles())
    return {
        "log_mean": _number(found.log_mean),
        "log_sd": _number(found.log_sd),
        **touch,
        "stages": {
            "set_to_touch": _percentiles(found.percentiles(found.tacky, found.tacky_sd)),
            "dry_to_touch": touch,
            "dry_through": _percentiles(found.percentiles(found.firm, found.firm_sd)),
        },
    }


def _flags(learned: Learned, given: Named) -> list[dict[str, Any]]:
    return [
        {"id": layer_id, "test": j, "chance_wrong": _number(chance)}
        for i, (layer_id, layer) in enumerate(zip(*given, strict=True))
        for j, chance in enumerate(learned.chances_wrong(layer, i))
        if chance > SHOWN_FROM
    ]


def _warnings(learned: Learned, given: Named) -> list[str]:
    found = []
    if learned.top.fit.method != "ep":
        found.append("the sweeps did not settle: means and sds are those at the posterior's top (Laplace)")
    for layer_id, layer in zip(*given, strict=True):
        presses = sorted(layer.presses, key=lambda press: press.day)
        if presses and presses[0].felt >= Felt.TOUCH_DRY:
            found.append(
                f"layer {layer_id}: the first test found it dry already; unless the day was chosen beforehand, dates "
                "come out early: add a test for when it was last seen wet"
            )
        if any(later.felt < sooner.felt for sooner, later in pairwise(presses)):
            found.append(f"layer {layer_id}: a later test found it softer than an earlier one")
    return found
