"""Panels for the tests of the board: the stack of a trade fact, and a studio of many panels."""

from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from server.services import layers, panels
from server.store.tables import Layer, Mix, MixPart, Paint, PaintPigment, Panel
from tests.services.conftest import NOW, Bench, add


def make_mix(session: Session, studio_id: int, label: str, pigments: dict[str, float]) -> Mix:
    """A mix of one tube, its pigments by Colour Index name with their shares."""
    paint = add(session, Paint(studio_id=studio_id, label=label, oil="linseed"))
    mix = add(session, Mix(studio_id=studio_id, label=label))
    assert paint.id is not None
    assert mix.id is not None
    for place, (ci_name, share) in enumerate(pigments.items()):
        add(session, PaintPigment(paint_id=paint.id, position=place, ci_name=ci_name, share=share))
    add(session, MixPart(mix_id=mix.id, position=0, kind="paint", paint_id=paint.id, parts=1.0))
    return mix


def trade_fact(bench: Bench, painted_at: datetime = NOW - timedelta(days=3), **upper: Any) -> tuple[Panel, Layer]:
    """White with a touch of black, well thinned, on gesso-primed hardboard, and the next layer planned.

    95 % PW6 and 5 % PBk9 in linseed, 40 um wet of which half is solvent, acrylic primer; the room is the bench's, 20 C
    and 50 % humidity. The next layer is the same mix unthinned. Returns the panel and the painted layer.
    """
    with bench.db.write() as session:
        grey = make_mix(session, bench.actor.studio_id, "Pale grey", {"PW6": 0.95, "PBk9": 0.05})
    panel = bench.panel(title="Winter beach", support="hardboard", ground_kind="acrylic", ground_surface="matte")
    first = bench.layer(
        panel,
        kind="underpainting",
        thickness_preset=None,
        wet_thickness_um=40,
        solvent_pct=50,
        thinner_uid=bench.thinner.uid,
        mixes=[{"mix_uid": grey.uid}],
        painted_at=painted_at,
    )
    second = {"kind": "second painting", "thickness_preset": "normal_brush", "mixes": [{"mix_uid": grey.uid}]}
    bench.layer(panel, **second | upper)
    return panel, first


def hang(bench: Bench, count: int) -> None:
    """So many panels with four layers each, half of them painted: some rest, some want a test, some are ready. They
    differ, so that nothing is answered twice."""
    with bench.unit("Hung panels") as work:
        for number in range(count):
            command = bench.panel_command(title=f"Panel {number}", width_cm=20 + number)
            panel = panels.create(work.session, bench.actor, command)
            for layer in range(4):
                values: dict[str, Any] = {"wet_thickness_um": 20 + number, "thickness_preset": None}
                if layer < 2:
                    values["painted_at"] = NOW - timedelta(days=(0.5, 4.0, 25.0)[number % 3] + 25.0 * (1 - layer))
                layers.create(work.session, bench.actor, panel.uid, bench.layer_command(**values))
