// What the plots are filled and outlined with. On screen all are painted on one canvas, so that
// another animal is one picture and not a change to hundreds of elements; on paper each is its own.

const PLOT_PATHS = [];
function pathOf(plot) {
  if (!PLOT_PATHS[plot]) {
    const made = new Path2D();
    for (const ring of PLOT_LAYERS[plot]._parts) {
      const turned = HOLED[plot] || turnsLeft(ring) ? ring : [...ring].reverse();
      turned.forEach(({ x, y }, at) => (at ? made.lineTo(x, y) : made.moveTo(x, y)));
      made.closePath();
    }
    PLOT_PATHS[plot] = made;
  }
  return PLOT_PATHS[plot];
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
function pathOfAll(plots) {
  const made = new Path2D();
  for (const plot of plots) made.addPath(pathOf(plot));
  return made;
}

// Plots by what they are painted with: [tint, plots] and [colour, weight, dash, plots].
const painting = { shades: [], rims: [] };
function paintPlots(pen) {
  for (const [tint, plots] of painting.shades) {
    pen.fillStyle = canvasFill(tint);
    pen.fill(pathOfAll(plots.filter((plot) => !HOLED[plot])), "nonzero");
    for (const plot of plots) if (HOLED[plot]) pen.fill(pathOf(plot), "evenodd");
  }
  for (const [colour, weight, dash, plots] of painting.rims) {
    pen.strokeStyle = colour;
    pen.lineWidth = weight;
    // Round ends and corners are dear, and seen in dots alone.
    pen.lineCap = dash ? "round" : "butt";
    pen.lineJoin = dash ? "round" : "bevel";
    pen.setLineDash(dash ? dash.split(" ").map(Number) : []);
    pen.stroke(pathOfAll(plots));
  }
}

// The canvas takes its outlines from the plots' own renderer, so it is put on the map after that.
const Tints = L.Canvas.extend({
  _update() {
    PLOT_PATHS.length = 0;
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
