"""Every route, every method, every role: what the tables say is what a request gets; what no table lists, nobody.

The tables of the acts are compared with fixtures/roles.csv, which states them a second time, written by hand.
"""

import csv
from copy import copy
from pathlib import Path

import pytest
from django.test import Client
from django.urls import URLResolver, get_resolver, reverse
from django.utils import timezone

from gear.actions.acting import Act
from gear.actions.batches import Cause, hold_all
from gear.models import ROLES, Label
from gear.permissions import ACTS, BOUND_TO_DEPOT, can
from gear.site import gate
from inspections.actions.loads import add_class
from inspections.models import Device, Instrument
from inspections.rules.loadlist import SHIPPED
from tests import builders
from tests.inspections.bench_day import day
from tests.lasting import cast  # noqa: F401

pytestmark = [pytest.mark.django_db, pytest.mark.one_database, pytest.mark.usefixtures("no_paper")]
TABLE = Path(__file__).parents[2] / "fixtures" / "roles.csv"
VISITORS = ("anonymous", "deactivated")
CAST = {
    "worker": "dev",
    "foreman": "bertrand",
    "clerk": "orla",
    "supervisor": "ines",
    "auditor": "halvard",
    "administrator": "pim",
}
ASKED = ("GET", "HEAD", "OPTIONS", "POST")
NEVER_ASKED = ("PUT", "PATCH", "DELETE", "TRACE")
CODE = "ABCDEFGHJKX"


