#!/usr/bin/env python3
"""Every command of the service starts here: `python manage.py help` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gear.site.settings")
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line
    from django.db import DatabaseError, OperationalError, ProgrammingError

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as problem:
        sys.exit(f"manage.py: {problem}")
    except DatabaseError as problem:
        # A missing table, a lock, a full disk or a server that is away: nothing that a traceback would explain.
        plain = type(problem) in (DatabaseError, OperationalError, ProgrammingError)
        if not plain or "--traceback" in sys.argv or "migrate" in sys.argv:
            raise
        why = str(problem).strip().partition("\n")[0]
        if type(problem) is DatabaseError:  # what SQLite says of a file that is damaged
            sys.exit(
                f"manage.py: the database cannot be read: {why}. Stop the service, look at the disk, and restore the "
                "newest verified backup: manage.py restore FILE --replace keeps the file aside."
            )
        sys.exit(
            f"manage.py: the database cannot be used: {why}. Run manage.py migrate if tables are missing; "
            "otherwise see DATABASE_URL."
        )


if __name__ == "__main__":
    main()
