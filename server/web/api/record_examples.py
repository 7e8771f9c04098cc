"""One example for each body of the record interfaces, all invented; the tests send every one of them.

A uid in capitals stands for the uid of a record of that kind.
"""

from typing import Any

PLACE_UID, PAINT_UID, MIX_UID, PANEL_UID = "UID-OF-A-PLACE", "UID-OF-A-PAINT", "UID-OF-A-MIX", "UID-OF-A-PANEL"
STACK_UID, LAYER_UID = "UID-OF-A-STACK", "UID-OF-A-LAYER"

_PANEL = {
    "title": "Quince on a blue cloth",
    "width_cm": 30,
    "height_cm": 24,
    "support": "hardboard",
    "ground_kind": "acrylic",
    "ground_surface": "matte",
    "ground_on": "2026-10-01",
    "place_uid": PLACE_UID,
    "due_on": "2027-03-01",
    "due_for": "spring show",
}
_LAYER = {
    "kind": "block-in",
    "thickness_preset": "thin_opaque",
    "solvent_pct": 20,
    "planned_on": "2026-12-01",
    "sitting_min": 90,
    "mixes": [{"mix_uid": MIX_UID, "area_pct": 70, "region": "cloth"}],
}
_PAINT = {
    "label": "Titanium white, 40 ml",
    "oil": "linseed",
    "pigments": [{"pigment": "PW6", "share_pct": 100}],
    "tube_ml": 40,
    "left_ml": 25,
}
_MEDIUM = {
    "label": "Half linseed, half spirits",
    "parts": [{"material": "oil:linseed", "parts": 1}, {"material": "solvent:odourless_mineral_spirits", "parts": 1}],
}
_THINNER = {"label": "Odourless mineral spirits", "solvent": "odourless_mineral_spirits"}
_MIX = {"label": "Cool white", "parts": [{"item": f"paint:{PAINT_UID}", "parts": 3}]}
_PLACE = {
    "name": "Drying rack",
    "light": "dim",
    "temperature_c": 18,
    "relative_humidity_pct": 60,
    "months": [{"month": 1, "temperature_c": 15, "relative_humidity_pct": 65}],
}
_STACK = {
    "label": "Two layers",
    "layers": [
        {"kind": "underpainting", "wet_thickness_um": 30, "solvent_pct": 30},
        {"kind": "second painting", "wet_thickness_um": 50, "mix_uid": MIX_UID},
    ],
}

