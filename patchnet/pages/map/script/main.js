// Choices, events and the first drawing.

const view = {
  group: 0, show: DATA.start, need: 1, feature: 0, month: 0, plot: null, break_: -1,
  network: false, breaks: false, barriers: DATA.drawn.barriers.shape.length > 0 && PLOTS <= 400, labels: true,
  cover: false, corridors: false, pinch: false, gaps: false,
};
let layer = null;
let overlays = { cover: null, barriers: null, pinch: null, corridors: null, network: null, breaks: null };
let cameFrom = null;

function options(select, names, from) {
  select.replaceChildren(...names.map((name, at) => el("option", { value: at + from }, upper(name))));
}

function writeChoices() {
  const wanted = { need: "need-field", feature: "feature-field" };
  for (const [show, field] of Object.entries(wanted)) {
    byId(field).hidden = view.show !== show || (show === "need" && view.group === ALL);
  }
  byId("month-field").hidden = !["hungry", "sun"].includes(view.show);
  byId("month").options[0].textContent = view.show === "sun" ? W.sun_midsummer : W.any_month;
  if (view.group !== ALL) {
    const group = G[view.group];
    options(byId("need"), [needName(group, 0), ...group.needs.map((need) => need.name)], 0);
    view.need = Math.min(view.need, group.needs.length);
    byId("need").value = String(view.need);
  }
  for (const name of ["network", "breaks"]) byId(name).disabled = view.group === ALL;
  byId("toggle-note").hidden = view.group !== ALL;
  for (const name of GROUND_LAYERS) byId(name).closest("label").hidden = !hasGround(view, name);
  byId("ground-also").hidden = !groundOf(view);
}

function swap(name, made) {
  if (overlays[name]) overlays[name].remove();
  overlays[name] = made ? made.addTo(MAP) : null;
}

const nameOf = (plot) => {
  const words = own(label(plot)) + ": " + layer.classes[layer.of(plot)].words;
  return layer.doubt && layer.doubt(plot) ? words + " (" + layer.doubtWords + ")" : words;
};

function draw(told) {
  layer = layerOf(view);
  writeChoices();
  const held = groundOf(view);
  const walker = held ? G[view.group] : null;
  shadePlots(layer, draws(view, "cover"));
  showGardens(Boolean(layer.garden));
  showHouses(!draws(view, "cover"));
  swap("cover", draws(view, "cover") ? groundPicture(walker) : null);
  swap("barriers", view.barriers ? barrierLayer() : null);
  swap("pinch", draws(view, "pinch") ? pictureLayer(held.pinch, "pinch", fill(W.pinch_alt, { group: walker.name })) : null);
  swap("corridors", draws(view, "corridors") ? corridorLayer(walker) : null);
  swap("network", view.network && view.group !== ALL ? networkLayer(G[view.group]) : null);
  swap("breaks", view.breaks && view.group !== ALL ? breakLayer(G[view.group], view.break_) : null);
  writeMarks(view, layer);
  writeLegend(view, layer);
  const rows = writeTable(layer, openCard);
  writeStreet(view, pickBreak, pickGap);
  namePlots();
  byId("map-title").textContent = layer.title;
  if (view.plot !== null) writeCard();
  if (told) say(fill(W.said_shown, { title: layer.title, plots: plural(rows, W.plot, W.plots) }));
}

function pickBreak(at) {
  view.breaks = true;
  view.break_ = at;
  byId("breaks").checked = true;
  const one = G[view.group].breaks[at];
  const line = L.latLngBounds(lines(one.line).flatMap(latLngs));
  MAP.fitBounds(line.extend(bounds(one.from)).extend(bounds(one.to)), { padding: [30, 30], animate: false });
  draw(false);
  byId("under").textContent = fill(W.said_break, { n: at + 1, from: own(label(one.from)), to: own(label(one.to)) });
  say(byId("under").textContent);
}

function pickGap(at) {
  view.gaps = true;
  byId("gaps").checked = true;
  const one = G[view.group].ground.gaps[at];
  const place_ = L.latLngBounds([latLng(...one.place)]);
  for (const plot of [...one.plots, ...one.joins]) if (plot >= 0) place_.extend(bounds(plot));
  MAP.fitBounds(place_, { padding: [30, 30], animate: false });
  draw(false);
  byId("under").textContent = fill(W.said_gap, { n: LETTERS[at], one: own(label(one.joins[0])), other: own(label(one.joins[1])) });
  say(byId("under").textContent);
}

