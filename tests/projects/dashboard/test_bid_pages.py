"""A group's bids on pages: written part by part, nothing lost, handed in, answered, paid; what everybody reads."""

from datetime import timedelta

import orjson
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from projects.contracts.base import read_as
from projects.contracts.decisions import AwardMove
from projects.models import Award, Bid, BidSubmission, ChangeRequest, GrantRound, PaymentRequest
from projects.services import awards
from tests.projects.dashboard.conftest import Page
from tests.projects.grants import YEWS, grants

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scene():
    """A round that is open for ten more days, on today's clock."""
    return grants(closes_at=(timezone.now() + timedelta(days=10)).isoformat())


@pytest.fixture
def lead(client, scene):
    client.force_login(scene.county.lead)
    return client


def post(client, path, data):
    answer = client.post(path, data)
    return answer, Page(answer.content.decode())


def closed(scene):
    """The round as it is once its time is over."""
    GrantRound.objects.filter(pk=scene.round.pk).update(closes_at=timezone.now() - timedelta(hours=1))
    scene.round.refresh_from_db()


def decided(scene, kind="full", **more):
    """A bid that was handed in and decided."""
    bid = scene.handed_in()
    closed(scene)
    scene.move("panel", timezone.now())
    scene.decide(bid, kind, now=timezone.now(), **more)
    return bid


def accepted(scene):
    award = scene.award(decided(scene))
    said = read_as(AwardMove, {"to": "accepted", "accounting_year": "2026-27"})
    return awards.award_move(
        actor=scene.leader(YEWS), public_id=award.public_id, asked=said, if_version=None, now=timezone.now()
    )


# ------------------------------------------------------------------ rounds


def test_everybody_reads_what_a_round_asks_and_what_it_awarded(client, scene, read):
    page = read(f"/county/{scene.county.network.slug}/rounds/")
    assert "One round takes bids now." in page.text
    page = read(f"/rounds/{scene.round.public_id}/")
    assert "£1,000 from Tideline Trust. It is open until" in page.text
    assert "nine days left" in page.text
    assert "It pays for seed and hire of machines, and for nothing else." in page.text
    assert "At least 20 % of the whole cost comes from elsewhere or is given in kind" in page.text
    # weights 3 and 1
    assert "Flowers, 75 % of the score" in page.text
    assert "Begin a bid" not in page.text
    bid = decided(scene)
    for path in (f"/rounds/{scene.round.public_id}/", f"/county/{scene.county.network.slug}/rounds/"):
        page = read(path)
        assert "One award, £600 together." in page.text
        assert bid.title in page.text
        assert bid.narrative not in page.text or not bid.narrative
    links = [attrs["href"] for tag, attrs in page.tags if tag == "a" and "open-grants" in attrs.get("href", "")]
    assert [link.partition("?")[0] for link in links] == ["/api/v1/open-grants/", "/api/v1/open-grants/csv/"]
    assert orjson.loads(client.get(links[0]).content)["grants"][0]["title"] == bid.title


def test_a_round_that_is_being_written_is_not_there(scene, client):
    GrantRound.objects.filter(pk=scene.round.pk).update(state="draft")
    assert client.get(f"/rounds/{scene.round.public_id}/").status_code == 404
    assert scene.round.name not in client.get(f"/county/{scene.county.network.slug}/rounds/").text


# ------------------------------------------------------------------ writing


def begun(scene, lead):
    group = scene.county.projects[YEWS].group.public_id
    answer, _ = post(
        lead, f"/groups/{group}/rounds/{scene.round.public_id}/bid/",
        {"title": "Flowers under the yews", "project_ids": [str(scene.county.projects[YEWS].public_id)]},
    )  # fmt: skip
    bid = Bid.objects.get()
    assert answer.headers["Location"] == f"/bids/{bid.public_id}/edit/about/"
    return bid


def version(bid):
    bid.refresh_from_db()
    return str(bid.version)


def test_a_bid_is_begun_with_a_title_and_a_meadow(scene, lead):
    group = scene.county.projects[YEWS].group.public_id
    path = f"/groups/{group}/rounds/{scene.round.public_id}/bid/"
    answer, page = post(lead, path, {"title": "", "project_ids": [str(scene.county.projects[YEWS].public_id)]})
    assert answer.status_code == 422
    assert "One thing to put right" in page.text
    assert any(attrs.get("checked") is None and "checked" in attrs for tag, attrs in page.tags if tag == "input")
    bid = begun(scene, lead)
    assert [row.project.name for row in bid.projects.all()] == [YEWS]
    assert bid.state == "draft"


