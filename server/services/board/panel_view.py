"""One panel's own page: all its layers, and the verdict between each pair of them."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.science.results import LayerEstimate, Stage
from server.science.soundness.types import Verdict
from server.services.access import Actor
from server.services.board.calendar import planned_layers
from server.services.board.closing import ground_facts, with_varnish
from server.services.board.facts import LayerFact, Moment, PanelBoard, PanelFact
from server.services.board.films import LayerOn, PanelLayers, film_test, of_the_whole, panel_layers
from server.services.board.marked import mark, marked_facts
from server.services.board.plan_odds import planned_standings
from server.services.board.pressing import NEARLY
from server.services.board.rows import StudioRows, load
from server.services.board.shown import NO_DAYS, Extras, layer_on_fact, layer_to_come_fact
from server.services.board.spans import dot_days, instant, local_day
from server.services.board.standing import PanelStanding
from server.services.board.to_come import coming, forecast_on, laid, without_mixes
from server.services.board.today import moment_of
from server.services.errors import NotFound
from server.services.verdicts import VERDICTS, Coming, LaidLayer, Question


def panel_page(session: Session, actor: Actor, uid: str, now: datetime, zone: ZoneInfo) -> PanelBoard:
    """The panel's page. Raises ``NotFound``; an archived panel has its page still."""
    moment = moment_of(now, zone)
    rows = load(session, actor, uid, with_promises=True)
    if rows is None:
        raise NotFound
    [standing] = planned_standings(rows, panel_layers(rows, moment), moment)
    [fact] = marked_facts([standing], rows, moment)
    panel = standing.layers.panel
    place = rows.place_of(panel)
    return PanelBoard(
        moment=moment,
        panel=fact,
        layers=_marked(_layers(standing, rows, moment), fact),
        support=panel.support,
        ground_kind=panel.ground_kind,
        ground_surface=panel.ground_surface,
        ground_pigment=panel.ground_pigment,
        ground_on=panel.ground_on,
        notes=panel.notes,
        finished_on=panel.finished_on,
        place_uid=place.uid,
        dots=_dots(standing, moment),
    )


def _marked(layers: tuple[LayerFact, ...], fact: PanelFact) -> tuple[LayerFact, ...]:
    broken = dict(fact.broken)
    return tuple(replace(layer, sitting=mark(layer.sitting, broken)) for layer in layers)


def _dots(standing: PanelStanding, moment: Moment) -> tuple[date, ...]:
    top, odds = standing.top, standing.rest.touch_odds
    touch = None if top is None else top.film.stages.get(Stage.DRY_TO_TOUCH)
    if top is None or touch is None or odds is None or odds > NEARLY:
        return ()
    return dot_days(top.row.painted_at, touch, moment.zone)


def _layers(standing: PanelStanding, rows: StudioRows, moment: Moment) -> tuple[LayerFact, ...]:
    facts = [
        layer_on_fact(
            layer, standing, rows, moment, Extras(True, over_when_painted(number, standing.layers, rows, moment))
        )
        for number, layer in enumerate(standing.layers.on)
    ]
    over = _over_when_planned(standing, rows, moment)
    days = {layer.uid: layer.days for layer in planned_layers([standing], rows, moment)[0]}
    facts += [
        layer_to_come_fact(layer, standing, rows, moment, Extras(over=verdict, days=days.get(layer.row.uid, NO_DAYS)))
        for layer, verdict in zip(standing.layers.to_come, over, strict=True)
    ]
    return tuple(facts)


def over_when_painted(number: int, layers: PanelLayers, rows: StudioRows, moment: Moment) -> Verdict | None:
    """The verdict on a painted layer over what lay below, at the time it went on and by the tests there were then."""
    layer = layers.on[number]
    if layer.film.no_forecast is not None:
        return None
    at = layer.row.painted_at
    below = tuple(_as_it_was(on, at) for on in layers.on[:number])
    stack = with_varnish(below, rows.steps.get(layers.panel.id, ()), at)
    upper = Coming(
        layer.laid.key,
        layer.laid.material,
        dict(layer.film.estimate.stages) if layer.film.estimate else {},
        layer.laid.recipe or without_mixes(layer.row),
        bool(layer.row.wet_in_wet),
    )
    ground = ground_facts(layers.panel)
    question = Question(ground, stack, upper, drops_per_ml=rows.studio.drops_per_ml, limits=rows.limits)
    return VERDICTS.of(question, at, local_day(at, moment.zone))


def _as_it_was(layer: LayerOn, at: datetime) -> LaidLayer:
    """A layer with the touch tests that had been made by then."""
    names = [region.name for region in layer.film.estimate.regions] if layer.film.estimate else []
    made = [test for test in layer.tests if test.pressed_at <= at]
    observed, observed_at = film_test(of_the_whole(made, names, layer.film.holds_up))
    key = (layer.laid.key, observed, observed_at)
    return replace(layer.laid, key=key, observed=observed, observed_at=observed_at)


def _over_when_planned(standing: PanelStanding, rows: StudioRows, moment: Moment) -> list[Verdict | None]:
    """The verdict on each layer to come over what will lie below it, on the day it is planned to go on.

    That day is the outlook's at the studio's confidence; the first layer's verdict is that of now.
    """
    to_come = standing.layers.to_come
    verdicts: list[Verdict | None] = [standing.verdict] if to_come else []
    if standing.outlook is None:
        return verdicts + [None] * (len(to_come) - len(verdicts))
    stack = [layer.laid for layer in standing.layers.on]
    days = [instant(moment.day_start, start.planned_d) for start in standing.outlook.starts]
    for place, layer in enumerate(to_come):
        # Noon, so that a layer of the same day is never older than the one below it.
        at = days[place] + timedelta(hours=12, minutes=place)
        on = local_day(at, moment.zone)
        forecast = forecast_on(layer, on, moment.zone)
        estimate = forecast if isinstance(forecast, LayerEstimate) else None
        is_known = estimate is not None or not layer.is_drying
        upper = coming(layer, estimate, on)
        if place > 0:
            verdicts.append(_judge(standing, rows, (stack, upper, at), moment) if is_known else None)
        if is_known:
            stack.append(laid(layer, upper, at))
    return verdicts


def _judge(
    standing: PanelStanding,
    rows: StudioRows,
    case: tuple[Sequence[LaidLayer], Coming, datetime],
    moment: Moment,
) -> Verdict:
    stack, upper, at = case
    ground = ground_facts(standing.layers.panel)
    question = Question(ground, tuple(stack), upper, drops_per_ml=rows.studio.drops_per_ml, limits=rows.limits)
    return VERDICTS.of(question, at, local_day(at, moment.zone))
