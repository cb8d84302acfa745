"""One Monday at the Harbour depot: something in every list of the report."""

from datetime import date
from types import SimpleNamespace

from tests import builders

MONDAY = date(2026, 9, 14)
MORNING = "2026-09-14T09:40:00+00:00"  # 05:40 at the site, which is four hours behind UTC


def harbour_gear(cast: SimpleNamespace) -> SimpleNamespace:
    """Crew 7 has gear that is over its date, held and lost; other crews, shelves and a lab have the rest."""
    cast.crew.phone = "555-0107"
    cast.crew.save()
    elsewhere = builders.depot("Ferrow Point")
    crew_9 = builders.crew("Crew 9", of=elsewhere)
    dev = builders.holder("person", "Dev")
    truck = builders.holder("truck", "T-12")
    marisol = builders.holder("person", "Marisol")
    far_truck = builders.holder("truck", "T-19", crew=crew_9, depot=elsewhere)
    shelf, bench = builders.holder("shelf", "Shelf B"), builders.holder("bench", "Bench 1")
    contractor = builders.holder("contractor", "Penrose Line Crew", depot=None)

    # Tested 5 Jan, first issued 1 Feb, 6 months: good through 31 Jul 2026, 45 days over on the 14th of September.
    left, right = builders.pair("P-0001", on=date(2026, 1, 2))
    builders.tested(left, right, on=date(2026, 1, 5), purpose="first")
    builders.issued(left, right, to=dev, on=date(2026, 2, 1))
    blankets = {}
    for name, tested_on, place in (
        ("held", date(2026, 6, 1), truck),
        ("lost", date(2026, 6, 1), marisol),
        ("over_far", date(2025, 9, 10), far_truck),
        ("over_on_shelf", date(2025, 3, 3), shelf),
        ("due_in_0", date(2025, 9, 15), dev),
        ("due_in_7", date(2025, 9, 22), truck),
        ("due_in_8", date(2025, 9, 23), shelf),
        ("due_in_28", date(2025, 10, 13), far_truck),
        ("due_in_29", date(2025, 10, 14), far_truck),
        ("destroyed", date(2025, 3, 3), bench),
        ("contracted", None, contractor),
    ):
        one = blankets[name] = builders.blanket(f"B-{name}", received_on=date(2025, 1, 2))
        if tested_on:
            builders.tested(one, on=tested_on)
        builders.issued(one, to=place, on=tested_on or date(2026, 9, 1))
    builders.happened(blankets["held"], "held", reason="odd smell", on=date(2026, 9, 11), by=cast.dev)
    builders.happened(blankets["lost"], "lost", reason="not on the truck", on=date(2026, 9, 10))
    builders.happened(blankets["destroyed"], "rejected", reason="cut", on=date(2026, 9, 1))
    builders.happened(
        blankets["destroyed"], "destroyed", reason="cut up", witness="ines", on=date(2026, 9, 2)
    )
    return SimpleNamespace(
        left=left, right=right, monday=MONDAY, cast=cast, crew_9=crew_9, elsewhere=elsewhere, **blankets
    )
