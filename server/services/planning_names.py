"""Panels and sittings in the texts of a plan: the search knows them by uid, a painter by title and kind."""

from functools import partial
from typing import Any

from server.services.board.rows import StudioRows
from server.services.plan_texts import layer_words, to_keep, with_names


class Names:
    """What a studio's panels and layers are called."""

    def __init__(self, board: StudioRows) -> None:
        self.titles = {panel.uid: panel.title for panel in board.panels}
        self.kinds = {row.uid: row.kind for rows in board.layers.values() for row in rows}
        uid_of = {panel.id: panel.uid for panel in board.panels}
        self.panels = {row.uid: uid_of.get(panel_id, "") for panel_id, rows in board.layers.items() for row in rows}

    def of_sitting(self, uid: str) -> dict[str, str]:
        """A sitting as a stored plan names one."""
        panel = self.panels[uid]
        return {"id": uid, "kind": self.kinds[uid], "panel": panel, "title": self.titles[panel]}

    def in_words(self, text: str, panel: str = "") -> str:
        """A text with names in place of uids; layers of other panels than ``panel`` are told with their panel."""
        return with_names(text, partial(self._name, panel))

    def to_keep(self, text: str, panel: str = "") -> list[Any] | None:
        """The same text as it is stored, so that it can be told by other names later; None where it names nothing."""
        return to_keep(text, partial(self._name, panel))

    def _name(self, own: str, uid: str) -> str | None:
        if uid in self.titles:
            return f"“{self.titles[uid]}”"
        if uid not in self.kinds:
            return None
        panel = self.panels[uid]
        return layer_words(self.kinds[uid], panel, self.titles.get(panel, ""), own)
