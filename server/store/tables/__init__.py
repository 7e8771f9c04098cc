"""The records a studio keeps.

One class a table. ``table=True`` classes do not validate: the command models in ``server/services`` do that
at the edge, and CHECK constraints stand behind them. Conventions:

- every record has a random ``uid`` that addresses it from outside, so counting up ids finds nothing;
- ``version`` grows with each change and guards against two people editing the same record;
- nothing is deleted: ``archived_at`` hides a record, the history brings back what an edit replaced;
- row ids are never used twice, so that the history can name a row that is gone;
- instants are aware UTC (``*_at``), days are dates (``*_on``); the unit of a quantity is in its name.
"""

from server.store.tables.base import (
    KEEP_IDS,
    NAMING_CONVENTION,
    GroundKind,
    GroundSurface,
    LayerMaterial,
    Light,
    MediumPartKind,
    MixPartKind,
    Private,
    Record,
    StudioRecord,
    Surface,
    Table,
    Texture,
    TouchStage,
    UtcDateTime,
    json_or_null,
    new_uid,
    one_of,
    utc_now,
)
from server.store.tables.finish import (
    FinishAction,
    FinishMethod,
    FinishResult,
    FinishStep,
    FinishTest,
    KeptIn,
    Rags,
    SittingEnd,
    SittingMix,
)
from server.store.tables.history import Change, ChangeSet
from server.store.tables.learning import LearningChoice, LearningMode, Occasion
from server.store.tables.panels import Layer, LayerMix, Panel, PanelMove, TouchTest
from server.store.tables.people import (
    ApiToken,
    CodeKind,
    ConsoleCode,
    Invitation,
    Membership,
    PeopleEvent,
    Person,
    RecoveryCode,
    Role,
    SignIn,
    SignInTry,
)
from server.store.tables.planning import StudioPlan, WorkTime
from server.store.tables.readings import (
    Reading,
    ReadingBatch,
    ReadingExtent,
    ReadingHour,
    ReadingSource,
    ReadingUpload,
    SensorToken,
)
from server.store.tables.sharing import PublishedEvent, ShareKey, ShareKind, ShareLink, ShareLinkPanel, ShareScope
from server.store.tables.shelf import Medium, MediumPart, Mix, MixPart, Paint, PaintPigment, Thinner
from server.store.tables.stacks import StackLayer, StackPlan
from server.store.tables.studio import Place, PlaceMonth, PlaceOff, RuleLimit, Studio

__all__ = [
    "KEEP_IDS",
    "NAMING_CONVENTION",
    "ApiToken",
    "Change",
    "ChangeSet",
    "CodeKind",
    "ConsoleCode",
    "FinishAction",
    "FinishMethod",
    "FinishResult",
    "FinishStep",
    "FinishTest",
    "GroundKind",
    "GroundSurface",
    "Invitation",
    "KeptIn",
    "Layer",
    "LayerMaterial",
    "LayerMix",
    "LearningChoice",
    "LearningMode",
    "Light",
    "Medium",
    "MediumPart",
    "MediumPartKind",
    "Membership",
    "Mix",
    "MixPart",
    "MixPartKind",
    "Occasion",
    "Paint",
    "PaintPigment",
    "Panel",
    "PanelMove",
    "PeopleEvent",
    "Person",
    "Place",
    "PlaceMonth",
    "PlaceOff",
    "Private",
    "PublishedEvent",
    "Rags",
    "Reading",
    "ReadingBatch",
    "ReadingExtent",
    "ReadingHour",
    "ReadingSource",
    "ReadingUpload",
    "Record",
    "RecoveryCode",
    "Role",
    "RuleLimit",
    "SensorToken",
    "ShareKey",
    "ShareKind",
    "ShareLink",
    "ShareLinkPanel",
    "ShareScope",
    "SignIn",
    "SignInTry",
    "SittingEnd",
    "SittingMix",
    "StackLayer",
    "StackPlan",
    "Studio",
    "StudioPlan",
    "StudioRecord",
    "Surface",
    "Table",
    "Texture",
    "Thinner",
    "TouchStage",
    "TouchTest",
    "UtcDateTime",
    "WorkTime",
    "json_or_null",
    "new_uid",
    "one_of",
    "utc_now",
]
