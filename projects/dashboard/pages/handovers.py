"""Handovers in words."""

from __future__ import annotations

from projects.choices import GroupRole
from projects.dashboard import words
from projects.models import Handover

QUESTIONS = {
    "things": "Seed, tools and papers",
    "way_in": "Who lets you in",
    "promised": "Promised, and to whom",
    "fixed_spots": "Fixed photo point and quadrats",
    "went_wrong": "What went wrong",
}
_AUTHORS = {GroupRole.LEAD: "a lead of the group", GroupRole.MEMBER: "a member of the group"}


class HandoverPage:
    """A handover, made to be printed."""

    def __init__(self, row: Handover) -> None:
        self.row = row

    @property
    def about(self) -> str:
        """What it hands over."""
        return self.row.project.name if self.row.project is not None else self.row.group.name

    @property
    def author(self) -> str:
        """Who wrote it, by role."""
        return _AUTHORS.get(GroupRole(self.row.by_role), "") if self.row.by_role in GroupRole else "a coordinator"

    @property
    def written(self) -> str:
        """When and by whom."""
        return f"Written on {words.day(self.row.written_on)} by {self.author}."

    @property
    def answers(self) -> list[tuple[str, str]]:
        """What was asked and answered."""
        return [(label, getattr(self.row, name)) for name, label in QUESTIONS.items() if getattr(self.row, name)]

    @property
    def dates(self) -> list[tuple[str, str]]:
        """What to look after, by day."""
        found = sorted(self.row.dates, key=lambda entry: entry["on"] or "9999")
        return [(words.day(entry["on"]) if entry["on"] else "no set day", entry["what"]) for entry in found]

    @property
    def unsaid(self) -> list[str]:
        """What was left open."""
        return [words.lowered(label) for name, label in QUESTIONS.items() if not getattr(self.row, name)]
