"""Accounts: signing in, changing, taking away."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final
from uuid import UUID

from django.contrib.auth import authenticate
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.tokens import default_token_generator
from django.contrib.sessions.models import Session
from django.core import signing
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.crypto import constant_time_compare, salted_hmac

from modelling.errors import FieldError
from projects.contracts.accounts import AccountNew, EmailChange, NameChange, SignIn
from projects.errors import Gone, RuleBroken, broken
from projects.models import (
    ApiToken,
    Group,
    Invitation,
    Job,
    KitShowing,
    Membership,
    Network,
    NetworkMembership,
    RememberedAnswer,
    ReturnPhoto,
    User,
)
from projects.rules import sign_in as rules
from projects.rules.access import Actor, demand
from projects.selectors.people import A_PERSON_WHO_HAS_LEFT, account_of, handovers
from projects.services import tries
from projects.services.audit import record, snapshot
from projects.services.base import save_changed, save_new
from projects.services.letters import letter, send_aside

ERASE_WORD: Final = "erase"
_EMAIL: Final = "forbcast.email_change"
_TOO_SIMPLE: Final = {
    "password_too_short": (
        "too_few", "This is too short: at least {least} characters are needed. Three or four words will do."
    ),
    "password_too_common": ("too_common", "This is one of the passwords that are tried first; take another."),
    "password_too_similar": ("too_similar", "This is too much like your name or your address; choose another."),
}  # fmt: skip

# ------------------------------------------------------------------ passwords


def password_checked(password: str, user: User, pointer: str = "/password") -> None:
    """Raise RuleBroken unless a new password of this person is good enough."""
    fault = rules.password_fault(password, pointer)
    if fault is not None:
        raise RuleBroken(fault.detail, [fault])
    try:
        validate_password(password, user)
    except ValidationError as error:
        found = [_TOO_SIMPLE.get(entry.code or "", ("invalid", " ".join(entry.messages))) for entry in error.error_list]
        detail = " ".join(text.format(least=rules.LEAST_PASSWORD) for _, text in found)
        raise broken(pointer, found[0][0], detail, None, "another password") from error


def confirm(*, user: User, password: str, caller: str, now: datetime, pointer: str = "/password") -> None:
    """Make sure that it is the person themselves who acts; raises RuleBroken or TooOften."""
    fault = rules.password_fault(password, pointer)
    if fault is not None:
        raise RuleBroken(fault.detail, [fault])
    made = tries.begin("name", user.email or "", caller, now)
    if not user.check_password(password):
        raise broken(pointer, "wrong_password", "This is not your password.", None, "the password you sign in with")
    made.succeeded()


def sign_in(*, asked: SignIn, password: str, caller: str, now: datetime) -> User:
    """Find who somebody is by address and password.

    Parameters
    ----------
    caller
        The network address it comes from, in any form that tells one from another.

    Raises
    ------
    TooOften
        After too many wrong passwords, without looking at this one.
    RuleBroken
        Alike whether the address or the password is wrong.
    """
    fault = rules.password_fault(password)
    if fault is not None:
        raise RuleBroken(fault.detail, [fault])
    made = tries.begin("name", asked.email, caller, now)
    user = authenticate(username=asked.email, password=password)
    if not isinstance(user, User):
        raise broken(
            "", "wrong_password", "No account has this address and this password. Look at both again.", None, ""
        )
    made.succeeded()
    return user


def password_change(*, actor: Actor, old: str, new: str, caller: str, now: datetime) -> User:
    """Change one's password; every other session of the account ends by it."""
    user = account_of(actor)
    demand(actor, "account.change", owner_id=user.pk)
    password_checked(new, user, "/new_password")
    confirm(user=user, password=old, caller=caller, now=now)
    return _with_password(actor, user.pk, new, "password_change", now)


def _with_password(actor: Actor, user_id: int, password: str, act: str, now: datetime) -> User:
    with transaction.atomic():
        user = User.objects.select_for_update().get(pk=user_id, is_active=True)
        user.set_password(password)
        save_changed(user, now)
        record(actor, now, act, "account", user.public_id)
    return user


# ------------------------------------------------------------------ a new password by letter


