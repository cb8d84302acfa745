"""Electrical tests by API: log one, list them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.response import Response

from gear.actions.submissions import once
from gear.api.acts import act_of, entry_body
from gear.api.fields import Body, Day, Flag, Moment, Number, Text, Whole, Word, checked
from gear.api.items import REFUSALS, find
from gear.api.pages import Pages
from inspections.actions.testing import log_test
from inspections.models import ElectricalTest
from inspections.queries import tests_in_force
from inspections.rules.acceptance import Reading
from inspections.rules.bounds import LAB_RESULTS, LOOKS, PURPOSES, SUPPLIES

READINGS = ("tested_on", "purpose", "supply", "applied_v", "seconds", "leakage_ma", "resistance_mohm",
            "cable_temp_c", "visual", "breakdown", "flashover")  # fmt: skip
PAPER = ("lab_result", "lab", "instrument", "report_no")


class LogTest(Body):
    """V, s, mA, milliohm, degrees C. The outcome is computed and cannot be sent."""

    client_uuid = serializers.UUIDField()
    item_no = Text(most=40)
    tested_on = Day()
    purpose = Word(PURPOSES)
    supply = Word(SUPPLIES, required=False)
    applied_v = Whole(required=False)
    seconds = Whole(required=False)
    leakage_ma = Number(required=False)
    resistance_mohm = Number(required=False)
    cable_temp_c = Number(negative=True, required=False)
    visual = Word(LOOKS)
    breakdown = Flag(required=False)
    flashover = Flag(required=False)
    lab_result = Word(LAB_RESULTS, required=False)
    lab = Text(most=80, required=False)
    instrument = Text(most=80, required=False)
    report_no = Text(most=80, required=False)
    occurred_at = Moment(required=False)
    device = Text(most=80, required=False)


class TestLine(serializers.ModelSerializer):
    """One test as it was read and judged."""

    item_no = serializers.CharField(source="item.item_no")
    purpose = serializers.CharField()
    supply = serializers.CharField()
    visual = serializers.CharField()
    outcome = serializers.CharField()

    class Meta:
        model = ElectricalTest
        fields = ("entry_id", "item_no", *READINGS, *PAPER, "calibration", "outcome", "codes", "limit_ma", "proof_v",
                  "pack")  # fmt: skip
        read_only_fields = fields


class TestPages(Pages):
    ordering = ("-tested_on", "entry_id")


class Tests(ListAPIView):
    """Every test that counts, corrections applied, newest first; ?item= for those of one item. POST logs one, judged
    here and now."""

    serializer_class = TestLine
    pagination_class = TestPages
    queryset = tests_in_force().select_related("item")

    def get_queryset(self) -> Any:
        found = super().get_queryset()
        item_no = self.request.query_params.get("item") if self.request else None
        return found.filter(item=find(item_no)) if item_no else found

    @extend_schema(request=LogTest, responses={201: TestLine, 200: TestLine, **REFUSALS})
    @checked(LogTest)
    def post(self, request: Any, *, given: dict[str, Any]) -> Response:
        item, act = find(given["item_no"]), act_of(request, given)
        reading = Reading(**{name: given[name] for name in READINGS if name in given})
        paper = {name: given[name] for name in PAPER if name in given}

        def work() -> dict[str, Any]:
            test, _judgement = log_test(item, reading, act=act, **paper)
            return {"client_uuid": str(act.id), **_json(TestLine(test).data), "entry": entry_body(test.entry)}

        stated = {
            name: value if isinstance(value, bool | int) else str(value) for name, value in given.items()
        }
        body, is_new = once(act.id, act="log_test", body=stated, by=request.user, work=work)
        return Response(body, 201 if is_new else 200)


def _json(data: Any) -> dict[str, Any]:
    return {name: str(value) if name == "entry_id" else value for name, value in data.items()}
