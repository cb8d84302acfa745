"""The tool room's page: what there is to do, for those who may do it."""

import pytest
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db


def page_for(person):
    client = Client()
    client.force_login(person)
    return client.get(reverse("tool_room"))


def test_the_clerk_finds_every_page_that_the_clerk_may_open(cast):
    page = page_for(cast.orla).content.decode()
    for name in ("log_test", "receive"):
        assert f'href="{reverse(name)}"' in page


def test_nobody_is_offered_a_page_that_stays_closed(cast):
    page = page_for(cast.halvard).content.decode()
    assert "Tool room" in page
    assert f'href="{reverse("receive")}"' not in page


def test_a_worker_has_no_business_there(cast):
    assert page_for(cast.dev).status_code == 403
