"""A layer and a room as JSON, with the range of every number, and their way into the science."""

import itertools
import re
from bisect import bisect_right
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field

from server.formats.calls.problems import FieldProblem, path_text
from server.science import reference
from server.science.errors import InputError
from server.science.recipe import (
    Addition,
    AdditionKind,
    Ground,
    LayerRecipe,
    MixRecipe,
    Paint,
    PigmentShare,
    Room,
    RoomStep,
    RoomSteps,
)

SHARE_TOLERANCE = 0.005  # shares typed with two decimals still add up
REFERENCE_TEMPERATURE_C = 21.0
REFERENCE_HUMIDITY_PCT = 50.0
SECONDS_PER_DAY = 86_400.0
LEAST = 1e-6  # of parts, shares, micrometres and days

CONTROL_CHARACTERS = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def _no_control_characters(text: str) -> str:
    if CONTROL_CHARACTERS.search(text):
        raise ValueError("must not hold control characters")
    return text


Name = Annotated[str, Field(strict=True, max_length=200), AfterValidator(_no_control_characters)]
Code = Annotated[str, Field(strict=True, min_length=1, max_length=64), AfterValidator(_no_control_characters)]


def _no_less_than_least(value: float) -> float:
    """Numbers so small that they vanish beside the others would leave a mix of nothing."""
    if value < LEAST:
        raise ValueError(f"must be at least {LEAST:.6f}")
    return value


NotTiny = AfterValidator(_no_less_than_least)
Parts = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=10_000), NotTiny]
Share = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=1), NotTiny]
Fraction = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=1)]
ThicknessUm = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=10_000), NotTiny]
TemperatureC = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-30, le=60)]
HumidityPct = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=100)]
LightFactor = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.01, le=20)]
AgeD = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=200_000)]
StageD = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=200_000), NotTiny]


class CallModel(BaseModel):
    """Base of every call model: unknown fields are refused with their path."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PigmentIn(CallModel):
    ci_name: Code
    variant: Code | None = None
    share: Share = 1.0


class PaintIn(CallModel):
    parts: Parts
    oil: Code = "linseed"
    pigments: list[PigmentIn] = Field(min_length=1, max_length=20)
    paint_oil_g_per_100g: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=1000)] | None = None
    rub_out_oa_g_per_100g: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=1000)] | None = None
    density_g_cm3: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.5, le=25)] | None = None


class Metal(StrEnum):
    """Metals of driers, by chemical symbol."""

    PB = "Pb"
    MN = "Mn"
    CO = "Co"


class AdditionIn(CallModel):
    """``parts`` is needed for everything but drier and clove_oil, which have figures of their own."""

    kind: AdditionKind
    parts: Parts | None = None
    oil: Code | None = None
    solvent: Code | None = None
    non_volatile: Share | None = None
    metal: Metal | None = None
    percent_on_oil: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=10)] | None = None
    drops_per_10_ml: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=200)] | None = None


class MixIn(CallModel):
    name: Name = ""
    area_share: Share = 1.0
    paints: list[PaintIn] = Field(default_factory=list, max_length=40)
    additions: list[AdditionIn] = Field(default_factory=list, max_length=40)


class LayerIn(CallModel):
    wet_thickness_um: ThicknessUm
    ground: Ground
    mixes: list[MixIn] = Field(min_length=1, max_length=40)


Light = Literal["dark", "dim", "room", "bright", "sun_glass"] | LightFactor


class ReadingIn(CallModel):
    """The climate from ``at`` on; ``light`` of its own, for a panel that was moved, else the room's."""

    at: AwareDatetime
    temperature_c: TemperatureC
    relative_humidity_pct: HumidityPct
    light: Light | None = None


class RoomIn(CallModel):
    """One climate, or a ``series`` of readings; the last reading holds on."""

    temperature_c: TemperatureC | None = None
    relative_humidity_pct: HumidityPct | None = None
    series: list[ReadingIn] | None = Field(default=None, min_length=1, max_length=100_000)
    light: Light = "room"
    measured: Annotated[bool, Field(strict=True)] = False


