"""Every act has a page: who may open it, what it asks, what it records once, and how it refuses."""

from datetime import timedelta
from uuid import uuid4

import pytest

from gear import queries
from gear.models import Entry, Refusal
from gear.permissions import ACTS
from gear.views.verbs import VERBS
from tests import builders
from tests.gear.act_forms import address, condition, kinds, send, told

pytestmark = pytest.mark.django_db
ROLES = {"dev": "worker", "bertrand": "foreman", "orla": "clerk", "ines": "supervisor"}
CLOSED = ("halvard", "pim")  # the auditor and the administrator do nothing to gear
RIGHTS = {"form_set": "mate"}
DENIED = [
    (name, verb)
    for name in (*ROLES, *CLOSED)
    for verb in VERBS
    if ROLES.get(name) not in ACTS[RIGHTS.get(verb, verb)]
]


@pytest.fixture
def good():
    """A blanket in date on a shelf."""
    blanket = builders.blanket("B-1")
    builders.tested(blanket, on=builders.today() - timedelta(days=30))
    return blanket


# Who may


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("name", [*ROLES, *CLOSED])
def test_a_page_opens_for_the_roles_of_its_act_alone(client, cast, verb, name):
    item = builders.jumper() if verb == "form_set" else builders.glove()
    client.force_login(getattr(cast, name))
    denied = (name, verb) in DENIED
    assert client.get(address(item, verb)).status_code == (403 if denied else 200)


@pytest.mark.parametrize(("name", "verb"), DENIED)
def test_what_a_role_may_not_do_is_refused_and_kept(client, cast, name, verb):
    item = builders.glove()
    client.force_login(getattr(cast, name))
    response = send(client, item, verb, reason="told to", note="x", text="x")
    assert response.status_code == 403
    assert kinds(item) == ["received"]
    assert Refusal.objects.filter(by=getattr(cast, name)).count() == 1


def test_nobody_acts_without_signing_in(client, good):
    response = send(client, good, "hold", reason="x")
    assert response.status_code == 302
    assert response["Location"].startswith("/login/")
    assert "held" not in kinds(good)


@pytest.mark.parametrize("path", ["/items/NOPE/do/hold/", "/items/B-1/do/bless/", "/items/B-1/do/anoint/"])
def test_no_such_item_or_act_is_no_page(client, cast, good, path):
    client.force_login(cast.orla)
    assert client.get(path).status_code == client.post(path).status_code == 404


# What it shows


def test_the_page_shows_the_item_its_answer_and_what_will_happen(client, cast, good):
    client.force_login(cast.dev)
    page = client.get(address(good, "hold")).content.decode()
    assert "B-1" in page
    assert "Blanket, class 2" in page
    assert "GOOD THROUGH" in page
    assert "Only a supervisor, and not the one who held it, can release it." in page


@pytest.mark.parametrize(
    ("verb", "name", "sentence"),
    [
        ("hold", "dev", "This item was destroyed."),
        ("move", "dev", "This item was destroyed."),
        ("destroy", "orla", "This item was destroyed."),
        ("release", "ines", "There is no such hold"),
    ],
)
def test_what_cannot_even_be_tried_is_told_without_a_form(client, cast, good, verb, name, sentence):
    builders.happened(good, "destroyed", reason="cut up", witness="ines")
    client.force_login(getattr(cast, name))
    page = client.get(address(good, verb)).content.decode()
    assert sentence in page
    assert 'name="id"' not in page


def test_the_item_page_offers_what_role_and_condition_allow(client, cast, good):
    def offered(name):
        client.force_login(getattr(cast, name))
        page = client.get("/items/B-1/").content.decode()
        return {verb for verb in VERBS if address(good, verb) in page}

    worker = {"inspect_before_use", "hold", "reject", "report_event", "report_lost", "move", "note"}
    assert offered("dev") == worker
    clerk = {"issue", "mark_needs_cleaning", "send_for_test", "send_for_repair", "relabel"}
    assert offered("orla") == worker | clerk
    builders.happened(good, "held", reason="smell", by=cast.dev)
    assert offered("ines") == worker - {"move"} | {"release", "keep_evidence"}
    assert offered("halvard") == set()
    builders.happened(good, "rejected", reason="cut")
    assert "destroy" in offered("orla")


