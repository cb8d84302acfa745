from pathlib import Path

from django.apps import AppConfig
from django.conf import settings
from django.core.management import call_command
from django.db.models.signals import post_migrate


class GearConfig(AppConfig):
    name = "gear"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self):
        from gear import guards
        from gear.backups import occupancy
        from gear.queries import backups, health, installation, restored

        occupancy.join(Path(settings.DATA_DIR))
        # A table rebuild drops triggers on SQLite without a word, so they are put back after every migration.
        post_migrate.connect(guards.after_migrate, dispatch_uid="gear.guards")
        post_migrate.connect(make_sign_in_table, sender=self, dispatch_uid="gear.sign_in")
        for check in reversed(installation.CHECKS):
            health.register(check, first=True)
        health.register(backups.check)
        health.register(restored.check)


def make_sign_in_table(*, using: str = "default", **_ignored) -> None:
    """The table that counts sign-in attempts belongs to a cache, which has no migrations of its own."""
    if using == "default":
        call_command("createcachetable", verbosity=0)
