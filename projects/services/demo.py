"""The invented county of Saltmere, made by the services act by act, in the order in which it happened.

Nothing of it is written past the services but its accounts, whose one password is hashed once, and the outlines of its
districts, for which no door asks yet.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from enum import IntEnum, auto
from pathlib import Path
from typing import Any, Final
from uuid import UUID, uuid5

from django.conf import settings
from django.db import transaction

from modelling.contracts import Plan
from projects import geography
from projects.choices import GroupRole, Via
from projects.contracts.accounts import AccountNew
from projects.contracts.base import read_as
from projects.contracts.meadows import PlanNew, ProjectNew, StageNew, WorkNew, WorkStrike
from projects.contracts.networks import DistrictNew, GroupNew, InvitationNew, NetworkChange, NetworkNew, VillageNew
from projects.contracts.returns import NameSettled, NamesSettled, ReturnNew
from projects.contracts.sites import OtherFundingNew, PermissionChange, PermissionNew, SiteNew, SoilTestNew
from projects.errors import WrongState
from projects.models import (
    AuditEntry,
    Bid,
    District,
    Group,
    MeadowProject,
    Membership,
    Network,
    OutcomeReturn,
    Permission,
    Site,
    User,
    Village,
    WorkEntry,
)
from projects.rules.access import SERVER, Actor
from projects.selectors.actors import actor_of
from projects.selectors.returns import names_to_settle, sown_taxa
from projects.services import (
    accounts,
    demo_kit,
    demo_returns,
    demo_rounds,
    demo_seed,
    demo_share_out,
    diary,
    invitations,
    meadows,
    networks,
    returns,
    sites,
)
from projects.services.audit import record, snapshot
from projects.services.base import save_changed, save_new

FOLDER: Final = settings.BASE_DIR / "fixtures" / "demo"
SLUG: Final = "saltmere"
#: known to everybody who reads this: the county is for trying things out
PASSWORD: Final = "rattle in the hay"  # noqa: S105 - see above
#: the day on which the story ends
REFERENCE_DAY: Final = date(2026, 11, 25)
#: act that says the county is complete
DONE: Final = "demo_load"
EVENING: Final = time(18, 0, tzinfo=UTC)
_LINES: Final = UUID("5a17e3e0-0000-4000-8000-000000000000")

Row = dict[str, Any]


class _Rank(IntEnum):
    """What comes first on the same evening."""

    COUNTY = auto()
    PERSON = auto()
    GROUP = auto()
    MEMBER = auto()
    SITE = auto()
    NOTE = auto()
    PROJECT = auto()
    PLAN = auto()
    FORECAST = auto()
    STEP = auto()
    WORK = auto()
    STRIKE = auto()
    RETURN = auto()
    CHECK = auto()
    SEED = auto()
    SHARE_OUT = auto()
    #: the steps of a grant round follow
    GRANT = auto()


@dataclass(frozen=True)
class _Act:
    """Something somebody did one evening."""

    on: date
    rank: int
    do: Callable[[datetime], object]
    #: whether the model computes in it, which it does outside transactions only
    computes: bool = False

    @property
    def moment(self) -> datetime:
        return datetime.combine(self.on, EVENING) + timedelta(minutes=self.rank)


@dataclass
class _Story:
    """The rows read, and whom and what has been made of them so far."""

    network: Network
    password_hash: str = ""
    actors: dict[str, Actor] = field(default_factory=dict)
    districts: dict[str, District] = field(default_factory=dict)
    villages: dict[str, Village] = field(default_factory=dict)
    groups: dict[str, Group] = field(default_factory=dict)
    sites: dict[str, Site] = field(default_factory=dict)
    projects: dict[str, MeadowProject] = field(default_factory=dict)
    lines: dict[int, WorkEntry] = field(default_factory=dict)
    returns: dict[tuple[str, str], OutcomeReturn] = field(default_factory=dict)

    def actor(self, key: str) -> Actor:
        """Somebody with the roles they hold by now."""
        if key not in self.actors:
            user = User.objects.get(email=address(key))
            self.actors[key] = actor_of(user, via=Via.COMMAND)
        return self.actors[key]


def address(key: str) -> str:
    """The address of an invented person."""
    return f"{key}@example.org"


def rows(name: str) -> list[Row]:
    """The rows of a file of the county; of tables, only the cells that say something."""
    path = Path(FOLDER) / name
    with path.open(encoding="utf-8", newline="") as text:
        if path.suffix == ".json":
            found: list[Row] = json.load(text)
            return found
        return [{key: cell for key, cell in row.items() if cell} for row in csv.DictReader(text)]


def county() -> Row:
    """What is said of the county as a whole."""
    return _table("county.json")


def _table(name: str) -> Row:
    with (Path(FOLDER) / name).open(encoding="utf-8") as text:
        found: Row = json.load(text)
        return found


# ------------------------------------------------------------------ loading


def is_loaded() -> bool:
    """Whether the county is there; raises WrongState if the database holds anything else, or only part of it."""
    others = list(Network.objects.exclude(slug=SLUG).values_list("name", flat=True)[:3])
    if others:
        raise WrongState(
            f"This database has networks of its own ({', '.join(others)}). "
            "The invented county goes into an empty database only."
        )
    there = Network.objects.filter(slug=SLUG).first()
    if there is None:
        people = [address(row["key"]) for row in rows("people.csv")]
        taken = User.objects.filter(email__in=people).values_list("email", flat=True).first()
        if taken is not None:
            raise WrongState(
                f"This database has an account of {taken} already. The invented county goes into an empty one only."
            )
        return False
    if not AuditEntry.objects.filter(act=DONE, object_id=there.public_id).exists():
        raise WrongState(
            "The invented county is here in part only: making it was broken off, or another network is called "
            f"{SLUG!r}. Begin again with an empty database."
        )
    return True


def county_load() -> bool:
    """Make the county, unless it is there; say whether it was made.

    Raises
    ------
    WrongState
        If the database holds networks of its own, or a county that was broken off half-way.
    """
    if is_loaded():
        return False
    story = _begin()
    acts = sorted(_acts(story), key=lambda act: act.moment)
    waiting: list[_Act] = []
    for act in acts:
        if not act.computes:
            waiting.append(act)
            continue
        _together(waiting)
        waiting.clear()
        act.do(act.moment)
    _together(waiting)
    record(SERVER, acts[-1].moment, DONE, "network", story.network.public_id, network=story.network)
    return True


def _together(acts: list[_Act]) -> None:
    """Acts in which nothing is computed, in one transaction: a commit each would take most of the time."""
    with transaction.atomic():
        for act in acts:
            act.do(act.moment)


def _begin() -> _Story:
    """The operator and the county; all else is done by its people."""
    facts = county()
    person = next(row for row in rows("people.csv") if row["role"] == "operator")
    now = datetime.combine(date.fromisoformat(facts["set_up_on"]), EVENING)
    with transaction.atomic():
        user, _ = accounts.operator_make(
            actor=SERVER,
            asked=read_as(AccountNew, {"email": address(person["key"]), "name": person["name"]}),
            password=PASSWORD,
            now=now,
        )
        operator = actor_of(user, via=Via.COMMAND)
        asked = read_as(NetworkNew, {key: facts[key] for key in ("name", "slug", "about")})
        network = networks.network_create(actor=operator, asked=asked, now=now)
        change = read_as(NetworkChange, {"outline": _geojson(facts["outline_m"])})
        network = networks.network_change(
            actor=operator, public_id=network.public_id, asked=change, if_version=None, now=now
        )
    return _Story(network, user.password, {person["key"]: operator})


def _acts(story: _Story) -> Iterator[_Act]:
    people = rows("people.csv")
    staff = [row for row in people if "group" not in row and row["role"] != "operator"]
    operator = next(row["key"] for row in people if row["role"] == "operator")
    first = next(row["key"] for row in staff if row["role"] == "coordinator")
    for row in staff:
        yield _Act(_day(row["since"]), _Rank.PERSON, _joins(story, row, operator if row["key"] == first else first))
    yield from _ground(story, first)
    for row in rows("groups.csv"):
        yield _Act(_day(row["since"]), _Rank.GROUP, _founds(story, row, first))
    leads: dict[str, str] = {}
    for row in people:
        if "group" in row:
            yield _Act(_day(row["since"]), _Rank.MEMBER, _joins(story, row, leads.setdefault(row["group"], first)))
            if row["role"] == GroupRole.LEAD:
                leads[row["group"]] = row["key"]
    for row in rows("sites.json"):
        yield from _site(story, row)
    for row in (*rows("projects.json"), *rows("bid_projects.json")):
        yield from _project(story, row)
    for number, row in enumerate(rows("diary.csv")):
        yield from _work(story, number, row)
    yield from _returns(story, first)
    for deed in demo_seed.acts(story, _table("seed.json")):
        yield _Act(deed.on, _Rank.SEED, deed.do, deed.computes)
    for share in demo_share_out.acts(story, _table("share_out.json"), first):
        yield _Act(share.on, _Rank.SHARE_OUT, share.do)
    tables = {name: rows(f"{name}.json") for name in ("rounds", "bids", "decisions", "awards")}
    for act in demo_rounds.acts(story, demo_rounds.Tables(**tables, reviews=rows("reviews.csv"))):
        yield _Act(act.on, _Rank.GRANT + act.step, act.do, act.computes)
    for lending in demo_kit.acts(story, first, address, _table("kit.json")):
        yield _Act(lending.on, _Rank.CHECK + lending.step, lending.do)


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _geojson(corners: list[list[float]]) -> dict[str, Any]:
    return geography.Outline.from_pairs([*corners, corners[0]]).geojson()


# ------------------------------------------------------------------ the county and its people


def _ground(story: _Story, coordinator: str) -> Iterator[_Act]:
    """Districts and villages, drawn by the first coordinator on the first evening."""
    facts = county()
    network_id = story.network.public_id
    began = _day(facts["set_up_on"])

    def draw(now: datetime) -> None:
        actor = story.actor(coordinator)
        for row in facts["districts"]:
            district = networks.district_create(
                actor=actor, network_id=network_id, asked=read_as(DistrictNew, {"name": row["name"]}), now=now
            )
            before = snapshot(district)
            outline = geography.read_polygon(_geojson(row["outline_m"]), largest_m2=None)
            district.outline = [outline.as_pairs()]
            save_changed(district, now)
            record(
                actor, now, "district_change", "district", district.public_id,
                network=story.network, before=before, after=snapshot(district),
            )  # fmt: skip
            story.districts[row["name"]] = district
        for row in rows("villages.csv"):
            asked = read_as(
                VillageNew,
                {
                    "name": row["name"],
                    "grid_reference": row["grid_reference"],
                    "district_id": story.districts[row["district"]].public_id,
                },
            )
            village = networks.village_create(actor=actor, network_id=network_id, asked=asked, now=now)
            story.villages[row["name"]] = village

    yield _Act(began, _Rank.GROUP, draw)


def _founds(story: _Story, row: Row, coordinator: str) -> Callable[[datetime], None]:
    def found(now: datetime) -> None:
        asked = {
            "network_id": story.network.public_id,
            "district_id": story.districts[row["district"]].public_id,
            **{key: row[key] for key in ("name", "about", "contact")},
        }
        story.groups[row["name"]] = networks.group_create(
            actor=story.actor(coordinator), asked=read_as(GroupNew, asked), now=now
        )

    return found


def _joins(story: _Story, row: Row, invited_by: str) -> Callable[[datetime], None]:
    """Somebody new is invited and accepts at once."""

    def join(now: datetime) -> None:
        to = (
            {"group_id": story.groups[row["group"]].public_id}
            if "group" in row
            else {"network_id": story.network.public_id}
        )
        asked = read_as(InvitationNew, {"email": address(row["key"]), "role": row["role"]} | to)
        _, secret = invitations.invitation_create(actor=story.actor(invited_by), asked=asked, now=now)
        user = save_new(
            User(
                email=address(row["key"]),
                name=row["name"],
                password=story.password_hash,
                created_at=now,
                updated_at=now,
            )
        )
        newcomer = Actor(user_id=user.pk, via=Via.COMMAND)
        record(newcomer, now, "account_create", "account", user.public_id, after=snapshot(user))
        invitations.invitation_accept(actor=newcomer, secret=secret, now=now)

    return join


# ------------------------------------------------------------------ sites


def _site(story: _Story, row: Row) -> Iterator[_Act]:
    row = dict(row)
    on, by, name = _day(row.pop("on")), row.pop("by"), row["name"]
    notes = {key: row.pop(key, []) for key in ("soil_tests", "permissions", "other_funding")}

    def register(now: datetime) -> None:
        place = dict(row["place"])
        if "outline_m" in place:
            place = {"outline": _geojson(place["outline_m"])}
        if "village" in place:
            place = {"village_id": story.villages[place["village"]].public_id}
        asked = {key: value for key, value in row.items() if key not in {"group", "district"}}
        asked |= {
            "group_id": story.groups[row["group"]].public_id,
            "district_id": story.districts[row["district"]].public_id,
            "place": place,
        }
        story.sites[name] = sites.site_create(actor=story.actor(by), asked=read_as(SiteNew, asked), now=now)

    yield _Act(on, _Rank.SITE, register)
    for test in notes["soil_tests"]:
        yield _Act(_day(test["on"]), _Rank.NOTE, _soil_test(story, name, by, test))
    for permission in notes["permissions"]:
        yield _Act(_day(permission["on"]), _Rank.NOTE, _permission(story, name, by, permission))
    for money in notes["other_funding"]:
        yield _Act(_day(money["on"]), _Rank.NOTE, _funding(story, name, by, money))


def _soil_test(story: _Story, site: str, by: str, row: Row) -> Callable[[datetime], None]:
    def note(now: datetime) -> None:
        asked = {key: value for key, value in row.items() if key != "on"} | {"taken_on": row["on"]}
        sites.soil_test_add(
            actor=story.actor(by), site_id=story.sites[site].public_id, asked=read_as(SoilTestNew, asked), now=now
        )

    return note


def _permission(story: _Story, site: str, by: str, row: Row) -> Callable[[datetime], None]:
    """What has come of a permission of the list, or one of the group's own."""

    def note(now: datetime) -> None:
        asked = {key: value for key, value in row.items() if key not in {"on", "key"}}
        if "key" not in row:
            sites.permission_add(
                actor=story.actor(by), site_id=story.sites[site].public_id, asked=read_as(PermissionNew, asked), now=now
            )
            return
        permission = Permission.objects.get(site=story.sites[site], key=row["key"])
        sites.permission_change(
            actor=story.actor(by),
            public_id=permission.public_id,
            asked=read_as(PermissionChange, asked),
            if_version=None,
            now=now,
        )

    return note


