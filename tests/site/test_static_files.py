"""Static files: by plain names in a fresh clone, by names that carry their content after collectstatic."""

import re

import pytest
from django.contrib.staticfiles.storage import StaticFilesStorage
from django.core.management import call_command
from django.test import override_settings

from gear.site.static_files import HashedFiles


@pytest.fixture(scope="module")
def collected(tmp_path_factory):
    folder = tmp_path_factory.mktemp("static")
    with override_settings(STATIC_ROOT=folder):
        call_command("collectstatic", interactive=False, verbosity=0)
        return HashedFiles(location=folder)


def test_a_fresh_clone_serves_plain_names(tmp_path):
    assert HashedFiles(location=tmp_path).url("gear/site.css") == "/static/gear/site.css"


def test_after_collectstatic_a_name_carries_its_content(collected):
    address = collected.url("gear/site.css")
    assert re.fullmatch(r"/static/gear/site\.[0-9a-f]{12}\.css", address)
    assert StaticFilesStorage(location=collected.location).exists(address.removeprefix("/static/"))


def test_a_file_that_came_later_goes_by_its_plain_name(collected):
    assert collected.url("gear/came-later.css") == "/static/gear/came-later.css"


def test_the_style_sheet_is_a_few_kilobytes(collected):
    packed = StaticFilesStorage(location=collected.location).size(
        collected.url("gear/site.css").removeprefix("/static/") + ".gz"
    )
    assert packed < 6 * 1024


@pytest.mark.django_db
def test_a_page_is_named_after_the_service_and_not_after_the_host(client):
    assert "<title>Sign in · Gear Book</title>" in client.get("/login/").content.decode()
