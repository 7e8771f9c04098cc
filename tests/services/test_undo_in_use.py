"""An undo of what made a record and put it to use at once."""

import pytest
from sqlmodel import select

from server.services import layers, mixes
from server.services.errors import Refused
from server.store.tables import LayerMix, Mix
from tests.services.conftest import Bench
from tests.services.test_history import last, undo


def test_a_mix_that_was_made_and_given_to_a_layer_at_once_goes_with_one_undo(bench: Bench) -> None:
    """As the offer of a quicker mix does it. Once another layer takes the mix, it stays."""
    panel = bench.panel()
    layer = bench.layer(panel)
    with bench.unit("A quicker mix") as work:
        old = mixes.public(work.session, mixes.get(work.session, bench.actor, bench.white.uid))
        made = mixes.create(work.session, bench.actor, old.model_copy(update={"label": "White, quicker"}))
        given = layers.public(work.session, layers.get(work.session, bench.actor, layer.uid))
        other = given.model_copy(update={"mixes": (given.mixes[0].model_copy(update={"mix_uid": made.uid}),)})
        layers.update(work.session, bench.actor, layer.uid, other)
    entry = last(bench)
    second = bench.layer(panel, mixes=[{"mix_uid": made.uid}])
    with pytest.raises(Refused, match="A layer needs the mix by now"):
        undo(bench, entry)
    with bench.unit("Put away") as work:
        layers.archive(work.session, bench.actor, second.uid)
    undo(bench, entry)
    with bench.db.read() as session:
        [row] = session.exec(select(LayerMix).where(LayerMix.layer_id == layer.id)).all()
        assert row.mix_id == bench.white.id and session.get_one(Mix, made.id).archived_at is not None
