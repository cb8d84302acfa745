"""The pages of inspections."""

from django.urls import include, path

from inspections.views import importing

urlpatterns = [
    path("import/tests/", importing.import_tests, name="import_tests"),
    path("api/v1/", include("inspections.api.urls")),
]
