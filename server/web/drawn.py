"""A panel's facts as the drawings take them: the stack for the cross-section, the bands for the little panel."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.formats.drawings import Miniature, SectionLayer, SectionRegion, SectionSubject, miniature
from server.formats.drawings_promises import DotsPicture, dots_picture
from server.science.results import FilmState, Stage
from server.services.board.facts import DaySpan, LayerFact, PanelBoard, PanelFact, RegionFact, StackBand
from server.web import standing_words, words

GROUND_WORDS = {
    "acrylic": "acrylic primer",
    "oil": "oil ground",
    "glue_chalk": "glue and chalk ground",
    "none": "no ground",
}
SUPPORT_WORDS = {
    "hardboard": "hardboard",
    "plywood": "plywood",
    "solid_wood": "solid wood",
    "canvas_on_board": "canvas glued on board",
    "stretched_canvas": "stretched cotton canvas",
    "stretched_linen": "stretched linen",
    "paper": "mounted paper",
    "metal": "metal",
}


def subject_of(board: PanelBoard, ground: str, support: str) -> SectionSubject:
    """The stack of a panel, planned layers on top; ``ground`` and ``support`` are their names on the page."""
    layers = tuple(_layer(layer, board.moment.on) for layer in board.layers)
    return SectionSubject(board.panel.title, layers, ground_label=ground, support_label=support)


def little_panel(panel: PanelFact, box: float = 64.0) -> Miniature:
    """The panel as lists show it."""
    return miniature(panel.width_mm, panel.height_mm, [_band(band) for band in panel.stack], panel.title, box)


def _layer(layer: LayerFact, today: date) -> SectionLayer:
    verdict = layer.over
    worst = verdict.findings[0].title if verdict and verdict.findings else "Sound"
    below = "the ground" if layer.number == 1 else f"layer {layer.number - 1}"
    return SectionLayer(
        label=layer.kind,
        wet_um=layer.wet_thickness_um,
        film_um=film_um(layer),
        regions=tuple(_region(region, layer, today) for region in layer.regions),
        painted=layer.is_painted,
        state=_state(layer),
        detail=_touch_words(layer.stages.get(Stage.DRY_TO_TOUCH), today),
        severity=verdict.verdict.value if verdict else "",
        finding=f"Over {below}: {worst[0].lower()}{worst[1:]}" if verdict else "",
        href=f"#layer-{layer.uid}",
    )


def film_um(layer: LayerFact) -> float:
    """The film that is left when the solvent is gone, mean over the area; the wet one where nothing is known."""
    known = [(region.share, region.composition) for region in layer.regions if region.composition is not None]
    total = sum(share for share, _ in known)
    if not total:
        return layer.wet_thickness_um
    return sum(share * composition.film_thickness_um for share, composition in known) / total


MOST_COLUMNS, MOST_WORDS = 24, 6


@dataclass(frozen=True, slots=True)
class DotsShown:
    """Twenty equally likely days: a picture where they are few enough to stand side by side, and words."""

    picture: DotsPicture | None
    words: str


def dots_shown(days: Sequence[date], today: date) -> DotsShown:
    """``days`` from the earliest on, one a dot."""
    columns = [(day - days[0]).days for day in days]
    different = sorted(set(days))
    step = -(-len(different) // MOST_WORDS)
    named = different[::-1][::step][::-1]
    told = words.join_words([f"{sum(each <= day for each in days)} by {words.day_words(day, today)}" for day in named])
    return DotsShown(dots_picture(columns) if columns[-1] < MOST_COLUMNS else None, told)


def _state(layer: LayerFact) -> str:
    return layer.state.value if layer.is_painted and layer.state is not FilmState.NONE else "planned"


def _region(region: RegionFact, layer: LayerFact, today: date) -> SectionRegion:
    # A fingertip speaks of the whole layer: once that is touch-dry its parts have no days of their own left to tell.
    is_awaited = len(layer.regions) > 1 and (not layer.is_painted or layer.state in (FilmState.WET, FilmState.TACKY))
    detail = _touch_words(region.stages.get(Stage.DRY_TO_TOUCH), today) if is_awaited else ""
    return SectionRegion(region.name or region.mix_label, region.share, region.swatch, _state(layer), detail)


def _touch_words(span: DaySpan | None, today: date) -> str:
    return f"touch-dry {standing_words.span_words(span, today)}" if span else ""


def _band(band: StackBand) -> SectionLayer:
    regions = tuple(SectionRegion("", share, colour, band.state.value) for colour, share in band.colours)
    return SectionLayer("", band.wet_thickness_um, band.film_um, regions, True, band.state.value)
