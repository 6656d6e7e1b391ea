"""What the pages behind the county's door share: who asks, and how refusals are shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render, resolve_url
from django.utils import timezone
from django.utils.cache import add_never_cache_headers, patch_vary_headers
from django.views import View

from modelling.errors import RequestRefused
from projects.dashboard.forms.base import ServiceForm
from projects.errors import NotAllowed, NotFound, Refused, Stale
from projects.models import User
from projects.rules.access import Actor
from projects.selectors.actors import actor_of

#: what is not worth repeating of a form that could not be taken
_NOT_TYPED = frozenset({"csrfmiddlewaretoken", "version", "submission_id"})


class Door(View):
    """A page that asks selectors and services in somebody's name."""

    template_name: ClassVar[str] = ""
    actor: Actor

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        user = request.user
        self.actor = actor_of(user if isinstance(user, User) else None)
        self.now = timezone.now()
        self.today = timezone.localdate(self.now)
        try:
            response = super().dispatch(request, *args, **kwargs)
        except NotFound as refusal:
            raise Http404(refusal.detail) from refusal
        except NotAllowed as refusal:
            response = self.not_allowed(request, refusal)
        except Refused as refusal:
            # a button on a page that has aged: there is no form to show it beside
            response = render(request, "county/not_now.html", {"detail": refusal.detail}, status=409)
        patch_vary_headers(response, ["Cookie"])
        if self.actor.user_id is not None:
            add_never_cache_headers(response)
        return response

    def not_allowed(self, request: HttpRequest, refusal: NotAllowed) -> HttpResponse:
        """Ask a visitor to sign in; tell somebody signed in that it is not for them."""
        if self.actor.user_id is not None:
            return render(request, "county/not_allowed.html", {"detail": refusal.detail}, status=403)
        sign_in = f"{resolve_url(settings.LOGIN_URL)}?{urlencode({'next': request.get_full_path()})}"
        typed = [(name, value) for name, values in request.POST.lists() if name not in _NOT_TYPED for value in values]
        if request.method == "POST" and typed:
            # signed out in the meantime: what was typed is shown, so that it can be copied
            return render(request, "county/signed_out.html", {"typed": typed, "sign_in": sign_in}, status=403)
        return HttpResponseRedirect(sign_in)

    def show(
        self, request: HttpRequest, context: Mapping[str, Any], status: int = 200, template: str = ""
    ) -> HttpResponse:
        """Return the page."""
        known = {"actor": self.actor, "today": self.today, **context}
        return render(request, template or self.template_name, known, status=status)


class FormDoor(Door):
    """A page with one form: what is refused stands beside its field, and everything typed stays."""

    #: shown after the act, at the next page
    done: ClassVar[str] = ""

    def load(self) -> None:
        """Find what the form is about, and raise unless the actor may do the act."""

    def form(self, data: Any = None) -> ServiceForm:
        """Return the form, empty or as sent."""
        raise NotImplementedError

    def act(self, form: Any) -> str:
        """Do it and return where to go then."""
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        """Return what the template shows around the form."""
        return {}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.load()
        return self.show(request, {**self.context(), "form": self.form()})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.load()
        form = self.form(request.POST)
        status = 422
        if form.is_valid():
            try:
                where = self.act(form)
            except RequestRefused as refusal:
                form.add_refusals(refusal.errors)
            except Stale as refusal:
                form.aged(refusal.detail, self.form())
                status = 409
            except (NotFound, NotAllowed):
                raise
            except Refused as refusal:
                form.add_refused(refusal)
            else:
                if self.done:
                    messages.success(request, self.done)
                return HttpResponseRedirect(where)
        else:
            form.add_contract_faults()
        return self.show(request, {**self.context(), "form": form}, status=status)