def test_a_part_with_a_fault_loses_nothing(scene, lead, read):
    bid = begun(scene, lead)
    path = f"/bids/{bid.public_id}/edit/budget/"
    typed = {
        "version": version(bid),
        "what_1": "Seed & rattle", "quantity_1": "0.3", "unit_1": "kg", "unit_price_gbp_1": "300",
        "vat_gbp_1": "18", "category_1": "seed", "paid_by_1": "grant",
        "what_2": "Sowing day", "quantity_2": "a few", "unit_2": "h", "unit_price_gbp_2": "15",
        "category_2": "volunteers", "paid_by_2": "in_kind", "skill_2": "unskilled",
        "what_3": "Scarifier", "quantity_3": "1", "unit_price_gbp_3": "", "category_3": "", "paid_by_3": "grant",
    }  # fmt: skip
    answer, page = post(lead, path, typed)
    assert answer.status_code == 422
    assert "“a few” is not a number" in page.text
    assert "Choose one." in page.text
    assert "This line lacks it." in page.text
    shown = {attrs.get("name"): attrs.get("value") for tag, attrs in page.tags if tag == "input"}
    assert (shown["what_1"], shown["quantity_2"], shown["what_3"]) == ("Seed & rattle", "a few", "Scarifier")
    assert bid.lines.count() == 0
    typed |= {"quantity_2": "24", "unit_price_gbp_3": "118", "category_3": "hire", "then": "next"}
    answer, _ = post(lead, path, typed)
    assert answer.headers["Location"] == f"/bids/{bid.public_id}/edit/stages/"
    # 0.3 × £300 = £90, with £18 VAT; 24 h × £15; 1 × £118
    assert list(bid.lines.values_list("net_pence", "gross_pence")) == [(9000, 10_800), (36_000, 36_000), (11_800,) * 2]
    bid.refresh_from_db()
    assert bid.asked_pence == 22_600
    # a line whose words and figures are emptied is left out
    answer, _ = post(lead, path, typed | {"version": version(bid), "what_3": "", "quantity_3": "",
                                          "unit_price_gbp_3": "", "then": "more"})  # fmt: skip
    assert answer.headers["Location"] == f"{path}#more"
    assert bid.lines.count() == 2
    assert "£108" in read(f"/bids/{bid.public_id}/").text


@pytest.mark.parametrize(
    ("part", "typed", "said"),
    [
        ("about", {"title": "", "summary": "Kept words"}, "A bid has a title"),
        ("about", {"title": "T", "starts_on": "2027-05-01", "ends_on": "2027-04-01", "summary": "Kept words"},
         "It ends before it starts."),
        ("stages", {"name_1": "Kept words", "amount_gbp_1": "ten", "due_on_1": "2027-05-01"}, "is not a number"),
        ("promises", {"kind_1": "plant", "plant_1": "Kept words", "amount_1": "1", "by_year_1": "2029"},
         "is not to the letter a plant known here"),
        ("papers", {"proof_constitution": "perhaps"}, "is not in the list"),
    ],
)  # fmt: skip
def test_every_part_says_what_is_wrong_and_keeps_what_was_typed(scene, lead, part, typed, said):
    bid = begun(scene, lead)
    answer, page = post(lead, f"/bids/{bid.public_id}/edit/{part}/", {"version": version(bid), **typed})
    assert answer.status_code == 422
    assert said in page.text
    if "Kept words" in typed.values():
        assert "Kept words" in answer.content.decode()


def test_somebody_elses_change_is_told_and_nothing_is_overwritten_in_silence(scene, lead):
    bid = begun(scene, lead)
    old = version(bid)
    path = f"/bids/{bid.public_id}/edit/about/"
    post(lead, path, {"version": old, "title": "First", "summary": "Theirs"})
    answer, page = post(lead, path, {"version": old, "title": "First", "summary": "Mine"})
    assert answer.status_code == 409
    assert "Theirs" in page.text
    assert "Mine" in page.text
    bid.refresh_from_db()
    assert bid.summary == "Theirs"


