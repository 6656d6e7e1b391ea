"""The table of who may do what, entry by entry; nothing outside it is allowed."""

from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from projects.choices import GroupRole, NetworkRole, Scope, Via
from projects.errors import NotAllowed
from projects.rules.access import (
    ALL_SCOPES,
    ALLOWED,
    PUBLIC_ACTOR,
    READING,
    SERVER,
    Actor,
    Position,
    demand,
    may,
    positions,
)

GROUP, NETWORK, PERSON = 11, 22, 33
#: what the thing acted on belongs to
THING = {"group_id": GROUP, "network_id": NETWORK}

#: an actor who stands in one position towards the thing, and in none above being signed in besides
STANDING = {
    Position.PUBLIC: (PUBLIC_ACTOR, None),
    Position.SIGNED_IN: (Actor(user_id=PERSON), None),
    Position.SELF: (Actor(user_id=PERSON), PERSON),
    Position.MEMBER: (Actor(user_id=PERSON, groups={GROUP: GroupRole.MEMBER}), None),
    Position.LEAD: (Actor(user_id=PERSON, groups={GROUP: GroupRole.LEAD}), None),
    **{
        Position(role): (Actor(user_id=PERSON, networks={NETWORK: frozenset({role})}), None)
        for role in NetworkRole.values
    },
    Position.OPERATOR: (Actor(user_id=PERSON, is_operator=True), None),
}
#: acts that change nothing, written down here a second time
READS = {
    "network.read", "network.staff", "district.read", "village.read", "group.read", "group.home", "membership.read",
    "invitation.read", "site.read", "site.read_detail", "place.read_exact", "permission.read", "funding.read",
    "soil_test.read", "project.read", "project.read_detail", "plan.read", "forecast.read", "diary.read", "audit.read",
    "return.read", "job.read", "account.read", "token.read", "round.read", "round.staff", "money.read", "interest.read",
    "choice.read", "upload.read", "bid.read", "appraisal.read", "review.read", "note.read", "decision.read",
    "award.read", "photo.read", "handover.read", "aggregate.read", "aggregate.read_exact",
    "donor.read", "owner.read", "harvest.read", "lot.read",
    "seed_promise.read", "seed_blend.read", "record.read", "seed_wish.read", "share_out.read",
    "export.read", "snapshot.read",
    "kit.read", "plug.read", "green_hay.read", "flag.read", "visit.read",
}  # fmt: skip
WRITES = {
    "network.create", "network.change", "network.appoint", "network.forecast_all", "district.change", "village.change",
    "group.create", "group.change", "group.forecast_all", "membership.change", "membership.leave", "invitation.create",
    "invitation.withdraw", "site.create", "site.change", "site.remove", "permission.change", "funding.change",
    "soil_test.change", "project.create", "project.change", "plan.create", "forecast.create", "diary.write",
    "diary.strike", "job.restart", "account.change", "account.erase", "account.make_operator", "token.create",
    "token.revoke", "return.send", "return.answer", "return.settle", "return.check", "round.create", "round.change",
    "round.appoint", "round.choose", "round.panel", "interest.declare", "bid.create", "bid.change", "bid.submit",
    "bid.withdraw", "bid.note_seen", "appraisal.make", "review.write", "note.write", "decision.write",
    "decision.publish", "award.accept", "award.manage", "award.report", "payment.ask", "payment.settle",
    "alteration.ask", "alteration.settle", "upload.send", "upload.accept", "upload.remove",
    "photo.send", "photo.withdraw", "handover.write", "snapshot.create", "aggregate.freeze",
    "donor.change", "harvest.add", "harvest.allow", "lot.create",
    "lot.change", "lot.move", "lot.count", "seed_promise.make", "seed_promise.sow",
    "seed_wish.make", "share_out.write", "share_out.accept",
    "kit.change", "kit.show", "kit.book", "kit.decide", "kit.cancel", "kit.hand_over", "kit.fault", "kit.mend",
    "plug.create", "plug.tell", "plug.promise", "plug.hand_over", "green_hay.plan", "green_hay.end",
    "flag.put", "flag.answer", "visit.write",
}  # fmt: skip
#: what nobody signs in for, written down a second time
OPEN = {
    "network.read", "district.read", "village.read", "group.read", "site.read", "project.read", "round.read",
    "photo.read", "aggregate.read", "record.read", "snapshot.read",
}  # fmt: skip


def every_act(actor, **thing):
    return {act for act in ALLOWED if may(actor, act, **thing)}


def test_the_table_knows_every_position_and_no_act_is_for_nobody():
    assert set(STANDING) == set(Position)
    assert all(allowed and allowed <= set(Position) for allowed in ALLOWED.values())


def test_reads_are_reads_and_all_else_writes():
    assert READING == READS
    assert {act for act in ALLOWED if Position.PUBLIC in ALLOWED[act]} == OPEN
    assert set(ALLOWED) - READING == WRITES


@pytest.mark.parametrize("position", Position)
def test_a_position_may_exactly_what_the_table_says(position):
    actor, owner_id = STANDING[position]
    held = positions(actor, owner_id=owner_id, **THING)
    assert held == {Position.PUBLIC, position} | ({Position.SIGNED_IN} if actor.user_id is not None else set())
    listed = {act for act, allowed in ALLOWED.items() if position in allowed}
    assert every_act(actor, owner_id=owner_id, **THING) == listed | OPEN
    # towards another's things the same person is nothing that comes with a group, a network or being oneself
    everywhere = position in {Position.OPERATOR, Position.PUBLIC, Position.SIGNED_IN}
    left = listed | OPEN if everywhere else OPEN
    assert every_act(actor, group_id=GROUP + 1, network_id=NETWORK + 1, owner_id=PERSON + 1) == left
    assert every_act(actor) == left


