"""Versions of the API. A breaking change is a new folder and a new line here."""

from django.urls import include, path

urlpatterns = [
    path("v1/", include("projects.api.v1.urls")),
]