def test_promises_and_papers_are_kept(scene, lead, read):
    bid = begun(scene, lead)
    post(lead, f"/bids/{bid.public_id}/edit/promises/", {
        "version": version(bid), "kind_1": "species_per_m2", "amount_1": "9", "by_year_1": "2031",
        "kind_2": "plant", "plant_2": "Orchids, of any kind", "amount_2": "1", "by_year_2": "2030",
    })  # fmt: skip
    post(lead, f"/bids/{bid.public_id}/edit/papers/", {"version": version(bid), "proof_constitution": "yes"})
    assert list(bid.promises.values_list("kind", "plant", "amount")) == [
        ("species_per_m2", "", 9), ("plant", "orchids", 1),
    ]  # fmt: skip
    page = read(f"/bids/{bid.public_id}/")
    assert f"9 kinds in a square metre on {YEWS} by 2031" in page.text
    assert "A constitution or set of rules: yes, not seen yet" in page.text


def test_of_a_paper_its_name_size_and_checksum_are_kept(scene, lead, read):
    bid = begun(scene, lead)
    path = f"/bids/{bid.public_id}/edit/papers/"
    # SHA-256 of "abc" as in FIPS 180-2, appendix B.1
    abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

    def sent(**more):
        bid.refresh_from_db()
        return post(lead, path, {"version": version(bid), **more})

    sent(paper=SimpleUploadedFile("quote.pdf", b"abc"))
    sent(paper=SimpleUploadedFile("scan.pdf", b"abc"), paper_name="Rules of the group")
    told = list(bid.attachments.values_list("name", "size_bytes", "checksum"))
    assert told == [("quote.pdf", 3, abc), ("Rules of the group", 3, abc)]
    assert "nothing else: send the paper itself to the funder" in read(path).text
    # of the same name it is put instead; other parts leave papers as they are
    sent(paper=SimpleUploadedFile("quote.pdf", b"abcd"))
    assert list(bid.attachments.values_list("name", "size_bytes")) == [("Rules of the group", 3), ("quote.pdf", 4)]
    sent(without=["quote.pdf"])
    assert [paper.name for paper in bid.attachments.all()] == ["Rules of the group"]
    answer, page = sent(paper=SimpleUploadedFile("empty.pdf", b""))
    assert answer.status_code == 422
    answer, page = sent(paper_name="Without a file")
    assert answer.status_code == 422
    assert "Choose the file once more" in page.text
    assert bid.attachments.count() == 1


# ------------------------------------------------------------------ handing in


def test_what_keeps_a_bid_back_is_told_with_its_place(scene, lead, read):
    bid = begun(scene, lead)
    page = read(f"/bids/{bid.public_id}/hand-in/")
    assert "keep it from being handed in." in page.text
    assert "Say in a few sentences what will be done" in page.text
    links = {attrs["href"] for tag, attrs in page.tags if tag == "a" and "/edit/" in attrs.get("href", "")}
    assert {link.split("/")[4] for link in links} >= {"about", "budget", "stages", "papers"}
    answer, page = post(lead, f"/bids/{bid.public_id}/hand-in/", {"version": version(bid)})
    assert answer.status_code == 422
    assert BidSubmission.objects.count() == 0


def test_a_bid_is_handed_in_with_a_receipt_withdrawn_and_taken_up_again(scene, lead, read):
    bid = scene.bid()
    at = f"/bids/{bid.public_id}/"
    answer, _ = post(lead, f"{at}hand-in/", {"version": version(bid)})
    assert answer.headers["Location"] == f"{at}receipt/"
    sent = BidSubmission.objects.get()
    page = read(f"{at}receipt/")
    assert sent.checksum in page.text
    assert "as number 1" in page.text
    assert lead.get(f"{at}handed-in.json").content.decode() == sent.content
    # handed in, it is not written on
    assert lead.get(f"{at}edit/about/").headers["Location"] == at
    answer, _ = post(lead, f"{at}withdraw/", {"version": version(bid)})
    assert answer.headers["Location"] == at
    assert "withdrawn and will not be read" in read(at).text
    answer = lead.post(f"{at}move/", {"version": version(bid), "to": "draft"})
    assert answer.headers["Location"] == at
    bid.refresh_from_db()
    assert bid.state == "draft"
    # sent from a page that has aged, it is told
    answer, page = post(lead, f"{at}hand-in/", {"version": "1"})
    assert answer.status_code == 409
    assert "Changed in the meantime" in page.text


