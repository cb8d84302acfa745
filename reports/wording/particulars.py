"""What a record lacks, and what that costs, in a sentence each."""

from __future__ import annotations

from django.utils.translation import gettext_lazy

# code: (name, what the lack costs)
SENTENCES = {
    "CLASS": (
        gettext_lazy("Class"),
        gettext_lazy(
            "Without it there is no proof voltage, no limit and no MAX USE: no test is judged and no answer is good."
        ),
    ),
    "LENGTH": (
        gettext_lazy("Length"),
        gettext_lazy("Without it the current limit cannot be looked up: its tests are not judged."),
    ),
    "HAND": (
        gettext_lazy("Left or right"),
        gettext_lazy("Without it nobody can say whether its pair is a left and a right one."),
    ),
    "CABLE_SIZE": (
        gettext_lazy("Cable size"),
        gettext_lazy("Without it there is no resistance limit and no grade: its tests are not judged."),
    ),
    "CABLE_LENGTH": (
        gettext_lazy("Cable length"),
        gettext_lazy("Without it there is no resistance limit: its tests are not judged."),
    ),
    "FIRST_ISSUE": (
        gettext_lazy("Day of first issue"),
        gettext_lazy(
            "In use since nobody knows when: its interval counts from the test at once, so it falls due sooner."
        ),
    ),
    "CLAMP_GRADE": (
        gettext_lazy("Clamp grade"),
        gettext_lazy("Without it the jumper and its whole set have no grade, for any fault current."),
    ),
    "FERRULE_GRADE": (
        gettext_lazy("Ferrule grade"),
        gettext_lazy("Without it the jumper and its whole set have no grade, for any fault current."),
    ),
    "SERIAL": (
        gettext_lazy("Serial"),
        gettext_lazy("Without it a certificate does not say which piece of its maker was tested."),
    ),
    "MAKER": (gettext_lazy("Maker"), gettext_lazy("A recall of its maker does not find it.")),
    "MODEL": (gettext_lazy("Model"), gettext_lazy("A recall of its model does not find it.")),
    "LOT": (gettext_lazy("Lot"), gettext_lazy("A recall of its lot does not find it.")),
    "MADE_ON": (
        gettext_lazy("Date of manufacture"),
        gettext_lazy("A recall by date of manufacture does not find it, and its age is not known."),
    ),
    "INSTRUMENT": (
        gettext_lazy("Instrument or lab of the test"),
        gettext_lazy("If a meter turns out to be wrong, nobody finds that this piece was passed by it."),
    ),
    "INSTRUMENT_NOT_ON_FILE": (
        gettext_lazy("Instrument or lab on file"),
        gettext_lazy(
            "The one named is not in the register, so its calibration is not known. Put it there, or correct the name."
        ),
    ),
    "SIZE": (
        gettext_lazy("Size"),
        gettext_lazy("Nobody who needs a pair of a size is shown this one."),
    ),
    "RECORD_UNREADABLE": (
        gettext_lazy("A record that can be read"),
        gettext_lazy("Nothing can be said of it. Have the administrator run verify_ledger."),
    ),
}
NEED_NAMES = {
    "verdict": gettext_lazy("needed for the answer"),
    "rating": gettext_lazy("needed for the rating"),
    "trace": gettext_lazy("needed to trace it"),
    "finding": gettext_lazy("needed to find it"),
}
