"""Proof that an act did one thing, or nothing at all."""

from contextlib import contextmanager
from dataclasses import replace

import orjson
import pytest
from django.apps import apps
from django.test import TestCase

from projects.models import AuditEntry
from projects.rules.access import PUBLIC_ACTOR
from tests.projects.county import saltmere

#: long fields of rows that are written once and have checksums beside them
_LONG = {"content", "kept_draws", "answer", "request"}


def everything():
    """Every row of the model's and the projects' tables, by table."""
    return {
        model._meta.label: list(
            model._default_manager.order_by("pk").values(
                *(field.attname for field in model._meta.concrete_fields if field.attname not in _LONG)
            )
        )
        for app in ("modelling", "projects")
        for model in apps.get_app_config(app).get_models()
    }


@contextmanager
def refused(kind, *faults, match=None):
    """The act inside is refused, as exactly this kind, for exactly these (pointer, code), and nothing has changed."""
    before = everything()
    with pytest.raises(kind, match=match) as caught:
        yield caught
    assert type(caught.value) is kind
    assert [(fault.pointer, fault.code) for fault in getattr(caught.value, "errors", [])] == list(faults)
    assert everything() == before


class Audited:
    """The one entry that an act left."""

    entry = None


@contextmanager
def audited(act, noun, actor):
    """The act inside leaves one entry of the audit, by this actor."""
    before, seen = AuditEntry.objects.count(), Audited()
    yield seen
    assert AuditEntry.objects.count() == before + 1
    seen.entry = AuditEntry.objects.first()
    assert (seen.entry.act, seen.entry.noun, seen.entry.actor_id) == (act, noun, actor.user_id)
    assert seen.entry.via == actor.via


def all_audit_text():
    """Everything the audit holds, as one text."""
    rows = AuditEntry.objects.values()
    return orjson.dumps(list(rows), default=str).decode()


def with_scopes(actor, *scopes):
    """The same person by a token of these scopes."""
    return replace(actor, scopes=frozenset(scopes), via="api")


def cast(county):
    """Everybody of the county by what they are, and the public."""
    return {
        "operator": county.as_(county.operator),
        "coordinator": county.as_(county.coordinator),
        "lead": county.as_(county.lead),
        "member": county.as_(county.member),
        "neighbour": county.as_(county.neighbour),
        "stranger": county.as_(county.stranger),
        "public": PUBLIC_ACTOR,
    }


class Saltmere(TestCase):
    """The county, made once for a file of tests; what each of them does to it is taken back."""

    @classmethod
    def setUpTestData(cls):
        cls.county = saltmere()
