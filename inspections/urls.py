"""The pages of inspections."""

from django.urls import include, path

from inspections.views import correcting, importing, logging

urlpatterns = [
    path("tests/new/", logging.log_test, name="log_test"),
    path("tests/<uuid:pk>/", logging.test_result, name="test_result"),
    path("tests/<uuid:pk>/correct/", correcting.correct_test, name="correct_test"),
    path("import/tests/", importing.import_tests, name="import_tests"),
    path("api/v1/", include("inspections.api.urls")),
]
