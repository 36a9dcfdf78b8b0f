// The map: ground, plots, buildings, barriers, patches and links, breaks.

const MAP = map_street; // made by folium's script
const AS_SVG = PLOTS <= DATA.svgPlots;

const bounds = (plot) =>
  L.latLngBounds([latLng(BOXES[plot][0], BOXES[plot][1]), latLng(BOXES[plot][2], BOXES[plot][3])]);

const PANES = { under: 402, ground: 405, tints: 408, plots: 410, above: 420, network: 430, chosen: 440 };
for (const [name, order] of Object.entries(PANES)) {
  const made = MAP.createPane(name);
  made.style.zIndex = order;
  if (name !== "plots") made.style.pointerEvents = "none";
}

// Where plots are many a canvas tells which one is meant; it draws none of them.
const Finder = L.Canvas.extend({ _draw() {}, _clear() {} });

// One renderer a pane. Many plots are found on a canvas; on paper everything is SVG.
function renderers(asSvg) {
  const made = { asSvg };
  for (const pane of Object.keys(PANES)) {
    if (pane === "tints") continue;
    const options = { pane, padding: 0.2, tolerance: 3 };
    made[pane] = asSvg ? L.svg(options) : pane === "plots" ? new Finder(options) : L.canvas(options);
  }
  return made;
}
let R = renderers(AS_SVG);

const fixed = (pane) => ({ renderer: R[pane], pane, interactive: false, smoothFactor: 0.5 });
const areaLatLngs = (parts) => parts.map((part) => part.map(latLngs));

function drawTable(table, pane, style, areaStyle) {
  const group = L.layerGroup();
  const options = fixed(pane);
  if (table.areas.length) {
    const shapes = table.areas.flatMap((code) => areaLatLngs(rings(code)));
    L.polygon(shapes, { ...options, ...areaStyle }).addTo(group);
  }
  if (table.lines.length) {
    const drawn = table.lines.flatMap((code) => lines(code).map(latLngs));
    for (const one of style) L.polyline(drawn, { ...options, ...one }).addTo(group);
  }
  return group.addTo(MAP);
}

let ground = [];
function drawGround() {
  for (const group of ground) group.remove();
  const [road, foot, house] = ["road", "footway", "building"].map((name) => T.lines[name]);
  const roads = drawTable(
    DATA.drawn.roads, "ground",
    [{ color: road[0], weight: 8 }, { color: T.areas.road, weight: 6.4 }],
    { color: road[0], weight: road[1], fillColor: T.areas.road, fillOpacity: 1 },
  );
  const footways = drawTable(
    DATA.drawn.footways, "ground",
    [{ color: foot[0], weight: foot[1], dashArray: foot[2] }],
    { color: foot[0], weight: 0.8, dashArray: foot[2], fillColor: T.areas.footway, fillOpacity: 1 },
  );
  const buildings = drawTable(
    DATA.drawn.buildings, "above",
    [{ color: house[0], weight: house[1] }],
    { color: house[0], weight: house[1], fillColor: T.areas.building, fillOpacity: 1 },
  );
  ground = [roads, footways, buildings];
}

// Filled houses would hide that the ground under them is closed.
function showHouses(shown) {
  const houses = ground[2];
  if (shown) houses.addTo(MAP);
  else houses.remove();
}

// Kinds of barrier that there are here: key to name and line.
const BARRIER_KINDS = new Map(DATA.drawn.barrier_kinds.map(([key, name, line]) => [key, { name, line }]));

// One line layer a kind; the marks of the gaps are written by marks.js.
function barrierLayer(thin) {
  const group = L.layerGroup();
  const byKind = new Map();
  DATA.drawn.barriers.shape.forEach((code, at) => {
    const kind = DATA.drawn.barriers.kind[at];
    if (!byKind.has(kind)) byKind.set(kind, []);
    byKind.get(kind).push(...lines(code).map(latLngs));
  });
  for (const [kind, drawn] of byKind) {
    const { line } = BARRIER_KINDS.get(kind);
    const [color, full, dashArray] = T.lines[line];
    const weight = Math.max(1, full * (thin ? 0.6 : 1) * (0.4 + (0.6 * outline()) / T.lines.plot[1]));
    const lineCap = line === "dotted" ? "round" : "butt";
    L.polyline(drawn, { ...fixed("above"), color, weight, dashArray, lineCap }).addTo(group);
  }
  return group;
}

