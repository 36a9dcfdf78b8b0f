// The sheet of one plot: what its neighbours give, what nobody near has, what to do; the rest below.

const RINGS_M = [25, 50, 100];
const NEAR_M = RINGS_M[2];
const MOST_LINES = 5;
const MOST_LACKING = 6;
const HOUSE_NEAR_CM = 4000; // a house further off is another's

// Kinds of help that neighbours give each other, in the order in which they are told: who has a
// pond near need not dig one, and a dish of water is no pond.
const GIVEN_SORTS = ["open", "water", "woody", "grass", "flowers", "decay", "soil", "box"];
const sortOf = (at) => (F[at].open ? "open" : F[at].sort);

const shownFeatures = F.map((_, at) => at).filter((at) => F[at].shown);
const hasAny = (plot, sort) => shownFeatures.filter((at) => F[at].said && sortOf(at) === sort && amounts(at)[plot] > 0);
const lookedAt = (plot) => F.some((feature) => !["?", "~"].includes(feature.answers[plot]));

// Front and back of one house are nobody's neighbours.
const houseOf = (plot) => {
  const found = /^\d+\p{L}?/u.exec(P.label[plot]);
  return found ? P.street[plot] + " " + found[0] : "";
};
const sameHouse = (plot, other) => Boolean(houseOf(plot)) && houseOf(plot) === houseOf(other);

// Of each kind the nearest plot that has it: [{sort, feature, plot, gap, mine}].
function givenTo(plot, near) {
  const found = [];
  for (const sort of GIVEN_SORTS) {
    const giver = near.find(([other, gap]) => gap <= NEAR_M && !sameHouse(plot, other) && hasAny(other, sort).length);
    if (!giver) continue;
    const [other, gap] = giver;
    found.push({ sort, feature: hasAny(other, sort)[0], plot: other, gap, mine: hasAny(plot, sort).length > 0 });
  }
  const most = found.sort((a, b) => a.mine - b.mine).slice(0, MOST_LINES);
  return most.sort((a, b) => a.gap - b.gap);
}

// What can be added, and nobody within reach is known to have.
function lackingNear(plot, near) {
  const within = [plot, ...near.filter(([, gap]) => gap <= NEAR_M).map(([other]) => other)];
  const looked = within.filter(lookedAt).length;
  if (looked < 2) return [];
  return shownFeatures.filter((at) => F[at].add && !F[at].unseen && within.every((other) => !(amounts(at)[other] > 0)));
}

function finding(plot, given, lacking) {
  if (!lookedAt(plot)) return W.sheet_not_seen;
  const begin = DATA.best && DATA.best[plot].length ? DATA.best[plot][0][0] : "";
  // What is asked for here all the same is not said to be there already.
  const asked = new Set(DATA.best ? DATA.bestFeatures[plot].map((at) => F[at].sort) : []);
  const first = given.find((one) => one.sort === "open" && !asked.has("water") && !one.mine && one.gap <= RINGS_M[1]);
  if (first) return fill(W.sheet_have, { thing: F[first.feature].said });
  // What to do here comes before what is nowhere: that is a fact, and would be read as a wish. Open
  // water is never called for without the caution that goes with it.
  if (begin) return F[DATA.bestFeatures[plot][0]].open ? fill(W.sheet_open, { begin: begin.replace(/\.$/, "") }) : begin;
  const other = given.find((one) => !one.mine && !asked.has(F[one.feature].sort));
  if (other) return fill(W.sheet_have, { thing: F[other.feature].said });
  return lacking.length ? fill(W.sheet_lack, { thing: inSentence(plainName(F[lacking[0]].name)) }) : W.sheet_all;
}

// One row an animal that needs flowers: a cross where they run short, a dot where they are enough.
function flowerStrip(plot) {
  const rows = G.filter((group) => group.needs.some((need) => need.byMonth.length)).map((group) => {
    const needed = new Set(group.needs.filter((need) => need.byMonth.length).flatMap((need) => need.months));
    const room = group.needs.some((need) => column(need.room)[plot] > 0);
    const bits = hungryBits(group, plot);
    const cells = W.months.map((month, at) => {
      if (!needed.has(at + 1) || !room) return el("td", { class: "off" }, el("span", { class: "unseen" }, W.strip_off));
      const short = Boolean(bits & (1 << at));
      const sign = el("span", { "aria-hidden": "true" }, short ? "✕" : "•");
      return el("td", { class: short ? "lacks" : "has" }, sign, el("span", { class: "unseen" }, short ? W.strip_short : W.strip_enough));
    });
    return room ? el("tr", {}, el("th", { scope: "row" }, group.name), ...cells) : null;
  });
  const drawn = rows.filter(Boolean);
  if (!drawn.length) return [];
  const heads = W.months.map((month) => el("th", { scope: "col" }, el("abbr", { title: month }, month.slice(0, 1))));
  return [
    el("h3", {}, W.strip_title),
    el(
      "table",
      { class: "strip", "aria-label": W.strip_title },
      el("colgroup", {}, el("col", { class: "who" })),
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, el("span", { class: "unseen" }, W.strip_animal)), ...heads)),
      el("tbody", {}, ...drawn),
    ),
    el("p", { class: "small-print" }, W.strip_key),
  ];
}

