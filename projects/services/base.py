"""What every act does alike: find the row the actor may see, hold it, compare its version, check it, save it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any, Final, TypeGuard, TypeVar
from unicodedata import normalize
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import Q
from django.db.models.functions import Lower

from modelling.errors import FieldError
from projects.errors import NotAllowed, NotFound, RuleBroken, Stale
from projects.models.base import Noun
from projects.rules.access import Actor

M = TypeVar("M", bound=models.Model)
N = TypeVar("N", bound=Noun)

#: constraints that people run into: the field, a code, and what to do
CONSTRAINTS: Final = {
    "district_name_once_per_network": ("/name", "taken", "There is a district of this name already."),
    "village_name_once_per_network": ("/name", "taken", "There is a village of this name already."),
    "group_name_once_per_network": ("/name", "taken", "There is a group of this name in the network already."),
    "site_name_once_per_group": ("/name", "taken", "The group has a site of this name already."),
    "site_net_area_within_area": (
        "/net_area_m2", "out_of_range", "The area to become meadow is larger than the whole area."
    ),
    "kit_name_once_per_network": ("/name", "taken", "The network lends something of this name already."),
    "zone_name_once_per_site": ("/zones", "taken", "Two zones have the same name."),
    "permission_once_per_site": ("/label", "taken", "This permission is on the list already."),
    "permission_answer_has_a_day": (
        "/answered_on", "missing", "Say on which day the permission was given or refused."
    ),
    "permission_given_is_signed": ("/signed_by", "missing", "Say who gave it: the office is enough."),
    "permission_expires_after_answer": ("/expires_on", "contradiction", "It ends before it was given."),
    "membership_once_at_a_time": ("", "taken", "This person belongs to the group already."),
    "network_role_held_once": ("", "taken", "This person holds the role already."),
    "round_name_once_per_network": ("/name", "taken", "There is a round of this name in the network already."),
    "round_pot_never_exceeded": ("/pot_gbp", "out_of_range", "More than that is committed already."),
    "rate_once_a_day": ("/rates", "twice", "Two rates of the same skill begin on the same day."),
    "decision_one_draft": ("", "taken", "There is a decision being written already; change that."),
    "payment_once_a_stage": ("/stage", "taken", "Money for this stage was asked for already."),
    "project_funded_once_a_round": ("", "taken", "One of its projects is paid for in this round already."),
    "donor_name_once_per_network": ("/name", "taken", "There is a donor meadow of this name in the network already."),
    "donor_plant_once": ("/plants", "twice", "A kind is listed twice."),
    "agreement_ends_after_it_begins": ("/ends_on", "contradiction", "It ends before it begins."),
    "agreement_window_closes_after_it_opens": (
        "/window_closes", "contradiction", "The time for harvesting ends before it begins."
    ),
    "lot_name_once_per_network": ("/name", "taken", "There is a lot of this name in the network already."),
    "lot_never_promised_twice": ("/grams", "not_enough", "More than is free: the rest is promised."),
    "work_hours_have_heads": ("/heads", "contradiction", "Hours need people: say how many came."),
}  # fmt: skip
#: columns and what requests call them
_ASKED_AS: Final = {
    "area_dm2": "area_m2", "net_area_dm2": "net_area_m2", "gate_width_cm": "gate_width_m", "slug": "slug",
    "person_minutes": "person_hours", "machine_minutes": "machine_hours", "cash_pence": "cash_gbp",
    "in_kind_pence": "in_kind_gbp", "amount_pence": "amount_gbp", "fresh_mg": "fresh_g", "made_mg": "grams",
    "price_pence_per_kg": "gbp_per_kg",
}  # fmt: skip


def found(model: type[N], seen: Q, public_id: UUID, what: str, *, hold: bool = False, **related: Any) -> N:
    """The row of a public id that the actor may see, held until the transaction ends if so asked.

    Raises
    ------
    NotFound
        Alike whether there is none or it may not be seen.
    """
    rows = model._default_manager.filter(seen)
    if hold:
        rows = rows.select_for_update(of=("self",))
    row = rows.select_related(*related.get("with_", ())).filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no {what} {public_id}, or none that you may see.")
    return row


def person(actor: Actor) -> int:
    """Key of the person who acts; raises NotAllowed where nobody is signed in, such as for a command."""
    if actor.user_id is None:
        raise NotAllowed("Somebody must be signed in for this.")
    return actor.user_id


def unchanged_since(row: Noun, if_version: int | None) -> None:
    """Raise Stale if somebody has changed the row since the version the actor saw; None asks for no check."""
    if if_version is not None and row.version != if_version:
        raise Stale(
            f"Somebody changed this in the meantime: you saw version {if_version}, it is now {row.version}. "
            "Look at it again and make your change to what is there now."
        )


def save_new(row: M) -> M:
    """Check a new row and add it; raises RuleBroken with what is wrong."""
    _checked(row)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        raise _refused(row, error) from error
    return row


def save_changed(row: N, now: datetime) -> N:
    """Check a changed row, count the change and save it; raises RuleBroken with what is wrong."""
    row.version += 1
    row.updated_at = now
    _checked(row)
    try:
        with transaction.atomic():
            row.save(force_update=True)
    except IntegrityError as error:
        raise _refused(row, error) from error
    return row


def touched(row: N, now: datetime) -> None:
    """Count a change to what belongs to a row, so that its version tells of it."""
    type(row)._default_manager.filter(pk=row.pk).update(version=models.F("version") + 1, updated_at=now)
    row.refresh_from_db(fields=["version", "updated_at"])


def _checked(row: models.Model) -> None:
    """Check all but CHECK constraints, which the database looks at anyway: asking beforehand costs a query for each."""
    faults: list[FieldError] = []
    try:
        row.full_clean(validate_constraints=False)
    except ValidationError as error:
        faults += _faults(error)
    for constraint in row._meta.constraints:
        if isinstance(constraint, models.UniqueConstraint) and _breaks(constraint, row):
            faults.append(_fault_of(constraint.name))
    if faults:
        raise RuleBroken("Something in this cannot be saved.", faults)


def _faults(error: ValidationError) -> Iterator[FieldError]:
    for field, entries in error.error_dict.items():
        for entry in entries:
            pointer = "" if field == "__all__" else "/" + _ASKED_AS.get(field, field.removesuffix("_id"))
            code = "taken" if entry.code in {"unique", "unique_together"} else "invalid"
            yield FieldError(pointer, code, " ".join(entry.messages))


def _fault_of(name: str) -> FieldError:
    known = CONSTRAINTS.get(name, ("", "invalid", f"This does not hold together ({name.replace('_', ' ')})."))
    return FieldError(*known)


def _breaks(constraint: models.BaseConstraint, row: models.Model) -> bool:
    if _is_of_names(constraint) and not getattr(row, "name", "").isascii():
        return _named_alike(constraint, row)
    try:
        constraint.validate(type(row), row)
    except ValidationError:
        return True
    return False


def _is_of_names(constraint: models.BaseConstraint) -> TypeGuard[models.UniqueConstraint]:
    return isinstance(constraint, models.UniqueConstraint) and Lower("name") in constraint.expressions


def _named_alike(constraint: models.UniqueConstraint, row: models.Model) -> bool:
    """Whether another row of its kind and place has the name: databases tell É from é, or by their own settings."""
    fields = [part.deconstruct()[1][0] for part in constraint.expressions if isinstance(part, models.F)]
    scope = {field: getattr(row, field) for field in fields}
    others = type(row)._default_manager.filter(**scope).exclude(pk=row.pk).values_list("name", flat=True)
    name = _folded(getattr(row, "name", ""))
    return any(_folded(other) == name for other in others.iterator())


def _folded(name: str) -> str:
    return normalize("NFC", name).casefold()


def _refused(row: models.Model, error: IntegrityError) -> RuleBroken:
    """What the database would not take: CHECKs of the row, or what a rival added between our look and our save."""
    faults = [_fault_of(constraint.name) for constraint in row._meta.constraints if _breaks(constraint, row)]
    if faults:
        return RuleBroken(faults[0].detail, faults)
    detail = "This was saved by somebody else at the same moment; look again."
    return RuleBroken(detail, [FieldError("", "taken", detail)])
