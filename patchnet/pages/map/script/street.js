// The whole street in words, and the legend.

const MOST_BREAKS = 8;

// A line of the legend: what its picture shows, how to draw that, its words, how many plots.
const legendItem = (shows, picture, words, count) => ({ shows, picture, words, count });

// Each line is drawn once: of most lines another animal changes the number alone.
const legendLines = new Map();
function putLegend(items) {
  const lines_ = items.map(({ shows, picture, words, count }, at) => {
    // What is drawn alike twice (two kinds of fence) has two lines.
    const key = shows + "#" + items.slice(0, at).filter((one) => one.shows === shows).length;
    if (!legendLines.has(key)) {
      const [said, number] = ["", ""].map((one) => document.createTextNode(one));
      const line = el("li", {}, picture(), el("span", { class: "legend-words" }, said), " ", el("span", { class: "count" }, number));
      legendLines.set(key, { line, said, number });
    }
    const { line, said, number } = legendLines.get(key);
    const counted = count === null ? "" : plural(count, W.plot, W.plots);
    if (said.data !== words) said.data = words;
    if (number.data !== counted) number.data = counted;
    return line;
  });
  const list = byId("legend-list");
  const kept = new Set(lines_);
  for (const line of [...list.children]) if (!kept.has(line)) line.remove();
  lines_.forEach((line, at) => {
    if (list.children[at] !== line) list.insertBefore(line, list.children[at] || null);
  });
}

function gapSwatch(gap) {
  const [className, sign] = GAP_SIGNS[gap] || ["gap-unknown", "?"];
  return el("span", { class: "swatch swatch-gap" }, el("span", { class: "mark gap " + className, "aria-hidden": "true" }, sign));
}

function dotSwatch(filled) {
  return svg(
    "svg",
    { width: 34, height: 24, viewBox: "0 0 34 24", "aria-hidden": "true", class: "swatch" },
    svg("circle", {
      cx: 17, cy: 12, r: 6, fill: filled ? T.links.patch : T.paper, stroke: T.links.patch, "stroke-width": 1.8,
    }),
  );
}

function writeLegend(view, layer) {
  const counts = layer.classes.map(() => 0);
  let doubtful = 0;
  for (let plot = 0; plot < PLOTS; plot += 1) {
    counts[layer.of(plot)] += 1;
    if (layer.doubt && layer.doubt(plot)) doubtful += 1;
  }
  const items = layer.garden || layer.alike ? gardenLegend() : [];
  const line = (words, ...drawn) => items.push(legendItem(drawn.join(), () => lineSwatch(...drawn), words, null));
  layer.classes.forEach(({ tint, words }, at) => {
    if (!counts[at] || layer.garden || layer.alike) return;
    items.push(legendItem(tint.join(), () => swatch(tint), words, counts[at]));
  });
  if (doubtful) {
    const tint = [T.paper, T.ink, "plain", T.unknown[3], "?"];
    items.push(legendItem("doubt", () => swatch(tint), layer.doubtWords, doubtful));
  }
  const group = view.group === ALL ? null : G[view.group];
  if (view.network && group) {
    items.push(legendItem("patch-homes", () => dotSwatch(true), W.legend_patch_homes, null));
    items.push(legendItem("patch", () => dotSwatch(false), W.legend_patch, null));
    const parts = { shown: inFull(path(group.links[0]).length / 2), all: inFull(group.links[1]), hop: inFull(group.hop) };
    line(fill(group.ground ? W.legend_ways : W.legend_links, parts), T.links.link, 1.8, "");
  }
  if (view.breaks && group && group.breaks.length) {
    line(W.legend_break, T.links.break, 3.4, "2 5");
    if (group.breaks.some((one) => one.stones > 0)) {
      const stone = () => svg("circle", { cx: 17, cy: 12, r: 5, fill: T.paper, stroke: T.links.break, "stroke-width": 2 });
      items.push(legendItem("stone", () => lineSwatch(T.links.break, 3.4, "2 5", stone()), W.legend_stone, null));
    }
  }
  items.push(...groundLegend(view));
  if (view.barriers && DATA.drawn.barriers.shape.length) {
    for (const { name, line: kind } of BARRIER_KINDS.values()) {
      if (layer.garden && kind === "dotted") continue; // drawn as the hedges on plots are
      line(name, ...T.lines[kind]);
    }
    for (const gap of ["yes", "no", "not_known"]) {
      if (!layer.garden && DATA.drawn.barriers.gap.includes(gap)) items.push(legendItem("gap-" + gap, () => gapSwatch(gap), W.gaps[gap], null));
    }
  }
  putLegend(items);
  write(byId("legend-title"), layer.title);
  write(byId("legend-note"), layer.alike || layer.note);
  requestAnimationFrame(reachLegend);
}

// What can be scrolled can be got to by keyboard, and nothing else. Asked with the next picture,
// when all is written: to ask how high something is has the whole page laid out at once.
let legendTall = [0, 0];
function reachLegend() {
  const box = document.querySelector(".legend");
  // Beside a fixed frame the legend keeps the room it once took: else each animal moved the map.
  const [wide, tall] = [box.clientWidth, box.offsetHeight];
  if (wide !== legendTall[0] || tall > legendTall[1]) {
    legendTall = [wide, tall];
    box.style.setProperty("--tall", tall + "px");
  }
  if (box.scrollHeight > box.clientHeight) box.setAttribute("tabindex", "0");
  else box.removeAttribute("tabindex");
}

