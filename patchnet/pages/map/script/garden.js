// The gardens as they are: grounds, hedges, crowns and small things, and the numbers of houses.

const GARDEN = DATA.gardens;

// A ground's fill: its colour, and its strokes on a square that repeats.
function materialFill(key) {
  const [base, side, strokes] = GARDEN.materials[key];
  if (!strokes.length) return base;
  if (!R.asSvg) return materialOnCanvas(key);
  const id = "ground-" + key;
  if (!byId(id)) {
    const marks = strokes.map(([ink, width, d]) =>
      svg("path", { d, fill: "none", stroke: ink, "stroke-width": width, "stroke-linecap": "round" }),
    );
    patternBoard.append(
      svg(
        "pattern",
        { id, width: side, height: side, patternUnits: "userSpaceOnUse" },
        svg("rect", { width: side, height: side, fill: base }),
        ...marks,
      ),
    );
  }
  return "url(#" + id + ")";
}

function materialOnCanvas(key) {
  if (!canvasFills.has(key)) {
    const [base, side, strokes] = GARDEN.materials[key];
    const tile = document.createElement("canvas");
    tile.width = tile.height = side * 2;
    const pen = tile.getContext("2d");
    pen.scale(2, 2);
    pen.fillStyle = base;
    pen.fillRect(0, 0, side, side);
    pen.lineCap = "round";
    for (const [ink, width, d] of strokes) {
      pen.strokeStyle = ink;
      pen.lineWidth = width;
      pen.stroke(new Path2D(d));
    }
    const made = pen.createPattern(tile, "repeat");
    made.setTransform(new DOMMatrix().scale(0.5));
    canvasFills.set(key, made);
  }
  return canvasFills.get(key);
}

// A circle on the ground as a ring: crowns keep their size in metres.
function circleRing(x, y, radius) {
  const ring = [];
  for (let at = 0; at < 20; at += 1) {
    const turn = (at * Math.PI) / 10;
    ring.push(latLng(x + radius * Math.cos(turn), y + radius * Math.sin(turn)));
  }
  return ring;
}

// Part of a ring on one side of a line across it: along <= far, or along >= near.
function keepSide(ring, ux, uy, bound, sign) {
  const kept = [];
  const off = (at) => sign * (ring[at] * ux + ring[at + 1] * uy - bound);
  for (let at = 0; at < ring.length; at += 2) {
    const next = (at + 2) % ring.length;
    const [here, there] = [off(at), off(next)];
    if (here <= 0) kept.push(ring[at], ring[at + 1]);
    if (here < 0 !== there < 0 && here !== there) {
      const part = here / (here - there);
      kept.push(ring[at] + part * (ring[next] - ring[at]), ring[at + 1] + part * (ring[next + 1] - ring[at + 1]));
    }
  }
  return kept;
}

// Every ground with its pieces: plots cut across from the house outwards, and what was drawn.
function gardenShapes() {
  const found = new Map(GARDEN.kinds_cut.map((key) => [key, []]));
  const rows = path(GARDEN.cuts);
  let row = 0;
  for (let plot = 0; plot < PLOTS; plot += 1) {
    const [count, turn] = [rows[row], (rows[row + 1] * Math.PI) / 1800];
    row += 2;
    const [ux, uy] = [Math.cos(turn), Math.sin(turn)];
    let start = Infinity;
    for (const [ring] of SHAPES[plot]) {
      for (let at = 0; at < ring.length; at += 2) start = Math.min(start, ring[at] * ux + ring[at + 1] * uy);
    }
    let near = -Infinity;
    for (let strip = 0; strip < count; strip += 1, row += 2) {
      const far = strip === count - 1 ? Infinity : start + rows[row + 1] * 10;
      for (const part of SHAPES[plot]) {
        const cut = part.map((ring) => {
          const upto = far === Infinity ? ring : keepSide(ring, ux, uy, far, 1);
          return near === -Infinity ? upto : keepSide(upto, ux, uy, near, -1);
        });
        if (cut[0].length > 4) found.get(GARDEN.kinds_cut[rows[row]]).push(cut.map(latLngs));
      }
      near = far;
    }
  }
  const strips = [...found].filter(([, shapes]) => shapes.length);
  // What was drawn lies on top, each ground by itself: two of one path would cut each other out.
  return [...strips, ...Object.entries(GARDEN.areas).map(([key, code]) => [key, areaLatLngs(rings(code))])];
}

// What is drawn is worked out once; only its way onto the map differs on screen and paper.
const GARDEN_SHAPES = gardenShapes();
const GARDEN_HEDGES = GARDEN.hedges ? lines(GARDEN.hedges).map(latLngs) : [];
const [GARDEN_CROWNS, GARDEN_SHADES] = [[], []];
{
  const flat = path(GARDEN.crowns, 3);
  for (let at = 0; at < flat.length; at += 3) {
    const [x, y, radius] = flat.slice(at, at + 3);
    GARDEN_CROWNS.push([circleRing(x, y, radius)]);
    GARDEN_SHADES.push([circleRing(x + radius * 0.22, y - radius * 0.22, radius)]);
  }
}
const GARDEN_SIGNS = Object.entries(GARDEN.signs).map(([kind, code]) => [kind, path(code)]);

// What is taken off and put back while the map stands still keeps its outline: to work it out anew
// takes longer than all the rest of a change.
const whereMapStands = (renderer) =>
  [MAP.getZoom(), MAP.getPixelOrigin(), renderer._bounds.min, renderer._bounds.max].join();
