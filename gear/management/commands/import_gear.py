from gear.actions import gearbook
from gear.management.lines import FileCommand


class Command(FileCommand):
    help = (
        "Bring in a gear book (CSV or XLSX). Without --commit it tells every line's fate and stores nothing; with "
        "--commit it stores all of the file or nothing. Repeating a file adds nothing."
    )
    book = gearbook.BOOK
    dry_run = staticmethod(gearbook.dry_run)
    commit = staticmethod(gearbook.commit)
