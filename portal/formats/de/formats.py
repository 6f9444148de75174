"""How German writes the days that our pages, e-mails and PDFs name in English order.

Django looks a format up by its name and takes what has no entry as it stands. Our names are the formats
themselves as English has them: `{{ day|date:"l j F" }}` is "Thursday 3 December", and in German "Donnerstag,
3. Dezember".
"""

from __future__ import annotations

IN_GERMAN = {
    "l j F Y": "l, j. F Y",
    "l j F Y, H:i": "l, j. F Y, H:i",
    "l j F": "l, j. F",
    "D j F": "D, j. F",
    "j F Y": "j. F Y",
    "j F": "j. F",
    "j M Y": "j. N Y",
    "j M": "j. N",
    "j F Y, H:i": "j. F Y, H:i",
    "j F Y H:i": "j. F Y H:i",
    "j F Y, H:i:s": "j. F Y, H:i:s",
    "j F Y, H:i T": "j. F Y, H:i T",
    "j F, H:i": "j. F, H:i",
    "j M Y, H:i": "j. N Y, H:i",
    "j M, H:i": "j. N, H:i",
}
globals().update(IN_GERMAN)
