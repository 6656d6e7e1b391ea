"""Addresses of the pages."""

from django.urls import include, path

from projects.dashboard.views import estimate, front, how_we_know

urlpatterns = [
    path("", front.front, name="front"),
    path("plan/", estimate.plan, name="plan"),
    path("estimate/", estimate.EstimateView.as_view(), name="estimate"),
    path("estimate/plan-sheet/", estimate.PlanSheetView.as_view(), name="plan-sheet"),
    path("estimate/sowing-day/", estimate.SowingDayView.as_view(), name="sowing-day"),
    path("how-we-know/", how_we_know.how_we_know, name="how-we-know"),
    path("how-we-know/sources/", how_we_know.sources, name="sources"),
    path("how-we-know/<slug:name>/", how_we_know.table, name="reference-table"),
    path("", include("projects.dashboard.account_urls")),
    path("", include("projects.dashboard.county_urls")),
    path("fund/", include("projects.dashboard.fund_urls")),
    path("", include("projects.dashboard.bid_urls")),
]
