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

// 2 short, 1 enough, 0 nothing needed or no room, of the animals asked for.
function yearState(asked, plot, month) {
  let state = 0;
  for (const at of asked) {
    const group = G[at];
    for (const need of group.needs) {
      if (!need.byMonth.length || !need.months.includes(month) || !(column(need.room)[plot] > 0)) continue;
      if (hungryBits(group, plot) & (1 << (month - 1))) return 2;
      state = 1;
    }
  }
  return state;
}

// One month as a picture on a button, and how many plots run short in it.
function yearMonth(asked, at, frame, outlines, pick) {
  const paths = ["", "", ""];
  let short = 0;
  for (let plot = 0; plot < PLOTS; plot += 1) {
    const state = yearState(asked, plot, at + 1);
    paths[state] += outlines[plot];
    if (state === 2) short += 1;
  }
  const words = short ? plural(short, W.year_short_one, W.year_short) : paths[1] ? W.year_enough : W.year_none;
  const parts = [["none", 0], ["enough", 1], ["short", 2]].map(([kind, state]) => svg("path", { class: kind, d: paths[state] }));
  const made = button("", {}, () => pick(at + 1));
  made.append(el("strong", {}, W.months[at]), svg("svg", { viewBox: frame, "aria-hidden": "true" }, ...parts), el("span", {}, words));
  return { made: el("li", {}, made), short };
}

function writeYear(chosen, pick) {
  const asked = chosen < 0 ? YEAR_ANIMALS : [chosen];
  const [west, south, wide, high] = yearBox();
  const frame = [west / 10, -(south + high) / 10, wide / 10, high / 10].map(Math.round).join(" ");
  const outlines = SHAPES.map((_, plot) => yearPath(plot));
  const each = W.months.map((_, at) => yearMonth(asked, at, frame, outlines, pick));
  byId("year-maps").replaceChildren(...each.map((one) => one.made));
  const most = Math.max(...each.map((one) => one.short));
  const worst = W.months.filter((_, at) => most > 0 && each[at].short === most);
  byId("year-words").textContent = most
    ? fill(W.year_words, { months: listed(worst), plots: plural(most, W.plot, W.plots) })
    : W.year_all_well;
}

function prepareYear(pick) {
  if (!YEAR_ANIMALS.length || PLOTS > YEAR_MOST) return;
  byId("year").hidden = false;
  const select = byId("year-animal");
  select.replaceChildren(el("option", { value: "-1" }, W.year_all), ...YEAR_ANIMALS.map((at) => el("option", { value: at }, G[at].name)));
  select.value = "-1";
  select.addEventListener("change", () => writeYear(Number(select.value), (month) => pick(Number(select.value), month)));
  writeYear(-1, (month) => pick(Number(select.value), month));
}