FIELDS_OF_KIND: dict[AdditionKind, tuple[str, ...]] = {
    AdditionKind.OIL: ("parts", "oil"),
    AdditionKind.SOLVENT: ("parts", "solvent"),
    AdditionKind.ALKYD_MEDIUM: ("parts", "non_volatile"),
    AdditionKind.DRIER: ("metal", "percent_on_oil"),
    AdditionKind.WAX: ("parts",),
    AdditionKind.CLOVE_OIL: ("drops_per_10_ml",),
    AdditionKind.INERT: ("parts",),
    AdditionKind.SOFT_RESIN: ("parts",),
}
# What may be left out: linseed, the usual spirit, and half solids are the trade's defaults.
DEFAULTS_OF_KIND: dict[str, object] = {"oil": "linseed", "solvent": "odourless_mineral_spirits", "non_volatile": 0.5}
KIND_AND_FIELDS = {kind: frozenset({"kind", *names}) for kind, names in FIELDS_OF_KIND.items()}
ALL_KIND_FIELDS = tuple(dict.fromkeys(name for names in FIELDS_OF_KIND.values() for name in names))


class Collector:
    """Gathers domain faults with their path, so that one answer names them all."""

    def __init__(self, prefix: tuple[int | str, ...] = ()) -> None:
        self.prefix = prefix
        self.problems: list[FieldProblem] = []

    def add(self, path: tuple[int | str, ...], message: str) -> None:
        self.problems.append(FieldProblem(path_text((*self.prefix, *path)), message))


def pigment_share(pigment: PigmentIn, path: tuple[int | str, ...], faults: Collector) -> PigmentShare:
    try:
        return _known_share(pigment.ci_name, pigment.variant, pigment.share)
    except InputError as error:
        faults.add((*path, error.path.split(".")[-1]), error.message)
    return PigmentShare(pigment.ci_name, pigment.variant, pigment.share)


@lru_cache(maxsize=4096)
def _known_share(ci_name: str, variant: str | None, share: float) -> PigmentShare:
    """Raises InputError where the table has no such pigment."""
    reference.find_pigment(ci_name, variant)
    return PigmentShare(ci_name, variant, share)


def known(name: str, find: object, path: tuple[int | str, ...], faults: Collector) -> str:
    try:
        find(name)  # type: ignore[operator]
    except InputError as error:
        faults.add(path, error.message)
    return name


def paint(given: PaintIn, path: tuple[int | str, ...], faults: Collector) -> Paint:
    total = sum([p.share for p in given.pigments])
    if abs(total - 1) > SHARE_TOLERANCE:
        faults.add((*path, "pigments"), f"the shares of the pigments must add up to 1; they add up to {total:g}")
    pigments = tuple([pigment_share(p, (*path, "pigments", i), faults) for i, p in enumerate(given.pigments)])
    oil = known(given.oil, reference.oil, (*path, "oil"), faults)
    own = (given.paint_oil_g_per_100g, given.rub_out_oa_g_per_100g, given.density_g_cm3)
    return Paint(given.parts, oil, pigments, *own)


def addition(given: AdditionIn, path: tuple[int | str, ...], faults: Collector) -> Addition:
    wanted = FIELDS_OF_KIND[given.kind]
    if not given.model_fields_set.issubset(KIND_AND_FIELDS[given.kind]):
        for name in ALL_KIND_FIELDS:
            if name not in wanted and getattr(given, name) is not None:
                faults.add((*path, name), f"does not belong to an addition of kind {given.kind.value}")
    values: dict[str, Any] = {}
    for name in wanted:
        value = getattr(given, name)
        if value is None:
            value = DEFAULTS_OF_KIND.get(name)
            if value is None:
                faults.add((*path, name), f"is missing: an addition of kind {given.kind.value} needs it")
                continue
        values[name] = value
    if "oil" in values:
        known(values["oil"], reference.oil, (*path, "oil"), faults)
    if "solvent" in values:
        known(values["solvent"], reference.solvent, (*path, "solvent"), faults)
    if "metal" in values:
        values["metal"] = values["metal"].value
    return Addition(given.kind, **values)


