"""A grant round from the funder's side: each page's answer, each form's fault, and bids that are gone for the near."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from projects.contracts.base import read_as
from projects.contracts.decisions import AwardMove, ChangeNew, EndReport, MoneyBack, PaymentMove, PaymentNew
from projects.contracts.rounds import ChoiceNew
from projects.models import (
    Award,
    BidNote,
    ChangeRequest,
    Decision,
    GrantRound,
    Interest,
    Job,
    PaymentRequest,
    Review,
    RoundAssessor,
    RoundChoice,
)
from projects.selectors.fund import divided, money_of_funder
from projects.services import appraisals, awards, decisions, jobs
from tests.projects.dashboard.conftest import Page
from tests.projects.grants import AFTER, LATER, PANEL, VERGE, YEWS, grants

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    found = grants()
    for name, pounds in ((YEWS, 600.0), (VERGE, 500.0)):
        found.handed_in(name, pounds)
    return found


def browser(user):
    client = Client()
    client.force_login(user)
    return client


def page_of(client, path, status=200):
    answer = client.get(path)
    assert answer.status_code == status, (path, answer.status_code)
    return Page(answer.content.decode())


def post(client, path, data, status=302):
    answer = client.post(path, data)
    assert answer.status_code == status, (path, answer.status_code, Page(answer.content.decode()).text[:600])
    return Page(answer.content.decode()) if answer.content else answer.headers["Location"]


def values(page):
    """What stands in the form's fields."""
    return {attrs.get("name"): attrs.get("value") for tag, attrs in page.tags if tag == "input"}


def at(scene):
    return f"/fund/rounds/{scene.round.public_id}/"


def of(bid):
    return f"/fund/bids/{bid.public_id}/"


def work():
    jobs.jobs_run_due(clock=timezone.now)


# ------------------------------------------------------------------ the round


def typed_round(**more):
    return {
        "name": "Spring meadows", "funder": "Tideline Trust", "pot_gbp": "£25,000", "opens_at": "2027-02-01T09:00",
        "closes_at": "2027-03-01T17:00", "starts_earliest_on": "2027-03-15", "longest_months": "24",
        "match_percent": "10", "volunteer_match_percent": "100", "aftercare_years_least": "3", "accept_days": "30",
        "report_days": "60", "criterion_1_name": "Flowers", "criterion_1_weight": "3", "criterion_1_most": "5",
        "rate_1_skill": "unskilled", "rate_1_gbp_per_hour": "15", "rate_1_from_day": "2027-01-01",
    } | more  # fmt: skip


def test_a_round_is_written_put_right_and_announced(scene):
    client = browser(scene.manager)
    page = post(client, "/fund/county/saltmere/new/", typed_round(closes_at="2027-01-01T17:00"), 422)
    assert "It closes before it opens." in page.text
    assert values(page)["pot_gbp"] == "£25,000"
    assert values(page)["criterion_1_name"] == "Flowers"
    where = post(client, "/fund/county/saltmere/new/", typed_round())
    row = GrantRound.objects.get(name="Spring meadows")
    assert (row.pot_pence, row.state, row.closes_at.isoformat()) == (2_500_000, "draft", "2027-03-01T17:00:00+00:00")
    assert [(c.name, c.weight, c.most) for c in row.criteria.all()] == [("Flowers", 3, 5)]
    assert row.rates.get().pence_per_hour == 1500
    text = page_of(client, where).text
    assert "This round of £25,000 is being written; nobody else sees it yet." in text
    # an assessor sees nothing of it
    page_of(browser(scene.assessor), where, 404)
    page = page_of(client, f"{where}edit/")
    sent = typed_round(version=values(page)["version"], criterion_1_weight="2", criterion_2_name="People")
    post(client, f"{where}edit/", sent)
    assert [(c.name, c.weight, c.most) for c in row.criteria.all()] == [("Flowers", 2, 5), ("People", 1, 5)]
    row.refresh_from_db()
    post(client, f"{where}move/", {"to": "announced", "version": row.version})
    row.refresh_from_db()
    assert row.state == "announced"
    # announced, only what harms nobody can be typed at all
    assert {"name", "about", "pot_gbp"} >= set(values(page_of(client, f"{where}edit/"))) & {
        "name", "pot_gbp", "match_percent", "criterion_1_name"
    }  # fmt: skip