def _funding(story: _Story, site: str, by: str, row: Row) -> Callable[[datetime], None]:
    def note(now: datetime) -> None:
        asked = {key: value for key, value in row.items() if key != "on"}
        sites.other_funding_add(
            actor=story.actor(by), site_id=story.sites[site].public_id, asked=read_as(OtherFundingNew, asked), now=now
        )

    return note


# ------------------------------------------------------------------ projects


def _project(story: _Story, row: Row) -> Iterator[_Act]:
    name, by, plans = row["name"], row["by"], list(row["plans"])
    first = plans.pop(0) if plans and row["begun_with_plan"] else None

    def begin(now: datetime) -> None:
        asked: Row = {"site_id": story.sites[row["site"]].public_id, "name": name}
        if first is not None:
            asked["plan"] = first["plan"]
        story.projects[name] = meadows.project_create(actor=story.actor(by), asked=read_as(ProjectNew, asked), now=now)

    yield _Act(_day(row["begun"]), _Rank.PROJECT, begin)
    for plan in plans:
        yield _Act(_day(plan["on"]), _Rank.PLAN, _plan(story, name, by, plan))
    for day in row.get("forecasts", []):
        yield _Act(_day(day), _Rank.FORECAST, _forecast(story, name, by), computes=True)
    for step in row["steps"]:
        yield _Act(_day(step["on"]), _Rank.STEP, _step(story, name, by, step))


