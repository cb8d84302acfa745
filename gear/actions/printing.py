"""Print labels: what was printed is kept, and printing again needs a reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from django.utils.translation import gettext_lazy as _

from gear import permissions
from gear.actions.acting import Act, keeping_refusals
from gear.actions.refusals import FieldRefused
from gear.ledger import append
from gear.models import LabelPrint, PrintedLabel
from gear.queries.labelling import printed_before
from gear.rules.stock import LARGEST_SHIFT, STOCKS

MOST_LABELS = 300  # of one print: ten sheets, some 10 seconds of typesetting
MOST_COPIES = 10


class PrintRefused(FieldRefused):
    """Labels that cannot be printed as asked. `field` is the form field at fault."""

    SENTENCES: ClassVar = {
        "NOTHING_TO_PRINT": ("", _("There is no label to print. Choose other items or another stock.")),
        "NO_SUCH_STOCK": ("stock", _("There is no such label stock. Choose one from the list.")),
        "START_NOT_ON_SHEET": ("start", _("There is no such position on a sheet of this stock.")),
        "COPIES_OUT_OF_RANGE": ("copies", _("Give 1 to 10 copies of each label.")),
        "SHIFT_TOO_LARGE": (
            "shift_x",
            _("Labels can be moved by at most 5 mm. Is the right stock in the tray?"),
        ),
        "TOO_MANY_LABELS": ("copies", _("That is more than 300 labels. Print them in several parts.")),
        "WHY_AGAIN": (
            "reason",
            _(
                "Some of these labels were printed before. Say why they are printed again: worn, lost, misprinted."
            ),
        ),
    }


def print_labels(
    codes: Sequence[str],
    *,
    stock: str,
    start: int = 1,
    copies: int = 1,
    dates: bool = True,
    shift: tuple[int, int] = (0, 0),
    reason: str = "",
    act: Act,
) -> LabelPrint:
    """Keep that these labels, by their codes and in this order, are printed now under `act.id`.

    `shift` is in tenths of a millimetre, right and down. Raises PrintRefused or NotAllowed; then nothing was kept but
    the refusal.
    """
    with keeping_refusals("print_labels", f"{len(codes)} labels, {stock}"[:80], act):
        permissions.check_can(act.by, "print_labels")
        reason = " ".join(reason.split())[:500]
        _check(codes, stock=stock, start=start, copies=copies, shift=shift)
        if not reason and printed_before(codes):
            raise PrintRefused("WHY_AGAIN")
        row = LabelPrint(
            id=act.id,
            by=act.by,
            stock=stock,
            start=start,
            copies=copies,
            dates=dates,
            shift_x=shift[0],
            shift_y=shift[1],
            reason=reason,
            codes=list(codes),
        )
        append(row)
        PrintedLabel.objects.bulk_create(
            [PrintedLabel(printing=row, label_id=code) for code in codes], batch_size=500
        )
        return row


def _check(codes: Sequence[str], *, stock: str, start: int, copies: int, shift: tuple[int, int]) -> None:
    if not codes:
        raise PrintRefused("NOTHING_TO_PRINT")
    if stock not in STOCKS:
        raise PrintRefused("NO_SUCH_STOCK")
    if not 1 <= start <= STOCKS[stock].per_page:
        raise PrintRefused("START_NOT_ON_SHEET")
    if not 1 <= copies <= MOST_COPIES:
        raise PrintRefused("COPIES_OUT_OF_RANGE")
    if max(map(abs, shift)) > LARGEST_SHIFT:
        raise PrintRefused("SHIFT_TOO_LARGE")
    if len(codes) * copies > MOST_LABELS:
        raise PrintRefused("TOO_MANY_LABELS")
