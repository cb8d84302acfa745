#!/usr/bin/env python3
"""Every command of the service starts here: `python manage.py help` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gear.site.settings")
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line
    from django.db import OperationalError, ProgrammingError

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as problem:
        sys.exit(f"manage.py: {problem}")
    except (OperationalError, ProgrammingError) as problem:
        # A missing table, a lock, a full disk or a server that is away: nothing that a traceback would explain.
        if "--traceback" in sys.argv or "migrate" in sys.argv:
            raise
        why = str(problem).strip().partition("\n")[0]
        sys.exit(
            f"manage.py: the database cannot be used: {why}. Run manage.py migrate if tables are missing; "
            "otherwise see DATABASE_URL."
        )


if __name__ == "__main__":
    main()