def _plan(story: _Story, project: str, by: str, row: Row) -> Callable[[datetime], None]:
    def change(now: datetime) -> None:
        meadows.plan_create(
            actor=story.actor(by),
            project_id=story.projects[project].public_id,
            asked=PlanNew(plan=read_as(Plan, row["plan"]), note=row["note"]),
            if_version=None,
            now=now,
        )

    return change


def _forecast(story: _Story, project: str, by: str) -> Callable[[datetime], None]:
    def forecast(now: datetime) -> None:
        meadows.forecast_create(actor=story.actor(by), project_id=story.projects[project].public_id, now=now)

    return forecast


def _step(story: _Story, project: str, by: str, row: Row) -> Callable[[datetime], None]:
    """A step of a project's life. Whatever is sown has its forecast by then, so nothing is computed."""

    def step(now: datetime) -> None:
        meadows.project_step(
            actor=story.actor(by),
            project_id=story.projects[project].public_id,
            asked=read_as(StageNew, row),
            if_version=None,
            now=now,
        )

    return step


# ------------------------------------------------------------------ the diary


def _work(story: _Story, number: int, row: Row) -> Iterator[_Act]:
    row = dict(row)
    on, by, project, because = _day(row["on"]), row.pop("by"), row.pop("project"), row.pop("struck_because", "")
    asked: Row = dict(row) | {"submission_id": uuid5(_LINES, str(number))}
    if "heads" in row:
        asked["heads"] = int(row["heads"])
    asked |= {key: float(row[key]) for key in ("hours_each", "machine_hours", "cash_gbp", "in_kind_gbp") if key in row}

    def add(now: datetime) -> None:
        line, _ = diary.work_add(
            actor=story.actor(by),
            project_id=story.projects[project].public_id,
            asked=read_as(WorkNew, asked),
            now=now,
        )
        story.lines[number] = line

    def strike(now: datetime) -> None:
        diary.work_strike(
            actor=story.actor(by),
            public_id=story.lines[number].public_id,
            asked=read_as(WorkStrike, {"because": because}),
            if_version=None,
            now=now,
        )

    yield _Act(on, _Rank.WORK, add)
    if because:
        yield _Act(on + timedelta(days=2), _Rank.STRIKE, strike)


