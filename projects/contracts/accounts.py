"""Requests about one's own account. Passwords are handed over beside them, so that no refusal repeats one."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from projects.contracts.base import Email, Name, Strict

PersonName = Annotated[Name, Field(max_length=100)]


class NameChange(Strict):
    """What others in the group call you."""

    name: PersonName


class EmailChange(Strict):
    """The address you sign in with."""

    email: Email


class AccountNew(Strict):
    """Somebody who will sign in."""

    email: Email
    name: PersonName


class Newcomer(Strict):
    """Somebody who accepts an invitation; the address is that of the invitation."""

    name: PersonName


class SignIn(Strict):
    """The address somebody signs in with."""

    email: Email
