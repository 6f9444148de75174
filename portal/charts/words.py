"""Every word a chart writes, in one place per language, so that a drawing needs no translation machinery."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True)
class Words:
    """The texts of one language. Fields with braces are filled by ``str.format``."""

    lang: str
    months: tuple[str, ...]
    day_form: str
    point: str
    normal: str
    normal_without_trigger: str
    below: str
    nonstandard: str
    untested: str
    unscored: str
    line: str
    trigger: str
    bounds: str
    between: str
    window: str
    middle: str
    earlier: str
    empty: str
    visits: str
    one_visit: str
    spread: str
    trigger_now: str
    no_trigger: str
    count_below: str
    count_nonstandard: str
    count_untested: str
    count_unscored: str
    how_to_read: str
    season: str
    how_to_read_season: str
    no_baseline: str
    baseline: str
    baseline_below: str
    level: str
    below_level: str
    not_below_level: str
    how_to_read_spread: str
    center: str
    limits: str
    within: str
    under: str
    over: str
    control: str
    signals: str
    how_to_read_control: str
    site_normal: str
    site_below: str
    site_nonstandard: str
    site_untested: str
    site_unscored: str
    site_unvisited: str
    old_visit: str
    codes_left_out: str
    stretch: str
    flow: str
    how_to_read_river: str

    def day(self, when: date) -> str:
        """A date as a reader says it, the same on every machine: 4 May 2025."""
        return self.day_form.format(day=when.day, month=self.months[when.month - 1], year=when.year)

    def figure(self, value: float, places: int = 2) -> str:
        """A number as `figure` writes it, with the decimal mark of the language."""
        return figure(value, places).replace(".", self.point)


ENGLISH = Words(
    lang="en",
    months=("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
    day_form="{day} {month} {year}",
    point=".",
    normal="at or above the trigger",
    normal_without_trigger="visit",
    below="below the trigger",
    nonstandard="effort not standard",
    untested="not tested against the trigger",
    unscored="visit without a score",
    line="visits in a row; broken where visits are missing",
    trigger="trigger",
    bounds="possible range",
    between="{low} to {high} possible",
    window="period in question",
    middle="middle of all years",
    earlier="other years",
    empty="No visits yet",
    visits="{count} visits from {first} to {last}",
    one_visit="one visit on {first}",
    spread="lowest {low}, highest {high}, latest {latest}",
    trigger_now="trigger {level}",
    no_trigger="no trigger",
    count_below="below the trigger: {count}",
    count_nonstandard="effort not standard: {count}",
    count_untested="not tested: {count}",
    count_unscored="without a score: {count}",
    how_to_read="Filled circles are visits at or above the trigger, filled triangles pointing down are below "
    "it, hollow squares were not of standard effort, hollow diamonds "
    "were not tested, crosses have no score. The line is broken where visits are missing. "
    "The same figures stand in a table.",
    season="{count} scored visits by month, {first} to {last}",
    how_to_read_season="Filled circles are visits of the year named in the key, hollow circles those of other "
    "years; a thick short line is the middle score of its month. The scores stand in a table.",
    no_baseline="No baseline visit yet",
    baseline="baseline visits: {count}; lowest {low}, middle {middle}, highest {high}",
    baseline_below="below a level of {level}: {count}",
    level="level",
    below_level="visit below the level",
    not_below_level="baseline visit",
    how_to_read_spread="Each mark is a baseline visit, placed along the axis by its score; visits with like "
    "scores are piled up. Circles are at or above the level, triangles pointing down are below it. The same "
    "figures stand in a table.",
    center="usual level",
    limits="control limits",
    within="within the limits",
    under="below the lower limit",
    over="above the upper limit",
    control="{count} visits from {first} to {last}; usual level {center}",
    signals="below the lower limit: {under}; above the upper limit: {over}",
    how_to_read_control="Filled circles lie within the control limits, filled triangles pointing down below "
    "the lower one, hollow diamonds above the upper one. The same figures stand in a table.",
    site_normal="normal",
    site_below="low",
    site_nonstandard="effort not standard",
    site_untested="not tested",
    site_unscored="no score",
    site_unvisited="no visit yet",
    old_visit="old",
    codes_left_out="No room for every code: see the list.",
    stretch="the cause most likely lies here",
    flow="flows on downstream",
    how_to_read_river="The river runs from top to bottom. Filled circles are sites whose latest visit was "
    "normal, filled triangles pointing down were low, hollow diamonds were not tested, crosses have no "
    "score. A ring marks the site in question, a hatched line the stretch in which the cause most likely "
    "lies.",
)

GERMAN = Words(
    lang="de",
    months=("Jan.", "Feb.", "März", "Apr.", "Mai", "Juni", "Juli", "Aug.", "Sep.", "Okt.", "Nov.", "Dez."),
    day_form="{day}. {month} {year}",
    point=",",
    normal="auf oder über dem Auslösewert",
    normal_without_trigger="Begehung",
    below="unter dem Auslösewert",
    nonstandard="kein Standardaufwand",
    untested="nicht mit dem Auslösewert verglichen",
    unscored="Begehung ohne Wert",
    line="aufeinanderfolgende Begehungen; unterbrochen, wo welche fehlen",
    trigger="Auslösewert",
    bounds="möglicher Bereich",
    between="{low} bis {high} möglich",
    window="fraglicher Zeitraum",
    middle="Mitte aller Jahre",
    earlier="andere Jahre",
    empty="Noch keine Begehung",
    visits="{count} Begehungen vom {first} bis zum {last}",
    one_visit="eine Begehung am {first}",
    spread="niedrigster Wert {low}, höchster {high}, letzter {latest}",
    trigger_now="Auslösewert {level}",
    no_trigger="kein Auslösewert",
    count_below="unter dem Auslösewert: {count}",
    count_nonstandard="kein Standardaufwand: {count}",
    count_untested="nicht verglichen: {count}",
    count_unscored="ohne Wert: {count}",
    how_to_read="Gefüllte Kreise sind Begehungen auf oder über dem Auslösewert, gefüllte Dreiecke mit der "
    "Spitze nach unten liegen darunter, leere Quadrate hatten "
    "keinen Standardaufwand, leere Rauten wurden nicht verglichen, Kreuze haben keinen "
    "Wert. Die Linie ist unterbrochen, wo Begehungen fehlen. Dieselben Zahlen stehen in einer "
    "Tabelle.",
    season="{count} bewertete Begehungen nach Monaten, {first} bis {last}",
    how_to_read_season="Gefüllte Kreise sind Begehungen des Jahres, das die Legende nennt, leere Kreise "
    "die anderer Jahre; ein kurzer dicker Strich ist der mittlere Wert seines Monats. "
    "Die Werte stehen in einer Tabelle.",
    no_baseline="Noch keine Basisbegehung",
    baseline="Basisbegehungen: {count}; niedrigster Wert {low}, mittlerer {middle}, höchster {high}",
    baseline_below="unter {level}: {count}",
    level="Auslösewert",
    below_level="Begehung unter dem Auslösewert",
    not_below_level="Basisbegehung",
    how_to_read_spread="Jedes Zeichen ist eine Basisbegehung, der Achse entlang nach ihrem Wert "
    "gesetzt; Begehungen "
    "mit ähnlichem Wert liegen übereinander. Kreise liegen auf oder über dem Auslösewert, "
    "Dreiecke mit der Spitze nach unten darunter. Dieselben Zahlen stehen in einer Tabelle.",
    center="übliche Höhe",
    limits="Kontrollgrenzen",
    within="innerhalb der Grenzen",
    under="unter der unteren Grenze",
    over="über der oberen Grenze",
    control="{count} Begehungen vom {first} bis zum {last}; übliche Höhe {center}",
    signals="unter der unteren Grenze: {under}; über der oberen Grenze: {over}",
    how_to_read_control="Gefüllte Kreise liegen innerhalb der Kontrollgrenzen, gefüllte Dreiecke "
    "mit der Spitze nach "
    "unten unter der unteren, leere Rauten über der oberen. Dieselben Zahlen stehen in einer "
    "Tabelle.",
    site_normal="normal",
    site_below="niedrig",
    site_nonstandard="kein Standardaufwand",
    site_untested="nicht verglichen",
    site_unscored="kein Wert",
    site_unvisited="noch keine Begehung",
    old_visit="alt",
    codes_left_out="Nicht jeder Code hat Platz: siehe Liste.",
    stretch="hier liegt die Ursache am ehesten",
    flow="fließt weiter flussabwärts",
    how_to_read_river="Der Fluss läuft von oben nach unten. Gefüllte Kreise sind Probestellen, deren letzte "
    "Begehung normal war, gefüllte Dreiecke mit der Spitze nach unten waren niedrig, leere Rauten "
    "wurden nicht verglichen, Kreuze haben keinen Wert. Ein Ring bezeichnet die fragliche "
    "Probestelle, eine schraffierte Linie den Abschnitt, in dem die Ursache am ehesten liegt.",
)

LANGUAGES: Mapping[str, Words] = {"en": ENGLISH, "de": GERMAN}


def words_for(lang: str) -> Words:
    """The words of ``lang`` ("en", "en-gb"), English where we have none of that language."""
    return LANGUAGES.get(lang.lower().split("-")[0], ENGLISH)


def figure(value: float, places: int = 2) -> str:
    """A number with at most ``places`` decimals, no idle zeros, a real minus sign and never a minus zero."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text.replace("-", MINUS)
