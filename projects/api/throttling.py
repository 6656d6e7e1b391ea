"""How much computing one address may ask for in a minute. Nothing about a caller is kept for longer."""

import hmac
import ipaddress
import logging
import time
from hashlib import sha256

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest
from redis.exceptions import RedisError
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from projects.api.errors import Problem

logger = logging.getLogger(__name__)

WINDOW_SECONDS = 60
DEFAULT_ESTIMATE_CELLS = 4_000 * 40 * 10 * 1 * 2
CELLS_PER_WINDOW = 60 * DEFAULT_ESTIMATE_CELLS


def cells(*, draws: int, taxa: int, years: int, options: int = 1) -> int:
    """Return the cost of a calculation: each option is forecast twice, with and without steady aftercare."""
    return draws * taxa * years * options * 2


def charge(request: HttpRequest | Request, cells: int) -> None:
    """Charge the caller's address for a calculation before it is made.

    Parameters
    ----------
    request
        Of the API or of a page.
    cells
        Cost as `cells()` gives it.

    Raises
    ------
    Problem
        429 with Retry-After in seconds, if the address has used up its minute; then nothing is charged.
    """
    if not settings.THROTTLE:
        return
    now = time.time()
    window = int(now // WINDOW_SECONDS)
    key = f"cells:{window}:{caller(request)}"
    try:
        # Kept for two windows, so that it cannot expire between the two steps.
        cache.add(key, 0, timeout=2 * WINDOW_SECONDS)
        used = cache.incr(key, cells)
        if used > CELLS_PER_WINDOW:
            cache.decr(key, cells)
    except RedisError:
        # Estimates need no Redis: better unlimited for a while than refused to everybody.
        logger.warning("The cache cannot be reached; anonymous estimates are not limited meanwhile.")
        return
    if used > CELLS_PER_WINDOW:
        wait = int((window + 1) * WINDOW_SECONDS - now) + 1
        raise Problem(
            "too_many_requests",
            f"This address has asked for as much as it may in a minute. Try again in {wait} seconds.",
            headers={"Retry-After": str(wait)},
        )


def caller(request: HttpRequest | Request) -> str:
    """Return a name for the caller that does not tell the address: a keyed hash of it, or of its IPv6 /64."""
    named = BaseThrottle().get_ident(request) or "local"  # type: ignore[arg-type]  # it reads META, which pages have too
    try:
        address = ipaddress.ip_address(named)
    except ValueError:
        pass
    else:
        # One household or server is handed a whole /64.
        if address.version == 6:
            named = str(ipaddress.ip_network((address, 64), strict=False))
    return hmac.new(settings.SECRET_KEY.encode(), named.encode(), sha256).hexdigest()[:32]