def test_a_changed_round_is_told_to_whoever_saw_the_version_before(scene):
    client = browser(scene.manager)
    page = page_of(client, f"{at(scene)}edit/")
    sent = {name: value or "" for name, value in values(page).items() if name != "csrfmiddlewaretoken"}
    post(client, f"{at(scene)}edit/", sent | {"name": "Autumn meadows, first"})
    page = post(client, f"{at(scene)}edit/", sent | {"name": "Autumn meadows, mine"}, 409)
    assert "Changed in the meantime" in page.text
    assert values(page)["name"] == "Autumn meadows, mine"


def test_a_round_cannot_be_announced_without_criteria(scene):
    client = browser(scene.manager)
    where = post(client, "/fund/county/saltmere/new/", typed_round(criterion_1_name="", criterion_1_weight="",
                                                                     criterion_1_most=""))  # fmt: skip
    page = post(client, f"{where}move/", {"to": "announced"}, 409)
    assert "Say what bids will be scored on." in page.text
    post(client, f"{where}move/", {"to": "elsewhere"}, 404)


def test_assessors_are_appointed_and_let_go(scene):
    client = browser(scene.manager)
    sent = {"user": str(scene.second.public_id), "act": "release"}
    post(client, f"{at(scene)}assessors/", sent)
    assert not RoundAssessor.objects.filter(user=scene.second, until__isnull=True).exists()
    page_of(browser(scene.second), of(scene.bids[YEWS]), 404)
    post(client, f"{at(scene)}assessors/", sent | {"act": "appoint"})
    page_of(browser(scene.second), of(scene.bids[YEWS]))
    page = post(client, f"{at(scene)}assessors/", {"user": str(scene.manager.public_id), "act": "appoint"}, 409)
    assert "There is no assessor of this network with this id." in page.text
    post(client, f"{at(scene)}assessors/", {"user": "nobody", "act": "appoint"}, 404)


# ------------------------------------------------------------------ near and blind


def test_an_interest_takes_the_groups_bids_away_everywhere_at_once_and_for_good(scene):
    bid, other = scene.bids[YEWS], scene.bids[VERGE]
    client = browser(scene.assessor)
    assert "Two of two bids wait for your scores." in page_of(client, at(scene)).text
    page = post(client, f"{at(scene)}interest/", {"reason": "My sister leads it."}, 422)
    assert "This has to be filled in." in page.text
    assert values(page)["reason"] == "My sister leads it."
    post(client, f"{at(scene)}interest/", {"group_id": str(bid.group.public_id), "reason": "My sister leads it."})
    assert Interest.objects.get().user == scene.assessor
    for path in (of(bid), f"{of(bid)}score/", f"{of(bid)}note/"):
        assert client.get(path).status_code == 404, path
        assert path == of(bid) or client.post(path, {}).status_code == 404, path
    text = page_of(client, at(scene)).text
    assert YEWS not in text
    assert "One of one bid waits for your scores." in text
    assert "£1,100" not in text
    scene.move("panel", PANEL)
    text = page_of(client, f"{at(scene)}panel/").text
    assert YEWS not in text
    assert VERGE in text
    appraisals.choice_ask(actor=scene.fund, round_id=scene.round.public_id, asked=ChoiceNew(), now=AFTER)
    work()
    assert client.get(f"/fund/choices/{RoundChoice.objects.get().public_id}/").status_code == 404
    scene.decide(bid, "full")
    decision, award = Decision.objects.get(), scene.award(bid)
    for path in (f"/fund/decisions/{decision.public_id}/", f"/fund/awards/{award.public_id}/"):
        assert client.get(path).status_code == 404, path
    assert client.get(of(other)).status_code == 200
    # the manager reads who declared what
    assert "Marram Teal is near to Gullhaven Meadow Makers: My sister leads it." in page_of(
        browser(scene.manager), at(scene)
    ).text  # fmt: skip


