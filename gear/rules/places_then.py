"""Where people, trucks and crews belonged at an earlier moment: today's register with the later changes taken back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gear.rules.whereabouts import Place

_CHANGE = re.compile(r"(crew|depot): (.*?) -> (.*?)(?=; |$)")
NOBODY = "-"
Belongs = dict[str, str | None]


@dataclass
class Register:
    """Who belongs where, by name: `crews` to a depot, `people` (by username) and `holders` (by kind and name) to a crew
    and a depot. `person_of` tells whose holder one is.

    `doubtful` are the names of which a change could not be taken back: what stands for them is today's.
    """

    crews: dict[str, Belongs] = field(default_factory=dict)
    people: dict[str, Belongs] = field(default_factory=dict)
    holders: dict[tuple[str, str], Belongs] = field(default_factory=dict)
    person_of: dict[tuple[str, str], str] = field(default_factory=dict)
    doubtful: set[str] = field(default_factory=set)

    def places(self) -> dict[tuple[str, str], Place]:
        """Where every holder belongs: through its person first, then by itself, then through its crew."""
        return {key: self._place(key, belongs) for key, belongs in self.holders.items()}

    def _place(self, key: tuple[str, str], belongs: Belongs) -> Place:
        person = self.people.get(self.person_of.get(key, ""), {})
        own, theirs = belongs.get("crew"), person.get("crew")
        depots = (
            self._depot(theirs),
            person.get("depot"),
            belongs.get("depot"),
            self._depot(own),
        )
        return Place(theirs or own, next((depot for depot in depots if depot), None))

    def _depot(self, crew: str | None) -> str | None:
        return self.crews.get(crew or "", {}).get("depot")

    def take_back(self, changes: Iterable[Mapping[str, object]]) -> None:
        """Undo changes, given newest first, each as the facts of its `person_changed` entry say it."""
        for one in changes:
            change, note = str(one.get("change", "")), str(one.get("note", ""))
            if change == "changed":
                username = str(one.get("person", ""))
                self._undo(self.people.get(username), note, username)
                self._settle_holder(username)
            elif change == "crew_changed":
                name = note.split("; ", 1)[0]
                self._undo(self.crews.get(name), note, name)
            elif change == "holder_changed":
                kind, _blank, name = note.split("; ", 1)[0].partition(" ")
                self._undo(self.holders.get((kind, name)), note, name)

    def _settle_holder(self, username: str) -> None:
        """A person's holder is kept at the person's crew and depot with every change of the person."""
        person = self.people.get(username, {})
        for key, name in self.person_of.items():
            if name == username:
                home = person.get("depot") or self._depot(person.get("crew"))
                self.holders[key] = {"crew": person.get("crew"), "depot": home}

    def _undo(self, row: Belongs | None, note: str, name: str) -> None:
        for column, old, new in _CHANGE.findall(note):
            if row is None or (row.get(column) or NOBODY) != new:
                self.doubtful.add(name)
            else:
                row[column] = None if old == NOBODY else old
