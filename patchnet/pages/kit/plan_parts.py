"""What plans and maps on paper are put together from, beside the shapes of `to_scale.Paper`."""

from collections.abc import Callable

from patchnet.pages.kit.templates import Markup, drawn_by

__all__ = ["draw_circle", "draw_line", "draw_marked", "draw_rect", "draw_words"]

draw_line: Callable[..., Markup] = drawn_by("kit/plan.svg", "line")
"""``draw_line(css, d)``: a path."""
draw_words: Callable[..., Markup] = drawn_by("kit/plan.svg", "words")
"""``draw_words(css, x, y, text, anchor="middle")``: words, escaped; `anchor` "" leaves it to the
style sheet."""
draw_rect: Callable[..., Markup] = drawn_by("kit/plan.svg", "rect")
"""``draw_rect(css, x, y, wide, high)``: a rectangle."""
draw_circle: Callable[..., Markup] = drawn_by("kit/plan.svg", "circle")
"""``draw_circle(css, x, y, radius)``: a circle."""
draw_marked: Callable[..., Markup] = drawn_by("kit/plan.svg", "marked")
"""``draw_marked(thing, shape, x, y, number)``: a drawn shape with its number in a ring; `thing` is
what a script knows it by, or None."""