def test_a_manager_who_is_near_runs_the_round_without_its_sums(scene):
    client = browser(scene.manager)
    post(client, f"{at(scene)}interest/", {"group_id": str(scene.bids[YEWS].group.public_id)})
    text = page_of(client, at(scene)).text
    assert "Some bids are not shown to you" in text
    assert "are promised" not in text
    assert client.get(f"{at(scene)}choose/").status_code == 404
    assert client.post(f"{at(scene)}appraise/").status_code == 404
    assert client.get(f"{of(scene.bids[YEWS])}decide/").status_code == 404
    assert "left out, since a bid there is hidden" in page_of(client, "/fund/county/saltmere/money/").text


def test_scores_are_kept_as_a_draft_sent_once_and_hidden_from_the_others(scene):
    bid = scene.bids[YEWS]
    client, other = browser(scene.assessor), browser(scene.second)
    path = f"{of(bid)}score/"
    page = post(client, path, {"score_1": "9", "comment_1": "Cowslips.", "comment": "Good.", "keep": "1"}, 422)
    assert "“9” is no score here; choose 0 to 5." in page.text
    assert "Cowslips." in page.text
    page = post(client, path, {"comment_1": "Cowslips.", "keep": "1"}, 422)
    assert "Give a score too, from 0." in page.text
    assert post(client, path, {"score_1": "4", "comment_1": "Cowslips.", "comment": "Good.", "keep": "1"}) == (
        f"{path}?kept=1"
    )
    assert "It is not sent yet." in page_of(client, f"{path}?kept=1").text
    assert (Review.objects.get().sent_at, Review.objects.get().comment) == (None, "Good.")
    page = post(client, path, {"score_1": "4", "comment_1": "Cowslips.", "send": "1"}, 422)
    assert "Give a score too, from 0." in page.text
    text = page_of(other, of(bid)).text
    assert "What the others think is shown once you have sent your own scores." in text
    post(client, path, {"score_1": "4", "comment_1": "Cowslips.", "score_2": "3", "comment": "Good.", "send": "1"})
    # 3 parts of 4 in 5 and 1 part of 3 in 4
    assert "Marram Teal: 78.8 of 100. Good." in page_of(client, of(bid)).text
    assert "Cowslips" not in page_of(other, of(bid)).text
    page = post(client, path, {"score_1": "1", "score_2": "1", "send": "1"}, 422)
    assert "Your review is sent; it stays as it is." in page.text
    assert "You sent your scores on" in page_of(client, path).text
    assert other.get(f"{at(scene)}panel/").status_code == 403
    # a note is blind likewise
    post(client, f"{of(bid)}note/", {"text": "   "}, 422)
    post(client, f"{of(bid)}note/", {"text": "The gate is narrow."})
    assert BidNote.objects.get().text == "The gate is narrow."
    assert "The gate is narrow." not in page_of(other, of(bid)).text
    assert "The gate is narrow." in page_of(browser(scene.manager), of(bid)).text


def test_a_bid_is_laid_beside_the_model(scene):
    client = browser(scene.manager)
    bid = scene.bids[YEWS]
    assert "the bid has not been appraised yet" in page_of(client, of(bid)).text
    post(client, f"{at(scene)}appraise/", {})
    page = page_of(client, at(scene))
    assert "The appraisal of all bids is waiting to be worked out." in page.text
    assert any(attrs.get("http-equiv") == "refresh" for tag, attrs in page.tags if tag == "meta")
    work()
    page = page_of(client, at(scene))
    assert "The appraisal of all bids is there." in page.text
    assert not any(attrs.get("http-equiv") == "refresh" for tag, attrs in page.tags if tag == "meta")
    page = page_of(client, of(bid))
    # £600 for 0.018 ha; the other bid of its size class, of £500, covers 0.064 ha
    assert "£33,333 of grant a hectare, for 180 m² (small, under 1,000 m²)." in page.text
    assert "Outside what the model has for the same work: seed above" in page.text
    assert "12 species per m² by 2029" in page.text
    assert "No yearly return was due from this group yet." in page.text
    charts = [attrs["aria-labelledby"] for tag, attrs in page.tags if tag == "svg"]
    assert {name.split()[0] for name in charts} == {
        f"{key}-{width}-title" for key in ("claims", "fan-1") for width in ("narrow", "wide")
    }
    assert any(attrs.get("class") == "claimed" for tag, attrs in page.tags if tag == "path")
    page = post(client, f"{of(bid)}seen/", {"what": "constitution", "seen_on": "2090-01-01"}, 422)
    assert "This day is still to come." in page.text
    post(client, f"{of(bid)}seen/", {"what": "constitution", "seen_on": "2026-10-05"})
    assert "seen on 5 October 2026" in page_of(client, of(bid)).text