# ------------------------------------------------------------------ yearly returns


def _returns(story: _Story, coordinator: str) -> Iterator[_Act]:
    """Each year's returns: sent, names settled, questions answered, and looked through by the coordinator."""
    tables = {"courses": rows("courses.csv"), "facts": rows("course_facts.csv")}
    written = {course[column]: course["taxon"] for course in tables["courses"] for column in ("english", "misspelt")}
    answers = {row["code"]: row["answer"] for row in rows("return_answers.csv")}
    lines = [line for line in rows("diary.csv") if "struck_because" not in line]
    for row in rows("returns.csv"):
        told = [line for line in lines if line["project"] == row["project"] and line["on"][:4] == row["year"]]
        diary_of_it = [line for line in told if line["on"] <= row["sent_on"]]
        asked = _Asked(story, row, tables | {"diary": diary_of_it})
        sent, fate = _day(row["sent_on"]), row["fate"]
        yield _Act(sent, _Rank.RETURN, asked.send, computes=True)
        if fate == "sent":
            continue
        decided = _day(row["decided_on"])
        if fate != "corrected":
            yield _Act(decided, _Rank.RETURN, _settles(story, row, written, answers), computes=True)
        yield _Act(decided, _Rank.CHECK, _decides(story, row, coordinator), computes=True)
        if fate == "corrected":
            again = decided + timedelta(days=9)
            yield _Act(again, _Rank.RETURN, asked.send_again, computes=True)
            yield _Act(again, _Rank.RETURN, _settles(story, row, written, answers), computes=True)
            yield _Act(again + timedelta(days=5), _Rank.CHECK, _decides(story, row | {"fate": "agreed"}, coordinator),
                       computes=True)  # fmt: skip
        if fate == "waiting":
            yield _Act(decided + timedelta(days=23), _Rank.RETURN, asked.send_again, computes=True)


