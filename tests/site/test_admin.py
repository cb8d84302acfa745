"""The admin site is for looking: nothing that counts is added, changed or deleted there, by nobody."""

import pytest
from django.contrib import admin
from django.test import Client, RequestFactory
from django.urls import get_resolver, reverse

from gear.actions import people
from gear.actions.acting import Act, keep_refusal
from gear.admin import ReadOnly
from gear.models import AppendOnly, Entry, Item, User
from tests import builders

pytestmark = pytest.mark.django_db
assert get_resolver().url_patterns  # Group is taken off the site where the addresses are listed
SHOWN = sorted(admin.site._registry, key=lambda model: model._meta.label)


@pytest.fixture
def administrator(cast):
    """Pim, with every right that Django knows besides his role."""
    cast.pim.is_superuser = cast.pim.is_staff = True
    cast.pim.save()
    client = Client()
    client.force_login(cast.pim)
    client.person = cast.pim
    return client


def rows():
    """A row in most tables."""
    left, right = builders.pair()
    builders.tested(left, right)
    builders.issued(left, right)
    builders.happened(left, "labelled", code="ABCDEFGHJKX")
    keep_refusal("hold", "G-1", Act(None), code="NO_REASON", detail="Give a reason.")
    return left


def test_every_table_of_evidence_is_shown():
    evidence = {model for model in SHOWN if issubclass(model, AppendOnly)}
    assert evidence == {model for model in subclasses(AppendOnly) if not model._meta.abstract}


def subclasses(model):
    for child in model.__subclasses__():
        yield child
        yield from subclasses(child)


@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model._meta.label)
def test_every_table_shown_is_for_looking(model):
    assert isinstance(admin.site._registry[model], ReadOnly)


@pytest.mark.one_database
@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model._meta.label)
def test_a_superuser_may_not_add_change_or_delete(cast, model):
    request = RequestFactory().get("/admin/")
    request.user = cast.pim
    shown = admin.site._registry[model]
    assert shown.has_view_permission(request)
    assert not shown.has_add_permission(request)
    assert not shown.has_change_permission(request)
    assert not shown.has_delete_permission(request)
    assert shown.get_actions(request) == {}


@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model._meta.label)
def test_lists_and_rows_open_and_hold_no_form(administrator, model):
    rows()
    kind = f"{model._meta.app_label}_{model._meta.model_name}"
    listing = administrator.get(reverse(f"admin:{kind}_changelist"))
    assert listing.status_code == 200
    row = model._default_manager.first()
    if row is None:
        return
    page = administrator.get(reverse(f"admin:{kind}_change", args=[row.pk]))
    assert page.status_code == 200
    for offered in (b'name="_save"', b"deletelink", b"addlink"):
        assert offered not in page.content


@pytest.mark.one_database
@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model._meta.label)
@pytest.mark.parametrize("page", ["add", "change", "delete", "changelist"])
def test_nothing_is_taken_by_post(administrator, model, page):
    rows()
    row = model._default_manager.first()
    arguments = [row.pk if row else 1] if page in ("change", "delete") else []
    address = reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}", args=arguments)
    before = model._default_manager.count()
    answer = administrator.post(
        address, {"post": "yes", "action": "delete_selected", "_selected_action": "1"}
    )
    assert answer.status_code == 405
    assert model._default_manager.count() == before


@pytest.mark.parametrize("page", ["add", "delete"])
def test_pages_to_add_or_delete_do_not_open(administrator, page):
    item = rows()
    for model, key in ((Entry, Entry.objects.first().pk), (Item, item.pk), (User, administrator.person.pk)):
        kind = f"{model._meta.app_label}_{model._meta.model_name}"
        arguments = [key] if page == "delete" else []
        assert administrator.get(reverse(f"admin:{kind}_{page}", args=arguments)).status_code == 403


def test_no_hash_of_a_password_or_pin_is_shown(administrator):
    person = people.add("tomas", details=people.Details(), password="brackish water twice", act=Act(None))
    person = people.set_pin(person, pin="4071", act=Act(None))
    page = administrator.get(reverse("admin:gear_user_change", args=[person.pk])).content.decode()
    assert "tomas" in page
    assert person.password not in page
    assert person.pin not in page


def test_passwords_are_not_changed_past_the_record(administrator):
    assert administrator.get("/admin/password_change/").status_code in (403, 405)
    assert administrator.post("/admin/password_change/", {}).status_code in (403, 405)


def test_the_own_sign_in_of_the_admin_site_is_closed(client):
    answer = client.get("/admin/login/?next=/admin/")
    assert answer.url == "/login/?next=/admin/"


def test_groups_and_permissions_of_django_decide_nothing_here(administrator):
    assert not {model for model in SHOWN if model._meta.app_label == "auth"}
    assert b"Groups" not in administrator.get("/admin/").content


def test_a_person_of_another_role_is_not_let_in_by_djangos_flags(cast):
    cast.orla.is_superuser = cast.orla.is_staff = True
    cast.orla.save()
    client = Client()
    client.force_login(cast.orla)
    assert client.get("/admin/").status_code == 403


def test_a_list_asks_as_often_for_many_rows_as_for_few(administrator, django_assert_max_num_queries):
    address = reverse("admin:gear_entry_changelist")
    rows()
    with django_assert_max_num_queries(20) as few:
        administrator.get(address)
    for _one in range(6):
        rows_of = builders.pair()
        builders.tested(*rows_of)
    with django_assert_max_num_queries(len(few)):
        administrator.get(address)
