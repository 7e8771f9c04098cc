"""How well learning learns: against the exact sampler, over simulated studios, and what it costs.

Every figure stands beside its bar. The studios are draws from the model (``bench.learning_studios``); with the scales
unknown they are drawn anew for each studio. Nothing here is data of real painters.
"""

from dataclasses import replace
from functools import partial

import numpy as np

from bench.learning_drift import drifting
from bench.learning_held import Held, Z, met
from bench.learning_studios import Painter, Studio, between, gibbs, made, make, more, names_of_effects, spread_evenly
from bench.timing import cpu_s, row
from server.science.learning import STANDARD, Ask, Evidence, Felt, Press, Priors, Settings, learn
from server.science.learning.likelihood import Rows, cases
from server.science.learning.normal import share
from server.science.learning.scales import PRIOR_SD, learn_scales, settings_at
from server.science.learning.scoring import Promise, calibrate, log_scores

STUDIOS = 200
HELD_OUT = 40


def _hold(held: Held, studio: Studio, seen: list[Evidence], ask: Ask) -> None:
    learned = learn(seen, ask)
    ahead = more(studio, HELD_OUT)
    for layer, moment in zip(ahead.layers, ahead.log_dry, strict=True):
        found = learned.predict(replace(layer, presses=()))
        held.add((found.log_quantile(0.5), found.log_quantile), float(moment), float(np.log(layer.book_d)))


def exact(studios: int = 20) -> None:
    print("Against the exact sampler (1)")
    for tests in (10, 50, 300):
        worst, low, high = 0.0, 1.0, 1.0
        for seed in range(studios):
            studio = make(seed, 1000, Painter(wrong=0.02), until=tests)
            truth = gibbs(studio.layers, STANDARD, 60_000 if tests < 300 else 20_000, seed)
            found = learn(studio.layers, Ask()).top.fit
            worst = max(worst, float(np.abs((found.mean - truth.mean) / truth.sd).max()))
            ratio = np.sqrt(np.diagonal(found.cov)) / truth.sd
            low, high = min(low, float(ratio.min())), max(high, float(ratio.max()))
        good = worst <= 0.05 and low >= 0.97 and high <= 1.03
        bar = met(good, "0.05 sd, ratio 0.97 to 1.03")
        row(
            f"{tests} tests, {studios} studios: worst mean, ratio of sds",
            f"{worst:.3f} sd",
            f"{low:.3f}-{high:.3f}  {bar}",
        )


