// Edge-to-edge distances between plots, exact, in metres.

const segmentsOf = new Map();
function segments(plot) {
  if (!segmentsOf.has(plot)) {
    const flat = [];
    for (const part of SHAPES[plot]) {
      for (const ring of part) {
        for (let at = 0; at < ring.length; at += 2) {
          const next = (at + 2) % ring.length;
          flat.push(ring[at], ring[at + 1], ring[next], ring[next + 1]);
        }
      }
    }
    segmentsOf.set(plot, flat);
  }
  return segmentsOf.get(plot);
}

// Square of the distance from a point to a segment.
function pointToSegment(px, py, ax, ay, bx, by) {
  const [dx, dy] = [bx - ax, by - ay];
  const size = dx * dx + dy * dy;
  const along = size ? Math.max(0, Math.min(1, ((px - ax) * dx + (py - ay) * dy) / size)) : 0;
  const [ex, ey] = [px - ax - along * dx, py - ay - along * dy];
  return ex * ex + ey * ey;
}

const turn = (ax, ay, bx, by, cx, cy) => Math.sign((bx - ax) * (cy - ay) - (by - ay) * (cx - ax));

function segmentToSegment(ax, ay, bx, by, cx, cy, dx, dy) {
  const crosses =
    turn(ax, ay, bx, by, cx, cy) !== turn(ax, ay, bx, by, dx, dy) &&
    turn(cx, cy, dx, dy, ax, ay) !== turn(cx, cy, dx, dy, bx, by);
  // Segments in one line have equal turns (0): the end points decide.
  if (crosses) return 0;
  return Math.min(
    pointToSegment(ax, ay, cx, cy, dx, dy),
    pointToSegment(bx, by, cx, cy, dx, dy),
    pointToSegment(cx, cy, ax, ay, bx, by),
    pointToSegment(dx, dy, ax, ay, bx, by),
  );
}

// Least possible distance, from the boxes alone.
function boxGap(one, other) {
  const [a, b] = [BOXES[one], BOXES[other]];
  const dx = Math.max(0, a[0] - b[2], b[0] - a[2]);
  const dy = Math.max(0, a[1] - b[3], b[1] - a[3]);
  return Math.hypot(dx, dy) / 100;
}

function distance(one, other) {
  const [a, b] = [segments(one), segments(other)];
  // Edges that do not meet: either apart, or one part lies wholly inside the other plot.
  const within = (outer, inner) => SHAPES[inner].some((part) => inside(outer, part[0][0], part[0][1]));
  if (within(other, one) || within(one, other)) return 0;
  let least = Infinity;
  for (let i = 0; i < a.length && least > 0; i += 4) {
    for (let j = 0; j < b.length; j += 4) {
      const square = segmentToSegment(
        a[i], a[i + 1], a[i + 2], a[i + 3], b[j], b[j + 1], b[j + 2], b[j + 3],
      );
      if (square < least) least = square;
    }
  }
  return Math.sqrt(least) / 100;
}

// All other plots within `reach` metres, nearest first: [plot, metres].
function neighbours(plot, reach) {
  const near = [];
  for (let other = 0; other < PLOTS; other += 1) {
    if (other === plot || boxGap(plot, other) > reach) continue;
    const gap = distance(plot, other);
    if (gap <= reach) near.push([other, gap]);
  }
  return near.sort((a, b) => a[1] - b[1] || a[0] - b[0]);
}

// Those of `near` that a group can get to: by moves no longer than its hop, resting only on plots
// with habitat, on a way no longer than the reach. Crossing a plot itself is free.
function gotTo(group, plot, near, reach) {
  const straight = near.filter(([, gap]) => gap <= reach);
  if (group.ground) {
    if (!group.ground.moves) return straight;
    const cost = walkedFrom(group, plot);
    return straight.filter(([other]) => cost[other] <= Math.round(reach * 1000));
  }
  if (reach <= group.hop) return straight;
  const way = new Map(straight.map(([other, gap]) => [other, gap <= group.hop ? gap : Infinity]));
  const open = new Set(way.keys());
  while (open.size) {
    let [next, least] = [null, Infinity];
    for (const other of open) if (way.get(other) < least) [next, least] = [other, way.get(other)];
    if (next === null || least > reach) break;
    open.delete(next);
    if (!flagged(group.patch, next)) continue;
    for (const other of open) {
      const atLeast = boxGap(next, other);
      if (atLeast > group.hop || least + atLeast >= way.get(other)) continue;
      const gap = distance(next, other);
      if (gap <= group.hop && least + gap < way.get(other)) way.set(other, least + gap);
    }
  }
  return straight.filter(([other]) => way.get(other) <= reach);
}

// Single moves of a group that walks, from each plot: [plot, cost in mm of good ground].
const movesOf = new Map();
function moves(group) {
  if (!movesOf.has(group)) {
    const made = Array.from({ length: PLOTS }, () => []);
    const flat = path(group.ground.moves, 3);
    for (let at = 0; at < flat.length; at += 3) {
      made[flat[at]].push([flat[at + 1], flat[at + 2]]);
      made[flat[at + 1]].push([flat[at], flat[at + 2]]);
    }
    movesOf.set(group, made);
  }
  return movesOf.get(group);
}

// Cost in mm of the cheapest way from a plot to every other, resting only on plots with habitat.
function walkedFrom(group, plot) {
  const cost = Array(PLOTS).fill(Infinity);
  cost[plot] = 0;
  const open = new Set([plot]);
  while (open.size) {
    let next = -1;
    for (const other of open) if (next < 0 || cost[other] < cost[next]) next = other;
    open.delete(next);
    if (next !== plot && !flagged(group.patch, next)) continue;
    for (const [other, length] of moves(group)[next]) {
      if (cost[next] + length >= cost[other]) continue;
      cost[other] = cost[next] + length;
      open.add(other);
    }
  }
  return cost;
}
