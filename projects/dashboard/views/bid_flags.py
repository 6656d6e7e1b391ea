"""What is asked about a bid before it is decided, answered by its group."""

from __future__ import annotations

from typing import Any

from django.utils.functional import cached_property

from projects.dashboard.doors import FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.flags import FlagForm
from projects.dashboard.pages.flags import FlagLine, FlagsPage
from projects.dashboard.views.bids import OfBid
from projects.errors import NotFound
from projects.selectors.flags import flags_read
from projects.services import flags as acts


class FlagView(OfBid, FormDoor):
    """Answer one flag."""

    template_name = "county/bid_flag.html"
    done = "Your answer stands beside it now, for everybody who reads the bid."

    def load(self) -> None:
        self.demand("flag.answer")

    @cached_property
    def flag(self) -> FlagLine:
        number = int(self.kwargs["flag"])
        flags = FlagsPage(*flags_read(self.actor, self.bid.public_id)).flags
        if not 0 < number <= len(flags):
            raise NotFound(f"There are {len(flags)} flags of this bid.")
        return flags[number - 1]

    def form(self, data: Any = None) -> ServiceForm:
        return FlagForm(data, flag=self.flag.number)

    def context(self) -> dict[str, Any]:
        return {"row": self.bid, "flag": self.flag}

    def act(self, form: Any) -> str:
        acts.flag_answer(actor=self.actor, bid_id=self.bid.public_id, asked=form.read(), now=self.now)
        return f"{self.address}#flag-{self.flag.number}"
