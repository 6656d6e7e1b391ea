"""Addresses of the county, its groups, their sites and meadows."""

from django.urls import path

from projects.dashboard.views import county, groups, jobs, meadows, returns, sites

urlpatterns = [
    path("home/", groups.HomeView.as_view(), name="home"),
    path("county/", county.CountiesView.as_view(), name="counties"),
    path("county/new/", county.NetworkNewView.as_view(), name="network-new"),
    path("county/<slug:slug>/", county.CountyView.as_view(), name="county"),
    path("county/<slug:slug>/map.json", county.MapView.as_view(), name="county-map"),
    path("county/<slug:slug>/sites/", county.SitesView.as_view(), name="county-sites"),
    path("county/<slug:slug>/returns/", returns.YearView.as_view(), name="county-returns"),
    path("county/<slug:slug>/set-up/", county.SetUpView.as_view(), name="county-set-up"),
    path("county/<slug:slug>/forecast-all/", county.ForecastAllView.as_view(), name="county-forecast-all"),
    path("groups/<uuid:group_id>/", groups.GroupView.as_view(), name="group"),
    path("groups/<uuid:group_id>/edit/", groups.GroupEditView.as_view(), name="group-edit"),
    path("groups/<uuid:group_id>/members/", groups.MembersView.as_view(), name="group-members"),
    path("groups/<uuid:group_id>/forecast-all/", groups.GroupForecastAllView.as_view(), name="group-forecast-all"),
    path("groups/<uuid:group_id>/sites/new/", sites.SiteNewView.as_view(), name="site-new"),
    path("sites/<uuid:site_id>/", sites.SiteView.as_view(), name="site"),
    path("sites/<uuid:site_id>/edit/", sites.SiteEditView.as_view(), name="site-edit"),
    path("sites/<uuid:site_id>/remove/", sites.SiteRemoveView.as_view(), name="site-remove"),
    path("sites/<uuid:site_id>/permissions/", sites.PermissionsView.as_view(), name="site-permissions"),
    path("sites/<uuid:site_id>/soil-test/", sites.SoilTestView.as_view(), name="site-soil-test"),
    path("sites/<uuid:site_id>/funding/", sites.FundingView.as_view(), name="site-funding"),
    path("sites/<uuid:site_id>/projects/new/", meadows.ProjectNewView.as_view(), name="project-new"),
    path("projects/<uuid:project_id>/", meadows.ProjectView.as_view(), name="project"),
    path("projects/<uuid:project_id>/edit/", meadows.ProjectEditView.as_view(), name="project-edit"),
    path("projects/<uuid:project_id>/plan/", meadows.PlanView.as_view(), name="project-plan"),
    path("projects/<uuid:project_id>/forecast/", meadows.ForecastsView.as_view(), name="project-forecast"),
    path(
        "projects/<uuid:project_id>/forecasts/<uuid:forecast_id>/",
        meadows.ForecastView.as_view(),
        name="project-forecast-one",
    ),
    path("projects/<uuid:project_id>/step/", meadows.StepView.as_view(), name="project-step"),
    path("projects/<uuid:project_id>/diary/", meadows.DiaryView.as_view(), name="project-diary"),
    path("projects/<uuid:project_id>/diary/new/", meadows.DiaryNewView.as_view(), name="project-diary-new"),
    path(
        "projects/<uuid:project_id>/diary/<uuid:entry_id>/strike/",
        meadows.StrikeView.as_view(),
        name="project-diary-strike",
    ),
    path("returns/<uuid:return_id>/", returns.ReturnView.as_view(), name="return"),
    path("returns/<uuid:return_id>/names/", returns.NamesView.as_view(), name="return-names"),
    path("returns/<uuid:return_id>/check/", returns.CheckView.as_view(), name="return-check"),
    path("questions/<uuid:question_id>/answer/", returns.AnswerView.as_view(), name="return-question"),
    path("questions/<uuid:question_id>/accept/", returns.AcceptView.as_view(), name="return-question-accept"),
    path("jobs/<uuid:job_id>/", jobs.JobView.as_view(), name="job"),
]