// Who has a thing near may do without: where one more helps all the same the sheet says so.
function oneMore(feature, given) {
  const alike = (one) => one.feature === feature || (F[feature].open && one.sort === "open");
  const near = given.find(alike);
  return near ? el("p", {}, fill(W.sheet_one_more, { plot: own(label(near.plot)), away: awayBy(near.gap) })) : null;
}

// What helps most here, where it was worked out; more of it on asking.
function bestHere(plot, given) {
  const best = DATA.best ? DATA.best[plot] : [];
  if (!best.length) return [];
  const item = ([title, words, small, cautions], at) => {
    const feature = DATA.bestFeatures[plot][at];
    // Who is to be asked about open water comes before what it costs, as large as all the rest.
    const before = cautions.slice(0, F[feature].open ? 1 : 0);
    const after = cautions.slice(before.length);
    return el(
      "div",
      { class: "best" },
      el("p", {}, el("strong", {}, title), " ", words),
      oneMore(feature, given),
      before.length ? el("p", { class: "mind" }, ...before) : null,
      small ? el("p", { class: "small-print" }, small) : null,
      after.length ? el("p", { class: "small-print mind" }, after.join(" ")) : null,
    );
  };
  const [first, ...rest] = best;
  return [
    el("h3", {}, W.sheet_best),
    item(first, 0),
    rest.length ? el("details", {}, el("summary", {}, W.sheet_more), ...rest.map((one, at) => item(one, at + 1))) : null,
  ].filter(Boolean);
}

function sheetOfPlot(plot) {
  if (DATA.public) return { title: own(label(plot)), parts: [], given: [] };
  const near = neighbours(plot, NEAR_M);
  const given = givenTo(plot, near);
  const lacking = lackingNear(plot, near);
  const lines_ = given.map((one) =>
    el(
      "li",
      {},
      el("span", {}, fill(W.sheet_line, { thing: plainName(F[one.feature].name), plot: own(label(one.plot)) })),
      el("span", { class: "far" }, awayBy(one.gap)),
    ),
  );
  const names = lacking.slice(0, MOST_LACKING).map((at) => inSentence(plainName(F[at].name)));
  const parts = [
    lookedAt(plot) ? null : el("p", { class: "best" }, W.sheet_tell),
    lines_.length ? el("h3", {}, W.sheet_given) : null,
    lines_.length ? el("ul", { class: "sheet-lines" }, ...lines_) : null,
    ...togetherOf(plot),
    ...(ADDITIONS ? additionsOf(plot) : bestHere(plot, given)),
    names.length ? el("h3", {}, fill(W.sheet_nobody, { reach: NEAR_M })) : null,
    names.length ? el("p", {}, sentence(upper(listed(names)))) : null,
    names.length ? el("p", { class: "small-print" }, W.sheet_no_wish) : null,
    ...flowerStrip(plot),
  ];
  return { title: finding(plot, given, lacking), parts: parts.filter(Boolean), given };
}

// Distances are told from edge to edge, so rings and lines run from the edge too.
function ringRound(plot, far) {
  const corners = SHAPES[plot].map((part) => part[0]).flat();
  const ring = [];
  for (let at = 0; at < 72; at += 1) {
    const turn = (at * Math.PI) / 36;
    const [ux, uy] = [Math.cos(turn), Math.sin(turn)];
    let [most, px, py] = [-Infinity, 0, 0];
    for (let corner = 0; corner < corners.length; corner += 2) {
      const out = corners[corner] * ux + corners[corner + 1] * uy;
      if (out > most) [most, px, py] = [out, corners[corner], corners[corner + 1]];
    }
    ring.push(latLng(px + far * ux, py + far * uy));
  }
  return ring;
}

// The two nearest points of the outlines of two plots: at a corner of the one or of the other.
function shortestWay(plot, other) {
  let best = [Infinity, null, null];
  const tryFrom = (from, to, turned) => {
    for (const part of SHAPES[from]) {
      for (let at = 0; at < part[0].length; at += 2) {
        const [x, y] = [part[0][at], part[0][at + 1]];
        for (const [ring] of SHAPES[to]) {
          for (let side = 0; side < ring.length; side += 2) {
            const next = (side + 2) % ring.length;
            const [ax, ay, bx, by] = [ring[side], ring[side + 1], ring[next], ring[next + 1]];
            const long = (bx - ax) ** 2 + (by - ay) ** 2;
            const part_ = long ? Math.max(0, Math.min(1, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / long)) : 0;
            const [qx, qy] = [ax + part_ * (bx - ax), ay + part_ * (by - ay)];
            const far = (x - qx) ** 2 + (y - qy) ** 2;
            if (far < best[0]) best = turned ? [far, [qx, qy], [x, y]] : [far, [x, y], [qx, qy]];
          }
        }
      }
    }
  };
  tryFrom(plot, other, false);
  tryFrom(other, plot, true);
  return [latLng(...best[1]), latLng(...best[2])];
}

