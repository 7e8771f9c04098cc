"""The cross-section: a panel's stack as a sample under the microscope, cut and seen from the side.

Linear scale: every film is drawn exactly as thick as it is against the others and the scale bar. Logarithmic scale:
each film's height grows with ln(1 + thickness / 5 um), for a glaze under an impasto; there is then no scale bar. The
mean of every drawn boundary is exact: its ripple has no net area.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from server.formats.drawings import (
    Area,
    Point,
    SectionLayer,
    SectionRegion,
    SectionSubject,
    normalised,
    number,
    polygon,
)

WIDTH = 410.0
LEFT, RIGHT = 54.0, 322.0  # the sample
AIR = 18.0
GROUND_HEIGHT = 19.0
SUPPORT_HEIGHT = 32.0
LEAST_FILMS_HEIGHT = 170.0
MOST_UNITS_PER_UM = 1.3
LOG_KNEE_UM = 5.0
MOST_LOG_UNITS = 26.0
LABEL_SPACING = 19.0
MARK_SPACING = 26.0
MARK_X = 347.0
STEPS = 32
SCALE_BARS_UM = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


@dataclass(frozen=True, slots=True)
class Grain:
    """A pigment particle in a film. ``tone`` is light or dark."""

    x: float
    y: float
    r: float
    tone: str


@dataclass(frozen=True, slots=True)
class RegionDrawing:
    """One mix of one layer between ``x`` and ``x + width``. ``sheen``: the path of light along its upper skin."""

    name: str
    state: str
    detail: str
    share: float
    area: Area
    x: float
    width: float
    sheen: str
    grains: tuple[Grain, ...]


@dataclass(frozen=True, slots=True)
class BandDrawing:
    """A layer. ``numeral`` counts from the lowest, as in a laboratory's report; ``y_top`` and ``y_bottom`` are the mean
    boundaries; ``leader`` runs from the numeral at ``numeral_y`` to the film. ``outline`` goes around what is
    covered."""

    numeral: int
    label: str
    state: str
    detail: str
    painted: bool
    wet_um: float
    film_um: float
    y_top: float
    y_bottom: float
    numeral_y: float
    leader: str
    outline: str
    href: str
    regions: tuple[RegionDrawing, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A verdict between a layer and what lies below it, set in the margin with a leader to the boundary."""

    numeral: int
    severity: str
    words: str
    x: float
    y: float
    leader: str
    href: str


@dataclass(frozen=True, slots=True)
class ScaleBar:
    x: float
    y_top: float
    y_bottom: float
    words: str


@dataclass(frozen=True, slots=True)
class SectionDrawing:
    """Everything a template needs. ``bands`` lowest first. ``units_per_um`` is None on the logarithmic scale."""

    width: float
    height: float
    left: float
    right: float
    title: str
    desc: str
    is_log: bool
    units_per_um: float | None
    bands: tuple[BandDrawing, ...]
    marks: tuple[Mark, ...]
    ground: Area
    support: Area
    ground_y: float
    support_y: float
    ground_label: str
    support_label: str
    scale_bar: ScaleBar | None
    log_helps: bool


def cross_section(subject: SectionSubject, log: bool = False) -> SectionDrawing:
    """Draw the stack. Works for any number of layers, none included; a film of no thickness is a line."""
    layers = subject.layers
    marked = [layer for layer in layers if layer.severity]
    room = max(LEAST_FILMS_HEIGHT, LABEL_SPACING * len(layers), MARK_SPACING * len(marked))
    heights, per_um = _heights([max(0.0, layer.film_um) for layer in layers], room, log)
    room = max(sum(heights), LABEL_SPACING * len(layers), MARK_SPACING * len(marked), 40.0)
    ground_y = AIR + room
    ripples = _ripples(heights)
    boundaries = [ground_y]
    for height in heights:
        boundaries.append(boundaries[-1] - height)
    bands = _bands(layers, boundaries, ripples, ground_y)
    bottom = ground_y + GROUND_HEIGHT
    floor = _line(ground_y, ripples[0], 0, LEFT, RIGHT)
    support = [(LEFT, bottom), (RIGHT, bottom), (RIGHT, bottom + SUPPORT_HEIGHT), (LEFT, bottom + SUPPORT_HEIGHT)]
    return SectionDrawing(
        width=WIDTH,
        height=bottom + SUPPORT_HEIGHT + 4,
        left=LEFT,
        right=RIGHT,
        title=subject.title,
        desc=describe(subject, log),
        is_log=log,
        units_per_um=None if log else per_um,
        bands=bands,
        marks=_marks(layers, boundaries, ground_y),
        ground=Area(polygon([*floor, (RIGHT, bottom), (LEFT, bottom)]), subject.ground_colour),
        support=Area(polygon(support), "#a88c62"),
        ground_y=ground_y,
        support_y=bottom,
        ground_label=subject.ground_label,
        support_label=subject.support_label,
        scale_bar=None if log or not layers else _scale_bar(per_um, ground_y),
        log_helps=_log_helps(layers),
    )


