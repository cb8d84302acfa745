"""Every address of the service. Pages of an app are listed in the app's own urls module."""

from importlib.util import find_spec

from django.contrib import admin
from django.contrib.auth.models import Group
from django.contrib.auth.views import LogoutView
from django.urls import include, path
from django.views.generic import RedirectView

from gear.site import probes
from gear.site.sign_in import SignIn

handler400 = "gear.site.errors.bad_request"
handler403 = "gear.site.errors.forbidden"
handler404 = "gear.site.errors.not_found"
handler500 = "gear.site.errors.server_error"

admin.site.unregister(Group)  # rights come from the role alone, and every table there is for looking only

urlpatterns = [
    path("healthz", probes.healthz, name="healthz"),
    path("readyz", probes.readyz, name="readyz"),
    path("login/", SignIn.as_view(), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    # One door: the admin site's own sign-in page would let guesses past the throttle.
    path("admin/login/", RedirectView.as_view(pattern_name="login", query_string=True), name="admin_login"),
    path("admin/", admin.site.urls),
]
for app in ("gear", "inspections", "reports"):
    if find_spec(f"{app}.urls"):
        urlpatterns.append(path("", include(f"{app}.urls")))
