from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    verbose_name = "Reports"

    def ready(self):
        from gear.ledger.verify import DETAIL_CHECKS
        from gear.queries import health
        from reports.queries.mail_health import check_mail
        from reports.queries.notice_runs import check_notices
        from reports.queries.sent_reports import sent_problems

        for check in (sent_problems,):
            if check not in DETAIL_CHECKS:
                DETAIL_CHECKS.append(check)
        for check_health in (check_mail, check_notices):
            health.register(check_health)
