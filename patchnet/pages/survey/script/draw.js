// Drawing on the map: a line, an outline or a spot. A finger draws; a tap, or the button for the
// cross in the middle, sets one corner. Each of these can be taken back by itself.

const METRE = 100;
let sketch = null;

const kindOf = { m2: "Polygon", m: "LineString", count: "Point" };

const flatPoints = () => sketch.pieces.flat();

function areaOf(points) {
  let twice = 0;
  points.forEach(([x, y], at) => {
    const [nx, ny] = points[(at + 1) % points.length];
    twice += x * ny - nx * y;
  });
  return twice / 2 / METRE ** 2;
}

const lengthOf = (points) =>
  points.slice(1).reduce((sum, [x, y], at) => sum + Math.hypot(x - points[at][0], y - points[at][1]), 0) / METRE;

function crosses(points) {
  const turn = (a, b, c) => Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
  const n = points.length;
  for (let i = 0; i < n; i += 1) {
    for (let j = i + 2; j < n; j += 1) {
      if (i === 0 && j === n - 1) continue;
      const [a, b, c, d] = [points[i], points[(i + 1) % n], points[j], points[(j + 1) % n]];
      if (turn(a, b, c) * turn(a, b, d) < 0 && turn(c, d, a) * turn(c, d, b) < 0) return true;
    }
  }
  return false;
}

// Whether a sketch touches its plot, give or take what hand-drawn edges are out by.
function touches(points) {
  const near = ([x, y]) => {
    if (inside(sketch.plot, x, y)) return true;
    return SHAPES[sketch.plot].some((part) =>
      part.some((ring) => {
        for (let at = 0, from = ring.length - 2; at < ring.length; from = at, at += 2) {
          const [ax, ay, bx, by] = [ring[from], ring[from + 1], ring[at], ring[at + 1]];
          const long = (bx - ax) ** 2 + (by - ay) ** 2 || 1;
          const t = Math.min(Math.max(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / long, 0), 1);
          if (Math.hypot(x - ax - t * (bx - ax), y - ay - t * (by - ay)) <= DATA.snapCm) return true;
        }
        return false;
      }),
    );
  };
  return points.some(near);
}

// Why a sketch cannot be kept yet; nothing where it can.
function lacking() {
  const points = flatPoints();
  if (sketch.kind === "Point" && !points.length) return "lack_point";
  if (sketch.kind === "LineString" && !(points.length > 1 && lengthOf(points) > 0)) return "lack_line";
  if (sketch.kind === "Polygon") {
    if (crosses(points)) return "lack_crossing";
    if (points.length < 3 || Math.abs(areaOf(points)) < 1e-4) return "lack_area";
  }
  return touches(sketch.kind === "Point" ? points.slice(-1) : points) ? "" : "lack_away";
}

const degrees = ([x, y]) => {
  const [lat, lon] = latLng(x, y);
  return [Number(lon.toFixed(7)), Number(lat.toFixed(7))];
};

function geometryOf(kind, points) {
  if (kind === "Point") return { type: kind, coordinates: degrees(points.at(-1)) };
  if (kind === "LineString") return { type: kind, coordinates: points.map(degrees) };
  const ring = (areaOf(points) < 0 ? [...points].reverse() : points).map(degrees);
  return { type: kind, coordinates: [[...ring, ring[0]]] };
}

// Degrees back to centimetres: the polynomial is all but straight, so a few steps of Newton's
// method from the middle find the place.
function centimetres([lon, lat]) {
  let [x, y] = [0, 0];
  for (let round = 0; round < 8; round += 1) {
    const [la, lo] = latLng(x, y);
    const [laX, loX] = latLng(x + METRE, y);
    const [laY, loY] = latLng(x, y + METRE);
    const [a, b, c, d] = [loX - lo, loY - lo, laX - la, laY - la];
    const all = a * d - b * c;
    x += (METRE * ((lon - lo) * d - (lat - la) * b)) / all;
    y += (METRE * ((lat - la) * a - (lon - lo) * c)) / all;
  }
  return [x, y];
}

const onGround = new Map();
function groundOf(geometry) {
  if (!onGround.has(geometry)) {
    const { type, coordinates } = geometry;
    const list = type === "Point" ? [coordinates] : type === "Polygon" ? coordinates[0].slice(0, -1) : coordinates;
    onGround.set(geometry, list.map(centimetres));
  }
  return onGround.get(geometry);
}

const toTenths = (value) => value.toLocaleString(LOCALE, { minimumFractionDigits: 1, maximumFractionDigits: 1, useGrouping: false });