FILM_FORMERS = {AdditionKind.OIL, AdditionKind.ALKYD_MEDIUM}


def mix(given: MixIn, path: tuple[int | str, ...], faults: Collector) -> MixRecipe:
    if not given.paints and not any(a.kind in FILM_FORMERS for a in given.additions):
        faults.add(path, "holds nothing that dries: give a paint, an oil or an alkyd medium")
    return MixRecipe(
        name=given.name,
        area_share=given.area_share,
        paints=tuple([paint(p, (*path, "paints", i), faults) for i, p in enumerate(given.paints)]),
        additions=tuple([addition(a, (*path, "additions", i), faults) for i, a in enumerate(given.additions)]),
    )


def layer(given: LayerIn, path: tuple[int | str, ...], faults: Collector) -> LayerRecipe:
    """The science's value for a layer; faults (unknown pigment, shares over 1, ...) go to ``faults``."""
    total = sum([m.area_share for m in given.mixes])
    if total > 1 + SHARE_TOLERANCE:
        faults.add((*path, "mixes"), f"the area shares add up to {total:g}; a layer covers 1 at the most")
    mixes = tuple([mix(m, (*path, "mixes", i), faults) for i, m in enumerate(given.mixes)])
    return LayerRecipe(given.wet_thickness_um, given.ground, mixes)


def check_room(given: RoomIn, path: tuple[int | str, ...], faults: Collector) -> None:
    single = given.temperature_c is not None or given.relative_humidity_pct is not None
    if given.series is not None and single:
        faults.add((*path, "series"), "give either one climate or a series, not both")
    if given.series is None:
        for name in ("temperature_c", "relative_humidity_pct"):
            if getattr(given, name) is None:
                faults.add((*path, name), "is missing")
    else:
        instants = [r.at for r in given.series]
        for i, (earlier, later) in enumerate(itertools.pairwise(instants), start=1):
            if later <= earlier:
                faults.add((*path, "series", i, "at"), "must be later than the reading before it")
                return


def room(given: RoomIn, painted_at: datetime | None) -> Room:
    """The science's value for a room as a layer painted at ``painted_at`` meets it (None: at the first reading).

    Light is taken as measured only where the room's and every reading's own is a number.
    """
    if given.series is None:
        assert given.temperature_c is not None and given.relative_humidity_pct is not None  # checked before
        steps: tuple[RoomStep, ...] | RoomSteps = (RoomStep(0.0, given.temperature_c, given.relative_humidity_pct),)
        lights: list[Light] = [given.light]
    else:
        steps = _steps(given.series, painted_at or given.series[0].at, light_factor(given.light))
        lights = [given.light, *(reading.light for reading in given.series if reading.light is not None)]
    return Room(steps, light_factor(given.light), not any(isinstance(light, str) for light in lights), given.measured)


def light_factor(light: Light) -> float:
    return reference.LIGHT_FACTORS[light] if isinstance(light, str) else float(light)


def _steps(series: list[ReadingIn], painted_at: datetime, light: float) -> RoomSteps:
    """Readings as steps from the painting on; the last reading before it counts from day 0."""
    start = painted_at.timestamp()
    from_d = [(reading.at.timestamp() - start) / SECONDS_PER_DAY for reading in series]
    first = max(0, bisect_right(from_d, 0.0) - 1)
    kept = series[first:]
    return RoomSteps.of(
        [0.0, *from_d[first + 1 :]],
        [reading.temperature_c for reading in kept],
        [reading.relative_humidity_pct for reading in kept],
        [light if reading.light is None else light_factor(reading.light) for reading in kept],
    )
