"""check_installation says in plain words what is wrong; unit_files writes what must run by itself."""

import configparser
import json
import os
import re
import shutil
from io import StringIO

import pytest
from django.core.management import CommandError, call_command, get_commands, load_command_class

from gear.management import premises
from gear.management.unit_files import JOBS
from gear.models import User
from gear.queries.health import AMBER, RED, WELL
from gear.queries.installation import machine
from tests.reports.post_office import HANG, UNKNOWN_USER, post_office

LONG = f"https://{'long-' * 11}.{'name-' * 11}.{'of-a-host-' * 5}.example.org"


def run(*options):
    """(exit status, what it said)."""
    out, status = StringIO(), 0
    try:
        call_command("check_installation", *options, stdout=out)
    except SystemExit as error:
        status = error.code
    return status, out.getvalue()


@pytest.fixture
def calm(monkeypatch, settings, tmp_path):
    """A machine where nothing is wrong."""
    monkeypatch.setattr(
        shutil, "disk_usage", lambda _folder: shutil._ntuple_diskusage(10**12, 10**11, 9 * 10**11)
    )
    monkeypatch.setattr(machine, "kernel_says_unsynchronised", lambda: False)
    settings.DATA_DIR = tmp_path
    tmp_path.chmod(0o700)


@pytest.mark.django_db
def test_it_says_what_is_wrong_what_to_do_and_ends_with_a_status(cast, calm):
    status, told = run()
    assert status == 1  # nobody has an address, no night ran yet
    assert re.search(r"^LOOK   Nightly work: It never ran", told, re.MULTILINE)
    assert "0 things are wrong" in told
    assert max(len(line) for line in told.splitlines()) <= 120
    User.objects.filter(role="administrator").update(is_active=False)
    status, told = run()
    assert status == 2
    assert told.splitlines()[2].startswith("WRONG  People: Nobody can manage this installation.")


@pytest.mark.django_db
def test_programs_read_the_same_as_json(cast, calm):
    status, told = run("--format", "json")
    found = json.loads(told)
    assert (status, found["worst"]) == (1, AMBER)
    assert {"code", "level", "title", "sentence", "at"} == set(found["findings"][0])
    assert "FILES" in {one["code"] for one in found["findings"]}


def codes(found):
    return {one.code: one.level for one in found}


def test_a_file_that_others_can_read_is_wrong_unless_the_folder_is_closed(calm, tmp_path):
    key = tmp_path / "secret_key"
    key.write_text("x")
    key.chmod(0o644)
    assert codes(premises.check_files()) == {"FILES": WELL}
    tmp_path.chmod(0o755)
    assert codes(premises.check_files()) == {"FILES_OPEN": RED}
    key.chmod(0o600)
    assert codes(premises.check_files()) == {"FILES": WELL}


def test_files_of_another_account_are_wrong_and_so_is_running_as_one(calm, tmp_path, monkeypatch):
    key = tmp_path / "secret_key"
    key.write_text("x")
    monkeypatch.setattr(os, "geteuid", lambda: tmp_path.stat().st_uid + 1)
    assert codes(premises.check_files()) == {"RUN_BY_ANOTHER": AMBER}
    monkeypatch.setattr(premises, "kept_files", lambda: [type(tmp_path)("/proc/1/stat"), key])
    if tmp_path.stat().st_uid == 0:
        os.chown(key, 65534, 65534)
    assert codes(premises.check_files())["FILES_OF_ANOTHER"] == RED


def test_a_base_url_too_long_for_labels_is_told(settings):
    assert codes(premises.check_labels()) == {"LABELS": WELL}
    settings.BASE_URL = LONG
    assert set(codes(premises.check_labels())) <= {"LABELS_SOME_TOO_FINE", "LABELS_TOO_FINE"}


def test_the_mail_server_is_tried_and_a_test_sent_where_one_is_asked_for(settings):
    with post_office(settings) as office:
        assert codes(premises.check_mail()) == {"MAIL_SERVER": WELL}
        assert office.taken == []
        assert codes(premises.check_mail(send_to="ines@example.org")) == {"MAIL_SERVER": WELL}
        assert [address for address, _raw in office.taken] == ["ines@example.org"]
        office.mood = UNKNOWN_USER
        (refused,) = premises.check_mail(send_to="ines@example.org")
        assert (refused.code, "no such user" in refused.sentence) == ("MAIL_REFUSED", True)


