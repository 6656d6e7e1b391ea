"""Networks, districts, villages, groups and who belongs to them."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from projects.choices import GroupRole, NetworkRole
from projects.contracts.networks import (
    DistrictNew,
    GroupChange,
    GroupNew,
    InvitationNew,
    NetworkChange,
    NetworkNew,
    RoleEnd,
    VillageNew,
)
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale
from projects.models import (
    ApiToken,
    AuditEntry,
    District,
    Group,
    Invitation,
    Membership,
    Network,
    NetworkMembership,
    RememberedAnswer,
    User,
    Village,
)
from projects.rules.access import PUBLIC_ACTOR, SERVER
from projects.services import networks
from projects.services.invitations import invitation_create
from tests.projects.county import NOW, appoint, join, person, polygon
from tests.projects.proof import all_audit_text, audited, cast, refused, with_scopes

LATER = NOW + timedelta(days=1)
NOBODY_BUT = {
    "network_create": {"operator"},
    "network_change": {"operator", "coordinator"},
    "district_create": {"coordinator"},
    "village_create": {"coordinator"},
    "group_create": {"coordinator"},
    "group_change": {"coordinator", "lead"},
}


def make(name, actor, county):
    """One act of each kind on the county."""
    network, group = county.network, county.groups["Gullhaven Meadow Makers"]
    if name == "network_create":
        return networks.network_create(actor=actor, asked=NetworkNew(name="Farshore", slug="farshore"), now=LATER)
    if name == "network_change":
        return networks.network_change(
            actor=actor, public_id=network.public_id, asked=NetworkChange(about="New."), if_version=None, now=LATER
        )
    if name == "district_create":
        return networks.district_create(
            actor=actor, network_id=network.public_id, asked=DistrictNew(name="Far Bar"), now=LATER
        )
    if name == "village_create":
        return networks.village_create(
            actor=actor,
            network_id=network.public_id,
            asked=VillageNew(name="Wrackham", grid_reference="TB 10 30"),
            now=LATER,
        )
    if name == "group_create":
        return networks.group_create(
            actor=actor, asked=GroupNew(network_id=network.public_id, name="Wrackham Rakes"), now=LATER
        )
    return networks.group_change(
        actor=actor, public_id=group.public_id, asked=GroupChange(about="New."), if_version=None, now=LATER
    )


@pytest.mark.parametrize("act", NOBODY_BUT)
@pytest.mark.parametrize("who", ["operator", "coordinator", "lead", "member", "neighbour", "stranger", "public"])
def test_each_act_is_for_those_of_the_table_and_leaves_one_entry_or_nothing(county, act, who):
    actor = cast(county)[who]
    noun = act.partition("_")[0]
    if who in NOBODY_BUT[act]:
        with audited(act, noun, actor) as seen:
            row = make(act, actor, county)
        assert seen.entry.object_id == row.public_id
        # a token that may only read may not, whoever it belongs to
        with refused(NotAllowed, match="write"):
            make(act, with_scopes(actor, "read", "exact_places"), county)
    else:
        with refused(NotAllowed, match="You may not do this"):
            make(act, actor, county)


def test_coordinators_of_another_network_are_strangers_here(county):
    other = networks.network_create(actor=SERVER, asked=NetworkNew(name="Farshore", slug="farshore"), now=NOW)
    appoint(county.stranger, other)
    actor = county.as_(county.stranger)
    for act in NOBODY_BUT:
        with refused(NotAllowed):
            make(act, actor, county)


def test_other_roles_in_the_network_change_nothing_in_it(county):
    for role in (NetworkRole.ASSESSOR, NetworkRole.FUND_MANAGER, NetworkRole.ANALYST):
        appoint(county.stranger, county.network, role)
    actor = county.as_(county.stranger)
    for act in NOBODY_BUT:
        with refused(NotAllowed):
            make(act, actor, county)


# ------------------------------------------------------------------ the network


def test_a_new_network_is_as_it_was_asked_for_and_has_the_usual_world(county):
    row = networks.network_create(
        actor=SERVER, asked=NetworkNew(name="Farshore", slug="farshore", about="Between\nthe tides."), now=NOW
    )
    row.refresh_from_db()
    assert (row.name, row.slug, row.about, row.world_seed, row.outline) == (
        "Farshore", "farshore", "Between\nthe tides.", 1, [],
    )  # fmt: skip
    assert (row.version, row.created_at, row.updated_at) == (1, NOW, NOW)
    entry = AuditEntry.objects.first()
    assert (entry.act, entry.via, entry.actor, entry.network, entry.before) == (
        "network_create", "command", None, row, None,
    )  # fmt: skip
    assert entry.after == {
        "name": "Farshore", "slug": "farshore", "about": "Between\nthe tides.", "world_seed": 1, "outline": [],
        "licence": "CC-BY-4.0",
    }  # fmt: skip


def test_an_address_is_given_to_one_network(county):
    with refused(RuleBroken, ("/slug", "taken")):
        networks.network_create(actor=SERVER, asked=NetworkNew(name="Other", slug="saltmere"), now=NOW)


def test_a_change_of_a_network_says_what_it_says_and_leaves_the_rest(county):
    network, actor = county.network, county.as_(county.coordinator)
    before = Network.objects.get(pk=network.pk)
    asked = NetworkChange(name="Saltmere and Sound")
    row = networks.network_change(
        actor=actor, public_id=network.public_id, asked=asked, if_version=before.version, now=LATER
    )
    row.refresh_from_db()
    assert (row.name, row.about, row.outline) == ("Saltmere and Sound", before.about, before.outline)
    assert (row.version, row.updated_at, row.created_at) == (before.version + 1, LATER, NOW)
    entry = AuditEntry.objects.first()
    assert (entry.before, entry.after) == ({"name": "Saltmere"}, {"name": "Saltmere and Sound"})
    assert (entry.network, entry.group) == (network, None)


def test_an_outline_is_stored_in_metres_and_can_be_taken_away(county):
    network, actor = county.network, county.as_(county.coordinator)
    square = polygon((600_000, 430_000), (602_000, 430_000), (602_000, 431_000), (600_000, 431_000), (600_000, 430_000))

    def change(outline):
        row = networks.network_change(
            actor=actor, public_id=network.public_id, asked=NetworkChange(outline=outline), if_version=None, now=LATER
        )
        row.refresh_from_db()
        return row.outline

    (ring,) = change(square)
    assert [[round(x / 10) * 10 for x in corner] for corner in ring] == [
        [600_000, 430_000], [602_000, 430_000], [602_000, 431_000], [600_000, 431_000], [600_000, 430_000],
    ]  # fmt: skip
    assert change(None) == []


def test_an_outline_that_is_none_is_refused_by_its_field(county):
    point = {"type": "Point", "coordinates": [1.5, 53.7]}
    with refused(RuleBroken, ("/outline", "wrong_type"), match="an outline is a Polygon"):
        networks.network_change(
            actor=county.as_(county.coordinator),
            public_id=county.network.public_id,
            asked=NetworkChange(outline=point),
            if_version=None,
            now=LATER,
        )


def test_a_network_that_somebody_else_changed_is_stale(county):
    seen = Network.objects.get(pk=county.network.pk).version
    make("network_change", county.as_(county.coordinator), county)
    with refused(Stale, match=f"you saw version {seen}, it is now {seen + 1}"):
        networks.network_change(
            actor=county.as_(county.coordinator),
            public_id=county.network.public_id,
            asked=NetworkChange(name="Mine"),
            if_version=seen,
            now=LATER,
        )


def test_a_network_that_is_none_is_not_found(county):
    nowhere, actor = uuid4(), county.as_(county.coordinator)
    for act in (
        lambda: networks.network_change(
            actor=actor, public_id=nowhere, asked=NetworkChange(), if_version=None, now=NOW
        ),
        lambda: networks.district_create(actor=actor, network_id=nowhere, asked=DistrictNew(name="A"), now=NOW),
        lambda: networks.village_create(
            actor=actor, network_id=nowhere, asked=VillageNew(name="A", grid_reference="TA 98 35"), now=NOW
        ),
        lambda: networks.group_create(actor=actor, asked=GroupNew(network_id=nowhere, name="A"), now=NOW),
    ):
        with refused(NotFound, match=f"There is no network {nowhere}, or none that you may see."):
            act()


# ------------------------------------------------------------------ districts and villages


def test_a_district_has_a_name_of_its_own_whatever_its_case(county):
    actor, network = county.as_(county.coordinator), county.network
    with refused(RuleBroken, ("/name", "taken"), match="cannot be saved"):
        networks.district_create(
            actor=actor, network_id=network.public_id, asked=DistrictNew(name="inner SANDS"), now=NOW
        )
    other = networks.network_create(actor=SERVER, asked=NetworkNew(name="Farshore", slug="farshore"), now=NOW)
    appoint(county.coordinator, other)
    row = networks.district_create(
        actor=county.as_(county.coordinator),
        network_id=other.public_id,
        asked=DistrictNew(name="Inner Sands"),
        now=NOW,
    )
    assert (row.network, row.name) == (other, "Inner Sands")


@pytest.mark.parametrize("again", ["ÎLE DES ÉPIS", "île des épis", "I\u0302le des E\u0301pis"])
def test_a_name_is_the_same_in_capitals_and_however_its_accents_are_written(county, again):
    def create(name):
        actor, asked = county.as_(county.coordinator), DistrictNew(name=name)
        return networks.district_create(actor=actor, network_id=county.network.public_id, asked=asked, now=NOW)

    create("Île des Épis")
    with refused(RuleBroken, ("/name", "taken")):
        create(again)
    assert create("Île des Épées").name == "Île des Épées"


@pytest.mark.parametrize(
    ("reference", "corner"),
    [
        ("TA 98 35", (598_000, 435_000)),
        # known more precisely, it is kept to the kilometre, cut off and not rounded
        ("TA 989 359", (598_000, 435_000)),
        ("TA 98999 35999", (598_000, 435_000)),
        ("tb 10 30", (610_000, 430_000)),
    ],
)
def test_a_village_is_kept_to_its_kilometre(county, reference, corner):
    asked = VillageNew(name="Wrackham", grid_reference=reference, district_id=county.districts["Outer Banks"].public_id)
    row = networks.village_create(
        actor=county.as_(county.coordinator), network_id=county.network.public_id, asked=asked, now=NOW
    )
    row.refresh_from_db()
    assert (row.easting_m, row.northing_m) == corner
    assert (row.name, row.network, row.district) == ("Wrackham", county.network, county.districts["Outer Banks"])


@pytest.mark.parametrize(
    ("name", "reference", "fault"),
    [
        ("Wrackham", "TA 93", ("/grid_reference", "too_coarse")),
        ("Wrackham", "TA 93 B", ("/grid_reference", "too_coarse")),
        ("Wrackham", "ZZ 98 35", ("/grid_reference", "unknown_letters")),
        ("Wrackham", "", ("/grid_reference", "empty")),
        ("gullhaven", "TA 98 35", ("/name", "taken")),
    ],
)
def test_a_village_that_cannot_be_is_refused_by_its_field(county, name, reference, fault):
    with refused(RuleBroken, fault):
        networks.village_create(
            actor=county.as_(county.coordinator),
            network_id=county.network.public_id,
            asked=VillageNew(name=name, grid_reference=reference),
            now=NOW,
        )


def test_a_district_of_another_network_is_none_of_this_one(county):
    other = networks.network_create(actor=SERVER, asked=NetworkNew(name="Farshore", slug="farshore"), now=NOW)
    foreign = District.objects.create(network=other, name="Cliffs").public_id
    actor, fault = county.as_(county.coordinator), ("/district_id", "unknown")
    with refused(RuleBroken, fault):
        networks.village_create(
            actor=actor,
            network_id=county.network.public_id,
            asked=VillageNew(name="A", grid_reference="TA 98 35", district_id=foreign),
            now=NOW,
        )
    with refused(RuleBroken, fault):
        networks.group_create(
            actor=actor, asked=GroupNew(network_id=county.network.public_id, name="A", district_id=foreign), now=NOW
        )
    with refused(RuleBroken, fault):
        networks.group_change(
            actor=actor,
            public_id=county.groups["Brackwater Verges"].public_id,
            asked=GroupChange(district_id=foreign),
            if_version=None,
            now=NOW,
        )


# ------------------------------------------------------------------ groups


def test_a_new_group_is_as_it_was_asked_for_and_empty(county):
    asked = GroupNew(
        network_id=county.network.public_id,
        name="Wrackham Rakes",
        district_id=county.districts["Outer Banks"].public_id,
        about="Rakes.",
        contact="The notice board.",
    )
    with audited("group_create", "group", county.as_(county.coordinator)) as seen:
        row = networks.group_create(actor=county.as_(county.coordinator), asked=asked, now=LATER)
    row.refresh_from_db()
    assert (row.name, row.about, row.contact, row.closed_at) == (
        "Wrackham Rakes", "Rakes.", "The notice board.", None,
    )  # fmt: skip
    assert (row.network, row.district, row.created_at) == (county.network, county.districts["Outer Banks"], LATER)
    assert (seen.entry.network, seen.entry.group) == (county.network, row)
    assert Membership.objects.filter(group=row).count() == 0


def test_a_group_has_a_name_of_its_own_in_its_network(county):
    with refused(RuleBroken, ("/name", "taken")):
        networks.group_create(
            actor=county.as_(county.coordinator),
            asked=GroupNew(network_id=county.network.public_id, name="brackwater verges"),
            now=NOW,
        )
    with refused(RuleBroken, ("/name", "taken")):
        networks.group_change(
            actor=county.as_(county.lead),
            public_id=county.groups["Gullhaven Meadow Makers"].public_id,
            asked=GroupChange(name="BRACKWATER VERGES"),
            if_version=None,
            now=NOW,
        )


def test_a_change_of_a_group_leaves_what_it_does_not_say(county):
    group = county.groups["Gullhaven Meadow Makers"]
    row = networks.group_change(
        actor=county.as_(county.lead),
        public_id=group.public_id,
        asked=GroupChange(district_id=None, contact="The bell."),
        if_version=group.version,
        now=LATER,
    )
    row.refresh_from_db()
    assert (row.name, row.about, row.contact, row.district) == (group.name, group.about, "The bell.", None)
    assert (row.version, row.updated_at) == (2, LATER)
    with refused(Stale):
        networks.group_change(
            actor=county.as_(county.lead),
            public_id=group.public_id,
            asked=GroupChange(about="Mine."),
            if_version=group.version,
            now=LATER,
        )


def test_a_group_that_is_closed_or_none_is_not_found(county):
    group = county.groups["Brackwater Verges"]
    Group.objects.filter(pk=group.pk).update(closed_at=NOW)
    for public_id in (group.public_id, uuid4()):
        with refused(NotFound, match=f"There is no group {public_id}, or none that you may see."):
            networks.group_change(
                actor=county.as_(county.coordinator),
                public_id=public_id,
                asked=GroupChange(about="New."),
                if_version=None,
                now=NOW,
            )


# ------------------------------------------------------------------ members


def of(county, user):
    return Membership.objects.get(user=user, until__isnull=True)


def test_a_lead_makes_a_member_a_lead_and_may_then_be_a_member(county):
    actor, row = county.as_(county.lead), of(county, county.member)
    with audited("membership_change", "membership", actor) as seen:
        networks.membership_change(actor=actor, public_id=row.public_id, role="lead", if_version=1, now=LATER)
    row.refresh_from_db()
    assert (row.role, row.version, row.updated_at, row.until) == ("lead", 2, LATER, None)
    assert (seen.entry.before, seen.entry.after) == ({"role": "member"}, {"role": "lead"})
    assert (seen.entry.network_id, seen.entry.group_id) == (county.network.pk, row.group_id)
    with refused(Stale):
        networks.membership_change(actor=actor, public_id=row.public_id, role="member", if_version=1, now=LATER)
    own = of(county, county.lead)
    networks.membership_change(actor=actor, public_id=own.public_id, role="member", if_version=None, now=LATER)
    own.refresh_from_db()
    assert own.role == "member"


def test_a_group_keeps_its_last_lead_whoever_asks(county):
    own, fault = of(county, county.lead), ("/role", "last_lead")
    for user in (county.lead, county.coordinator):
        with refused(RuleBroken, fault, match="only lead"):
            networks.membership_change(
                actor=county.as_(user), public_id=own.public_id, role="member", if_version=None, now=LATER
            )
        with refused(RuleBroken, fault):
            networks.membership_end(actor=county.as_(user), public_id=own.public_id, now=LATER)
    # a lead of another group, or one who has left, does not count
    past = join(county.stranger, county.groups["Gullhaven Meadow Makers"], GroupRole.LEAD)
    Membership.objects.filter(pk=past.pk).update(until=NOW)
    with refused(RuleBroken, fault):
        networks.membership_end(actor=county.as_(county.lead), public_id=own.public_id, now=LATER)


def test_a_lead_who_stays_a_lead_is_no_last_lead_leaving(county):
    own = of(county, county.lead)
    networks.membership_change(
        actor=county.as_(county.lead), public_id=own.public_id, role="lead", if_version=None, now=LATER
    )
    own.refresh_from_db()
    assert (own.role, own.version) == ("lead", 2)


def test_a_member_leaves_and_may_join_again(county):
    row = of(county, county.member)
    with audited("membership_end", "membership", county.as_(county.member)):
        networks.membership_end(actor=county.as_(county.member), public_id=row.public_id, now=LATER)
    row.refresh_from_db()
    assert (row.until, row.version) == (LATER, 2)
    assert county.as_(county.member).groups == {}
    # what has ended is not there any more, for anybody
    for user in (county.member, county.lead, county.coordinator):
        with refused(NotFound):
            networks.membership_end(actor=county.as_(user), public_id=row.public_id, now=LATER)
    again = join(county.member, county.groups["Gullhaven Meadow Makers"])
    assert again.pk != row.pk


def test_a_lead_and_a_coordinator_may_end_a_membership_a_member_only_their_own(county):
    extra = join(county.stranger, county.groups["Gullhaven Meadow Makers"])
    with refused(NotAllowed):
        networks.membership_end(actor=county.as_(county.member), public_id=extra.public_id, now=LATER)
    with refused(NotAllowed):
        networks.membership_change(
            actor=county.as_(county.member),
            public_id=of(county, county.member).public_id,
            role="lead",
            if_version=None,
            now=LATER,
        )
    networks.membership_end(actor=county.as_(county.lead), public_id=extra.public_id, now=LATER)
    networks.membership_end(
        actor=county.as_(county.coordinator), public_id=of(county, county.member).public_id, now=LATER
    )
    assert [row.user for row in Membership.objects.filter(until__isnull=True).order_by("pk")] == [
        county.lead, county.neighbour,
    ]  # fmt: skip


def test_who_belongs_to_a_group_is_nobody_elses_to_know(county):
    row = of(county, county.member)
    for who in ("operator", "neighbour", "stranger", "public"):
        actor = cast(county)[who]
        with refused(NotFound, match=f"There is no membership {row.public_id}, or none that you may see."):
            networks.membership_end(actor=actor, public_id=row.public_id, now=LATER)
        with refused(NotFound):
            networks.membership_change(actor=actor, public_id=row.public_id, role="lead", if_version=None, now=LATER)
    with refused(NotFound):
        networks.membership_end(actor=PUBLIC_ACTOR, public_id=uuid4(), now=LATER)
    # a token that may read only sees it, and may not leave in its owner's name
    with refused(NotAllowed, match="write"):
        networks.membership_end(
            actor=with_scopes(county.as_(county.member), "read"), public_id=row.public_id, now=LATER
        )
    # and one that may not read does not see it
    with refused(NotFound):
        networks.membership_end(
            actor=with_scopes(county.as_(county.member), "write"), public_id=row.public_id, now=LATER
        )


# ------------------------------------------------------------------ what no service could


def test_an_act_that_fails_after_its_entry_leaves_neither(county):
    def act():
        with transaction.atomic():
            make("group_change", county.as_(county.lead), county)
            raise ZeroDivisionError

    with refused(ZeroDivisionError):
        act()


def test_the_audit_names_nobody_and_no_address(county):
    for act in NOBODY_BUT:
        make(act, county.as_(county.operator if act == "network_create" else county.coordinator), county)
    networks.membership_end(actor=county.as_(county.lead), public_id=of(county, county.member).public_id, now=LATER)
    networks.group_change(
        actor=county.as_(county.lead),
        public_id=county.groups["Gullhaven Meadow Makers"].public_id,
        asked=GroupChange(contact="Ring Wenna, 01632 960 001, or wenna@example.org", about="We rake."),
        if_version=None,
        now=LATER,
    )
    text = all_audit_text()
    assert "We rake." in text
    assert "01632" not in text
    assert "Wrackham Rakes" in text
    for user in User.objects.all():
        assert user.name not in text
        assert user.email not in text
        assert user.password not in text
    assert "@" not in text


def constrained(county):
    """For each constraint of groups, networks and people: what to add to the county so as to break it."""
    network, group, user = county.network, county.groups["Gullhaven Meadow Makers"], county.member
    soon = NOW + timedelta(days=1)
    invitation = {"network": network, "digest": "d", "expires_at": soon}
    return {
        "group_name_once_per_network": Group(network=network, name="BRACKWATER VERGES"),
        "membership_once_at_a_time": Membership(group=group, user=user, role="lead"),
        "membership_role_known": Membership(group=group, user=county.stranger, role="boss"),
        "district_name_once_per_network": District(network=network, name="inner sands"),
        "village_name_once_per_network": Village(network=network, name="GULLHAVEN", easting_m=0, northing_m=0),
        "network_role_held_once": NetworkMembership(network=network, user=county.coordinator, role="coordinator"),
        "network_role_known": NetworkMembership(network=network, user=user, role="lead"),
        "projects_network.slug|projects_network_slug": Network(name="Other", slug="saltmere"),
        "user_email_in_lower_case": User(email="Upper@example.org", password="x"),
        "user_erased_is_nobody": User(email="gone@example.org", erased_at=NOW, is_active=False, password="x"),
        "projects_user.email|projects_user_email": User(email=user.email, password="x"),
        "token_expires_after_made": ApiToken(
            user=user, name="a", scopes=["read"], digest="d", begins="fb", created_at=NOW, expires_at=NOW
        ),
        "invitation_role_fits": Invitation(group=group, role="coordinator", **invitation),
        "invitation_role_fits ": Invitation(role="lead", **invitation),
        "invitation_role_fits  ": Invitation(group=group, role="boss", **invitation),
        "invitation_ends_once": Invitation(group=group, role="lead", accepted_at=NOW, withdrawn_at=NOW, **invitation),
        "remembered_answer_once_per_key|projects_rememberedanswer.user_id": RememberedAnswer(
            user=user, key="k", digest="d"
        ),
    }


NAMES = [
    "group_name_once_per_network", "membership_once_at_a_time", "membership_role_known",
    "district_name_once_per_network", "village_name_once_per_network", "network_role_held_once", "network_role_known",
    "projects_network.slug|projects_network_slug", "user_email_in_lower_case", "user_erased_is_nobody",
    "projects_user.email|projects_user_email", "token_expires_after_made", "invitation_role_fits",
    "invitation_role_fits ", "invitation_role_fits  ", "invitation_ends_once",
    "remembered_answer_once_per_key|projects_rememberedanswer.user_id",
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_the_database_refuses_a_row_that_cannot_be(county, name):
    RememberedAnswer.objects.create(user=county.member, key="k", digest="d")
    row = constrained(county)[name]
    with refused(IntegrityError) as caught, transaction.atomic():
        type(row).objects.bulk_create([row])
    named(caught.value, name)


def named(error, name):
    """SQLite tells of a unique constraint by its columns, unless it is one of an expression."""
    wanted = [part.strip() for part in name.split("|")]
    columns = {
        "membership_once_at_a_time": "projects_membership.group_id, projects_membership.user_id",
        "network_role_held_once": "projects_networkmembership.network_id",
    }
    if connection.vendor == "sqlite":
        wanted += [columns[one] for one in wanted if one in columns]
    assert any(one in str(error) for one in wanted), str(error)


@pytest.mark.parametrize(
    ("model", "find", "change", "name"),
    [
        (Membership, {"role": "member"}, {"role": "boss"}, "membership_role_known"),
        (NetworkMembership, {"role": "coordinator"}, {"role": "member"}, "network_role_known"),
        (User, {"name": "Jory Lanthorn"}, {"email": "Jory@example.org"}, "user_email_in_lower_case"),
        (User, {"name": "Jory Lanthorn"}, {"erased_at": NOW}, "user_erased_is_nobody"),
        (User, {"name": "Orla Quill"}, {"erased_at": NOW, "name": "", "email": None, "is_active": False},
         "user_erased_is_nobody"),
        (Group, {"name": "Brackwater Verges"}, {"name": "gullhaven meadow makers"}, "group_name_once_per_network"),
        (District, {"name": "Inner Sands"}, {"name": "OUTER BANKS"}, "district_name_once_per_network"),
        (Village, {"name": "Gullhaven"}, {"name": "Brackwater"}, "village_name_once_per_network"),
    ],
)  # fmt: skip
def test_the_database_refuses_a_change_that_cannot_be(county, model, find, change, name):
    row = model.objects.get(**find)
    for field, value in change.items():
        setattr(row, field, value)
    with refused(IntegrityError, match=name), transaction.atomic():
        model.objects.bulk_update([row], list(change))


def test_one_person_may_hold_different_roles_and_the_same_one_again_later(county):
    appoint(county.coordinator, county.network, NetworkRole.ASSESSOR)
    NetworkMembership.objects.filter(user=county.coordinator, role="coordinator").update(until=NOW)
    appoint(county.coordinator, county.network)
    assert county.as_(county.coordinator).networks == {county.network.pk: frozenset({"coordinator", "assessor"})}


def test_two_people_erased_are_not_in_each_others_way(county):
    for name in ("One Gone", "Two Gone"):
        User.objects.filter(pk=person(name).pk).update(
            name="", email=None, is_active=False, is_operator=False, erased_at=NOW
        )
    assert User.objects.filter(email__isnull=True).count() == 2


def test_who_leads_no_more_has_no_way_back_in(county):
    group = county.groups["Gullhaven Meadow Makers"]
    asked = InvitationNew(email="second.address@example.org", role="lead", group_id=group.public_id)
    sent, _ = invitation_create(actor=county.as_(county.lead), asked=asked, now=NOW)
    rows = {row.user_id: row for row in Membership.objects.filter(group=group)}
    for user, role in ((county.member, GroupRole.LEAD), (county.lead, GroupRole.MEMBER)):
        networks.membership_change(
            actor=county.as_(county.coordinator),
            public_id=rows[user.pk].public_id,
            role=role,
            if_version=None,
            now=LATER,
        )
    sent.refresh_from_db()
    assert (sent.withdrawn_at, sent.email) == (LATER, "")


def test_a_role_in_the_network_ends_and_takes_its_invitations_along(county):
    other = person("Hedda Sallow")
    appoint(other, county.network)
    actor = county.as_(other)
    invitation, _ = invitation_create(
        actor=actor,
        asked=InvitationNew(email="back@saltmere.example", role="coordinator", network_id=county.network.public_id),
        now=NOW,
    )
    asked = RoleEnd(person_id=other.public_id, role="coordinator")
    with audited("role_end", "network", county.as_(county.coordinator)):
        networks.role_end(
            actor=county.as_(county.coordinator), network_id=county.network.public_id, asked=asked, now=NOW
        )
    invitation.refresh_from_db()
    assert (invitation.withdrawn_at, invitation.email) == (NOW, "")
    assert NetworkMembership.objects.get(user=other).until == NOW
    with pytest.raises(NotAllowed):
        networks.role_end(actor=county.as_(other), network_id=county.network.public_id, asked=asked, now=NOW)


def test_a_network_keeps_its_last_coordinator_and_nobody_ends_anothers_role(county):
    asked = RoleEnd(person_id=county.coordinator.public_id, role="coordinator")
    for who, error in ((county.coordinator, RuleBroken), (county.lead, NotAllowed)):
        with pytest.raises(error):
            networks.role_end(actor=county.as_(who), network_id=county.network.public_id, asked=asked, now=NOW)
    assert NetworkMembership.objects.get(user=county.coordinator).until is None


def test_an_assessor_may_step_down_and_reads_no_more(county):
    reader = person("Hedda Sallow")
    appoint(reader, county.network, NetworkRole.ASSESSOR)
    asked = RoleEnd(person_id=reader.public_id, role="assessor")
    networks.role_end(actor=county.as_(reader), network_id=county.network.public_id, asked=asked, now=NOW)
    assert not county.as_(reader).networks
