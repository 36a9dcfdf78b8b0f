// Letters, signs and names over the map: laid out anew after each move, none over another.

const marksPane = MAP.createPane("marks");
marksPane.style.zIndex = 650;
marksPane.style.pointerEvents = "none";
marksPane.setAttribute("aria-hidden", "true");
const MOST_MARKS = 1500;

// What stands where it stood stays as it is: an element made anew is measured and painted anew.
const marks = { standing: new Map(), kept: new Map(), fresh: [] };
function place(x, y, className, words, angle) {
  const turned = angle ? " rotate(" + -angle + "deg)" : "";
  const transform = "translate(" + x.toFixed(1) + "px," + y.toFixed(1) + "px) translate(-50%,-50%)" + turned;
  const key = [className, words, transform].join("|");
  let mark = marks.kept.get(key) || marks.standing.get(key);
  if (!mark) {
    mark = el("span", { class: "mark " + className, dir: "auto" }, words);
    mark.style.transform = transform;
    marks.fresh.push(mark);
  }
  marks.kept.set(key, mark);
  return mark;
}

function putMarks() {
  for (const [key, mark] of marks.standing) if (!marks.kept.has(key)) mark.remove();
  marksPane.append(...marks.fresh);
  [marks.standing, marks.kept, marks.fresh] = [marks.kept, new Map(), []];
}

const pixel = (x, y) => MAP.latLngToLayerPoint(latLng(x, y));
const SPOT_PLACES = P.id.map((_, plot) => L.latLng(latLng(...spot(plot))));

// What is written on a plot: without the street's name, which stands in the road.
function shortLabel(plot) {
  const [whole_, name] = [label(plot), street(plot)];
  const rest = name && whole_.startsWith(name + " ") ? whole_.slice(name.length + 1) : whole_;
  return rest.length > 24 ? rest.slice(0, 23) + "…" : rest;
}

// The long axis of each plot: [degrees; cm from the plot's spot to either end; breadth in cm].
const AXES = SHAPES.map((parts, plot) => {
  const ring = parts[0][0];
  let [longest, ux, uy] = [0, 1, 0];
  for (let at = 0; at < ring.length; at += 2) {
    const next = (at + 2) % ring.length;
    const [dx, dy] = [ring[next] - ring[at], ring[next + 1] - ring[at + 1]];
    const size = Math.hypot(dx, dy);
    if (size > longest) [longest, ux, uy] = [size, dx / size, dy / size];
  }
  const spread = (wx, wy) => {
    let [low, high] = [Infinity, -Infinity];
    for (let at = 0; at < ring.length; at += 2) {
      const along = ring[at] * wx + ring[at + 1] * wy;
      [low, high] = [Math.min(low, along), Math.max(high, along)];
    }
    return [low, high];
  };
  // Upright words read upwards: between -80 and 100 degrees against east.
  const angle = ((((Math.atan2(uy, ux) * 180) / Math.PI + 80) % 180) + 180) % 180 - 80;
  const turned = (angle * Math.PI) / 180;
  const [wx, wy] = [Math.cos(turned), Math.sin(turned)];
  const here = spot(plot)[0] * wx + spot(plot)[1] * wy;
  const [low, high] = spread(wx, wy);
  const [left, right] = spread(-wy, wx);
  return [angle, here - low, high - here, right - left];
});

