"""Addresses of the pages about accounts and invitations."""

from django.urls import path

from projects.dashboard.views import account, invitations, sign_in

urlpatterns = [
    path("sign-in/", sign_in.SignInView.as_view(), name="sign-in"),
    path("sign-in/forgotten/", sign_in.ForgottenView.as_view(), name="password-forgotten"),
    path("sign-in/<uuid:person>/<slug:secret>/", sign_in.NewPasswordView.as_view(), name="new-password"),
    path("sign-out/", sign_in.SignOutView.as_view(), name="sign-out"),
    path("account/", account.AccountView.as_view(), name="account"),
    path("account/name/", account.NameView.as_view(), name="account-name"),
    path("account/email/", account.EmailView.as_view(), name="account-email"),
    path("account/email/<str:secret>/", account.EmailConfirmView.as_view(), name="email-confirm"),
    path("account/password/", account.PasswordView.as_view(), name="account-password"),
    path("account/leave/<uuid:membership>/", account.LeaveView.as_view(), name="account-leave"),
    path("account/export/", account.ExportView.as_view(), name="account-export"),
    path("account/erase/", account.EraseView.as_view(), name="account-erase"),
    path("account/tokens/", account.TokenNewView.as_view(), name="token-new"),
    path("account/tokens/<uuid:token>/withdraw/", account.TokenRevokeView.as_view(), name="token-revoke"),
    path("groups/<uuid:group>/invite/", invitations.GroupInviteView.as_view(), name="group-invite"),
    path("networks/<slug:slug>/invite/", invitations.NetworkInviteView.as_view(), name="network-invite"),
    path("invitations/<uuid:invitation>/withdraw/", invitations.WithdrawView.as_view(), name="invitation-withdraw"),
    path("invitation/<slug:secret>/", invitations.InvitationView.as_view(), name="invitation"),
]
