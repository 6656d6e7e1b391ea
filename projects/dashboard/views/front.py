"""The front page."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def front(request: HttpRequest) -> HttpResponse:
    """Say what the service does, and ask how big the ground is."""
    return render(request, "dashboard/front.html")