function sizeWords(geometry) {
  const points = groundOf(geometry);
  if (geometry.type === "Polygon") return `${toTenths(Math.abs(areaOf(points)))} m²`;
  if (geometry.type === "LineString") return `${toTenths(lengthOf(points))} m`;
  return W.a_spot;
}

function pen(map, paper, px, points, kind, colour) {
  const line = new Path2D();
  points.forEach(([x, y], at) => (at ? line.lineTo(x, y) : line.moveTo(x, y)));
  if (kind === "Polygon" && points.length > 2) line.closePath();
  // A white edge keeps the line apart from any ground.
  for (const [ink, width] of points.length > 1 ? [["#fff", 8], [colour, 4]] : []) {
    paper.strokeStyle = ink;
    paper.lineWidth = px(width);
    paper.stroke(line);
  }
  paper.fillStyle = colour;
  const dots = kind === "Point" ? points.slice(-1) : points.length < 12 ? points : [];
  for (const [x, y] of dots) {
    const dot = new Path2D();
    dot.arc(x, y, px(kind === "Point" ? 8 : 4), 0, 2 * Math.PI);
    paper.fill(dot);
  }
}

function overlay(map, paper, px) {
  for (const shape of record.state.drawn.values()) {
    pen(map, paper, px, groundOf(shape.geometry), shape.geometry.type, "#12457e");
  }
  if (!sketch || map !== drawMap) return;
  pen(map, paper, px, flatPoints(), sketch.kind, "#a4004f");
  const cross = new Path2D();
  cross.moveTo(map.x - px(14), map.y);
  cross.lineTo(map.x + px(14), map.y);
  cross.moveTo(map.x, map.y - px(14));
  cross.lineTo(map.x, map.y + px(14));
  paper.strokeStyle = INK;
  paper.lineWidth = px(1.5);
  paper.stroke(cross);
}

let drawMap = null;

function piece(points) {
  if (sketch.kind === "Point") sketch.pieces.push(points.slice(-1));
  else sketch.pieces.push(points);
  refreshDraw();
}

function buildDraw() {
  drawMap = new StreetMap(byId("draw-map"), {
    tapped: (x, y) => piece([[x, y]]),
    traced: (points) => piece(points),
    over: overlay,
  });
  drawMap.moving = false;
  byId("draw-move").addEventListener("click", () => {
    drawMap.moving = !drawMap.moving;
    byId("draw-move").setAttribute("aria-pressed", String(drawMap.moving));
  });
  byId("draw-corner").addEventListener("click", () => piece([[drawMap.x, drawMap.y]]));
  moves("draw", drawMap, () => boxOf([sketch.plot]));
  byId("draw-leave").addEventListener("click", () => closeDraw(W.drawing_left));
}

function refreshDraw() {
  const lack = lacking();
  const points = flatPoints();
  const size = lack ? "" : sizeWords(geometryOf(sketch.kind, points));
  say(lack ? phrase(lack, { plot: P.id[sketch.plot] }) : phrase("drawn_so_far", { size }));
  drawMap.draw();
  refreshDock();
}

function openDraw(plot, feature) {
  sketch = { plot, feature, kind: kindOf[feature.measure], pieces: [] };
  byId("draw-title").textContent = phrase("draw_title", { feature: feature.name, plot: P.id[plot] });
  byId("draw-how").textContent = W[`how_${sketch.kind}`];
  drawMap.moving = false;
  byId("draw-move").setAttribute("aria-pressed", "false");
  drawMap.strong = plot;
  drawMap.show(boxOf([plot]));
  show("draw");
  refreshDraw();
}

function keepDraw() {
  const { plot, feature, kind } = sketch;
  const lack = lacking();
  if (lack) return say(phrase(lack, { plot: P.id[plot] }));
  const geometry = geometryOf(kind, flatPoints());
  const now = record.state.said.get(key(plot, feature.key));
  const there = now && now.answer === "there";
  const step = { way: "draw", id: newId(), plot, feature: feature.key, geometry };
  if (!there) {
    step.said = {
      plot, feature: feature.key, answer: "there", amount: null, sure: "sure",
      from: byId("plot-from").value, note: "", photo: "",
    };
  }
  add(step);
  return closeDraw(phrase("step_draw", { plot: P.id[plot], feature: feature.name }));
}

function closeDraw(said_) {
  const { feature } = sketch;
  sketch = null;
  show("plot", false);
  refreshPlot();
  const { item, buttons } = rows.get(feature.key);
  item.scrollIntoView({ block: "center" });
  buttons[0].focus({ preventScroll: true });
  say(said_);
}