EXAMPLES: dict[str, dict[str, Any]] = {
    "PanelCreate": _PANEL,
    "PanelChange": _PANEL | {"title": "Quince, blue cloth"},
    "LayerCreate": _LAYER,
    "LayerChange": _LAYER | {"solvent_pct": 10},
    "LayerPaint": {"painted_at": "2026-11-24T10:30:00+01:00", "sitting_min": 80},
    "TouchTestCreate": {"stage": "tacky", "pressed_at": "2026-11-24T18:00:00+01:00", "place_on_panel": "top left"},
    "TouchTestChange": {"stage": "wet", "note": "only in the thick part"},
    "FinishStepCreate": {"action": "final_varnish", "planned_on": "2027-09-01"},
    "FinishStepChange": {"action": "final_varnish", "planned_on": "2027-10-01"},
    "FinishStepDo": {"done_at": "2026-11-24T20:00:00+01:00", "override_reason": "asked for by its owner"},
    "FinishTestCreate": {"method": "thumb", "result": "no_mark"},
    "FinishTestChange": {"method": "thumb", "result": "mark"},
    "PaintCreate": _PAINT,
    "PaintChange": _PAINT | {"left_ml": 20},
    "MediumCreate": _MEDIUM,
    "MediumChange": _MEDIUM | {"notes": "shake it"},
    "ThinnerCreate": _THINNER,
    "ThinnerChange": _THINNER | {"label": "Spirits, new jar"},
    "MixCreate": _MIX,
    "MixChange": _MIX | {"label": "White as it is"},
    "PlaceCreate": _PLACE,
    "PlaceChange": _PLACE | {"temperature_c": 19},
    "StackCreate": _STACK,
    "StackApply": {"panel_uid": PANEL_UID, "mixes": [{"layer": 0, "mix_uid": MIX_UID}]},
    "LayerMove": {"way": "up"},
    "SittingEndCreate": {
        "rags": "spread",
        "brushes": True,
        "lids": True,
        "mixes": [{"mix_uid": MIX_UID, "left_ml": 4, "kept_in": "sealed"}],
    },
    "LimitSet": {"value": 0.25},
    "StudioChange": {
        "name": "North light",
        "time_zone": "Europe/Lisbon",
        "confidence_pct": 90,
        "drops_per_ml": 22,
        "share_wait_d": 10,
        **{"length_unit": "cm", "volume_unit": "ml", "temperature_unit": "c", "film_unit": "um"},
        **{"week_start": "monday", "date_order": "dmy", "clock": "24", "decimal_mark": "auto", "language": "auto"},
    },
    "StackChange": _STACK | {"label": "Two thin layers"},
    "MoveCreate": {"place_uid": PLACE_UID, "moved_at": "2026-11-24T12:00:00+01:00"},
    "MoveChange": {"place_uid": PLACE_UID, "moved_at": "2026-11-24T12:30:00+01:00"},
    "WorkingHoursCreate": {"painter": "First painter", "weekdays": "12345", "start": "09:00", "end": "17:00"},
    "PlanMake": {"easels": 3, "rack_places": 12, "mix_setup_min": 20},
    "LongMake": {"easels": 3, "seconds": 30},
    "PlanPin": {"layer_uid": LAYER_UID, "pinned": True},
    "PlanOptionApply": {"panel_uid": PANEL_UID, "key": "wait"},
    "PlanRight": {"event": "no_painting"},
    "PromiseAsk": {
        "title": "Harbour, evening",
        "for_whom": "whoever asked by letter",
        "width_cm": 40,
        "height_cm": 30,
        "stack_uid": STACK_UID,
        "place_uid": PLACE_UID,
        "wanted_on": "2027-06-01",
    },
    "ChoiceUpdate": {"mode": "frozen"},
    "SeenWet": {"days_before": 1.5},
    "ShareLinkCreate": {
        "label": "For whoever waits for it",
        "scope": "panel",
        "panel_uids": [PANEL_UID],
        "shows": ["sizes", "section"],
        "lasts": "date",
        "expires_on": "2027-06-30",
    },
    "ShareLinkChange": {"label": "For the waiting room", "shows": ["sizes"], "units": "imperial", "expires_on": None},
    "WhatIfQuestion": {"wet_thickness_um": 25, "medium": "alkyd", "medium_pct": 10},
    "MixingQuestion": {
        "parts": [{"item": f"paint:{PAINT_UID}", "parts": 3}],
        "wet_thickness_um": 60,
        "panel_uid": PANEL_UID,
        "coverage_pct": 80,
    },
    "StackQuestion": {"panel_uid": PANEL_UID, "mixes": [{"layer": 0, "mix_uid": MIX_UID}]},
    "ReadingCreate": {"at": "2026-11-24T09:00:00+01:00", "temperature_c": 18.5, "relative_humidity_pct": 58},
    "ReadingsFile": {
        "name": "rack.csv",
        "text": "time,temperature C,humidity %\n2026-11-23 10:00,18.1,61\n2026-11-23 11:00,18.3,60\n",
    },
    "FileChoices": {"upload": "UID-OF-AN-UPLOAD", "at_column": 0, "temperature_column": 1, "humidity_column": 2},
    "SensorCreate": {"name": "Rack sensor"},
    "LimitsChange": {"limits": [{"name": "NAME-OF-A-LIMIT", "value": None}]},
    "PanelPurge": {"title": "Quince on a blue cloth"},
    "PainterRename": {"painter": "First painter", "name": "Painter by the window"},
    "RecordPurge": {"name": "Lead white"},
    "PersonPurge": {"name": "Painter"},
    "ListTaken": {
        "text": "Panel;Width (cm);Height (cm);Support;Ground\nQuince, small;20;15;hardboard;acrylic\n",
        "check_only": True,
    },
    "OwnFeedCreate": {"label": "Telephone", "painter": "First painter"},
    "InvitationCreate": {"role": "assistant", "meant_for": "whoever mixes on Mondays"},
    "RoleUpdate": {"role": "painter"},
}