// A plot's name: level where it fits, else along the plot, else not at all. Where it stands does not
// depend on what the plots are shaded by: another animal moves no name.
// {words, x, y, turned: degrees, aside(width): where a sign may stand beside it}, or null.
const SIGN_HIGH = 13; // pixels
function nameOn(plot, point, perCm, free) {
  const words = shortLabel(plot);
  const wide = words.length * 5.9 + 6;
  const angle = AXES[plot][0];
  const [back, ahead, breadth] = AXES[plot].slice(1).map((cm) => cm * perCm);
  const length = back + ahead;
  const slant = (angle * Math.PI) / 180;
  const [cos, sin] = [Math.cos(slant), Math.sin(slant)];
  const [across, up] = [Math.abs(cos), Math.abs(sin)];
  const [wideHere, highHere] = [Math.min(length / Math.max(0.01, across), breadth / Math.max(0.01, up)), Math.max(breadth, length * up)];
  if (wide < wideHere && 16 < highHere) {
    const [x, y] = [point.x, point.y];
    if (!free(x, y, wide, 12)) return null;
    const over = 16 + 2 * SIGN_HIGH < highHere ? [[x, y - SIGN_HIGH], [x, y + SIGN_HIGH]] : [];
    const beside = (sign) => {
      const out = (wide + sign) / 2 + 4;
      return 2 * out + sign < wideHere ? [[x - out, y], [x + out, y]] : [];
    };
    return { words, x, y, turned: 0, aside: (sign) => [...over, ...beside(sign)] };
  }
  const half = wide / 2 + 2;
  const shift = Math.min(ahead - half, Math.max(half - back, 0));
  if (breadth < 14 || half - shift > back) return null;
  const at = (far) => [point.x + far * cos, point.y - far * sin];
  const [x, y] = at(shift);
  if (!free(x, y, wide * across + 12 * up, wide * up + 12 * across)) return null;
  const aside = (sign) => {
    const out = half + (sign * across + SIGN_HIGH * up) / 2;
    return [shift - out, shift + out].filter((far) => far - 6 > -back && far + 6 < ahead).map(at);
  };
  return { words, x, y, turned: angle, aside };
}

// A plot's sign stands beside its name; where there is no room for both the sign stays, for it says
// what the shade says.
function signOf(plot, layer) {
  if (layer.garden || layer.alike) return "";
  const mark = layer.classes[layer.of(plot)].tint[4];
  const doubtful = layer.doubt && layer.doubt(plot);
  return doubtful && mark && mark !== "?" ? mark + "?" : doubtful ? "?" : mark;
}

function writeNames(view, layer, seen, perCm, free) {
  const found = [];
  for (let plot = 0; plot < PLOTS && found.length < MOST_MARKS; plot += 1) {
    if (layer.garden && (!view.labels || /^\d/.test(shortLabel(plot)))) continue;
    const at = SPOT_PLACES[plot];
    const box = BOXES[plot];
    const [wide, high] = [(box[2] - box[0]) * perCm, (box[3] - box[1]) * perCm];
    if (Math.max(wide, high) < 11 || !seen.contains(at)) continue;
    const point = MAP.latLngToLayerPoint(at);
    if (view.network && view.group !== ALL) point.y -= 14; // the dot of the patch stands there
    found.push([plot, point, view.labels ? nameOn(plot, point, perCm, free) : null]);
  }
  for (const [plot, point, name] of found) {
    const sign = signOf(plot, layer);
    const wide = 9 * sign.length + 1;
    const spots = name ? name.aside(wide) : [[point.x, point.y]];
    const spot_ = sign ? spots.find(([x, y]) => free(x, y, wide, SIGN_HIGH)) : null;
    if (spot_) place(...spot_, "sign-mark", sign);
    if (name && (!sign || spot_)) place(name.x, name.y, "plot-label", name.words, name.turned);
    else if (name) place(name.x, name.y, "sign-mark", sign);
  }
  return found.length;
}

const GAP_SIGNS = { yes: ["gap-yes", "○"], no: ["gap-no", "▪"] };

// A point part of the way along a path: [x, y, length of the whole path].
function along(flat, part_) {
  let length = 0;
  const steps = [];
  for (let at = 2; at < flat.length; at += 2) {
    steps.push(Math.hypot(flat[at] - flat[at - 2], flat[at + 1] - flat[at - 1]));
    length += steps[steps.length - 1];
  }
  let left = length * part_;
  for (let at = 0; at < steps.length; at += 1) {
    if (left <= steps[at]) {
      const part = steps[at] ? left / steps[at] : 0;
      const from = 2 * at;
      return [
        flat[from] + part * (flat[from + 2] - flat[from]),
        flat[from + 1] + part * (flat[from + 3] - flat[from + 1]),
        length,
      ];
    }
    left -= steps[at];
  }
  return [flat[0], flat[1], length];
}

const middle = (flat) => along(flat, 0.5);
const GAPS = DATA.drawn.barriers.shape.map((code) => middle(path(code.split("|")[0])));

