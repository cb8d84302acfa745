"""Lists in the API come in pages that stay in step while rows are added."""

from rest_framework.pagination import CursorPagination


class Pages(CursorPagination):
    """`?cursor=` from the last answer, `?page_size=` up to 200. A subclass may choose another order."""

    ordering: str | tuple[str, ...] = "id"
    page_size = 100
    page_size_query_param = "page_size"
    max_page_size = 200
