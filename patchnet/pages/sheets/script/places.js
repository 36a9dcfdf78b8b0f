// What the plan puts somewhere can be put elsewhere by hand: dragged, or moved with the arrow keys.
// The sentence follows. Places are metres east and north of the middle of the paper.

const STEP = 0.5;
const FINE = 0.1;
const TOUCH = 0.02; // metres: things that only touch are not in each other's way
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const MM = 1000 / DATA.scale; // of paper for a metre of ground

const drawing = byId("drawing");
const svg = drawing.querySelector("svg");
const things = DATA.things.map((one, at) => ({ ...one, at, home: one.spot, moved: false }));

const placed = (one) => one.shape.map(([x, y]) => [x + one.spot[0], y + one.spot[1]]);

function inside([x, y], ring) {
  let within = false;
  ring.forEach(([x1, y1], at) => {
    const [x2, y2] = ring[(at + 1) % ring.length];
    if (y1 > y !== y2 > y && x < x1 + ((y - y1) * (x2 - x1)) / (y2 - y1)) within = !within;
  });
  return within;
}

function toSide([x, y], ring) {
  let least = Infinity;
  ring.forEach(([x1, y1], at) => {
    const [x2, y2] = ring[(at + 1) % ring.length];
    const [dx, dy] = [x2 - x1, y2 - y1];
    const long = dx * dx + dy * dy;
    const along = long ? Math.max(0, Math.min(1, ((x - x1) * dx + (y - y1) * dy) / long)) : 0;
    least = Math.min(least, Math.hypot(x1 + along * dx - x, y1 + along * dy - y));
  });
  return least;
}

// Corners, and points between them: enough to see whether one shape lies on another.
function around(ring) {
  return ring.flatMap(([x, y], at) => {
    const [to, up] = ring[(at + 1) % ring.length];
    return [0, 0.25, 0.5, 0.75].map((share) => [x + share * (to - x), y + share * (up - y)]);
  });
}

const within = (points, ring) =>
  points.some((each) => inside(each, ring) && toSide(each, ring) > TOUCH);

function overlap(one, other) {
  const middle = (ring) => [0, 1].map((at) => ring.reduce((sum, xy) => sum + xy[at], 0) / ring.length);
  return (
    within([...around(one), middle(one)], other) || within([...around(other), middle(other)], one)
  );
}

const apart = (one, other) =>
  Math.min(...one.map((each) => toSide(each, other)), ...other.map((each) => toSide(each, one)));

function hoursAt(ring) {
  const sun = DATA.sun;
  if (!sun) return null;
  const spots = sun.hours.map((hours, at) => ({
    hours,
    spot: [sun.west + (at % sun.wide) * sun.step, sun.north - Math.floor(at / sun.wide) * sun.step],
  })).filter((cell) => cell.hours >= 0);
  const under = spots.filter((cell) => inside(cell.spot, ring));
  const near = (cell) => toSide(cell.spot, ring);
  const chosen = under.length ? under : [spots.reduce((a, b) => (near(a) <= near(b) ? a : b))];
  return chosen.reduce((sum, cell) => sum + cell.hours, 0) / chosen.length;
}

const metres = (value) =>
  fill(W.metres, { metres: value < 10 ? String(Math.round(value * 10) / 10) : Math.round(value) });

function inTheWay(one, ring) {
  if (one.walls) return null;
  const off = around(ring).some(
    (each) => !DATA.plot.some((part) => inside(each, part) || toSide(each, part) <= TOUCH)
  );
  if (off) return W.outside;
  if (DATA.houses.some((house) => overlap(ring, house))) return W.house_in_way;
  if (DATA.way.some((way) => overlap(ring, way))) return W.way_in_way;
  const others = things.filter((other) => other !== one && !other.walls).map(placed);
  return [...DATA.kept, ...others].some((other) => overlap(ring, other)) ? W.thing_in_way : null;
}

function told(one) {
  if (!one.moved) return one.where;
  const ring = placed(one);
  const wrong = inTheWay(one, ring);
  if (wrong) return wrong;
  const wall = one.walls && one.walls[one.wall];
  const hours = wall ? wall.hours : hoursAt(ring);
  const facts = wall ? [fill(W.at_wall, { wall: wall.name })] : [];
  if (hours !== null) {
    facts.push(fill(W.sun, { hours: Math.round(hours), month: DATA.month }));
  }
  if (!wall && DATA.house.length) {
    facts.push(fill(W.house, { metres: metres(Math.min(...DATA.house.map((h) => apart(ring, h)))) }));
  }
  if (!wall) {
    const edge = Math.min(...ring.flatMap((each) => DATA.plot.map((part) => toSide(each, part))));
    facts.push(fill(W.boundary, { metres: metres(edge) }));
  }
  return fill(W.put, { facts: facts.join(", ") });
}

