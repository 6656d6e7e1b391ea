"""The project's addresses, and three more whose answers the tests choose."""

from django.urls import include, path
from rest_framework.response import Response

from config.urls import handler400, handler403, handler404, handler500
from projects.api.base import ApiView
from projects.api.throttling import charge

__all__ = ["handler400", "handler403", "handler404", "handler500", "urlpatterns"]


class EchoView(ApiView):
    def post(self, request):
        return Response(self.read_object(request))


class NumberView(ApiView):
    def get(self, request):
        return Response({"seed_kg": float(request.GET["value"])})


class ChargedView(ApiView):
    def get(self, request):
        charge(request, int(request.GET["cells"]))
        return Response({})


urlpatterns = [
    path("api/echo/", EchoView.as_view()),
    path("api/number/", NumberView.as_view()),
    path("api/charged/", ChargedView.as_view()),
    path("", include("config.urls")),
]
