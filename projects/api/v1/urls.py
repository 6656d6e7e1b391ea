from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from projects.api.base import ApiView
from projects.api.docs import DocsView
from projects.api.schema import SchemaView, SchemaYamlView
from projects.api.v1.views import (
    audit,
    bids,
    decisions,
    handovers,
    meadows,
    networks,
    photos,
    records,
    returns,
    rounds,
    sites,
    uploads,
)
from projects.api.v1.views.estimates import ComparisonsView, EstimatesView
from projects.api.v1.views.reference import ModelCardView, ReferenceIndexView, ReferenceTableView, SourcesView
from projects.api.v1.views.vocabularies import VocabulariesView


class IndexView(ApiView):
    """Names the addresses of this version."""

    @extend_schema(
        operation_id="index",
        summary="What this version offers",
        tags=["about"],
        responses={200: {"type": "object", "additionalProperties": {"type": "string", "format": "uri"}}},
    )
    def get(self, request: Request) -> Response:
        self.read_query(request)
        return Response({name: reverse(f"v1-{name}", request=request) for name in ENDPOINTS})


# What the index names; each is the name of an address below, after "v1-".
ENDPOINTS = [
    "estimates", "comparisons", "networks", "groups", "sites", "sites-geojson", "projects", "returns", "uploads",
    "rounds", "bids", "awards", "open-grants", "jobs", "audit", "me", "vocabularies", "reference", "schema", "docs",
]  # fmt: skip

