"""That no page fetches anything is told from its text alone where that is enough."""

from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.pages.kit.inline import _Addresses, outside_addresses

NAMES = ("src", "SRC", "href", "data", "data-x", "poster", "style", "xlink:href", "class", "alt")
VALUES = (
    "", "#a", "data:,", "data:x", "e.png", "url(a.png)", "url( #a )", "u&#114;l(b.png)", "&#35;a",
    "<b>", " ", "url(&quot;c.png&quot;)", "action=x",
)  # fmt: skip
TEXTS = (
    "<style>", "</style>", "<script>", "</script>", "<!--", "-->", "@import 'c.css'", "src=x",
    "b{background:url(y.png)}", "b{fill:url(#y)}", "&lt;img src=", "<p>", "</p>", "\n",
)  # fmt: skip


@st.composite
def elements(draw):
    """A start tag with some attributes, quoted or not, with and without blanks."""
    out = "<" + draw(st.sampled_from(("img", "a", "use", "svg", "link")))
    for name, value, quote, sign in draw(
        st.lists(
            st.tuples(
                st.sampled_from(NAMES), st.sampled_from(VALUES), st.sampled_from(("'", '"', "")),
                st.sampled_from(("=", " = ", "==")),
            ),
            max_size=3,
        )
    ):  # fmt: skip
        out += f" {name}{sign}{quote}{value}{quote}"
    return out + draw(st.sampled_from((">", "/>", " >")))


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(elements(), st.sampled_from(TEXTS)), max_size=6))
def test_what_is_told_from_the_text_is_what_reading_every_element_tells(parts):
    page = "".join(parts)
    reader = _Addresses()
    reader.feed(page)
    reader.close()
    assert outside_addresses(page) == reader.found


def test_a_link_to_click_and_a_picture_inside_the_page_are_no_addresses():
    assert outside_addresses('<a href="https://fine.example/">x</a><img src="data:,">') == []
    assert outside_addresses("<p style='background:u&#114;l(d.png)'>") == ["d.png"]
