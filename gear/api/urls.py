"""Addresses of the JSON interface, below /api/v1/."""

from django.urls import path
from drf_spectacular.views import SpectacularAPIView

from gear.api import acts, docs, items

urlpatterns = [
    path("", docs.page, name="api_docs"),
    path("schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("items/", items.Items.as_view(), name="api_items"),
    path("items/<str:item_no>/", items.OneItem.as_view(), name="api_item"),
    path("items/<str:item_no>/answer/", items.OneAnswer.as_view(), name="api_answer"),
    path("items/<str:item_no>/history/", items.History.as_view(), name="api_history"),
    path("items/<str:item_no>/acts/", acts.Acts.as_view(), name="api_acts"),
    path("answers/", items.ManyAnswers.as_view(), name="api_answers"),
    path("moves/", acts.Moves.as_view(), name="api_moves"),
]