// The need that is scarcest in most of the plots that hold or have room for a home.
function commonestScarcest(group) {
  const votes = new Map();
  const within = column(group.roomWithin);
  for (let plot = 0; plot < PLOTS; plot += 1) {
    const at = scarcestAt(group, plot);
    if (at >= 0 && (within[plot] > 0 || flagged(group.patch, plot))) votes.set(at, (votes.get(at) || 0) + 1);
  }
  const best = [...votes].sort((a, b) => b[1] - a[1] || a[0] - b[0])[0];
  return best ? { name: needName(group, best[0]), plots: best[1] } : null;
}

function fact(term, ...told) {
  return el("div", { class: "fact" }, el("dt", {}, term), el("dd", {}, ...told));
}

function breakItem(group, at, pick) {
  const one = group.breaks[at];
  const words = fill(group.ground ? W.break_words_ground : W.break_words, {
    cost: metresOf(one.cost),
    from: own(label(one.from)),
    to: own(label(one.to)),
    width: metres(one.width),
    won: num(one.won),
    one: num(one.sides[0]),
    other: num(one.sides[1]),
    stones: one.stones ? plural(one.stones, W.stone, W.stones) : W.stone_none,
  });
  const way = one.way.length
    ? fill(W.break_way, { plots: listed(one.way.slice(0, 5).map((plot) => own(label(plot)))) + (one.way.length > 5 ? W.and_more : "") })
    : "";
  return el(
    "li",
    {},
    button(fill(W.show_break, { n: at + 1 }), { class: "small" }, () => pick(at)),
    el("span", {}, " " + words + way + breakDoubt(group, one)),
  );
}

// In how many draws it is a break at all, and between what closing it wins.
function breakDoubt(group, one) {
  if (!one.drawn) return "";
  const [low, high, often, shunned] = one.drawn;
  const words = { low: num(low), high: num(high), often: inFull(often), shunned: inFull(shunned), draws: inFull(DATA.draws), width: metres(one.width) };
  return " " + fill(group.ground ? W.break_drawn_ground : W.break_drawn, words);
}

function writeStreet(view, pick, pickGap) {
  const box = byId("street-words");
  if (view.group === ALL) {
    const rows = G.map((group) =>
      el(
        "tr",
        {},
        el("th", { scope: "row" }, group.name),
        el("td", { class: "number" }, range(group.linked[0], group.eca, group.linked[1]), rangeBar(group.linked[0], group.eca, group.linked[1])),
        el("td", { class: "number" }, range(group.total[1], group.total[0], group.total[2])),
        el("td", {}, (commonestScarcest(group) || { name: W.none }).name),
      ),
    );
    const heads = [W.head_group, W.head_eca, W.head_homes, W.head_commonest].map((head, at) =>
      el("th", { scope: "col", class: at === 1 || at === 2 ? "number" : null }, head),
    );
    box.replaceChildren(
      el("p", {}, W.all_groups_words),
      DATA.draws ? el("p", {}, fill(W.drawn_words, { draws: inFull(DATA.draws) })) : "",
      el(
        "div",
        { class: "scroll", tabindex: 0, role: "region", "aria-label": W.title_all_groups },
        el("table", {}, el("thead", {}, el("tr", {}, ...heads)), el("tbody", {}, ...rows)),
      ),
    );
    return;
  }
  const group = G[view.group];
  const scarce = commonestScarcest(group);
  let hungry = 0;
  let bits = 0;
  for (let plot = 0; plot < PLOTS; plot += 1) {
    const here = hungryBits(group, plot);
    bits |= here;
    if (here) hungry += 1;
  }
  const facts = el(
    "dl",
    { class: "facts" },
    fact(
      W.head_eca,
      el("strong", {}, num(group.eca)),
      " " + (DATA.draws ? fill(W.linked_range, { low: num(group.linked[0]), high: num(group.linked[1]) }) + " " : "") + W.index_words,
      rangeBar(group.linked[0], group.eca, group.linked[1]),
    ),
    fact(
      W.head_homes,
      el("strong", {}, num(group.total[0])),
      " " + fill(DATA.draws ? W.total_range_drawn : W.total_range, { low: num(group.total[1]), high: num(group.total[2]), room: num(group.total[3]), home: group.home }),
    ),
    fact(W.head_connected_all, plural(group.components, W.connected_one, W.connected_many) + fill(group.ground ? W.hop_words_ground : W.hop_words, { hop: inFull(group.hop) })),
    fact(W.head_commonest, scarce ? fill(W.commonest_words, { need: scarce.name, plots: plural(scarce.plots, W.plot, W.plots) }) : W.none),
    fact(W.head_hungry_count, bits ? fill(W.hungry_words, { months: months(monthsIn(bits)), plots: plural(hungry, W.plot, W.plots) }) : W.hungry_none),
  );
  const breaks = group.breaks.slice(0, MOST_BREAKS).map((_, at) => breakItem(group, at, pick));
  box.replaceChildren(
    el("p", { class: "group-line" }, el("strong", {}, group.name), " (", el("i", { lang: "la" }, group.latin), ")"),
    facts,
    DATA.draws ? el("p", {}, fill(W.drawn_words, { draws: inFull(DATA.draws) })) : "",
    el("h3", {}, W.breaks_title),
    breaks.length ? el("ol", { class: "breaks" }, ...breaks) : el("p", {}, W.breaks_none),
    group.breaks.length > MOST_BREAKS ? el("p", {}, fill(W.breaks_more, { n: group.breaks.length - MOST_BREAKS })) : "",
    ...gapList(group, pickGap),
    group.caution ? el("p", { class: "caution" }, sentence(group.caution)) : "",
  );
}
