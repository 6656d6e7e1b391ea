"""Django's middleware where its default would lose somebody's work."""

from django.http import HttpRequest
from django.middleware import common


class CommonMiddleware(common.CommonMiddleware):
    """Adds a forgotten last slash for readers only: a redirected POST arrives without what was posted."""

    def should_redirect_with_slash(self, request: HttpRequest) -> bool:
        return request.method in {"GET", "HEAD"} and super().should_redirect_with_slash(request)