def named_routes(resolver=None, before=""):
    """Every name that the resolver knows, with what an address of it needs: {part: "str", "int", "uuid" ...}."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            inner = f"{before}{entry.namespace}:" if entry.namespace else before
            yield from named_routes(entry, inner)
        elif entry.name:
            converters = getattr(entry.pattern, "converters", {})
            yield (
                before + entry.name,
                {part: _kind(converters.get(part)) for part in entry.pattern.regex.groupindex},
            )


def _kind(converter):
    return type(converter).__name__.removesuffix("Converter").lower() if converter else "str"


def address_of(name, examples, *, keys):
    """An address of a route. `keys` are primary keys by the first word of the name of a route that wants a number."""
    values = {}
    for part, kind in ROUTES[name].items():
        if kind == "int":
            values[part] = keys.get(name.partition("_")[0], 1)
            continue
        example = examples.get("uuid" if kind == "uuid" else part)
        assert example, f"{name}: say in this test what an example of <{part}> is."
        values[part] = example
    return reverse(name, kwargs=values)


ROUTES = dict(named_routes())
OWN = sorted(name for name in ROUTES if not name.startswith("admin:"))


@pytest.fixture(scope="module")
def on_file(cast):
    """Something on file for every route: (examples of the parts of an address, primary keys by first word)."""
    glove = builders.glove("G-00001")
    builders.tested(glove)
    builders.happened(glove, "labelled", code=CODE)
    truck = builders.holder("truck", "T-12", crew=cast.crew)
    meter = Instrument.objects.create(name="M-2", kind="meter")
    cause = Cause("recall", "Recall: lot 7A")
    batch = hold_all(
        [builders.blanket("B-00001", lot="7A")], cause=cause, reason="maker's notice", act=Act(cast.orla)
    )
    truck_class = add_class("Bucket truck", SHIPPED, act=Act(cast.bertrand))
    keys = {
        "instrument": meter.pk,
        "person": cast.marisol.pk,
        "crew": cast.crew.pk,
        "depot": cast.depot.pk,
        "holder": truck.pk,
        "truck": truck.pk,
        "boom": truck.pk,
        "load": truck_class.pk,
        "device": Device.objects.create(
            name="Tablet 1", kind="shared", added_at=timezone.now(), added_by=cast.orla
        ).pk,
        "fallback": truck.pk,
    }

    examples = {
        "item_no": glove.item_no,
        "code": Label.objects.get().code,
        "verb": "hold",
        "number": "L-0001",
        "batch_no": batch.number,
        "uuid": str(glove.entry_set.get(kind="tested").pk),
        "session_no": day(cast.orla).number,
    }
    return examples, keys


@pytest.fixture
def address(on_file, monkeypatch):
    """An address of a route that leads to something on file."""
    # Who may open the report is settled before it is typeset, which takes a second each time.
    for view in (
        "overdue.weekly_pdf",
        "certificates.certificate_pdf",
        "certificates.batch_pdf",
        "changeout.change_out_pdf",
        "loadsheet.load_sheet_pdf",
        "loadsheet.fallback_pack_pdf",
    ):
        monkeypatch.setattr(f"reports.views.{view}", lambda *_args, **_kwargs: b"%PDF-1.7")
    examples, keys = on_file
    return lambda name: address_of(name, examples, keys=keys)


@pytest.fixture
def client_of(cast):
    """A signed-in browser of somebody with a role; of nobody, or of somebody who was deactivated since."""

    def of(role):
        client = Client(raise_request_exception=False)
        if role == "anonymous":
            return client
        person = cast.marisol if role == "deactivated" else getattr(cast, CAST[role])
        client.force_login(person)
        if role == "deactivated":
            type(person).objects.filter(pk=person.pk).update(is_active=False)
        return client

    return of


def outcome(answer, address):
    """What became of a request: "sign in", "refused", "no such method", or "open"."""
    if answer.status_code == 401 and address.startswith("/api/"):
        return "sign in"
    if (
        answer.status_code == 302
        and answer.url.startswith("/login/?next=")
        and not address.startswith("/admin/login")
    ):
        return "sign in"
    return {403: "refused", 405: "no such method", 401: "refused"}.get(answer.status_code, "open")


def expected(name, method, role):
    """The same from the tables."""
    methods = gate.methods_of(name)
    roles = methods.get("GET" if method in ("HEAD", "OPTIONS") else method)
    if roles is None:
        return "no such method"
    counts_as = "anonymous" if role in VISITORS else role
    if counts_as in roles:
        return "open"
    return "sign in" if role in VISITORS else "refused"


def mismatches(name, address, client_of, *, roles, methods):
    found = []
    for role in roles:
        client = client_of(role)
        for method in methods:
            if name == "logout" and method == "POST":
                client = client_of(role)
            answer = client.generic(method, address)
            b"".join(answer)  # read to its end, as a browser does
            got, wanted = outcome(answer, address), expected(name, method, role)
            if got != wanted or answer.status_code >= 500:
                found.append(f"{role} {method} {address}: {got} ({answer.status_code}), not {wanted}")
    return found


def test_every_route_is_listed_and_every_row_has_a_route():
    listed = set(gate.routes())
    assert set(OWN) - listed == set(), (
        "These routes are open to nobody: list them in the app's permissions.py."
    )
    assert listed - set(OWN) == set(), "These rows lead nowhere: remove them from the app's permissions.py."


def test_every_row_names_roles_that_exist_and_methods_that_are_asked():
    for name, methods in gate.routes().items():
        assert set(methods) <= {"GET", "POST"}, name
        assert methods, name
        for roles in methods.values():
            assert roles, name
            assert roles <= {*ROLES, "anonymous"}, name


@pytest.mark.parametrize("name", OWN)
def test_a_route_opens_for_the_roles_in_its_row_and_no_other(name, address, client_of):
    target = address(name)
    assert mismatches(name, target, client_of, roles=(*VISITORS, *ROLES), methods=ASKED) == []


@pytest.mark.parametrize("name", OWN)
def test_other_methods_are_refused_whoever_asks(name, address, client_of):
    target = address(name)
    assert (
        mismatches(name, target, client_of, roles=("anonymous", "administrator"), methods=NEVER_ASKED) == []
    )


def test_the_admin_site_opens_for_the_administrator_alone(client_of):
    names = ("index", "gear_entry_changelist", "gear_user_changelist", "gear_entry_add", "jsi18n")
    for name in names:
        target = reverse(f"admin:{name}")
        for role in (*VISITORS, *(role for role in ROLES if role != "administrator")):
            got = outcome(client_of(role).get(target), target)
            assert got == ("sign in" if role in VISITORS else "refused"), f"{role} {target}"


def test_a_method_is_not_smuggled_in(address, client_of):
    client = client_of("supervisor")
    target = address("person_active")
    for smuggled in (
        {"HTTP_X_HTTP_METHOD_OVERRIDE": "POST"},
        {"QUERY_STRING": "_method=POST&wanted=inactive"},
    ):
        assert b"Deactivate" in client.get(target, **smuggled).content
    assert client.get(target).status_code == 200


# The auditor reads everything and changes nothing but his own password


def test_the_auditor_changes_nothing():
    writes = {
        name
        for name, methods in gate.routes().items()
        for method, roles in methods.items()
        if method != "GET" and "auditor" in roles
    }
    # A phone asks what it is before it knows whose it is: who has no work at the truck is told so, and nothing changes.
    assert writes - {"field_enrol", "field_person"} == {"login", "logout", "my_password"}
    assert [act for act, roles in ACTS.items() if "auditor" in roles] == []


@pytest.mark.parametrize("role", ["auditor", "administrator"])
@pytest.mark.parametrize("name", ["field_enrol", "field_person"])
def test_whoever_has_no_work_at_the_truck_makes_no_phone_known(name, role, client_of):
    known = Device.objects.count()
    answer = client_of(role).post(reverse(name), "{}", content_type="application/json")
    assert (answer.status_code, answer.json()["refused"]) == (409, "NO_DEVICE")
    assert Device.objects.count() == known


def test_the_auditor_reads_every_page_that_is_no_form():
    pages = {
        name
        for name, methods in gate.routes().items()
        if methods.get("GET") and "POST" not in methods and len(methods["GET"]) > 1
    }
    closed = {name for name in pages if "auditor" not in gate.routes()[name]["GET"]}
    assert closed <= {"import"}  # which only leads on to two forms


# The acts, against the table written by hand

with TABLE.open(encoding="utf-8", newline="") as opened:
    ROWS = {row["act"]: row for row in csv.DictReader(opened)}


def test_the_table_has_every_act_and_every_role():
    assert set(ROWS) == set(ACTS)
    assert set(next(iter(ROWS.values()))) == {"act", *ROLES, "other_depot"}


@pytest.mark.parametrize("act", sorted(ROWS))
def test_an_act_is_for_the_roles_in_the_table(act):
    assert {role for role in ROLES if ROWS[act][role] == "yes"} == ACTS[act]


@pytest.mark.parametrize("act", sorted(act for act in ROWS if ROWS[act]["other_depot"]))
def test_an_act_is_bound_to_the_depot_where_the_table_says(act):
    assert (act in BOUND_TO_DEPOT) is (ROWS[act]["other_depot"] == "no")


@pytest.mark.parametrize("act", sorted(ROWS))
@pytest.mark.parametrize("role", ROLES)
def test_who_was_deactivated_may_do_nothing(cast, act, role):
    person = copy(getattr(cast, CAST[role]))
    assert can(person, act) is (ROWS[act][role] == "yes")
    person.is_active = False
    assert not can(person, act)
