#!/usr/bin/env python3
"""Every command of the service starts here: `python manage.py help` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gear.site.settings")
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as problem:
        sys.exit(f"manage.py: {problem}")


if __name__ == "__main__":
    main()
