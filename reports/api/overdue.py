"""The overdue report by API: the same report as page, PDF and CSV."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.response import Response
from rest_framework.views import APIView

from gear.api.items import REFUSALS
from gear.queries import question_in
from reports import queries
from reports.permissions import scope_of
from reports.wording import as_json


class Overdue(APIView):
    """What is not good and could be used now, what is off the road, what falls due; totals sum to the book."""

    @extend_schema(
        parameters=[
            OpenApiParameter("as_of", str, description="a day or a moment with its offset; now when left out")
        ],
        responses={200: OpenApiTypes.OBJECT, **REFUSALS},
    )
    def get(self, request: Any) -> Response:
        asked = question_in(request.query_params.get("as_of", ""))
        return Response(as_json(queries.overdue_report(asked, scope=scope_of(request.user))))