function writeCard() {
  byId("card-title").textContent = own(label(view.plot));
  byId("card-body").replaceChildren(...cardOf(view.plot, view));
}

function openCard(plot) {
  if (document.activeElement && document.activeElement !== document.body) cameFrom = document.activeElement;
  view.plot = plot;
  byId("card").hidden = false;
  writeCard();
  pickOut(plot);
  showPlot(plot);
  byId("card-title").focus();
  byId("card").scrollIntoView({ block: "start" });
}

function closeCard() {
  const plot = view.plot;
  view.plot = null;
  byId("card").hidden = true;
  pickOut(null);
  const row = document.querySelector('[data-plot="' + plot + '"]');
  const back = cameFrom && cameFrom.isConnected ? cameFrom : row || byId("map_street");
  back.focus();
}

// ---- plots by keyboard: one stop for all of them, arrows go to the next plot that way ----

let here = 0;
function namePlots() {
  if (!AS_SVG) return;
  PLOT_LAYERS.forEach((shape, plot) => {
    const drawn = shape.getElement();
    drawn.setAttribute("aria-label", nameOf(plot));
    drawn.setAttribute("tabindex", plot === here ? "0" : "-1");
  });
}

function stepFrom(plot, dx, dy) {
  const [x, y] = spot(plot);
  let best = null;
  let least = Infinity;
  for (let other = 0; other < PLOTS; other += 1) {
    const [ox, oy] = [spot(other)[0] - x, spot(other)[1] - y];
    const along = ox * dx + oy * dy;
    const aside = Math.abs(ox * dy - oy * dx);
    // Within about 63 degrees of the arrow; what lies straight ahead counts as nearer.
    if (other === plot || along <= 0 || aside > 2 * along) continue;
    const far = along + 2 * aside;
    if (far < least) [best, least] = [other, far];
  }
  return best;
}

function focusPlot(plot) {
  PLOT_LAYERS[here].getElement().setAttribute("tabindex", "-1");
  here = plot;
  const drawn = PLOT_LAYERS[plot].getElement();
  drawn.setAttribute("tabindex", "0");
  if (!MAP.getBounds().contains(latLng(...spot(plot)))) MAP.panTo(latLng(...spot(plot)), { animate: false });
  drawn.focus({ preventScroll: true });
}

const WAYS = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };

function keyOnPlot(event, plot) {
  if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    event.stopPropagation();
    openCard(plot);
  } else if (WAYS[event.key]) {
    event.preventDefault();
    event.stopPropagation();
    const next = stepFrom(plot, ...WAYS[event.key]);
    if (next !== null) focusPlot(next);
  }
}

function preparePlots() {
  PLOT_LAYERS.forEach((shape, plot) => {
    shape.addTo(MAP);
    shape.on("click", () => {
      here = AS_SVG ? plot : here;
      openCard(plot);
    });
    shape.on("mouseover", () => {
      byId("under").textContent = nameOf(plot);
    });
    if (!AS_SVG) return;
    const drawn = shape.getElement();
    drawn.setAttribute("role", "button");
    drawn.addEventListener("keydown", (event) => keyOnPlot(event, plot));
    drawn.addEventListener("focus", () => {
      byId("under").textContent = nameOf(plot);
      if (view.plot === null && drawn.matches(":focus-visible")) pickOut(plot);
    });
    drawn.addEventListener("blur", () => {
      if (view.plot === null) pickOut(null);
    });
  });
  if (AS_SVG) {
    const board = R.plots.getPane().querySelector("svg");
    board.setAttribute("role", "group");
    board.setAttribute("aria-label", W.plots_on_map);
  }
}

// ---- the map's own controls ----

