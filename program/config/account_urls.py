"""The addresses of one's own account: of the library's pages those that people need, and no others."""

from allauth.account import views as account
from allauth.mfa.base import views as second_step
from allauth.mfa.recovery_codes import views as recovery
from django.urls import path, re_path

from program.pages import my_sign_in

urlpatterns = [
    path("", my_sign_in.home, name="account_home"),
    path("login/", account.login, name="account_login"),
    path("login/second-step/", my_sign_in.second_step, name="mfa_authenticate"),
    path("logout/", account.logout, name="account_logout"),
    path("closed/", account.account_inactive, name="account_inactive"),
    path("once-more/", account.reauthenticate, name="account_reauthenticate"),
    path("once-more/code/", second_step.reauthenticate, name="mfa_reauthenticate"),
    path("password/change/", my_sign_in.change_password, name="account_change_password"),
    # Named by the library for people without a password, of whom none is signed in.
    path("password/set/", my_sign_in.not_here, name="account_set_password"),
    path("password/reset/", account.password_reset, name="account_reset_password"),
    path("password/reset/done/", account.password_reset_done, name="account_reset_password_done"),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        my_sign_in.new_password_by_mail,
        name="account_reset_password_from_key",
    ),
    path(
        "password/reset/key/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    path("second-step/", second_step.index, name="mfa_index"),
    path("second-step/app/", my_sign_in.set_up, name="mfa_activate_totp"),
    path("second-step/app/remove/", my_sign_in.remove, name="mfa_deactivate_totp"),
    path("second-step/recovery-codes/", recovery.view_recovery_codes, name="mfa_view_recovery_codes"),
    path("second-step/recovery-codes/new/", my_sign_in.new_codes, name="mfa_generate_recovery_codes"),
    path("sessions/", my_sign_in.sessions, name="usersessions_list"),
]
