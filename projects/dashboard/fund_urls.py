"""Addresses for those who give the money and read the bids."""

from django.urls import path

from projects.dashboard.views import fund_awards, fund_bids, fund_panel, fund_rounds

urlpatterns = [
    path("", fund_rounds.FundView.as_view(), name="fund"),
    path("county/<slug:slug>/new/", fund_rounds.RoundNewView.as_view(), name="fund-round-new"),
    path("county/<slug:slug>/money/", fund_rounds.FundMoneyView.as_view(), name="fund-money"),
    path("rounds/<uuid:round_id>/", fund_rounds.RoundDeskView.as_view(), name="fund-round"),
    path("rounds/<uuid:round_id>/edit/", fund_rounds.RoundEditView.as_view(), name="fund-round-edit"),
    path("rounds/<uuid:round_id>/move/", fund_rounds.RoundMoveView.as_view(), name="fund-round-move"),
    path("rounds/<uuid:round_id>/assessors/", fund_rounds.AssessorsView.as_view(), name="fund-assessors"),
    path("rounds/<uuid:round_id>/interest/", fund_rounds.InterestView.as_view(), name="fund-interest"),
    path("rounds/<uuid:round_id>/appraise/", fund_panel.AppraiseView.as_view(), name="fund-appraise"),
    path("rounds/<uuid:round_id>/panel/", fund_panel.PanelView.as_view(), name="fund-panel"),
    path("rounds/<uuid:round_id>/choose/", fund_panel.ChooseView.as_view(), name="fund-choose"),
    path("choices/<uuid:choice_id>/", fund_panel.ChoiceView.as_view(), name="fund-choice"),
    path("bids/<uuid:bid_id>/", fund_bids.BidReadView.as_view(), name="fund-bid"),
    path("bids/<uuid:bid_id>/score/", fund_bids.ScoreView.as_view(), name="fund-score"),
    path("bids/<uuid:bid_id>/note/", fund_bids.NoteView.as_view(), name="fund-note"),
    path("bids/<uuid:bid_id>/seen/", fund_bids.SeenView.as_view(), name="fund-seen"),
    path("bids/<uuid:bid_id>/put/", fund_bids.PutView.as_view(), name="fund-put"),
    path("bids/<uuid:bid_id>/decide/", fund_awards.DecideView.as_view(), name="fund-decide"),
    path("decisions/<uuid:decision_id>/", fund_awards.DecisionView.as_view(), name="fund-decision"),
    path("decisions/<uuid:decision_id>/publish/", fund_awards.PublishView.as_view(), name="fund-publish"),
    path("awards/<uuid:award_id>/", fund_awards.AwardView.as_view(), name="fund-award"),
    path("awards/<uuid:award_id>/move/", fund_awards.AwardMoveView.as_view(), name="fund-award-move"),
    path("awards/<uuid:award_id>/visit/", fund_awards.VisitView.as_view(), name="fund-visit"),
    path("awards/<uuid:award_id>/money-back/", fund_awards.MoneyBackView.as_view(), name="fund-money-back"),
    path("payments/<uuid:payment_id>/", fund_awards.PaymentView.as_view(), name="fund-payment"),
    path("changes/<uuid:change_id>/", fund_awards.ChangeView.as_view(), name="fund-change"),
]
