"""Plug plants and green hay in words."""

from __future__ import annotations

from projects.choices import GreenHayState
from projects.dashboard import words
from projects.models import GreenHayDay, PlugBatch
from projects.rules.access import Actor
from projects.selectors.green_hay import donor_told, looked_at
from projects.selectors.plugs import plant_names, plant_note

DM2_PER_M2 = 100
MINUTES_PER_HOUR = 60


class BatchLine:
    """A batch in a list or on its page."""

    def __init__(self, row: PlugBatch) -> None:
        self.row = row
        self.english, self.scientific = plant_names(row.taxon)

    @property
    def note(self) -> str:
        return plant_note(self.row.taxon)

    @property
    def sentence(self) -> str:
        """How many live, first."""
        row = self.row
        if not row.pricked_out:
            return f"{row.sown_count:,} sown on {words.day(row.sown_on)}; none is potted on yet."
        here, free = row.alive - row.handed_over, row.alive - row.promised
        ready = f", ready by {words.day(row.ready_on)}" if row.ready_on else ""
        return f"{here:,} {words.plural(here, 'plant is', 'plants are')} here{ready}; {free:,} free to be promised."

    @property
    def facts(self) -> list[tuple[str, str]]:
        row = self.row
        found = [
            ("Sown", f"{row.sown_count:,} on {words.day(row.sown_on)}"),
            ("Seed from", str(row.lot) if row.lot else row.seed_from),
            ("Looked after by", str(row.group) if row.group else "the network"),
            ("Pricked out", f"{row.pricked_out:,}"),
            ("Lost", f"{row.lost:,}"),
            ("Promised and not yet gone", f"{row.promised - row.handed_over:,}"),
            ("Handed over", f"{row.handed_over:,}"),
            ("Note", row.note),
        ]
        return [(label, text) for label, text in found if text]


class HayLine:
    """A day of green hay in a list or on its page."""

    def __init__(self, actor: Actor, row: GreenHayDay) -> None:
        self.row = row
        self.donor = donor_told(actor, row)

    @property
    def sentence(self) -> str:
        row = self.row
        cut, spread = words.area(row.donor_dm2 / DM2_PER_M2), words.area(row.receptor_dm2 / DM2_PER_M2)
        when = words.day(row.cut_on)
        also = "" if row.spread_on == row.cut_on else f", spread on {words.day(row.spread_on)}"
        done = {GreenHayState.PLANNED: "", GreenHayState.DONE: " Done.", GreenHayState.CALLED_OFF: " Called off."}
        return (
            f"{when}{also}: {cut} of {self.donor} onto {spread} of {row.project}, "
            f"1 to {words.figure(row.receptor_dm2 / row.donor_dm2)}.{done[GreenHayState(row.state)]}"
        )

    @property
    def looked_at(self) -> list[str]:
        return [text for _, text in looked_at(self.row)] if self.row.state == GreenHayState.PLANNED else []

    @property
    def facts(self) -> list[tuple[str, str]]:
        row = self.row
        hours = words.figure(row.minutes_to_spread / MINUTES_PER_HOUR, 3)
        found = [
            ("Cut to spread", f"{hours} hours"),
            ("Trailers", str(row.trailers or "not said")),
            ("People", str(row.people or "not said")),
            ("Why", row.because),
            ("Note", row.note),
        ]
        return [(label, text) for label, text in found if text]
