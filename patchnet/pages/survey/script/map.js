// The map, painted on a canvas: quick on an old phone. The list of plots holds the same facts for
// whoever does not see it. One finger moves it, two fingers or the buttons make it larger.

const INK = "#000";
const FILL = { none: "#fff", begun: "#ffdf6b", done: "#0b4f2a", other: "#f4f4f4" };
const MARK = { none: "", begun: " …", done: " ✓", other: "" };

const closed = (flat) => {
  const line = new Path2D();
  for (let at = 0; at < flat.length; at += 2) {
    if (at) line.lineTo(flat[at], flat[at + 1]);
    else line.moveTo(flat[0], flat[1]);
  }
  return line;
};
const areaPath = (code) => {
  const made = new Path2D();
  for (const part of code ? rings(code) : []) {
    for (const ring of part) {
      const line = closed(ring);
      line.closePath();
      made.addPath(line);
    }
  }
  return made;
};
const strokes = (codes) => {
  const made = new Path2D();
  for (const code of codes) for (const line of code ? lines(code) : []) made.addPath(closed(line));
  return made;
};
const gathered = (codes) => {
  const made = new Path2D();
  for (const code of codes) made.addPath(areaPath(code));
  return made;
};

const PATHS = P.shape.map(areaPath);
const GROUND = {
  roads: gathered(DATA.ground.roadAreas),
  roadLines: strokes(DATA.ground.roadLines),
  ways: gathered(DATA.ground.wayAreas),
  wayLines: strokes(DATA.ground.wayLines),
  houses: gathered(DATA.ground.houses),
};

// The plot at a place, else the nearest box within `reach` (all in centimetres).
function plotAt(x, y, reach) {
  let best = -1;
  let least = Infinity;
  for (let plot = 0; plot < BOXES.length; plot += 1) {
    const box = BOXES[plot];
    const away = Math.hypot(Math.max(box[0] - x, 0, x - box[2]), Math.max(box[1] - y, 0, y - box[3]));
    if (away > reach) continue;
    const size = (box[2] - box[0]) * (box[3] - box[1]);
    // Inside counts before near by; of two, the smaller plot is the harder one to hit.
    const rank = inside(plot, x, y) ? size / 1e12 - 1 : away;
    if (rank < least) [best, least] = [plot, rank];
  }
  return best;
}

