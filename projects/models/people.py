"""People who sign in, what they let programs do, and how they were asked in."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from projects.choices import GroupRole, NetworkRole
from projects.models.base import Noun

DIGEST_LENGTH = 64


class UserManager(BaseUserManager["User"]):
    """Finds people by e-mail address, whatever its case."""

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email=(username or "").strip().lower())


class User(AbstractBaseUser, Noun):
    """Somebody who signs in. Once erased, the row stays as a number that stands for nobody."""

    email = models.EmailField(max_length=254, unique=True, null=True, blank=True)
    name = models.CharField(max_length=100, blank=True)
    is_active = models.BooleanField(default=True)
    is_operator = models.BooleanField(default=False)
    erased_at = models.DateTimeField(null=True, blank=True)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[UserManager] = UserManager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(email__isnull=True) | Q(email=Lower("email")), name="user_email_in_lower_case"
            ),
            models.CheckConstraint(
                condition=Q(erased_at__isnull=True)
                | Q(email__isnull=True, name="", is_active=False, is_operator=False),
                name="user_erased_is_nobody",
            ),
        ]

    def __str__(self) -> str:
        return self.name or f"person {self.pk}"


class ApiToken(models.Model):
    """What a program shows to act for somebody. Only a digest of it is kept."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=80)
    #: words of `choices.Scope`
    scopes: models.JSONField[Any, Any] = models.JSONField()
    #: SHA-256 of the token, in hexadecimal
    digest = models.CharField(max_length=DIGEST_LENGTH, unique=True)
    #: its first letters, by which its owner knows it again
    begins = models.CharField(max_length=12)
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(expires_at__gt=F("created_at")), name="token_expires_after_made"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.begins}…)"


class Invitation(models.Model):
    """A way in, sent to one address, for one role, for a while. Only a digest of its secret is kept."""

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    network = models.ForeignKey("projects.Network", on_delete=models.PROTECT, related_name="invitations")
    group = models.ForeignKey(
        "projects.Group", on_delete=models.PROTECT, null=True, blank=True, related_name="invitations"
    )
    role = models.CharField(max_length=20)
    #: empty once the invitation is over
    email = models.EmailField(max_length=254, blank=True)
    digest = models.CharField(max_length=DIGEST_LENGTH, unique=True)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(group__isnull=False, role__in=GroupRole.values)
                | Q(group__isnull=True, role__in=NetworkRole.values),
                name="invitation_role_fits",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True) | Q(withdrawn_at__isnull=True), name="invitation_ends_once"
            ),
        ]

    def __str__(self) -> str:
        return f"invitation {self.public_id}"


class SignInFailure(models.Model):
    """A wrong password, by keyed hashes of the name tried and of the address it came from; kept for an hour."""

    key = models.CharField(max_length=DIGEST_LENGTH)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["key", "at"], name="sign_in_failure_recent")]

    def __str__(self) -> str:
        return f"{self.key[:8]} at {self.at:%H:%M}"


class RememberedAnswer(models.Model):
    """The answer to a request that carried a key, so that sending it again changes nothing; kept for a day."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=200)
    #: SHA-256 of method, path, scopes and body
    digest = models.CharField(max_length=DIGEST_LENGTH)
    #: empty while the request is being dealt with
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    headers: models.JSONField[Any, Any] = models.JSONField(default=dict)
    body = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="remembered_answer_once_per_key")]

    def __str__(self) -> str:
        return f"{self.key} of person {self.user_id}"
