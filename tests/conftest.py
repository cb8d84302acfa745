"""What every test stands on: a database of its own, a fixed zone, no way out to the network, and a named cast."""

# ruff: noqa: S608 - what empties the tables names the tables itself
import gc
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Lock
from types import SimpleNamespace
from typing import Any

import pytest

from tests.replaying import replayed

PROJECT = Path(__file__).resolve().parent.parent
ZONE = "America/New_York"  # west of Greenwich and with summer time: a date taken from UTC by mistake shows
# Playwright keeps an event loop in this thread; without this Django refuses every query made beside it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


def pytest_configure() -> None:
    import hypothesis
    from django.conf import settings

    # No test may fail because the machine was busy.
    hypothesis.settings.register_profile(
        "house", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
    )
    hypothesis.settings.load_profile("house")

    settings.PASSWORD_HASHERS = [
        "django.contrib.auth.hashers.MD5PasswordHasher"
    ]  # a slow one protects nobody here
    settings.TIME_ZONE = ZONE
    # What the service notes beside the database (seals, backups) must not be that of a real installation.
    settings.DATA_DIR = Path(tempfile.mkdtemp(prefix="gear-tests-"))


def pytest_unconfigure() -> None:
    from django.conf import settings

    if Path(settings.DATA_DIR).name.startswith("gear-tests-"):
        shutil.rmtree(settings.DATA_DIR, ignore_errors=True)


