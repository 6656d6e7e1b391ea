"""What every act does alike: find the row the actor may see, hold it, compare its version, check it, save it."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import Q

from modelling.errors import FieldError
from projects.errors import NotFound, RuleBroken, Stale
from projects.models.base import Noun

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
    "zone_name_once_per_site": ("/zones", "taken", "Two zones have the same name."),
    "permission_once_per_site": ("/label", "taken", "This permission is on the list already."),
    "permission_answer_has_a_day": (
        "/answered_on", "missing", "Say on which day the permission was given or refused."
    ),
    "permission_given_is_signed": ("/signed_by", "missing", "Say who gave it: the office is enough."),
    "permission_expires_after_answer": ("/expires_on", "contradiction", "It ends before it was given."),
    "membership_once_at_a_time": ("", "taken", "This person belongs to the group already."),
    "network_role_held_once": ("", "taken", "This person holds the role already."),
    "work_hours_have_heads": ("/heads", "contradiction", "Hours need people: say how many came."),
}  # fmt: skip
#: columns and what requests call them
_ASKED_AS: Final = {
    "area_dm2": "area_m2", "net_area_dm2": "net_area_m2", "gate_width_cm": "gate_width_m", "slug": "slug",
    "person_minutes": "person_hours", "machine_minutes": "machine_hours", "cash_pence": "cash_gbp",
    "in_kind_pence": "in_kind_gbp", "amount_pence": "amount_gbp",
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
        raise _of_rival(error) from error
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
        raise _of_rival(error) from error
    return row


def touched(row: N, now: datetime) -> None:
    """Count a change to what belongs to a row, so that its version tells of it."""
    type(row)._default_manager.filter(pk=row.pk).update(version=models.F("version") + 1, updated_at=now)
    row.refresh_from_db(fields=["version", "updated_at"])


def _checked(row: models.Model) -> None:
    try:
        row.full_clean()
    except ValidationError as error:
        raise RuleBroken("Something in this cannot be saved.", list(_faults(row, error))) from error


def _faults(row: models.Model, error: ValidationError) -> list[FieldError]:
    broken = {
        constraint.name: constraint
        for constraint in row._meta.constraints
        if constraint.name in CONSTRAINTS and _breaks(constraint, row)
    }
    faults = [FieldError(*CONSTRAINTS[name]) for name in broken]
    for field, entries in error.error_dict.items():
        if field == "__all__":
            continue
        for entry in entries:
            pointer = "/" + _ASKED_AS.get(field, field.removesuffix("_id"))
            code = "taken" if entry.code in {"unique", "unique_together"} else "invalid"
            faults.append(FieldError(pointer, code, " ".join(entry.messages)))
    if not faults:
        faults = [FieldError("", "invalid", " ".join(error.messages))]
    return faults


def _breaks(constraint: models.BaseConstraint, row: models.Model) -> bool:
    try:
        constraint.validate(type(row), row)
    except ValidationError:
        return True
    return False


def _of_rival(error: IntegrityError) -> RuleBroken:
    """What a rival's row, added between our check and our save, broke."""
    text = str(error)
    for name, fault in CONSTRAINTS.items():
        if name in text:
            return RuleBroken(fault[2], [FieldError(*fault)])
    detail = "This was saved by somebody else at the same moment; look again."
    return RuleBroken(detail, [FieldError("", "taken", detail)])
