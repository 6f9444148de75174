"""The icons of Rifflebook: our own drawings on a grid of 24, stroked in the colour of the text beside them."""

from __future__ import annotations

from typing import Final

# Meanings differ by outline, not by colour: circle, triangle up, octagon, triangle down, diamond, cross.
PATHS: Final[dict[str, str]] = {
    "ok": "M12 3a9 9 0 1 0 0 18a9 9 0 0 0 0-18zM7.5 12.5l3 3l6-6.5",
    "info": "M12 3a9 9 0 1 0 0 18a9 9 0 0 0 0-18zM12 11v6M12 7v.6",
    "caution": "M12 3.5L22 20.5H2zM12 10v5M12 17.6v.4",
    "danger": "M8 2.5h8l5.5 5.5v8l-5.5 5.5h-8l-5.5-5.5v-8zM12 7v6.5M12 16.6v.4",
    "below": "M2.5 4.5h19L12 20.5zM12 8v4.5M12 15v.3",
    "untested": "M12 2.5l9.5 9.5l-9.5 9.5l-9.5-9.5z",
    "unscored": "M5 5l14 14M19 5l-14 14",
    "waiting": "M12 3a9 9 0 1 0 0 18a9 9 0 0 0 0-18zM12 7v5.5l3.5 2",
    "draft": "M4 20l1-4.5L16.5 4l3.5 3.5L8.5 19zM14 6.5l3.5 3.5",
    "neutral": "M5 12h14",
    "visit": "M3 3l8 8M7 15l8-8c5 1.5 7.5 7 6 14c-7 1.5-12.5-1-14-6zM11.5 13.5l7 5M14 11l5 6.5",
    "site": "M12 21.5c-4-5-6.5-8-6.5-12a6.5 6.5 0 0 1 13 0c0 4-2.5 7-6.5 12zM9 10c1.5-1.5 3 1 6-.7",
    "river": "M2 7c3-3 5 2 8 0M13 6c3-2 5 1.5 9 .5M2 13h.5c2-2 4 1 6 0M11 12.5c4-3 7 2.5 11 0"
    "M2 19c4-3 6 2 11 0M16 18.5c2-1 4 .5 6 0",
    "calendar": "M4 6h16v15H4zM4 11h16M8 3v5M16 3v5",
    "person": "M12 12.5a4.5 4.5 0 1 0 0-9a4.5 4.5 0 0 0 0 9zM3.5 21c.5-4 4-6 8.5-6s8 2 8.5 6",
    "group": "M9 12a4 4 0 1 0 0-8a4 4 0 0 0 0 8zM2 20.500c.5-4 3-6 7-6s6.5 2 7 6"
    "M16 4.500a4 4 0 0 1 0 7M18 15c2.5.5 3.7 2.5 4 5.5",
    "phone": "M5 3h4l2 5.500l-2.5 2c1 2.5 2.5 4 5 5l2-2.500"
    "L21 15v4c0 1.5-1 2-2 2C10.5 20.5 3.5 13.5 3 5c0-1 .5-2 2-2z",
    "mail": "M3 5h18v14H3zM3 7l9 7l9-7",
    "camera": "M3 7h4.500L9 4.500h6L16.5 7H21v13H3zM12 17a4 4 0 1 0 0-8a4 4 0 0 0 0 8z",
    "next": "M4 12h15M13 6l6 6l-6 6",
    "back": "M20 12H5M11 6l-6 6l6 6",
    "open": "M6 9l6 6l6-6",
    "close": "M6 6l12 12M18 6L6 18",
    "add": "M12 4v16M4 12h16",
    "edit": "M4 20l1-4.500L16.5 4l3.5 3.500L8.5 19z",
    "download": "M12 3v12M6.5 10l5.5 5.500l5.5-5.500M4 20.500h16",
    "search": "M10.5 17a6.5 6.5 0 1 0 0-13a6.5 6.5 0 0 0 0 13zM15.5 15.500l5.5 5.5",
    "remove": "M4 7h16M9 7V4h6v3M6.5 7l1 13.500h9l1-13.5",
    "report": "M5 3h10l4 4v14H5zM9 17v-4M12 17V9.500M15 17v-2.5",
}


def drawing(name: str) -> str:
    """The path of that icon; raises ValueError for a name we have no drawing of."""
    try:
        return PATHS[name]
    except KeyError:
        raise ValueError(f"there is no icon called {name!r}; there are: {', '.join(sorted(PATHS))}") from None
