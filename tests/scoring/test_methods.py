"""Every method tells what a reader of its page must know."""

import pytest

from scoring.indices import METHODS, Method

KEYS = {
    "bmwp",
    "ntaxa",
    "aspt",
    "ept_families",
    "richness",
    "shannon",
    "simpson",
    "whpt",
    "whpt_ntaxa",
    "whpt_aspt",
    "fbi",
    "ept_percent",
    "pielou",
    "epa_volunteer",
    "bankside",
}


def test_it_has_the_methods_that_the_portal_names() -> None:
    assert set(METHODS) == KEYS


@pytest.mark.parametrize("method", METHODS.values(), ids=METHODS.keys())
def test_it_tells_all_of_a_method(method: Method) -> None:
    for text in ("version", "name", "title", "formula", "source", "verified", "level", "responds_to", "limits"):
        assert getattr(method, text).strip(), text
    assert method.higher_is in ("better", "worse")
    assert 0 <= method.decimals <= 2


@pytest.mark.parametrize("index", ["whpt", "whpt_ntaxa", "whpt_aspt", "fbi", "epa_volunteer", "bmwp"])
def test_it_says_what_is_from_memory(index: str) -> None:
    assert "from memory" in METHODS[index].verified


def test_it_states_log_base_and_form_of_the_diversity_indices() -> None:
    assert "natural logarithm" in METHODS["shannon"].title
    assert "1 - sum of p squared" in METHODS["simpson"].formula


def test_it_says_that_presence_only_whpt_is_missing() -> None:
    assert "presence-only values are not held" in METHODS["whpt"].limits


def test_it_reads_a_high_family_biotic_index_as_worse() -> None:
    assert [key for key, method in METHODS.items() if method.higher_is == "worse"] == ["fbi"]


def test_it_cannot_be_changed_by_accident() -> None:
    with pytest.raises(TypeError):
        METHODS["bmwp"] = METHODS["aspt"]  # type: ignore[index]
