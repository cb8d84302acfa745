"""Items: list, one, its answer, its history; and what may be done to it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import Http404
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.generics import ListAPIView
from rest_framework.response import Response
from rest_framework.views import APIView

from gear import queries
from gear.api.errors import Error
from gear.api.pages import Pages
from gear.models import Entry, Item

MOST_ASKED = 200
REFUSALS = {400: Error, 401: Error, 403: Error, 404: Error, 422: Error, 503: Error}
AS_OF = [
    OpenApiParameter(
        "as_of", str, description="a day (2026-10-02) or a moment with its offset; now when left out"
    ),
    OpenApiParameter(
        "known_at", str, description="a moment with its offset: only what was recorded by then counts"
    ),
]


class ItemLine(serializers.Serializer):
    """An item as it stands now; the verdict is asked for at its answer."""

    item_no = serializers.CharField()
    kind = serializers.CharField(source="item_type.kind")
    serial = serializers.CharField()
    hand = serializers.CharField()
    type = serializers.CharField(source="item_type.type")
    size = serializers.CharField(source="item_type.size")
    length_mm = serializers.IntegerField(source="item_type.length_mm", allow_null=True)
    colour = serializers.CharField(source="item_type.colour")
    maker = serializers.CharField(source="item_type.maker")
    model = serializers.CharField(source="item_type.model")
    lot = serializers.CharField()
    made_on = serializers.DateField(allow_null=True)
    rated_kv = serializers.DecimalField(7, 3, source="item_type.rated_kv", allow_null=True)
    cable_size = serializers.CharField(source="item_type.cable_size")
    cable_length_m = serializers.DecimalField(7, 3, source="item_type.cable_length_m", allow_null=True)
    condition = serializers.CharField(source="state.condition")
    holder = serializers.CharField(source="state.holder.name", default=None)
    holder_kind = serializers.CharField(source="state.holder.kind", default=None)
    set_no = serializers.CharField(source="state.gear_set.set_no", default=None)
    label = serializers.CharField(source="state.label")

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        fields["class"] = serializers.CharField(source="item_type.cls")
        return fields


class AnswerBody(serializers.Serializer):
    """The answer about one item, as the command prints it."""

    item_no = serializers.CharField()
    verdict = serializers.ChoiceField(["good", "stop", "unknown"])
    good_through = serializers.DateField(allow_null=True)
    winning_clock = serializers.CharField(allow_null=True)
    clocks = serializers.ListField(child=serializers.DictField())
    reasons = serializers.ListField(child=serializers.DictField())
    max_use_v = serializers.IntegerField(allow_null=True)
    as_of = serializers.DateField()
    known_at = serializers.DateTimeField()
    rule_pack = serializers.CharField()


class EntryLine(serializers.Serializer):
    """One entry of the ledger, as it was recorded."""

    id = serializers.UUIDField()
    position = serializers.IntegerField()
    kind = serializers.CharField()
    occurred_at = serializers.DateTimeField()
    occurred_on = serializers.DateField()
    precision = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    by = serializers.CharField(source="by.username", default=None)
    via = serializers.CharField()
    facts = serializers.JSONField()
    corrects = serializers.UUIDField(source="corrects_id", allow_null=True)
    previous_hash = serializers.CharField()
    hash = serializers.CharField()


class ItemPages(Pages):
    ordering = "item_no"


class EntryPages(Pages):
    ordering = "position"


def find(item_no: str) -> Item:
    """The item, or 404 in the one shape."""
    item = Item.objects.select_related("item_type").filter(item_no=item_no).first()
    if item is None:
        raise Http404(_("%s is not in the book.") % item_no[:60])
    return item


class Items(ListAPIView):
    """Every item in the book, in order of item number."""

    serializer_class = ItemLine
    pagination_class = ItemPages
    queryset = Item.objects.select_related("item_type", "state__holder", "state__gear_set")


class OneItem(APIView):
    """One item as it stands now."""

    @extend_schema(responses={200: ItemLine, **REFUSALS})
    def get(self, request: Any, item_no: str) -> Response:
        item = Items.queryset.filter(pk=find(item_no).pk).get()
        return Response(ItemLine(item).data)


class OneAnswer(APIView):
    """May this item be used? An item that is not in the book is `unknown`, with status 200."""

    @extend_schema(parameters=AS_OF, responses={200: AnswerBody, **REFUSALS})
    def get(self, request: Any, item_no: str) -> Response:
        asked = _asked(request)
        return Response(queries.as_json(queries.answer(item_no, asked), asked))


class ManyAnswers(APIView):
    """Answers about as many as 200 items: ?item=G-00001&item=G-00002, or codes of labels."""

    @extend_schema(
        parameters=[OpenApiParameter("item", str, many=True, required=True), *AS_OF],
        responses={200: AnswerBody(many=True), **REFUSALS},
    )
    def get(self, request: Any) -> Response:
        wanted = request.query_params.getlist("item")
        if not wanted or len(wanted) > MOST_ASKED:
            raise ValidationError({"item": [_("Name 1 to %d items.") % MOST_ASKED]})
        asked = _asked(request)
        answers = queries.answers_to(wanted, asked, base_url=settings.BASE_URL)
        return Response([queries.as_json(answer, asked) for answer in answers])


class History(ListAPIView):
    """Every entry of one item in order of recording; corrections stand beside what they correct."""

    serializer_class = EntryLine
    pagination_class = EntryPages
    queryset = Entry.objects.none()

    def get_queryset(self) -> Any:
        if "item_no" not in self.kwargs:
            return self.queryset
        return Entry.objects.filter(item=find(self.kwargs["item_no"])).select_related("by")


def _asked(request: Any) -> queries.Question:
    return queries.question_in(
        request.query_params.get("as_of", ""), known_at=request.query_params.get("known_at", "")
    )
