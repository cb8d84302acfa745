from django.apps import AppConfig
from django.db.models.signals import post_migrate


class GearConfig(AppConfig):
    name = "gear"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self):
        from gear import guards

        # A table rebuild drops triggers on SQLite without a word, so they are put back after every migration.
        post_migrate.connect(guards.after_migrate, dispatch_uid="gear.guards")
