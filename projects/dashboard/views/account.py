"""One's own account: what is held, changed, handed out and taken away."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import orjson
from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from projects.dashboard.forms.account import EmailForm, EraseForm, NameForm, PasswordForm, TokenForm
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.views.private import Answered, Private, PrivateForm, gone, refused
from projects.errors import Gone, Refused, WrongState
from projects.models import Membership
from projects.selectors import people
from projects.selectors.handovers import unwritten_of
from projects.services import accounts, networks, tokens
from projects.services.letters import has_mail


class AccountView(Private):
    """Who one is here, and what one holds."""

    template_name = "account/account.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        context = {
            "account": people.account_of(self.actor),
            "memberships": people.memberships_of(self.actor),
            "network_roles": people.network_roles_of(self.actor),
            "tokens": [(row, people.works(row, self.now)) for row in people.tokens_of(self.actor)],
        }
        return self.show(request, context)


class NameView(PrivateForm):
    template_name = "account/name.html"
    done = "Your name is changed."

    def form(self, data: Any = None) -> ServiceForm:
        return NameForm(data, initial={"name": self.user.name})

    def do(self, form: NameForm) -> str:
        accounts.name_change(actor=self.actor, asked=form.read(), now=self.now)
        return self.then


class EmailView(PrivateForm):
    """Ask for another address; a letter goes there."""

    template_name = "account/email.html"

    def form(self, data: Any = None) -> ServiceForm:
        return EmailForm(data)

    def context(self) -> dict[str, Any]:
        return {"account": people.account_of(self.actor)}

    def do(self, form: EmailForm) -> str:
        asked = form.read()
        accounts.email_ask(
            actor=self.actor, asked=asked, password=form.secret(), caller=self.caller, link=self.link, now=self.now
        )
        context = {"email": asked.email, "has_mail": has_mail()}
        raise Answered(render(self.request, "account/email_sent.html", context))

    def link(self, secret: str) -> str:
        """Return the address in a letter."""
        return self.request.build_absolute_uri(reverse("email-confirm", args=[secret]))


class EmailConfirmView(Private):
    """Confirm a new address, by the way that was sent there."""

    template_name = "account/email_confirm.html"
    for_everybody = True
    secret_address = True

    def get(self, request: HttpRequest, secret: str) -> HttpResponse:
        return self.show(request, {"email": self.email(secret)})

    def email(self, secret: str) -> str:
        """Return the address that is to be confirmed."""
        try:
            return accounts.email_reader(secret, self.now)[1]
        except Gone as refusal:
            raise Answered(gone(self.request, refusal)) from refusal

    def post(self, request: HttpRequest, secret: str) -> HttpResponse:
        email = self.email(secret)
        try:
            accounts.email_change(secret=secret, now=self.now)
        except Refused as refusal:
            return self.show(request, {"email": email, "wrong": refusal.detail}, status=422)
        messages.success(request, "Your address is changed. Sign in with the new one from now on.")
        return HttpResponseRedirect("/account/" if request.user.is_authenticated else "/sign-in/")


class PasswordView(PrivateForm):
    template_name = "account/password.html"
    done = "Your password is changed. Wherever else you were signed in, you are no longer."

    def form(self, data: Any = None) -> ServiceForm:
        return PasswordForm(data)

    def do(self, form: PasswordForm) -> str:
        user = accounts.password_change(
            actor=self.actor,
            old=form.secret(),
            new=form.secret("new_password"),
            caller=self.caller,
            now=self.now,
        )
        update_session_auth_hash(self.request, user)
        return self.then


class LeaveView(Private):
    """Leave a group, after being asked once more."""

    template_name = "account/leave.html"

    def get(self, request: HttpRequest, membership: UUID) -> HttpResponse:
        return self.page(request, people.membership_own(self.actor, membership))

    def page(self, request: HttpRequest, row: Membership, wrong: str = "", status: int = 200) -> HttpResponse:
        context = {
            "membership": row,
            "wrong": wrong,
            "obstacles": people.handovers(self.user, row.group),
            "unwritten": row.group in unwritten_of(self.user),
        }
        return self.show(request, context, status=status)

    def post(self, request: HttpRequest, membership: UUID) -> HttpResponse:
        row = people.membership_own(self.actor, membership)
        try:
            networks.membership_end(actor=self.actor, public_id=membership, now=self.now)
        except Refused as refusal:
            return self.page(request, row, refusal.detail, status=422)
        messages.success(request, f"You have left {row.group}.")
        return HttpResponseRedirect("/account/")


class ExportView(Private):
    """Everything held about oneself, as a file."""

    def get(self, request: HttpRequest) -> HttpResponse:
        found = people.account_export(self.actor, self.now)
        return HttpResponse(
            orjson.dumps(found, option=orjson.OPT_INDENT_2),
            content_type="application/json",
            headers={"Content-Disposition": 'attachment; filename="forbcast-account.json"'},
        )


class EraseView(PrivateForm):
    """Take the account away."""

    template_name = "account/erase.html"

    def form(self, data: Any = None) -> ServiceForm:
        return EraseForm(data)

    def context(self) -> dict[str, Any]:
        account = people.account_of(self.actor)
        return {
            "account": account,
            "handovers": people.handovers(account),
            "unwritten": unwritten_of(account),
            "texts": people.texts_with_address(account),
        }

    def do(self, form: EraseForm) -> str:
        accounts.account_erase(
            actor=self.actor,
            password=form.secret(),
            word=form.secret("word"),
            caller=self.caller,
            now=self.now,
        )
        logout(self.request)
        raise Answered(render(self.request, "account/erased.html"))


class TokenNewView(PrivateForm):
    """Make a token, which is shown once."""

    template_name = "account/token_new.html"

    def form(self, data: Any = None) -> ServiceForm:
        return TokenForm(data, initial={"scopes": ["read"], "days": 90})

    def do(self, form: TokenForm) -> str:
        token, text = tokens.token_create(
            actor=self.actor, asked=form.read(), password=form.secret(), caller=self.caller, now=self.now
        )
        # Not by way of another page: that would need the text to be kept until then.
        raise Answered(render(self.request, "account/token_made.html", {"token": token, "text": text}))


class TokenRevokeView(Private):
    """Withdraw a token."""

    def post(self, request: HttpRequest, token: UUID) -> HttpResponse:
        try:
            row = tokens.token_revoke(actor=self.actor, public_id=token, now=self.now)
        except WrongState as refusal:
            return refused(request, 409, "Withdrawn already", refusal.detail, back="/account/")
        messages.success(request, f"The token “{row.name}” works no longer.")
        return HttpResponseRedirect("/account/")