const keepsOutline = (kind) =>
  kind.extend({
    _update() {
      kind.prototype._update.call(this);
      if (this._map) this._stoodAt = whereMapStands(this._renderer);
    },
    _reset() {
      if (this._stoodAt === whereMapStands(this._renderer)) this._updatePath();
      else kind.prototype._reset.call(this);
    },
  });
const GardenArea = keepsOutline(L.Polygon);
const GardenLine = keepsOutline(L.Polyline);

function gardenLayerOnMap() {
  const made = L.layerGroup();
  const under = fixed("ground");
  for (const [key, shapes] of GARDEN_SHAPES) {
    const options = { ...under, stroke: false, fillOpacity: underlaid ? UNDERLAID : 1, fillColor: materialFill(key) };
    new GardenArea(shapes, options).addTo(made);
  }
  const above = fixed("above");
  const scallop = Math.max(2.5, outline() * 5);
  if (GARDEN_HEDGES.length) {
    const options = { ...above, color: GARDEN.hedge, weight: scallop, lineCap: "round" };
    new GardenLine(GARDEN_HEDGES, { ...options, dashArray: "0.1 " + (scallop * 0.8).toFixed(1) }).addTo(made);
  }
  const [crown, rim, shade] = GARDEN.tree;
  if (GARDEN_CROWNS.length) {
    new GardenArea(GARDEN_SHADES, { ...above, stroke: false, fillColor: shade, fillOpacity: 0.22 }).addTo(made);
    new GardenArea(GARDEN_CROWNS, { ...above, color: rim, weight: 1, fillColor: crown, fillOpacity: 0.85 }).addTo(made);
  }
  return made;
}

// ---- a picture underneath: the gardens let it through ----

const UNDERLAID = 0.45;
let underlaid = false;
let underPicture = null;
function showUnderPicture(shown) {
  underlaid = shown;
  if (!underPicture) underPicture = L.imageOverlay(DATA.underlay.picture, DATA.underlay.corners, { pane: "under", alt: W.underlay_alt });
  if (shown) underPicture.addTo(MAP);
  else underPicture.remove();
  gardensWeight = 0; // drawn anew
}

function prepareUnderPicture() {
  if (!DATA.underlay) return;
  const press = byId("under-picture");
  press.hidden = false;
  press.addEventListener("click", () => {
    showUnderPicture(!underlaid);
    press.setAttribute("aria-pressed", String(underlaid));
    draw(false);
  });
}

// ---- as a layer of the plots: outlines over the gardens, and what the table says ----

const DRAWN_FEATURES = F.map((feature, at) => [feature, at]);
function hasWords(plot) {
  const has = DRAWN_FEATURES.filter(([, at]) => amounts(at)[plot] > 0).map(([feature]) => plainName(feature.name));
  return has.length ? has.slice(0, 4).join(", ") + (has.length > 4 ? W.and_more : "") : W.has_none_known;
}

// A feature's name without what stands in brackets or after a comma.
const plainName = (name) => name.split(/ \(|, /)[0];

function gardenLayer() {
  return {
    garden: true,
    title: W.title_garden,
    note: GARDEN.laid ? W.note_garden : "",
    classes: [
      { words: W.garden_seen, tint: T.absent },
      { words: W.garden_unseen, tint: T.unknown },
    ],
    of: (plot) => (flagged(GARDEN.unseen, plot) ? 1 : 0),
    columns: [textColumn(W.head_kind, (plot) => P.kinds[P.kind[plot]]), textColumn(W.head_has, hasWords)],
  };
}

function materialSwatch(key) {
  const box = svg("svg", { width: 34, height: 24, viewBox: "0 0 34 24", "aria-hidden": "true", class: "swatch" });
  if (GARDEN.materials[key]) {
    const outlineOf = { stroke: T.lines.plot[0], "stroke-width": 1 };
    const asSvg = R.asSvg;
    R.asSvg = true; // a legend is always SVG
    box.append(svg("rect", { x: 1.5, y: 1.5, width: 31, height: 21, fill: materialFill(key), ...outlineOf }));
    R.asSvg = asSvg;
  } else if (key === "hedge") {
    box.append(svg("path", { d: "M3 12H32", stroke: GARDEN.hedge, "stroke-width": 7, "stroke-dasharray": "0.1 5.6", "stroke-linecap": "round" }));
  } else if (key === "tree") {
    box.append(svg("circle", { cx: 17, cy: 12, r: 10, fill: GARDEN.tree[0], stroke: GARDEN.tree[1] }));
  } else {
    return el("span", { class: "swatch swatch-gap" }, el("span", { class: "mark thing thing-" + key, "aria-hidden": "true" }));
  }
  return box;
}

const gardenLegend = () => GARDEN.kinds.map(([key, words]) => legendItem("ground-" + key, () => materialSwatch(key), words, null));

// ---- numbers and small signs over the map ----

function writeHouseNumbers(seen, perCm, free) {
  if (perCm * 100 < 1.6) return; // pixels a metre
  for (const [words, x, y] of GARDEN.numbers) {
    const point = pixel(x, y);
    if (seen.contains(latLng(x, y)) && free(point.x, point.y, words.length * 7 + 2, 12)) {
      place(point.x, point.y, "house-number", words);
    }
  }
}

function writeGardenSigns(seen, perCm, free) {
  if (perCm * 100 < 2) return;
  for (const [kind, flat] of GARDEN_SIGNS) {
    for (let at = 0; at < flat.length; at += 2) {
      const [x, y] = flat.slice(at, at + 2);
      const point = pixel(x, y);
      if (seen.contains(latLng(x, y)) && free(point.x, point.y, 9, 8)) place(point.x, point.y, "thing thing-" + kind, "");
    }
  }
}
