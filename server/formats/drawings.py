"""What the drawings are made of, and the little panel that stands for a picture in lists.

Everything here is geometry: numbers and path texts in the units of a viewbox, worked out without a random number, so
that the same panel always looks the same. Templates turn it into SVG. The cross-section is in
``drawings_section``, the calendar in ``drawings_calendar``, the picture of odds in ``drawings_odds``.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.formats.swatch import blend

GROUND_COLOUR = "#efeade"
BOARD_COLOUR = "#a88c62"
# A film that hides; thinner ones let the layer below shine through. Display only.
HIDING_FILM_UM = 12.0

State = str  # wet, tacky, touch_dry, firm, planned: the shape's name in the sprite
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class SectionRegion:
    """One mix of a layer. ``share`` of the area, 0 to 1; ``colour`` #rrggbb; ``state`` now; ``detail`` such as
    'ready likely Thursday to Saturday'."""

    name: str
    share: float
    colour: str
    state: State
    detail: str = ""


@dataclass(frozen=True, slots=True)
class SectionLayer:
    """A layer as drawn. ``film_um`` is what is left when the solvent is gone, ``wet_um`` what went on.

    ``severity`` (sound, note, caution, stop, or '' for none) is the verdict on this layer over what lies below it,
    ``finding`` says it in words, ``href`` leads to it.
    """

    label: str
    wet_um: float
    film_um: float
    regions: tuple[SectionRegion, ...]
    painted: bool = True
    state: State = "firm"
    detail: str = ""
    severity: str = ""
    finding: str = ""
    href: str = ""


@dataclass(frozen=True, slots=True)
class SectionSubject:
    """A panel's stack, ``layers`` lowest first."""

    title: str
    layers: tuple[SectionLayer, ...]
    ground_label: str = "ground"
    ground_colour: str = GROUND_COLOUR
    support_label: str = "support"


@dataclass(frozen=True, slots=True)
class Area:
    """A filled shape: ``path`` is the SVG path, ``colour`` #rrggbb."""

    path: str
    colour: str


@dataclass(frozen=True, slots=True)
class Miniature:
    """A panel at its true proportions, seen from the front with its lower edge below.

    ``face``: the colours as seen, by share of area. ``edge``: the layers on the panel's lower edge, support last.
    ``gloss``: paths of light on a film that is not dry. ``tooth`` True: bare ground shows.
    """

    width: float
    height: float
    face: tuple[Area, ...]
    edge: tuple[Area, ...]
    gloss: tuple[str, ...]
    state: State
    title: str


def number(value: float) -> str:
    """A coordinate with at most two decimals and none that say nothing."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def polygon(points: Iterable[Point], close: bool = True) -> str:
    """The SVG path through points, level and upright lines written short: a wall of panels has thousands."""
    steps: list[str] = []
    last_x = last_y = ""
    for x, y in ((number(x), number(y)) for x, y in points):
        if not steps:
            steps.append(f"M{x} {y}")
        elif y == last_y:
            steps.append(f"H{x}")
        elif x == last_x:
            steps.append(f"V{y}")
        else:
            steps.append(f"L{x} {y}")
        last_x, last_y = x, y
    return "".join(steps) + ("Z" if close and steps else "")


def colours_seen(layers: Sequence[SectionLayer], ground_colour: str = GROUND_COLOUR) -> list[tuple[float, str]]:
    """Shares of area and colours that a viewer sees, adding up to 1.

    Only painted layers count. What a layer leaves bare shows the layer below; a thin film lets it shine through.
    """
    seen = [(1.0, ground_colour)]
    for layer in layers:
        if not layer.painted:
            continue
        below = max(seen)[1]
        cover = 1 - math.exp(-max(0.0, layer.film_um) / HIDING_FILM_UM)
        shares = normalised([region.share for region in layer.regions])
        here = [(share, blend(below, r.colour, cover)) for share, r in zip(shares, layer.regions, strict=True)]
        bare = 1 - sum(shares)
        seen = here + [(share * bare, colour) for share, colour in seen if share * bare > 0.004]
    total = sum(share for share, _ in seen)
    return [(share / total, colour) for share, colour in seen]


def normalised(shares: Sequence[float]) -> list[float]:
    """The shares, scaled down when they add up to more than the whole area; negative ones count as none."""
    kept = [max(0.0, share) for share in shares]
    total = sum(kept)
    return [share / total for share in kept] if total > 1 else kept


def miniature(
    width_mm: float, height_mm: float, layers: Sequence[SectionLayer], title: str = "", box: float = 88.0
) -> Miniature:
    """The little panel, its longer side ``box`` units (a very long one at least ``box`` / 6 the other way)."""
    longest = max(width_mm, height_mm, 1)
    width = max(box * width_mm / longest, box / 6)
    height = max(box * height_mm / longest, box / 6)
    painted = [layer for layer in layers if layer.painted]
    state = painted[-1].state if painted else "bare"
    edge = _edge(painted, width, height)
    thickness = 3.0 + 1.4 * len(edge[:-1])
    return Miniature(
        round(width, 2),
        round(height + thickness, 2),
        tuple(_face(colours_seen(layers), width, height)),
        edge,
        tuple(_gloss(state, width, height)),
        state,
        title,
    )


def _face(seen: Sequence[tuple[float, str]], width: float, height: float) -> Iterable[Area]:
    """Bands whose edges slope a little, now one way, now the other: the slope leaves the band's area as it is."""
    top_left = top_right = at = 0.0
    for index, (share, colour) in enumerate(seen):
        at += share * height
        is_last = index == len(seen) - 1
        slope = 0.0 if is_last else 0.3 * min(share * height, seen[index + 1][0] * height) * (1 if index % 2 else -1)
        left, right = (height, height) if is_last else (at + slope, at - slope)
        yield Area(polygon([(0, top_left), (width, top_right), (width, right), (0, left)]), colour)
        top_left, top_right = left, right


def _edge(painted: Sequence[SectionLayer], width: float, height: float) -> tuple[Area, ...]:
    """At most four layers, uppermost first, then ground and support: the panel's lower edge."""
    colours = [max((r.share, r.colour) for r in layer.regions)[1] for layer in painted if layer.regions][-4:]
    strips: list[Area] = []
    at = height
    for colour, deep in [*((c, 1.4) for c in reversed(colours)), (GROUND_COLOUR, 1.4), (BOARD_COLOUR, 3.0)]:
        strips.append(Area(f"M0 {number(round(at, 1))}h{number(width)}v{deep:g}H0", colour))
        at += deep
    return tuple(strips)


def _gloss(state: State, width: float, height: float) -> Iterable[str]:
    """Window light: a broad slanted patch on a wet film, a narrow broken one on a tacky film, none once it is dry."""
    if state == "wet":
        yield polygon([(width * a, height * b) for a, b in ((0.12, 0.1), (0.44, 0.1), (0.2, 0.62), (0.12, 0.62))])
        yield polygon([(width * a, height * b) for a, b in ((0.52, 0.1), (0.6, 0.1), (0.3, 0.72), (0.22, 0.72))])
    elif state == "tacky":
        yield polygon([(width * a, height * b) for a, b in ((0.12, 0.1), (0.24, 0.1), (0.16, 0.28), (0.12, 0.28))])
        yield polygon([(width * a, height * b) for a, b in ((0.14, 0.36), (0.18, 0.36), (0.14, 0.46), (0.12, 0.46))])
