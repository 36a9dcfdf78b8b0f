"""The map page: one HTML file that opens anywhere and asks the network for nothing."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

import folium
import numpy as np
from branca.element import Figure

from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.core.errors import PatchnetError, WrongUse
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.texts import _
from patchnet.pages.kit import colours
from patchnet.pages.kit.escape import json_inside_script
from patchnet.pages.kit.inline import asset, leaflet_script, leaflet_style
from patchnet.pages.kit.page import page, script_of
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.kit.shapes import Frame
from patchnet.pages.kit.story_words import Story, begin_with, story
from patchnet.pages.kit.templates import Markup, escape, render
from patchnet.pages.map import map_words as words
from patchnet.pages.map.additions_payload import additions_payload
from patchnet.pages.map.figures_used import figures_used
from patchnet.pages.map.payload import page_frame, payload
from patchnet.pages.map.sun_layer import SUN_SHOW, sun_layer
from patchnet.pages.map.underlay import underlay as picture_under
from patchnet.pages.privacy import assessment_for
from patchnet.plan.additions import PlotAdditions
from patchnet.plan.most_help import most_help
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.shade import SunHours

__all__ = ["SCRIPTS", "SVG_PLOTS", "map_page", "write_map"]

# Up to this many plots each is an element of its own, which a keyboard and a screen reader can
# reach; beyond it they are painted on a canvas, which stays quick, and the table leads to them.
SVG_PLOTS = 600

OSM = "openstreetmap"
SCRIPTS = (
    "kit/script/base.js",
    "map/script/tell.js",
    "kit/script/decode.js",
    "map/script/distance.js",
    "map/script/tints.js",
    "map/script/layers.js",
    "map/script/sun.js",
    "map/script/draw.js",
    "map/script/paint.js",
    "map/script/garden.js",
    "map/script/over_ground.js",
    "map/script/labels.js",
    "map/script/marks.js",
    "map/script/street.js",
    "map/script/table.js",
    "map/script/later.js",
    "map/script/additions.js",
    "map/script/card.js",
    "map/script/sheet.js",
    "map/script/year.js",
    "map/script/plot_address.js",
    "map/script/find_house.js",
    "map/script/things.js",
    "map/script/keyboard.js",
    "map/script/paper.js",
    "map/script/main.js",
)
"""The scripts of the page, in their order."""
_ICON = ("235c45", "c93a12")
_THREE = 3
_HOUSE = "M8 1L15 7H13V15H3V7H1Z"  # a house, in the list of rooms
_TILE_ADDRESS = re.compile(r"https?://[^\s<>\"'`\\]+")


class _StreetMap(folium.Map):
    """folium's map under a name that is the same each time."""

    def get_name(self) -> str:
        return "map_street"


class _Tiles(folium.TileLayer):
    """folium's tile layer under a name that is the same each time."""

    def get_name(self) -> str:
        return "tiles_street"