// ---- on the map: rings round the plot, and lines to what is given ----

const sheetLayer = L.layerGroup().addTo(MAP);
let sheetGiven = [];
function drawSheet(plot, given) {
  sheetLayer.clearLayers();
  sheetGiven = plot === null ? [] : given.map((one) => ({ ...one, way: shortestWay(plot, one.plot) }));
  if (plot === null || DATA.public) return;
  const options = fixed("chosen");
  for (const reach of RINGS_M) {
    L.polygon(ringRound(plot, reach * 100), { ...options, fill: false, color: "#1c2a1b", weight: 1.2, dashArray: "1 5", lineCap: "round" }).addTo(sheetLayer);
  }
  for (const { way } of sheetGiven) {
    L.polyline(way, { ...options, color: "#fff", weight: 5 }).addTo(sheetLayer);
    L.polyline(way, { ...options, color: T.links.link, weight: 2.5 }).addTo(sheetLayer);
    L.circleMarker(way[1], { ...options, radius: 4.5, color: "#fff", weight: 2, fillColor: T.links.link, fillOpacity: 1 }).addTo(sheetLayer);
  }
  const drawn = areaLatLngs(SHAPES[plot]);
  L.polygon(drawn, { ...options, fill: false, color: GARDEN.do, weight: 4 }).addTo(sheetLayer);
}

// Where the house of a plot stands and what it is called: the house with its number that is nearest,
// else the plot itself.
function houseNumber(plot) {
  const [x, y] = spot(plot);
  const found = /^\d+\p{L}?/u.exec(P.label[plot]);
  const far = ([, hx, hy]) => Math.hypot(hx - x, hy - y);
  const named = GARDEN.numbers.filter(([words]) => found && words === found[0]).sort((a, b) => far(a) - far(b));
  if (named.length && far(named[0]) < HOUSE_NEAR_CM) return named[0];
  return [found ? found[0] : shortLabel(plot), x, y];
}

// How wide words are in the letters of the map.
const ruler = document.createElement("canvas").getContext("2d");
function wideOf(words, size) {
  ruler.font = size + "px " + getComputedStyle(MAP.getContainer()).fontFamily;
  return ruler.measureText(words).width;
}

function writeSheet(plot, free) {
  if (plot === null) return;
  const size = MAP.getSize();
  const corner = MAP.containerPointToLayerPoint([0, 0]);
  // Nothing is written over the plot itself, the arrow to the north and the scale, but its number.
  const [words, hx, hy] = houseNumber(plot);
  const house = pixel(hx, hy);
  const wide = wideOf(words, 14) + 10;
  place(house.x, house.y, "chosen-number", words);
  free.take(house.x, house.y, wide, 20);
  const [west, south, east, north] = BOXES[plot];
  const [low, high] = [pixel(west, south), pixel(east, north)];
  free.take((low.x + high.x) / 2, (low.y + high.y) / 2, Math.abs(high.x - low.x) + 4, Math.abs(low.y - high.y) + 4);
  free.take(corner.x + size.x - 24, corner.y + 32, 40, 56);
  free.take(corner.x + size.x - 85, corner.y + size.y - 22, 170, 40);
  const told = sheetGiven.map((one) => {
    const point = MAP.latLngToLayerPoint(one.way[1]);
    const said = plainName(F[one.feature].name) + " · " + awayBy(one.gap);
    return { said, box: [point.x, point.y, wideOf(said, 12.5) + 20, 23] };
  });
  const frame = [corner.x + 3, corner.y + 3, corner.x + size.x - 3, corner.y + size.y - 3];
  layLabels(told.map((one) => one.box), frame, free).forEach((at, which) => {
    if (at) place(...at, "given", told[which].said);
  });
  for (const reach of RINGS_M) {
    const top = ringRound(plot, reach * 100)[18]; // straight north
    const point = MAP.latLngToLayerPoint(top);
    if (free(point.x, point.y, 40, 16)) place(point.x, point.y, "ring-name", fill(W.metres, { n: reach }));
  }
}

// The plot and the ring of 50 m, in what is left of the map.
function showSheet(plot, given) {
  const [x, y] = spot(plot);
  const box = L.latLngBounds([latLng(x - 5200, y - 5200), latLng(x + 5200, y + 5200)]);
  for (const one of given) box.extend(latLng(...spot(one.plot)));
  MAP.fitBounds(box, { padding: [12, 12], animate: false, maxZoom: 21 });
}
