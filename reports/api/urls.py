"""Addresses of reports below /api/v1/."""

from django.urls import path

from reports.api import overdue

urlpatterns = [path("reports/overdue/", overdue.Overdue.as_view(), name="api_overdue")]
