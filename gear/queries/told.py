"""An answer as it leaves the program: the same fields by command and by API."""

from __future__ import annotations

from datetime import UTC
from typing import Any

from gear import wording
from gear.queries.questions import Question
from gear.rules.readiness import Answer


def as_json(answer: Answer, asked: Question) -> dict[str, Any]:
    """The answer with exactly these keys. `reasons` are what speaks against use, worst first; notes are left out.

    `good_through` and `winning_clock` are null where nothing dates the item, `max_use_v` where no table rates it.
    """
    return {
        "item_no": answer.item_no,
        "kind": answer.kind,
        "class": answer.cls,
        "verdict": answer.verdict,
        "good_through": answer.good_through.isoformat() if answer.good_through else None,
        "winning_clock": answer.winning_clock,
        "clocks": [
            {"name": clock.name, "good_through": clock.good_through.isoformat(), "source": clock.source}
            for clock in answer.clocks
        ],
        "reasons": [
            {"code": reason.code, "sentence": wording.sentence(reason), "source": reason.source}
            for reason in answer.reasons
        ],
        "max_use_v": answer.max_use_v,
        "as_of": answer.as_of.isoformat(),
        "known_at": (asked.known_at or asked.asked_at).astimezone(UTC).isoformat(),
        "rule_pack": answer.rule_pack,
    }


def as_text(answer: Answer) -> str:
    """The answer in a few lines: the verdict, then every reason with whom to see."""
    lines = [f"{answer.item_no}: {wording.verdict(answer)}"]
    lines += [
        f"  {wording.sentence(reason)} {wording.who_to_see(reason)} [{reason.source}]"
        for reason in answer.reasons
    ]
    lines += [
        f"  {wording.clock(clock.name)}: {wording.day(clock.good_through)} [{clock.source}]"
        for clock in answer.clocks
    ]
    return "\n".join(lines)