urlpatterns = [
    path("", IndexView.as_view(), name="v1-index"),
    path("estimates/", EstimatesView.as_view(), name="v1-estimates"),
    path("comparisons/", ComparisonsView.as_view(), name="v1-comparisons"),
    path("networks/", networks.NetworksView.as_view(), name="v1-networks"),
    path("networks/<uuid:public_id>/", networks.NetworkView.as_view(), name="v1-network"),
    path("networks/<uuid:public_id>/districts/", networks.DistrictsView.as_view(), name="v1-districts"),
    path("networks/<uuid:public_id>/villages/", networks.VillagesView.as_view(), name="v1-villages"),
    path("networks/<uuid:public_id>/forecasts/", networks.NetworkForecastsView.as_view(), name="v1-network-forecasts"),
    path("networks/<uuid:public_id>/records/csv/", records.NetworkRecordsCsvView.as_view(), name="v1-network-records"),
    path("networks/<uuid:public_id>/facts/csv/", records.NetworkFactsCsvView.as_view(), name="v1-network-facts"),
    path(
        "networks/<uuid:public_id>/darwin-core/", records.NetworkDarwinCoreView.as_view(), name="v1-network-darwin-core"
    ),
    path("networks/<uuid:public_id>/shielded-taxa/", records.ShieldedTaxaView.as_view(), name="v1-shielded-taxa"),
    path("shielded-taxa/<uuid:public_id>/", records.ShieldedTaxonView.as_view(), name="v1-shielded-taxon"),
    path("groups/", networks.GroupsView.as_view(), name="v1-groups"),
    path("groups/<uuid:public_id>/", networks.GroupView.as_view(), name="v1-group"),
    path("groups/<uuid:public_id>/members/", networks.MembersView.as_view(), name="v1-members"),
    path("groups/<uuid:public_id>/forecasts/", networks.GroupForecastsView.as_view(), name="v1-group-forecasts"),
    path("memberships/<uuid:public_id>/", networks.MembershipView.as_view(), name="v1-membership"),
    path("sites/", sites.SitesView.as_view(), name="v1-sites"),
    path("sites/geojson/", sites.SitesGeoJsonView.as_view(), name="v1-sites-geojson"),
    path("sites/<uuid:public_id>/", sites.SiteView.as_view(), name="v1-site"),
    path("sites/<uuid:public_id>/permissions/", sites.PermissionsView.as_view(), name="v1-permissions"),
    path("sites/<uuid:public_id>/soil-tests/", sites.SoilTestsView.as_view(), name="v1-soil-tests"),
    path("sites/<uuid:public_id>/other-funding/", sites.OtherFundingsView.as_view(), name="v1-other-funding"),
    path("permissions/<uuid:public_id>/", sites.PermissionView.as_view(), name="v1-permission"),
    path("soil-tests/<uuid:public_id>/", sites.SoilTestView.as_view(), name="v1-soil-test"),
    path("other-funding/<uuid:public_id>/", sites.OtherFundingView.as_view(), name="v1-other-funding-entry"),
    path("projects/", meadows.ProjectsView.as_view(), name="v1-projects"),
    path("projects/<uuid:public_id>/", meadows.ProjectView.as_view(), name="v1-project"),
    path("projects/<uuid:public_id>/steps/", meadows.StepsView.as_view(), name="v1-steps"),
    path("projects/<uuid:public_id>/plans/", meadows.PlansView.as_view(), name="v1-plans"),
    path("projects/<uuid:public_id>/forecasts/", meadows.ForecastsView.as_view(), name="v1-forecasts"),
    path("projects/<uuid:public_id>/diary/", meadows.DiaryView.as_view(), name="v1-diary"),
    path("forecasts/<uuid:public_id>/", meadows.ForecastView.as_view(), name="v1-forecast"),
    path("forecasts/<uuid:public_id>/answer/", meadows.ForecastAnswerView.as_view(), name="v1-forecast-answer"),
    path("diary/<uuid:public_id>/strike/", meadows.WorkStrikeView.as_view(), name="v1-diary-strike"),
    path("returns/", returns.ReturnsView.as_view(), name="v1-returns"),
    path("projects/<uuid:public_id>/returns/", returns.ProjectReturnsView.as_view(), name="v1-project-returns"),
    path("returns/batch/", uploads.ReturnsBatchView.as_view(), name="v1-returns-batch"),
    path("projects/<uuid:public_id>/template/", uploads.TemplateView.as_view(), name="v1-template"),
    path("projects/<uuid:public_id>/template/csv/", uploads.TemplateCsvView.as_view(), name="v1-template-csv"),
    path("projects/<uuid:public_id>/uploads/", uploads.ProjectUploadsView.as_view(), name="v1-project-uploads"),
    path("groups/<uuid:public_id>/uploads/", uploads.GroupUploadsView.as_view(), name="v1-group-uploads"),
    path("networks/<uuid:public_id>/uploads/", uploads.NetworkUploadsView.as_view(), name="v1-network-uploads"),
    path("uploads/", uploads.UploadsView.as_view(), name="v1-uploads"),
    path("uploads/<uuid:public_id>/", uploads.UploadView.as_view(), name="v1-upload"),
    path("uploads/<uuid:public_id>/rows/", uploads.UploadRowsView.as_view(), name="v1-upload-rows"),
    path("uploads/<uuid:public_id>/refused/", uploads.UploadRefusedView.as_view(), name="v1-upload-refused"),
    path("uploads/<uuid:public_id>/refused/csv/", uploads.UploadRefusedCsvView.as_view(), name="v1-upload-refused-csv"),
    path("uploads/<uuid:public_id>/answers/", uploads.UploadAnswersView.as_view(), name="v1-upload-answers"),
    path("uploads/<uuid:public_id>/accept/", uploads.UploadAcceptView.as_view(), name="v1-upload-accept"),
    path("returns/<uuid:public_id>/", returns.ReturnView.as_view(), name="v1-return"),
    path("returns/<uuid:public_id>/versions/", returns.ReturnVersionsView.as_view(), name="v1-return-versions"),
    path("returns/<uuid:public_id>/result/", returns.ReturnResultView.as_view(), name="v1-return-result"),
    path("returns/<uuid:public_id>/names/", returns.ReturnNamesView.as_view(), name="v1-return-names"),
    path("returns/<uuid:public_id>/moves/", returns.ReturnMovesView.as_view(), name="v1-return-moves"),
    path("returns/<uuid:public_id>/records/csv/", records.ReturnRecordsCsvView.as_view(), name="v1-return-records"),
    path("returns/<uuid:public_id>/facts/csv/", records.ReturnFactsCsvView.as_view(), name="v1-return-facts"),
    path("returns/<uuid:public_id>/darwin-core/", records.ReturnDarwinCoreView.as_view(), name="v1-return-darwin-core"),
    path("questions/<uuid:public_id>/answer/", returns.QuestionView.as_view(), name="v1-question-answer"),
    path("questions/<uuid:public_id>/accept/", returns.QuestionAcceptView.as_view(), name="v1-question-accept"),
    path("rounds/", rounds.RoundsView.as_view(), name="v1-rounds"),
    path("rounds/<uuid:public_id>/", rounds.RoundView.as_view(), name="v1-round"),
    path("rounds/<uuid:public_id>/moves/", rounds.RoundMovesView.as_view(), name="v1-round-moves"),
    path("rounds/<uuid:public_id>/assessors/", rounds.AssessorsView.as_view(), name="v1-assessors"),
    path("rounds/<uuid:public_id>/interests/", rounds.InterestsView.as_view(), name="v1-interests"),
    path("rounds/<uuid:public_id>/money/", rounds.RoundMoneyView.as_view(), name="v1-round-money"),
    path("rounds/<uuid:public_id>/panel/", rounds.PanelView.as_view(), name="v1-panel"),
    path("rounds/<uuid:public_id>/appraisals/", rounds.RoundAppraisalsView.as_view(), name="v1-round-appraisals"),
    path("rounds/<uuid:public_id>/choices/", rounds.ChoicesView.as_view(), name="v1-choices"),
    path("choices/<uuid:public_id>/", rounds.ChoiceView.as_view(), name="v1-choice"),
    path("bids/", bids.BidsView.as_view(), name="v1-bids"),
    path("bids/<uuid:public_id>/", bids.BidView.as_view(), name="v1-bid"),
    path("bids/<uuid:public_id>/checklist/", bids.ChecklistView.as_view(), name="v1-checklist"),
    path("bids/<uuid:public_id>/moves/", bids.BidMovesView.as_view(), name="v1-bid-moves"),
    path("bids/<uuid:public_id>/submissions/", bids.SubmissionsView.as_view(), name="v1-submissions"),
    path("bids/<uuid:public_id>/proofs/", bids.ProofsView.as_view(), name="v1-proofs"),
    path("bids/<uuid:public_id>/appraisal/", bids.AppraisalView.as_view(), name="v1-appraisal"),
    path("bids/<uuid:public_id>/review/", bids.ReviewView.as_view(), name="v1-review"),
    path("bids/<uuid:public_id>/reviews/", bids.ReviewsView.as_view(), name="v1-reviews"),
    path("bids/<uuid:public_id>/notes/", bids.NotesView.as_view(), name="v1-notes"),
    path("bids/<uuid:public_id>/history/", bids.HistoryView.as_view(), name="v1-history"),
    path("bids/<uuid:public_id>/decisions/", decisions.DecisionsView.as_view(), name="v1-decisions"),
    path("decisions/<uuid:public_id>/", decisions.DecisionView.as_view(), name="v1-decision"),
    path("decisions/<uuid:public_id>/publish/", decisions.PublicationView.as_view(), name="v1-decision-publish"),
    path("awards/", decisions.AwardsView.as_view(), name="v1-awards"),
    path("awards/<uuid:public_id>/", decisions.AwardView.as_view(), name="v1-award"),
    path("awards/<uuid:public_id>/moves/", decisions.AwardMovesView.as_view(), name="v1-award-moves"),
    path("awards/<uuid:public_id>/report/", decisions.ReportView.as_view(), name="v1-award-report"),
    path("awards/<uuid:public_id>/payments/", decisions.PaymentsView.as_view(), name="v1-payments"),
    path("awards/<uuid:public_id>/changes/", decisions.AlterationsView.as_view(), name="v1-changes"),
    path("awards/<uuid:public_id>/money-back/", decisions.MoneyBackView.as_view(), name="v1-money-back"),
    path("payments/<uuid:public_id>/moves/", decisions.PaymentMovesView.as_view(), name="v1-payment-moves"),
    path("changes/<uuid:public_id>/moves/", decisions.AlterationMovesView.as_view(), name="v1-change-moves"),
    path("open-grants/", decisions.OpenGrantsView.as_view(), name="v1-open-grants"),
    path("open-grants/csv/", decisions.OpenGrantsCsvView.as_view(), name="v1-open-grants-csv"),
    path("returns/<uuid:public_id>/photos/", photos.ReturnPhotosView.as_view(), name="v1-return-photos"),
    path("projects/<uuid:public_id>/photos/", photos.ProjectPhotosView.as_view(), name="v1-project-photos"),
    path("photos/<uuid:public_id>/", photos.PhotoView.as_view(), name="v1-photo"),
    path("photos/<uuid:public_id>/image/", photos.PhotoImageView.as_view(), name="v1-photo-image"),
    path("groups/<uuid:public_id>/handovers/", handovers.GroupHandoversView.as_view(), name="v1-group-handovers"),
    path("projects/<uuid:public_id>/handovers/", handovers.ProjectHandoversView.as_view(), name="v1-project-handovers"),
    path("handovers/<uuid:public_id>/", handovers.HandoverView.as_view(), name="v1-handover"),
    path("jobs/", meadows.JobsView.as_view(), name="v1-jobs"),
    path("jobs/<uuid:public_id>/", meadows.JobView.as_view(), name="v1-job"),
    path("jobs/<uuid:public_id>/restart/", meadows.JobRestartView.as_view(), name="v1-job-restart"),
    path("audit/", audit.AuditView.as_view(), name="v1-audit"),
    path("me/", networks.MeView.as_view(), name="v1-me"),
    path("vocabularies/", VocabulariesView.as_view(), name="v1-vocabularies"),
    path("reference/", ReferenceIndexView.as_view(), name="v1-reference"),
    path("reference/sources/", SourcesView.as_view(), name="v1-reference-sources"),
    path("reference/model-card/", ModelCardView.as_view(), name="v1-reference-model-card"),
    path("reference/<str:table>/", ReferenceTableView.as_view(), name="v1-reference-table"),
    path("schema/", SchemaView.as_view(), name="v1-schema"),
    path("schema/openapi.yaml", SchemaYamlView.as_view(), name="v1-schema-yaml"),
    path("docs/", DocsView.as_view(), name="v1-docs"),
]
