"""Every text that scoring shows can be collected for translation, and is translated where it is shown."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring import sentences
from scoring.advice import advise_trigger
from scoring.agreement import THRESHOLDS, compare_counts
from scoring.indices import METHODS, score_sample
from scoring.recording_lists import supported_indices
from scoring.samples import Count
from scoring.tables import read_table
from scoring.trend import seasonal_kendall
from surveys.services.built_in_lists import ensure_bankside_list
from surveys.texts import told as told_module
from surveys.texts.lists import LISTS, source_of
from surveys.texts.told import label_of, method_words, table_texts, taxon_words, told
from tests.conftest import Cast
from tests.factories import submit
from tests.surveys.pages import address, signed_in, text_of

ROOT = Path(told_module.__file__).parents[2]
START = date(2020, 1, 15)
NAMES = [row["name"] for row in read_table("taxa")] + ["Nothing known"]


@pytest.fixture
def foreign(monkeypatch: pytest.MonkeyPatch) -> None:
    """A language in which every text stands between arrows, so that what was not translated shows."""
    monkeypatch.setattr(told_module, "gettext", lambda text: f"→{text}←")


def marked_in(path: Path) -> Iterator[str]:
    """The texts that a file gives to `gettext_noop` as they stand: what tools for translators collect."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "gettext_noop":
            assert isinstance(node.args[0], ast.Constant), f"{path}: no plain text in line {node.lineno}"
            yield str(node.args[0].value)


class TestCatalogue:
    @pytest.mark.parametrize("name", LISTS)
    def test_each_list_of_texts_is_the_one_that_its_sources_give(self, name: str) -> None:
        assert (ROOT / f"surveys/texts/{name}.py").read_text(encoding="utf-8") == source_of(name), (
            "make messages"
        )

    def test_every_text_of_the_tables_and_the_key_can_be_collected(self) -> None:
        for name, (_about, words) in LISTS.items():
            assert set(marked_in(ROOT / f"surveys/texts/{name}.py")) == set(words()) - {""}

    def test_every_sentence_can_be_collected(self) -> None:
        assert set(marked_in(ROOT / "scoring/sentences.py")) == set(sentences.SENTENCES)

    @pytest.mark.parametrize("method", METHODS.values(), ids=METHODS.keys())
    def test_it_holds_the_whole_story_of_each_method(self, method: object) -> None:
        words = {text for text in vars(method).values() if isinstance(text, str)}
        assert words - table_texts() == {vars(method)["key"], vars(method)["version"]}

    def test_it_holds_classes_ratings_and_thresholds(self) -> None:
        shown = {row["class"] for row in read_table("fbi_classes")} | {
            row["band"] for row in read_table("epa_bands")
        }
        assert shown | {each.source for each in THRESHOLDS.values()} <= table_texts()


def is_known(text: str) -> bool:
    """Whether the text is found by its template: it comes back between arrows."""
    found = told(text)
    return found.startswith("→") and found.endswith("←")


