"""Answers of the ``estimate`` call from estimates: numbers rounded and dated as arrays, many answers at once."""

import json
from collections.abc import Sequence
from datetime import datetime, timezone
from typing import Any

import numpy as np

from server.science.results import Composition, LayerEstimate, Provenance, Stage, StageRange

DAYS_DIGITS = 6  # significant digits of an answer; the range says how much of it is knowledge
PERCENTILE_NAMES = ("p05_d", "p10_d", "p50_d", "p90_d", "p95_d")
DATED = (2, 3)  # p50 and p90 get their instants
COMPOSITION_NAMES = (
    "richness",
    "added_binder_share",
    "solvent_share",
    "binder_volume_fraction",
    "pigment_volume_concentration",
    "critical_pvc",
    "reduced_pvc",
    "density_g_cm3",
    "film_thickness_um",
)
US_PER_DAY = 86_400_000_000
EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)
LAST_US = int((datetime(9999, 12, 31, 23, 59, 59, tzinfo=timezone.utc) - EPOCH).total_seconds()) * 1_000_000
Times = list[dict[str, Any]]  # of each stage, in order


def rounded_all(values: np.ndarray) -> np.ndarray:
    """``values`` to six significant digits, each the nearest number they write; what is not finite stays as it is."""
    with np.errstate(divide="ignore", invalid="ignore"):
        places = DAYS_DIGITS - 1 - np.floor(np.log10(np.abs(values)))
        scale = 10.0 ** np.abs(places)
        answer = np.where(places >= 0, np.rint(values * scale) / scale, np.rint(values / scale) * scale)
    return np.where(np.isfinite(values) & (values != 0), answer, values)


def finite_list(values: np.ndarray) -> list[list[float | None]]:
    """Rounded rows as lists; None where a number is not finite, for which JSON has no number."""
    rows: list[list[float | None]] = rounded_all(values).tolist()
    if not np.isfinite(values).all():
        rows = [[value if value is not None and np.isfinite(value) else None for value in row] for row in rows]
    return rows


