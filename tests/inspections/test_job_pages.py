"""The pages of the job check and of trucks, without a browser."""

from copy import copy
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from inspections.models import JobCheck, TruckRecord
from tests import builders
from tests.inspections.job_crew import ahead, ready_crew
from tests.lasting import cast  # noqa: F401

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def ready(cast):
    return ready_crew(cast)


@pytest.fixture
def crew(ready, client):
    made = copy(ready)
    client.force_login(made.bertrand)
    made.client = client
    made.address = f"{reverse('job')}?truck={made.truck.pk}"
    return made


def typed(crew, **more):
    """The form as a foreman fills it in."""
    usual = {
        "id": str(uuid4()),
        "kv": "12.47",
        "exposure": "multiphase",
        "method": "gloves",
        "sites": "1",
        "grounding": "single",
        "fault_ka": "9",
        "x_over_r": "1.5",
        "primary_cycles": "6",
        "backup_cycles": "10",
        "back_by": str(ahead(6)),
        f"goes_{crew.dev.pk}": "on",
        f"size_{crew.dev.pk}": "10",
    }
    return {name: value for name, value in {**usual, **more}.items() if value is not None}


def text_of(answer):
    return " ".join(answer.content.decode().split())


def test_a_foreman_finds_the_truck_of_his_crew_and_its_people_in_the_form(crew):
    assert f'href="?truck={crew.truck.pk}">T-12' in text_of(crew.client.get(reverse("job")))
    page = text_of(crew.client.get(crew.address))
    assert f'name="goes_{crew.dev.pk}"' in page
    assert f'name="size_{crew.dev.pk}" value="10"' in page
    assert "B-1, Blanket, class 4" in page
    assert "needs the network" in text_of(crew.client.get(reverse("job")))


def test_a_job_is_checked_kept_and_shown(crew):
    answer = crew.client.post(crew.address, typed(crew), follow=True)
    row = JobCheck.objects.get()
    assert answer.redirect_chain == [(reverse("job_check", args=[row.pk]), 302)]
    page = text_of(answer)
    assert "GOOD THROUGH" in page
    assert "In date and rated for what was entered. The qualified person decides." in page
    assert "Confirm against your own copy of the standard." in page
    assert "approach" not in page.casefold()
    assert "safe" not in page.casefold()


def test_phase_to_ground_prints_its_condition(crew):
    answer = crew.client.post(crew.address, typed(crew, kv="24.9", exposure="to_ground"), follow=True)
    page = text_of(answer)
    assert "14.4 kV to ground counts for rubber goods ONLY IF there is no multiphase exposure" in page
    assert JobCheck.objects.get().verdict == "good"


