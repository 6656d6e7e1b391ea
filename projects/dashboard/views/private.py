"""What pages about accounts share: nothing of them is kept by a browser, and their secrets stay out of logs."""

from __future__ import annotations

from typing import Any, ClassVar, cast

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme, urlencode

from projects.api.throttling import caller
from projects.dashboard.doors import Door, FormDoor
from projects.dashboard.forms.base import ServiceForm
from projects.errors import Gone, NotAllowed, TooOften
from projects.models import User

BACKEND = f"{ModelBackend.__module__}.{ModelBackend.__qualname__}"
HOME = "/home/"


class Answered(Exception):
    """Ends a page with this answer."""

    def __init__(self, response: HttpResponse) -> None:
        super().__init__()
        self.response = response


class Private(Door):
    """A page about an account. One for everybody says so."""

    for_everybody: ClassVar[bool] = False
    #: whether the address itself opens something
    secret_address: ClassVar[bool] = False

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.for_everybody and not request.user.is_authenticated:
            response: HttpResponseBase = HttpResponseRedirect(to_sign_in(request, back=hasattr(self, "get")))
        else:
            try:
                response = super().dispatch(request, *args, **kwargs)
            except Answered as answer:
                response = answer.response
        response.headers["Cache-Control"] = "no-store"
        # Not "no-referrer": browsers then call the origin of a form "null", and it is refused as sent from elsewhere.
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["X-Robots-Tag"] = "noindex"
        if self.secret_address:
            # Django would log the path of a refused page, and this path is a secret.
            response._has_been_logged = True  # type: ignore[attr-defined]
        return response

    def not_allowed(self, request: HttpRequest, refusal: NotAllowed) -> HttpResponse:
        """Tell somebody signed in that it is not for them; passwords typed are never shown."""
        return refused(request, 403, "Not for you to do", refusal.detail)

    @property
    def user(self) -> User:
        """The person signed in."""
        return cast(User, self.request.user)

    @property
    def caller(self) -> str:
        """Where the request comes from, as it is counted."""
        return caller(self.request)


class PrivateForm(Private, FormDoor):
    """A page about an account with a form."""

    #: where to go once it is done
    then: ClassVar[str] = "/account/"

    def act(self, form: Any) -> str:
        try:
            return self.do(form)
        except TooOften as refusal:
            raise Answered(too_often(self.request, refusal)) from refusal
        except Gone as refusal:
            raise Answered(gone(self.request, refusal)) from refusal

    def do(self, form: Any) -> str:
        """Do it and return where to go then."""
        raise NotImplementedError

    def form(self, data: Any = None) -> ServiceForm:
        """Return the form, empty or as sent."""
        raise NotImplementedError


def to_sign_in(request: HttpRequest, *, back: bool = True) -> str:
    """Return the address of signing in, and of coming back to where there is a page to come back to."""
    return f"/sign-in/?{urlencode({'next': request.get_full_path()})}" if back else "/sign-in/"


def own_address(request: HttpRequest, address: str) -> str:
    """Return an address to go on to if it is one of this very host, else that of one's groups."""
    own = url_has_allowed_host_and_scheme(address, {request.get_host()}, require_https=request.is_secure())
    return address if own else HOME


def refused(request: HttpRequest, status: int, title: str, detail: str, **more: Any) -> HttpResponse:
    """Return a page that says why not."""
    return render(request, "account/refused.html", {"title": title, "detail": detail, **more}, status=status)


def too_often(request: HttpRequest, refusal: TooOften) -> HttpResponse:
    """Return the page for too many tries."""
    response = refused(request, 429, "Too many tries", refusal.detail)
    response.headers["Retry-After"] = str(refusal.wait_seconds)
    return response


def gone(request: HttpRequest, refusal: Gone) -> HttpResponse:
    """Return the page for a link that works no longer."""
    return refused(request, 410, "This link works no longer", refusal.detail)