def describe(subject: SectionSubject, log: bool = False) -> str:
    """The drawing in words, from the top down."""
    if not subject.layers:
        return f"Nothing painted yet. {subject.ground_label.capitalize()} on {subject.support_label}."
    said = []
    for numeral, layer in reversed(list(enumerate(subject.layers, 1))):
        state = layer.state.replace("_", "-") if layer.painted else "planned"
        said.append(f"{numeral}, {layer.label}: {micrometres(layer.film_um)}, {state}")
    scale = "Heights on a logarithmic scale. " if log else ""
    return f"{scale}From the top: {'; '.join(said)}. Below: {subject.ground_label} on {subject.support_label}."


def micrometres(film_um: float) -> str:
    """'50 µm', '8.5 µm' below ten, '2 mm' never: painters compare micrometres."""
    return f"{film_um:.1f}".removesuffix(".0") + " µm" if film_um < 10 else f"{film_um:.0f} µm"


def _heights(films_um: Sequence[float], room: float, log: bool) -> tuple[list[float], float]:
    """Heights of the films and, for the linear scale, units per micrometre."""
    if log:
        grown = [math.log1p(film / LOG_KNEE_UM) for film in films_um]
        factor = min(MOST_LOG_UNITS, room / sum(grown)) if sum(grown) else 0.0
        return [factor * value for value in grown], 0.0
    total = sum(films_um)
    per_um = min(MOST_UNITS_PER_UM, room / total) if total else MOST_UNITS_PER_UM
    return [film * per_um for film in films_um], per_um


def _log_helps(layers: Sequence[SectionLayer]) -> bool:
    films = [layer.film_um for layer in layers if layer.film_um > 0]
    return bool(films) and max(films) > 8 * min(films)


def _ripples(heights: Sequence[float]) -> list[float]:
    """How far each boundary may ripple, from the ground's up: never so far that a film closes."""
    bounded = [1.5, *heights, 12.0]
    ripples = [min(2.2, 0.16 * min(bounded[i], bounded[i + 1])) for i in range(len(heights) + 1)]
    if heights:
        ripples[0] = min(1.2, 0.16 * heights[0])
        ripples[-1] = min(7.0, 0.16 * heights[-1])
    return ripples


def _line(y: float, ripple: float, index: int, x0: float, x1: float) -> list[Point]:
    """Points of a boundary between two places. Whole waves over the sample's width, so that the mean is ``y``."""
    phase = 2.399963 * index  # the golden angle: no two boundaries alike
    steps = max(2, math.ceil(STEPS * (x1 - x0) / (RIGHT - LEFT)))
    points = []
    for step in range(steps + 1):
        x = x0 + (x1 - x0) * step / steps
        turn = 2 * math.pi * (x - LEFT) / (RIGHT - LEFT)
        wave = 0.5 * math.sin((2 + index % 2) * turn + phase) + 0.3 * math.sin((5 + index % 3) * turn + 2 * phase)
        points.append((x, y - ripple * (wave + 0.2 * math.sin(9 * turn + 3 * phase))))
    return points


def _bands(
    layers: Sequence[SectionLayer], boundaries: Sequence[float], ripples: Sequence[float], ground_y: float
) -> tuple[BandDrawing, ...]:
    middles = [(low + high) / 2 for low, high in itertools.pairwise(boundaries)]
    label_ys = spread(middles, LABEL_SPACING, 8.0, ground_y + 2)
    bands = []
    for index, layer in enumerate(layers):
        low, high = boundaries[index], boundaries[index + 1]
        shares = normalised([region.share for region in layer.regions])
        drawn, x = [], LEFT
        for region, share in zip(layer.regions, shares, strict=True):
            end = x + share * (RIGHT - LEFT)
            drawn.append(_region(region, (x, end), (low, high), ripples, (index, layer.painted)))
            x = end
        lower = _line(low, ripples[index], index, LEFT, x)
        upper = _line(high, ripples[index + 1], index + 1, LEFT, x)
        bands.append(
            BandDrawing(
                numeral=index + 1,
                label=layer.label,
                state=layer.state if layer.painted else "planned",
                detail=layer.detail,
                painted=layer.painted,
                wet_um=layer.wet_um,
                film_um=layer.film_um,
                y_top=high,
                y_bottom=low,
                numeral_y=label_ys[index],
                leader=polygon(
                    [(LEFT - 16, label_ys[index]), (LEFT - 3, middles[index]), (LEFT, middles[index])], False
                ),
                outline=polygon([*lower, *reversed(upper)]) if x > LEFT else "",
                href=layer.href,
                regions=tuple(drawn),
            )
        )
    return tuple(bands)


