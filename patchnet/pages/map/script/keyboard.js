// Plots by keyboard: one stop for all of them, arrows go to the next plot that way.

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