// Dots for patches (filled where a home is held) and the links that hold groups together.
function networkLayer(group) {
  const made = L.layerGroup();
  const ends = path(group.links[0]);
  const options = fixed("network");
  if (group.ground && group.ground.lines) {
    wayLayer(group, ends, options).addTo(made);
  } else {
    const drawn = [];
    for (let at = 0; at < ends.length; at += 2) {
      drawn.push([latLng(...spot(ends[at])), latLng(...spot(ends[at + 1]))]);
    }
    L.polyline(drawn, { ...options, color: T.paper, weight: 4 }).addTo(made);
    L.polyline(drawn, { ...options, color: T.links.link, weight: 1.8 }).addTo(made);
  }
  const held = column(group.homes);
  const most = Math.max(1e-9, ...held);
  for (let plot = 0; plot < PLOTS; plot += 1) {
    if (!flagged(group.patch, plot)) continue;
    L.circleMarker(latLng(...spot(plot)), {
      ...options,
      radius: 3 + 5 * Math.sqrt(held[plot] / most),
      color: T.links.patch,
      weight: 1.8,
      fillColor: held[plot] > 0 ? T.links.patch : T.paper,
      fillOpacity: 1,
    }).addTo(made);
  }
  return made;
}

function breakLayer(group, strong) {
  const made = L.layerGroup();
  const options = fixed("network");
  group.breaks.forEach((one, at) => {
    const drawn = lines(one.line).map(latLngs);
    const picked = at === strong;
    L.polyline(drawn, { ...options, color: T.paper, weight: picked ? 10 : 7 }).addTo(made);
    L.polyline(drawn, {
      ...options, color: T.links.break, weight: picked ? 6 : 3.4, dashArray: picked ? "" : "2 5",
    }).addTo(made);
    for (const [x, y] of stepsOn(one)) {
      L.circleMarker(latLng(x, y), {
        ...options, radius: 5, color: T.links.break, weight: 2, fillColor: T.paper, fillOpacity: 1,
      }).addTo(made);
    }
  });
  return made;
}

// Stepping stones at equal spaces along a crossing.
function stepsOn(one) {
  const flat = path(one.line.split("|")[0]);
  return Array.from({ length: Math.min(one.stones, 30) }, (_, at) => along(flat, (at + 1) / (one.stones + 1)));
}

const PLOT_LAYERS = SHAPES.map((parts) =>
  L.polygon(areaLatLngs(parts), {
    renderer: R.plots, pane: "plots", smoothFactor: 0.5, fillOpacity: 1, bubblingMouseEvents: false,
  }),
);

// Outlines grow thinner as the plots grow small, else a whole town would be all outline.
const TYPICAL = Math.sqrt(
  BOXES.reduce((sum, box) => sum + (box[2] - box[0]) * (box[3] - box[1]), 0) / PLOTS,
);
const outline = () => {
  const pixels = (TYPICAL * MAP.getSize().x) / Math.max(1, widthInCm());
  return pixels < 12 ? 0.3 : pixels < 24 ? 0.6 : T.lines.plot[1];
};

// Paper takes lines, not pictures of lines: everything is drawn anew as SVG, and back again.
function drawAs(asSvg) {
  if (R.asSvg === asSvg) return;
  const last = R;
  showGardens(false);
  drawSheet(null, []);
  for (const shape of PLOT_LAYERS) shape.remove();
  chosen.clearLayers();
  R = renderers(asSvg);
  drawGround();
  for (const shape of PLOT_LAYERS) {
    shape.options.renderer = R.plots;
    shape.addTo(MAP);
  }
  for (const pane of Object.keys(PANES)) {
    if (pane === "tints") continue;
    // Leaflet may have a frame under way that it has lost sight of, for a canvas that is gone then.
    last[pane]._clear = last[pane]._draw = () => {};
    last[pane].remove();
  }
}

let gardens = null;
let gardensWeight = 0;
function showGardens(shown) {
  if (shown && gardens && gardensWeight === outline() && gardens.asSvg === R.asSvg) {
    gardens.addTo(MAP);
    return;
  }
  if (gardens) gardens.remove();
  if (!shown) return;
  gardens = gardenLayerOnMap().addTo(MAP);
  gardens.asSvg = R.asSvg;
  gardensWeight = outline();
}

// The plot or break picked out: a paper rim with an ink line, readable on every tint.
const chosen = L.layerGroup().addTo(MAP);
function pickOut(plot) {
  chosen.clearLayers();
  if (plot === null) return;
  const drawn = areaLatLngs(SHAPES[plot]);
  const options = { ...fixed("chosen"), fill: false };
  L.polygon(drawn, { ...options, color: T.paper, weight: 8 }).addTo(chosen);
  L.polygon(drawn, { ...options, color: T.ink, weight: 3.5 }).addTo(chosen);
}

const WHOLE = L.latLngBounds([]);
for (let plot = 0; plot < PLOTS; plot += 1) WHOLE.extend(bounds(plot));
const showWhole = () => MAP.fitBounds(WHOLE, { padding: [14, 14], animate: false });
const showPlot = (plot) => {
  if (!MAP.getBounds().contains(bounds(plot))) {
    MAP.fitBounds(bounds(plot).pad(3), { animate: false, maxZoom: Math.max(19, MAP.getZoom()) });
  }
};
