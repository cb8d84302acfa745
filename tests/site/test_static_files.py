"""Static files: by plain names in a fresh clone, by names that carry their content after collectstatic."""

import re

import pytest
from django.contrib.staticfiles.storage import StaticFilesStorage
from django.test import override_settings

from gear.site.static_files import HashedFiles


@pytest.fixture
def hashed(collected):
    with override_settings(STATIC_ROOT=collected):
        return HashedFiles(location=collected)


def test_a_fresh_clone_serves_plain_names(tmp_path):
    assert HashedFiles(location=tmp_path).url("gear/site.css") == "/static/gear/site.css"


def test_after_collectstatic_a_name_carries_its_content(hashed):
    address = hashed.url("gear/site.css")
    assert re.fullmatch(r"/static/gear/site\.[0-9a-f]{12}\.css", address)
    assert StaticFilesStorage(location=hashed.location).exists(address.removeprefix("/static/"))


def test_a_file_that_came_later_goes_by_its_plain_name(hashed):
    assert hashed.url("gear/came-later.css") == "/static/gear/came-later.css"


def test_the_style_sheet_is_a_few_kilobytes(hashed):
    packed = StaticFilesStorage(location=hashed.location).size(
        hashed.url("gear/site.css").removeprefix("/static/") + ".gz"
    )
    assert packed < 6 * 1024


@pytest.mark.django_db
def test_a_page_is_named_after_the_service_and_not_after_the_host(client):
    assert "<title>Sign in · Gear Book</title>" in client.get("/login/").content.decode()