# ------------------------------------------------------------------ the panel


def test_the_panel_shows_spread_and_habits(scene):
    for user, scores in ((scene.assessor, (5, 4)), (scene.second, (2, 2))):
        scene.review(user, scene.bids[YEWS], *scores)
    client = browser(scene.manager)
    text = page_of(client, f"{at(scene)}panel/").text
    # all points; 3 parts of 2 in 5 and 1 part of 2 in 4: 42.5
    assert "One of two bids has scores; highest stands number 1, Flowers: Under the yews, with 71.2 of 100." in text
    assert "42.5 to 100" in text
    assert "Marram Teal marks milder than the others" in text
    assert "Pip Samphire marks harsher than the others" in text


def test_the_pot_is_asked_under_limits_and_its_job_is_shown_without_a_script(scene):
    client = browser(scene.manager)
    path = f"{at(scene)}choose/"
    assert "Nothing has been worked out yet." in page_of(client, path).text
    yews, verge = scene.bids[YEWS], scene.bids[VERGE]
    page = post(client, path, {"pot_gbp": "1,5", f"part_{yews.pk}": "700", f"hold_{verge.pk}": "in"}, 422)
    assert "“1,5” is not a number" in page.text
    page = post(client, path, {f"part_{yews.pk}": "700", f"hold_{verge.pk}": "in"}, 422)
    assert "700 will not do; it must be at most 600.00." in page.text
    assert values(page)[f"part_{yews.pk}"] == "700"
    page = post(client, path, {"half_days": "3"}, 422)
    assert "This has to be filled in." in page.text
    post(client, path, {f"hold_{yews.pk}": "in"})
    text = page_of(client, path).text
    assert "What the pot could buy is waiting to be worked out." in text
    Job.objects.update(state="failed", finished_at=AFTER)
    assert "could not be worked out. Nothing was changed; it can be asked for again." in page_of(client, path).text
    Job.objects.update(state="waiting", finished_at=None, run_after=AFTER)
    work()
    page = page_of(client, path)
    assert "What the pot could buy is there." in page.text
    choice = RoundChoice.objects.get()
    page = page_of(client, f"/fund/choices/{choice.public_id}/")
    assert "£600 of the £1,000 funds 1 of 2 bids" in page.text
    assert "Held in, which costs" in page.text
    assert "Proven: no other set is better (gap 0;" in page.text
    assert "The next best set" in page.text or "There is no other set within the limits." in page.text
    assert any(attrs.get("aria-labelledby", "").startswith("frontier") for tag, attrs in page.tags if tag == "svg")
    # whoever reads for the round may read it once scores are open, the group never
    page_of(browser(scene.assessor), f"/fund/choices/{choice.public_id}/", 404)
    scene.move("panel", PANEL)
    page_of(browser(scene.assessor), f"/fund/choices/{choice.public_id}/")
    page_of(browser(scene.county.lead), f"/fund/choices/{choice.public_id}/", 404)


# ------------------------------------------------------------------ deciding


