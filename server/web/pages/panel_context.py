"""What the page of a panel shows, ready for its template."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

from server.formats.drawings import Miniature
from server.formats.drawings_odds import OddsPicture, odds_picture
from server.formats.drawings_section import SectionDrawing, cross_section
from server.science.soundness.types import Finding
from server.services.board.facts import LayerFact, PanelBoard, PanelFact, SittingFact
from server.services.hazards import in_order
from server.services.history import HistoryEntry
from server.services.on_panel import ArchivedLayer
from server.services.overrides import FrozenVerdict
from server.store.tables import Place
from server.web import finish_words, standing_words
from server.web.drawn import GROUND_WORDS, SUPPORT_WORDS, DotsShown, dots_shown, little_panel, subject_of
from server.web.history_words import Line, lines_of
from server.web.today_cards import Card, card_of
from server.web.touch_questions import LastWet, last_wet_on


@dataclass(frozen=True, slots=True)
class PanelRecords:
    """What stands beside the facts of a panel: its archived layers, its history, the layers that went on against the
    rules, the sitting that was not ended yet, and the open places that it could be put into."""

    archived_layers: Sequence[ArchivedLayer]
    changes: Sequence[HistoryEntry]
    overruled: Mapping[str, tuple[FrozenVerdict, str]]
    sitting: SittingFact | None
    elsewhere: Sequence[Place]
    may_purge: bool = False


@dataclass(frozen=True, slots=True)
class PanelPage:
    """The names of ``panels/panel.html``.

    ``card`` words what the lists say as well; ``helps`` words a finding's remedy over the layer that lies below.
    ``top_painted`` is the uid of the topmost painted layer, "" for none; ``can_up`` and ``can_down`` hold the uids of
    planned layers that have another planned one above or below; ``other_scale`` is the address of the other drawing.
    """

    panel: PanelFact
    card: Card
    helps: Callable[[Finding, LayerFact | None], str]
    layers: tuple[LayerFact, ...]
    mini: Miniature
    touch_odds: OddsPicture | None
    due_odds: OddsPicture | None
    section: SectionDrawing
    other_scale: str
    ground_surface: str
    ground_pigment: str | None
    ground_on: date | None
    notes: str
    finished_on: date | None
    top_painted: str
    can_up: frozenset[str]
    can_down: frozenset[str]
    archived_layers: Sequence[ArchivedLayer]
    may_purge: bool
    changes: Sequence[HistoryEntry]
    lines: Callable[[HistoryEntry], list[Line]]
    hazards: Sequence[str]
    overruled: Mapping[str, tuple[FrozenVerdict, str]]
    has_open_sitting: bool
    finish_words: str
    dots: DotsShown | None
    place_uid: str
    elsewhere: Sequence[Place]
    last_wet_asked: LastWet | None

    @classmethod
    def of(cls, board: PanelBoard, is_log: bool, around: PanelRecords) -> "PanelPage":
        moment = board.moment
        subject = subject_of(board, GROUND_WORDS[board.ground_kind], SUPPORT_WORDS[board.support])
        section = cross_section(subject, log=is_log)
        panel_href = f"/panels/{board.panel.uid}"
        other = panel_href if is_log else f"{panel_href}?scale=log"
        painted = [layer.uid for layer in board.layers if layer.is_painted]
        planned = [layer.uid for layer in board.layers if not layer.is_painted]
        return cls(
            panel=board.panel,
            card=card_of(board.panel, moment),
            helps=lambda found, below: standing_words.remedy_words(found, below, moment.today, moment.zone),
            layers=board.layers,
            mini=little_panel(board.panel, 96.0),
            touch_odds=_odds(board.panel.rest.touch_odds),
            due_odds=_odds(board.panel.due.odds if board.panel.due else None),
            section=section,
            other_scale=other if is_log or section.log_helps else "",
            ground_surface=board.ground_surface,
            ground_pigment=board.ground_pigment,
            ground_on=board.ground_on,
            notes=board.notes,
            finished_on=board.finished_on,
            top_painted=painted[-1] if painted else "",
            can_up=frozenset(planned[:-1]),
            can_down=frozenset(planned[1:]),
            archived_layers=around.archived_layers,
            may_purge=around.may_purge,
            changes=around.changes,
            lines=partial(lines_of, zone=moment.zone),
            hazards=in_order(kind for layer in board.layers for kind in layer.hazards),
            overruled=around.overruled,
            has_open_sitting=_sat_at(around.sitting, board.panel.uid),
            finish_words=finish_words.next_words(board.panel.closing, moment.today) if board.panel.closing else "",
            dots=dots_shown(board.dots, moment.today) if board.dots else None,
            place_uid=board.place_uid,
            elsewhere=around.elsewhere,
            last_wet_asked=None if board.panel.is_archived else last_wet_on(board.panel.top, moment.at, panel_href),
        )


def _sat_at(sitting: SittingFact | None, uid: str) -> bool:
    """Whether this panel was painted in the sitting that was not ended yet."""
    return sitting is not None and any(sat.panel_uid == uid for sat in sitting.layers)


def _odds(odds: float | None) -> OddsPicture | None:
    # Drawn odds of all or none only say that no draw went the other way.
    return None if odds is None else odds_picture(min(0.999, max(0.001, odds)))