@pytest.mark.parametrize("position", Position)
@pytest.mark.parametrize(
    ("missing", "lost"),
    [
        (Scope.READ, READS - OPEN),
        (Scope.WRITE, WRITES),
        (Scope.EXACT_PLACES, {"place.read_exact"}),
    ],
)
def test_a_token_without_a_scope_may_less_by_just_that(position, missing, lost):
    actor, owner_id = STANDING[position]
    token = replace(actor, scopes=ALL_SCOPES - {missing}, via=Via.API)
    assert every_act(token, owner_id=owner_id, **THING) == every_act(actor, owner_id=owner_id, **THING) - lost


@pytest.mark.parametrize("position", Position)
def test_a_token_without_any_scope_may_what_the_public_may(position):
    actor, owner_id = STANDING[position]
    assert every_act(replace(actor, scopes=frozenset()), owner_id=owner_id, **THING) == OPEN


@pytest.mark.parametrize("act", ["site.destroy", "", "site", "site.read ", "SITE.READ", "place.read_exactly"])
@pytest.mark.parametrize("actor", [PUBLIC_ACTOR, SERVER])
def test_an_act_that_is_not_in_the_table_raises(act, actor):
    with pytest.raises(KeyError):
        may(actor, act, **THING)
    with pytest.raises(KeyError):
        demand(actor, act, **THING)


def test_nobody_is_themselves_by_both_being_nobody():
    assert positions(PUBLIC_ACTOR, owner_id=None, **THING) == {Position.PUBLIC}
    assert not may(PUBLIC_ACTOR, "account.read", owner_id=None)
    assert positions(Actor(user_id=PERSON), owner_id=None, **THING) == {Position.PUBLIC, Position.SIGNED_IN}


def test_the_server_itself_may_what_an_operator_may_and_no_more():
    assert {act for act in ALLOWED if may(SERVER, act, owner_id=PERSON, **THING)} == {
        act for act, allowed in ALLOWED.items() if Position.OPERATOR in allowed
    }


def test_a_refusal_says_for_whom_it_is_or_which_scope_is_missing():
    member = STANDING[Position.MEMBER][0]
    with pytest.raises(NotAllowed) as caught:
        demand(member, "site.read_detail", group_id=GROUP + 1, network_id=NETWORK)
    assert caught.value.detail == ("You may not do this (site: read detail). It is for: coordinator, lead, member.")
    assert (caught.value.code, caught.value.errors) == ("forbidden", [])
    lead = replace(STANDING[Position.LEAD][0], scopes=frozenset({Scope.READ}))
    with pytest.raises(NotAllowed, match="needs one with the scope “write”"):
        demand(lead, "site.change", **THING)
    with pytest.raises(NotAllowed, match=r"It is for: the person concerned\."):
        demand(member, "account.erase", owner_id=PERSON + 1)
    demand(STANDING[Position.LEAD][0], "site.change", **THING)


GROUPS = st.dictionaries(st.integers(1, 3), st.sampled_from(GroupRole.values), max_size=3)
NETWORKS = st.dictionaries(
    st.integers(1, 3), st.frozensets(st.sampled_from(NetworkRole.values), min_size=1), max_size=3
)
ACTORS = st.builds(
    Actor,
    user_id=st.integers(1, 3),
    groups=GROUPS.map(MappingProxyType),
    networks=NETWORKS.map(MappingProxyType),
    is_operator=st.booleans(),
    scopes=st.frozensets(st.sampled_from(Scope.values)),
)
MAYBE = st.none() | st.integers(1, 3)


@given(
    actor=ACTORS,
    where=st.integers(1, 3),
    role=st.sampled_from(NetworkRole.values),
    scope=st.sampled_from(Scope.values),
    group_id=MAYBE,
    network_id=MAYBE,
    owner_id=MAYBE,
)
def test_whatever_is_added_takes_nothing_away(actor, where, role, scope, group_id, network_id, owner_id):
    thing = {"group_id": group_id, "network_id": network_id, "owner_id": owner_id}
    before = every_act(actor, **thing)
    roles = actor.networks.get(where, frozenset()) | {role}
    more = [
        replace(actor, networks={**actor.networks, where: roles}),
        replace(actor, is_operator=True),
        replace(actor, scopes=actor.scopes | {scope}),
        replace(actor, groups={**actor.groups, where: GroupRole.LEAD}),
    ]
    if where not in actor.groups:
        more.append(replace(actor, groups={**actor.groups, where: GroupRole.MEMBER}))
    for better in more:
        assert before <= every_act(better, **thing)
    # and whoever signs in sees no less than before
    assert every_act(PUBLIC_ACTOR, **thing) <= before


@given(actor=ACTORS, group_id=MAYBE, network_id=MAYBE, owner_id=MAYBE)
def test_a_role_counts_only_where_it_is_held(actor, group_id, network_id, owner_id):
    found = positions(actor, group_id=group_id, network_id=network_id, owner_id=owner_id)
    assert ({Position.MEMBER, Position.LEAD} & found) == (
        {Position(actor.groups[group_id])} if group_id in actor.groups else set()
    )
    assert {p.value for p in found} & set(NetworkRole.values) == actor.networks.get(network_id, frozenset())
    assert (Position.SELF in found) is (owner_id == actor.user_id)
    assert (Position.OPERATOR in found) is actor.is_operator
