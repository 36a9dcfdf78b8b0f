"""Numbers, days, lists and names as a language writes them.

The expected German is that of CLDR (Unicode CLDR 44, common/main/de.xml: decimal ",", group ".",
percent "#,##0 %" with a no-break space, long date "d. MMMM y", list "{0} und {1}"), French of
fr.xml (group a narrow no-break space, standard list without a comma before "et").
"""

from datetime import date

import numpy as np
import pytest
from babel.messages import pofile
from babel.messages.catalog import Catalog

from patchnet.core import texts
from patchnet.core.language_forms import (
    day_told,
    in_sentence,
    listed,
    nouns_keep_capitals,
    number,
    without_noughts,
)
from patchnet.core.texts import Told, Words, _, language_code, use_language
from patchnet.pages.kit.numbers import before_after, figure, span

NARROW = "\N{NARROW NO-BREAK SPACE}"
NO_BREAK = "\N{NO-BREAK SPACE}"
SAID = {
    "de": {
        "{x:.1f} m by {n}": "{x:.1f} m mal {n}",
        "{share:.0%} of it": "{share:.0%} davon",
        "{text} ({low_text} to {high_text})": "{text} ({low_text} bis {high_text})",
    },
    "fr": {},
    "pt_BR": {},
}


@pytest.fixture
def speak(tmp_path):
    """Speak a language that has a few texts; English again afterwards."""

    def chosen(code):
        catalogue = Catalog(locale=code)
        for text, said in SAID[code].items():
            catalogue.add(text, said)
        path = tmp_path / f"{code}.po"
        with path.open("wb") as lines:
            pofile.write_po(lines, catalogue)
        use_language(str(path))

    before = texts.language()
    yield chosen
    use_language(before)


@pytest.mark.parametrize(
    ("value", "spec", "english", "german", "french"),
    [
        (2.5, "", "2.5", "2,5", "2,5"),
        (7, "", "7", "7", "7"),
        (1234567.891, ",.1f", "1,234,567.9", "1.234.567,9", f"1{NARROW}234{NARROW}567,9"),
        (1234.5, ".2f", "1234.50", "1234,50", "1234,50"),
        (12000, ",", "12,000", "12.000", f"12{NARROW}000"),
        (np.int64(12000), ",", "12,000", "12.000", f"12{NARROW}000"),
        (-0.25, "+.2f", "-0.25", "-0,25", "-0,25"),
        (0.25, "+g", "+0.25", "+0,25", "+0,25"),
        (0.255, ".1%", "25.5%", f"25,5{NO_BREAK}%", None),
        (0.5, ".0%", "50%", f"50{NO_BREAK}%", None),
        (1.5e-7, "g", "1.5e-07", "1,5e-07", "1,5e-07"),
        (float("nan"), ".1f", "nan", "nan", "nan"),
    ],
)
def test_numbers(speak, value, spec, english, german, french):
    use_language("en")
    assert number(value, spec) == english
    speak("de")
    assert number(value, spec) == german
    if french is not None:
        speak("fr")
        assert number(value, spec) == french


def test_days(speak):
    use_language("en")
    assert day_told(date(2026, 5, 3)) == "2026-05-03"
    speak("de")
    assert day_told(date(2026, 5, 3)) == day_told("2026-05-03") == "3. Mai 2026"
    assert day_told("bis zum Sommer") == "bis zum Sommer"
    speak("fr")
    assert day_told("2026-05-03") == "3 mai 2026"


def test_lists(speak):
    use_language("en")
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(["a", "b", "c"], "or") == "a, b or c"
    speak("de")
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "", "a", "a und b", "a, b und c",
    ]  # fmt: skip
    assert listed(["a", "b", "c"], "or") == "a, b oder c"
    speak("fr")
    assert listed(["a", "b", "c"]) == "a, b et c"


def test_names_inside_a_sentence(speak):
    use_language("en")
    assert in_sentence("House sparrow") == "house sparrow"
    assert not nouns_keep_capitals()
    speak("de")
    assert in_sentence("Rote Mauerbiene") == "Rote Mauerbiene"
    assert nouns_keep_capitals()
    speak("fr")
    assert in_sentence("Moineau domestique") == "moineau domestique"


def test_numbers_put_into_a_translated_text(speak):
    speak("de")
    assert _("{x:.1f} m by {n}").format(x=2.5, n=3) == "2,5 m mal 3"
    assert _("{x:.1f} m by {n}").format(x=np.float32(2.5), n="1.200") == "2,5 m mal 1.200"
    assert _("{share:.0%} of it").format(share=0.4) == f"40{NO_BREAK}% davon"
    words = Words({"by": texts.N_("{x:.1f} m by {n}")})
    assert words["by"].format(x=0.5, n=1) == "0,5 m mal 1"
    assert _("{x:g} nobody has translated").format(x=0.5) == "0,5 nobody has translated"
    assert isinstance(_("x"), Told)


def test_figures_of_the_pages(speak):
    speak("de")
    assert [figure(x) for x in (0, 0.034, 0.5, 1.26, 34.4, 12800)] == [
        "0", "0,034", "0,5", "1,3", "34", "13.000",
    ]  # fmt: skip
    assert before_after(3.05, 1.06) == ("3", "1,1", "4,1")
    assert span(1, 2, 8.5) == "2 (1 bis 8,5)"


@pytest.mark.parametrize(
    ("value", "places", "said"),
    [(1.5, 2, "1.5"), (3.0, 2, "3"), (0.096, 2, "0.1"), (30, 0, "30"), (1200.25, 1, "1,200.2")],
)
def test_no_noughts_at_the_end(value, places, said):
    assert without_noughts(value, places) == said


def test_the_code_of_the_language(speak):
    use_language("en")
    assert language_code() == "en"
    speak("pt_BR")
    assert language_code() == "pt-BR"
    assert number(1234.5, ",.1f") == "1.234,5"