@pytest.mark.parametrize(
    "blank", ["kv", "exposure", "method", "sites", "fault_ka", "backup_cycles", "back_by"]
)
def test_what_is_left_empty_is_said_and_never_assumed(crew, blank):
    page = text_of(crew.client.post(crew.address, typed(crew, **{blank: ""}), follow=True))
    assert JobCheck.objects.get().verdict == "unknown"
    assert "CAN'T SAY. DO NOT USE" in page
    assert "Not entered: " in page


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("kv", "12470", "12470 is more than 800 kV. Look at the unit."),
        ("kv", "0", "0 is no value."),
        ("kv", "12,47", "is not a plain number"),
        ("kv", "-12", "negative"),
        ("kv", "nan", "is not a plain number"),
        ("kv", "1e1", "is not a plain number"),
        ("fault_ka", "13200", "13200 is more than 200 kA. Look at the unit."),
        ("primary_cycles", "6.5", "is not a whole number"),
        ("backup_cycles", "601", "601 is more than 600 cycles"),
        ("sites", "21", "21 is more than 20 sites"),
        ("x_over_r", "\u0661\u0662", "is not a plain number"),
        ("exposure", "both", "Select a valid choice"),
        ("back_by", "2026-13-01", "is not a date"),
        ("back_by", str(builders.RECEIVED_ON), "That day is past."),
        ("back_by", "2099-01-01", "Look at the year."),
        ("left_out", "B-404", "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(crew, field, value, sentence):
    answer = crew.client.post(crew.address, typed(crew, **{field: value}))
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert not JobCheck.objects.exists()


def test_nobody_ticked_is_nobody_who_goes(crew):
    crew.client.post(crew.address, typed(crew, **{f"goes_{crew.dev.pk}": None}))
    assert "Nobody was named who goes." in text_of(
        crew.client.get(reverse("job_check", args=[JobCheck.objects.get().pk]))
    )


def test_somebody_of_another_crew_can_go_too(crew):
    guest = builders.holder("person", "Gil")
    guest.crew = builders.crew("Crew 9")
    guest.save()
    crew.client.post(crew.address, typed(crew, more=str(guest.pk), more_size="9,5"))
    assert JobCheck.objects.get().asked["crew"][1] == {"name": "Gil", "size": "9.5", "pk": guest.pk}


def test_the_same_form_sent_twice_is_one_check(crew):
    form = typed(crew)
    answers = [crew.client.post(crew.address, form) for _twice in range(2)]
    assert answers[0].url == answers[1].url
    assert JobCheck.objects.count() == 1
    assert crew.client.post(crew.address, {**form, "kv": "24.9"}).status_code == 422


def test_a_check_can_be_changed_and_made_again(crew):
    crew.client.post(crew.address, typed(crew, kv="24.9", left_out=["B-1"]))
    first = JobCheck.objects.get()
    page = text_of(crew.client.get(f"{crew.address}&like={first.pk}"))
    assert 'name="kv" value="24.9"' in page
    assert 'value="B-1"' in page
    assert "checked" in page.split('value="B-1"')[1][:200]
    assert crew.client.get(f"{crew.address}&like=nothing").status_code == 200


@pytest.mark.parametrize("wrong", ["0", "x", "99999999999", "-1", ""])
def test_a_truck_that_there_is_not_leads_to_the_choice(crew, wrong):
    answer = crew.client.get(f"{reverse('job')}?truck={wrong}")
    assert answer.status_code == (404 if wrong else 200)
    assert "Which truck goes?" in text_of(answer)


# Trucks
def test_the_clerk_enters_what_a_boom_is_and_the_list_shows_it(crew):
    crew.client.force_login(crew.orla)
    address = reverse("boom", args=[crew.truck.pk])
    form = {
        "id": str(uuid4()),
        "insulated": "yes",
        "boom_kv": "46",
        "boom_good_through": str(ahead(-1)),
        "note": "plate",
    }
    assert crew.client.post(address, form).status_code == 302
    newest = TruckRecord.objects.order_by("-at").first()
    assert (newest.boom_rated_v, newest.by, newest.note) == (46_000, crew.orla, "plate")
    page = text_of(crew.client.get(address))
    assert page.count("46 kV") == 2
    assert "out since" in text_of(crew.client.get(reverse("booms")))


def test_a_boom_of_a_truck_that_has_none_is_refused_beside_its_field(crew):
    crew.client.force_login(crew.ines)
    form = {"id": str(uuid4()), "insulated": "no", "boom_kv": "46"}
    answer = crew.client.post(reverse("boom", args=[crew.truck.pk]), form)
    assert answer.status_code == 422
    assert "has no rated boom" in text_of(answer)


def test_a_worker_reads_a_truck_and_enters_nothing(crew):
    address = reverse("boom", args=[crew.truck.pk])
    assert "Keep the record" not in text_of(crew.client.get(address))
    assert crew.client.post(address, {}).status_code == 403


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (None, "nothing on record"),
        ({"insulated": "no"}, "not insulated"),
        ({"insulated": "yes", "boom_kv": "46"}, "not complete"),
        ({"insulated": "yes", "boom_kv": "46", "boom_good_through": str(ahead(5))}, "good through"),
        (
            {"insulated": "yes", "boom_kv": "46", "boom_good_through": str(ahead(5)), "has_liner": "on"},
            "not complete",
        ),
    ],
)
def test_a_truck_is_told_by_its_newest_record(crew, record, words):
    crew.client.force_login(crew.orla)
    spare = builders.holder("truck", "T-30")
    if record:
        crew.client.post(reverse("boom", args=[spare.pk]), {"id": str(uuid4()), **record})
    rows = text_of(crew.client.get(reverse("booms"))).split("<tr>")[1:]
    assert words in next(row for row in rows if "T-30" in row)


def test_the_job_checks_of_a_truck_are_listed_newest_first(crew):
    for kv in ("12.47", "24.9"):
        crew.client.post(crew.address, typed(crew, kv=kv))
    page = text_of(crew.client.get(reverse("boom", args=[crew.truck.pk])))
    verdicts = [page.index("STOP. DO NOT USE"), page.index("GOOD THROUGH")]
    assert verdicts == sorted(verdicts)
    assert JobCheck.objects.latest("at").back_by == builders.today() + timedelta(days=6)
