from gear.management.lines import FileCommand
from inspections import wording
from inspections.actions import testbook


class Command(FileCommand):
    help = (
        "Bring in test results of a bench or a lab (CSV or XLSX). Without --commit every line is judged and nothing is "
        "stored; with --commit all of the file is stored or nothing. Repeating a file adds nothing."
    )
    book = testbook.BOOK
    dry_run = staticmethod(testbook.dry_run)
    commit = staticmethod(testbook.commit)
    sentence = staticmethod(wording.line_problem)
