"""Work that is done after the answer, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from projects.dashboard import words
from projects.models import Job

#: what a kind of job is called; one that is not here is called by its key
KINDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "estimate_batch": "Estimates of many sites",
        "forecasts": "Forecasts of many meadows",
        "export": "A file of records or figures",
        "snapshot": "A dated set of open records",
        "bid_appraisals": "Appraisals of a round’s bids",
        "bid_choice": "What a round’s pot could buy",
    }
)


@dataclass(frozen=True)
class JobLine:
    """One piece of work."""

    job: Job
    may_restart: bool
    #: what went wrong, for whoever runs the server
    shows_error: bool

    @property
    def what(self) -> str:
        return KINDS.get(self.job.kind) or self.job.kind.replace("_", " ").capitalize()

    @property
    def failed(self) -> bool:
        return self.job.state == Job.State.FAILED

    @property
    def how_far(self) -> str:
        done, total = self.job.progress_done, self.job.progress_total
        of_all = f"{done:,} of {total:,}"
        match self.job.state:
            case Job.State.FAILED:
                tries = words.counted(self.job.attempts)
                return f"Stopped at {of_all} after {tries} {words.plural(self.job.attempts, 'attempt')}"
            case Job.State.RUNNING:
                return f"At work: {of_all} done"
            case Job.State.DONE:
                return "Done"
        if self.job.last_error:
            return f"Waits to be tried again: {of_all} done"
        return f"Waits: {of_all} done" if done else f"Waits to begin: {total:,} to do"


@dataclass(frozen=True)
class JobsPage:
    """All work that somebody may see, what stopped before its end first."""

    lines: list[JobLine]
    failed: int
    waiting: int

    @property
    def sentence(self) -> str:
        if self.failed:
            pieces = "piece" if self.failed == 1 else "pieces"
            again = "it" if self.failed == 1 else "each"
            text = f"{words.counted(self.failed)} {pieces} of work stopped before the end; start {again} again below."
            return words.opened(text)
        if self.waiting:
            pieces, goes = ("piece", "goes") if self.waiting == 1 else ("pieces", "go")
            return words.opened(f"{words.counted(self.waiting)} {pieces} of work wait or {goes} on; none has stopped.")
        return "No work waits, and none has stopped." if self.lines else "No work has been asked for."
