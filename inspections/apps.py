from django.apps import AppConfig
from django.db.models.signals import post_migrate


class InspectionsConfig(AppConfig):
    name = "inspections"
    verbose_name = "Inspections"

    def ready(self):
        from gear.ledger.verify import DETAIL_CHECKS
        from inspections import guards
        from inspections.queries import calibration_problems, detail_problems, shipment_problems

        # The ledger may not know of tests; whoever verifies it must still look at their detail rows.
        for check in (detail_problems, calibration_problems, shipment_problems):
            if check not in DETAIL_CHECKS:
                DETAIL_CHECKS.append(check)
        post_migrate.connect(guards.after_migrate, dispatch_uid="inspections.guards")
