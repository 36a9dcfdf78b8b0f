// Groups that walk: what the ground is like, corridors, pinch points and gaps worth making.

const GROUND_LAYERS = ["cover", "corridors", "pinch", "gaps"];
const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";
for (const [name, order] of [["cover", 407], ["pinch", 425]]) {
  const made = MAP.createPane(name);
  made.style.zIndex = order;
  made.style.pointerEvents = "none";
}

// What a view can draw over the ground; null: nothing, or the group does not walk.
const groundOf = (view) => (view.group === ALL ? null : G[view.group].ground);
function hasGround(view, name) {
  const held = groundOf(view);
  if (!held) return false;
  return Array.isArray(held[name]) ? held[name].length > 0 : Boolean(held[name]);
}
const draws = (view, name) => view[name] && hasGround(view, name);

// The ground in place of what the plots are shaded by: the class that most of a plot has.
function coverLayer(group) {
  const { to, plots } = group.ground.cover;
  const words = [W.cover_easy, W.cover_slower, W.cover_hard, W.cover_closed];
  const classes = words.map((one, at) => ({ words: fill(one, { to: to[at], from: to[at - 1] }), tint: T.cover[at] }));
  const names = [W.cover_easy_word, W.cover_slower_word, W.cover_hard_word, W.cover_closed_word];
  return {
    title: fill(W.title_cover, { group: group.name }),
    note: W.note_cover,
    classes,
    of: (plot) => Number(plots[plot]),
    columns: [
      { head: W.head_cover, text: (plot) => names[plots[plot]], order: (plot) => Number(plots[plot]) },
    ],
  };
}

// The picture of the ground with the outlines of streets and houses, for finding one's way.
function groundPicture(group) {
  const made = L.layerGroup([pictureLayer(group.ground.cover, "cover", fill(W.cover_alt, { group: group.name }))]);
  for (const [table, line] of [["roads", T.lines.road], ["buildings", T.lines.building]]) {
    const outlines = DATA.drawn[table].areas.flatMap((code) => areaLatLngs(rings(code)));
    L.polygon(outlines, { ...fixed("above"), color: line[0], weight: line[1], fill: false }).addTo(made);
  }
  return made;
}

const pictureLayer = (one, pane, alt) => L.imageOverlay(one.picture, one.corners, { pane, alt, className: "ground-picture" });

function corridorLayer(group) {
  const made = L.layerGroup();
  const options = fixed("network");
  for (const one of group.ground.corridors) {
    if (one.band) {
      L.polygon(areaLatLngs(rings(one.band)), {
        ...options, color: T.links.corridor, weight: 1.2, dashArray: "1 4", fillColor: T.links.corridor, fillOpacity: 0.26,
      }).addTo(made);
    }
    const drawn = lines(one.line).map(latLngs);
    L.polyline(drawn, { ...options, color: T.paper, weight: 6 }).addTo(made);
    L.polyline(drawn, { ...options, color: T.links.corridor, weight: 2.4, dashArray: "9 3" }).addTo(made);
  }
  return made;
}

// Links along their ways; inside the two plots a thin straight line to the patch's dot.
function wayLayer(group, ends, options) {
  const made = L.layerGroup();
  const ways = group.ground.lines.map((code) => path(code));
  const ties = [];
  ways.forEach((flat, at) => {
    const [one, other] = [spot(ends[2 * at]), spot(ends[2 * at + 1])];
    const [first, last] = [flat.slice(0, 2), flat.slice(-2)];
    const far = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
    const turned = far(one, last) + far(other, first) < far(one, first) + far(other, last);
    ties.push([latLng(...one), latLng(...(turned ? last : first))]);
    ties.push([latLng(...other), latLng(...(turned ? first : last))]);
  });
  const drawn = ways.map(latLngs);
  L.polyline(ties, { ...options, color: T.links.link, weight: 0.9 }).addTo(made);
  L.polyline(drawn, { ...options, color: T.paper, weight: 4.4 }).addTo(made);
  L.polyline(drawn, { ...options, color: T.links.link, weight: 2.2 }).addTo(made);
  return made;
}

// ---- the legend and the words ----

function pinchSwatch(whole_) {
  return swatch([whole_ ? T.pinch : T.paper, whole_ ? T.paper : T.pinch, whole_ ? "plain" : "dots", "", ""]);
}

function bandSwatch() {
  return svg(
    "svg",
    { width: 34, height: 24, viewBox: "0 0 34 24", "aria-hidden": "true", class: "swatch" },
    svg("rect", { x: 1.5, y: 3.5, width: 31, height: 17, fill: T.links.corridor, "fill-opacity": 0.26, stroke: T.links.corridor, "stroke-dasharray": "1 4" }),
    svg("path", { d: "M2 12H32", stroke: T.links.corridor, "stroke-width": 2.4, "stroke-dasharray": "9 3" }),
  );
}

function gapLetter(at) {
  return el("span", { class: "mark make-gap", "aria-hidden": "true" }, LETTERS[at]);
}

function groundLegend(view) {
  const items = [];
  if (draws(view, "corridors")) items.push(legendItem("corridor", bandSwatch, W.legend_corridor, null));
  if (draws(view, "pinch")) {
    items.push(legendItem("pinch-some", () => pinchSwatch(false), W.legend_pinch_some, null));
    items.push(legendItem("pinch-much", () => pinchSwatch(true), W.legend_pinch_much, null));
  }
  if (draws(view, "gaps")) {
    const letter = () => el("span", { class: "swatch swatch-gap" }, gapLetter(0));
    items.push(legendItem("make-gap", letter, W.legend_make_gap, null));
  }
  return items;
}

const sideWords = (plot) => (plot < 0 ? W.beside : own(label(plot)));

function gapItem(group, at, pick) {
  const one = group.ground.gaps[at];
  const [before, after] = one.cost;
  const words = fill(one.with_next ? W.gap_with_next : W.gap_words, {
    kind: listed(one.kinds.map((kind) => BARRIER_KINDS.get(kind).name)),
    one: one.plots[0] < 0 ? sideWords(one.plots[1]) : sideWords(one.plots[0]),
    other: one.plots[0] < 0 ? sideWords(-1) : sideWords(one.plots[1]),
    now: W.gaps_now[one.now] || W.gaps_now.not_known,
    won: num(one.won),
  });
  const joins = fill(before < 0 ? W.gap_opens : W.gap_shortens, {
    one: own(label(one.joins[0])),
    other: own(label(one.joins[1])),
    before: metresOf(before),
    after: metresOf(after),
  });
  return el(
    "li",
    {},
    button(fill(W.show_gap, { n: LETTERS[at] }), { class: "small" }, () => pick(at)),
    el("span", {}, " " + upper(words) + " " + joins),
  );
}

// Metres' worth of good ground: no "next door" for what is near but not free.
const metresOf = (value) => fill(W.metres, { n: num(value < 10 ? value : Math.round(value)) });

function gapList(group, pick) {
  if (!group.ground || !group.ground.gaps) return [];
  const items = group.ground.gaps.map((_, at) => gapItem(group, at, pick));
  return [
    el("h3", {}, W.gaps_title),
    items.length ? el("p", {}, fill(W.gaps_order, { side: group.ground.side }), " ", el("strong", {}, W.gaps_consent)) : el("p", {}, W.gaps_none),
    items.length ? el("ol", { class: "breaks gap-list", type: "A" }, ...items) : "",
  ];
}