function show(one) {
  const [dx, dy] = [0, 1].map((at) => (one.spot[at] - one.home[at]) * MM);
  one.mark.setAttribute("transform", `translate(${dx.toFixed(2)} ${(-dy).toFixed(2)})`);
  one.hand.style.left = `${50 + (one.spot[0] * MM * 100) / DATA.wide}%`;
  one.hand.style.top = `${50 - (one.spot[1] * MM * 100) / DATA.high}%`;
  one.back.hidden = !one.moved;
}

// Moving one thing may clear, or block, another.
function tell() {
  for (const one of things) {
    one.words.textContent = told(one);
    one.mark.classList.toggle("ill", one.moved && inTheWay(one, placed(one)) !== null);
  }
}

function put(one, spot, aloud) {
  if (one.walls) {
    const away = (wall) => Math.hypot(wall.spot[0] - spot[0], wall.spot[1] - spot[1]);
    one.wall = one.walls.reduce((best, wall, at) => (away(wall) < away(one.walls[best]) ? at : best), 0);
    one.spot = one.walls[one.wall].spot;
  } else {
    one.spot = [
      Math.max(-DATA.wide / MM / 2, Math.min(DATA.wide / MM / 2, spot[0])),
      Math.max(-DATA.high / MM / 2, Math.min(DATA.high / MM / 2, spot[1])),
    ];
  }
  one.moved = one.spot.some((value, at) => Math.abs(value - one.home[at]) > 1e-6);
  show(one);
  tell();
  if (aloud) say(`${one.name}. ${one.words.textContent}`);
}

// The next place along the walls in a direction; where there is none the thing stays.
function along(one, [right, up]) {
  const ahead = one.walls.filter(({ spot: [x, y] }) => {
    const [dx, dy] = [x - one.spot[0], y - one.spot[1]];
    return dx * right + dy * up > Math.hypot(dx, dy) / 2 && Math.hypot(dx, dy) > 0.01;
  });
  const away = ({ spot: [x, y] }) => Math.hypot(x - one.spot[0], y - one.spot[1]);
  return ahead.length ? ahead.reduce((a, b) => (away(a) <= away(b) ? a : b)).spot : one.spot;
}

function begin(one) {
  one.mark = svg.querySelector(`[data-thing="${one.at}"]`);
  one.words = document.querySelector(`[data-where="${one.at}"]`);
  one.hand = button("", { class: "hand", "aria-label": fill(W.hand, { name: one.name }) });
  one.back = button(fill(W.back, { name: one.name }), { class: "back" }, () => {
    put(one, one.home, false);
    one.hand.focus();
    say(fill(W.was_back, { name: one.name, where: one.words.textContent }));
  });
  one.hand.addEventListener("keydown", (event) => {
    const way = WAYS[event.key];
    if (!way) return;
    event.preventDefault();
    const step = event.shiftKey ? FINE : STEP;
    const spot = [one.spot[0] + way[0] * step, one.spot[1] + way[1] * step];
    put(one, one.walls ? along(one, way) : spot, true);
  });
  drawing.append(one.hand);
  byId("backs").append(one.back);
  show(one);
}

// Where hands overlap, the thing nearest to the finger is meant.
function meant(event) {
  const away = (one) => {
    const box = one.hand.getBoundingClientRect();
    return Math.hypot(
      box.x + box.width / 2 - event.clientX,
      box.y + box.height / 2 - event.clientY
    );
  };
  return things.reduce((a, b) => (away(a) <= away(b) ? a : b));
}

let held = null;
drawing.addEventListener("pointerdown", (event) => {
  if (!event.target.classList.contains("hand")) return;
  event.preventDefault();
  const one = meant(event);
  drawing.setPointerCapture(event.pointerId);
  one.hand.focus({ preventScroll: true });
  held = { one, x: event.clientX, y: event.clientY, spot: one.spot };
});
drawing.addEventListener("pointermove", (event) => {
  if (!held) return;
  const metre = (svg.getBoundingClientRect().width / DATA.wide) * MM;
  const [dx, dy] = [event.clientX - held.x, held.y - event.clientY];
  put(held.one, [held.spot[0] + dx / metre, held.spot[1] + dy / metre], false);
});
const letGo = () => {
  if (held && held.one.spot !== held.spot) say(`${held.one.name}. ${held.one.words.textContent}`);
  held = null;
};
drawing.addEventListener("pointerup", letGo);
drawing.addEventListener("pointercancel", letGo);

things.forEach(begin);
document.documentElement.classList.add("drawn");
