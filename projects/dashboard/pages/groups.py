"""What a group's pages say: what is due, and whose move it is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from projects.dashboard import words
from projects.dashboard.pages.group_seed import GroupSeed
from projects.models import Group, SeedPromise
from projects.rules.due import Whose
from projects.selectors.due import DueHere, NetworkDue


class GroupHome:
    """A group's home for its own people; only its leads can do most of what is due."""

    def __init__(
        self, group: Group, dues: Sequence[DueHere], today: date, leads: bool = True,
        promises: Sequence[SeedPromise] = (),
    ) -> None:  # fmt: skip
        self.group, self.today, self.leads = group, today, leads
        #: what to fetch of the seed store and what to tell of; empty for nothing
        self.seed = GroupSeed(promises, today).sentence if promises else ""
        self.dues = [here for here in dues if not here.due.advice]

        self.advice: dict[str, list[DueHere]] = {}
        for here in dues:
            if here.due.advice:
                self.advice.setdefault(here.due.text, []).append(here)

    def _of(self, whose: Whose) -> list[DueHere]:
        return [here for here in self.dues if here.due.whose is whose]

    @property
    def ours(self) -> list[DueHere]:
        return self._of(Whose.GROUP)

    @property
    def others(self) -> list[DueHere]:
        return self._of(Whose.AUTHORITY)

    @property
    def networks(self) -> list[DueHere]:
        return self._of(Whose.NETWORK)

    @property
    def sentence(self) -> str:
        """Whose move it is, first."""
        late = [here for here in self.ours if here.due.late]
        if late:
            n = len(late)
            return f"{words.opened(words.counted(n))} {words.plural(n, 'thing is', 'things are')} overdue."
        if self.ours:
            n = len(self.ours)
            dated = [here for here in self.ours if here.due.by]
            whose = "yours" if self.leads else "your group’s"
            text = f"{words.opened(words.counted(n))} {words.plural(n, 'thing is', 'things are')} {whose} to do"
            return f"{text}; the first has a day, {words.day(dated[0].due.by or self.today)}." if dated else f"{text}."
        if self.others:
            whose = "yours" if self.leads else "your group’s"
            return f"Nothing is {whose} to do: others have been asked and have not answered."
        return "Nothing is due."


def network_sentence(found: NetworkDue) -> str:
    """Return what waits for the network's coordinators, in one sentence."""
    parts = []
    if found.groups_without_lead:
        n = len(found.groups_without_lead)
        parts.append(
            f"{words.counted(n)} {words.plural(n, 'group has nobody to lead it', 'groups have nobody to lead them')}"
        )
    if found.projects_without_forecast:
        n = found.projects_without_forecast
        parts.append(f"{words.counted(n)} {words.plural(n, 'plan has', 'plans have')} no forecast yet")
    if found.groups_without_site:
        n = len(found.groups_without_site)
        parts.append(f"{words.counted(n)} {words.plural(n, 'group has', 'groups have')} no site yet")
    if found.without_baseline:
        n = len(found.without_baseline)
        parts.append(f"{words.counted(n)} {words.plural(n, 'meadow was', 'meadows were')} sown without a forecast")
    return words.sentence(words.listed(parts)) if parts else "Nothing waits for you."