@pytest.mark.usefixtures("foreign")
class TestSentences:
    @given(st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from([None, 0, 1, 40])), max_size=6))
    def test_it_knows_why_any_sample_has_no_score(self, recorded: list[tuple[str, int | None]]) -> None:
        counts = [Count(name) if number is None else Count(name, number) for name, number in recorded]
        reasons = [score.why_none for score in score_sample(counts).values() if score.why_none]
        assert [reason for reason in reasons if not is_known(reason)] == []

    @given(st.lists(st.sampled_from(NAMES), max_size=8), st.booleans())
    def test_it_knows_why_any_list_supports_no_index(self, taxa: list[str], with_numbers: bool) -> None:
        reasons = filter(None, supported_indices(taxa, with_numbers=with_numbers).values())
        assert [reason for reason in reasons if not is_known(reason)] == []

    @given(st.lists(st.integers(0, 60), min_size=1, max_size=40), st.floats(0.01, 5))
    def test_it_knows_every_caution_beside_advice(self, values: list[int], wanted: float) -> None:
        scores = [(START + timedelta(days=91 * at), float(value)) for at, value in enumerate(values)]
        advice = advise_trigger(scores, index="bmwp", visits_per_year=12, false_alarms_per_year=wanted)
        assert [caution for caution in advice.cautions if not is_known(caution)] == []

    def test_it_knows_the_caution_of_a_baseline_that_falls(self) -> None:
        scores = [(START + timedelta(days=30 * at), 90.0 - at) for at in range(60)]
        (caution,) = advise_trigger(scores, index="bmwp", visits_per_year=12).cautions
        # The word in its place is translated as well as the sentence around it.
        assert "→falling←" in told(caution)

    def test_it_knows_why_there_is_no_trend_or_agreement(self) -> None:
        reasons = [seasonal_kendall([(START, 4.0)]).why_none]
        reasons.append(seasonal_kendall([(START + timedelta(days=365 * at), 4.0) for at in range(4)]).why_none)
        reasons.append(compare_counts([Count("Baetidae")], [Count("Baetidae", 4)]).why_none)
        reasons.append(compare_counts([], []).why_none)
        assert all(reasons)
        assert all(map(is_known, reasons))

    def test_it_puts_the_figures_back_where_they_stood(self) -> None:
        sentence = sentences.TOO_FEW_TAXA.format(found=3, scored=85)
        assert told(sentence) == f"→{sentence}←"

    def test_it_tells_two_sentences_apart_that_begin_alike(self) -> None:
        short = sentences.NO_NUMBER.format(names="Baetidae, Elmidae")
        long = sentences.NO_NUMBER_PRESENCE.format(names="Baetidae, Elmidae")
        assert (told(short), told(long)) == (f"→{short}←", f"→{long}←")

    @pytest.mark.parametrize("text", ["", "Baetidae", "Something a volunteer typed.", "{names}"])
    def test_it_leaves_other_texts_alone(self, text: str) -> None:
        assert told(text) == text


def test_it_changes_nothing_in_english() -> None:
    for text in (*method_words(), *taxon_words(), sentences.LIST_LACKS.format(names="Plecoptera")):
        assert told(text) == text


@pytest.mark.usefixtures("foreign")
class TestPages:
    def test_it_names_an_index_in_a_form(self) -> None:
        assert label_of("ntaxa") == "→Scoring taxa←: →Number of BMWP scoring taxa←"

    def test_the_page_of_a_method_is_translated(self, cast: Cast) -> None:
        page = text_of(signed_in(cast.volunteer).get("/methods/fbi/"))
        method = METHODS["fbi"]
        parts = (method.title, method.name, method.formula, method.limits, method.responds_to, method.verified)
        assert [part for part in (*parts, method.source, method.unit) if f"→{part}←" not in page] == []

    def test_the_overview_of_methods_is_translated(self, cast: Cast) -> None:
        page = text_of(signed_in(cast.volunteer).get("/methods/"))
        assert [each.key for each in METHODS.values() if f"→{each.title}←" not in page] == []

    def test_the_scores_of_a_visit_are_translated(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site, counts={"Baetidae": 0})
        page = text_of(signed_in(cast.volunteer).get(address("visit_detail", cast.group, visit_id=visit.pk)))
        assert f"→{sentences.NO_SCORING_TAXON}←" in page
        assert "→Richness←" in page or "→Number of taxa as recorded←" in page

    def test_what_a_list_cannot_support_is_translated(self, cast: Cast) -> None:
        found = ensure_bankside_list()
        page = text_of(signed_in(cast.volunteer).get(address("list_detail", cast.group, list_id=found.pk)))
        assert "→Needs finer names than: " in page
        assert f"→{METHODS['bankside'].title}←" in page

    def test_the_trigger_page_is_translated(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        page = text_of(
            signed_in(cast.coordinator).get(address("trigger_set", cast.group, site_id=cast.site.pk))
        )
        assert "→BMWP←: →Biological Monitoring Working Party score←" in page

    def test_columns_of_tables_are_translated(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        page = text_of(signed_in(cast.volunteer).get(address("site_list", cast.group)))
        assert "→BMWP← →Scoring taxa← →ASPT←" in page