class StreetMap {
  constructor(canvas, { tapped, traced = null, over = null }) {
    this.canvas = canvas;
    this.paper = canvas.getContext("2d");
    this.tapped = tapped;
    this.traced = traced;
    this.over = over;
    this.look = (plot) => "none";
    this.strong = -1;
    this.moving = true;
    this.scale = 0.02;
    this.x = 0;
    this.y = 0;
    this.fingers = new Map();
    this.trace = null;
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(name, (event) => this.up(event, name === "pointerup"));
    }
    canvas.addEventListener("click", () => this.click());
    canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    new ResizeObserver(() => this.fitted()).observe(canvas);
  }

  fitted() {
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    if (!wide || !high) return;
    const dots = Math.min(window.devicePixelRatio || 1, 3);
    this.canvas.width = Math.round(wide * dots);
    this.canvas.height = Math.round(high * dots);
    this.dots = dots;
    if (this.box) this.show(this.box);
    else this.draw();
  }

  // Show a box (centimetres) as large as fits.
  show(box) {
    this.box = box;
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    if (!wide || !high) return;
    const room = 26;
    const width = Math.max(box[2] - box[0], 300);
    const height = Math.max(box[3] - box[1], 300);
    this.scale = Math.min((wide - room) / width, (high - room) / height);
    this.x = (box[0] + box[2]) / 2;
    this.y = (box[1] + box[3]) / 2;
    this.draw();
  }

  place(x, y) {
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    return [wide / 2 + (x - this.x) * this.scale, high / 2 - (y - this.y) * this.scale];
  }

  ground(px, py) {
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    return [this.x + (px - wide / 2) / this.scale, this.y - (py - high / 2) / this.scale];
  }

  zoom(by, px = this.canvas.clientWidth / 2, py = this.canvas.clientHeight / 2) {
    const [x, y] = this.ground(px, py);
    this.scale = Math.min(Math.max(this.scale * by, 0.001), 2);
    const [nx, ny] = this.ground(px, py);
    this.x += x - nx;
    this.y += y - ny;
    this.box = null;
    this.draw();
  }

  shift(right, up) {
    this.x += (right * this.canvas.clientWidth) / 4 / this.scale;
    this.y += (up * this.canvas.clientHeight) / 4 / this.scale;
    this.box = null;
    this.draw();
  }

  at(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  down(event) {
    this.canvas.setPointerCapture(event.pointerId);
    this.fingers.set(event.pointerId, this.at(event));
    if (this.fingers.size === 1) {
      this.start = this.at(event);
      this.far = false;
      this.trace = [this.start];
    } else {
      this.far = true;
      this.trace = null;
    }
  }

  move(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before) return;
    const now = this.at(event);
    if (!this.far && Math.hypot(now[0] - this.start[0], now[1] - this.start[1]) < 9) return;
    this.far = true;
    if (this.fingers.size === 1 && this.traced && !this.moving) {
      if (this.trace) this.trace.push(now);
      this.draw();
    } else if (this.fingers.size === 1) {
      this.x -= (now[0] - before[0]) / this.scale;
      this.y += (now[1] - before[1]) / this.scale;
      this.box = null;
      this.draw();
    } else {
      const [other] = [...this.fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
      const gap = (a, b) => Math.max(Math.hypot(a[0] - b[0], a[1] - b[1]), 1);
      this.x -= (now[0] - before[0]) / 2 / this.scale;
      this.y += (now[1] - before[1]) / 2 / this.scale;
      this.zoom(gap(now, other) / gap(before, other), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
    }
    this.fingers.set(event.pointerId, now);
  }

  up(event, ended) {
    if (!this.fingers.delete(event.pointerId)) return;
    const trace = this.trace;
    if (this.fingers.size) return;
    this.trace = null;
    if (!ended) this.draw();
    else if (this.far && trace && this.traced && !this.moving) {
      this.traced(thinned(trace, 2).map((at) => this.ground(...at)));
    }
  }

  // A tap is acted on at the click, the last event of a touch: what it opens gets no ghost of it.
  click() {
    if (this.far || !this.start) return;
    const [x, y] = this.ground(...this.start);
    this.tapped(x, y, DATA.tapPx / this.scale);
  }

  wheel(event) {
    event.preventDefault();
    this.zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, ...this.at(event));
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.paint();
    });
  }

  paint() {
    const { paper, dots, scale } = this;
    const { clientWidth: wide, clientHeight: high } = this.canvas;
    if (!dots || !wide) return;
    paper.setTransform(1, 0, 0, 1, 0, 0);
    paper.fillStyle = "#fff";
    paper.fillRect(0, 0, this.canvas.width, this.canvas.height);
    const [left, top] = this.place(0, 0);
    paper.setTransform(scale * dots, 0, 0, -scale * dots, left * dots, top * dots);
    const px = (n) => n / scale;
    const area = (path, fill, line, width) => {
      paper.fillStyle = fill;
      paper.fill(path, "evenodd");
      if (line) {
        paper.strokeStyle = line;
        paper.lineWidth = px(width);
        paper.stroke(path);
      }
    };
    paper.lineJoin = "round";
    area(GROUND.ways, "#f0f0f0", "#9a9a9a", 0.75);
    area(GROUND.roads, "#e2e2e2", "#8a8a8a", 0.75);
    paper.strokeStyle = "#d0d0d0";
    paper.lineWidth = px(5);
    paper.stroke(GROUND.roadLines);
    paper.lineWidth = px(2);
    paper.stroke(GROUND.wayLines);
    const [x0, y1] = this.ground(0, 0);
    const [x1, y0] = this.ground(wide, high);
    const seen = [];
    for (let plot = 0; plot < PATHS.length; plot += 1) {
      const box = BOXES[plot];
      if (box[2] < x0 || box[0] > x1 || box[3] < y0 || box[1] > y1) continue;
      seen.push(plot);
      const state = this.look(plot);
      area(PATHS[plot], FILL[state], state === "other" ? "#767676" : INK, state === "other" ? 0.75 : 1.5);
    }
    area(GROUND.houses, "#c8c8c8", "#666", 0.75);
    if (this.strong >= 0) {
      paper.strokeStyle = "#a4004f";
      paper.lineWidth = px(5);
      paper.stroke(PATHS[this.strong]);
    }
    if (this.over) this.over(this, paper, px);
    paper.setTransform(dots, 0, 0, dots, 0, 0);
    this.names(seen);
    if (this.trace && this.far && this.traced && !this.moving) this.inked(this.trace);
  }

  inked(points) {
    const { paper } = this;
    paper.strokeStyle = "#a4004f";
    paper.lineWidth = 4;
    paper.beginPath();
    points.forEach(([x, y], at) => (at ? paper.lineTo(x, y) : paper.moveTo(x, y)));
    paper.stroke();
  }

  // Numbers that have room, the chosen plot's always, and no two on each other.
  names(seen) {
    const { paper, scale } = this;
    const taken = [];
    const free = (box) =>
      !taken.some((one) => one[0] < box[2] && box[0] < one[2] && one[1] < box[3] && box[1] < one[3]);
    paper.textAlign = "center";
    paper.textBaseline = "middle";
    paper.lineJoin = "round";
    const rank = (plot) => (plot === this.strong ? 0 : this.look(plot) === "other" ? 2 : 1);
    const order = [...seen].sort((a, b) => rank(a) - rank(b));
    for (const [name, x, y, angle] of DATA.ground.names) {
      const [px, py] = this.place(x, y);
      paper.save();
      paper.translate(px, py);
      paper.rotate((-angle * Math.PI) / 180);
      paper.font = "italic 13px serif";
      paper.lineWidth = 4;
      paper.strokeStyle = "#fff";
      paper.strokeText(name, 0, 0);
      paper.fillStyle = INK;
      paper.fillText(name, 0, 0);
      paper.restore();
    }
    paper.font = "bold 13px sans-serif";
    for (const plot of order) {
      const state = this.look(plot);
      const words = P.id[plot] + MARK[state];
      const half = (this.width(words) + 4) / 2;
      const box = BOXES[plot];
      const room = Math.max((box[2] - box[0]) * scale, (box[3] - box[1]) * scale);
      if (plot !== this.strong && room < half) continue;
      const [x, y] = this.place(...spot(plot));
      const around = [x - half, y - 8, x + half, y + 8];
      if (plot !== this.strong && !free(around)) continue;
      taken.push(around);
      const dark = state === "done";
      paper.lineWidth = 4;
      paper.strokeStyle = FILL[state];
      paper.strokeText(words, x, y);
      paper.fillStyle = dark ? "#fff" : state === "other" ? "#595959" : INK;
      paper.fillText(words, x, y);
    }
  }

  width(words) {
    this.widths ||= new Map();
    if (!this.widths.has(words)) this.widths.set(words, this.paper.measureText(words).width);
    return this.widths.get(words);
  }
}

// Fewer points of a trace, none further than `slack` from the line (Douglas and Peucker 1973).
function thinned(points, slack) {
  if (points.length < 3) return points;
  const [ax, ay] = points[0];
  const [bx, by] = points.at(-1);
  const long = Math.hypot(bx - ax, by - ay);
  let far = -1;
  let at = 0;
  points.forEach(([x, y], index) => {
    const off = long
      ? Math.abs((bx - ax) * (ay - y) - (ax - x) * (by - ay)) / long
      : Math.hypot(x - ax, y - ay);
    if (off > far) [far, at] = [off, index];
  });
  if (far <= slack || at === 0) return [points[0], points.at(-1)];
  return [...thinned(points.slice(0, at + 1), slack).slice(0, -1), ...thinned(points.slice(at), slack)];
}

const boxOf = (plots) =>
  plots.reduce(
    (box, plot) => [
      Math.min(box[0], BOXES[plot][0]),
      Math.min(box[1], BOXES[plot][1]),
      Math.max(box[2], BOXES[plot][2]),
      Math.max(box[3], BOXES[plot][3]),
    ],
    [Infinity, Infinity, -Infinity, -Infinity],
  );
