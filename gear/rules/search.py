"""What somebody looking for gear means: the words of the trade, read into plain conditions."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from gear.rules.packs import RUBBER_KINDS, RulePack
from gear.rules.ratings import class_for_trade_name

LONGEST = 200  # symbols that are read; nobody types more
MOST_WORDS = 8

# phrase: kinds. Longer phrases are tried first, so that "line hose" is not "hose" with a word left over.
KIND_WORDS: Mapping[str, tuple[str, ...]] = {
    "glove": ("glove",),
    "gloves": ("glove",),
    "sleeve": ("sleeve",),
    "sleeves": ("sleeve",),
    "blanket": ("blanket",),
    "blankets": ("blanket",),
    "line hose": ("line_hose",),
    "linehose": ("line_hose",),
    "hose": ("line_hose",),
    "hoses": ("line_hose",),
    "hood": ("hood",),
    "hoods": ("hood",),
    "rigid cover": ("rigid_cover",),
    "rigid covers": ("rigid_cover",),
    "hard cover": ("rigid_cover",),
    "hard covers": ("rigid_cover",),
    "plastic guard": ("rigid_cover",),
    "plastic guards": ("rigid_cover",),
    "guard": ("rigid_cover",),
    "guards": ("rigid_cover",),
    "soft cover": ("blanket", "line_hose", "hood"),
    "cover": ("rigid_cover", "hood"),
    "covers": ("rigid_cover", "hood"),
    "ground": ("grounding_jumper",),
    "grounds": ("grounding_jumper",),
    "grounding": ("grounding_jumper",),
    "grounding set": ("grounding_jumper",),
    "grounding sets": ("grounding_jumper",),
    "grounding jumper": ("grounding_jumper",),
    "grounding jumpers": ("grounding_jumper",),
    "jumper": ("grounding_jumper",),
    "jumpers": ("grounding_jumper",),
    "live line tool": ("live_line_tool",),
    "live-line tool": ("live_line_tool",),
    "live-line tools": ("live_line_tool",),
    "hot stick": ("live_line_tool",),
    "hot sticks": ("live_line_tool",),
    "stick": ("live_line_tool",),
    "sticks": ("live_line_tool",),
    "voltage detector": ("voltage_detector",),
    "voltage detectors": ("voltage_detector",),
    "detector": ("voltage_detector",),
    "detectors": ("voltage_detector",),
    "protector": ("protector",),
    "protectors": ("protector",),
    "leathers": ("protector",),
}
CONDITION_WORDS: Mapping[str, str] = {
    "held": "held",
    "hold": "held",
    "on hold": "held",
    "lost": "lost",
    "rejected": "rejected",
    "destroyed": "destroyed",
    "scrapped": "destroyed",
    "out for test": "out_for_test",
    "called in": "out_for_test",
    "out for repair": "out_for_repair",
    "needs cleaning": "needs_cleaning",
    "dirty": "needs_cleaning",
}
# phrase: what the answer must say; the words of STANDINGS are told apart by the decision alone.
STANDING_WORDS: Mapping[str, str] = {
    "overdue": "overdue",
    "out of date": "overdue",
    "expired": "overdue",
    "due": "due_soon",
    "due soon": "due_soon",
    "good": "good",
    "in date": "good",
    "stop": "stop",
    "unknown": "unknown",
    "untested": "untested",
    "not tested": "untested",
    "never tested": "untested",
    "failed": "failed",
    "failed test": "failed",
    "odd": "incomplete",
    "incomplete": "incomplete",
    "needs test": "needs_test",
    "suspect": "needs_test",
}
# standing: reason codes of which the answer must have one
REASONS_OF: Mapping[str, frozenset[str]] = {
    "overdue": frozenset({"OUT_OF_DATE", "SHELF_LIMIT"}),
    "untested": frozenset({"NEVER_TESTED"}),
    "failed": frozenset({"FAILED_TEST"}),
    "incomplete": frozenset({"SET_NOT_COMPLETE"}),
    "needs_test": frozenset({"NEEDS_TEST"}),
}
VERDICTS = frozenset({"good", "stop", "unknown"})
HOLDER_WORDS: Mapping[str, str] = {
    "truck": "truck",
    "trucks": "truck",
    "shelf": "shelf",
    "shelves": "shelf",
    "bench": "bench",
    "lab": "lab",
    "contractor": "contractor",
    "contractors": "contractor",
}
HAND_WORDS: Mapping[str, str] = {"left": "L", "lefts": "L", "right": "R", "rights": "R"}
IDLE = frozenset(
    {"a", "an", "the", "with", "of", "in", "for", "at", "on", "and", "or", "me", "my", "any", "all"}
)

_NUMBER = r"(\d{1,6}(?:[.,]\d{1,3})?)"
_SIZES = (Decimal("7"), Decimal("13"))  # 8 to 12 by halves, and a little on either side


@dataclass(frozen=True)
class Query:
    """Conditions that all must hold; what was not asked is None or empty.

    `kv` is a voltage by which people name gear, `kv_class` the class that it names, `kv_by` whether the class has it
    as "proof" or as "use" voltage. Lengths are (shortest, longest) in mm, of the item or of its cable.
    `words` are looked for in numbers, serials, holders, crews, depots, sets and makers.
    """

    kinds: tuple[str, ...] = ()
    cls: str | None = None
    kv: Decimal | None = None
    kv_class: str | None = None
    kv_by: str = ""
    size: str | None = None
    length_mm: tuple[int, int] | None = None
    cable_size: str | None = None
    cable_mm: tuple[int, int] | None = None
    hand: str | None = None
    type: str | None = None
    crew: str | None = None
    truck: str | None = None
    holder_kinds: tuple[str, ...] = ()
    conditions: frozenset[str] = field(default_factory=frozenset)
    standings: frozenset[str] = field(default_factory=frozenset)
    words: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        return self == Query()


def parse(text: str, *, pack: RulePack | None) -> Query:
    """The conditions that a text names. Never raises: what is not understood is a word to look for.

    "20 kV glove" names class 2, "class 2 10 14in" a class, a size and a length. Without a pack a voltage names none.
    """
    rest = " ".join("".join(symbol if symbol.isprintable() else " " for symbol in text[:LONGEST]).split())
    query = Query()
    rest, quoted = _quoted(rest)
    for pattern, apply in _PATTERNS:
        while match := pattern.search(rest):
            query = apply(query, match)
            rest = f"{rest[: match.start()]} {rest[match.end() :]}"
    query, rest = _phrases(query, rest)
    words = [word.strip(",;") for word in rest.split()]
    query, words = _bare_size(query, [word for word in words if word and word.casefold() not in IDLE])
    query = replace(query, words=tuple([*quoted, *words][:MOST_WORDS]))
    return _with_class_of_voltage(query, pack)


def _quoted(text: str) -> tuple[str, list[str]]:
    """What stands in double quotes is looked for as it is. An inch mark closes nothing."""
    found = [part.strip() for part in re.findall(r'(?:^|\s)"([^"]+)"(?=\s|$)', text)]
    return re.sub(r'(?:^|\s)"[^"]+"(?=\s|$)', " ", text), [part for part in found if part]


def _amount(text: str) -> Decimal:
    """20, 7.5 and 7,5; and 17,000 for thousands."""
    if re.fullmatch(r"\d{1,3},\d{3}", text):
        return Decimal(text.replace(",", ""))
    return Decimal(text.replace(",", "."))


def _kilovolts(query: Query, match: re.Match[str]) -> Query:
    return replace(query, kv=_tidy(_amount(match[1])))


def _volts(query: Query, match: re.Match[str]) -> Query:
    return replace(query, kv=_tidy(_amount(match[1]) / 1000))


def _class(query: Query, match: re.Match[str]) -> Query:
    return replace(query, cls=match[1])


def _size(query: Query, match: re.Match[str]) -> Query:
    return replace(query, size=_plain(_amount(match[1])) if match[1][0].isdigit() else match[1])


def _area(query: Query, match: re.Match[str]) -> Query:
    return replace(query, size=f"{match[1]} x {match[2]}")


def _inches(query: Query, match: re.Match[str]) -> Query:
    """A nominal 14 in is marked 356 or 360 mm, an 18 in 456 to 460 mm: the next few millimetres belong to it."""
    mm = int(_amount(match[1]) * Decimal("25.4"))
    return replace(query, length_mm=(mm - 1, mm + 6))


def _millimetres(query: Query, match: re.Match[str]) -> Query:
    mm = int(_amount(match[1]))
    return replace(query, length_mm=(mm, mm))


def _feet(query: Query, match: re.Match[str]) -> Query:
    mm = int(_amount(match[1]) * Decimal("304.8"))
    return replace(query, cable_mm=(mm - 50, mm + 50))


def _metres(query: Query, match: re.Match[str]) -> Query:
    mm = int(_amount(match[1]) * 1000)
    return replace(query, cable_mm=(mm - 50, mm + 50))


def _cable(query: Query, match: re.Match[str]) -> Query:
    size = " ".join(match[1].lower().replace("kcmil", " kcmil").split())
    return replace(query, cable_size=size)


def _crew(query: Query, match: re.Match[str]) -> Query:
    return replace(query, crew=match[1])


def _truck(query: Query, match: re.Match[str]) -> Query:
    return replace(query, truck=match[1], holder_kinds=("truck",))


def _type(query: Query, match: re.Match[str]) -> Query:
    return replace(query, type={"1": "I", "2": "II"}.get(match[1], match[1].upper()))


_EDGE, _END = r"(?<![\w./,-])", r"(?![\w/])"
_PATTERNS: tuple[tuple[re.Pattern[str], Callable[[Query, re.Match[str]], Query]], ...] = tuple(
    (re.compile(f"{_EDGE}{pattern}", re.IGNORECASE | re.ASCII), apply)
    for pattern, apply in (
        (rf"{_NUMBER}[ -]?kv{_END}", _kilovolts),
        (rf"{_NUMBER} ?(?:v|volts?){_END}", _volts),
        (rf"(?:class|cl\.?) ?(00|[0-6]){_END}", _class),
        (r"crew ([\w-]*\d[\w-]*)", _crew),
        (r"truck ([\w-]*\d[\w-]*)", _truck),
        (rf"type ?(ii|i|1|2){_END}", _type),
        (rf"(?:size|sz\.?) ?(\d{{1,2}}(?:[.,]\d)?){_END}", _size),
        (rf"(\d{{1,3}}) ?x ?(\d{{1,3}})(?: ?(?:in|inch|inches)\b| ?\")?{_END}", _area),
        (rf"{_NUMBER}(?: ?(?:in|inch|inches|-inch){_END}| ?\")", _inches),
        (rf"{_NUMBER} ?mm{_END}", _millimetres),
        (rf"{_NUMBER}(?: ?(?:ft|feet|foot){_END}| ?')", _feet),
        (rf"{_NUMBER} ?(?:m|metres?|meters?){_END}", _metres),
        (rf"(#2|[1-4]/0|(?:250|350) ?kcmil){_END}", _cable),
    )
)
_PHRASES = sorted(
    {*KIND_WORDS, *CONDITION_WORDS, *STANDING_WORDS, *HOLDER_WORDS, *HAND_WORDS},
    key=lambda phrase: (-len(phrase), phrase),
)
_PHRASE = re.compile(
    rf"(?<![\w./-])({'|'.join(re.escape(phrase) for phrase in _PHRASES)})(?![\w/-])", re.IGNORECASE
)


def _phrases(query: Query, text: str) -> tuple[Query, str]:
    for match in _PHRASE.finditer(text):
        word = match[1].casefold()
        if word in KIND_WORDS:
            query = replace(query, kinds=_both(query.kinds, KIND_WORDS[word]))
        elif word in CONDITION_WORDS:
            query = replace(query, conditions=query.conditions | {CONDITION_WORDS[word]})
        elif word in STANDING_WORDS:
            query = replace(query, standings=query.standings | {STANDING_WORDS[word]})
        elif word in HOLDER_WORDS:
            query = replace(query, holder_kinds=_both(query.holder_kinds, (HOLDER_WORDS[word],)))
        else:
            query = replace(query, hand=HAND_WORDS[word])
    return query, _PHRASE.sub(" ", text)


def _both(known: tuple[str, ...], named: tuple[str, ...]) -> tuple[str, ...]:
    return known + tuple(kind for kind in named if kind not in known)


def _bare_size(query: Query, words: list[str]) -> tuple[Query, list[str]]:
    """Beside a class, a voltage or a worn kind, a bare number from 7 to 13 is a size; alone it may be any number."""
    worn = not query.kinds or set(query.kinds) <= {"glove", "sleeve", "protector"}
    if query.size or not worn or not (query.cls or query.kv or query.kinds):
        return query, words
    for word in words:
        if re.fullmatch(r"\d{1,2}(?:\.[05])?", word) and _SIZES[0] <= Decimal(word) <= _SIZES[1]:
            return replace(query, size=_plain(Decimal(word))), [other for other in words if other is not word]
    return query, words


def _tidy(number: Decimal) -> Decimal:
    """20 for 20.0 and for 2E+1."""
    return Decimal(_plain(number))


def _plain(number: Decimal) -> str:
    return format(number.normalize(), "f")


def _with_class_of_voltage(query: Query, pack: RulePack | None) -> Query:
    """The class that a voltage names: by proof test first, then by maximum use. None where the tables have neither."""
    if query.kv is None or pack is None:
        return query
    kind = query.kinds[0] if query.kinds else RUBBER_KINDS[0]
    cls = class_for_trade_name(kind, query.kv, pack)
    if cls is None:
        return query
    proof = pack.proof_v(kind, cls, "ac")
    by = "proof" if proof is not None and proof.value == query.kv * 1000 else "use"
    return replace(query, kv_class=cls, kv_by=by, kinds=query.kinds or RUBBER_KINDS)
