"""The pages of inspections."""

from django.urls import include, path

from inspections.views import (
    correcting,
    importing,
    instruments,
    labfiles,
    logging,
    mappings,
    reconciling,
    shipments,
    tracing,
)

urlpatterns = [
    path("tests/new/", logging.log_test, name="log_test"),
    path("tests/<uuid:pk>/", logging.test_result, name="test_result"),
    path("tests/<uuid:pk>/correct/", correcting.correct_test, name="correct_test"),
    path("instruments/", instruments.instruments, name="instruments"),
    path("instruments/new/", instruments.add, name="instrument_add"),
    path("instruments/<int:pk>/", instruments.instrument, name="instrument"),
    path("instruments/<int:pk>/calibration/", instruments.calibrate, name="instrument_calibrate"),
    path("instruments/calibrations/<uuid:pk>/withdraw/", instruments.withdraw, name="instrument_withdraw"),
    path("instruments/<int:pk>/trace/", tracing.page, name="instrument_trace"),
    path("instruments/<int:pk>/trace.csv", tracing.csv, name="instrument_trace_csv"),
    path("instruments/<int:pk>/trace.pdf", tracing.pdf, name="instrument_trace_pdf"),
    path("import/tests/", importing.import_tests, name="import_tests"),
    path("lab-files/", labfiles.lab_files, name="lab_files"),
    path("lab-files/check/", labfiles.lab_file, name="lab_file"),
    path("lab-files/mappings/new/", mappings.new, name="lab_mapping_new"),
    path("lab-files/mappings/<int:pk>/", mappings.shown, name="lab_mapping"),
    path("shipments/", shipments.shipments, name="shipments"),
    path("shipments/<str:number>/", shipments.shipment, name="shipment"),
    path("shipments/<str:number>/slip.pdf", shipments.slip, name="shipment_slip"),
    path("shipments/<str:number>/rows/<int:pk>/", reconciling.amend, name="shipment_row"),
    path("api/v1/", include("inspections.api.urls")),
]