def map_page(
    assessment: Assessment,
    *,
    title: str | None = None,
    tiles: str | None = None,
    tiles_credit: str | None = None,
    groups: Sequence[str] | None = None,
    public: bool = False,
    sun: SunHours | None = None,
    additions: Mapping[str, PlotAdditions] | None = None,
    together: Mapping[str, Sequence[str]] | None = None,
    underlay: Path | str | None = None,
    progress: Callable[[Iterable[GroupAnswer]], Iterable[GroupAnswer]] | None = None,
) -> str:
    """Return the map page of an assessment as HTML text.

    The page holds everything it needs: it opens from disk without network. The same assessment
    gives the same text.

    Parameters
    ----------
    assessment
        The answers, from :func:`patchnet.assess.assess`.
    title
        Heading of the page; None: the neighbourhood's name.
    tiles
        None: drawn from the user's own data alone. ``"openstreetmap"`` or an address such as
        ``"https://tiles.example.org/{z}/{x}/{y}.png"``: background pictures from the network,
        which the page then says.
    tiles_credit
        Credit line of the tiles, plain text; without one the page names the server.
    groups
        Keys of the wildlife groups to carry; None: all.
    public
        True: a page that may be published; the answers must be for the public (see
        `patchnet.pages.privacy.assessment_for`), which it says.
    sun
        Hours of sun of all months, from `patchnet.sun.shade.sun_hours`: a layer to choose and
        a part of each card. Worked out for what the page shows, so for a public page from
        what the public may see.
    additions
        What could be added to each plot, from `patchnet.plan.additions.possible_additions`: a
        form on each card. None: the card says how to get it.
    together
        Lines of the street's plan for the cards of plots, by id, from
        `patchnet.pages.kit.street_words.street_told`; None: there is no plan.
    underlay
        A raster picture of one's own, such as an aerial photograph, to lie under the gardens.
    progress
        Wraps the groups' answers while their layers are worked out and drawn, such as a progress
        bar: groups that walk take a second or so each.

    Returns
    -------
    str
        HTML text.

    Raises
    ------
    CannotRead
        If the picture to lie under the gardens cannot be read, or is of another place.
    WrongUse
        If a group is not in the assessment, the tiles' address is of no use, or additions or a
        street's plan are meant for a public page: they would tell what is in single gardens.
    PatchnetError
        If a file that the page needs is not installed, so that it would have to be fetched.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> "Alder Row" in patchnet.map_page(answer, title="Alder Row")
    True
    """
    public = public or assessment.neighbourhood.audience == "public"
    if public and additions is not None:
        raise WrongUse(_("A page to be published carries no additions: leave out one of the two."))
    if public and together is not None:
        raise WrongUse(_("A page to be published carries no plan: leave out one of the two."))
    if public:
        assessment = assessment_for(assessment, "public")
    hood = assessment.neighbourhood
    data = payload(assessment, groups=groups, public=public, progress=progress)
    data["colours"] = colours.for_page()
    data["words"] = {**words.SCRIPT, **words.PUBLIC_SCRIPT} if public else dict(words.SCRIPT)
    data["svgPlots"] = SVG_PLOTS
    data["start"] = "gardens"
    data["step"] = assessment.knowledge.setting("step_m")
    data["sun"] = None if sun is None else sun_layer(sun, hood.plots.index, assessment.knowledge)
    data["additions"] = None
    if additions is not None:
        data["additions"] = additions_payload(
            additions,
            plots=hood.plots.index,
            features=hood.answers.features,
            knowledge=assessment.knowledge,
        )
    data["together"] = None
    if together is not None:
        data["together"] = [list(together.get(str(plot), ())) for plot in hood.plots.index]
    data["underlay"] = None if underlay is None else picture_under(underlay, hood)
    as_svg = len(hood.plots) <= SVG_PLOTS
    street_map, tile_host, attribution = _street_map(tiles, tiles_credit, as_svg=as_svg)
    library, style, map_box, map_script = _drawn_by_folium(street_map)
    helped = most_help(assessment)
    told = story(helped, assessment)
    data["best"] = (
        [
            [
                [one.title, one.words, one.small, list(one.cautions)]
                for one in begin_with(helped, str(plot), assessment.knowledge)
            ]
            for plot in hood.plots.index
        ]
        if helped.on_plots
        else None
    )
    at = {key: number for number, key in enumerate(hood.answers.features)}
    data["bestFeatures"] = [
        [at[one.feature] for one in helped.on_plots.get(str(plot), ())] for plot in hood.plots.index
    ]
    data["things"] = _things_on_map(told, page_frame(hood))
    privacy = _(words.PRIVACY_GAPS) if len(hood.barriers) else _(words.PRIVACY)
    if hood.withheld:
        privacy = f"{privacy} {_(words.LEFT_OUT)} {hood.withheld}"
    return page(
        "map/map_page.html",
        title=title if title is not None else place_name(hood),
        story=told,
        help_title=_("Three things that would help most")
        if len(told.things) == _THREE
        else _("What would help most"),
        house=_HOUSE,
        icon=_ICON,
        styles=[f"\n{style}\n", f"\n{colours.css_variables()}\n{asset('map/map_page.css')}\n"],
        scripts=[library, map_script, script_of(SCRIPTS)],
        images=tile_host,
        w=words.PAGE,
        map_how=words.PAGE["map_how_svg" if as_svg else "map_how_canvas"],
        privacy=_(words.PUBLIC) if public else privacy,
        public_how=_public_words(hood) if public else "",
        tiles_words=_(words.TILES) if tile_host else "",
        assumptions=_(words.ASSUMPTIONS),
        shows={**words.SHOWS, **(SUN_SHOW if sun is not None else {})},
        map_box=map_box,
        used=figures_used(assessment.knowledge),
        credits=[*hood.credits, *([attribution] if attribution else []), words.PAGE["drawn_by"]],
        payload=json_inside_script(data),
    )


