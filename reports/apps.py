from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    verbose_name = "Reports"

    def ready(self):
        from gear.ledger.verify import DETAIL_CHECKS
        from gear.queries import health
        from reports.queries.mail_health import check_mail
        from reports.queries.sent_reports import sent_problems

        for check in (sent_problems,):
            if check not in DETAIL_CHECKS:
                DETAIL_CHECKS.append(check)
        health.register(check_mail)
