// Paper: the map is fitted to the sheet, the table has all its rows.

let before = null; // where the map stood before
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
