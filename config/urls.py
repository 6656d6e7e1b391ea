from django.urls import include, path

from projects.api.views import HealthView, LiveView, MetricsView
from projects.dashboard.views.problems import problem

urlpatterns = [
    path("api/", include("projects.api.urls")),
    path("health/", HealthView.as_view(), name="health"),
    path("health/live", LiveView.as_view(), name="health-live"),
    path("health/ready", HealthView.as_view(), name="health-ready"),
    path("metrics", MetricsView.as_view(), name="metrics"),
    path("problems/<slug:code>/", problem, name="problem"),
    path("", include("projects.urls")),
]

handler400 = "projects.api.errors.bad_request"
handler403 = "projects.api.errors.permission_denied"
handler404 = "projects.api.errors.not_found"
handler500 = "projects.api.errors.server_error"