def known_scales() -> None:
    print("Intervals, scales known (6, 7, 8)")
    bars = {10: 0.25, 30: 0.33, 100: 0.45}
    for count in (0, 5, 10, 30, 100, 300):
        held, oracle = Held(), []
        # Without data a studio's layers all miss together: only many studios tell.
        many = STUDIOS * 6 if count == 0 else STUDIOS
        for seed in range(many if count <= 100 else STUDIOS // 2):
            studio = make(seed, count)
            seen = between(studio.layers, studio.log_dry, studio.rng)
            _hold(held, studio, seen, Ask())
            oracle += list(np.abs(np.random.default_rng(seed).normal(0, STANDARD.sigma, HELD_OUT)))
        good = 78 <= held.covers(80) <= 82 and abs(held.covers(50) - 50) <= 2 and abs(held.covers(95) - 95) <= 2
        told = "/".join(f"{held.covers(level):.1f}" for level in Z)
        row(f"{count} layers: within 50/80/95 % ranges", told, met(good, "within 2 points"))
        note = met(held.gain() >= bars[count], f"-{100 * bars[count]:.0f} %") if count in bars else ""
        row(f"{count} layers: median error against the book", f"{-100 * held.gain():.0f} %", note)
        if count == 300:
            over = float(np.median(held.errors) / np.median(oracle)) - 1
            row(
                "300 layers: above the oracle that knows the effects", f"{100 * over:+.0f} %", met(over <= 0.12, "12 %")
            )


def _drawn(seed: int) -> Settings:
    return settings_at(np.random.default_rng((seed, 31)).normal(0, PRIOR_SD), STANDARD)


def unknown_scales() -> None:
    print("Presses, scales unknown and other in each studio, 2 % wrong tests (6, 8)")
    bars = {10: 0.15, 30: 0.25, 100: 0.35, 300: 0.45}
    for tests in (0, 10, 30, 100, 300):
        held = Held()
        for seed in range(STUDIOS if tests <= 100 else STUDIOS // 2):
            studio = make(seed, 1000 if tests else 0, Painter(_drawn(seed), wrong=0.02), until=tests)
            _hold(held, studio, studio.layers, Ask(learn_scales=True))
        good = 77 <= held.covers(80) <= 83
        told = "/".join(f"{held.covers(level):.1f}" for level in Z)
        row(f"{tests} tests: within 50/80/95 % ranges", told, met(good, "80 % within 77 to 83"))
        note = met(held.gain() >= bars[tests], f"-{100 * bars[tests]:.0f} %") if tests in bars else ""
        row(f"{tests} tests: median error against the book", f"{-100 * held.gain():.0f} %", note)


def wrong_scales(studios: int = 60) -> None:
    print("Scales other than assumed, intervals (9)")
    kinds = {
        "noise 1.6 times": replace(STANDARD, sigma=0.40),
        "effects twice": replace(STANDARD, scale=2.0),
    }
    for name, truth in kinds.items():
        for count, bar in ((30, 75), (100, 77)):
            trust, held = Held(), Held()
            for seed in range(studios):
                studio = make(seed, count, Painter(truth))
                seen = between(studio.layers, studio.log_dry, studio.rng)
                _hold(held, studio, seen, Ask(learn_scales=True))
                _hold(trust, studio, seen, Ask())
            told = f"{trust.covers(80):.0f} -> {held.covers(80):.0f} %"
            row(f"{name}, {count} layers: on trust -> learned", told, met(held.covers(80) >= bar, f"{bar} %"))


def wrong_tests(studios: int = 60) -> None:
    print("8 % wrong tests, 50 layers (10)")
    held, oracle = Held(), Held()
    pointed = right = wrong = good = 0
    for seed in range(studios):
        studio = make(seed, 50, Painter(wrong=0.08))
        learned = learn(studio.layers, Ask())
        for i, layer in enumerate(studio.layers):
            for j, chance in enumerate(learned.chances_wrong(layer, i)):
                bad, told = (i, j) in studio.wrong, chance > 0.5
                wrong, good, pointed, right = wrong + bad, good + (not bad), pointed + told, right + (bad and told)
        clean = [
            replace(layer, presses=tuple(p for j, p in enumerate(layer.presses) if (i, j) not in studio.wrong))
            for i, layer in enumerate(studio.layers)
        ]
        state = studio.rng.bit_generator.state
        _hold(held, studio, studio.layers, Ask())
        studio.rng.bit_generator.state = state
        _hold(oracle, studio, clean, Ask())
    ratio = float(np.median(held.errors) / np.median(oracle.errors))
    row("within 80 % ranges", f"{held.covers(80):.1f} %", met(held.covers(80) >= 78, "78 %"))
    row("median error over one that knows the wrong ones", f"{ratio:.3f}", met(ratio <= 1.04, "1.04"))
    precision, recall = 100 * right / max(pointed, 1), 100 * right / max(wrong, 1)
    alarms = 100 * (pointed - right) / good
    row(
        "pointed at: precision, recall",
        f"{precision:.0f}, {recall:.0f} %",
        met(precision >= 90 and recall >= 65, "90, 65"),
    )
    row("false alarms in 100 good tests", f"{alarms:.2f}", met(alarms <= 0.5, "0.5"))


def only_when_dry(studios: int = 80) -> None:
    print("30 % of layers pressed only once they looked dry (11)")
    for remembers in (False, True):
        for count in (30, 150):
            off = []
            for seed in range(studios):
                studio = make(seed, count, Painter(only_when_dry=0.3, remembers_wet=remembers))
                learned = learn(studio.layers, Ask())
                ahead = more(studio, HELD_OUT)
                found = [learned.predict(replace(layer, presses=())).log_mean for layer in ahead.layers]
                off.append(np.mean(np.array(found) - ahead.log_dry))
            bias = 100 * (float(np.exp(np.mean(off))) - 1)
            note = met(abs(bias) <= 5, "5 %") if remembers else ""
            name = "told when last seen wet" if remembers else "as it is"
            row(f"{count} layers, {name}: dates are off by", f"{bias:+.1f} %", note)


def ranks(draws: int = 1500) -> None:
    print("Ranks of the true effects in their posteriors, 20 layers (3)")
    # Each effect's truths are spread evenly over its prior, in a chance order, so that an uneven draw of them does not
    # show in the ranks.
    even = {name: spread_evenly(draws, place) for place, name in enumerate(names_of_effects())}
    positions: dict[str, list[float]] = {}
    truths: dict[str, list[float]] = {}
    for seed in range(draws):
        studio = made(10_000 + seed, 20, {name: float(values[seed]) for name, values in even.items()})
        seen = between(studio.layers, studio.log_dry, studio.rng)
        for effect in learn(seen, Ask()).effects():
            z = np.array([(studio.effects[effect.name] - effect.mean) / effect.sd, studio.effects[effect.name]])
            z[1] /= effect.prior_sd
            here, drawn = share(z)
            positions.setdefault(effect.name, []).append(float(here))
            truths.setdefault(effect.name, []).append(float(drawn))
    chances = sorted((_evenness(np.array(ranked)), name) for name, ranked in positions.items())
    inside = np.mean([0.1 < r < 0.9 for ranked in positions.values() for r in ranked])
    for chance, name in chances[:2]:
        # A draw of the truths that is itself uneven shows in the ranks, however good the posterior.
        drawn = f"its true draws alone: {_evenness(np.array(truths[name])):.4f}"
        row(f"chance of evenness, {name}", f"{chance:.4f}", f"{met(chance > 0.05 / 30, 'over 0.05/30')}; {drawn}")
    row("within 80 % ranges of effects", f"{100 * inside:.1f} %", met(79 <= 100 * inside <= 81, "79 to 81"))
    row("mean rank of the studio's effect", f"{np.mean(positions['studio']):.3f}")


def _evenness(ranked: np.ndarray) -> float:
    """Kolmogorov and Smirnov's chance that so uneven a set comes from the even distribution (asymptotic series)."""
    ordered, n = np.sort(ranked), len(ranked)
    steps = np.arange(1, n + 1) / n
    distance = max(float(np.abs(steps - ordered).max()), float(np.abs(steps - 1 / n - ordered).max()))
    x = (np.sqrt(n) + 0.12 + 0.11 / np.sqrt(n)) * distance
    k = np.arange(1, 101)
    return float(np.clip(2 * ((-1.0) ** (k - 1) * np.exp(-2 * (k * x) ** 2)).sum(), 0, 1))


def hostile(sets: int = 10_000) -> None:
    print("Hostile data (12)")
    failed = fallbacks = 0
    for seed in range(sets):
        rng = np.random.default_rng((seed, 9001))
        layers = []
        for _ in range(int(rng.integers(1, 12))):
            days, felt = np.exp(rng.normal(1.5, 1.5, 4)), rng.integers(0, 4, 4)
            presses = tuple(Press(float(d), Felt(int(f))) for d, f in zip(days, felt, strict=True))
            effects = (("studio", 1.0), (f"pigment:P{rng.integers(9)}", float(rng.uniform(-1, 3))))
            layers.append(Evidence(float(np.exp(rng.normal(1, 2.5))), effects, presses))
        lapse = float(rng.choice([0.0, 0.02, 0.1]))
        fit = learn(layers, Ask(replace(STANDARD, lapse=lapse))).top.fit
        fallbacks += fit.method != "ep"
        failed += not (np.isfinite(fit.mean).all() and np.linalg.eigvalsh(fit.cov).min() > 0)
    row(f"{sets:,} sets: without an answer", f"{failed}", met(failed == 0, "none"))
    row("by Laplace's fallback", f"{fallbacks}")
    sweeps = max(learn(make(seed, 40).layers, Ask()).top.fit.sweeps for seed in range(100))
    row("most sweeps of a clean studio", f"{sweeps}", met(sweeps <= 15, "15"))


def honesty(painters: int = 60) -> None:
    print("Telling how good dates were, from 160 tests (15)")
    for factor, name in ((1.0, "honest promises"), (0.6, "sds told at 0.6")):
        covers, off = [], []
        for seed in range(painters):
            studio, rng = make(seed, 1000, until=160), np.random.default_rng((seed, 77))
            promised = [
                Promise(float(moment + rng.normal(0, 0.35)), 0.35 * factor, layer)
                for moment, layer in zip(studio.log_dry, studio.layers, strict=True)
            ]
            found = calibrate(promised)
            covers.append(found.covers)
            off.append(found.is_off)
        truth = 1 - 2 * float(share(np.array([-Z[80] * factor]))[0])
        rmse = float(np.sqrt(np.mean((np.array(covers) - truth) ** 2)))
        good = 0.78 <= np.mean(covers) <= 0.82 and rmse <= 0.08 if factor == 1.0 else True
        note = met(bool(good), "78 to 82, rmse 8") if factor == 1.0 else ""
        row(f"{name}: read, true, rmse", f"{100 * np.mean(covers):.1f}, {100 * truth:.1f}", f"{100 * rmse:.1f}  {note}")
        called = 100 * float(np.mean(off))
        bar = met(called <= 8, "8 % at most") if factor == 1.0 else met(called >= 75, "75 %")
        row(f"{name}: called off", f"{called:.0f} %", bar)


def promised(studios: int = 40) -> None:
    print("Promises frozen when the layer went on, over the first 50 layers (16)")
    gains = []
    for seed in range(studios):
        studio = make(seed, 50)
        for i, layer in enumerate(studio.layers):
            bare = replace(layer, presses=())
            told = [learn(seen, Ask()).predict(bare) for seen in (studio.layers[:i], [])]
            scores = [log_scores([Promise(p.log_mean, p.log_sd, layer)])[0] for p in told]
            gains.append(scores[0] - scores[1])
    gain = float(np.mean(gains))
    row("gain over the book a layer", f"{gain:.3f} nats", met(gain >= 0.15, "0.15"))


def cost() -> None:
    print("Cost (4, 5; CPU, against 300 tests known by heart)")
    unit = 0.0
    for tests, bar in ((300, 5.0), (2000, 25.0), (10_000, 150.0)):
        layers = make(1, 10_000, Painter(wrong=0.02), until=tests).layers
        known: Rows = {}
        learn(layers, Ask(), known=known)
        cold = 1000 * cpu_s(partial(learn, layers, Ask()), 5)
        warm = 1000 * cpu_s(partial(learn, layers, Ask(), known=known), 5)
        unit = unit or warm
        row(f"{tests:,} tests: cold", f"{cold:.1f} ms", f"{cold / unit:.1f} times  {met(cold <= bar, f'{bar:g} ms')}")
        row(f"{tests:,} tests: one press more, tables kept", f"{warm:.1f} ms", f"{warm / unit:.1f} times")
    found = cases(make(1, 10_000, Painter(wrong=0.02), until=300).layers, Priors())
    scales = cpu_s(partial(learn_scales, found, STANDARD), 2)
    row("300 tests: the scales", f"{scales:.2f} s", f"{1000 * scales / unit:.0f} times  {met(scales <= 1, '1 s')}")


PARTS = (cost, exact, known_scales, unknown_scales, wrong_scales, wrong_tests, only_when_dry)
MORE_PARTS = (ranks, hostile, honesty, promised, drifting)


def run() -> None:
    for part in (*PARTS, *MORE_PARTS):
        part()
