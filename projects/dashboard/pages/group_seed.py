"""Seed promised to a group, in words: what is to be fetched by when, and what is out and not told of yet."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from projects.dashboard import words
from projects.models import SeedPromise
from projects.rules.lots import weight


class PromiseLine:
    """One promise as its group reads it."""

    def __init__(self, row: SeedPromise, today: date) -> None:
        self.row, self.today = row, today

    @property
    def late(self) -> bool:
        """Whether it should have been fetched."""
        return bool(self.row.owed_mg and self.row.by is not None and self.row.by < self.today)

    @property
    def address(self) -> str:
        """Where to tell what became of it."""
        return f"/county/{self.row.network.slug}/seed/{self.row.lot.public_id}/promises/{self.row.public_id}/"

    @property
    def to_fetch(self) -> str:
        """What to fetch, and for which meadow."""
        for_ = f", for {self.row.project.name}" if self.row.project is not None else ""
        return f"{weight(self.row.owed_mg)} of {self.row.lot}{for_}"

    @property
    def out(self) -> str:
        """What is with the group."""
        return f"{weight(self.row.out_mg)} of {self.row.lot}"

    @property
    def done(self) -> str:
        """What became of the rest."""
        row = self.row
        told = ((row.sown_mg, "sown"), (row.returned_mg, "brought back"), (row.released_mg, "taken back"))
        return words.listed(f"{weight(amount)} {what}" for amount, what in told if amount)


class GroupSeed:
    """All seed promised to a group."""

    def __init__(self, rows: Sequence[SeedPromise], today: date) -> None:
        # what has a day first, the earliest of them
        ordered = sorted(rows, key=lambda row: (row.by is None, row.by or today, row.pk))
        self.lines = [PromiseLine(row, today) for row in ordered]

    @property
    def owed(self) -> list[PromiseLine]:
        return [line for line in self.lines if line.row.owed_mg]

    @property
    def out(self) -> list[PromiseLine]:
        return [line for line in self.lines if line.row.out_mg]

    @property
    def finished(self) -> list[PromiseLine]:
        """Nothing to fetch, and nothing left to tell."""
        return [line for line in self.lines if not line.row.owed_mg and not line.row.out_mg]

    @property
    def sentence(self) -> str:
        """What to fetch, by when; then what to tell of."""
        found = []
        if self.owed:
            whole = weight(sum(line.row.owed_mg for line in self.owed))
            days = [line.row.by for line in self.owed if line.row.by is not None]
            late = [line for line in self.owed if line.late]
            text = f"{whole} of seed to fetch"
            if late:
                text += f"; {words.counted(len(late))} {words.plural(len(late), 'lot is', 'lots are')} overdue"
            elif days:
                text += f"{' by ' if len(self.owed) == 1 else ', the first by '}{words.day(min(days))}"
            found.append(f"{text}.")
        if self.out:
            whole = weight(sum(line.row.out_mg for line in self.out))
            found.append(f"{whole} is with you: tell what was sown and what comes back.")
        return " ".join(found) or "No seed is waiting for you."
