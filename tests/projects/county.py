"""An invented county for tests, Saltmere, which lies in the sea: its people, groups, ground and meadows."""

from __future__ import annotations

import copy
import pickle
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.models import Model, QuerySet
from django.utils import timezone

from modelling.contracts import Plan
from projects import geography
from projects.choices import GroupRole, NetworkRole
from projects.contracts.meadows import ProjectNew, StageNew
from projects.contracts.networks import DistrictNew, GroupNew, NetworkChange, NetworkNew, VillageNew
from projects.contracts.sites import Place, SiteNew
from projects.models import (
    District,
    Group,
    MeadowProject,
    Membership,
    Network,
    NetworkMembership,
    Permission,
    Site,
    User,
    Village,
)
from projects.rules.access import SERVER, Actor
from projects.selectors.actors import actor_of
from projects.services import meadows, networks, sites

LONDON = ZoneInfo("Europe/London")
#: the day the county begins, unless a test says another
NOW = datetime(2026, 9, 1, 10, 0, tzinfo=LONDON)
PASSWORD = "dry-hay-in-the-barn"
OUTLINE = [(590_000, 420_000), (640_000, 420_000), (640_000, 470_000), (590_000, 470_000), (590_000, 420_000)]
HALVES = {
    "Inner Sands": [(590_000, 420_000), (615_000, 420_000), (615_000, 470_000), (590_000, 470_000), (590_000, 420_000)],
    "Outer Banks": [(615_000, 420_000), (640_000, 420_000), (640_000, 470_000), (615_000, 470_000), (615_000, 420_000)],
}


@dataclass
class County:
    """The county, by name."""

    network: Network
    operator: User
    coordinator: User
    lead: User
    member: User
    neighbour: User
    stranger: User
    districts: dict[str, District] = field(default_factory=dict)
    villages: dict[str, Village] = field(default_factory=dict)
    groups: dict[str, Group] = field(default_factory=dict)
    sites: dict[str, Site] = field(default_factory=dict)
    projects: dict[str, MeadowProject] = field(default_factory=dict)

    def as_(self, user: User) -> Actor:
        """Somebody with the roles they hold now."""
        return actor_of(user)


def person(name: str, **more: Any) -> User:
    """Somebody who can sign in with PASSWORD; the address comes from the name."""
    user = User(name=name, email=f"{name.lower().replace(' ', '.')}@example.org", **more)
    user.set_password(PASSWORD)
    user.save()
    return user


def join(user: User, group: Group, role: str = GroupRole.MEMBER) -> Membership:
    """Put somebody into a group."""
    return Membership.objects.create(user=user, group=group, role=role)


def appoint(user: User, network: Network, role: str = NetworkRole.COORDINATOR) -> NetworkMembership:
    """Give somebody a role in a network."""
    return NetworkMembership.objects.create(user=user, network=network, role=role)


def polygon(*corners: tuple[float, float]) -> dict[str, Any]:
    """The GeoJSON of a ring of corners, given in metres on the grid."""
    return geography.Outline.from_pairs([list(corner) for corner in corners]).geojson()


def empty_network(now: datetime = NOW, name: str = "Saltmere", slug: str = "saltmere") -> Network:
    """A network with nothing in it."""
    return networks.network_create(actor=SERVER, asked=NetworkNew(name=name, slug=slug), now=now)


def all_permissions(site: Site, now: datetime = NOW, **values: Any) -> None:
    """Note every permission of a site as given."""
    given = {"need": "needed", "state": "given", "answered_on": now.date(), "signed_by": "Clerk to the council"}
    Permission.objects.filter(site=site).update(**(given | values))


#: counties made before in this process: the rows of each table, and the county, pickled
_MADE: dict[tuple[datetime, bool], tuple[list[tuple[type[Model], list[Model]]], bytes]] = {}


def saltmere(now: datetime = NOW, *, sown: bool = True) -> County:
    """Two groups with five sites: four anybody may know of, and a garden that is private.

    The churchyard's project is planned, the paddock's is sown (or planned as well, which is quicker to make), the
    garden's and the verge's are ideas. The services make it once; into an empty database its rows are then copied.
    """
    tables = [model for name in ("modelling", "projects") for model in apps.get_app_config(name).get_models()]
    if any(model._default_manager.exists() for model in tables):
        return _made(now, sown)
    if (now, sown) not in _MADE:
        county = _made(now, sown)
        rows = [(model, list(model._base_manager.order_by("pk"))) for model in tables]
        _MADE[now, sown] = [(model, found) for model, found in rows if found], pickle.dumps(county)
        return county
    rows, kept = _MADE[now, sown]
    # whichever table comes first: what refers to what is checked once all are there
    with connection.constraint_checks_disabled(), transaction.atomic():
        for model, found in rows:
            QuerySet(model).bulk_create(copy.deepcopy(found))
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [model for model, _ in rows]):
            cursor.execute(statement)
    found_county: County = pickle.loads(kept)  # noqa: S301 - our own
    return found_county