def write_map(
    assessment: Assessment,
    path: Path | str,
    *,
    title: str | None = None,
    tiles: str | None = None,
    tiles_credit: str | None = None,
    groups: Sequence[str] | None = None,
    public: bool = False,
    sun: SunHours | None = None,
    additions: Mapping[str, PlotAdditions] | None = None,
    together: Mapping[str, Sequence[str]] | None = None,
    underlay: Path | str | None = None,
    overwrite: bool = False,
    progress: Callable[[Iterable[GroupAnswer]], Iterable[GroupAnswer]] | None = None,
) -> Path:
    """Write the map page to `path`, whole or not at all, and return the path.

    Parameters
    ----------
    assessment, title, tiles, tiles_credit, groups, public, sun, additions, together
        As in `map_page`.
    underlay, progress
        As in `map_page`.
    path
        The HTML file; its folder must be there.
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    CannotWrite
        If the file cannot be written, or would replace one that patchnet did not make.
    CannotRead, WrongUse, PatchnetError
        As `map_page`.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.write_map(answer, "street.html", title="Two streets").name
    'street.html'
    """
    ensure_may_write(path, overwrite=overwrite)
    made = map_page(
        assessment,
        title=title,
        tiles=tiles,
        tiles_credit=tiles_credit,
        groups=groups,
        public=public,
        sun=sun,
        additions=additions,
        together=together,
        underlay=underlay,
        progress=progress,
    )
    write_text(path, made)
    return Path(path)


def _street_map(
    tiles: str | None, credit: str | None, *, as_svg: bool
) -> tuple[folium.Map, str, Markup]:
    """Return folium's map and, with tiles, where they come from and their credit as HTML."""
    street_map = _StreetMap(
        tiles=None,
        zoom_control=False,
        prefer_canvas=not as_svg,
        control_scale=True,
        zoom_animation=False,
        fade_animation=False,
        marker_zoom_animation=False,
        zoom_snap=0.25,
        max_zoom=22,
        attribution_control=tiles is not None,
    )
    if tiles is None:
        if credit is not None:
            raise WrongUse(_("A credit for tiles was given, but no tiles."))
        return street_map, "", Markup()
    if tiles == OSM:
        address, attribution = "https://tile.openstreetmap.org/{z}/{x}/{y}.png", _osm_credit()
    else:
        if not _TILE_ADDRESS.fullmatch(tiles) or not all(
            part in tiles for part in ("{z}", "{x}", "{y}")
        ):
            raise WrongUse(
                _(
                    "Tiles are {osm!r} or an address with {{z}}, {{x}} and {{y}}, such as "
                    "https://tiles.example.org/{{z}}/{{x}}/{{y}}.png; not {tiles!r}."
                ).format(osm=OSM, tiles=tiles)
            )
        address = tiles
        known = _osm_credit() if ".openstreetmap." in tiles else escape(_tile_host(tiles))
        attribution = escape(credit) if credit else known
    layer = _Tiles(tiles=address, attr=attribution, max_zoom=22, max_native_zoom=19, name="tiles")
    layer.add_to(street_map)
    host = re.sub(r"\{\w+\}", "*", "/".join(address.split("/", 3)[:3]))
    return street_map, f" {host}", attribution


def _osm_credit() -> Markup:
    return render("map/osm_credit.html")


def _tile_host(address: str) -> str:
    """Name where tiles come from, for want of a credit line."""
    return _("Map tiles: ") + address.split("/", 3)[2].removeprefix("{s}.")


def _drawn_by_folium(street_map: folium.Map) -> tuple[str, str, Markup, str]:
    """Leaflet's script and style, and the map's own box and script, as folium makes them.

    folium's page around them (its libraries for markers, a viewport that cannot be zoomed) is
    left out: the page needs Leaflet alone.
    """
    figure = Figure()
    street_map.add_to(figure)
    figure.render()
    scripts: Mapping[str, str] = dict(street_map.default_js)
    styles: Mapping[str, str] = dict(street_map.default_css)
    try:
        library = leaflet_script(scripts["leaflet"])
        style = leaflet_style(styles["leaflet_css"])
    except KeyError as error:
        raise PatchnetError(
            _("This version of folium names no {error}.").format(error=error)
        ) from error
    box = Markup(figure.html.render())
    return library, style, box, f"\n{figure.script.render().strip()}\n"


def _things_on_map(told: Story, frame: Frame) -> list[list[int]]:
    """Number and place of each thing that has one, in the page's centimetres."""
    return [
        [one.number, *frame.centimetres(np.array([[one.point.x, one.point.y]]))[0].tolist()]
        for one in told.things
        if one.point is not None
    ]


def _public_words(hood: Neighbourhood) -> str:
    return f"{hood.generalised} {_(words.LEFT_OUT)} {hood.withheld}"
