from django.apps import AppConfig
from django.db.models.signals import post_migrate


class InspectionsConfig(AppConfig):
    name = "inspections"
    verbose_name = "Inspections"

    def ready(self):
        from gear.ledger.verify import DETAIL_CHECKS
        from gear.queries import health
        from inspections import guards
        from inspections.queries import calibration_problems, detail_problems, shipment_problems
        from inspections.queries.watching import check_bench_guards, check_devices, check_phones_after_restore

        # The ledger may not know of tests; whoever verifies it must still look at their detail rows.
        for check in (detail_problems, calibration_problems, shipment_problems):
            if check not in DETAIL_CHECKS:
                DETAIL_CHECKS.append(check)
        for watch in (check_devices, check_phones_after_restore, check_bench_guards):
            health.register(watch)
        post_migrate.connect(guards.after_migrate, dispatch_uid="inspections.guards")
