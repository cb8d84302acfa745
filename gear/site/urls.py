"""Every address of the service. Pages of an app are listed in the app's own urls module."""

from importlib.util import find_spec

from django.contrib import admin
from django.urls import include, path

urlpatterns = [path("admin/", admin.site.urls)]
for app in ("gear", "inspections", "reports"):
    if find_spec(f"{app}.urls"):
        urlpatterns.append(path("", include(f"{app}.urls")))