def test_a_late_bid_is_told_when_it_closed_and_keeps_its_draft(scene, lead, read):
    bid = scene.bid()
    closed(scene)
    answer, page = post(lead, f"/bids/{bid.public_id}/hand-in/", {"version": version(bid)})
    assert answer.status_code == 422
    assert "This round closed on" in page.text
    assert "Your draft is kept" in page.text
    page = read(f"/bids/{bid.public_id}/")
    assert "was not handed in by then" in page.text
    assert bid.summary in page.text
    assert Bid.objects.get().state == "draft"


# ------------------------------------------------------------------ what became of it


def test_a_refused_group_reads_why_and_what_would_change_it(scene, lead, read):
    bid = decided(scene, "refused", reason="The pot was too small.")
    page = read(f"/bids/{bid.public_id}/")
    assert "Why not, and what would change that" in page.text
    assert "The pot was too small." in page.text
    assert "What may help another time" in page.text
    assert "We are sorry that we cannot give you money" in read(f"/bids/{bid.public_id}/letter/").text
    assert not Award.objects.exists()


def test_an_offer_is_answered(scene, lead, read):
    award = scene.award(decided(scene))
    at = f"/awards/{award.public_id}/"
    group = scene.county.projects[YEWS].group.public_id
    assert "Accept or decline the offer." in read(f"/groups/{group}/bids/").text
    assert "You are offered £600." in read(at).text
    answer, page = post(lead, f"{at}answer/", {"version": award.version, "to": "accepted", "accounting_year": ""})
    assert answer.status_code == 422
    assert "Say in which accounting year" in page.text
    answer, page = post(lead, f"{at}answer/", {"version": award.version, "to": ""})
    assert "Choose one of the two." in page.text
    answer, _ = post(lead, f"{at}answer/", {"version": award.version, "to": "accepted", "accounting_year": "2026-27"})
    assert answer.headers["Location"] == at
    award.refresh_from_db()
    assert (award.state, award.accounting_year) == ("accepted", "2026-27")


def test_money_is_asked_for_stage_by_stage(scene, lead, read):
    award = accepted(scene)
    at = f"/awards/{award.public_id}/"
    typed = {"stage": "1", "amount_gbp": "301", "evidence": "Sown by twelve people"}
    answer, page = post(lead, f"{at}payment/", typed)
    assert answer.status_code == 422
    # the stage is half of £600
    assert "“Sown” is £300." in page.text
    assert "Sown by twelve people" in answer.content.decode()
    answer, _ = post(lead, f"{at}payment/", typed | {"amount_gbp": "300"})
    assert answer.headers["Location"] == at
    assert PaymentRequest.objects.get().amount_pence == 30_000
    assert "£300 asked for, not paid yet" in read(at).text
    # what was asked for is not offered again
    offered = [attrs["value"] for tag, attrs in read(f"{at}payment/").tags if tag == "option"]
    assert offered == ["", "2"]


def test_changes_and_the_report_are_sent(scene, lead, read):
    award = accepted(scene)
    at = f"/awards/{award.public_id}/"
    typed = {"kind": "budget", "why": "Seed is dearer", "stage_1": "350", "stage_2": "300"}
    answer, page = post(lead, f"{at}change/", typed)
    assert answer.status_code == 422
    assert "the sum stays" in page.text
    assert "Seed is dearer" in answer.content.decode()
    answer, page = post(lead, f"{at}change/", {"kind": "", "why": "Because"})
    assert "Choose one." in page.text
    answer, _ = post(lead, f"{at}change/", typed | {"stage_2": "250"})
    assert answer.headers["Location"] == at
    assert ChangeRequest.objects.get().after == {"stages_pence": [35_000, 25_000]}
    answer, page = post(lead, f"{at}report/", {"version": version(award), "report": ""})
    assert answer.status_code == 422
    answer, _ = post(lead, f"{at}report/", {"version": version(award), "report": "It flowers."})
    assert "It flowers." in read(at).text


def test_another_group_finds_neither_bid_nor_award(scene, client):
    award = accepted(scene)
    client.force_login(scene.county.neighbour)
    for path in (f"/bids/{award.bid.public_id}/", f"/awards/{award.public_id}/", f"/awards/{award.public_id}/payment/"):
        assert client.get(path).status_code == 404
