"""The pages of inspections."""

from django.urls import include, path

from inspections.field import bundle as field_bundle
from inspections.field import callers, shell, sync
from inspections.views import (
    bench_page,
    bench_posting,
    bench_sessions,
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
    path("bench/", bench_sessions.bench_sessions, name="bench_sessions"),
    path("bench/<str:session_no>/", bench_page.bench_session, name="bench_session"),
    path("bench/<str:session_no>/details/", bench_sessions.bench_details, name="bench_details"),
    path("bench/<str:session_no>/scan/", bench_page.bench_scan, name="bench_scan"),
    path("bench/<str:session_no>/rows/", bench_page.bench_rows, name="bench_rows"),
    path("bench/<str:session_no>/rows/<uuid:pk>/", bench_page.bench_row, name="bench_row"),
    path("bench/<str:session_no>/confirm/", bench_page.bench_confirm, name="bench_confirm"),
    path("bench/<str:session_no>/post/", bench_posting.bench_post, name="bench_post"),
    path("import/tests/", importing.import_tests, name="import_tests"),
    path("lab-files/", labfiles.lab_files, name="lab_files"),
    path("lab-files/check/", labfiles.lab_file, name="lab_file"),
    path("lab-files/mappings/new/", mappings.new, name="lab_mapping_new"),
    path("lab-files/mappings/<int:pk>/", mappings.shown, name="lab_mapping"),
    path("shipments/", shipments.shipments, name="shipments"),
    path("shipments/<str:number>/", shipments.shipment, name="shipment"),
    path("shipments/<str:number>/slip.pdf", shipments.slip, name="shipment_slip"),
    path("shipments/<str:number>/rows/<int:pk>/", reconciling.amend, name="shipment_row"),
    # The phone client
    path("truck/", shell.shell, name="field"),
    path("sw.js", shell.worker, name="field_worker"),
    path("truck/app.webmanifest", shell.manifest, name="field_manifest"),
    path("truck/bundle/", field_bundle.bundle, name="field_bundle"),
    path("truck/answer/<path:code>/", field_bundle.live_answer, name="field_answer"),
    path("truck/sync/", sync.sync, name="field_sync"),
    path("truck/enrol/", callers.enrol, name="field_enrol"),
    path("api/v1/", include("inspections.api.urls")),
]