def test_sets_are_offered_to_what_can_form_them(client, cast):
    glove, jumper = builders.glove("G-1"), builders.jumper("J-1")
    client.force_login(cast.orla)
    assert address(glove, "mate") in client.get("/items/G-1/").content.decode()
    assert address(glove, "form_set") not in client.get("/items/G-1/").content.decode()
    assert address(jumper, "form_set") in client.get("/items/J-1/").content.decode()
    assert address(jumper, "mate") not in client.get("/items/J-1/").content.decode()


# What it records


@pytest.mark.parametrize(
    ("name", "verb", "fields", "kind", "after"),
    [
        ("dev", "hold", {"reason": "odd smell"}, "held", "held"),
        ("dev", "reject", {"reason": "cut at the edge"}, "rejected", "rejected"),
        ("dev", "report_lost", {"reason": "fell in the river"}, "lost", "lost"),
        ("dev", "report_event", {"event": "flash_or_contact", "note": "pole 14"}, "event", "ok"),
        ("dev", "inspect_before_use", {"outcome": "accept"}, "inspected", "ok"),
        ("dev", "inspect_before_use", {"outcome": "clean", "words": ["mud"]}, "inspected", "needs_cleaning"),
        (
            "dev",
            "inspect_before_use",
            {"outcome": "reject", "words": ["cut", "mud"]},
            "inspected",
            "rejected",
        ),
        ("dev", "note", {"text": "eyelet bent"}, "noted", "ok"),
        ("orla", "mark_needs_cleaning", {"reason": "oil"}, "needs_cleaning", "needs_cleaning"),
        ("orla", "send_for_test", {"reason": "due"}, "sent_for_test", "out_for_test"),
        ("orla", "send_for_repair", {"reason": "nick"}, "sent_for_repair", "out_for_repair"),
        ("orla", "relabel", {"reason": "washed off"}, "labelled", "ok"),
    ],
)
def test_an_act_is_recorded_and_the_new_answer_told(client, cast, good, name, verb, fields, kind, after):
    client.force_login(getattr(cast, name))
    response = send(client, good, verb, **fields)
    assert (response.status_code, response["Location"]) == (302, "/items/B-1/")
    entry = good.entry_set.latest("position")
    assert (entry.kind, entry.by, entry.via) == (kind, getattr(cast, name), "web")
    assert condition(good) == after
    answer = queries.answer("B-1", queries.question())
    verdict = "GOOD THROUGH" if answer.verdict == "good" else "STOP. DO NOT USE"
    assert f"B-1: {verdict}" in told(response)[0]


def test_the_id_of_the_form_is_the_id_of_the_entry_and_sending_twice_records_once(client, cast, good):
    client.force_login(cast.dev)
    form = {"id": str(uuid4()), "reason": "odd smell"}
    first = client.post(address(good, "hold"), form)
    again = client.post(address(good, "hold"), form)
    assert first.status_code == again.status_code == 302
    assert [str(entry.pk) for entry in Entry.objects.filter(kind="held")] == [form["id"]]
    assert "recorded before, once" in told(again)[-1]
    assert not Refusal.objects.exists()


def _release(cast, item):
    hold = builders.happened(item, "held", reason="smell", by=cast.dev)
    return cast.ines, {"hold": str(hold.pk), "reason": "looked at it"}


def _found(cast, item):
    builders.happened(item, "lost", reason="gone")
    return cast.dev, {"note": "behind the seat"}


def _destroyed(cast, item):
    builders.happened(item, "rejected", reason="cut")
    secret = "ines keeps a secret"
    return cast.orla, {"witness": cast.ines.pk, "secret": secret, "reason": "cut up", "confirmed": "on"}


def _cleaned(cast, item):
    builders.happened(item, "needs_cleaning", reason="mud")
    return cast.orla, {"note": "washed"}


def _moved(cast, item):
    return cast.bertrand, {"to": builders.holder("truck", "T-12").pk}


def _issued(cast, item):
    return cast.orla, {"to": builders.holder("person", "Dev").pk}