def test_a_silent_mail_server_is_given_up_and_the_password_never_told(settings, monkeypatch):
    monkeypatch.setattr(premises, "MAIL_PATIENCE_S", 0.1)
    with post_office(settings) as office:
        office.mood = HANG
        settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "gear", "a long secret"
        (refused,) = premises.check_mail()
    assert refused.code == "MAIL_REFUSED"
    assert "a long secret" not in refused.sentence


def test_no_test_mail_leaves_without_a_server_or_to_no_address(settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert codes(premises.check_mail(send_to="ines@example.org")) == {"MAIL_NOT_SENT": RED}
    assert codes(premises.check_mail()) == {}
    with pytest.raises(CommandError, match="no mail address"):
        call_command("check_installation", "--send-test", "ines")


# What runs by itself


@pytest.fixture
def units(tmp_path, settings):
    settings.DATA_DIR = tmp_path / "data"
    call_command("unit_files", "--user", "keeper", "-o", str(tmp_path), stdout=StringIO())
    found = {}
    for path in tmp_path.glob("gear*"):
        unit = configparser.ConfigParser(interpolation=None, strict=False)
        unit.optionxform = str
        unit.read(path)
        found[path.name] = unit
    return found


def test_every_timer_has_its_service_and_every_command_exists_with_its_options(units, settings):
    jobs = [job for job in JOBS if job.command.split()[0] in get_commands()]
    assert {"nightly", "weekly-report", "fallback"} <= {job.name for job in jobs}
    kinds = ("service", "timer")
    assert set(units) == {"gear.service"} | {f"gear-{job.name}.{kind}" for job in jobs for kind in kinds}
    for name, unit in units.items():
        if name.endswith(".timer"):
            assert unit["Timer"]["OnCalendar"]
            continue
        assert unit["Service"]["User"] == "keeper"
        assert str(settings.DATA_DIR) in unit["Service"]["ReadWritePaths"].split()
        if name != "gear.service":
            parse(unit["Service"]["ExecStart"].partition("manage.py ")[2])
    parse(units["gear.service"]["Service"]["ExecStartPre"].partition("manage.py ")[2])


def parse(words):
    """As manage.py would; an unknown option raises."""
    command, *options = words.split()
    load_command_class(get_commands()[command], command).create_parser("manage.py", command).parse_args(
        options
    )


def test_a_time_of_day_is_the_sites_and_cron_is_told_so(units, settings):
    assert units["gear-fallback.timer"]["Timer"]["OnCalendar"] == f"17:00 {settings.TIME_ZONE}"
    out = StringIO()
    call_command("unit_files", "--cron", stdout=out)
    lines = out.getvalue().splitlines()
    assert f"zone must be {settings.TIME_ZONE}" in lines[1]
    assert all(re.match(r"([\d*/,-]+ ){5}cd /", line) for line in lines[2:])
    assert "fallback_pack" in lines[-1]


def test_a_path_that_a_unit_file_would_misread_is_refused():
    with pytest.raises(CommandError, match="without blanks"):
        call_command("unit_files", "--variables", "/etc/my gear;", stdout=StringIO())


def test_units_are_not_written_from_other_variables_than_the_service_reads(tmp_path, settings):
    settings.DATA_DIR = tmp_path / "of whoever runs this"
    variables = tmp_path / "environment"
    stated = f"# of the service\nDATA_DIR='{tmp_path}'\nTIME_ZONE={settings.TIME_ZONE}\n"
    variables.write_text(stated)
    with pytest.raises(CommandError, match=r"DATA_DIR is .* Read the file first: set -a"):
        call_command("unit_files", "--variables", str(variables), stdout=StringIO())
    settings.DATA_DIR = tmp_path
    call_command("unit_files", "--variables", str(variables), stdout=StringIO())
    variables.write_text(stated.replace(settings.TIME_ZONE, "Asia/Tokyo"))
    with pytest.raises(CommandError, match="TIME_ZONE is Asia/Tokyo"):
        call_command("unit_files", "--variables", str(variables), stdout=StringIO())
