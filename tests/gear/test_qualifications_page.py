"""Who may accept by eye: run out first, entered by a supervisor or an administrator, read by the auditor."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gear.actions.acting import Act
from gear.actions.qualifications import qualify
from gear.models import Qualification
from tests import builders
from tests.gear.policy_pages import signed_in

pytestmark = pytest.mark.django_db
LIST, ADD = "/people/qualifications/", "/people/qualifications/new/"


def enter(person, cast, *, first=-100, last=100):
    today = builders.today()
    return qualify(
        person,
        from_on=today + timedelta(days=first),
        until_on=today + timedelta(days=last),
        reason="two-day course",
        act=Act(cast.pim),
    )


def form(whom, **more):
    return {
        "person": whom.pk,
        "from_on": "2026-01-05",
        "until_on": "2027-01-04",
        "reason": "course",
        **more,
    }


def test_who_has_run_out_stands_first_and_the_newest_counts(cast):
    enter(cast.marisol, cast, last=-1)
    enter(cast.marisol, cast)
    enter(cast.dev, cast, last=-1)
    enter(cast.orla, cast, last=10)
    enter(cast.bertrand, cast, first=5)
    page = signed_in(cast.halvard).get(LIST).content.decode()
    names = [page.index(f'<th scope="row">{name}') for name in ("dev", "bertrand", "orla", "marisol")]
    assert names == sorted(names)
    for words in ("run out", "not yet begun", "10 days left", "valid", "two-day course", "pim"):
        assert words in page, words
    assert page.count('<th scope="row">') == 4


@pytest.mark.parametrize("name", ["ines", "pim"])
def test_supervisor_and_administrator_enter_one(cast, name):
    client = signed_in(getattr(cast, name))
    assert "Enter a qualification" in client.get(LIST).content.decode()
    answer = client.post(ADD, form(cast.orla))
    assert (answer.status_code, answer.url) == (302, LIST)
    row = Qualification.objects.get()
    assert (row.person, row.from_on.isoformat(), row.until_on.isoformat()) == (
        cast.orla,
        "2026-01-05",
        "2027-01-04",
    )
    assert "may accept by eye" in client.get(f"/people/{cast.orla.pk}/").content.decode()


@pytest.mark.parametrize("name", ["halvard", "orla"])
def test_others_read_the_list_alone(cast, name):
    client = signed_in(getattr(cast, name))
    assert "Enter a qualification" not in client.get(LIST).content.decode()
    assert client.post(ADD, form(cast.dev)).status_code == 403
    assert not Qualification.objects.exists()


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"until_on": "2026-01-04"}, "lies before the first"),
        ({"until_on": "2036-01-04"}, "5 years at most"),
        ({"until_on": "next year"}, "next year"),
        ({"reason": ""}, "This field is required"),
        ({"person": ""}, "This field is required"),
    ],
)
def test_what_cannot_be_stands_beside_its_field(cast, more, sentence):
    answer = signed_in(cast.ines).post(ADD, form(cast.orla, **more))
    assert sentence in answer.content.decode()
    assert not Qualification.objects.exists()


def test_nobody_is_offered_themselves(cast):
    page = signed_in(cast.ines).get(ADD).content.decode()
    assert f'<option value="{cast.orla.pk}"' in page
    assert f'<option value="{cast.ines.pk}"' not in page


def test_a_supervisor_of_one_depot_sees_and_qualifies_its_people_alone(cast):
    cast.ines.depot = cast.depot
    cast.ines.save()
    stranger = builders.person("clerk", "runa", depot=builders.depot("Upper Clay"))
    enter(stranger, cast)
    client = signed_in(cast.ines)
    assert "runa" not in client.get(LIST).content.decode()
    client.post(ADD, form(stranger))
    assert Qualification.objects.count() == 1


def test_the_list_takes_as_many_queries_for_one_as_for_many(cast):
    client = signed_in(cast.halvard)
    enter(cast.dev, cast)
    client.get(LIST)
    with CaptureQueriesContext(connection) as one:
        client.get(LIST)
    for name in ("orla", "marisol", "bertrand"):
        enter(getattr(cast, name), cast)
    with CaptureQueriesContext(connection) as many:
        client.get(LIST)
    assert len(many) == len(one)
