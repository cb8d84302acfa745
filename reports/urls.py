"""Addresses of what people read."""

from django.urls import include, path

from reports.views import (
    audit_results,
    audits,
    certificates,
    changeout,
    loadsheet,
    overdue,
    particulars,
    recipients,
    roster,
    weekly,
)

urlpatterns = [
    path("reports/overdue/", overdue.page, name="overdue_report"),
    path("reports/overdue.pdf", overdue.pdf, name="overdue_report_pdf"),
    path("reports/overdue.csv", overdue.csv, name="overdue_report_csv"),
    path("reports/overdue.xlsx", overdue.xlsx, name="overdue_report_xlsx"),
    path("reports/overdue.json", overdue.json, name="overdue_report_json"),
    path("reports/weekly/", weekly.page, name="weekly_reports"),
    path("reports/weekly/<uuid:pk>.pdf", weekly.file, {"kind": "pdf"}, name="weekly_report_pdf"),
    path("reports/weekly/<uuid:pk>.csv", weekly.file, {"kind": "csv"}, name="weekly_report_csv"),
    path("reports/weekly/<uuid:pk>.txt", weekly.file, {"kind": "txt"}, name="weekly_report_text"),
    path("site/mail/", recipients.Recipients.as_view(), name="mail_recipients"),
    path("certificates/", certificates.page, name="certificates"),
    path("certificates/batch.pdf", certificates.batch, name="certificates_pdf"),
    path("certificates/check/", certificates.check, name="certificate_check"),
    path("certificates/check/program", certificates.program, name="certificate_program"),
    path("certificates/<uuid:pk>.pdf", certificates.certificate, name="certificate"),
    path("reports/change-out/", changeout.page, name="change_out"),
    path("reports/change-out.pdf", changeout.pdf, name="change_out_pdf"),
    path("reports/roster/", roster.page, name="roster"),
    path("reports/roster.csv", roster.csv, name="roster_csv"),
    path("trucks/<int:pk>/load-sheet.pdf", loadsheet.sheet, name="load_sheet"),
    path("trucks/<int:pk>/fallback-pack.pdf", loadsheet.pack, name="fallback_pack_truck"),
    path("fallback-packs/", loadsheet.packs, name="fallback_packs"),
    path("data-quality/", particulars.page, name="data_quality"),
    path("data-quality.csv", particulars.csv, name="data_quality_csv"),
    path("audit/sample/", audits.page, name="audit_sample"),
    path("audit/sample.pdf", audits.pdf, name="audit_sample_pdf"),
    path("audit/sample.csv", audits.csv, name="audit_sample_csv"),
    path("audit/samples/", audit_results.samples, name="audit_samples"),
    path("audit/samples/<uuid:pk>/", audit_results.sample, name="audit_results"),
    path("api/v1/", include("reports.api.urls")),
]
