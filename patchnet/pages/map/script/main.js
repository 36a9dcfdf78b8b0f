// Choices, events and the first drawing.

const view = {
  group: 0, show: DATA.start, need: 1, feature: 0, month: 0, plot: null, break_: -1,
  network: false, breaks: false, barriers: DATA.drawn.barriers.shape.length > 0 && PLOTS <= 400, labels: true,
  cover: false, corridors: false, pinch: false, gaps: false,
};
let layer = null;
let overlays = { cover: null, barriers: null, pinch: null, corridors: null, network: null, breaks: null };

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
