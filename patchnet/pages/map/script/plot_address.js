// The sheet of one plot, and the address that leads to it.

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

let cameFrom = null; // what had the focus before
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
