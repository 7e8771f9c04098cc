"""What went on and what was promised, kept with a layer when it is painted.

A later change to a mix, a tube, the room or the model then never rewrites the past.
"""

from dataclasses import replace

from sqlalchemy import select
from sqlmodel import Session, col

from server.science.recipe import LayerRecipe
from server.services import learning_data
from server.services.climates import room_in
from server.services.errors import Invalid
from server.services.forecasts import FORECASTS, NoForecast, freeze, question_of
from server.services.learning import BOOK
from server.services.recipes import MixBook, ground_of, layer_from_json, layer_recipe, layer_to_json
from server.services.stack import Stack
from server.services.whereabouts import whereabouts
from server.store.tables import Layer, LayerMix

# Films that the model of drying oils speaks of; for the others a mix is not needed.
PROMISE = "learned"  # what is scored, in a frozen forecast
DRYING_MATERIALS = frozenset({"oil", "alkyd"})


def freeze_painted(
    session: Session, stack: Stack, layer: Layer, *, keep_mixes: bool = False, promised: bool = True
) -> None:
    """Set ``recipe_json`` and ``forecast_json`` of a layer whose ``painted_at`` and mixes stand in the session.

    ``keep_mixes``: what the mixes were is taken from what was frozen before, whatever has become of them; only the
    thickness, the ground and the time are taken anew.
    ``promised`` False: it was painted long before it was written down, so that the book's dates are kept and no promise
    is scored. A layer that was frozen without a promise gets none by being corrected.
    Raises ``Invalid`` at ``mixes`` when an oil or alkyd layer names no mix, or one that cannot be estimated.
    """
    recipe = _recipe(session, stack, layer, keep_mixes)
    if recipe is None:
        layer.recipe_json = layer.forecast_json = None
        return
    assert layer.painted_at is not None
    if layer.forecast_json is not None and PROMISE not in layer.forecast_json:
        promised = False
    panel = stack.panel
    assert panel.id is not None
    places = whereabouts(session, layer.studio_id)
    place = places.of_layer(panel.id, panel.place_id, layer.painted_at)
    # Only what had been pressed by then: a promise made after the fact would be none.
    learning = learning_data.read(session, layer.studio_id, places, before=layer.painted_at) if promised else BOOK
    taught = learning.of(place)
    pair = (recipe, room_in(place.climate, layer.painted_at, stack.zone))
    questions = [question_of(pair), question_of(pair, taught)]
    book, forecast = FORECASTS.ask(questions)
    if isinstance(book, NoForecast):
        raise Invalid.at("mixes", f"This layer cannot be worked out: {book.message}.")
    assert not isinstance(forecast, NoForecast)  # what is learned moves an estimate and takes none away
    layer.recipe_json = layer_to_json(recipe)
    frozen = freeze(forecast, book, taught.promised(book, *pair))
    layer.forecast_json = frozen if promised else {name: told for name, told in frozen.items() if name != PROMISE}


def _recipe(session: Session, stack: Stack, layer: Layer, keep_mixes: bool) -> LayerRecipe | None:
    """What went on; None for a film that is not oil and names no mix."""
    ground = ground_of(stack.index(layer), stack.panel.ground_kind, stack.panel.ground_surface)
    if keep_mixes and layer.recipe_json is not None:
        return replace(layer_from_json(layer.recipe_json), wet_thickness_um=layer.wet_thickness_um, ground=ground)
    regions = session.scalars(
        select(LayerMix).where(col(LayerMix.layer_id) == layer.id).order_by(col(LayerMix.position))
    ).all()
    recipe = layer_recipe(layer, regions, MixBook.load(session, layer.studio_id), ground)
    if recipe is None and layer.material in DRYING_MATERIALS:
        raise Invalid.at("mixes", "The mix named here has no parts yet." if regions else "Say which mix went on.")
    return recipe


def thaw(layer: Layer) -> None:
    """Forget what was frozen: the layer is planned again."""
    layer.painted_at = None
    layer.recipe_json = layer.forecast_json = None
