"""People from the console: the first administrator, and a lost password."""

import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from gear.actions import people
from gear.actions.acting import Act
from gear.models import Entry, User

PASSWORD = "brackish water rises twice"
pytestmark = pytest.mark.django_db


@pytest.fixture
def stated(monkeypatch):
    monkeypatch.setenv("PASSWORD", PASSWORD)


def run(*arguments):
    told = io.StringIO()
    call_command(*arguments, stdout=told)
    return told.getvalue()


def kept():
    return list(
        Entry.objects.filter(kind="person_changed").values_list(
            "facts__person", "facts__change", "via", "by__username"
        )
    )


def test_the_first_administrator_is_added_and_opens_the_admin_site(stated):
    assert "sela was added" in run("add_person", "sela", "--role", "administrator")
    client = Client()
    assert client.login(username="sela", password=PASSWORD)
    assert client.get("/people/").status_code == 200
    assert client.get("/admin/").status_code == 200
    assert kept() == [("sela", "added", "system", None)]


def test_crew_and_depot_are_named(cast, stated):
    run("add_person", "tomas", "--role", "worker", "--crew", "Crew 7", "--depot", "Harbour depot")
    tomas = User.objects.get(username="tomas")
    assert (tomas.crew, tomas.depot) == (cast.crew, cast.depot)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--role", "worker", "--crew", "Crew 99"), "no crew named Crew 99"),
        (("--role", "worker", "--depot", "Atlantis"), "no depot named Atlantis"),
        (("--role", "king"), "invalid choice"),
        ((), "required"),
    ],
)
def test_what_is_not_on_file_is_said(stated, arguments, said):
    with pytest.raises(CommandError, match=said):
        run("add_person", "tomas", *arguments)
    assert not User.objects.exists()


def test_a_taken_username_is_said(cast, stated):
    with pytest.raises(CommandError, match="taken"):
        run("add_person", "Orla", "--role", "clerk")


def test_a_weak_password_is_refused(monkeypatch):
    monkeypatch.setenv("PASSWORD", "password")
    with pytest.raises(CommandError, match="too common"):
        run("add_person", "tomas", "--role", "clerk")
    assert not User.objects.exists()


def test_a_dry_run_stores_nothing(stated):
    assert "could be added" in run("add_person", "tomas", "--role", "clerk", "--dry-run")
    assert (User.objects.count(), Entry.objects.count()) == (0, 0)


def test_without_a_terminal_or_variable_it_says_what_to_do(monkeypatch):
    monkeypatch.delenv("PASSWORD", raising=False)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    with pytest.raises(CommandError, match="set PASSWORD"):
        run("add_person", "tomas", "--role", "clerk")


@pytest.mark.parametrize(
    ("typed", "said"), [(("one thing", "another"), "not the same"), (("", ""), "empty password")]
)
def test_what_is_typed_is_checked(monkeypatch, typed, said):
    monkeypatch.delenv("PASSWORD", raising=False)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    answers = iter(typed)
    monkeypatch.setattr("getpass.getpass", lambda _prompt: next(answers))
    with pytest.raises(CommandError, match=said):
        run("add_person", "tomas", "--role", "clerk")


def test_a_lost_password_is_replaced_and_kept_as_done_by_command(cast, stated, caplog):
    client = Client()
    client.force_login(cast.pim)
    client.get("/people/")
    run("reset_password", "pim")
    assert client.get("/people/").status_code == 302
    assert Client().login(username="pim", password=PASSWORD)
    assert kept() == [("pim", "password_set", "system", None)]
    assert "Security: pim was given a new password by command" in caplog.text


def test_resetting_says_that_an_account_is_closed(cast, stated):
    people.deactivate(cast.dev, reason="left", act=Act(None))
    assert "deactivated" in run("reset_password", "dev")


def test_a_dry_reset_leaves_the_password(cast, stated):
    run("reset_password", "pim", "--dry-run")
    assert Client().login(username="pim", password="pim keeps a secret")
    assert kept() == []


def test_resetting_for_nobody_is_said(stated):
    with pytest.raises(CommandError, match="nobody with the username nobody"):
        run("reset_password", "nobody")


def test_resetting_to_a_weak_password_is_refused(cast, monkeypatch):
    monkeypatch.setenv("PASSWORD", "12345678")
    with pytest.raises(CommandError, match="numeric|common"):
        run("reset_password", "pim")


def test_a_superuser_of_django_is_an_administrator_here(monkeypatch):
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", PASSWORD)
    run("createsuperuser", "--noinput", "--username", "sela", "--email", "sela@example.org")
    assert User.objects.get(username="sela").role == "administrator"
