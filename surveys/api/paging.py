"""Long lists in pages that neither skip nor repeat a row while others are added."""

from __future__ import annotations

from rest_framework.pagination import CursorPagination


class NewestVisits(CursorPagination):
    """Visits, newest first; `limit` says how many on a page."""

    ordering = ("-visited_on", "-submitted_at", "id")
    page_size = 50
    page_size_query_param = "limit"
    max_page_size = 200
