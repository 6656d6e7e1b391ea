"""Addresses of the pages."""

from django.urls import include, path

urlpatterns = [
    path("", include("projects.dashboard.urls")),
]
