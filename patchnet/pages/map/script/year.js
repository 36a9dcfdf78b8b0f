// Twelve small maps: where flowers run short, month by month, for one animal or for all.

const YEAR_ANIMALS = G.map((_, at) => at).filter((at) => G[at].needs.some((need) => need.byMonth.length));
const YEAR_MOST = 2000; // plots; beyond that twelve maps would keep a phone waiting

function yearBox() {
  let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const box of BOXES) {
    [west, south] = [Math.min(west, box[0]), Math.min(south, box[1])];
    [east, north] = [Math.max(east, box[2]), Math.max(north, box[3])];
  }
  return [west, south, east - west, north - south];
}

// Each plot's outline once, as a path in decimetres; all maps use the same paths.
const yearPath = (plot) =>
  SHAPES[plot].map((part) => {
    const ring = part[0];
    let d = "";
    for (let at = 0; at < ring.length; at += 2) d += (at ? "L" : "M") + Math.round(ring[at] / 10) + " " + Math.round(-ring[at + 1] / 10);
    return d + "Z";
  }).join("");

// How many of the animals asked for need flowers at a plot in a month, and for how many they are short.
function yearCount(asked, plot, month) {
  let [needing, short] = [0, 0];
  for (const at of asked) {
    const group = G[at];
    const needs = group.needs.some(
      (need) => need.byMonth.length && need.months.includes(month) && column(need.room)[plot] > 0,
    );
    if (!needs) continue;
    needing += 1;
    if (hungryBits(group, plot) & (1 << (month - 1))) short += 1;
  }
  return [needing, short];
}

// One month as a picture: how much of the need is not met, plot by plot.
const YEAR_STATES = ["none", "enough", "some", "short"];
function yearMonth(asked, at, outlines) {
  const paths = ["", "", "", ""];
  let [needing, short] = [0, 0];
  for (let plot = 0; plot < PLOTS; plot += 1) {
    const [all, lacking] = yearCount(asked, plot, at + 1);
    [needing, short] = [needing + all, short + lacking];
    paths[!all ? 0 : !lacking ? 1 : lacking < all / 2 ? 2 : 3] += outlines[plot];
  }
  const share = needing ? short / needing : 0;
  const words = !needing ? W.year_none : !short ? W.year_enough : fill(W.year_share, { n: num(Math.max(1, Math.round(100 * share))) });
  const parts = YEAR_STATES.map((kind, state) => svg("path", { class: kind, d: paths[state] }));
  return { parts, words, share };
}

// The twelve buttons, with room for the longest words they may get: what stands below them must
// not move away from under a finger when they are drawn.
const YEAR_MONTHS = [];
function holdYear(choose) {
  const [west, south, wide, high] = yearBox();
  const viewBox = [west / 10, -(south + high) / 10, wide / 10, high / 10].map(Math.round).join(" ");
  const longest = [W.year_none, W.year_enough, fill(W.year_share, { n: num(100) })].sort((one, other) => other.length - one.length)[0];
  for (const [at, name] of W.months.entries()) {
    const picture = svg("svg", { viewBox, "aria-hidden": "true" });
    const words = el("span", {});
    const made = button("", {}, () => choose(at + 1));
    made.append(el("strong", {}, name), picture, el("span", { class: "held", "data-hold": longest }, words));
    YEAR_MONTHS.push({ made: el("li", {}, made), picture, words });
  }
  byId("year-maps").replaceChildren(...YEAR_MONTHS.map((one) => one.made));
  const longMonths = [...W.months].sort((one, other) => other.length - one.length).slice(0, 3);
  byId("year-words").parentElement.dataset.hold = fill(W.year_words, { months: listed(longMonths), n: num(100) });
}

function writeYear(chosen) {
  const asked = chosen < 0 ? YEAR_ANIMALS : [chosen];
  const outlines = SHAPES.map((_, plot) => yearPath(plot));
  const each = YEAR_MONTHS.map((_, at) => yearMonth(asked, at, outlines));
  for (const [at, { picture, words }] of YEAR_MONTHS.entries()) {
    picture.replaceChildren(...each[at].parts);
    words.textContent = each[at].words;
  }
  const most = Math.max(...each.map((one) => one.share));
  const worst = W.months.filter((_, at) => most > 0 && each[at].share > most - 0.005);
  const parts = { months: listed(worst.slice(0, 3)), n: num(Math.round(100 * most)) };
  byId("year-words").textContent = most ? fill(W.year_words, parts) : W.year_all_well;
}

function prepareYear(pick) {
  if (!YEAR_ANIMALS.length || PLOTS > YEAR_MOST) return;
  byId("year").hidden = false;
  const select = byId("year-animal");
  select.replaceChildren(el("option", { value: "-1" }, W.year_all), ...YEAR_ANIMALS.map((at) => el("option", { value: at }, G[at].name)));
  select.value = "-1";
  holdYear((month) => pick(Number(select.value), month));
  select.addEventListener("change", () => writeYear(Number(select.value)));
  // Twelve maps take a phone a while: they are drawn when somebody comes to them, and for paper.
  let drawn = false;
  const once = () => {
    if (!drawn) writeYear(Number(select.value));
    drawn = true;
  };
  const watcher = new IntersectionObserver(
    (seen) => {
      if (!seen.some((one) => one.isIntersecting)) return;
      watcher.disconnect();
      once();
    },
    { rootMargin: "400px" },
  );
  watcher.observe(byId("year"));
  window.addEventListener("beforeprint", once);
}
