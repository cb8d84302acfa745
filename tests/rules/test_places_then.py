"""Where people and trucks belonged: today's register with later changes taken back, and what cannot be taken back."""

from gear.rules.places_then import Register
from gear.rules.whereabouts import Place


def register():
    return Register(
        crews={"Crew 7": {"depot": "Tannery Road"}, "Crew 9": {"depot": "Upper Clay"}},
        people={"dev": {"crew": "Crew 9", "depot": None}},
        holders={
            ("person", "Dev"): {"crew": "Crew 9", "depot": "Upper Clay"},
            ("truck", "T-12"): {"crew": None, "depot": "Tannery Road"},
        },
        person_of={("person", "Dev"): "dev"},
    )


def changed(change, note, person=""):
    return {"change": change, "note": note, "person": person}


def test_without_changes_it_is_todays():
    assert register().places() == {
        ("person", "Dev"): Place("Crew 9", "Upper Clay"),
        ("truck", "T-12"): Place(None, "Tannery Road"),
    }


def test_changes_are_taken_back_newest_first():
    found = register()
    found.take_back(
        [
            changed("crew_changed", "Crew 9; depot: Ferrow Point -> Upper Clay; phone"),
            changed("changed", "crew: Crew 7 -> Crew 9; email", "dev"),
            changed("holder_changed", "truck T-12; crew: Crew 7 -> -"),
            changed("changed", "crew: - -> Crew 7; depot: Tannery Road -> -", "dev"),
        ]
    )
    assert found.places() == {
        ("person", "Dev"): Place(None, "Tannery Road"),
        ("truck", "T-12"): Place("Crew 7", "Tannery Road"),
    }
    assert found.crews["Crew 9"] == {"depot": "Ferrow Point"}
    assert found.doubtful == set()


def test_a_change_that_does_not_lead_to_what_stands_today_is_doubtful_and_changes_nothing():
    found = register()
    found.take_back(
        [
            changed("changed", "crew: Crew 7 -> Crew 8", "dev"),
            changed("holder_changed", "truck T-99; crew: A -> B"),
        ]
    )
    assert found.places() == register().places()
    assert found.doubtful == {"dev", "T-99"}
