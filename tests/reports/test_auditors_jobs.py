"""Halvard does his ten jobs by himself: each page opens for him, and nothing that he does leaves a trace."""

import pytest
from django.apps import apps
from django.urls import reverse
from django.utils import timezone

from gear.models.evidence import AppendOnly, Refusal
from gear.site import gate
from inspections.models import Instrument
from tests import builders

pytestmark = pytest.mark.django_db

# job: (name of its page, what it is asked)
JOBS = {
    "the record of a piece as of a minute": ("record_of", {"item": "G-1", "at": "2026-09-14T05:30"}),
    "a sample with its start number": (
        "audit_sample",
        {"start": "40711", "percent": "3", "confidence": "95"},
    ),
    "trace back from a failed test": ("trace_back", {"item": "G-1"}),
    "trace forward from a bad instrument": ("instrument_trace", {"found_on": "2026-09-14"}),
    "corrections": ("corrections_log", {}),
    "who changed a rule and when": ("rule_changes", {}),
    "exceptions": ("exceptions", {}),
    "what was lost": ("lost_register", {}),
    "what was destroyed before whom": ("rejects", {}),
    "everything, with checksums": ("exports", {}),
}
HERE = {job: asked for job, asked in JOBS.items() if gate.methods_of(asked[0])}


def test_most_of_the_ten_have_a_page():
    assert len(HERE) >= 7


@pytest.fixture
def failed(cast, fleet):
    glove = builders.glove("G-1")
    builders.tested(glove, on=fleet.monday.replace(month=3))
    builders.tested(glove, outcome="failed")
    builders.happened(glove, "lost", reason="gone")
    return glove


@pytest.mark.parametrize("job", HERE)
def test_he_does_it_alone_and_leaves_no_trace(client, cast, failed, job):
    name, asked = HERE[job]
    meter = Instrument.objects.create(name="M-2", kind="meter")
    address = reverse(name, args=[meter.pk] if name == "instrument_trace" else [])
    evidence = [model for model in apps.get_models() if issubclass(model, AppendOnly)]
    before = {model: model.objects.count() for model in evidence}
    client.force_login(cast.halvard)
    answer = client.get(
        address, {**asked, **({"at": timezone.now().isoformat()} if "start" in asked else {})}
    )
    assert answer.status_code == 200, answer.content.decode()[:2000]
    assert {model: model.objects.count() for model in evidence} == before
    assert client.post(address, {}).status_code in (403, 405)
    after = {model: model.objects.count() for model in evidence}
    assert {model for model in evidence if after[model] != before[model]} <= {
        Refusal
    }  # that he tried is kept