def test_a_decision_is_written_confirmed_against_the_pot_and_published_once(scene):
    scene.move("panel", PANEL)
    client = browser(scene.manager)
    bid = scene.bids[YEWS]
    page = post(client, f"{of(bid)}decide/", {"kind": "part", "amount_gbp": "900", "reason": "Less seed will do."}, 422)
    assert "900 will not do; it must be less than 600.00." in page.text
    assert "Less seed will do." in page.text
    where = post(client, f"{of(bid)}decide/", {"kind": "conditional", "reason": "Good."})
    page = post(client, f"{where}publish/", {"version": 1}, 422)
    assert "Say on which conditions." in page.text
    page = page_of(client, where)
    sent = {"version": values(page)["version"], "kind": "part", "amount_gbp": "450", "reason": "Good.",
            "conditions": "Test the soil first.", "letter": Decision.objects.get().letter}  # fmt: skip
    post(client, where, sent)
    decision = Decision.objects.get()
    assert (decision.kind, decision.amount_pence) == ("part", 45_000)
    assert "£450 of the £600 that you asked for" in decision.letter
    page = post(client, where, sent | {"conditions": "None."}, 409)
    assert "Changed in the meantime" in page.text
    page = page_of(client, f"{where}publish/")
    assert "This takes £450 of the £1,000 that are free in the pot of £1,000; £550 are left." in page.text
    version = values(page)["version"]
    # another manager changes it meanwhile: the first is told, and nothing is published
    decisions.decision_change(
        actor=scene.fund, public_id=decision.public_id,
        asked=read_as(decisions.DecisionChange, {"reason": "Very good."}), if_version=None, now=PANEL,
    )  # fmt: skip
    page = post(client, f"{where}publish/", {"version": version}, 409)
    assert "Somebody changed it while you looked at it; nothing was done twice." in page.text
    post(client, f"{where}publish/", {"version": values(page)["version"]})
    assert scene.award(bid).amount_pence == 45_000
    page = post(client, f"{where}publish/", {"version": values(page)["version"]}, 409)
    assert "Somebody published it while you looked at it; nothing was done twice." in page.text
    assert Award.objects.count() == 1
    # what does not fit is said before it is tried, and refused when tried
    other = scene.bids[VERGE]
    GrantRound.objects.update(pot_pence=60_000)
    where = post(client, f"{of(other)}decide/", {"kind": "full"})
    assert "only £150 of the pot of £600 are free: it cannot be published" in page_of(client, f"{where}publish/").text
    page = post(client, f"{where}publish/", {}, 422)
    assert "£150 are left in the pot; £500 are needed." in page.text


def test_a_decision_is_superseded_by_another(scene):
    scene.move("panel", PANEL)
    client = browser(scene.manager)
    bid = scene.bids[YEWS]
    scene.decide(bid, "full")
    where = post(client, f"{of(bid)}decide/", {"kind": "part", "amount_gbp": "400"})
    page = page_of(client, f"{where}publish/")
    assert "This takes nothing from the pot of £1,000, of which £400 are free. £200 return to it." in page.text
    assert "It supersedes: awarded in full, £600." in page.text
    post(client, f"{where}publish/", {})
    assert [row.state for row in Decision.objects.order_by("number")] == ["superseded", "published"]
    assert GrantRound.objects.get().committed_pence == 40_000


def accepted(scene):
    bid = scene.bids[YEWS]
    scene.move("panel", PANEL)
    scene.decide(bid, "full")
    award = scene.award(bid)
    return awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id,
        asked=AwardMove(to="accepted", accounting_year="2026-27"), if_version=None, now=PANEL,
    )  # fmt: skip


def paid(scene, award, stage=1, pounds=300.0):
    asked = read_as(PaymentNew, {"stage": stage, "amount_gbp": pounds, "evidence": "Eleven came."})
    return awards.payment_ask(actor=scene.leader(YEWS), award_id=award.public_id, asked=asked, now=LATER)


