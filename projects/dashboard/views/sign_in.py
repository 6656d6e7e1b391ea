"""Signing in and out, and a new password by letter."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from projects.dashboard.forms.account import ForgottenForm, NewPasswordForm, SignInForm
from projects.dashboard.views.private import Answered, Private, PrivateForm, gone, own_address
from projects.errors import Gone
from projects.services import accounts
from projects.services.letters import has_mail


class SignInView(PrivateForm):
    """Sign in, and go on to where one was going."""

    template_name = "account/sign_in.html"
    for_everybody = True

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.user.is_authenticated:
            return HttpResponseRedirect(own_address(request, request.GET.get("next", "")))
        return super().get(request, *args, **kwargs)

    def form(self, data: Any = None) -> SignInForm:
        return SignInForm(data, initial={"next": self.request.GET.get("next", "")})

    def do(self, form: SignInForm) -> str:
        user = accounts.sign_in(asked=form.read(), password=form.secret(), caller=self.caller, now=self.now)
        # Gives the session a new key, so that nobody who knew the old one is signed in too.
        login(self.request, user)
        return own_address(self.request, form.secret("next"))


class SignOutView(Private):
    """Sign out."""

    for_everybody = True

    def post(self, request: HttpRequest) -> HttpResponse:
        logout(request)
        messages.success(request, "You are signed out.")
        after = request.POST.get("next", "")
        return HttpResponseRedirect(own_address(request, after) if after else "/")


class ForgottenView(PrivateForm):
    """Ask for a letter with a way to a new password."""

    template_name = "account/forgotten.html"
    for_everybody = True

    def form(self, data: Any = None) -> ForgottenForm:
        return ForgottenForm(data)

    def do(self, form: ForgottenForm) -> str:
        asked = form.read()
        accounts.reset_ask(asked=asked, caller=self.caller, link=self.link, now=self.now)
        context = {"email": asked.email, "has_mail": has_mail()}
        raise Answered(render(self.request, "account/forgotten_sent.html", context))

    def link(self, person: UUID, secret: str) -> str:
        """Return the address in a letter."""
        return self.request.build_absolute_uri(reverse("new-password", args=[person, secret]))


class NewPasswordView(PrivateForm):
    """Choose a new password, by the way that was sent."""

    template_name = "account/new_password.html"
    for_everybody = True
    secret_address = True
    then = "/sign-in/"
    done = "Your new password is set. Sign in with it."

    def load(self) -> None:
        try:
            accounts.reset_reader(self.kwargs["person"], self.kwargs["secret"])
        except Gone as refusal:
            raise Answered(gone(self.request, refusal)) from refusal

    def form(self, data: Any = None) -> NewPasswordForm:
        return NewPasswordForm(data)

    def do(self, form: NewPasswordForm) -> str:
        accounts.password_reset(
            public_id=self.kwargs["person"],
            secret=self.kwargs["secret"],
            new=form.secret("new_password"),
            now=self.now,
        )
        return self.then
