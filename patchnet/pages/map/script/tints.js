// A tint is [base, ink, motif, dash, mark]: how an area is filled on the map and in the legend.

const COLOURS = DATA.colours;
const patternIds = new Map();
const patternBoard = svg("defs", {});
document.body.append(
  svg("svg", { width: 0, height: 0, "aria-hidden": "true", class: "patterns" }, patternBoard),
);

// The fill for SVG: a pattern by its address inside the page.
function patternFill([base, ink, motif]) {
  const [side, width, stroke] = COLOURS.motifs[motif];
  if (!stroke) return base;
  const key = base + ink + motif;
  if (!patternIds.has(key)) {
    const id = "tint-" + patternIds.size;
    patternIds.set(key, id);
    patternBoard.append(
      svg(
        "pattern",
        { id, width: side, height: side, patternUnits: "userSpaceOnUse" },
        svg("rect", { width: side, height: side, fill: base }),
        svg("path", {
          d: stroke,
          fill: "none",
          stroke: ink,
          "stroke-width": width,
          "stroke-linecap": "round",
        }),
      ),
    );
  }
  return "url(#" + patternIds.get(key) + ")";
}

// The same fill for a canvas.
const canvasFills = new Map();
function canvasFill([base, ink, motif]) {
  const [side, width, stroke] = COLOURS.motifs[motif];
  if (!stroke) return base;
  const key = base + ink + motif;
  if (!canvasFills.has(key)) {
    // Leaflet doubles its canvas on fine screens and scales the pattern with it.
    const tile = document.createElement("canvas");
    tile.width = side * 2;
    tile.height = side * 2;
    const pen = tile.getContext("2d");
    pen.scale(2, 2);
    pen.fillStyle = base;
    pen.fillRect(0, 0, side, side);
    pen.strokeStyle = ink;
    pen.lineWidth = width;
    pen.lineCap = "round";
    pen.stroke(new Path2D(stroke));
    const made = pen.createPattern(tile, "repeat");
    made.setTransform(new DOMMatrix().scale(0.5));
    canvasFills.set(key, made);
  }
  return canvasFills.get(key);
}

// A small picture of a tint for the legend. `dotted` overrides the outline.
function swatch(tint, dotted) {
  const box = svg(
    "svg",
    { width: 34, height: 24, viewBox: "0 0 34 24", "aria-hidden": "true", class: "swatch" },
    svg("rect", {
      x: 1.5,
      y: 1.5,
      width: 31,
      height: 21,
      fill: patternFill(tint),
      stroke: COLOURS.lines.plot[0],
      "stroke-width": dotted || tint[3] ? 2 : 1,
      "stroke-dasharray": dotted || tint[3],
    }),
  );
  if (tint[4]) box.append(signOn(tint, 17, 12));
  return box;
}

function signOn(tint, x, y) {
  const halo = { stroke: tint[0], "stroke-width": 4, "stroke-linejoin": "round", "paint-order": "stroke" };
  const sign = svg("text", { x, y, class: "sign", fill: tint[1], ...halo });
  sign.textContent = tint[4];
  return sign;
}

function lineSwatch(colour, width, dash, sign) {
  const box = svg(
    "svg",
    { width: 34, height: 24, viewBox: "0 0 34 24", "aria-hidden": "true", class: "swatch" },
    svg("path", {
      d: "M2 12H32",
      stroke: colour,
      "stroke-width": width,
      "stroke-dasharray": dash,
      "stroke-linecap": dash.startsWith("0.1") ? "round" : "butt",
    }),
  );
  if (sign) box.append(sign);
  return box;
}
