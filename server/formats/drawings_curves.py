"""The chance of each stage over the coming days as curves: plain geometry; the template draws it."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.science.results import Stage, StageRange
from server.science.stages import odds_reached

WIDTH, HEIGHT = 344.0, 196.0
LEFT, RIGHT, TOP, FLOOR = 34.0, 334.0, 12.0, 164.0
POINTS = 61
TICKS = 6
NICE_DAYS = (1, 2, 3, 5, 7, 10, 14, 21, 30, 45, 60, 90, 120, 180, 270, 365)
# Every curve has its own dashes: colour alone tells nothing.
DASHES = {
    Stage.SET_TO_TOUCH: "1 4",
    Stage.DRY_TO_TOUCH: "",
    Stage.DRY_TO_RECOAT: "8 4",
    Stage.DRY_THROUGH: "12 3 2 3",
}


@dataclass(frozen=True, slots=True)
class Curve:
    """A stage's curve: ``path`` from the painting on, ``dashes`` of its line, and where its number stands."""

    stage: Stage
    number: int
    path: str
    dashes: str
    label_x: float
    label_y: float


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark at the foot: ``day`` after painting."""

    x: float
    day: float


@dataclass(frozen=True, slots=True)
class ChanceDrawing:
    """``days``: the length of the axis; ``now_x``: where the film stands today, None when that is off the drawing.

    ``levels``: heights of one half and nine in ten. ``desc`` says the drawing in words.
    """

    width: float
    height: float
    curves: tuple[Curve, ...]
    ticks: tuple[Tick, ...]
    levels: tuple[tuple[str, float], ...]
    days: float
    now_x: float | None
    desc: str


def chance_drawing(stages: Mapping[Stage, StageRange], age_d: float) -> ChanceDrawing:
    """Curves of the stages up to dry-through over the days until that is likely; ``age_d``: of the film today."""
    shown = [stage for stage in DASHES if stage in stages]
    days = axis_days(stages)
    curves = tuple(_curve(stage, number, stages[stage], days) for number, stage in enumerate(shown, 1))
    step = next((nice for nice in NICE_DAYS if days / nice <= TICKS), days / TICKS)
    ticks = tuple(Tick(_x(i * step, days), i * step) for i in range(int(days / step) + 1))
    levels = tuple((words, _y(chance)) for words, chance in (("1 in 2", 0.5), ("9 in 10", 0.9)))
    touch = stages[Stage.DRY_TO_TOUCH]
    half, most = f"{touch.p50_d:.2g}", f"{touch.p90_d:.2g}"
    desc = f"Over {days:.0f} days. The chance of being touch-dry is one half at {half} days, nine in ten at {most}."
    return ChanceDrawing(
        WIDTH, HEIGHT, curves, ticks, levels, days, _x(age_d, days) if 0 < age_d < days else None, desc
    )


def axis_days(stages: Mapping[Stage, StageRange]) -> float:
    """How many days the drawing runs: until nine in ten may be painted over, and half of them are firm."""
    wanted = max(stages[Stage.DRY_TO_RECOAT].p90_d, min(stages[Stage.DRY_THROUGH].p50_d, 365.0)) * 1.1
    return float(next((nice for nice in NICE_DAYS if nice >= wanted), wanted))


def chances(stages: Mapping[Stage, StageRange], days: float) -> list[tuple[float, dict[Stage, float]]]:
    """(day, chance of each stage) at eight days of the drawing, for the table beside it."""
    steps = [days * i / 8 for i in range(1, 9)]
    return [(day, {stage: odds_reached(found, day) for stage, found in stages.items()}) for day in steps]


def _curve(stage: Stage, number: int, found: StageRange, days: float) -> Curve:
    ages = [days * i / (POINTS - 1) for i in range(POINTS)]
    points = [(_x(age, days), _y(odds_reached(found, age))) for age in ages]
    path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    middle = min(found.p50_d, days * 0.94)
    return Curve(stage, number, path, DASHES[stage], _x(middle, days), _y(odds_reached(found, middle)))


def _x(age_d: float, days: float) -> float:
    return round(LEFT + (RIGHT - LEFT) * age_d / days, 1)


def _y(chance: float) -> float:
    return round(FLOOR - (FLOOR - TOP) * chance, 1)
