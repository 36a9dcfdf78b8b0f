// Columns and shapes out of their short text (the Python side explains the codes).

const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
const DIGIT = new Uint8Array(128);
for (let at = 0; at < 64; at += 1) DIGIT[ALPHABET.charCodeAt(at)] = at;

const whole = (code, at) => DIGIT[code.charCodeAt(2 * at)] * 64 + DIGIT[code.charCodeAt(2 * at + 1)];

const NUMBERS = new Float64Array(4096);
for (let code = 1; code < 4095; code += 1) {
  const digits = 10 + ((code - 1) % 90);
  NUMBERS[code] = Number(digits + "e" + (Math.floor((code - 1) / 90) - 7));
}
NUMBERS[4095] = NaN;

function numbers(code) {
  if (code[0] === ".") {
    // Those that differ, and then which of them each is.
    const from = 4 + 2 * DIGIT[code.charCodeAt(1)];
    const listed = numbers(code.slice(2, from));
    return Float64Array.from({ length: code.length - from }, (_, at) => listed[DIGIT[code.charCodeAt(from + at)]]);
  }
  const values = new Float64Array(code.length / 2);
  for (let at = 0; at < values.length; at += 1) values[at] = NUMBERS[whole(code, at)];
  return values;
}

// Yes and no, six to a character.
const flagged = (code, at) => Boolean(code) && ((DIGIT[code.charCodeAt(Math.floor(at / 6))] >> (at % 6)) & 1) === 1;

const ready = new Map();
function column(at) {
  if (!ready.has(at)) ready.set(at, numbers(DATA.columns[at]));
  return ready.get(at);
}

// A path: flat x, y, x, y in whole centimetres; a table likewise, row by row.
function path(code, columns = 2) {
  const flat = [];
  const last = Array(columns).fill(0);
  let folded = 0;
  let power = 1;
  for (let at = 0; at < code.length; at += 1) {
    const digit = DIGIT[code.charCodeAt(at)];
    folded += (digit & 31) * power;
    if (digit > 31) {
      power *= 32;
      continue;
    }
    const axis = flat.length % columns;
    last[axis] += folded % 2 ? -(folded + 1) / 2 : folded / 2;
    flat.push(last[axis]);
    folded = 0;
    power = 1;
  }
  return flat;
}

const rings = (code) => code.split("|").map((part) => part.split(",").map((ring) => path(ring)));
const lines = (code) => code.split("|").map((part) => path(part));

// Centimetres to degrees, by the polynomial fitted in Python.
const FRAME = DATA.frame;
function latLng(x, y) {
  const u = x / FRAME.half;
  const v = y / FRAME.half;
  let [lat, lon, at] = [0, 0, 0];
  for (let total = 0; total <= FRAME.degree; total += 1) {
    for (let i = 0; i <= total; i += 1) {
      const term = u ** i * v ** (total - i);
      lon += FRAME.lon[at] * term;
      lat += FRAME.lat[at] * term;
      at += 1;
    }
  }
  return [lat, lon];
}

function latLngs(flat) {
  const made = [];
  for (let at = 0; at < flat.length; at += 2) made.push(latLng(flat[at], flat[at + 1]));
  return made;
}

const SHAPES = P.shape.map(rings);
const SPOTS = path(P.spot);
const spot = (plot) => [SPOTS[2 * plot], SPOTS[2 * plot + 1]];
const BOXES = SHAPES.map((parts) => {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const part of parts) {
    for (let at = 0; at < part[0].length; at += 2) {
      const [x, y] = [part[0][at], part[0][at + 1]];
      box[0] = Math.min(box[0], x);
      box[1] = Math.min(box[1], y);
      box[2] = Math.max(box[2], x);
      box[3] = Math.max(box[3], y);
    }
  }
  return box;
});

// Whether a point lies inside a plot: an odd number of edges to its right.
function inside(plot, x, y) {
  const box = BOXES[plot];
  if (x < box[0] || x > box[2] || y < box[1] || y > box[3]) return false;
  let odd = false;
  for (const part of SHAPES[plot]) {
    for (const ring of part) {
      for (let at = 0, from = ring.length - 2; at < ring.length; from = at, at += 2) {
        const [ax, ay, bx, by] = [ring[from], ring[from + 1], ring[at], ring[at + 1]];
        if (ay > y !== by > y && x < ax + ((bx - ax) * (y - ay)) / (by - ay)) odd = !odd;
      }
    }
  }
  return odd;
}