def _leader(numeral_y: float, film_y: float) -> str:
    return polygon([(LEFT - 15, numeral_y), (LEFT - 3, film_y), (LEFT, film_y)], close=False)


def _region(
    region: SectionRegion,
    span: tuple[float, float],
    level: tuple[float, float],
    ripples: Sequence[float],
    which: tuple[int, bool],
) -> RegionDrawing:
    (x0, x1), (low, high), (index, painted) = span, level, which
    lower = _line(low, ripples[index], index, x0, x1)
    upper = _line(high, ripples[index + 1], index + 1, x0, x1)
    is_shiny = painted and region.state in {"wet", "tacky"} and low - high >= 3 and x1 - x0 >= 6
    sheen = [(x, y + 1.6) for x, y in upper[1:-1]] if is_shiny else []
    share = (x1 - x0) / (RIGHT - LEFT)
    return RegionDrawing(
        name=region.name,
        state=region.state if painted else "planned",
        detail=region.detail,
        share=share,
        area=Area(polygon([*lower, *reversed(upper)]), region.colour),
        x=x0,
        width=x1 - x0,
        sheen=polygon(sheen, close=False),
        grains=_grains(span, level, ripples[index] + ripples[index + 1], index) if painted else (),
    )


def _grains(span: tuple[float, float], level: tuple[float, float], margin: float, index: int) -> tuple[Grain, ...]:
    """Pigment particles by a low-discrepancy sequence (Roberts' plastic numbers, from memory), clear of the edges."""
    (x0, x1), (low, high) = span, level
    height = low - high - 2 * margin
    if height < 3 or x1 - x0 < 8:
        return ()
    radius = min(1.5, 0.2 * height)
    grains = []
    for n in range(1, min(26, int(height * (x1 - x0) / 130)) + 1):
        across, up = (0.7548776662 * (n + 7 * index)) % 1, (0.5698402910 * (n + 3 * index)) % 1
        r = radius * (0.45 + 0.55 * ((n * 0.618034) % 1))
        x = x0 + r + across * (x1 - x0 - 2 * r)
        y = high + margin + r + up * (height - 2 * r)
        grains.append(Grain(round(x, 1), round(y, 1), round(r, 2), "dark" if n % 3 else "light"))
    return tuple(grains)


def _marks(layers: Sequence[SectionLayer], boundaries: Sequence[float], ground_y: float) -> tuple[Mark, ...]:
    marked = [(index, layer) for index, layer in enumerate(layers) if layer.severity]
    ys = spread([boundaries[index] for index, _ in marked], MARK_SPACING, 12.0, ground_y + 6)
    return tuple(
        Mark(
            numeral=index + 1,
            severity=layer.severity,
            words=layer.finding,
            x=MARK_X,
            y=y,
            leader=polygon([(RIGHT, boundaries[index]), (RIGHT + 4, boundaries[index]), (MARK_X - 11, y)], False),
            href=layer.href,
        )
        for (index, layer), y in zip(marked, ys, strict=True)
    )


def _scale_bar(per_um: float, ground_y: float) -> ScaleBar:
    """The longest round thickness that takes no more than 60 units, standing on the ground."""
    fitting = [um for um in SCALE_BARS_UM if um * per_um <= 60] or [SCALE_BARS_UM[0]]
    return ScaleBar(WIDTH - 24, ground_y - fitting[-1] * per_um, ground_y, f"{fitting[-1]} µm")


def spread(wanted: Sequence[float], spacing: float, least: float, most: float) -> list[float]:
    """Places near ``wanted`` (which falls), at least ``spacing`` apart and within bounds when there is room for all."""
    places = list(wanted)
    if not places:
        return []
    places[0] = min(places[0], most)
    for i in range(1, len(places)):
        places[i] = min(places[i], places[i - 1] - spacing)
    if places[-1] < least:
        places[-1] = least
        for i in range(len(places) - 2, -1, -1):
            places[i] = max(places[i], places[i + 1] + spacing)
    return [float(number(place)) for place in places]
