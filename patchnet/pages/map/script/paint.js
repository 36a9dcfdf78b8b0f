// What the plots are filled and outlined with. On screen all are painted on one canvas, so that
// another animal is one picture and not a change to hundreds of elements; on paper each is its own.

// The rings of each plot on the picture, corner after corner: [x, y, x, y ...].
const PLOT_RINGS = [];
function ringsOf(plot) {
  PLOT_RINGS[plot] ??= PLOT_LAYERS[plot]._parts.map((ring) => {
    const turned = HOLED[plot] || turnsLeft(ring) ? ring : [...ring].reverse();
    return turned.flatMap(({ x, y }) => [x, y]);
  });
  return PLOT_RINGS[plot];
}

function turnsLeft(ring) {
  let twice = 0;
  ring.forEach((here, at) => {
    const next = ring[(at + 1) % ring.length];
    twice += here.x * next.y - next.x * here.y;
  });
  return twice > 0;
}

// Hundreds of shapes with one pattern are much quicker to paint as one. Shapes that all turn the
// same way may lie over each other in it; those with holes are painted each by itself.
const HOLED = SHAPES.map((parts) => parts.some((part) => part.length > 1));
function tracePlots(pen, plots) {
  pen.beginPath();
  for (const plot of plots) {
    for (const ring of ringsOf(plot)) {
      pen.moveTo(ring[0], ring[1]);
      for (let at = 2; at < ring.length; at += 2) pen.lineTo(ring[at], ring[at + 1]);
      pen.lineTo(ring[0], ring[1]); // much quicker than to close it, and looks alike
    }
  }
}

// Plots by what they are painted with: [tint, plots] and [colour, weight, dash, plots].
const painting = { shades: [], rims: [] };
function paintPlots(pen) {
  for (const [tint, plots] of painting.shades) {
    pen.fillStyle = canvasFill(tint);
    tracePlots(pen, plots.filter((plot) => !HOLED[plot]));
    pen.fill("nonzero");
    for (const plot of plots) {
      if (!HOLED[plot]) continue;
      tracePlots(pen, [plot]);
      pen.fill("evenodd");
    }
  }
  for (const [colour, weight, dash, plots] of painting.rims) {
    pen.strokeStyle = colour;
    pen.lineWidth = weight;
    // Round ends and corners are dear, and seen in dots alone.
    pen.lineCap = dash ? "round" : "butt";
    pen.lineJoin = dash ? "round" : "bevel";
    pen.setLineDash(dash ? dash.split(" ").map(Number) : []);
    tracePlots(pen, plots);
    pen.stroke();
  }
}

// The canvas takes its outlines from the plots' own renderer, so it is put on the map after that.
const Tints = L.Canvas.extend({
  _update() {
    PLOT_RINGS.length = 0;
    L.Canvas.prototype._update.call(this);
  },
  _draw() {
    paintPlots(this._ctx);
  },
});

let tints = null;
function paintOnCanvas(painted) {
  if (Boolean(tints) === painted) return;
  shadedAs = "";
  if (!painted) {
    tints.remove();
    tints = null;
    return;
  }
  for (const shape of PLOT_LAYERS) shape.setStyle({ stroke: false, fillOpacity: 0 });
  painting.shades = painting.rims = [];
  tints = new Tints({ pane: "tints", padding: 0.2 }).addTo(MAP);
}

const rimOf = (dash) => [dash ? T.ink : T.lines.plot[0], dash ? Math.max(1, 2 * drawnOutline) : drawnOutline, dash];

// Painting is dear, so it is done only where something changed.
let drawnOutline = 0;
let shadedAs = "";
function shadePlots(layer, bare) {
  drawnOutline = outline();
  // Over gardens and over the picture of the ground the plots are outlines; they still take clicks.
  const bareGround = Boolean(layer.garden || layer.alike);
  const clear = Boolean(bare) || bareGround;
  const [shades, rims] = [new Map(), new Map()];
  const put = (map, key, plot) => (map.has(key) ? map.get(key).push(plot) : map.set(key, [plot]));
  for (let plot = 0; plot < PLOTS; plot += 1) {
    const { tint } = layer.classes[layer.of(plot)];
    const doubtful = layer.doubt ? layer.doubt(plot) : false;
    if (!clear) put(shades, tint, plot);
    put(rims, bareGround ? "" : doubtful ? T.unknown[3] : tint[3], plot);
  }
  painting.shades = [...shades];
  painting.rims = [...rims].map(([dash, plots]) => [...rimOf(dash), plots]);
  const as = JSON.stringify(painting);
  if (as === shadedAs) return;
  shadedAs = as;
  if (tints) tints._redraw();
  else stylePlots();
}

function stylePlots() {
  if (!painting.shades.length) for (const shape of PLOT_LAYERS) shape.setStyle({ fillOpacity: 0 });
  for (const [tint, plots] of painting.shades) {
    const fillColor = R.asSvg ? patternFill(tint) : canvasFill(tint);
    for (const plot of plots) PLOT_LAYERS[plot].setStyle({ fillColor, fillOpacity: 1 });
  }
  for (const [color, weight, dashArray, plots] of painting.rims) {
    for (const plot of plots) PLOT_LAYERS[plot].setStyle({ stroke: true, color, weight, dashArray });
  }
}
