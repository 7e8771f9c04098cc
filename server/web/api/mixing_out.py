"""A mix on the palette as JSON: what ``POST /api/v1/mixing`` answers."""

from collections.abc import Iterable
from math import isfinite
from typing import Any

from server.formats.questions_json import (
    FoundMixesOut,
    FoundMixOut,
    MixCompositionOut,
    MixingOut,
    MixIngredientOut,
    MixKeepsOut,
    MixLineOut,
    MixOverOut,
    MixQuantityOut,
    MixTimesOut,
    MixWayOut,
)
from server.services.mixing import MixingAnswer, Times
from server.services.mixing_find import FoundMix, FoundMixes
from server.services.mixing_over import OverPanel
from server.services.mixing_palette import Line
from server.services.mixing_ways import WayOut
from server.web.api.boards import days_out, finding_out, span_out, verdict_out


def mixing_out(answer: MixingAnswer) -> MixingOut:
    """Everything the page of the palette says."""
    quantity = answer.quantity
    return MixingOut(
        swatch=answer.swatch,
        wet_thickness_um=answer.wet_um,
        place=answer.place,
        painted_at=answer.painted_at,
        composition=_composition(answer.composition),
        quantity=MixQuantityOut(wet_ml=quantity.wet_ml, paint_ml=quantity.paint_ml, area_cm2=quantity.area_cm2),
        ingredients=tuple(
            MixIngredientOut(label=each.label, share=each.share, ml=each.ml, drops=each.drops)
            for each in answer.ingredients
        ),
        times=_times(answer.times),
        hazards=answer.hazards,
        over=None if answer.over is None else _over(answer.over),
        found=None if answer.found is None else _found(answer.found),
        kept=tuple(
            MixKeepsOut(kept_in=each.kept_in, use_by_d=each.use_by_d, gains_little=each.gains_little)
            for each in answer.kept
        ),
    )


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


def _composition(found: Any) -> MixCompositionOut:
    values = {name: _finite(getattr(found, name)) for name in MixCompositionOut.model_fields}
    return MixCompositionOut.model_validate(values)


def _times(times: Times) -> MixTimesOut:
    touch = times.touch
    return MixTimesOut(
        touch_low_d=None if touch is None else touch.p10_d,
        touch_central_d=None if touch is None else touch.p50_d,
        touch_high_d=None if touch is None else touch.p90_d,
        touch_on=days_out(times.touch_on),
        recoat_on=days_out(times.recoat_on),
        through_on=days_out(times.through_on),
        ratio=times.ratio,
        drying=times.drying,
        no_forecast=times.no_forecast,
        warnings=times.warnings,
    )


def _over(over: OverPanel) -> MixOverOut:
    titles = [each.title for each in over.verdict.findings] if over.verdict else []
    ways = [_way(title, way) for title, some in zip(titles, over.ways, strict=False) for way in some]
    return MixOverOut(
        panel_uid=over.uid,
        title=over.title,
        top=over.top,
        state=over.state.value,
        on=over.on,
        planned=over.planned,
        verdict=verdict_out(over.verdict),
        lightly=verdict_out(over.lightly),
        ways=tuple(ways),
    )


def _way(finding: str, way: WayOut) -> MixWayOut:
    return MixWayOut(
        finding=finding,
        wet_thickness_um=way.wet_um,
        coats=way.coats,
        lines=_lines(way.lines),
        touch_on=span_out(way.touch_on),
        verdict=verdict_out(way.verdict),
    )


def _lines(lines: Iterable[Line]) -> tuple[MixLineOut, ...]:
    return tuple(
        MixLineOut(
            label=line.label,
            parts_before=line.before.parts,
            parts=line.after.parts,
            ml=line.after.ml,
            g=line.after.g,
            drops=line.after.drops,
            more_ml=line.more.ml,
        )
        for line in lines
    )


def _found(found: FoundMixes) -> FoundMixesOut:
    return FoundMixesOut(
        by=found.by,
        listed=tuple(_found_mix(each) for each in found.listed),
        nearest=None if found.nearest is None else _found_mix(found.nearest),
        tried=found.tried,
        sound=found.sound,
    )


def _found_mix(each: FoundMix) -> FoundMixOut:
    return FoundMixOut(
        wet_thickness_um=each.wet_um,
        lines=_lines(each.lines),
        change_ml=each.size,
        on=each.on,
        touch_on=days_out(each.touch_on),
        done_on=each.done_on,
        verdict=verdict_out(each.verdict),
        stays=tuple(finding_out(one) for one in each.stays),
    )
