"""Text crosses into a page at one border."""

import json

from hypothesis import given
from hypothesis import strategies as st

from patchnet.pages.kit.escape import attribute, inside_script, json_inside_script, text

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
    assert text('<b title="x">&\'') == "&lt;b title=&quot;x&quot;&gt;&amp;&#x27;"
    assert not set("<>\"'`") & set(attribute(NASTY))


def test_a_library_cannot_end_its_script():
    assert "</script" not in inside_script("let a = '</script>';")
    assert "<!--" not in inside_script("let a = '<!--';")
