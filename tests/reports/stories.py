"""A story of some weeks, told at random: what is done to a dozen pieces, late entries and corrections among it."""

from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import Any

from django.utils import timezone

from gear.actions.acting import Act
from gear.actions.people import change, details_of
from gear.actions.places import change_crew, change_holder
from gear.ledger import Draft, record_many
from gear.models import Entry, GearSet, Holder
from tests import builders


class Story:
    """Does one thing after another, each at the moment at which it is told."""

    def __init__(self, cast: Any, seed: int):
        self.cast, self.chance = cast, Random(seed)
        self.crew_9 = builders.crew("Crew 9", of=builders.depot("Ferrow Point"))
        self.dev = builders.holder("person", "Dev", person=cast.dev)
        self.places = [
            self.dev,
            builders.holder("person", "Marisol"),
            builders.holder("truck", "T-12"),
            builders.holder("shelf", "Shelf B"),
            builders.holder("lab", "The lab", depot=None),
        ]
        self.items = [*builders.pair("P-1"), *builders.pair("P-2")]
        self.items += [builders.blanket(f"B-{number:02d}") for number in range(8)]
        self.visiting = self._visitor("V-01")
        self.number = 20

    def step(self) -> None:
        """One thing, on one of the last days or today."""
        name = self.chance.choice(
            (
                "test",
                "test",
                "put",
                "put",
                "put",
                "hold",
                "release",
                "reject",
                "lose",
                "find",
                "correct",
                "correct",
            )
            + ("part", "arrive", "person", "crew", "truck", "go_home", "note")
        )
        getattr(self, f"_{name}")()

    def _one(self) -> Any:
        return self.chance.choice(self.items)

    def _when(self) -> Any:
        """A day of the last five weeks: what is entered late is about the past."""
        return timezone.localdate() - timedelta(days=self.chance.choice((0, 0, 1, 3, 9, 30)))

    def _enter(self, one: Any, kind: str, **facts: Any) -> Entry:
        return record_many([Draft(one, kind, facts, occurred_on=self._when())], by=self.cast.orla, via="web")[
            0
        ]

    def _test(self) -> None:
        outcome = self.chance.choice(("accepted", "accepted", "accepted", "void", "failed"))
        builders.tested(
            self._one(), on=self._when() - timedelta(days=self.chance.choice((0, 150, 400))), outcome=outcome
        )

    def _put(self) -> None:
        self._enter(self._one(), "moved", holder=self.chance.choice(self.places).as_fact())

    def _hold(self) -> None:
        self._enter(self._one(), "held", reason="odd smell")

    def _release(self) -> None:
        holds = list(Entry.objects.filter(kind="held").order_by("recorded_at", "pk"))
        if holds:
            hold = self.chance.choice(holds)
            self._enter(hold.item, "released", hold=str(hold.pk), reason="looked at")

    def _reject(self) -> None:
        self._enter(self._one(), "rejected", reason="cut")

    def _lose(self) -> None:
        self._enter(self._one(), "lost", reason="not on the truck")

    def _find(self) -> None:
        self._enter(self._one(), "found")

    def _note(self) -> None:
        self._enter(self._one(), "noted", note="nothing")

    def _correct(self) -> None:
        """Withdraw an entry, or move it to another day."""
        kinds = ("tested", "moved", "held", "rejected", "lost")
        entries = list(
            Entry.objects.filter(kind__in=kinds, item__in=self.items).order_by("recorded_at", "pk")
        )
        if not entries:
            return
        entry = self.chance.choice(entries)
        replacement = None
        if self.chance.random() < 0.5:
            earlier = timedelta(days=self.chance.choice((1, 20)))
            replacement = {
                "kind": entry.kind,
                "facts": entry.facts,
                "occurred_at": (entry.occurred_at - earlier).isoformat(),
                "occurred_on": (entry.occurred_on - earlier).isoformat(),
                "precision": entry.precision,
            }
        stated = {"reason": "typed wrongly", "replacement": replacement}
        record_many([Draft(entry.item, "corrected", stated, corrects=entry)], by=self.cast.ines, via="web")

    def _part(self) -> None:
        left, right = self.items[:2]
        on = timezone.localdate()
        if self.chance.random() < 0.5:
            number = f"P-{self.number}"
            self.number += 1
            builders.gather(left, right, set_no=number, on=on)
        elif GearSet.objects.exists():
            newest = Entry.objects.filter(item=left, kind="joined_set").order_by("-position").first()
            self._enter(left, "left_set", set_no=newest.facts["set_no"])

    def _arrive(self) -> None:
        self.number += 1
        self.items.append(builders.blanket(f"B-{self.number}", received_on=self._when()))

    def _person(self) -> None:
        self.cast.dev.refresh_from_db()
        now = details_of(self.cast.dev)
        crew = self.crew_9 if now.crew == self.cast.crew else self.cast.crew
        change(self.cast.dev, details=replace(now, crew=crew), act=Act(self.cast.pim))

    def _crew(self) -> None:
        crew = type(self.cast.crew).objects.get(name="Crew 9")
        depot = builders.depot(self.chance.choice(("Ferrow Point", "Harbour depot")))
        change_crew(crew, name=crew.name, depot=depot, phone="", act=Act(self.cast.pim))

    def _truck(self) -> None:
        truck = Holder.objects.get(kind="truck", name="T-12")
        crew = self.chance.choice((self.cast.crew, self.crew_9))
        change_holder(truck, crew=crew, depot=truck.depot, active=True, act=Act(self.cast.pim))

    def _visitor(self, number: str) -> Any:
        one = builders.blanket(number)
        facts = one.entry_set.get(kind="received").facts
        stated = {name: facts[name] for name in ("identity", "holder")} | {"owner": "Penrose"}
        again = type(one).objects.create(item_no=f"{number}-V", item_type=one.item_type)
        record_many([Draft(again, "received", stated)], by=self.cast.orla, via="web")
        return again

    def _go_home(self) -> None:
        record_many([Draft(self.visiting, "handed_back", {})], by=self.cast.orla, via="web")
