"""Panels and sittings in the texts of a plan: the search knows them by uid, a painter by title and kind."""

import re

from server.services.board.rows import StudioRows

_UID = re.compile(r"[A-Za-z0-9_-]{1,32}")


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

        def name(found: re.Match[str]) -> str:
            uid = found[0]
            if uid in self.titles:
                return f"“{self.titles[uid]}”"
            if uid not in self.kinds:
                return uid
            own, kind = self.panels[uid], f"“{self.kinds[uid]}”"
            return kind if own in (panel, "") else f"{kind} of “{self.titles[own]}”"

        return _UID.sub(name, text)