function prepareMap() {
  const box = MAP.getContainer();
  box.setAttribute("role", "region");
  box.setAttribute("aria-label", W.map_region);
  box.setAttribute("aria-describedby", "map-how");
  box.setAttribute("tabindex", "0");
  const pan = (x, y) => () => MAP.panBy([x * MAP.getSize().x * 0.3, y * MAP.getSize().y * 0.3], { animate: false });
  const tools = [
    ["zoom-in", () => MAP.zoomIn(1, { animate: false })],
    ["zoom-out", () => MAP.zoomOut(1, { animate: false })],
    ["go-left", pan(-1, 0)],
    ["go-up", pan(0, -1)],
    ["go-down", pan(0, 1)],
    ["go-right", pan(1, 0)],
    ["go-whole", showWhole],
  ];
  for (const [id, act] of tools) byId(id).addEventListener("click", act);
  // On a touch screen one finger must be able to scroll past the map.
  if (window.matchMedia("(pointer: coarse)").matches) {
    MAP.dragging.disable();
    byId("touch-note").hidden = false;
    const finger = byId("one-finger");
    finger.hidden = false;
    finger.addEventListener("click", () => {
      const on = !MAP.dragging.enabled();
      MAP.dragging[on ? "enable" : "disable"]();
      finger.setAttribute("aria-pressed", String(on));
    });
  }
  MAP.on("moveend", () => {
    if (!layer) return;
    if (outline() !== drawnOutline) {
      shadePlots(layer, draws(view, "cover"));
      showGardens(Boolean(layer.garden));
      if (view.barriers) swap("barriers", barrierLayer());
    }
    writeMarks(view, layer);
  });
}

function prepareChoices() {
  options(byId("group"), [W.all_groups, ...G.map((group) => group.name)], -1);
  options(byId("feature"), F.map((feature) => feature.name), 0);
  options(byId("month"), [W.any_month, ...W.months], 0);
  byId("group").value = String(view.group);
  byId("show").value = view.show;
  for (const name of ["group", "need", "feature", "month"]) {
    byId(name).addEventListener("change", (event) => {
      view[name] = Number(event.target.value);
      if (name === "group") view.break_ = -1;
      draw(true);
    });
  }
  byId("show").addEventListener("change", (event) => {
    view.show = event.target.value;
    if (view.show === "connected") {
      view.network = true;
      byId("network").checked = true;
    }
    draw(true);
  });
  for (const name of ["network", "breaks", "barriers", "labels", ...GROUND_LAYERS]) {
    byId(name).checked = view[name];
    byId(name).addEventListener("change", (event) => {
      view[name] = event.target.checked;
      draw(true);
    });
  }
  if (!DATA.drawn.barriers.shape.length) byId("barriers").closest("label").hidden = true;
  byId("find").addEventListener("input", (event) => {
    tableState.find = event.target.value;
    tableState.page = 0;
    const rows = writeTable(layer, openCard);
    say(plural(rows, W.found_one, W.found_many));
  });
  for (const [id, step] of [["page-back", -1], ["page-on", 1]]) {
    byId(id).addEventListener("click", () => {
      tableState.page += step;
      writeTable(layer, openCard);
      say(byId("plots-count").textContent);
    });
  }
  byId("card-close").addEventListener("click", closeCard);
  byId("card").addEventListener("keydown", (event) => {
    if (event.key === "Escape") closeCard();
  });
}

// ---- paper: the map is fitted to the sheet, the table has all its rows ----

let before = null;
function toPaper() {
  if (before) return;
  before = { center: MAP.getCenter(), zoom: MAP.getZoom() };
  document.documentElement.classList.add("on-paper");
  tableState.everything = true;
  MAP.invalidateSize({ animate: false, pan: false });
  drawAs(true);
  showWhole();
  draw(false);
  pickOut(view.plot);
}

function toScreen() {
  if (!before) return;
  document.documentElement.classList.remove("on-paper");
  tableState.everything = false;
  MAP.invalidateSize({ animate: false, pan: false });
  drawAs(AS_SVG);
  MAP.setView(before.center, before.zoom, { animate: false });
  before = null;
  draw(false);
  pickOut(view.plot);
}

window.addEventListener("beforeprint", toPaper);
window.addEventListener("afterprint", toScreen);
window.matchMedia("print").addEventListener("change", (event) => (event.matches ? toPaper() : toScreen()));

byId("no-script").hidden = true;
prepareMap();
showWhole();
drawGround();
preparePlots();
prepareChoices();
draw(false);
// The words below the map take room from it: it is fitted once they stand.
MAP.invalidateSize({ animate: false, pan: false });
showWhole();
new ResizeObserver(() => MAP.invalidateSize({ animate: false })).observe(MAP.getContainer());
document.documentElement.classList.add("drawn");
