"""Forms about one's own account. What is wrong with a field is said by the contract behind it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from django import forms

from modelling.errors import FieldError
from projects.choices import GroupRole, NetworkRole, Scope
from projects.contracts import accounts, networks, people
from projects.contracts.base import Strict
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.forms.fields import Amount, Pick, Several
from projects.rules.sign_in import LEAST_PASSWORD


class Typed(forms.CharField):
    """Text exactly as it was typed: blanks, length and odd characters are judged by the contract."""

    def __init__(self, *, kind: str = "text", fill: str = "off", **options: Any) -> None:
        kinds: dict[str, type[forms.Widget]] = {
            "text": forms.TextInput,
            "email": forms.EmailInput,
            "password": forms.PasswordInput,
            "hidden": forms.HiddenInput,
        }
        widget = kinds[kind](attrs={} if kind == "hidden" else {"autocomplete": fill})
        super().__init__(required=False, strip=False, widget=widget, **options)
        self.validators = []


class AccountForm(ServiceForm):
    """A form whose passwords go beside the request, not into it."""

    passwords: ClassVar[tuple[str, ...]] = ("password",)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.extra_pointers = {f"/{name}": name for name in self.fields}

    def asked(self) -> dict[str, Any]:
        """Return the request; what was left empty is sent as empty text, so that it is refused in words."""
        said = {name: "" for name in self.pointers if isinstance(self.fields[name], Typed)}
        return said | super().asked()

    def secret(self, name: str = "password") -> str:
        """Return a password as typed."""
        found: str = self.cleaned_data.get(name) or ""
        return found


class SignInForm(AccountForm):
    contract: ClassVar[type[Strict]] = accounts.SignIn
    pointers: ClassVar[Mapping[str, str]] = {"email": "/email"}
    email = Typed(label="E-mail address", kind="email", fill="username")
    password = Typed(label="Password", kind="password", fill="current-password")
    next = Typed(kind="hidden")


class ForgottenForm(AccountForm):
    contract: ClassVar[type[Strict]] = accounts.SignIn
    pointers: ClassVar[Mapping[str, str]] = {"email": "/email"}
    email = Typed(label="E-mail address", kind="email", fill="username")


NEW_PASSWORD = f"At least {LEAST_PASSWORD} characters. Three or four words that do not belong together will do."


class NothingForm(AccountForm):
    """A form that only asks for words and passwords."""

    contract: ClassVar[type[Strict]] = Strict


class NewPasswordForm(NothingForm):
    new_password = Typed(label="New password", kind="password", fill="new-password", help_text=NEW_PASSWORD)


class PasswordForm(NothingForm):
    password = Typed(label="Your password now", kind="password", fill="current-password")
    new_password = Typed(label="New password", kind="password", fill="new-password", help_text=NEW_PASSWORD)


class NameForm(AccountForm):
    contract: ClassVar[type[Strict]] = accounts.NameChange
    pointers: ClassVar[Mapping[str, str]] = {"name": "/name"}
    name = Typed(label="Your name", fill="name", help_text="What others in your groups see you called.")


class EmailForm(AccountForm):
    contract: ClassVar[type[Strict]] = accounts.EmailChange
    pointers: ClassVar[Mapping[str, str]] = {"email": "/email"}
    email = Typed(label="New e-mail address", kind="email", fill="email", help_text="You sign in with it from then on.")
    password = Typed(label="Your password", kind="password", fill="current-password")


class NewcomerForm(AccountForm):
    contract: ClassVar[type[Strict]] = accounts.Newcomer
    pointers: ClassVar[Mapping[str, str]] = {"name": "/name"}
    name = Typed(label="Your name", fill="name", help_text="What others in the group see you called.")
    password = Typed(label="A password", kind="password", fill="new-password", help_text=NEW_PASSWORD)


class EraseForm(NothingForm):
    word = Typed(label="Write the word “erase”")
    password = Typed(label="Your password", kind="password", fill="current-password")


class TokenForm(AccountForm):
    contract: ClassVar[type[Strict]] = people.TokenNew
    pointers: ClassVar[Mapping[str, str]] = {"name": "/name", "scopes": "/scopes", "days": "/days"}
    name = Typed(label="What it is for", help_text="Such as: sheet of hours, county map. Only you see it.")
    scopes = Several(
        label="What a program may do with it, in your name",
        choices=[
            (Scope.READ, "Read what you may read"),
            (Scope.WRITE, "Change what you may change: register sites, write into diaries"),
            (Scope.EXACT_PLACES, "Read where private and generalised sites exactly lie, where you may"),
        ],
    )
    days = Amount(label="Days until it ends", whole=True, help_text=f"At most {people.MOST_DAYS}.")
    password = Typed(label="Your password", kind="password", fill="current-password")

    def asked(self) -> dict[str, Any]:
        return {"scopes": [], "days": None} | super().asked()

    def said(self, refusal: FieldError, name: str | None) -> str:
        return _said(refusal, name) or super().said(refusal, name)


def _said(refusal: FieldError, name: str | None) -> str:
    """What to say instead of the contract's words for programs."""
    if name == "scopes" and refusal.code == "too_few":
        return "Tick at least one: a token that may do nothing is of no use."
    if name == "scopes" and refusal.code == "contradiction":
        return "Tick reading as well: without it, a token is of no use for the rest."
    if name == "days" and refusal.code == "not_a_whole_number":
        return "Say for how many days, such as 90."
    return ""


class InviteForm(AccountForm):
    """An invitation to a group, or to a role in a network."""

    contract: ClassVar[type[Strict]] = networks.InvitationNew
    pointers: ClassVar[Mapping[str, str]] = {"email": "/email", "role": "/role"}
    email = Typed(label="Their e-mail address", kind="email")
    role = Pick(label="As what", radio=True)

    def __init__(self, *args: Any, roles: Iterable[tuple[str, str]], place: Mapping[str, str], **kwargs: Any) -> None:
        self.place = dict(place)
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = list(roles)  # type: ignore[attr-defined]  # a Pick has them

    def asked(self) -> dict[str, Any]:
        return super().asked() | self.place


GROUP_ROLES = (
    (GroupRole.MEMBER, "Member: sees the group’s sites, writes into its work diary"),
    (GroupRole.LEAD, "Lead: also registers sites, plans, invites, and asks for forecasts"),
)
NETWORK_ROLES = (
    (NetworkRole.COORDINATOR, "Coordinator: sees and may change what every group of the network keeps here"),
    (NetworkRole.ASSESSOR, "Assessor: weighs bids for money"),
    (NetworkRole.FUND_MANAGER, "Fund manager: looks after a fund"),
    (NetworkRole.ANALYST, "Analyst: works with figures of the whole county"),
)
