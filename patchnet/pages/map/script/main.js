// Choices, events and the first drawing.

const view = {
  group: 0, show: DATA.start, need: 1, feature: 0, month: 0, plot: null, break_: -1,
  network: false, breaks: false, barriers: DATA.drawn.barriers.shape.length > 0 && PLOTS <= 400, labels: true,
  cover: false, corridors: false, pinch: false, gaps: false,
};
let layer = null;
let before = null; // where the map stood before it was put on paper
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
  byId("month-slide").hidden = byId("month-field").hidden;
  if (view.month) byId("month-range").value = String(view.month);
  write(byId("month").options[0], view.show === "sun" ? W.sun_midsummer : W.any_month);
  if (view.group !== ALL && view.show === "need") {
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

let fencesAs = "";
function draw(told) {
  layer = layerOf(view);
  writeChoices();
  const held = groundOf(view);
  const walker = held ? G[view.group] : null;
  shadePlots(layer, draws(view, "cover"));
  showGardens(Boolean(layer.garden || layer.alike));
  showHouses(!draws(view, "cover"));
  swap("cover", draws(view, "cover") ? groundPicture(walker) : null);
  const fences = [view.barriers, layer.garden, outline(), R.asSvg].join();
  if (fences !== fencesAs) swap("barriers", view.barriers ? barrierLayer(layer.garden) : null);
  fencesAs = fences;
  swap("pinch", draws(view, "pinch") ? pictureLayer(held.pinch, "pinch", fill(W.pinch_alt, { group: walker.name })) : null);
  swap("corridors", draws(view, "corridors") ? corridorLayer(walker) : null);
  swap("network", view.network && view.group !== ALL ? networkLayer(G[view.group]) : null);
  swap("breaks", view.breaks && view.group !== ALL ? breakLayer(G[view.group], view.break_) : null);
  writeMarks(view, layer);
  writeLegend(view, layer);
  write(byId("map-title"), layer.title);
  write(byId("show-note"), layer.garden ? "" : layer.note);
  document.documentElement.classList.toggle("on-garden", Boolean(layer.garden));
  if (view.plot !== null) writeCard();
  const words = [
    () => writeTable(layer, openCard),
    () => writeStreet(view, pickBreak, pickGap),
    namePlots,
    () => told && say(fill(W.said_shown, { title: layer.title, plots: plural(plotsFound().length, W.plot, W.plots) })),
  ];
  writeLater(words);
  if (before) writeNow(); // paper does not wait
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

// ---- the sheet of one plot, and the address that leads to it ----

let sheet = { title: "", parts: [], given: [] };
function writeCard() {
  sheet = sheetOfPlot(view.plot);
  byId("card-kicker").textContent = DATA.public ? "" : own(label(view.plot)) + " · " + P.kinds[P.kind[view.plot]];
  byId("card-title").textContent = sheet.title;
  const whole_ = el("details", { class: "whole", id: "card-whole" }, el("summary", {}, W.sheet_whole), ...cardOf(view.plot, view));
  whole_.open = DATA.public || sheetWhole;
  whole_.addEventListener("toggle", () => {
    sheetWhole = whole_.open;
  });
  byId("card-body").replaceChildren(...sheet.parts, whole_, shareLine());
}
let sheetWhole = false;

// A link to this plot: seen and ready to be copied, since a page from disk may not copy by itself.
function shareLine() {
  const input = el("input", { type: "text", id: "share-link", readonly: true, "aria-label": W.share_link });
  input.value = location.href.split("#")[0] + addressOf();
  input.addEventListener("focus", () => input.select());
  return el("details", { class: "share" }, el("summary", {}, W.share), input);
}

function addressOf() {
  const parts = new URLSearchParams();
  if (view.plot !== null) parts.set("plot", P.id[view.plot]);
  if (view.group !== ALL && (view.group !== 0 || view.show !== DATA.start)) parts.set("animal", G[view.group].key);
  if (view.show !== DATA.start) parts.set("show", view.show);
  const words = parts.toString();
  return words ? "#" + words : "";
}

// Where the browser keeps addresses of the page: opening a plot is a step that Back undoes.
function keepAddress(step) {
  const address = location.pathname + location.search + addressOf();
  try {
    history[step ? "pushState" : "replaceState"]({ step: Boolean(step) }, "", address);
  } catch {
    // A page shown inside another may keep no address: everything else works as before.
  }
}

// What the sheet covers takes no focus while it does.
const COVERED = document.querySelectorAll(".find-house, main > :not(#card, #say), footer");
function cover(covered) {
  for (const one of COVERED) one.inert = covered;
}

function openCard(plot, kept) {
  if (document.activeElement && document.activeElement !== document.body) cameFrom = document.activeElement;
  const first = view.plot === null;
  view.plot = plot;
  byId("card").hidden = false;
  document.documentElement.classList.add("sheet-open");
  cover(true);
  writeCard();
  byId("card").scrollTop = 0;
  MAP.invalidateSize({ animate: false, pan: false });
  drawSheet(plot, sheet.given);
  showSheet(plot, sheet.given);
  writeMarks(view, layer);
  byId("card-title").focus({ preventScroll: true });
  if (!kept) keepAddress(first);
}

function hideCard() {
  const plot = view.plot;
  if (plot === null) return;
  view.plot = null;
  byId("card").hidden = true;
  document.documentElement.classList.remove("sheet-open");
  cover(false);
  drawSheet(null, []);
  pickOut(null);
  MAP.invalidateSize({ animate: false, pan: false });
  writeMarks(view, layer);
  const row = document.querySelector('[data-plot="' + plot + '"]');
  const back = cameFrom && cameFrom.isConnected && cameFrom.offsetParent !== null ? cameFrom : null;
  const shape = AS_SVG ? PLOT_LAYERS[plot].getElement() : null;
  (back || (row && row.offsetParent !== null ? row : null) || shape || byId("map_street")).focus({ preventScroll: true });
}

function closeCard() {
  const stepped = history.state && history.state.step;
  hideCard();
  if (stepped) history.back();
  else keepAddress(false);
}

function readAddress() {
  const asked = new URLSearchParams(location.hash.slice(1));
  const animal = G.findIndex((group) => group.key === asked.get("animal"));
  const shows = [...byId("show").options].map((one) => one.value);
  const show = shows.includes(asked.get("show")) ? asked.get("show") : animal >= 0 ? "homes" : DATA.start;
  const group = animal >= 0 ? animal : 0;
  if (view.group !== group || view.show !== show) {
    [view.group, view.show] = [group, show];
    byId("group").value = String(view.group);
    byId("show").value = view.show;
    draw(false);
  }
  if (animal >= 0 || asked.get("show")) byId("closer").open = true;
  const plot = P.id.indexOf(asked.get("plot") || "");
  if (plot >= 0) openCard(plot, true);
  else hideCard();
}

// ---- find your house ----

const folded = (words) => words.toLowerCase().normalize("NFKD").replace(/[\u0300-\u036f]/g, "").replace(/[^\p{L}\p{N}]+/gu, " ").trim();
const FOLDED = P.id.map((id, plot) => [label(plot), P.label[plot], id, street(plot)].map(folded));

// The plot that is meant: by its whole name or id, else the one that has all the words; homes first.
function findHouse(asked) {
  const wanted = folded(asked);
  if (!wanted) return [];
  const exact = FOLDED.findIndex((names) => names.slice(0, 3).includes(wanted));
  if (exact >= 0) return [exact];
  const words = wanted.split(" ");
  const has = (names) => {
    const all = names.join(" ").split(" ");
    return words.every((word) => (/^\d/.test(word) ? all.includes(word) : all.some((one) => one.startsWith(word))));
  };
  return P.id.map((_, plot) => plot).filter((plot) => has(FOLDED[plot]));
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

function prepareFind() {
  const input = byId("find-house");
  if (PLOTS <= 1000) byId("houses").replaceChildren(...P.id.map((_, plot) => el("option", { value: label(plot) })));
  const go = () => {
    const found = findHouse(input.value);
    byId("find-said").textContent = found.length === 1 ? "" : found.length ? fill(W.find_many, { n: inFull(found.length), names: listed(found.slice(0, 4).map(label)) }) : input.value ? W.find_none : "";
    if (found.length === 1) openCard(found[0]);
    else say(byId("find-said").textContent);
  };
  byId("find-go").addEventListener("click", go);
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter") go();
  });
}

// ---- the things that would help most ----

const THINGS = DATA.things || [];
function writeThings(seen, free) {
  for (const [number, x, y] of THINGS) {
    const point = pixel(x, y);
    if (!seen.contains(latLng(x, y))) continue;
    free(point.x, point.y, 30, 30);
    place(point.x, point.y, "do-disc", String(number));
  }
}

function prepareThings() {
  for (const one of document.querySelectorAll(".disc")) {
    one.addEventListener("click", () => {
      const thing = THINGS.find(([number]) => String(number) === one.dataset.thing);
      if (!thing) return;
      const [, x, y] = thing;
      MAP.fitBounds(L.latLngBounds([latLng(x - 3500, y - 3500), latLng(x + 3500, y + 3500)]), { animate: false, maxZoom: 20 });
      byId("under").textContent = byId("thing-" + one.dataset.thing).querySelector("strong").textContent;
      say(byId("under").textContent);
      byId("map_street").scrollIntoView({ block: "nearest" });
    });
  }
}

// ---- one scale, in metres and steps ----

function writeScale() {
  const size = MAP.getSize();
  const metresWide = widthInCm() / 100;
  const most = (metresWide * Math.min(160, size.x / 3)) / size.x;
  const power = 10 ** Math.floor(Math.log10(most));
  const reach = [5, 2, 1].map((one) => one * power).find((one) => one <= most) || power;
  const bar = byId("scale");
  bar.style.width = ((reach / metresWide) * size.x).toFixed(1) + "px";
  bar.textContent = fill(W.scale_words, { metres: num(reach), steps: inFull(Math.max(1, Math.round(reach / DATA.step))) });
}

// ---- plots by keyboard: one stop for all of them, arrows go to the next plot that way ----

let here = 0;
function namePlots() {
  if (!AS_SVG) return;
  PLOT_LAYERS.forEach((shape, plot) => {
    const drawn = shape.getElement();
    const [name, stop] = [nameOf(plot), plot === here ? "0" : "-1"];
    if (drawn.getAttribute("aria-label") !== name) drawn.setAttribute("aria-label", name);
    if (drawn.getAttribute("tabindex") !== stop) drawn.setAttribute("tabindex", stop);
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
      if (MAP.dragging.moving()) return; // the map follows the pointer
      write(byId("under"), nameOf(plot));
    });
    if (!AS_SVG) return;
    const drawn = shape.getElement();
    drawn.setAttribute("role", "button");
    // Leaflet's class has every plot styled anew when a drag begins.
    drawn.classList.replace("leaflet-interactive", "plot");
    drawn.addEventListener("keydown", (event) => keyOnPlot(event, plot));
    drawn.addEventListener("focus", () => {
      write(byId("under"), nameOf(plot));
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
    writeScale();
    if (outline() !== drawnOutline) {
      shadePlots(layer, draws(view, "cover"));
      showGardens(Boolean(layer.garden || layer.alike));
      if (view.barriers) swap("barriers", barrierLayer(layer.garden));
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
  byId("month-range").addEventListener("input", (event) => {
    view.month = Number(event.target.value);
    byId("month").value = String(view.month);
    draw(true);
  });
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

function toPaper() {
  if (before) return;
  before = { center: MAP.getCenter(), zoom: MAP.getZoom() };
  document.documentElement.classList.add("on-paper");
  tableState.everything = true;
  MAP.invalidateSize({ animate: false, pan: false });
  paintOnCanvas(false);
  drawAs(true);
  showWhole();
  draw(false);
  if (view.plot !== null) drawSheet(view.plot, sheet.given);
}

function toScreen() {
  if (!before) return;
  document.documentElement.classList.remove("on-paper");
  tableState.everything = false;
  MAP.invalidateSize({ animate: false, pan: false });
  drawAs(AS_SVG);
  paintOnCanvas(true);
  MAP.setView(before.center, before.zoom, { animate: false });
  before = null;
  draw(false);
  if (view.plot !== null) drawSheet(view.plot, sheet.given);
}

window.addEventListener("beforeprint", toPaper);
window.addEventListener("afterprint", toScreen);
window.matchMedia("print").addEventListener("change", (event) => (event.matches ? toPaper() : toScreen()));

byId("no-script").hidden = true;
prepareMap();
showWhole();
drawGround();
preparePlots();
paintOnCanvas(true);
prepareChoices();
prepareFind();
prepareUnderPicture();
prepareThings();
draw(false);
// The words below the map take room from it: it is fitted once they stand.
MAP.invalidateSize({ animate: false, pan: false });
showWhole();
writeScale();
prepareYear((animal, month) => {
  view.group = animal < 0 ? ALL : animal;
  view.show = "hungry";
  view.month = month;
  byId("closer").open = true;
  byId("group").value = String(view.group);
  byId("show").value = "hungry";
  byId("month").value = String(month);
  draw(true);
  byId("map_street").scrollIntoView({ block: "nearest" });
});
readAddress();
window.addEventListener("popstate", readAddress);
// Until somebody has moved the map it shows all of the place, however its box is stretched.
let moved = false;
for (const kind of ["pointerdown", "wheel", "keydown"]) {
  for (const one of [MAP.getContainer(), document.querySelector(".tools")]) {
    one.addEventListener(kind, () => (moved = true), { passive: true });
  }
}
new ResizeObserver(() => {
  MAP.invalidateSize({ animate: false });
  if (!moved && view.plot === null && !before) showWhole();
  // The browser says so once for a box that it begins to watch: from then on the page stands.
  document.documentElement.classList.add("drawn");
}).observe(MAP.getContainer());