def test_payments_and_changes_are_settled_and_what_is_not_spent_comes_back(scene):
    award = accepted(scene)
    payment = paid(scene, award)
    client = browser(scene.manager)
    here = f"/fund/awards/{award.public_id}/"
    assert "£300 asked for, at the end of “Sown”" in page_of(client, at(scene)).text
    page = page_of(client, f"/fund/payments/{payment.public_id}/")
    assert "Gullhaven Meadow Makers ask for £300 at the end of “Sown”." in page.text
    page = post(client, f"/fund/payments/{payment.public_id}/", {"to": "refused", "version": payment.version}, 422)
    assert "Say why it is not paid." in page.text
    post(client, f"/fund/payments/{payment.public_id}/", {"to": "paid", "version": payment.version, "on": "2026-11-12"})
    assert PaymentRequest.objects.get().paid_on.isoformat() == "2026-11-12"
    assert "£300 paid on 12 November 2026" in page_of(client, here).text
    page = post(client, f"/fund/payments/{payment.public_id}/", {"to": "paid"}, 422)
    assert "This request is settled" in page.text
    asked = read_as(ChangeNew, {"kind": "seed", "why": "None left.", "before": "Mix A", "after": "Mix B"})
    change = awards.alteration_ask(actor=scene.leader(YEWS), award_id=award.public_id, asked=asked, now=LATER)
    assert "A change to settle: seed" in page_of(client, at(scene)).text
    page = post(client, f"/fund/changes/{change.public_id}/", {"to": "refused"}, 422)
    assert "Say why it is not agreed." in page.text
    assert "Mix B" in page.text
    post(client, f"/fund/changes/{change.public_id}/", {"to": "agreed", "version": change.version})
    assert ChangeRequest.objects.get().state == "agreed"
    page = post(client, f"{here}money-back/", {"amount_gbp": "500", "on": "2026-11-20"}, 422)
    assert "500 will not do; it must be at most 300.00." in page.text
    post(client, f"{here}money-back/", {"amount_gbp": "50", "on": "2026-11-20", "why": "Seed was cheaper."})
    assert "£50 came back on 20 November 2026: Seed was cheaper." in page_of(client, here).text
    page = post(client, f"{here}move/", {"to": "withdrawn"}, 422)
    assert "Say why the award is withdrawn." in page.text
    page = post(client, f"{here}move/", {"to": "finished"}, 422)
    assert "The group’s report is not there yet." in page.text
    awards.report_send(
        actor=scene.leader(YEWS), public_id=award.public_id, asked=EndReport(report="It flowers."), if_version=None,
        now=LATER,
    )  # fmt: skip
    assert "reported at the end: look at it and finish the award" in page_of(client, at(scene)).text
    post(client, f"{here}move/", {"to": "finished"})
    assert "finished with £250; £350 were not spent and are in the pot again." in page_of(client, here).text
    # £600 of £1,000 less £350
    assert "Of £1,000, £250 are promised and £750 are free; £300 were paid and £50 came back." in page_of(
        client, at(scene)
    ).text  # fmt: skip


def test_money_by_line_over_all_rounds_adds_up_to_the_penny(scene):
    award = accepted(scene)
    payment = paid(scene, award, pounds=100.01)
    awards.payment_settle(
        actor=scene.fund, public_id=payment.public_id,
        asked=read_as(PaymentMove, {"to": "paid", "on": (LATER - timedelta(days=1)).date().isoformat()}),
        if_version=None, now=LATER,
    )  # fmt: skip
    appraisals.appraisals_ask(actor=scene.fund, round_id=scene.round.public_id, now=AFTER)
    work()
    found = money_of_funder(scene.fund, scene.county.network, "Tideline Trust")
    assert [(line.label, line.awarded_pence, line.paid_pence) for line in found.lines] == [("Seed", 60_000, 10_001)]
    assert found.lines[0].modelled_pence is not None
    assert (found.paid_pence, found.outstanding_pence) == (10_001, 49_999)
    text = page_of(browser(scene.manager), "/fund/county/saltmere/money/?funder=Tideline Trust").text
    assert (
        "Tideline Trust put £1,000 into one round: £600 are promised, £100.01 were paid and £499.99 are still to be "
        "asked for." in text
    )
    awards.money_back(
        actor=scene.fund, award_id=award.public_id, now=LATER,
        asked=read_as(MoneyBack, {"amount_gbp": 0.01, "on": LATER.date().isoformat()}),
    )  # fmt: skip
    found = money_of_funder(scene.fund, scene.county.network, "Tideline Trust")
    assert (found.lines[0].paid_pence, found.returned_pence, found.outstanding_pence) == (10_000, 1, 49_999)


def test_a_sum_is_divided_by_weights_and_its_parts_add_up():
    # a third each of 100: the remainders are alike, so the first by name is rounded up
    assert divided(100, {"a": 1, "b": 1, "c": 1}) == {"a": 34, "b": 33, "c": 33}
    # 100 by 2 to 1: 66.67 and 33.33
    assert divided(100, {"a": 2, "b": 1}) == {"a": 67, "b": 33}
    assert divided(100, {}) == {}


def test_ones_rounds_are_found_from_home(scene):
    for user in (scene.manager, scene.assessor):
        assert "Grant rounds you run or read for" in page_of(browser(user), "/home/").text
        assert "Autumn meadows" in page_of(browser(user), "/fund/").text
    text = page_of(browser(scene.county.lead), "/fund/").text
    assert "There is no round that you run or read for." in text
    assert Client().get("/fund/").status_code == 302
