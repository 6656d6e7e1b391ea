"""Grant rounds for everybody, and for a group: which there are, what one asks, what became of the bids in it."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse

from projects.dashboard.doors import Door
from projects.dashboard.pages.awards import AwardPage
from projects.dashboard.pages.bids import BidPage
from projects.dashboard.pages.rounds import AwardedPage, RoundOfGroup, RoundPage
from projects.dashboard.views.county import OfNetwork
from projects.dashboard.views.groups import OfGroup
from projects.models import Award, Bid
from projects.rules.access import may
from projects.rules.rounds import Phase
from projects.selectors.bids import PARTS, bid_list
from projects.selectors.decisions import award_list, decision_list, due_of, open_awards
from projects.selectors.networks import groups_of
from projects.selectors.rounds import round_get, round_list


class CountyRoundsView(OfNetwork):
    """The rounds of a county for everybody: open, coming, being read, settled, with what was awarded."""

    template_name = "county/rounds.html"

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        rows = round_list(self.actor).filter(network=self.network).exclude(state="draft").order_by("-opens_at", "pk")
        pages = sorted((RoundPage(row, self.now) for row in rows), key=lambda page: page.rank)
        awards: dict[int, list[Award]] = {}
        for award in open_awards().filter(round__in=[page.row for page in pages]):
            awards.setdefault(award.round_id, []).append(award)
        context = {
            "network": self.network,
            "rounds": [(page, AwardedPage(awards.get(page.row.pk, []))) for page in pages],
            "open_count": sum(page.is_open for page in pages),
            "leading": [group for group in groups_of(self.actor) if group.network_id == self.network.pk],
            "staff": may(self.actor, "round.staff", network_id=self.network.pk),
        }
        return self.show(request, context)


class RoundView(Door):
    """One round: what it asks, how long there is, what it awarded."""

    template_name = "county/round.html"

    def get(self, request: HttpRequest, round_id: UUID) -> HttpResponse:
        row = round_get(self.actor, round_id)
        page = RoundPage(row, self.now)
        groups = [
            group
            for group in groups_of(self.actor)
            if group.network_id == row.network_id and row.district_id in {None, group.district_id}
        ]
        leading = [
            group for group in groups if may(self.actor, "bid.create", group_id=group.pk, network_id=group.network_id)
        ]
        context = {
            "row": row,
            "page": page,
            "awarded": AwardedPage(open_awards().filter(round=row)) if page.phase is not Phase.COMING else None,
            "groups": groups,
            "leading": leading if page.may_begin else [],
            "staff": may(self.actor, "round.staff", network_id=row.network_id),
        }
        return self.show(request, context)


class GroupBidsView(OfGroup):
    """A group's bids, round by round, and whose move it is."""

    template_name = "county/group_bids.html"

    def get(self, request: HttpRequest, group_id: UUID) -> HttpResponse:
        self.demand("group.home")
        group = self.group
        bids = bid_list(self.actor).filter(group=group).prefetch_related(*PARTS).order_by("created_at", "pk")
        rows = list(bids)
        by_round: dict[int, list[Bid]] = {}
        for bid in rows:
            by_round.setdefault(bid.round_id, []).append(bid)
        awards = {award.bid_id: award for award in award_list(self.actor).filter(group=group)}
        decisions = {row.bid_id: row for row in decision_list(self.actor).filter(bid__in=rows, state="published")}
        found = []
        for row in round_list(self.actor).filter(network=group.network_id).exclude(state="draft"):
            page = RoundPage(row, self.now)
            eligible = row.district_id in {None, group.district_id}
            if by_round.get(row.pk) or (eligible and page.may_begin):
                found.append(RoundOfGroup(page, by_round.get(row.pk, []), eligible=eligible))
        pages = {bid.pk: BidPage(bid, [], [], decisions.get(bid.pk), awards.get(bid.pk), self.now) for bid in rows}
        due = [
            (award, one)
            for award in awards.values()
            for one in AwardPage(award, due_of(award, self.today), self.today).ours
        ]
        context = {
            "group": group,
            "rounds": [
                (one, [pages[bid.pk] for bid in one.bids]) for one in sorted(found, key=lambda one: one.page.rank)
            ],
            "due": sorted(due, key=lambda pair: (pair[1].by is None, pair[1].by)),
            "leads": self.may("bid.create"),
        }
        return self.show(request, context)