def _made(now: datetime, sown: bool) -> County:
    network = empty_network(now)
    county = County(
        network=network,
        operator=person("Orla Quill", is_operator=True),
        coordinator=person("Tamsin Oake"),
        lead=person("Wenna Marsh"),
        member=person("Jory Lanthorn"),
        neighbour=person("Ned Farrow"),
        stranger=person("Ada Thistlewood"),
    )
    appoint(county.coordinator, network)
    coordinator = county.as_(county.coordinator)
    networks.network_change(
        actor=coordinator,
        public_id=network.public_id,
        asked=NetworkChange(about="Meadows between the tides.", outline=polygon(*OUTLINE)),
        if_version=None,
        now=now,
    )
    for name, ring in HALVES.items():
        row = networks.district_create(
            actor=coordinator, network_id=network.public_id, asked=DistrictNew(name=name), now=now
        )
        District.objects.filter(pk=row.pk).update(outline=[[list(corner) for corner in ring]])
        county.districts[name] = row
    for name, reference, district in (
        ("Gullhaven", "TA 98 35", "Inner Sands"),
        ("Brackwater", "TB 22 41", "Outer Banks"),
    ):
        county.villages[name] = networks.village_create(
            actor=coordinator,
            network_id=network.public_id,
            asked=VillageNew(name=name, grid_reference=reference, district_id=county.districts[district].public_id),
            now=now,
        )
    for name, district in (("Gullhaven Meadow Makers", "Inner Sands"), ("Brackwater Verges", "Outer Banks")):
        county.groups[name] = networks.group_create(
            actor=coordinator,
            asked=GroupNew(
                network_id=network.public_id,
                name=name,
                district_id=county.districts[district].public_id,
                about="Neighbours with scythes." if name.startswith("Gull") else "",
                contact="Ask at the post office.",
            ),
            now=now,
        )
    makers, verges = county.groups.values()
    join(county.lead, makers, GroupRole.LEAD)
    join(county.member, makers)
    join(county.neighbour, verges, GroupRole.LEAD)
    _sites(county, now)
    _projects(county, now, sown)
    network.refresh_from_db()
    return county


def _sites(county: County, now: datetime) -> None:
    inner = county.districts["Inner Sands"].public_id
    makers, verges = county.groups.values()
    paddock = polygon(
        (598_200, 435_100), (598_300, 435_100), (598_300, 435_180), (598_200, 435_180), (598_200, 435_100)
    )
    wanted = [
        (makers, "Churchyard of Gullhaven", "churchyard", Place(grid_reference="TA 9812 3507"), 180.0, "square_1_km"),
        (makers, "Long Paddock", "field", Place(outline=paddock), None, "exact"),
        (makers, "Wenna’s garden", "garden", Place(grid_reference="TA 98456 35789"), 22.0, "private"),
        (
            makers,
            "School bank",
            "school",
            Place(village_id=county.villages["Gullhaven"].public_id),
            90.0,
            "square_2_km",
        ),
        (verges, "Brackwater verge", "verge", Place(grid_reference="TB 2231 4127"), 640.0, "square_100_m"),
    ]
    for group, name, kind, place, area_m2, publicity in wanted:
        actor = county.as_(county.lead if group == makers else county.neighbour)
        asked = SiteNew(
            group_id=group.public_id,
            name=name,
            kind=kind,  # type: ignore[arg-type]
            place=place,
            area_m2=area_m2,
            district_id=inner if group == makers else None,
            publicity=publicity,  # type: ignore[arg-type]
            sward="rank_grass",
        )
        county.sites[name] = sites.site_create(actor=actor, asked=asked, now=now)


def _projects(county: County, now: datetime, sown: bool) -> None:
    plan = Plan.model_validate({"crew": {"volunteers": 8, "hours_per_session": 3.0}})
    wanted = [
        ("Churchyard of Gullhaven", "Under the yews", plan),
        ("Long Paddock", "Paddock to hay", plan),
        ("Wenna’s garden", "Behind the house", None),
        ("Brackwater verge", "Verge of the sea road", None),
    ]
    for site_name, name, given in wanted:
        site = county.sites[site_name]
        actor = county.as_(county.neighbour if site_name == "Brackwater verge" else county.lead)
        asked = ProjectNew(site_id=site.public_id, name=name, plan=given)
        county.projects[name] = meadows.project_create(actor=actor, asked=asked, now=now)
    all_permissions(county.sites["Long Paddock"], now)
    for stage in ("ready", "prepared", "sown") if sown else ():
        county.projects["Paddock to hay"] = step(county, "Paddock to hay", stage, now)


def step(county: County, name: str, to: str, now: datetime = NOW, **more: Any) -> MeadowProject:
    """Take a project of the first group a step on, as its lead."""
    project = county.projects[name]
    asked = StageNew(to=to, on=timezone.localdate(now), **more)  # type: ignore[arg-type]
    county.projects[name] = meadows.project_step(
        actor=county.as_(county.lead), project_id=project.public_id, asked=asked, if_version=None, now=now
    )
    return county.projects[name]
