"""What was learned, in the painter's words: how good dates have been, which colours are slower."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp

from server.services.learning_correction import percent_later
from server.services.learning_report import LearningReport
from server.web.words import count_words, figure, join_words

MEDIUMS = {
    "alkyd": "alkyd medium",
    "wax": "wax",
    "clove": "clove oil",
    "resin": "soft resin",
}
LITTLE_PCT = 20  # learned less than this: the book's value still
HALF_BAND = 1.6448536
WIDTH_WORTH_SAYING = 0.1
LEAST_CHANGE = 0.05  # less than a twentieth is no news


@dataclass(frozen=True, slots=True)
class EffectLine:
    """``told``: "about 12 % slower, between 2 % faster and 28 % slower"; ``learned_pct`` of what was open."""

    name: str
    told: str
    learned_pct: int
    is_little: bool


def effect_name(name: str, places: Mapping[str, str]) -> str:
    """The effect as a painter says it."""
    kind, _, rest = name.partition(":")
    if kind == "studio":
        return "the studio as a whole"
    if kind == "place":
        return f"the place “{places[name]}”" if name in places else "a place"
    if kind == "paint":
        return f"the tube “{places[name]}”, beyond its pigments" if name in places else "a tube"
    if kind == "thickness":
        return "thick layers, beyond what the book has"
    if kind == "pigment":
        return rest.replace("/", ", ")
    family, _, member = rest.partition("/")
    if family == "oil":
        return f"{member.replace('_', ' ')} oil" if "oil" not in member else member.replace("_", " ")
    return f"drier with {member}" if family == "drier" else MEDIUMS.get(family, family)


def effect_lines(report: LearningReport) -> list[EffectLine]:
    """The effects, those that most is known of first."""
    lines = []
    for effect in sorted(report.effects, key=lambda each: -each.learned):
        low, high = effect.mean - HALF_BAND * effect.sd, effect.mean + HALF_BAND * effect.sd
        learned = round(100 * effect.learned)
        is_little = learned < LITTLE_PCT
        told = f"{slower(effect.mean)}; 9 in 10 between {slower(low)} and {slower(high)}"
        lines.append(
            EffectLine(
                effect_name(effect.name, report.names), "the book’s value" if is_little else told, learned, is_little
            )
        )
    return lines


def slower(log_factor: float) -> str:
    """``12 % slower``, ``5 % faster``, ``as the book has it``."""
    pct = round(100 * (exp(log_factor) - 1))
    if pct == 0:
        return "as the book has it"
    return f"{pct} % slower" if pct > 0 else f"{-pct} % faster"


def pair_lines(report: LearningReport) -> list[str]:
    """Effects that are not told apart yet, each with the test that would tell them apart."""
    lines = []
    for pair in sorted(report.pairs, key=lambda each: -abs(each.correlation)):
        first, second = (effect_name(name, report.names) for name in (pair.first, pair.second))
        if pair.correlation < 0:
            told = f"{first} and {second}: together {slower(pair.mean)}, not yet told apart."
        else:
            told = f"{first} and {second}: only the difference between them is known."
        lines.append(f"{_capital(told)} {_one_test(pair.first, pair.second, (first, second))}")
    return lines


def _one_test(first: str, second: str, words: tuple[str, str]) -> str:
    kinds = {first.partition(":")[0], second.partition(":")[0]}
    if kinds == {"paint", "pigment"}:
        return "A layer of the same pigment from another tube would tell."
    if kinds <= {"studio", "place"}:
        return "A layer pressed in another place would tell."
    for name, said in zip((first, second), words, strict=True):
        if name.startswith(("pigment", "medium", "paint")):
            return f"One test of a layer with much of {said}, and none of the other, would tell."
    return "A test of a layer much thicker or thinner than these would tell."


SELDOMEST, OFTENEST = 1, 99  # times in a hundred


def reliability_words(report: LearningReport) -> str:
    """How honest the ranges were, in one sentence with its band."""
    found = report.calibration
    if found is None:
        missing = report.fewest - report.scored
        return (
            f"Too few to say: {count_words(report.scored, 'layer')} with a promise and tests so far; "
            f"from {report.fewest} on something can be said, {missing} more."
        )
    covers, low, high = (in_hundred(share) for share in (found.covers, found.covers_low, found.covers_high))
    band = band_words(low, high)
    return f"When we say 8 times in 10, it is {covers} times in 100 ({band}, 9 times in 10)."


def in_hundred(share: float) -> int:
    """So many times in a hundred; what was fitted to a few layers never says always or never."""
    return min(OFTENEST, max(SELDOMEST, round(100 * share)))


def band_words(low: int, high: int) -> str:
    """``between 82 and 96``: a band of so many times in a hundred; one that is narrower than its figures tell is told
    by the one figure, which at either end may be as good as never or always."""
    if low < high:
        return f"between {low} and {high}"
    if low >= OFTENEST:
        return f"{low} or more"
    return f"about {low}" if low > SELDOMEST else f"{low} or fewer"


@dataclass(frozen=True, slots=True)
class ReliabilityLine:
    """What was said, and how many times in a hundred it was so, with the band that holds 9 times in 10."""

    said: str
    was: int
    low: int
    high: int

    @property
    def band(self) -> str:
        return band_words(self.low, self.high)


SAID = {0.5: "5 times in 10", 0.8: "8 times in 10", 0.95: "19 times in 20"}


def reliability_lines(report: LearningReport) -> list[ReliabilityLine]:
    """The same of narrower and wider ranges; none where there are too few layers to say."""
    return [
        ReliabilityLine(SAID[level], *(in_hundred(share) for share in shares))
        for level, shares in report.reliability.items()
    ]


def drift_words(report: LearningReport) -> str:
    """Late or early, wide or narrow, where the tests tell it from chance."""
    found = report.calibration
    if found is None:
        return ""
    if not found.is_off:
        return "That is no more off than chance would have it."
    told = []
    if abs(found.delta) > 2 * found.cov[0, 0] ** 0.5:
        told.append("layers dried later than promised" if found.delta > 0 else "layers dried sooner than promised")
    if found.kappa < 0.8:
        told.append("the ranges were wider than they needed to be")
    elif found.kappa > 1.25:
        told.append("the ranges were too narrow")
    sentence = join_words(told) if told else "the promises were a little off"
    return f"{_capital(sentence)}, more than chance would have it."


def correction_words(report: LearningReport) -> str:
    """How new dates are put right where those before were off by more than chance."""
    found = report.correction
    if found is None:
        return ""
    later = percent_later(found)
    told = []
    if later:
        told.append(f"your dates have run {abs(later)} % {'early' if later > 0 else 'late'}")
    if abs(found.kappa - 1) > WIDTH_WORTH_SAYING:
        told.append(f"your ranges were {'too narrow' if found.kappa > 1 else 'wider than needed'}")
    if not told:
        return ""
    return f"{_capital(' and '.join(told))}; the dates of new layers are corrected for it. What was promised stays."


def change_words(report: LearningReport) -> str:
    """That layers have become slower or quicker, where the tests tell it from chance; what may lie behind it."""
    told = []
    if report.change is not None:
        mean, sd = report.change
        if abs(mean) > HALF_BAND * sd and abs(exp(mean) - 1) >= LEAST_CHANGE:
            told.append(f"Your layers dry {slower(mean)} than three months ago. The dates have followed.")
    recent = report.recent
    if recent is not None and recent.is_off and abs(recent.delta) > 2 * recent.cov[0, 0] ** 0.5:
        how = "later" if recent.delta > 0 else "sooner"
        told.append(
            f"The last {recent.layers} layers dried {how} than promised. Has something changed: a heater, the place, "
            "a new batch of a colour? Then correct the place, enter the new tube as one of its own, or begin to learn "
            "anew."
        )
    return " ".join(told)


def gain_words(report: LearningReport) -> str:
    """What learning was worth against the book, in odds a layer."""
    if not report.scored:
        return ""
    factor = exp(report.gain_nats / report.scored)
    if factor >= 1.02:
        told = (
            f"Your own dates made what you pressed {figure(factor)} times as likely as the book’s did, layer by layer"
        )
    elif factor <= 0.98:
        told = f"The book’s dates would have done better so far: {figure(1 / factor)} times as likely, layer by layer"
    else:
        told = "So far your own dates and the book’s have done equally well"
    return f"{told} (over {count_words(report.scored, 'layer')})."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
