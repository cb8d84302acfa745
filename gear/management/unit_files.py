"""What a server runs for one installation, as data, and the same written for systemd and for cron."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Job:
    """A command of manage.py that runs by itself. `calendar` is as systemd writes it, `cron` the same five fields."""

    name: str
    what: str
    command: str
    calendar: str
    cron: str


@dataclass(frozen=True)
class Place:
    """Where and as whom: `program` holds manage.py, `variables` is a file of NAME=value lines, `data` is DATA_DIR,
    `writes` every folder that the service writes to, parted by blanks.
    """

    user: str
    program: str
    python: str
    variables: str
    data: str
    writes: str
    zone: str
    bind: str


JOBS = (
    Job("weekly-report", "Weekly report of the gear book", "send_weekly_report", "*:0/15", "*/15 * * * *"),
    Job("notices", "Notices of the gear book", "send_notices", "*:5/15", "5-59/15 * * * *"),
    Job("nightly", "Nightly work of the gear book", "nightly", "02:30", "30 2 * * *"),
    Job(
        "fallback", "Paper for a day without power", "fallback_pack -o {data}/fallback", "17:00", "0 17 * * *"
    ),
)
_GUARDED = """User={user}
WorkingDirectory={program}
EnvironmentFile={variables}
UMask=0077
NoNewPrivileges=yes
PrivateTmp=yes
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={writes}
"""
_SERVICE = """[Unit]
Description=Gear book
After=network-online.target postgresql.service
Wants=network-online.target

[Service]
Type=notify
NotifyAccess=all
{guarded}# A damaged database file is found before the first answer; then every answer is unknown.
ExecStartPre=-{python} manage.py verify_ledger --database
ExecStart={python} -m gunicorn gear.site.wsgi --workers 3 --timeout 300 --bind {bind}
KillMode=mixed
TimeoutStartSec=600
TimeoutStopSec=30
Restart=on-failure

[Install]
WantedBy=multi-user.target
"""
_ONCE = """[Unit]
Description={what}

[Service]
Type=oneshot
{guarded}{before}ExecStart={python} manage.py {command}
"""
_TIMER = """[Unit]
Description={what}

[Timer]
OnCalendar={calendar}
Persistent=true

[Install]
WantedBy=timers.target
"""


def systemd(place: Place, jobs: tuple[Job, ...] = JOBS) -> dict[str, str]:
    """Every unit by the name of its file."""
    known = vars(place)
    guarded = _GUARDED.format(**known)
    files = {"gear.service": _SERVICE.format(guarded=guarded, **known)}
    for job in jobs:
        before = f"ExecStartPre=mkdir -p {place.data}/fallback\n" if "/fallback" in job.command else ""
        command = job.command.format(**known)
        files[f"gear-{job.name}.service"] = _ONCE.format(
            what=job.what, guarded=guarded, before=before, python=place.python, command=command
        )
        daily = "" if job.calendar.startswith("*") else f" {place.zone}"
        files[f"gear-{job.name}.timer"] = _TIMER.format(what=job.what, calendar=job.calendar + daily)
    return files


def crontab(place: Place, jobs: tuple[Job, ...] = JOBS) -> str:
    """The same jobs for cron, which reads the zone of the machine: set that to the site's."""
    lines = [f"# Gear book: crontab of {place.user}. The machine's zone must be {place.zone}."]
    for job in jobs:
        do = f"{place.python} manage.py {job.command.format(**vars(place))}"
        if "/fallback" in do:
            do = f"mkdir -p {place.data}/fallback && {do}"
        variables = f"set -a && . {place.variables} && set +a"
        lines.append(f"{job.cron} cd {place.program} && umask 077 && {variables} && {do}")
    return "\n".join(lines) + "\n"