function writeStreetNames(seen, free) {
  const things = THINGS.map(([, x, y]) => pixel(x, y));
  for (const [name, x, y, angle] of DATA.drawn.names) {
    if (!seen.contains(latLng(x, y))) continue;
    const point = pixel(x, y);
    const wide = name.length * 7 + 8;
    const [ux, uy] = [Math.cos((angle * Math.PI) / 180), -Math.sin((angle * Math.PI) / 180)];
    const at = (far) => [point.x + far * ux, point.y + far * uy];
    // Not where the number of a thing to do would have to leave its place for it.
    const onThing = ([mx, my]) =>
      things.some(({ x, y }) => Math.abs((x - mx) * ux + (y - my) * uy) < wide / 2 && Math.abs((x - mx) * uy - (y - my) * ux) < 7);
    const far = [0, 25, -25, 50, -50].find((one) => !onThing(at(one)) && free.along(...at(one), wide, 15, angle));
    if (far !== undefined) place(...at(far), "road-name", name, angle);
  }
}

// All that the marks depend on: where nothing of it changed they stand as they are.
let marksAs = "";
function marksDependOn(view, layer) {
  const { lat, lng } = MAP.getCenter();
  const ofAnimal = view.breaks || view.network || draws(view, "gaps") ? view.group : null;
  const shown = [view.breaks, view.network, draws(view, "gaps"), view.labels, view.barriers, Boolean(layer.garden)];
  const signs = SPOT_PLACES.map((_, plot) => signOf(plot, layer));
  return [lat, lng, MAP.getZoom(), MAP.getSize(), view.plot, ofAnimal, ...shown, ...signs].join();
}

function writeMarks(view, layer) {
  const as = marksDependOn(view, layer);
  if (as === marksAs) return;
  marksAs = as;
  const seen = MAP.getBounds().pad(0.05);
  const size = MAP.getSize();
  const perCm = size.x / Math.max(1, widthInCm());
  const free = freeSpace();

  if (view.breaks && view.group !== ALL) {
    G[view.group].breaks.forEach((one, at) => {
      const [x, y] = middle(path(one.line.split("|")[0]));
      const point = pixel(x, y);
      if (seen.contains(latLng(x, y)) && free(point.x, point.y - 17, 24, 24)) {
        place(point.x, point.y - 17, "break-number", String(at + 1));
      }
    });
  }
  if (draws(view, "gaps")) {
    G[view.group].ground.gaps.forEach((one, at) => {
      const point = pixel(...one.place);
      if (!seen.contains(latLng(...one.place))) return;
      // Beside its place, wherever there is room; else on it.
      const spots = [[0, 0], [0, -20], [0, 20], [-20, 0], [20, 0]];
      const [dx, dy] = spots.find(([x, y]) => free(point.x + x, point.y + y, 22, 22)) || spots[0];
      place(point.x + dx, point.y + dy, "make-gap", LETTERS[at]);
    });
  }
  // What a sheet says of its plot goes before the names of streets.
  if (view.labels && view.plot === null) writeStreetNames(seen, free);
  writeThings(seen, free);
  writeSheet(view.plot, free);
  if (view.labels && view.plot !== null) writeStreetNames(seen, free);
  if (layer.garden) writeHouseNumbers(seen, perCm, free);
  let written = writeNames(view, layer, seen, perCm, free);
  if (layer.garden) writeGardenSigns(seen, perCm, free);
  if (view.barriers && DATA.drawn.barriers.gap.length && !layer.garden) {
    GAPS.forEach(([x, y, length], at) => {
      if (written > MOST_MARKS || length * perCm < 26 || !seen.contains(latLng(x, y))) return;
      const [className, sign] = GAP_SIGNS[DATA.drawn.barriers.gap[at]] || ["gap-unknown", "?"];
      const point = pixel(x, y);
      if (!free(point.x, point.y, 11, 11)) return;
      place(point.x, point.y, "gap " + className, sign);
      written += 1;
    });
  }
  putMarks();
}

// Width of the map in centimetres on the ground, from two points half way up.
function widthInCm() {
  const size = MAP.getSize();
  const west = MAP.containerPointToLatLng([0, size.y / 2]);
  const east = MAP.containerPointToLatLng([size.x, size.y / 2]);
  return west.distanceTo(east) * 100;
}
