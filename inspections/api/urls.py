"""Addresses of inspections below /api/v1/."""

from django.urls import path

from inspections.api import tests

urlpatterns = [path("tests/", tests.Tests.as_view(), name="api_tests")]