@pytest.fixture(autouse=True)
def no_seal_of_another_test() -> Iterator[None]:
    """A seal that is known outside the database and missing in it makes every answer `unknown`."""
    from django.conf import settings

    yield
    (Path(settings.DATA_DIR) / "seals.txt").unlink(missing_ok=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What may touch no database, what starts the service as a process of its own, and what a page says, is the same on
    both: there every address is asked by tests/site/test_reading.py, and every act by its own tests.
    """
    reaching = {"db", "transactional_db", "live_server"}
    for item in items:
        names = set(getattr(item, "fixturenames", ()))
        asks = item.get_closest_marker("django_db") or reaching & names
        of_a_page = re.search(r"_pages?$", item.path.stem) and not item.get_closest_marker("both_databases")
        if not asks or of_a_page:
            item.add_marker(pytest.mark.one_database)


def pytest_collection_finish() -> None:
    """Fourteen thousand tests stay for the whole run: the garbage collector need not look at them again and again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def django_db_modify_db_settings(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A file, not memory, for SQLite: threads of a live server then have connections and locks of their own."""
    from django.db import connections

    name = f"test_gear_{os.getpid()}"
    if connections["default"].vendor == "sqlite":
        name = str(tmp_path_factory.mktemp("database") / "test.sqlite3")
    connections["default"].settings_dict["TEST"]["NAME"] = name


@pytest.fixture(autouse=True)
def guards_stand(request: pytest.FixtureRequest) -> None:
    """A test that commits finds every trigger in its place, whatever the one before it took away."""
    mark = request.node.get_closest_marker("django_db")
    commits = bool(mark and (mark.kwargs.get("transaction") or (mark.args and mark.args[0])))
    if not commits and not {"transactional_db", "live_server"} & set(request.fixturenames):
        return
    from django.db import connection

    import inspections.guards
    from gear import guards

    request.getfixturevalue("transactional_db")
    for one in (guards, inspections.guards):
        one.install(connection)


@pytest.fixture(autouse=True, scope="session")
def emptied_past_the_guards() -> Iterator[None]:
    """A test that commits is followed by emptying the tables that it filled, past triggers that would refuse it.

    Django's own flush empties every table there is, makes its permissions anew and takes half a second each time.
    """
    from django.db import connection
    from django.test import TransactionTestCase

    patch = pytest.MonkeyPatch()
    patch.setattr(TransactionTestCase, "_fixture_teardown", lambda self: _empty(connection))
    yield
    patch.undo()


def _empty(connection: Any) -> None:
    kept = {
        "django_migrations",
        "django_content_type",
        "auth_permission",
    }  # made by migrating, as flush would again
    tables = [name for name in connection.introspection.table_names() if name not in kept]
    with connection.cursor() as cursor:
        cursor.execute(
            " UNION ALL ".join(f"SELECT '{name}' WHERE EXISTS (SELECT 1 FROM {name})" for name in tables)
        )
        full = [name for (name,) in cursor.fetchall()]
        if connection.vendor == "postgresql":
            cursor.execute("SET session_replication_role = replica")  # neither triggers nor foreign keys
            for name in full:
                cursor.execute(f"DELETE FROM {name}")
            cursor.execute("SET session_replication_role = DEFAULT")
            return
        cursor.execute("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
        standing = [(name, sql) for name, table, sql in cursor.fetchall() if table in full]
        cursor.execute("PRAGMA foreign_keys = OFF")
        cursor.execute("BEGIN IMMEDIATE")
        for name, _sql in standing:
            cursor.execute(f"DROP TRIGGER {name}")
        for name in full:
            cursor.execute(f"DELETE FROM {name}")
        for _name, sql in standing:
            cursor.execute(sql)
        cursor.execute("COMMIT")
        cursor.execute("PRAGMA foreign_keys = ON")


@pytest.fixture
def past_the_guards(db: None) -> Iterator[Callable[..., None]]:
    """Runs SQL as somebody would who has the database and takes its triggers away for a moment."""
    from django.db import connection, transaction

    from gear import guards

    def run(sql: str, *params: object) -> None:
        guards.remove(connection, [table for table in guards.tables() if table in sql])
        with connection.cursor() as cursor:
            cursor.execute(sql, params)
        guards.install(connection)

    yield run
    if connection.in_atomic_block:
        transaction.set_rollback(True)  # what was tampered with need not fulfil the constraints at the end


@pytest.fixture(autouse=True, scope="session")
def no_network() -> Iterator[None]:
    """Every connection to another machine fails: nothing that is tested may need one."""
    honest = socket.socket.connect

    def connect(self: socket.socket, address: object) -> None:
        host = address[0] if isinstance(address, tuple) else ""
        if host and host not in ("127.0.0.1", "::1", "localhost"):
            raise OSError(f"A test tried to reach {host}.")
        honest(self, address)  # type: ignore[arg-type]

    patch = pytest.MonkeyPatch()
    patch.setattr(socket.socket, "connect", connect)
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def nothing_in_trouble(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """The frame of every page tells of what fails in this installation, and looks once in a while: a test of a page
    would count those queries or not, as it falls. Tests of the frame itself are marked `looks_after_itself`.
    """
    if request.node.get_closest_marker("looks_after_itself"):
        return
    from gear.queries import health

    monkeypatch.setattr(health, "recent", lambda *_arguments, **_keywords: [])


@pytest.fixture(autouse=True)
def verifier_proven_once(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """The verifier finds what is wrong in its own sample before each look, which takes longer than the look itself.

    Tests of that are marked `proves_itself`.
    """
    if not request.node.get_closest_marker("proves_itself"):
        from gear.ledger import tampering

        monkeypatch.setattr(tampering, "prove_that_it_shows", lambda: None)


@pytest.fixture(autouse=True, scope="session")
def static_files_listed_once() -> Iterator[None]:
    """Every test client builds the middleware anew, and each would look up and read about every static file again."""
    from whitenoise.middleware import WhiteNoiseMiddleware

    honest = WhiteNoiseMiddleware.add_files_from_finders
    listed: dict[object, dict[str, object]] = {}

    def add(self: WhiteNoiseMiddleware) -> None:
        key = (self.static_prefix, self.max_age, self.allow_all_origins)
        if key not in listed:
            own, self.files = self.files, {}
            honest(self)
            listed[key], self.files = self.files, own
        self.files |= listed[key]

    patch = pytest.MonkeyPatch()
    patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", add)
    yield
    patch.undo()


@pytest.fixture(autouse=True, scope="session")
def paper_set_here() -> Iterator[Callable[..., Any]]:
    """A process of its own for each PDF takes two seconds to begin; here one that has begun sets them all.

    The honest `subprocess.run` is what the fixture is worth: for tests of that process itself.
    """
    import gear.pdf.setting as setting
    from gear.pdf import typesetter

    honest, place, one_at_a_time = subprocess.run, setting.TYPESETTER, Lock()

    def run(command: list[str], **choices: Any) -> subprocess.CompletedProcess[bytes]:
        if command[2] != str(place):
            return honest(command, **choices)
        given, named = choices["input"], command[3:]
        length = int(named[1]) if named else len(given)
        attached = {named[0]: given[length:]} if named else {}
        with one_at_a_time, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            made = typesetter.pdf(given[:length].decode("utf-8"), attached)
        return subprocess.CompletedProcess(command, 0, made, b"")

    patch = pytest.MonkeyPatch()
    patch.setattr(setting, "subprocess", SimpleNamespace(run=run, TimeoutExpired=subprocess.TimeoutExpired))
    yield honest
    patch.undo()


@pytest.fixture
def no_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    """Paper is not set at all: for tests that ask for every address and read none."""
    import gear.pdf.setting as setting

    done = subprocess.CompletedProcess([], 0, b"%PDF-", b"")
    monkeypatch.setattr(setting.subprocess, "run", lambda command, **_choices: done)


@pytest.fixture(scope="session")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of static files as a server has them after collectstatic, which takes seconds."""
    from django.core.management import call_command
    from django.test import override_settings

    folder = tmp_path_factory.mktemp("static")
    with override_settings(STATIC_ROOT=folder):
        call_command("collectstatic", interactive=False, verbosity=0)
    return folder


@pytest.fixture
def cast(db: None) -> SimpleNamespace:
    """Orla the clerk, Dev and Marisol of crew 7, Bertrand their foreman, Ines, Halvard and Pim."""
    return replayed("cast", make_cast)


@pytest.fixture(scope="module")
def module_rows(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Rows made by fixtures of a module that ask for this are there for each of its tests, which start from them anew.

    For modules of tests that look alone and never commit: every test is undone to this point, the module to none.
    """
    from django.db import transaction

    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


def make_cast() -> SimpleNamespace:
    """The people of `cast`, in the database that is open."""
    from django.contrib.auth import get_user_model

    from gear.models import Crew, Depot

    depot = Depot.objects.create(name="Harbour depot")
    crew = Crew.objects.create(name="Crew 7", depot=depot)
    make = get_user_model().objects.create_user
    roles = {
        "orla": "clerk",
        "dev": "worker",
        "marisol": "worker",
        "bertrand": "foreman",
        "ines": "supervisor",
        "halvard": "auditor",
        "pim": "administrator",
    }
    people = {}
    for name, role in roles.items():
        in_crew = {"crew": crew} if role in ("worker", "foreman") else {}
        people[name] = make(username=name, password=f"{name} keeps a secret", role=role, **in_crew)
    people["pim"].is_staff = people["pim"].is_superuser = True
    people["pim"].save()
    return SimpleNamespace(**people, depot=depot, crew=crew)


Manage = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def manage(tmp_path: Path) -> Manage:
    """Runs `manage.py ...` as a process of its own, with a data folder of its own: `manage("check", DEBUG="on")`."""

    def run(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
        bare = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
        bare |= {"DATA_DIR": str(tmp_path / "data"), "TIME_ZONE": ZONE}
        command = [sys.executable, "-W", "error", str(PROJECT / "manage.py"), *arguments]
        return subprocess.run(
            command, env=bare | variables, cwd=tmp_path, capture_output=True, text=True, timeout=300
        )

    return run