@dataclass
class _Asked:
    """A return somebody sends, and perhaps sends again."""

    story: _Story
    row: Row
    tables: dict[str, Any]

    def send(self, now: datetime) -> None:
        """In a first version; one that is to be corrected has lost the back of its sheet."""
        asked = self._content()
        self._sent(demo_returns.half_of(asked) if self.row["fate"] in {"corrected", "waiting"} else asked, now)

    def send_again(self, now: datetime) -> None:
        """With all of it."""
        self._sent(demo_returns.sent_again(self._content(), self.row), now)

    def _content(self) -> Row:
        project = MeadowProject.objects.get(pk=self.story.projects[self.row["project"]].pk)
        summers = demo_returns.age(project.sown_on, int(self.row["year"]))
        return demo_returns.content(self.row, sown=sown_taxa(project), summers=summers, **self.tables)

    def _sent(self, asked: Row, now: datetime) -> None:
        row, story = self.row, self.story
        sent, _ = returns.return_send(
            actor=story.actor(row["by"]),
            project_id=story.projects[row["project"]].public_id,
            asked=read_as(ReturnNew, asked),
            now=now,
        )
        story.returns[row["project"], row["year"]] = sent


def _settles(story: _Story, row: Row, written: dict[str, str], answers: dict[str, str]) -> Callable[[datetime], None]:
    """The group says what its names stand for and answers what is asked."""

    def settle(now: datetime) -> None:
        sent, actor = story.returns[row["project"], row["year"]], story.actor(row["by"])
        version = OutcomeReturn.objects.select_related("current").get(pk=sent.pk).current
        open_ones = [name for name, _, _ in names_to_settle(version)] if version is not None else []
        named = [NameSettled(name=name, taxon=written[name]) for name in open_ones if name in written]
        if named:
            returns.names_settle(
                actor=actor, return_id=sent.public_id, asked=NamesSettled(names=tuple(named)), if_version=None, now=now
            )
        for question in version.questions.all() if version is not None else ():
            returns.question_answer(actor=actor, public_id=question.public_id, answer=answers[question.code], now=now)

    return settle