def instants_of(painted_at: Sequence[datetime | None], days: np.ndarray) -> list[list[str | None]]:
    """``painted_at`` plus so many days (rows, any), each in the zone it came in, to the second below.

    None beyond the calendar, and for rows without an instant.
    """
    offsets = [None if at is None else at.utcoffset() for at in painted_at]
    starts = [0 if at is None else _local_us(at) for at in painted_at]
    until = np.array(starts)[:, None] + np.rint(np.minimum(days, 1e7) * US_PER_DAY)
    texts = np.datetime_as_string((np.minimum(until, LAST_US) // 1_000_000).astype("datetime64[s]"), unit="s").tolist()
    beyond = (until > LAST_US).tolist()
    answer: list[list[str | None]] = []
    for offset, row, lost in zip(offsets, texts, beyond, strict=True):
        if offset is None:
            answer.append([None] * len(row))
        else:
            zone = datetime(2000, 1, 1, tzinfo=timezone(offset)).isoformat()[19:]
            answer.append([None if gone else text + zone for text, gone in zip(row, lost, strict=True)])
    return answer


def _local_us(at: datetime) -> int:
    """Microseconds on the clock of its own zone."""
    since = at.replace(tzinfo=timezone.utc) - EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


def stage_answers(ranges: Sequence[Sequence[StageRange]], painted_at: Sequence[datetime | None]) -> list[Times]:
    """Every row's stages as the call answers them; ``ranges`` (rows, stages), ``painted_at`` by row."""
    if not ranges:
        return []
    days = np.array(
        [[(s.p05_d, s.p10_d, s.p50_d, s.p90_d, s.p95_d) for s in row] for row in ranges], dtype=float
    ).reshape(len(ranges), -1, len(PERCENTILE_NAMES))
    figures = rounded_all(days).tolist()
    dated = instants_of(painted_at, days[:, :, DATED].reshape(len(ranges), -1))
    answer = []
    for row, dates in zip(figures, dated, strict=True):
        times = []
        for i, (p05, p10, p50, p90, p95) in enumerate(row):
            times.append(
                {
                    "p05_d": p05,
                    "p10_d": p10,
                    "p50_d": p50,
                    "p90_d": p90,
                    "p95_d": p95,
                    "p50_at": dates[2 * i],
                    "p90_at": dates[2 * i + 1],
                }
            )
        answer.append(times)
    return answer


def composition_answers(compositions: Sequence[Composition]) -> list[dict[str, Any]]:
    """What each mix is; ``richness`` is None for a film without solids."""
    figures = np.array([[getattr(c, name) for name in COMPOSITION_NAMES] for c in compositions], dtype=float)
    return [
        {"name": composition.name, **dict(zip(COMPOSITION_NAMES, row, strict=True))}
        for composition, row in zip(compositions, finite_list(figures), strict=True)
    ]


class Told:
    """Where numbers come from, as the call tells it: one list for all estimates that stand on the same."""

    def __init__(self) -> None:
        self._lists: dict[int, tuple[tuple[Provenance, ...], list[dict[str, str]]]] = {}

    def of(self, provenance: tuple[Provenance, ...]) -> list[dict[str, str]]:
        known = self._lists.get(id(provenance))
        if known is None:
            told = [{"quantity": p.quantity, "source": p.source, "confidence": p.confidence} for p in provenance]
            known = self._lists[id(provenance)] = (provenance, told)  # kept, so that its id stays its own
        return known[1]


def estimate_answers(
    estimates: Sequence[LayerEstimate], painted_at: Sequence[datetime | None], warnings: Sequence[list[str]]
) -> list[dict[str, Any]]:
    """The answers, in order; ``warnings`` of each."""
    regions = [region for estimate in estimates for region in estimate.regions]
    at = [when for estimate, when in zip(estimates, painted_at, strict=True) for _ in estimate.regions]
    times = stage_answers([list(region.stages.values()) for region in regions], at)
    compositions = composition_answers([region.composition for region in regions])
    oil = finite_list(np.array([(e.iodine_value, e.drying_index, e.max_mass_gain_pct) for e in estimates]))
    told = Told()
    answers = []
    first = 0
    for i, estimate in enumerate(estimates):
        last = first + len(estimate.regions)
        by_stage = [dict(zip(Stage, stages, strict=True)) for stages in times[first:last]]
        iodine, index, gain = oil[i]
        answers.append(
            {
                "stages": _of_slowest(estimate, by_stage, at[first]),
                "regions": [
                    {"name": r.name, "area_share": r.area_share, "stages": own, "holds_up": r.holds_up}
                    for r, own in zip(estimate.regions, by_stage, strict=True)
                ],
                "composition": compositions[first:last],
                "oil": {"iodine_value": iodine, "drying_index": index, "max_mass_gain_pct": gain},
                "provenance": told.of(estimate.provenance),
                "warnings": warnings[i],
            }
        )
        first = last
    return answers


def _of_slowest(
    estimate: LayerEstimate, by_stage: list[dict[Stage, dict[str, Any]]], painted_at: datetime | None
) -> dict[Stage, dict[str, Any]]:
    """The layer's stages: each that of the region it waits for, or the latest figures of several."""
    if len(by_stage) == 1:
        return by_stage[0]
    found = {}
    for stage, span in estimate.stages.items():
        place = next((i for i, region in enumerate(estimate.regions) if region.stages[stage] is span), None)
        found[stage] = stage_answers([[span]], [painted_at])[0][0] if place is None else by_stage[place][stage]
    return found


STAGE_TEXT = '{"p05_d": %r, "p10_d": %r, "p50_d": %r, "p90_d": %r, "p95_d": %r, "p50_at": %s, "p90_at": %s}'
STAGES_TEXT = "{" + ", ".join(f'"{stage.value}": {STAGE_TEXT}' for stage in Stage) + "}"


def as_text(answers: Sequence[dict[str, Any]]) -> str:
    """A list of answers as JSON, the same as the usual encoder's but for the order; what is shared is written once."""
    written: dict[int, str] = {}
    texts = []
    for answer in answers:
        told, stages = answer["provenance"], answer["stages"]
        if id(told) not in written:
            written[id(told)] = json.dumps(told)
        whole = _stages_text(stages)
        regions = [
            f'{{"name": {json.dumps(region["name"])}, "area_share": {region["area_share"]!r}, "stages": '
            f"{whole if region['stages'] is stages else _stages_text(region['stages'])}, "
            f'"holds_up": {"true" if region["holds_up"] else "false"}}}'
            for region in answer["regions"]
        ]
        rest = json.dumps({name: answer[name] for name in ("composition", "oil", "warnings")})
        texts.append(
            f'{{"stages": {whole}, "regions": [{", ".join(regions)}], {rest[1:-1]}, "provenance": {written[id(told)]}}}'
        )
    return f"[{', '.join(texts)}]"


def _stages_text(stages: dict[Stage, dict[str, Any]]) -> str:
    figures: list[object] = []
    for times in stages.values():
        *days, p50_at, p90_at = times.values()
        figures += days
        figures.append("null" if p50_at is None else f'"{p50_at}"')
        figures.append("null" if p90_at is None else f'"{p90_at}"')
    return STAGES_TEXT % tuple(figures)
