"""What went on and what was promised, kept with a layer when it is painted.

A later change to a mix, a tube, the room or the model then never rewrites the past.
"""

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.errors import Invalid
from server.services.forecasts import FORECASTS, NoForecast, freeze
from server.services.recipes import MixBook, ground_of, layer_recipe, layer_to_json, room_for
from server.services.stack import Stack
from server.store.tables import Layer, LayerMix, Place, PlaceMonth

# Films that the model of drying oils speaks of; for the others a mix is not needed.
DRYING_MATERIALS = frozenset({"oil", "alkyd"})


def freeze_painted(session: Session, stack: Stack, layer: Layer) -> None:
    """Set ``recipe_json`` and ``forecast_json`` of a layer whose ``painted_at`` and mixes stand in the session.

    Raises ``Invalid`` at ``mixes`` when an oil or alkyd layer names no mix, or one that cannot be estimated.
    """
    assert layer.painted_at is not None
    panel = stack.panel
    regions = session.scalars(
        select(LayerMix).where(col(LayerMix.layer_id) == layer.id).order_by(col(LayerMix.position))
    ).all()
    book = MixBook.load(session, layer.studio_id)
    ground = ground_of(stack.index(layer), panel.ground_kind, panel.ground_surface)
    recipe = layer_recipe(layer, regions, book, ground)
    if recipe is None:
        if layer.material in DRYING_MATERIALS:
            message = "The mix named here has no parts yet." if regions else "Say which mix went on."
            raise Invalid.at("mixes", message)
        layer.recipe_json = layer.forecast_json = None
        return
    place = session.get_one(Place, panel.place_id)
    months = session.scalars(select(PlaceMonth).where(col(PlaceMonth.place_id) == place.id)).all()
    [forecast] = FORECASTS.of([(recipe, room_for(place, months, layer.painted_at, stack.zone))])
    if isinstance(forecast, NoForecast):
        raise Invalid.at("mixes", f"This layer cannot be worked out: {forecast.message}.")
    layer.recipe_json = layer_to_json(recipe)
    layer.forecast_json = freeze(forecast)


def thaw(layer: Layer) -> None:
    """Forget what was frozen: the layer is planned again."""
    layer.painted_at = None
    layer.recipe_json = layer.forecast_json = None