def _decides(story: _Story, row: Row, coordinator: str) -> Callable[[datetime], None]:
    """The coordinator looks a return through."""

    def decide(now: datetime) -> None:
        sent, actor, fate = story.returns[row["project"], row["year"]], story.actor(coordinator), row["fate"]
        asked: Row = {"actor": actor, "return_id": sent.public_id, "if_version": None, "now": now}
        if fate in {"sent_back", "corrected"}:
            returns.return_send_back(**asked, comment=row["comment"])
            return
        returns.return_check(**asked)
        if fate == "checking":
            return
        version = OutcomeReturn.objects.select_related("current").get(pk=sent.pk).current
        for question in version.questions.all() if version is not None else ():
            returns.question_accept(actor=actor, public_id=question.public_id, now=now)
        returns.return_agree(**asked, comment=row.get("comment", ""))

    return decide


# ------------------------------------------------------------------ who there is


@dataclass(frozen=True)
class Person:
    """Somebody to sign in as, and what they are."""

    email: str
    name: str
    what: str


def cast() -> list[Person]:
    """Whom the county offers to sign in as: the first of each role, and the leads whose ground is told of."""
    words = {
        "operator": "operator of this server",
        "coordinator": "coordinator of the network",
        "assessor": "assessor of the network",
        "fund_manager": "fund manager of the network",
        "analyst": "analyst of the network",
        "member": "member of {group}",
        "lead": "lead of {group}",
    }
    chosen, seen = [], set()
    for row in rows("people.csv"):
        if row["role"] not in seen or row["key"] in {"wenna", "tobias", "ines"}:
            seen.add(row["role"])
            chosen.append(Person(address(row["key"]), row["name"], words[row["role"]].format(**row)))
    return sorted(chosen, key=lambda person: not person.what.startswith(("lead", "member")))


def all_of_it() -> str:
    """What the county holds, counted, in words."""
    network = Network.objects.get(slug=SLUG)
    counts = {
        "groups": Group.objects.filter(network=network).count(),
        "sites": Site.objects.filter(network=network).count(),
        "meadow projects": MeadowProject.objects.filter(network=network).count(),
        "lines of work diaries": WorkEntry.objects.filter(project__network=network).count(),
        "yearly returns": OutcomeReturn.objects.filter(network=network).count(),
        "bids in grant rounds": Bid.objects.filter(network=network).count(),
        "members": Membership.objects.filter(group__network=network).values("user").distinct().count(),
    }
    return ", ".join(f"{count} {what}" for what, count in counts.items())