def reset_ask(*, asked: SignIn, caller: str, link: Callable[[UUID, str], str], now: datetime) -> None:
    """Send a letter with a way to a new password, if there is an account; nothing tells whether there is.

    Parameters
    ----------
    link
        Gives the address of the page for a person and a secret.

    Raises
    ------
    TooOften
        If too many are asked for, alike for an address that nobody here has.
    """
    tries.begin("letter", asked.email, caller, now, most_by_name=rules.MOST_LETTERS)
    user = User.objects.filter(email=asked.email, is_active=True).first()
    # The same work for nobody: what is written to them is thrown away.
    reader = user or User(email=asked.email, pk=0)
    there = link(reader.public_id, default_token_generator.make_token(reader))
    message = letter("password_reset", asked.email, name=reader.name, link=there)
    if user is not None:
        send_aside(message)


def reset_reader(public_id: UUID, secret: str) -> User:
    """Whom a way to a new password is for; raises Gone if it is used, too old or was never one."""
    user = User.objects.filter(public_id=public_id, is_active=True).first()
    if user is None or not default_token_generator.check_token(user, secret):
        raise Gone("This way to a new password is used up or older than a day. Ask for another.")
    return user


def password_reset(*, public_id: UUID, secret: str, new: str, now: datetime) -> User:
    """Set a new password by the way that was sent; it works once."""
    user = reset_reader(public_id, secret)
    password_checked(new, user, "/new_password")
    with transaction.atomic():
        User.objects.select_for_update().get(pk=user.pk)
        # A rival may have used the way since.
        reset_reader(public_id, secret)
        user = _with_password(Actor(user_id=user.pk), user.pk, new, "password_reset", now)
    tries.forget("name", user.email or "")
    return user


# ------------------------------------------------------------------ changes


def name_change(*, actor: Actor, asked: NameChange, now: datetime) -> User:
    """Change what others see one called."""
    with transaction.atomic():
        user = _held(actor)
        demand(actor, "account.change", owner_id=user.pk)
        user.name = asked.name
        save_changed(user, now)
        record(actor, now, "name_change", "account", user.public_id)
    return user


def email_ask(
    *, actor: Actor, asked: EmailChange, password: str, caller: str, link: Callable[[str], str], now: datetime
) -> None:
    """Send a letter with a way to confirm a new address; nothing tells the asker whether an account has it already.

    Parameters
    ----------
    link
        Gives the address of the page for a secret.
    """
    user = account_of(actor)
    demand(actor, "account.change", owner_id=user.pk)
    confirm(user=user, password=password, caller=caller, now=now)
    if asked.email == user.email:
        raise broken("/email", "same", "This is your address already.", asked.email, "another address")
    tries.begin("letter", asked.email, caller, now, most_by_name=rules.MOST_LETTERS)
    # both letters are written, so that neither takes longer to answer
    there = link(_email_secret(user, asked.email, now))
    wanted = letter("email_confirm", asked.email, name=user.name, link=there)
    refused = letter("email_taken", asked.email)
    send_aside(refused if User.objects.filter(email=asked.email).exists() else wanted)


def _email_secret(user: User, email: str, now: datetime) -> str:
    until = int((now + rules.EMAIL_RUNS).timestamp())
    return signing.dumps([str(user.public_id), email, until, _as_it_is(user)], salt=_EMAIL)


def _as_it_is(user: User) -> str:
    """What changes with the address or the password, which uses up every way that was sent before."""
    return salted_hmac(_EMAIL, f"{user.email}\n{user.password}", algorithm="sha256").hexdigest()[:32]


def email_reader(secret: str, now: datetime) -> tuple[User, str]:
    """Who confirms which address; raises Gone if the way is used, too old or was never one."""
    try:
        public_id, email, until, as_it_was = signing.loads(secret, salt=_EMAIL)
        user = User.objects.filter(public_id=public_id, is_active=True).first()
    except signing.BadSignature:
        user, email, until, as_it_was = None, "", 0, ""
    if user is None or now.timestamp() > until or not constant_time_compare(_as_it_is(user), as_it_was):
        raise Gone("This way to a new address is used up or older than a day. Ask for another on your account’s page.")
    return user, email