@pytest.mark.parametrize(
    ("verb", "prepare", "kind"),
    [
        ("release", _release, "released"),
        ("report_found", _found, "found"),
        ("destroy", _destroyed, "destroyed"),
        ("mark_cleaned", _cleaned, "inspected"),
        ("move", _moved, "moved"),
        ("issue", _issued, "issued"),
    ],
)
def test_an_act_that_could_not_be_done_twice_is_still_done_once(client, cast, good, verb, prepare, kind):
    by, fields = prepare(cast, good)
    client.force_login(by)
    form = {"id": str(uuid4()), **fields}
    assert [client.post(address(good, verb), form).status_code for _time in range(2)] == [302, 302]
    assert kinds(good).count(kind) == 1
    assert str(good.entry_set.get(kind=kind).pk) == form["id"]
    assert not Refusal.objects.exists()


def test_a_form_sent_again_with_other_content_is_not_taken_for_the_same(client, cast, good):
    client.force_login(cast.dev)
    form = {"id": str(uuid4()), "text": "eyelet bent"}
    client.post(address(good, "note"), form)
    response = client.post(address(good, "note"), {**form, "text": "eyelet gone"})
    assert response.status_code == 422
    assert "sent before with other content" in response.content.decode()
    assert form["id"] not in response.content.decode()  # sent again now, it would be another note
    assert kinds(good).count("noted") == 1


def test_nobody_takes_over_the_form_of_another(client, cast, good):
    form = {"id": str(uuid4()), "text": "eyelet bent"}
    for person, status in ((cast.dev, 302), (cast.marisol, 422)):
        client.force_login(person)
        assert client.post(address(good, "note"), form).status_code == status
    assert good.entry_set.get(kind="noted").by == cast.dev


@pytest.mark.parametrize("given", ["", "7", "not-an-id"])
def test_a_form_without_its_id_records_nothing(client, cast, good, given):
    client.force_login(cast.dev)
    assert client.post(address(good, "hold"), {"id": given, "reason": "x"}).status_code == 422
    assert kinds(good) == ["received", "tested"]


# When it happened


def test_what_happened_on_another_day_is_recorded_on_that_day(client, cast, good):
    client.force_login(cast.dev)
    yesterday = builders.today() - timedelta(days=1)
    send(client, good, "report_event", event="dropped", happened_on=yesterday.isoformat())
    entry = good.entry_set.get(kind="event")
    assert (entry.occurred_on, entry.precision) == (yesterday, "day")


def test_today_is_now_so_that_what_follows_today_follows(client, cast, good):
    client.force_login(cast.dev)
    send(client, good, "hold", reason="smell", happened_on=builders.today().isoformat())
    hold = good.entry_set.get(kind="held")
    assert hold.precision == "moment"
    client.force_login(cast.ines)
    send(client, good, "release", hold=str(hold.pk), reason="aired")
    assert condition(good) == "ok"


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2999-01-01", "When did it happen? is not a date"),
        ("tomorrow", "When did it happen? is not a date like 2026-09-14: tomorrow."),
        ("2026-02-30", "is not a date"),
        ("٢٠٢٦-٠٩-١٤", "is not a date"),
        ("1026-09-14", "is not a date"),
    ],
)
def test_a_day_that_cannot_be_is_told_beside_the_field(client, cast, good, day, sentence):
    client.force_login(cast.dev)
    response = send(client, good, "hold", reason="smell", happened_on=day)
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert kinds(good) == ["received", "tested"]


def test_a_day_that_lies_ahead_is_refused(client, cast, good):
    client.force_login(cast.dev)
    tomorrow = builders.today() + timedelta(days=1)
    response = send(client, good, "hold", reason="smell", happened_on=tomorrow.isoformat())
    assert response.status_code == 422
    assert f"lies in the future: {tomorrow}" in response.content.decode()


def test_who_reports_an_event_with_a_wrong_year_is_told_that_it_changed_nothing(client, cast, good):
    client.force_login(cast.dev)
    response = send(client, good, "report_event", event="dropped", happened_on="2024-06-01")
    assert "lies before its last accepted test. Was the day right?" in told(response)[0]
