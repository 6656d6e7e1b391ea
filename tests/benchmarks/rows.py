"""A county of any size, by bulk rows: open sites with a project, a plan and two lines of diary each."""

from datetime import date, timedelta
from itertools import cycle, islice
from typing import Final
from uuid import NAMESPACE_URL, uuid5

from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from projects import geography
from projects.choices import GroupRole, NetworkRole, PlaceGiven, Publicity, Stage
from projects.models import (
    District,
    Group,
    MeadowProject,
    Membership,
    Network,
    NetworkMembership,
    PlanVersion,
    Site,
    SitePlace,
    User,
    WorkEntry,
)

SITES_PER_GROUP: Final = 20
KINDS: Final = ("field", "churchyard", "verge", "school", "garden")
STAGES: Final = (Stage.IDEA, Stage.PLANNED, Stage.READY, Stage.SOWN, Stage.AFTERCARE)
SHOWN: Final = {
    Publicity.EXACT: 1,
    Publicity.SQUARE_100_M: 100,
    Publicity.SQUARE_1_KM: 1_000,
    Publicity.SQUARE_2_KM: 2_000,
    Publicity.SQUARE_10_KM: 10_000,
}
#: the sites lie on a lattice in the sea
WEST_M, SOUTH_M, STEP_M, A_ROW = 590_050, 420_050, 1_500, 30
PLAN: Final = '{"crew":{"hours_per_session":3.0,"volunteers":8}}'


def new_database() -> str:
    """Migrate the benchmark's own database and say which it is; raises SystemExit if somebody's rows are there."""
    if "projects_network" in connection.introspection.table_names():
        raise SystemExit("This database is in use; leave out --inside, and the benchmark makes one of its own.")
    call_command("migrate", verbosity=0)
    version = ".".join(str(part) for part in connection.get_database_version())
    return f"{connection.display_name} {version}"


def network(slug: str) -> tuple[Network, User]:
    """A network with five districts, and who coordinates it."""
    row = Network.objects.create(name=slug.title(), slug=slug)
    District.objects.bulk_create(District(network=row, name=f"Sands {number}") for number in range(1, 6))
    user = User.objects.create(name=f"Coordinator of {row.name}", email=f"{slug}@example.org")
    NetworkMembership.objects.create(network=row, user=user, role=NetworkRole.COORDINATOR)
    return row, user


def grow(row: Network, sites: int) -> None:
    """Give a network so many more sites with all that is theirs; a group for every twenty."""
    first = row.sites.count()
    numbers = range(first, first + sites)
    today = timezone.localdate()
    groups = _groups(row, first + sites)
    of_group = [groups[number // SITES_PER_GROUP] for number in numbers]
    publicity = list(islice(cycle(SHOWN), sites))
    points = [
        geography.Point(float(WEST_M + STEP_M * (number % A_ROW)), float(SOUTH_M + STEP_M * (number // A_ROW)))
        for number in numbers
    ]
    made = Site.objects.bulk_create(
        _site(row, *known) for known in zip(numbers, of_group, publicity, points, strict=True)
    )
    SitePlace.objects.bulk_create(
        SitePlace(
            site=site,
            given=PlaceGiven.COORDINATES,
            said="",
            easting_m=point.easting_m,
            northing_m=point.northing_m,
            degrees=geography.in_degrees(point, point),
        )
        for site, point in zip(made, points, strict=True)
    )
    projects = MeadowProject.objects.bulk_create(
        _project(site, number, today) for site, number in zip(made, numbers, strict=True)
    )
    PlanVersion.objects.bulk_create(PlanVersion(project=project, number=1, plan=PLAN) for project in projects)
    WorkEntry.objects.bulk_create(
        WorkEntry(project=project, on=today, what=what, heads=4, person_minutes=480)
        for project in projects
        for what in ("cut", "rake")
    )
    # as a database that has been running for a while has it
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _groups(row: Network, sites: int) -> list[Group]:
    """The network's groups, enough for so many sites, each with somebody who leads it."""
    there, districts = row.groups.count(), list(row.districts.order_by("pk"))
    wanted = -(-sites // SITES_PER_GROUP)
    made = Group.objects.bulk_create(
        Group(network=row, district=districts[number % 5], name=f"Makers {number:03}")
        for number in range(there, wanted)
    )
    leads = User.objects.bulk_create(
        User(name=f"Lead of {group.name}", email=f"lead.{group.public_id}@example.org") for group in made
    )
    Membership.objects.bulk_create(
        Membership(group=group, user=lead, role=GroupRole.LEAD) for group, lead in zip(made, leads, strict=True)
    )
    return list(row.groups.order_by("pk"))


def _site(row: Network, number: int, group: Group, publicity: Publicity, point: geography.Point) -> Site:
    square = geography.square_of(point, SHOWN[publicity])
    return Site(
        network=row,
        group=group,
        district_id=group.district_id,
        name=f"Strip {number:04}",
        village="Gullhaven",
        kind=KINDS[number % len(KINDS)],
        area_dm2=100 * (150 + 7 * number),
        sward="rank_grass",
        publicity=publicity,
        shown_easting_m=square.easting_m,
        shown_northing_m=square.northing_m,
        shown_side_m=square.side_m,
        shown_degrees=geography.in_degrees(square, square.centre),
    )


def _project(site: Site, number: int, today: date) -> MeadowProject:
    """A project under way; its id, and so its random seed, is the same every time."""
    stage = STAGES[number % len(STAGES)]
    sown = {Stage.SOWN: today - timedelta(days=30), Stage.AFTERCARE: today - timedelta(days=4 * 365)}.get(stage)
    return MeadowProject(
        public_id=uuid5(NAMESPACE_URL, f"forbcast:{site.network.slug}:{number}"),
        network=site.network,
        group=site.group,
        site=site,
        name=f"Meadow {number:04}",
        stage=stage,
        stage_since=sown or today,
        prepared_on=sown,
        sown_on=sown,
    )
