// The table of plots: the same facts as the map, and the keyboard's way to every card.

const PAGE_ROWS = 100;
const tableState = { sort: 0, down: false, page: 0, find: "", everything: false };
const LABELS_FOLDED = P.id.map((id, plot) => [label(plot), street(plot), id].join(" ").toLowerCase());
const inOrder = new Intl.Collator(LOCALE, { numeric: true });

// Where each plot stands by its name: words are dear to compare, so it is done once.
const RANKS = new Uint32Array(PLOTS);
P.id
  .map((_, plot) => plot)
  .sort((a, b) => inOrder.compare(label(a), label(b)) || a - b)
  .forEach((plot, at, all) => {
    const same = at && !inOrder.compare(label(all[at - 1]), label(plot));
    RANKS[plot] = same ? RANKS[all[at - 1]] : at;
  });

function compare(columns) {
  const { sort, down } = tableState;
  const sign = down ? -1 : 1;
  if (sort === 0) return (a, b) => sign * (RANKS[a] - RANKS[b]) || a - b;
  const order = columns[sort - 1].order;
  return (a, b) => {
    const [x, y] = [order(a), order(b)];
    const first = typeof x === "string" ? inOrder.compare(x, y) : x < y ? -1 : x > y ? 1 : 0;
    return sign * first || a - b;
  };
}

function heading(words, at, number, again) {
  // A button in a heading is not printed again at the top of the next sheet; plain words are.
  if (tableState.everything) return el("th", { scope: "col", class: number ? "number" : null }, words);
  const sorted = tableState.sort === at;
  const press = button(words, { class: "sort" }, () => {
    tableState.down = sorted ? !tableState.down : Boolean(number);
    tableState.sort = at;
    tableState.page = 0;
    again();
    byId("plots-head").querySelectorAll("button")[at].focus();
    say(fill(tableState.down ? W.sorted_down : W.sorted_up, { column: words }));
  });
  const sign = sorted ? (tableState.down ? " ↓" : " ↑") : "";
  press.append(el("span", { "aria-hidden": "true" }, sign));
  return el(
    "th",
    { scope: "col", class: number ? "number" : null, "aria-sort": sorted ? (tableState.down ? "descending" : "ascending") : "none" },
    press,
  );
}

function rowOf(plot, columns, open) {
  const name = button(own(label(plot)), { class: "plot-name", "data-plot": plot }, () => open(plot));
  const cells = columns.map((one) => el("td", { class: one.number ? "number" : null }, one.text(plot)));
  return el("tr", {}, el("th", { scope: "row" }, name), ...cells);
}

// The same plots in the same order keep their rows: only what the cells say is written anew.
let rowsShown = "";
function writeRows(shown, columns, open) {
  const body = byId("plots-body");
  const as = [columns.map((one) => Boolean(one.number)), ...shown].join();
  if (as !== rowsShown) {
    rowsShown = as;
    body.replaceChildren(...shown.map((plot) => rowOf(plot, columns, open)));
    return;
  }
  shown.forEach((plot, at) => {
    const cells = body.rows[at].cells;
    columns.forEach((one, column) => {
      const written = cells[column + 1].firstChild;
      const words = one.text(plot);
      if (written.data !== words) written.data = words;
    });
  });
}

// The plots that have the words that somebody looks for in their names.
function plotsFound() {
  const wanted = tableState.find.trim().toLowerCase();
  const found = [];
  for (let plot = 0; plot < PLOTS; plot += 1) {
    if (!wanted || LABELS_FOLDED[plot].includes(wanted)) found.push(plot);
  }
  return found;
}

function writeTable(layer, open) {
  const again = () => writeTable(layer, open);
  const found = plotsFound();
  tableState.sort = Math.min(tableState.sort, layer.columns.length);
  found.sort(compare(layer.columns));
  const pages = Math.max(1, Math.ceil(found.length / PAGE_ROWS));
  tableState.page = Math.min(tableState.page, pages - 1);
  const from = tableState.everything ? 0 : tableState.page * PAGE_ROWS;
  const shown = tableState.everything ? found : found.slice(from, from + PAGE_ROWS);
  byId("plots-caption").textContent = layer.title;
  byId("plots-head").replaceChildren(
    el("tr", {}, heading(W.head_plot, 0, false, again), ...layer.columns.map((one, at) => heading(one.head, at + 1, one.number, again))),
  );
  writeRows(shown, layer.columns, open);
  byId("plots-count").textContent = found.length
    ? fill(W.rows_shown, {
        from: inFull(from + 1),
        to: inFull(from + shown.length),
        all: inFull(found.length),
      })
    : W.rows_none;
  byId("pager").hidden = pages === 1;
  byId("page-back").disabled = tableState.page === 0;
  byId("page-on").disabled = tableState.page === pages - 1;
  return found.length;
}
