"""The pages of inspections."""

from django.urls import include, path

urlpatterns = [
    path("api/v1/", include("inspections.api.urls")),
]
