"""Invented returns for tests of a county's figures: drawn anew from a seed, sent and agreed through the services."""

import hashlib
from datetime import datetime
from zoneinfo import ZoneInfo

from modelling.reading import read_as
from projects.contracts.meadows import ProjectNew
from projects.contracts.returns import ReturnNew
from projects.contracts.sites import Place, SiteNew
from projects.models import Award, Bid, Decision, FundedProject, GrantRound, Group, MeadowProject
from projects.services import meadows, returns, sites
from tests.projects.county import join

#: three summers after the county's meadows were sown
LATER = datetime(2029, 12, 1, 10, 0, tzinfo=ZoneInfo("Europe/London"))
PLANTS = (
    "Centaurea nigra", "Leucanthemum vulgare", "Trifolium pratense", "Lotus corniculatus", "Plantago lanceolata",
    "Ranunculus acris", "Achillea millefolium", "Festuca rubra", "Dactylis glomerata", "Holcus lanatus",
    "Lolium perenne", "Galium verum", "Prunella vulgaris", "Rumex acetosa", "Anthoxanthum odoratum",
)  # fmt: skip


class Dice:
    """Draws that follow from a text, on every machine alike."""

    def __init__(self, text):
        self.text, self.thrown = text, 0

    def random(self):
        self.thrown += 1
        return int.from_bytes(hashlib.sha256(f"{self.text} {self.thrown}".encode()).digest()[:6]) / 256**6

    def randint(self, low, high):
        return low + int(self.random() * (high - low + 1))

    def choice(self, items):
        return items[self.randint(0, len(items) - 1)]

    def sample(self, items, count):
        left = list(items)
        return [left.pop(self.randint(0, len(left) - 1)) for _ in range(count)]


def meadow(county, name, sown_on="2026-09-01", *, who="lead", group="Gullhaven Meadow Makers", **site):
    """One more meadow of a group, sown; the row is set, since how it came about is nothing here."""
    told = {"kind": "field", "area_m2": 100.0, "publicity": "square_1_km", "sward": "rank_grass"} | site
    actor, now = county.as_(getattr(county, who)), LATER.replace(year=2026)
    row = sites.site_create(
        actor=actor, now=now,
        asked=SiteNew(
            group_id=county.groups[group].public_id, name=name, place=Place(grid_reference="TA 9834 3512"), **told
        ),
    )  # fmt: skip
    project = meadows.project_create(actor=actor, asked=ProjectNew(site_id=row.public_id, name=name), now=now)
    MeadowProject.objects.filter(pk=project.pk).update(stage="aftercare", sown_on=sown_on, stage_since=sown_on)
    county.projects[name] = MeadowProject.objects.select_related("site").get(pk=project.pk)
    return county.projects[name]


def send(county, name, year, *, who="lead", agreed=True, **said):
    """Send a year's return, and agree it whatever was asked about it."""
    row, _ = returns.return_send(
        actor=county.as_(getattr(county, who)), project_id=county.projects[name].public_id,
        asked=read_as(ReturnNew, {"year": year, **said}), now=LATER,
    )  # fmt: skip
    return agree(county, row) if agreed else row


def agree(county, row):
    """Agree a return, its questions let go."""
    coordinator = county.as_(county.coordinator)
    for question in row.current.questions.filter(accepted_at__isnull=True):
        returns.question_accept(actor=coordinator, public_id=question.public_id, now=LATER)
    return returns.return_agree(actor=coordinator, return_id=row.public_id, comment="", if_version=None, now=LATER)


def walk(dice, year, area_m2=1.0):
    """A walk with quadrats and plants drawn at random."""
    quadrats = []
    for number in range(dice.randint(1, 8)):
        names = dice.sample(PLANTS, dice.randint(0, len(PLANTS)))
        records = [{"name": name, "scale": "percent", "value": str(dice.randint(1, 40))} for name in names]
        square = {"label": f"Q{number}", "area_m2": area_m2, "records": records, "rattle_plants": dice.randint(0, 9)}
        quadrats.append(square)
    return [{"on": f"{year}-06-20", "quadrats": quadrats}]


def answer(dice, year):
    """A return drawn at random: walked or not, with and without money, hours and events."""
    said = {"answered": dice.choice(["surveyed", "surveyed", "surveyed", "nothing_done", "failed"])}
    if said["answered"] == "surveyed":
        said["visits"] = walk(dice, year, dice.choice([1.0, 1.0, 1.0, 0.25]))
    if dice.random() < 0.6:
        said |= {"cash_gbp": dice.randint(0, 50_000) / 100, "person_hours": dice.randint(0, 80) / 4}
        said |= {"heads": dice.randint(20, 40)}
    if dice.random() < 0.5:
        said |= {"gatherings": [{"kind": "hay day", "heads": dice.randint(0, 60)}]}
    return said


def drawn(county, seed, meadow_count=6):
    """Meadows of both groups with returns of two or three years each, some missing, some private."""
    dice = Dice(str(seed))
    for number in range(meadow_count):
        leads = ("lead", "neighbour", "stranger")
        whose = dice.choice(list(zip(leads, county.groups, strict=False)))
        name = f"Drawn {seed} {number}"
        meadow(
            county, name, f"{dice.choice([2025, 2026])}-0{dice.choice([4, 9])}-01", who=whose[0], group=whose[1],
            kind=dice.choice(["field", "churchyard", "verge"]), area_m2=float(dice.randint(30, 9000)),
            sward=dice.choice(["rank_grass", "short_turf", None]),
            publicity=dice.choice(["exact", "square_1_km", "square_1_km", "private"]),
        )  # fmt: skip
        for year in (2027, 2028, 2029):
            if dice.random() < 0.7:
                send(county, name, year, who=whose[0], agreed=dice.random() < 0.85, **answer(dice, year))
    return county


def third_group(county):
    """A third group, led by the stranger: of so many, money and people are told to everybody."""
    group = Group.objects.create(network=county.network, name="Marram Friends")
    join(county.stranger, group, "lead")
    county.groups[group.name] = group
    return group


def granted(county, project, funders):
    """Accepted grants of these funders for a project; the rows are set, since how they came about is nothing here."""
    times = {"created_at": LATER, "updated_at": LATER}
    day = LATER.date()
    for funder in funders:
        round = GrantRound.objects.create(
            network=county.network, name=f"Round of {funder}", funder=funder, pot_pence=1000, committed_pence=100,
            opens_at=LATER.replace(year=2026), closes_at=LATER.replace(year=2027), starts_earliest_on=day,
            longest_months=24, state="settled", **times,
        )  # fmt: skip
        bid = Bid.objects.create(
            network=county.network, round=round, group=project.group, title=f"Bid to {funder}", **times
        )
        decision = Decision.objects.create(
            bid=bid, number=1, kind="full", amount_pence=100, state="published", published_at=LATER, **times
        )
        award = Award.objects.create(
            round=round, group=project.group, bid=bid, decision=decision, amount_pence=100, committed_pence=100,
            accept_by=day, starts_on=day, ends_on=day, report_due_on=day, state="accepted", accepted_at=LATER, **times,
        )  # fmt: skip
        FundedProject.objects.create(round=round, project=project, award=award)