def email_change(*, secret: str, now: datetime) -> User:
    """Change the address one signs in with, by the way that was sent there; the old address gets a letter about it."""
    user, email = email_reader(secret, now)
    with transaction.atomic():
        User.objects.select_for_update().get(pk=user.pk)
        # a rival may have used the way since
        user, email = email_reader(secret, now)
        if User.objects.filter(email=email).exists():
            raise broken(
                "/email", "taken", "Another account has this address by now; yours stays as it was.", email, ""
            )
        old, user.email = user.email, email
        save_changed(user, now)
        record(Actor(user_id=user.pk), now, "email_change", "account", user.public_id)
    if old:
        send_aside(letter("email_changed", old, name=user.name))
    return user


def _held(actor: Actor) -> User:
    return User.objects.select_for_update().get(pk=account_of(actor).pk)


# ------------------------------------------------------------------ the first account


def operator_make(*, actor: Actor, asked: AccountNew, password: str, now: datetime) -> tuple[User, bool]:
    """Make an operator of this server, or make one of somebody who has an account.

    Returns
    -------
    tuple
        The person, and whether the account is new; only then are name and password looked at.
    """
    demand(actor, "account.make_operator")
    there = User.objects.filter(email=asked.email).first()
    if there is None:
        user = User(email=asked.email, name=asked.name, is_operator=True, created_at=now, updated_at=now)
        password_checked(password, user)
        user.set_password(password)
    with transaction.atomic():
        if there is None:
            save_new(user)
            record(actor, now, "operator_make", "account", user.public_id, after=snapshot(user))
        else:
            user = User.objects.select_for_update().get(pk=there.pk)
            before = snapshot(user)
            user.is_operator = True
            save_changed(user, now)
            record(actor, now, "operator_make", "account", user.public_id, before=before, after=snapshot(user))
    return user, there is None


# ------------------------------------------------------------------ taking everything away


def account_erase(*, actor: Actor, password: str, word: str, caller: str, now: datetime) -> None:
    """Take away everything that tells who somebody is; what they did stays, as done by somebody who has left.

    Raises
    ------
    RuleBroken
        If the password or the word is wrong, or a group or a network would be left without anybody to lead it.
    """
    user = account_of(actor)
    demand(actor, "account.erase", owner_id=user.pk)
    if word.strip().lower() != ERASE_WORD:
        raise broken("/word", "wrong_word", f"Write the word “{ERASE_WORD}” to go on.", word[:80], ERASE_WORD)
    confirm(user=user, password=password, caller=caller, now=now)
    with transaction.atomic():
        # Held in order, so that of the last two leads only one can go.
        groups = list(Membership.objects.filter(user=user, until__isnull=True).values_list("group_id", flat=True))
        networks = list(
            NetworkMembership.objects.filter(user=user, until__isnull=True).values_list("network_id", flat=True)
        )
        list(Network.objects.select_for_update().filter(pk__in=networks).order_by("pk"))
        list(Group.objects.select_for_update().filter(pk__in=groups).order_by("pk"))
        user = _held(actor)
        left_alone = handovers(user)
        if left_alone:
            detail = " ".join(left_alone)
            raise RuleBroken(detail, [FieldError("", "hand_over_first", text) for text in left_alone])
        email = user.email or ""
        Membership.objects.filter(user=user, until__isnull=True).update(
            version=F("version") + 1, updated_at=now, until=now
        )
        NetworkMembership.objects.filter(user=user, until__isnull=True).update(until=now)
        waiting = Invitation.objects.filter(email=email, accepted_at__isnull=True, withdrawn_at__isnull=True)
        waiting.update(withdrawn_at=now)
        Invitation.objects.filter(email=email).update(email="")
        ApiToken.objects.filter(user=user).delete()
        RememberedAnswer.objects.filter(user=user).delete()
        Job.objects.filter(actor=user).update(actor_label=A_PERSON_WHO_HAS_LEFT)
        ReturnPhoto.objects.filter(created_by=user).update(created_by=None)
        KitShowing.objects.filter(user=user).delete()
        tries.forget("name", email)
        tries.forget("letter", email)
        _end_sessions(user)
        user.email, user.name = None, ""
        user.set_unusable_password()
        user.is_active = user.is_operator = False
        user.last_login = None
        user.erased_at = now
        save_changed(user, now)
        record(actor, now, "account_erase", "account", user.public_id)


def _end_sessions(user: User) -> None:
    """Delete every session in which this person is signed in; a session says so only inside."""
    ended = [
        session.pk
        for session in Session.objects.iterator()
        if str(session.get_decoded().get("_auth_user_id")) == str(user.pk)
    ]
    Session.objects.filter(pk__in=ended).delete()
