"""HTML escaping: what may stand in a page as it is, and that all else is text."""

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.pages.kit.escape import inside_script, inside_style, json_inside_script
from patchnet.pages.kit.table import blank, table

NASTY = "</script><script>alert(1)</script><!-- ` ${1} \" ' & \u2028\u2029 \u202e"


def test_nothing_that_ends_a_script_is_left():
    written = json_inside_script({"label": NASTY})
    assert not set("<>&\u2028\u2029") & set(written)
    assert json.loads(written) == {"label": NASTY}


@given(st.text())
def test_json_reads_back(value):
    """Every text comes back as it was, except halves of surrogate pairs, which become '?'."""
    whole = value.encode("utf-8", "replace").decode("utf-8")
    assert json.loads(json_inside_script([value])) == [whole]


def test_between_tags_and_in_attributes():
    assert ">&lt;b title=&#34;x&#34;&gt;&amp;&#39;<" in table("t", ["h"], [['<b title="x">&\'']])
    (inside,) = re.findall(r'<span class="blank" title="(.*)"></span>', blank(NASTY))
    assert not set("<>\"'") & set(inside)


def test_what_a_template_wrote_is_not_escaped_again():
    assert '<td><span class="blank"></span></td>' in table("t", ["h", "i"], [["x", blank()]])


def test_a_style_sheet_cannot_end_its_element():
    assert inside_style("a{b:c}") == "a{b:c}"
    with pytest.raises(ValueError, match="style sheet"):
        inside_style("</style><script>")


def test_a_library_cannot_end_its_script():
    assert "</script" not in inside_script("let a = '</script>';")
    assert "<!--" not in inside_script("let a = '<!--';")
