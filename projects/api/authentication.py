"""Who calls the API: a program that shows a token, or the public. A session of the pages never counts here."""

import re

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request

from projects.api.errors import Problem
from projects.models import ApiToken, User
from projects.selectors.people import token_of
from projects.services.tokens import token_used

#: the characters a token may have (RFC 6750)
_BEARER = re.compile(r"bearer +([A-Za-z0-9._~+/=-]+)", re.IGNORECASE)


class TokenAuthentication(BaseAuthentication):
    """Reads the header Authorization: Bearer <token>."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        said = request.META.get("HTTP_AUTHORIZATION")
        if said is None:
            return None
        shown = _BEARER.fullmatch(said.strip())
        if shown is None:
            raise refused("The Authorization header cannot be read; it should be: Bearer, a blank, and a token.")
        now = timezone.now()
        token = token_of(shown[1], now)
        if token is None:
            raise refused("The token is unknown, ended or withdrawn. Tokens are made on the account page.")
        token_used(token=token, now=now)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return "Bearer"


def refused(detail: str) -> Problem:
    """Return the 401."""
    return Problem("unauthenticated", detail, headers={"WWW-Authenticate": "Bearer"})


class TokenDescription(OpenApiAuthenticationExtension):
    """Describes it in the API's description."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token, made on the account page. Without one the caller is the public.",
        }
