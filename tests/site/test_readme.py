"""What README and DEVELOPERS tell somebody to type is there, and the service starts as they say."""

import json
import re
import subprocess
import sys
from urllib.error import HTTPError
from urllib.request import HTTPRedirectHandler, Request, build_opener

import pytest
from django.core.management import get_commands, load_command_class

from gear.management.unit_files import JOBS
from tests.conftest import PROJECT, ZONE

README = (PROJECT / "README.md").read_text(encoding="utf-8")
TEXTS = {name: (PROJECT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md")}
REAL = README[README.index("## Running it for real") : README.index("## Backups")]
CALL = re.compile(r"manage\.py ([a-z]+(?:_[a-z]+)*)((?: +(?:--?[a-z][a-z-]*|[^\s`|;&]+))*)")


def calls():
    """(document, command, its options) of every command that is named."""
    return sorted(
        {
            (name, found[1], *re.findall(r"(?<=\s)--?[a-z][a-z-]*", found[2]))
            for name, text in TEXTS.items()
            for found in CALL.finditer(text)
        }
    )


def test_every_command_that_is_named_exists_and_knows_its_options():
    assert len(calls()) > 20
    for name, command, *options in calls():
        assert command in get_commands(), f"{name}: manage.py {command}"
        known = load_command_class(get_commands()[command], command).create_parser("manage.py", command)
        for option in options:
            assert option in known._option_string_actions, f"{name}: manage.py {command} {option}"


def test_the_table_of_variables_is_what_the_settings_read():
    table = set(re.findall(r"^\| `([A-Z_]+)` \|", README, re.MULTILINE))
    source = (PROJECT / "gear/site/environment.py").read_text(encoding="utf-8")
    assert table == set(re.findall(r'variables\.get\("([A-Z_]+)"', source))
    example = set(re.findall(r"^ +([A-Z_]+)=\S+$", REAL, re.MULTILINE))
    assert {"DATA_DIR", "BASE_URL", "ALLOWED_HOSTS", "TIME_ZONE", "EMAIL_URL"} <= example <= table


def test_the_table_of_what_runs_by_itself_is_that_of_the_unit_files():
    told = re.findall(r"^\| `manage\.py ([^`]+)` \|", REAL, re.MULTILINE)
    assert told == [job.command.format(data="/var/lib/gear") for job in JOBS]
    enabled = re.search(r"enable --now (.+)", REAL)[1].split()
    assert enabled == ["gear.service", *(f"gear-{job.name}.timer" for job in JOBS)]


class Staying(HTTPRedirectHandler):
    def redirect_request(self, *_arguments):
        return None


def asked(port, path, **headers):
    """(status, body) as a proxy on this machine would get them."""
    request = Request(f"http://127.0.0.1:{port}{path}", headers={"Host": "gear.example.org", **headers})
    try:
        with build_opener(Staying).open(request, timeout=60) as answer:
            return answer.status, answer.read()
    except HTTPError as error:
        with error:
            return error.code, error.read()


@pytest.mark.one_database
def test_the_service_starts_as_readme_says_and_believes_its_proxy_about_https(tmp_path):
    line = re.search(r"\.venv/bin/gunicorn (gear.+)", REAL)[1].replace(":8000", ":0").split()
    variables = dict(re.findall(r"^ +([A-Z_]+)=(\S+)$", REAL, re.MULTILINE)) | {"DATA_DIR": str(tmp_path)}
    variables |= {"PATH": "/usr/bin:/bin", "TIME_ZONE": ZONE}
    service = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", *line],
        cwd=PROJECT,
        env=variables,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        port = next(found[1] for text in service.stderr if (found := re.search(r"127\.0\.0\.1:(\d+)", text)))
        assert asked(port, "/healthz") == (200, b'{"alive": true}')
        status, body = asked(port, "/readyz")  # nobody has run migrate yet
        assert (status, json.loads(body)["ready"]) == (503, False)
        assert "MIGRATIONS_MISSING" in json.loads(body)["codes"]
        assert asked(port, "/login/")[0] == 301
        status, page = asked(port, "/login/", **{"X-Forwarded-Proto": "https"})
        assert status == 200
        assert b"needs its administrator" in page
    finally:
        service.terminate()
        service.communicate(timeout=60)
