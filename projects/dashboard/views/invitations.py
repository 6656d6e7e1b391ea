"""Asking people in, and coming in."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from projects.dashboard.forms.account import GROUP_ROLES, NETWORK_ROLES, InviteForm, NewcomerForm
from projects.dashboard.forms.base import ServiceForm
from projects.dashboard.views.private import BACKEND, Answered, Private, PrivateForm, gone, refused, to_sign_in
from projects.errors import Gone, NotAllowed, WrongState
from projects.models import Group, Invitation, Network
from projects.selectors import people
from projects.selectors.networks import group_get, network_named
from projects.services import invitations
from projects.services.letters import has_mail


class InviteView(PrivateForm):
    """Invite somebody, and see who is invited. What to is said by a subclass."""

    template_name = "account/invite.html"
    group: Group | None = None
    network: Network

    def load(self) -> None:
        self.find()
        self.open = people.invitations_open(
            self.actor, self.now, group=self.group, network=None if self.group else self.network
        )

    def find(self) -> None:
        """Find what somebody is invited to."""
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        return {"group": self.group, "network": self.network, "invitations": self.rows(), "has_mail": has_mail()}

    def rows(self) -> list[tuple[Invitation, str]]:
        return [(row, invitations.role_label(row)) for row in self.open]

    def do(self, form: InviteForm) -> str:
        row, secret = invitations.invitation_create(actor=self.actor, asked=form.read(), now=self.now)
        link = self.request.build_absolute_uri(reverse("invitation", args=[secret]))
        context = {
            "invitation": row,
            "role": invitations.role_label(row),
            "link": link,
            "sent": invitations.invitation_send(invitation=row, link=link),
            "has_mail": has_mail(),
            "again": self.request.path,
        }
        raise Answered(render(self.request, "account/invited.html", context))


class GroupInviteView(InviteView):
    """Invite somebody to a group."""

    def find(self) -> None:
        self.group = group_get(self.actor, self.kwargs["group"])
        self.network = self.group.network

    def form(self, data: Any = None) -> ServiceForm:
        place = {"group_id": str(self.kwargs["group"])}
        return InviteForm(data, roles=GROUP_ROLES, place=place, initial={"role": "member"})


class NetworkInviteView(InviteView):
    """Invite somebody to a role in a network."""

    def find(self) -> None:
        self.network = network_named(self.actor, self.kwargs["slug"])

    def form(self, data: Any = None) -> ServiceForm:
        place = {"network_id": str(self.network.public_id)}
        return InviteForm(data, roles=NETWORK_ROLES, place=place, initial={"role": "coordinator"})


class WithdrawView(Private):
    """Withdraw an invitation."""

    def post(self, request: HttpRequest, invitation: UUID) -> HttpResponse:
        try:
            row = invitations.invitation_withdraw(actor=self.actor, public_id=invitation, now=self.now)
        except WrongState as refusal:
            return refused(request, 409, "Over already", refusal.detail)
        messages.success(request, "The invitation is withdrawn; its link works no longer.")
        if row.group is not None:
            return HttpResponseRedirect(reverse("group-invite", args=[row.group.public_id]))
        return HttpResponseRedirect(reverse("network-invite", args=[row.network.slug]))


class InvitationView(PrivateForm):
    """What an invitation is to; accepted as somebody new, or as who one is."""

    template_name = "account/invitation.html"
    for_everybody = True
    secret_address = True

    def load(self) -> None:
        try:
            self.invitation = people.invitation_shown(self.kwargs["secret"], self.now)
        except Gone as refusal:
            raise Answered(gone(self.request, refusal)) from refusal
        self.signed_in = self.actor.user_id is not None
        self.known = people.account_known(self.invitation.email)

    def form(self, data: Any = None) -> ServiceForm:
        return NewcomerForm(data)

    def context(self) -> dict[str, Any]:
        return {
            "invitation": self.invitation,
            "role": invitations.role_label(self.invitation),
            "by": people.called(self.invitation.invited_by),
            "signed_in": self.signed_in,
            "theirs": self.signed_in and self.user.email == self.invitation.email,
            "already": self.signed_in and people.belongs_already(self.user, self.invitation),
            "known": self.known,
            "here": self.request.path,
            "sign_in": to_sign_in(self.request),
        }

    def do(self, form: NewcomerForm) -> str:
        where = self.invitation.group or self.invitation.network
        if not self.signed_in and self.known:
            return to_sign_in(self.request)
        try:
            if self.signed_in:
                invitations.invitation_accept(actor=self.actor, secret=self.kwargs["secret"], now=self.now)
            else:
                _, user = invitations.invitation_accept_new(
                    secret=self.kwargs["secret"], asked=form.read(), password=form.secret(), now=self.now
                )
                login(self.request, user, backend=BACKEND)
        except NotAllowed as refusal:
            raise Answered(refused(self.request, 403, "For somebody else", refusal.detail)) from refusal
        except WrongState as refusal:
            raise Answered(refused(self.request, 409, "Nothing was changed", refusal.detail)) from refusal
        messages.success(self.request, f"Welcome to {where}.")
        return "/home/"
