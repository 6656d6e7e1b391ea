"""Addresses of grant rounds for everybody, and of a group's bids and awards."""

from django.urls import path

from projects.dashboard.views import awards, bid_flags, bids, rounds

urlpatterns = [
    path("county/<slug:slug>/rounds/", rounds.CountyRoundsView.as_view(), name="county-rounds"),
    path("rounds/<uuid:round_id>/", rounds.RoundView.as_view(), name="round"),
    path("groups/<uuid:group_id>/bids/", rounds.GroupBidsView.as_view(), name="group-bids"),
    path("groups/<uuid:group_id>/rounds/<uuid:round_id>/bid/", bids.BidNewView.as_view(), name="group-bid-new"),
    path("bids/<uuid:bid_id>/", bids.BidView.as_view(), name="bid"),
    path("bids/<uuid:bid_id>/edit/<slug:part>/", bids.BidEditView.as_view(), name="bid-edit"),
    path("bids/<uuid:bid_id>/hand-in/", bids.BidHandInView.as_view(), name="bid-hand-in"),
    path("bids/<uuid:bid_id>/receipt/", bids.BidReceiptView.as_view(), name="bid-receipt"),
    path("bids/<uuid:bid_id>/handed-in.json", bids.HandedInView.as_view(), name="bid-handed-in"),
    path("bids/<uuid:bid_id>/move/", bids.BidMoveView.as_view(), name="bid-move"),
    path("bids/<uuid:bid_id>/withdraw/", bids.BidWithdrawView.as_view(), name="bid-withdraw"),
    path("bids/<uuid:bid_id>/flags/<int:flag>/", bid_flags.FlagView.as_view(), name="bid-flag"),
    path("bids/<uuid:bid_id>/letter/", bids.BidLetterView.as_view(), name="bid-letter"),
    path("awards/<uuid:award_id>/", awards.AwardView.as_view(), name="award"),
    path("awards/<uuid:award_id>/answer/", awards.AnswerView.as_view(), name="award-answer"),
    path("awards/<uuid:award_id>/payment/", awards.PaymentView.as_view(), name="award-payment"),
    path("awards/<uuid:award_id>/change/", awards.ChangeView.as_view(), name="award-change"),
    path("awards/<uuid:award_id>/report/", awards.ReportView.as_view(), name="award-report"),
]
